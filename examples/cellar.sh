# The invented cellar in a private folder, with a broker and a service of its own on loopback ports.
# Sourced, not run, by the demo, the pictures and the browser's test, with $build the folder of the
# build and from the folder of the sources. Everything started here ends with the shell that sources it.
#   configure_cellar  writes $room/cellar.yaml
#   open_cellar       starts the broker and the service, which shows its pages on $page_port
#   register_jars     the twelve jars, as a keeper would
#   play_days         the ten days, published at speed; returns once the last reading is kept
#   close_service     ends the service cleanly; open_service starts it again
# shellcheck disable=SC2154  # build is the caller's

room=$(mktemp -d)
started=""
clean_up() {
  for process in $started; do kill "$process" 2>/dev/null || true; done
  wait 2>/dev/null || true
  rm -rf "$room"
}
trap clean_up EXIT
trap 'exit 1' INT TERM

cellar_failed() { echo "the cellar failed: $*" >&2; exit 1; }

# True if the kernel's table of listening TCP sockets (state 0A) has this local port.
port_taken() {
  hex=$(printf '%04X' "$1")
  cat /proc/net/tcp /proc/net/tcp6 2>/dev/null | grep -qE "^ *[0-9]+: [0-9A-F]+:$hex [0-9A-F]+:0000 0A"
}
# Ports nobody listens on: the first free ones from here.
port=18830
while port_taken "$port"; do port=$((port + 1)); done
page_port=$((port + 1))
while port_taken "$page_port"; do page_port=$((page_port + 1)); done

# Waits until a file holds a text.
wait_for() {
  tries=0
  until grep -q "$2" "$1" 2>/dev/null; do
    tries=$((tries + 1))
    [ $tries -lt 300 ] || { cat "$1" >&2; cellar_failed "no '$2' in $1"; }
    sleep 0.1
  done
}

torpor="$build/daemon/torpor --config $room/cellar.yaml"

configure_cellar() {
  cp examples/cellar.yaml examples/cellar-rules.yaml "$room"
  sed -i "s/127\.0\.0\.1:18830/127.0.0.1:$port/" "$room/cellar.yaml"
  echo "web: {listen: 127.0.0.1:$page_port}" >>"$room/cellar.yaml"
}

open_cellar() {
  cat >"$room/broker.conf" <<END
listener $port 127.0.0.1
allow_anonymous true
max_queued_messages 0
$([ "$(id -u)" -eq 0 ] && echo "user root")
END
  mosquitto=$(command -v mosquitto || echo /usr/sbin/mosquitto)
  "$mosquitto" -c "$room/broker.conf" >"$room/broker.log" 2>&1 &
  started="$started $!"
  open_service
}

open_service() {
  "$build/daemon/torpord" --config "$room/cellar.yaml" >"$room/torpord.log" 2>&1 &
  torpord=$!
  started="$started $torpord"
  wait_for "$room/torpord.log" "taking readings"
}

register_jars() {
  while read -r sentence; do $torpor tell "$sentence"; done <examples/jars.txt
}

# The last day has arrived once the newest reading is in the history.
play_days() {
  "$build/examples/cellar_days" "tcp://127.0.0.1:$port" >"$room/days.txt"
  tries=0
  until $torpor sensors --json | grep -q '"2025-07-23T21:55:00Z"'; do
    tries=$((tries + 1))
    [ $tries -lt 300 ] || cellar_failed "the last reading did not arrive"
    sleep 0.2
  done
}

close_service() {
  kill "$torpord"
  wait "$torpord" || true
}
