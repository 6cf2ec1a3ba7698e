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

room=$(mktemp -d)
started=""
clean_up() {
  for process in $started; do kill "$process" 2>/dev/null || true; done
  wait 2>/dev/null || true
  rm -rf "$room"
}
trap clean_up EXIT
trap 'exit 1' INT TERM

# True if the kernel's table of listening TCP sockets (state 0A) has this local port.
port_taken() {
  hex=$(printf '%04X' "$1")
  cat /proc/net/tcp /proc/net/tcp6 2>/dev/null | grep -qE "^ *[0-9]+: [0-9A-F]+:$hex [0-9A-F]+:0000 0A"
}
# A port nobody listens on: the first free one from here.
port=18830
while port_taken "$port"; do port=$((port + 1)); done

page_port=$((port + 1))
while port_taken "$page_port"; do page_port=$((page_port + 1)); done

cp examples/cellar.yaml examples/cellar-rules.yaml "$room"
sed -i "s/127\.0\.0\.1:18830/127.0.0.1:$port/" "$room/cellar.yaml"
echo "web: {listen: 127.0.0.1:$page_port}" >>"$room/cellar.yaml"
cat >"$room/broker.conf" <<EOF
listener $port 127.0.0.1
allow_anonymous true
max_queued_messages 0
$([ "$(id -u)" -eq 0 ] && echo "user root")
EOF
torpor="build/daemon/torpor --config $room/cellar.yaml"

heading() { printf '\n== %s\n\n' "$1"; }
# Waits until a file holds a text; the demo fails if it never does.
wait_for() {
  tries=0
  until grep -q "$2" "$1" 2>/dev/null; do
    tries=$((tries + 1))
    [ $tries -lt 300 ] || { echo "the demo failed: no '$2' in $1" >&2; cat "$1" >&2; exit 1; }
    sleep 0.1
  done
}

mosquitto=$(command -v mosquitto || echo /usr/sbin/mosquitto)
"$mosquitto" -c "$room/broker.conf" >"$room/broker.log" 2>&1 &
started="$started $!"
build/daemon/torpord --config "$room/cellar.yaml" >"$room/torpord.log" 2>&1 &
torpord=$!
started="$started $torpord"
wait_for "$room/torpord.log" "taking readings"

heading "Twelve jars are registered, as a keeper would from a phone or at the desk"
while read -r sentence; do $torpor tell "$sentence"; done <examples/jars.txt

heading "Ten days of six sensors are played at speed; this is what the phone gets"
mosquitto_sub -p "$port" -V mqttv5 -q 1 -t torpor/cellar/notice >"$room/phone.txt" &
started="$started $!"
mosquitto_sub -p "$port" -V mqttv5 -t torpor/cellar/service >"$room/service.txt" &
started="$started $!"
build/examples/cellar_days "tcp://127.0.0.1:$port" >"$room/days.txt"
# The last day has arrived once the newest reading is in the history.
tries=0
until $torpor sensors --json | grep -q '"2025-07-23T21:55:00Z"'; do
  tries=$((tries + 1))
  [ $tries -lt 300 ] || { echo "the demo failed: the last reading did not arrive" >&2; exit 1; }
  sleep 0.2
done
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
kill "$torpord"
wait "$torpord" || true
$torpor alerts --all

[ -s "$room/phone.txt" ] || { echo "the demo failed: no notice reached the phone" >&2; exit 1; }

heading "The shelves, jars, alerts and sensors in a browser"
build/daemon/torpord --config "$room/cellar.yaml" >"$room/torpord-2.log" 2>&1 &
torpord=$!
started="$started $torpord"
wait_for "$room/torpord-2.log" "showing web pages"
echo "http://127.0.0.1:$page_port/    and the report: build/F-08.html"
if [ -t 1 ]; then
  echo "They stay open until you press Ctrl-C."
  trap 'printf "\n"; exit 0' INT
  wait "$torpord" || true
fi
heading "The demo is done"
