#!/bin/sh
# What torpord takes of a small board: size of the programs, memory and processor with 30 sensors that
# speak every 10 s and 200 jars; then the same through MESSAGES (two values each) as fast as the broker
# gives them, for growth.
#
#   sh tests/bench/footprint.sh BUILD [MESSAGES [CALM_SECONDS]]
#
# BUILD: a release build with its benchmarks. Needs mosquitto and awk. Everything runs in a folder below
# TMPDIR. Resident memory has three parts: RssAnon is the program's own; RssFile is read from disk and
# shared with whoever uses the same libraries.
set -eu
build=$(cd "$1" && pwd)
messages=${2:-5000000}
calm=${3:-120}
folder=$(mktemp -d)
port=$((20000 + $$ % 20000))
broker="" service="" publisher=""
trap 'kill $broker $service $publisher 2>/dev/null || true; wait 2>/dev/null; rm -rf "$folder"' EXIT INT TERM
cd "$folder"

printf 'listener %d 127.0.0.1\nallow_anonymous true\nmax_queued_messages 0\nmax_inflight_messages 20\npersistence false\nuser root\n' \
  "$port" > mosquitto.conf
mosquitto -c mosquitto.conf > broker.log 2>&1 &
broker=$!
sleep 1

configure() {  # CLOCK
  {
    printf 'storeroom: cellar\nclock: %s\nhistory: {file: history.sqlite3}\nbroker: {url: "mqtt://127.0.0.1:%d"}\nplaces:\n  cellar:\n    holds:\n' "$1" "$port"
    for n in $(seq 30); do echo "      shelf-$n: {}"; done
    echo 'sensors:'
    for n in $(seq 30); do
      echo "  - {id: s$n, place: cellar/shelf-$n, topic: room/s$n, payload: json, expected_interval: 10 s,"
      echo '     measures: {temperature: {pointer: /t, unit: °C}, humidity: {pointer: /rh, unit: "%"}},'
      echo '     time: {pointer: /ms, format: milliseconds}}'
    done
  } > torpor.yaml
}
jars() {  # CLOSED
  echo 'id,place,stage,rice_g,raw_g,sugar_g,topping_g,vessel,volume_l,cover,closed'
  for n in $(seq 200); do
    echo "B-$n,cellar/shelf-$((n % 30 + 1)),IMO-2,1200,560,1250,60,glass,3.8,paper,$1"
  done
}
serve() {
  "$build/daemon/torpord" --config torpor.yaml 2> torpord.log &
  service=$!
  until grep -qs "taking readings from the broker" torpord.log; do sleep 0.1; done
}
end() {
  kill "$service"
  wait "$service" 2>/dev/null || true
  service=""
}
kib() { awk -v key="$1:" '$1 == key { print $2 }' "/proc/$service/status"; }
memory() {
  printf '%5.1f MiB resident (%.1f its own, %.1f of files), %5.1f at most\n' \
    "$(mib "$(kib VmRSS)")" "$(mib "$(kib RssAnon)")" "$(mib "$(kib RssFile)")" "$(mib "$(kib VmHWM)")"
}
mib() { awk -v kib="$1" 'BEGIN { printf "%.1f", kib / 1024 }'; }
# Clock ticks of user and system time.
ticks() { awk '{ print $14 + $15 }' "/proc/$service/stat"; }

for program in torpord torpor torpor-forward; do
  [ -e "$build/daemon/$program" ] || continue
  cp "$build/daemon/$program" stripped
  strip stripped
  printf '%s: %.1f MiB, stripped\n' "$program" "$(mib $(($(stat -c %s stripped) / 1024)))"
done

configure wall
serve
printf 'just started:               '; memory
jars "$(date -u +%Y-%m-%d)T00:00Z" > jars.csv
"$build/daemon/torpor" --config torpor.yaml import jars jars.csv > import.log
"$build/tests/bench/torpor_steady_publisher" "$port" 30 10 $((calm * 3 + 90)) now &
publisher=$!
sleep 20  # the first looks at every jar are over
before=$(ticks)
sleep "$calm"
after=$(ticks)
wait "$publisher"
publisher=""
printf 'after %3d s at 10 s:        ' "$((calm + 30))"; memory
awk -v t="$((after - before))" -v s="$calm" -v hz="$(getconf CLK_TCK)" \
  'BEGIN { printf "%.2f %% of one core over these %d s\n", 100 * t / hz / s, s }'
end

rm -rf history.sqlite3* .*.history*
configure readings
serve
jars 2026-01-01T00:00Z > jars.csv
"$build/daemon/torpor" --config torpor.yaml import jars jars.csv > import.log
"$build/tests/bench/torpor_steady_publisher" "$port" 30 10 "$messages" &
publisher=$!
counted() {
  mosquitto_sub -p "$port" -t torpor/cellar/service -C 1 -W 5 2>/dev/null |
    sed 's/.*"fresh": *\([0-9]*\).*/\1/' || true
}
done_values=0
next=0
while [ "$done_values" -lt $((messages * 2)) ]; do
  kill -0 "$service" 2>/dev/null || { echo "torpord has ended:"; tail -n 5 torpord.log; exit 1; }
  sleep 5
  now=$(counted)
  [ -n "$now" ] && done_values=$now
  if [ "$done_values" -ge "$next" ]; then
    printf 'after %9d values:     ' "$done_values"; memory
    next=$((next + messages / 5))
  fi
done
wait "$publisher"
publisher=""
printf 'after %9d values:     ' "$done_values"; memory
sleep 130  # what was taken for the flood is given back with a beat, once a minute
printf 'two minutes after that:     '; memory
printf 'history on disk: %d MiB\n' "$(($(du -sk . | cut -f1) / 1024))"
end
