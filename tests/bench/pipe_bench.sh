#!/bin/sh
# Readings a second from a broker's waiting session to the disk: torpord, which decodes, judges and
# watches them, beside what a person would script, `mosquitto_sub | sqlite3`, with SQLite's defaults
# and hurried by WAL, and beside a client of the same MQTT library that does nothing. Then the same
# with a kill -9 on the way: what is missing afterwards.
#
#   sh tests/bench/pipe_bench.sh BUILD [MESSAGES [MESSAGES_OF_DEFAULTS]]
#
# BUILD: a build folder. Needs mosquitto, mosquitto-clients and sqlite3. Everything runs in a folder
# below TMPDIR: let that be on the disk that matters. Quote ratios of one run.
set -eu
build=$(cd "$1" && pwd)
many=${2:-50000}
few=${3:-5000}
folder=$(mktemp -d)
port=$((20000 + $$ % 20000))
broker="" service=""
trap 'kill $broker $service 2>/dev/null || true; wait 2>/dev/null; rm -rf "$folder"' EXIT INT TERM
cd "$folder"

printf 'listener %d 127.0.0.1\nallow_anonymous true\nmax_queued_messages 0\nmax_inflight_messages 20\npersistence false\nuser root\n' \
  "$port" > mosquitto.conf
mosquitto -c mosquitto.conf > broker.log 2>&1 &
broker=$!
sleep 1

cat > torpor.yaml <<EOF
storeroom: cellar
clock: readings
history: {file: history.sqlite3}
broker: {url: "mqtt://127.0.0.1:$port"}
places: {cellar: {}}
sensors:
  - {id: s1, place: cellar, topic: room/s1, payload: json, expected_interval: 1 min,
     measures: {temperature: {pointer: /t, unit: °C}}, time: {pointer: /ts, format: seconds}}
rulebooks: [rules.yaml]
EOF
cat > rules.yaml <<'EOF'
rules:
  last-one:
    concerns: place
    when: temperature above 29.98 °C
    urgency: now
    why: The last reading of the run is this warm.
    remedies: [look]
EOF

# One reading a line, one a minute; the last ones rise, no faster than air does, to 30 °C.
lines() {
  awk -v n="$1" 'BEGIN { for (i = 1; i <= n; i++)
    printf "{\"ts\":%d,\"t\":%.2f}\n", 1752451200 + i * 60, (i > n - 600 ? 30 - (n - i) / 50 : 18 + i * 37 % 50 / 100) }'
}
say() { lines "$1" | mosquitto_pub -p "$port" -q 1 -t room/s1 -l; }
now() { date +%s.%N; }
rate() { awk -v n="$1" -v a="$2" -v b="$3" 'BEGIN { printf "%.0f", n / (b - a) }'; }
count() { sqlite3 "$1" 'SELECT count(*) FROM r'; }

# pipe DATABASE COUNT SETTINGS: every message one INSERT of topic, time and value. A script of its own,
# so that it can be killed as one process group.
cat > pipe.sh <<EOF
{ echo "\$3 CREATE TABLE IF NOT EXISTS r (topic TEXT, ts INTEGER, value REAL); CREATE INDEX IF NOT EXISTS i ON r (topic, ts);"
  mosquitto_sub -p $port -q 1 -c -i "pipe-\$1" -t room/s1 -C "\$2" -W 20 2>/dev/null |
    sed -u 's/.*"ts":\([0-9]*\),"t":\([0-9.-]*\).*/INSERT INTO r VALUES ("room\/s1", \1, \2);/'
} | sqlite3 "\$1" > /dev/null
EOF
pipe() { sh pipe.sh "$@"; }
make_session() { timeout 1 mosquitto_sub -p "$port" -q 1 -c -i "pipe-$1" -t room/s1 > /dev/null || true; }
start_torpord() {
  "$build/daemon/torpord" --config torpor.yaml 2>> torpord.log &
  service=$!
}
stop_torpord() {
  kill "$1" "$service"
  wait "$service" 2>/dev/null || true
  service=""
}
taken() { tail -c +1 torpord.log | grep -c "taking readings from the broker" || true; }
# Ends a client's session: else what is said for the next one queues for it, too.
forget() { mosquitto_sub -p "$port" -q 1 -i "$1" -t forget/nothing -W 1 > /dev/null 2>&1 || true; }

