#!/bin/sh
# A jar's three years of minutes to a finished report: the whole process, with the history's pages
# dropped from the cache before each run (cold) and without (warm); and to the first byte of its page
# in a browser, made anew and kept, with the page's weight. Made-up air: a day's wave, slow
# drift and the noise of the last digit.
#
#   sh tests/bench/report_bench.sh BUILD [YEARS]
#
# Needs mosquitto, curl, awk and GNU coreutils. Everything runs in a folder below TMPDIR.
set -eu
build=$(cd "$1" && pwd)
years=${2:-3}
folder=$(mktemp -d)
port=$((20000 + $$ % 20000))
broker="" service=""
trap 'kill $broker $service 2>/dev/null || true; wait 2>/dev/null; rm -rf "$folder"' EXIT INT TERM
cd "$folder"

printf 'listener %d 127.0.0.1\nallow_anonymous true\npersistence false\nuser root\n' "$port" > mosquitto.conf
mosquitto -c mosquitto.conf > broker.log 2>&1 &
broker=$!

cat > torpor.yaml <<EOF
storeroom: cellar
clock: readings
history: {file: history.sqlite3}
broker: {url: "mqtt://127.0.0.1:$port"}
web: {listen: 127.0.0.1:$((port + 1))}
places: {cellar: {}}
sensors:
  - {id: s1, place: cellar, topic: room/s1, payload: json, expected_interval: 1 min,
     measures: {temperature: {pointer: /t, unit: °C}, humidity: {pointer: /rh, unit: "%"}}}
EOF
torpor() { "$build/daemon/torpor" --config torpor.yaml "$@"; }

awk -v minutes="$((years * 365 * 1440))" 'BEGIN {
  srand(2)
  print "time,temperature_degC,humidity_percent"
  for (m = 0; m < minutes; m++) {
    t = 0.999 * t + (rand() - 0.5) * 0.07
    h = 0.999 * h + (rand() - 0.5) * 0.17
    day = sin(m / 229.2)
    print strftime("%Y-%m-%dT%H:%M:%SZ", 1672531200 + m * 60, 1) "," sprintf("%.2f,%.1f", 14 + day + t, 65 - 3 * day + h)
  }
}' > air.csv
torpor import readings air.csv --sensor s1 > import.log
"$build/daemon/torpord" --config torpor.yaml 2> torpord.log &
service=$!
until grep -q "taking readings from the broker" torpord.log; do sleep 0.1; done
torpor tell "new jar O-1 in cellar stage IMO-2 rice 1000 g raw 540 g sugar 1050 g closed 2023-01-01" > tell.log
# What the service works out for reports in quiet times: a year of days with each commit, and a commit
# a minute.
sleep "${SETTLE:-$((60 * years + 60))}"

median() { printf '%s\n' "$@" | sort -n | sed -n "$((($# + 1) / 2))p"; }
page="http://127.0.0.1:$((port + 1))/jar/O-1"
first_byte_ms() { curl -s -o page.html -w '%{time_starttransfer}\n' "$@" "$page" | awk '{ printf "%.1f", $1 * 1000 }'; }
anew="" kept="" unchanged=""
for round in 1 2 3 4 5; do
  sleep 11 # a page is kept for ten seconds
  anew="$anew $(first_byte_ms)"
  kept="$kept $(first_byte_ms)"
  tag=$(curl -s -o /dev/null -D - "$page" | tr -d '\r' | sed -n 's/^ETag: //p')
  unchanged="$unchanged $(first_byte_ms -H "If-None-Match: $tag")"
done
# shellcheck disable=SC2086
echo "first byte of /jar/O-1: $(median $anew) ms made anew, $(median $kept) ms kept, $(median $unchanged) ms unchanged (304)"
for target in / /jar/O-1 /torpor.css /refresh.js; do
  bytes() { curl -s "$@" "http://127.0.0.1:$((port + 1))$target" | wc -c; }
  echo "$target: $(bytes) bytes, $(bytes -H 'Accept-Encoding: gzip') bytes packed"
done
kill "$service"
wait "$service" 2>/dev/null || true
service=""

run_ms() {
  start=$(date +%s%N)
  torpor "$@" > report.txt
  end=$(date +%s%N)
  echo $(((end - start) / 1000000))
}
forget_cached() {
  for file in history.sqlite3*; do
    [ -f "$file" ] && dd of="$file" oflag=nocache conv=notrunc,fdatasync count=0 status=none
  done
}
measure() {
  cold="" warm=""
  for round in 1 2 3 4 5; do
    forget_cached
    cold="$cold $(run_ms "$@")"
    warm="$warm $(run_ms "$@")"
  done
  # shellcheck disable=SC2086
  echo "torpor $*: $(median $cold) ms cold, $(median $warm) ms warm (medians of 5; cold [$cold ])"
}
echo "$((years * 365 * 1440 * 2)) values of one jar's air, history $(stat -c %s history.sqlite3) bytes"
measure jar O-1
measure jar O-1 --json
measure jar O-1 --html report.html
echo "report.html: $(stat -c %s report.html) bytes"
measure jars
