#!/bin/sh
# Installs what the build needs (Debian packages), builds, runs every test, and ends with the test
# runner's own closing line. No questions asked, nothing cached outside the tree.
#   sh tests/run.sh           the short run: at most 12 minutes on 2 cores
#   sh tests/run.sh --long    200 kills instead of 20, the sanitizers, clang-tidy and, as root, the
#                             Debian package in a Debian of its own
set -eu
cd "$(dirname "$0")/.."

. tests/packages.sh
install_packages

long=0
[ "${1:-}" = "--long" ] && long=1
TORPOR_LONG=$long
export TORPOR_LONG

# run_tests FOLDER REGEX [CMAKE OPTION...]: configures, builds and runs.
run_tests() {
  folder=$1 tests=$2
  shift 2
  # A dozen sources of a target at a time: less than half the work of a cold build.
  cmake -S . -B "$folder" -G Ninja -DCMAKE_UNITY_BUILD=ON -DCMAKE_UNITY_BUILD_BATCH_SIZE=12 "$@"
  cmake --build "$folder"
  ctest --test-dir "$folder" --output-on-failure --parallel "$(nproc)" --tests-regex "$tests"
}

if [ $long -eq 1 ]; then
  packages="$packages postgresql"
  install_packages
  run_tests build-address . -DTORPOR_SANITIZE=address,undefined -DCMAKE_CXX_FLAGS_RELEASE="-O1 -g1"
  run_tests build-thread '^(history|service)$' -DTORPOR_SANITIZE=thread \
    -DCMAKE_CXX_FLAGS_RELEASE="-O1 -g1"
  # Clang 14, Debian's default, cannot read the ranges of GCC 12's library. Boost 1.74 knows no Clang
  # with standard coroutines: it is told. Without precompiled headers, which it cannot share.
  packages="$packages clang-16 clang-tidy-16"
  install_packages
  cmake -S . -B build-tidy -G Ninja -DTORPOR_PRECOMPILE=OFF -DTORPOR_WARNINGS_AS_ERRORS=OFF \
    -DCMAKE_CXX_COMPILER=clang++-16 \
    -DCMAKE_CXX_FLAGS="-DBOOST_ASIO_HAS_CO_AWAIT -DBOOST_ASIO_HAS_STD_COROUTINE -Wno-unknown-warning-option"
  run-clang-tidy-16 -clang-tidy-binary clang-tidy-16 -quiet -p build-tidy '/(sensors|rules|config|daemon)/.*\.cpp$'
  [ "$(id -u)" -ne 0 ] || sh tests/package.sh
fi
run_tests build .
