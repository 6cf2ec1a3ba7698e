#!/bin/sh
# The demo's pages and reports in a real Chromium (pages_live.cjs), with jars beside the demo's that
# are hard to show. Skipped (77) with a message where chromium, node or npm are not, or where the two
# packages that drive and judge it cannot be had.
#   pages_live.sh BUILD FOLDER [PICTURES]
# PICTURES: a folder that gets a picture of every page, for a person to look at.
set -eu
build=$(cd "$1" && pwd)
mkdir -p "$2" ${3:+"$3"}
folder=$(cd "$2" && pwd)
pictures=${3:+$(cd "$3" && pwd)}
cd "$(dirname "$0")/../.."
for tool in node npm chromium; do
  command -v $tool >/dev/null || { echo "skipped: there is no $tool here"; exit 77; }
done
timeout 120 npm install --prefix "$folder" --cache "$folder/cache" --no-audit --no-fund --silent \
  playwright-core@1 axe-core@4 >/dev/null 2>&1 ||
  { echo "skipped: npm cannot get playwright-core and axe-core"; exit 77; }

. examples/cellar.sh
configure_cellar
cat >"$room/places" <<'END'
  attic: {}
  shed: {}
  barn: {}
END
cat >"$room/sensors" <<'END'
  - {id: once, place: attic, topic: fernhollow/once, payload: json,
     measures: {temperature: {pointer: /t, unit: °C}, humidity: {pointer: /rh, unit: "%"}},
     time: {pointer: /ts, format: rfc3339}}
  - {id: old, place: barn, topic: fernhollow/old, payload: json, expected_interval: 6 h,
     measures: {temperature: {pointer: /t, unit: °C}, humidity: {pointer: /rh, unit: "%"}}}
END
sed -i -e "/^  outside: {}/r $room/places" -e "/measures: {temperature: {unit: °C}}}/r $room/sensors" \
  "$room/cellar.yaml"
# Ten years of a barn, up to the days before those of the demo.
awk 'BEGIN {
  print "time,temperature_degC,humidity_percent"
  for (s = 1437000000; s < 1752400000; s += 21600) {
    year = sin((s - 1429000000) / 5022000); day = sin(s / 13751)
    print strftime("%Y-%m-%dT%H:%M:%SZ", s, 1) "," sprintf("%.1f,%.0f", 12 + 9 * year + 4 * day, 70 - 12 * year - 6 * day)
  }
}' >"$room/barn.csv"
$torpor import readings "$room/barn.csv" --sensor old
open_cellar
register_jars >/dev/null
play_days
mosquitto_pub -p "$port" -V mqttv5 -q 1 -t fernhollow/once \
  -m '{"t": 21.5, "rh": 55, "ts": "2025-07-23T21:50:00Z"}'
tries=0
until $torpor sensors | grep -q '^once.*21\.5'; do
  tries=$((tries + 1))
  [ $tries -lt 100 ] || cellar_failed "the one reading did not arrive"
  sleep 0.1
done
tell() { $torpor tell "$1" >>"$room/told.txt" || { tail -n 1 "$room/told.txt" >&2; cellar_failed "$1"; }; }
# Fewer sentences than the service takes in a minute. One reading, none, ten years with a full journal, and markup wherever a person may write.
tell 'new jar T-01 in attic stage IMO-2 rice 900 g raw 480 g sugar 950 g closed 2025-07-23'
tell 'new jar T-02 in shed closed 2025-07-01'
tell 'new jar T-03 in barn stage IMO-2 rice 1200 g raw 660 g sugar 1250 g topping 60 g vessel glass 3.8 l empty 1450 g mouth 11 cm cover kraft closed 2015-07-24 origin "beech hollow, north slope"'
for year in 2016 2017 2018 2019 2020 2021 2022 2023 2024; do
  tell "T-03 all well at $year-02-03T09:00 by \"Mira\""
  tell "take 20 g from T-03 for \"heap $year, the long bed behind the mill and the two small ones\" at $year-06-01T09:00"
  tell "cover T-03 with kraft at $year-06-01T10:00"
done
tell 'new jar T-04 in cellar/shelf-2 stage "<b>IMO-2</b>" rice 900 g raw 480 g sugar 950 g closed 2025-06-01 origin "><script>alert(1)</script><img src=x onerror=alert(2)>"'
tell 'take 100 g from T-04 for "<svg onload=alert(3)>" by "<a href=javascript:alert(4)>Mira"'
for child in 05 06 07 08 09 10; do tell "split 40 g from T-03 into T-$child in shed vessel glass 1 l cover paper"; done
# Named by the command that lists them: every jar there is.
jars=$($torpor jars --json | grep -oE '"jar": *"[^"]+"' | cut -d'"' -f4)
mkdir "$room/reports"
for jar in $jars; do $torpor jar "$jar" --html "$room/reports/$jar.html" >/dev/null; done
# shellcheck disable=SC2086  # a list of words on purpose
NODE_PATH="$folder/node_modules" node tests/web/pages_live.cjs "$(command -v chromium)" \
  "http://127.0.0.1:$page_port" "$room/reports" "$pictures" $jars
