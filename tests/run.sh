#!/bin/sh
# Installs what the build needs (Debian packages), builds, runs every test, and ends with the test
# runner's own closing line. No questions asked, nothing cached outside the tree.
#   sh tests/run.sh           the short run: at most 12 minutes on 2 cores
#   sh tests/run.sh --long    more kills and minutes of fuzzing
set -eu
cd "$(dirname "$0")/.."

. tests/packages.sh
install_packages

TORPOR_LONG=0
[ "${1:-}" = "--long" ] && TORPOR_LONG=1
export TORPOR_LONG

cmake -S . -B build -G Ninja
cmake --build build
ctest --test-dir build --output-on-failure --parallel "$(nproc)"