measure_pipe() {
  make_session "$1"
  say "$2"
  start=$(now)
  pipe "$1" "$2" "$3"
  end=$(now)
  forget "pipe-$1"
  [ "$(count "$1")" -eq "$2" ] || echo "$1 holds only $(count "$1") of $2"
  rate "$2" "$start" "$end"
}

measure_idle() {
  "$build/tests/bench/torpor_idle_subscriber" "$port" room/s1 0
  say "$many"
  start=$(now)
  "$build/tests/bench/torpor_idle_subscriber" "$port" room/s1 "$many"
  end=$(now)
  forget idle
  rate "$many" "$start" "$end"
}

times_taken=0
measure_torpord() {
  rm -rf history.sqlite3* .*.history*
  start_torpord
  times_taken=$((times_taken + 1))
  until [ "$(taken)" -ge "$times_taken" ]; do sleep 0.1; done
  stop_torpord -TERM
  say "$many"
  mosquitto_sub -p "$port" -t torpor/cellar/notice -C 1 -W 120 > notice.txt &
  waiting=$!
  sleep 0.5
  start=$(now)
  start_torpord
  times_taken=$((times_taken + 1))
  wait "$waiting"
  end=$(now)
  ours=$(rate "$many" "$start" "$end")
  stop_torpord -TERM
  forget torpor-cellar-intake
}

median() { printf '%s\n' "$@" | sort -n | sed -n "$((($# + 1) / 2))p"; }

plain=$(measure_pipe plain.sqlite3 "$few" "")
idles="" hurrieds="" all_ours=""
for round in 1 2 3; do
  idles="$idles $(measure_idle)"
  hurrieds="$hurrieds $(measure_pipe "hurried$round.sqlite3" "$many" "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL;")"
  measure_torpord
  all_ours="$all_ours $ours"
done
# shellcheck disable=SC2086
idle=$(median $idles) hurried=$(median $hurrieds) ours=$(median $all_ours)

echo "readings a second, from the session to the disk, the process's start included (medians of 3):"
echo "  mosquitto_sub | sqlite3, defaults (once)    $plain"
echo "  mosquitto_sub | sqlite3, WAL and NORMAL     $hurried  [$hurrieds ]"
echo "  a client of the library that does nothing   $idle  [$idles ]"
echo "  torpord, up to the notice on the phone      $ours  [$all_ours ]"
awk -v a="$ours" -v b="$plain" -v c="$hurried" -v d="$idle" \
  'BEGIN { printf "torpord: %.1f times the defaults, %.2f times the hurried pipe, %.2f of the idle client\n", a / b, a / c, a / d }'

# With a kill -9 after a second, and a second run for what is left.
make_session killed.sqlite3
say "$many"
settings="PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL;"
setsid sh pipe.sh killed.sqlite3 "$many" "$settings" &
group=$!
sleep 2
kill -9 "-$group"
wait "$group" 2>/dev/null || true
before=$(count killed.sqlite3)
pipe killed.sqlite3 "$((many - before))" "$settings" || true
forget pipe-killed.sqlite3
echo "hurried pipe, killed once at $before of $many readings: $((many - $(count killed.sqlite3))) are missing"

rm -rf history.sqlite3* .*.history*
start_torpord
until [ "$(taken)" -gt "$times_taken" ]; do sleep 0.1; done
stop_torpord -TERM
say "$many"
start_torpord
sleep 1
stop_torpord -KILL
before=$("$build/daemon/torpor" --config torpor.yaml export --sensor s1 | tail -n +2 | wc -l)
mosquitto_sub -p "$port" -t torpor/cellar/notice -C 1 -W 120 > notice.txt &
waiting=$!
sleep 0.5
start_torpord
wait "$waiting"
stop_torpord -TERM
after=$("$build/daemon/torpor" --config torpor.yaml export --sensor s1 | tail -n +2 | wc -l)
echo "torpord, killed once at $before of $many readings: $((many - after)) are missing"
