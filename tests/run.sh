#!/bin/sh
# Installs what the build needs (Debian packages), builds, runs every test, and ends with the test
# runner's own closing line. No questions asked, nothing cached outside the tree.
#   sh tests/run.sh           the short run: at most 12 minutes on 2 cores
#   sh tests/run.sh --long    200 kills instead of 20, tests/checks.sh but fuzz and, as root, the Debian
#                             package in a Debian of its own
set -eu
cd "$(dirname "$0")/.."

. tests/packages.sh
install_packages

long=0
[ "${1:-}" = "--long" ] && long=1
TORPOR_LONG=$long
export TORPOR_LONG

if [ $long -eq 1 ]; then
  packages="$packages postgresql"
  install_packages
  sh tests/checks.sh format address-all thread tidy
  [ "$(id -u)" -ne 0 ] || sh tests/package.sh
fi
# A dozen sources of a target at a time: less than half the work of a cold build.
cmake -S . -B build -G Ninja -DCMAKE_UNITY_BUILD=ON -DCMAKE_UNITY_BUILD_BATCH_SIZE=12
cmake --build build
ctest --test-dir build --output-on-failure --parallel "$(nproc)"
