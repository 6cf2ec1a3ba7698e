#!/bin/sh
# Which lines and branches the tests reach, by room: a build with --coverage into build-coverage/, the
# tests of the rooms named (all unless given), and gcovr, from Debian's packages. Branches of exceptions
# that only libraries throw are left out. By file: build-coverage/by-file.txt.
#   sh tests/coverage.sh [ROOM...]     such as: sensors rules culture config
set -eu
cd "$(dirname "$0")/.."
. tests/packages.sh
packages="$packages gcovr"
install_packages
build=${BUILDS:-.}/build-coverage

[ $# -gt 0 ] || set -- sensors rules culture config forward history ledger link report service web system
targets="" tests=""
for room in "$@"; do
  targets="$targets torpor_${room}_tests"
  tests="$tests${tests:+|}^$room\$"
done

cmake -S . -B "$build" -G Ninja -DCMAKE_UNITY_BUILD=ON -DCMAKE_UNITY_BUILD_BATCH_SIZE=12 \
  -DTORPOR_WARNINGS_AS_ERRORS=OFF -DCMAKE_BUILD_TYPE=Debug -DCMAKE_CXX_FLAGS_DEBUG="-O0 -w --coverage -fprofile-update=atomic"
# shellcheck disable=SC2086  # a list of words on purpose
cmake --build "$build" --target $targets
# Counts of an earlier run are not this one's.
find "$build" -name '*.gcda' -delete
ctest --test-dir "$build" --output-on-failure --parallel "$(nproc)" --tests-regex "$tests"

gcovr --root . --object-directory "$build" "$build" --exclude-throw-branches --exclude-unreachable-branches \
  --filter 'sensors/' --filter 'rules/' --filter 'config/' --filter 'daemon/' \
  --txt "$build/by-file.txt" --json-summary "$build/by-file.json"
python3 - "$build/by-file.json" <<'END'
import collections, json, sys

rooms = collections.defaultdict(lambda: [0, 0, 0, 0])
for file in json.load(open(sys.argv[1]))["files"]:
    parts = file["filename"].split("/")
    room = "/".join(parts[: 2 if parts[0] in ("rules", "daemon") and len(parts) > 2 else 1])
    for i, key in enumerate(("line_covered", "line_total", "branch_covered", "branch_total")):
        rooms[room][i] += file[key]
print(f"{'room':16} {'lines':>15} {'branches':>21}")
for room, (lines, all_lines, branches, all_branches) in sorted(rooms.items()):
    if lines == 0:
        continue  # built for a room below it, or left from an earlier run
    print(f"{room:16} {100 * lines / max(1, all_lines):5.1f} % of {all_lines:5} {100 * branches / max(1, all_branches):10.1f} % of {all_branches:5}")
END
