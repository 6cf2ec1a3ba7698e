#!/bin/sh
# The invented cellar's ten days, played through a private broker on loopback: what a phone would
# get, then a jar's history as text and as a page (build/F-08.html), and the web pages, which stay open
# until Ctrl-C where a person looks on. Installs what it needs (Debian packages), builds, cleans up.
#   sh examples/demo.sh
set -eu
cd "$(dirname "$0")/.."

. tests/packages.sh
install_packages

cmake -S . -B build -G Ninja >/dev/null
cmake --build build --target torpord torpor cellar_days

build=build
. examples/cellar.sh

heading() { printf '\n== %s\n\n' "$1"; }

configure_cellar
open_cellar

heading "Twelve jars are registered, as a keeper would from a phone or at the desk"
register_jars

heading "Ten days of six sensors are played at speed; this is what the phone gets"
mosquitto_sub -p "$port" -V mqttv5 -q 1 -t torpor/cellar/notice >"$room/phone.txt" &
started="$started $!"
mosquitto_sub -p "$port" -V mqttv5 -t torpor/cellar/service >"$room/service.txt" &
started="$started $!"
play_days
cat "$room/phone.txt"
printf '\n%s; %s notices.\n' "$(cat "$room/days.txt")" "$(wc -l <"$room/phone.txt")"

heading "Asked from the shelf: ask cellar/shelf-1"
$torpor tell "ask cellar/shelf-1"

heading "Every jar"
$torpor jars

heading "The sensors: one has fallen silent"
$torpor sensors

heading "The history of a jar that stood in the loft and was carried down: torpor jar F-11"
$torpor jar F-11 --from 2025-07-14

heading "The jar that was mixed with too little sugar and got more: torpor jar F-08"
$torpor jar F-08

heading "The same as one page for a phone, a desk or one sheet of A4: torpor jar F-08 --html build/F-08.html"
$torpor jar F-08 --html build/F-08.html

heading "After a clean stop the commands still answer: torpor alerts --all"
close_service
$torpor alerts --all

[ -s "$room/phone.txt" ] || cellar_failed "no notice reached the phone"

heading "The shelves, jars, alerts and sensors in a browser"
open_service
echo "http://127.0.0.1:$page_port/    and the report: build/F-08.html"
if [ -t 1 ]; then
  echo "They stay open until you press Ctrl-C."
  trap 'printf "\n"; exit 0' INT
  wait "$torpord" || true
fi
heading "The demo is done"
