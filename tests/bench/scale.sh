#!/bin/sh
# A large storeroom of invented jars, and a small one beside it: how long `import jars` takes at a fifth
# of the jars and at all of them, from the start of torpord until it takes readings, `torpor jars` and
# the page of the shelves. With two builds every figure is taken of both in turn.
#
#   sh tests/bench/scale.sh BUILD [OTHER_BUILD]
#
# JARS (5000) and SENSORS (1000) in the environment choose the size; a sensor hangs on each shelf and
# has spoken every 10 minutes for 6 hours, and the jars stand there since before that. The best of
# three is shown, with what user and system took of the processor. BUILD: a release build with its
# benchmarks. Needs mosquitto, curl, awk and GNU coreutils. Everything runs in a folder below TMPDIR.
set -eu
jars=${JARS:-5000}
sensors=${SENSORS:-1000}
folder=$(mktemp -d)
port=$((20000 + $$ % 20000))
broker="" service=""
trap 'kill $broker $service 2>/dev/null || true; wait 2>/dev/null; rm -rf "$folder"' EXIT INT TERM
builds=""
for build in "$@"; do builds="$builds $(cd "$build" && pwd)"; done
[ -n "$builds" ] || { echo "sh tests/bench/scale.sh BUILD [OTHER_BUILD]"; exit 2; }
publisher="$(cd "$1" && pwd)/tests/bench/torpor_steady_publisher"
cd "$folder"

printf 'listener %d 127.0.0.1\nallow_anonymous true\nmax_queued_messages 0\nmax_inflight_messages 20\npersistence false\nuser root\n' \
  "$port" > mosquitto.conf
mosquitto -c mosquitto.conf > broker.log 2>&1 &
broker=$!

configure() {  # SENSORS
  {
    printf 'storeroom: cellar\nclock: readings\nhistory: {file: history.sqlite3}\nbroker: {url: "mqtt://127.0.0.1:%d"}\n' "$port"
    printf 'web: {listen: "127.0.0.1:%d"}\nplaces:\n  cellar:\n    holds:\n' "$((port + 1))"
    for n in $(seq "$1"); do echo "      shelf-$n: {}"; done
    echo 'sensors:'
    for n in $(seq "$1"); do
      echo "  - {id: s$n, place: cellar/shelf-$n, topic: room/s$n, payload: json, expected_interval: 10 min,"
      echo '     measures: {temperature: {pointer: /t, unit: °C}, humidity: {pointer: /rh, unit: "%"}},'
      echo '     time: {pointer: /ms, format: milliseconds}}'
    done
  } > torpor.yaml
}
notebook() {  # JARS SENSORS
  echo 'id,place,stage,rice_g,raw_g,sugar_g,topping_g,vessel,volume_l,mouth_cm,cover,closed'
  for n in $(seq "$1"); do
    echo "B-$n,cellar/shelf-$((n % $2 + 1)),IMO-2,1200,$((540 + n % 40)),$((1150 + n % 200)),60,glass,3.8,11,paper,2026-01-01T00:00Z"
  done
}
serve() {  # BUILD
  : > torpord.log
  "$1/daemon/torpord" --config torpor.yaml 2> torpord.log &
  service=$!
  until grep -qs "taking readings from the broker" torpord.log; do
    kill -0 "$service" 2> /dev/null || { cat torpord.log; exit 1; }
    sleep 0.01
  done
}
end() {
  kill "$service"
  wait "$service" 2> /dev/null || true
  service=""
}
now_ms() { echo $(($(date +%s%N) / 1000000)); }
# User and system time of what has ended, ms.
ended_cpu() {
  times > times.txt
  awk 'NR == 2 { gsub(/[ms]/, " "); printf "%d", ($1 + $3) * 60000 + ($2 + $4) * 1000 }' times.txt
}
# MS and CPU_MS of a command; its output goes to out.txt.
timed() {
  before=$(now_ms)
  ended_cpu > cpu.txt
  cpu_before=$(cat cpu.txt)
  "$@" > out.txt
  ms=$(($(now_ms) - before))
  ended_cpu > cpu.txt
  cpu_ms=$(($(cat cpu.txt) - cpu_before))
}
best() { printf '%s\n' "$@" | sort -n | head -n 1; }
cpu_of() { awk -v hz="$(getconf CLK_TCK)" '{ printf "%d", ($14 + $15) * 1000 / hz }' "/proc/$1/stat"; }
name() { [ "$builds" = " $1" ] || printf '%s: ' "$1"; }

import() {  # BUILD JARS SENSORS
  rm -rf history.sqlite3* .torpor.yaml-*
  notebook "$2" "$3" > jars.csv
  timed "$1/daemon/torpor" --config torpor.yaml import jars jars.csv
  printf '%simport of %d jars: %d ms (processor %d ms)\n' "$(name "$1")" "$2" "$ms" "$cpu_ms"
}
fill() {  # BUILD SENSORS
  serve "$1"
  "$publisher" "$port" "$2" 600 $(($2 * 36))
  until mosquitto_sub -p "$port" -t torpor/cellar/service -C 1 -W 70 | grep -q "\"fresh\":$(($2 * 72)),"; do :; done
  end
}
measure() {  # JARS SENSORS
  for build in $builds; do
    starts="" starts_cpu="" shown="" shown_cpu="" pages=""
    for round in 1 2 3; do
      rm -rf history.sqlite3* .torpor.yaml-*
      cp -r kept/* .
      begun=$(now_ms)
      serve "$build"
      starts="$starts $(($(now_ms) - begun))"
      starts_cpu="$starts_cpu $(cpu_of "$service")"
      sleep 20  # every standing that a day within seconds has left behind is worked out
      timed "$build/daemon/torpor" --config torpor.yaml jars
      shown="$shown $ms" shown_cpu="$shown_cpu $cpu_ms"
      pages="$pages $(curl -s -o page.html -w '%{time_total}\n' "http://127.0.0.1:$((port + 1))/" | awk '{ printf "%d", $1 * 1000 }')"
      end
    done
    # shellcheck disable=SC2086
    printf '%s%d jars, %d sensors: start to readings taken %d ms (processor %d ms), torpor jars %d ms (processor %d ms), page / %d ms\n' \
      "$(name "$build")" "$1" "$2" "$(best $starts)" "$(best $starts_cpu)" "$(best $shown)" "$(best $shown_cpu)" "$(best $pages)"
    cp out.txt "jars-$(basename "$(dirname "$build")").txt"
  done
}

for size in "12 5" "$jars $sensors"; do
  # shellcheck disable=SC2086
  set -- $size
  configure "$2"
  for build in $builds; do
    [ "$1" -lt 100 ] || import "$build" $(($1 / 5)) "$2"
    import "$build" "$1" "$2"
  done
  # shellcheck disable=SC2086
  set -- $size $builds
  fill "$3" "$2"
  mkdir -p kept
  rm -rf kept/*
  cp -r history.sqlite3* kept/
  measure "$1" "$2"
done
