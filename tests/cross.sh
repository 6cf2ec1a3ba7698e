#!/bin/sh
# Builds for the architectures of small boards with Debian's cross compilers, and runs there, under
# qemu-user, the tests of the pure rooms, the history and the ledger, and the service itself with a
# real broker: a warm reading goes in, its notice comes out.
#   sh tests/cross.sh [ARCHITECTURE...]      arm64 and armhf unless given
set -eu
cd "$(dirname "$0")/.."
. tests/packages.sh
packages="$packages qemu-user g++-aarch64-linux-gnu g++-arm-linux-gnueabihf"
install_packages
[ $# -gt 0 ] || set -- arm64 armhf

rooms="sensors rules culture config history ledger"
broker="" service=""
trap 'kill $service $broker 2>/dev/null || true' EXIT INT TERM

# one_notice PROGRAM... : what runs torpord and torpor there
one_notice() {
  folder=$(mktemp -d)
  port=$((20000 + $$ % 20000))
  printf 'listener %d 127.0.0.1\nallow_anonymous true\nuser root\n' "$port" > "$folder/mosquitto.conf"
  mosquitto -c "$folder/mosquitto.conf" > "$folder/broker.log" 2>&1 &
  broker=$!
  cat > "$folder/torpor.yaml" <<EOF
storeroom: cellar
history: {file: history.sqlite3}
broker: {url: "mqtt://127.0.0.1:$port"}
places: {cellar: {}}
sensors:
  - {id: s1, place: cellar, topic: room/s1, payload: number, expected_interval: 1 min,
     measures: {temperature: {unit: °C}}}
rulebooks: [warm.yaml]
EOF
  cat > "$folder/warm.yaml" <<'EOF'
rules:
  warm:
    concerns: place
    when: temperature above 30 °C
    urgency: now
    why: A test on another architecture.
    remedies: [look]
EOF
  "$@" "build-$architecture/daemon/torpord" --config "$folder/torpor.yaml" 2> "$folder/torpord.log" &
  service=$!
  waited=0
  until grep -q "taking readings from the broker" "$folder/torpord.log"; do
    waited=$((waited + 1))
    [ $waited -lt 600 ] || { cat "$folder/torpord.log"; return 1; }
    sleep 0.1
  done
  mosquitto_sub -p "$port" -t torpor/cellar/notice -C 1 -W 60 > "$folder/notice" &
  listener=$!
  sleep 1
  mosquitto_pub -p "$port" -q 1 -t room/s1 -m 35.5
  wait "$listener"
  grep "35.5" "$folder/notice"
  "$@" "build-$architecture/daemon/torpor" --config "$folder/torpor.yaml" sensors
  awk '/^VmRSS|^RssAnon/' "/proc/$service/status"
  kill "$service"
  wait "$service" || true
  kill "$broker"
  service="" broker=""
  rm -rf "$folder"
}

for architecture in "$@"; do
  case $architecture in
    arm64) emulator=qemu-aarch64 ;;
    armhf) emulator=qemu-arm ;;
    *) echo "no toolchain file for $architecture in deploy/cross" >&2; exit 2 ;;
  esac
  TORPOR_SYSROOT=$PWD/build-$architecture/sysroot
  export TORPOR_SYSROOT
  [ -d "$TORPOR_SYSROOT/usr/include" ] || sh deploy/cross/sysroot.sh "$architecture" "$TORPOR_SYSROOT"
  cmake -S . -B "build-$architecture" -G Ninja -DCMAKE_TOOLCHAIN_FILE="deploy/cross/$architecture.cmake" \
    -DCMAKE_UNITY_BUILD=ON -DCMAKE_UNITY_BUILD_BATCH_SIZE=12
  targets="torpord torpor torpor-forward"
  for room in $rooms; do targets="$targets torpor_${room}_tests"; done
  # shellcheck disable=SC2086  # a list of words on purpose
  cmake --build "build-$architecture" --target $targets
  for room in $rooms; do
    echo "$architecture: $room"
    "$emulator" -L "$TORPOR_SYSROOT" "$(find "build-$architecture/tests" -name "torpor_${room}_tests" -type f)"
  done
  one_notice "$emulator" -L "$TORPOR_SYSROOT"
  echo "$architecture: built, tested and run"
done
