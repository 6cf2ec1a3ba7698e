#!/bin/sh
# The checks beside the tests, each an argument, in the order given:
#   address        ASAN and UBSAN over the tests of the pure rooms and the history
#   address-all    the same over every test
#   thread         TSAN over the daemon's tests: history and service
#   tidy           clang-tidy over all sources outside tests
#   tidy-changed   clang-tidy over those that differ from the branch's origin, or else from the last commit
#   fuzz           libFuzzer with ASAN and UBSAN over every target of tests/fuzz, FUZZ_SECONDS each (400: an
#                  hour in all); what it finds stays in build-fuzz
#   format         the layout of the sources
#   sh tests/checks.sh address thread tidy-changed
# A finding ends it with 1. What it needs it installs from Debian's packages; where it cannot, it says
# what it leaves out. BUILDS: where the builds go, else here.
set -eu
cd "$(dirname "$0")/.."
. tests/packages.sh
builds=${BUILDS:-.}

# Clang 14, Debian's default, cannot read the ranges of GCC 12's library. Boost 1.74 knows no Clang
# with standard coroutines: it is told.
clang="-DCMAKE_CXX_COMPILER=clang++-16 -DTORPOR_WARNINGS_AS_ERRORS=OFF"
clang_flags="-DBOOST_ASIO_HAS_CO_AWAIT -DBOOST_ASIO_HAS_STD_COROUTINE -Wno-unknown-warning-option"

# have STAGE PACKAGE...: or says that the stage is left out
have() {
  stage=$1
  shift
  packages="$packages $*"
  install_packages && return 0
  echo "skipped: $stage, for want of Debian's packages"
  return 1
}

# sanitized FOLDER SANITIZERS ROOMS: ROOMS are names of tests, or all. Clang builds instrumented code in
# half of GCC's time, and unoptimised in a third of that. The first finding ends a test.
sanitized() {
  folder=$builds/$1 rooms=$3
  # shellcheck disable=SC2086  # a list of words on purpose
  cmake -S . -B "$folder" -G Ninja $clang -DCMAKE_UNITY_BUILD=ON -DCMAKE_UNITY_BUILD_BATCH_SIZE=12 \
    -DTORPOR_SANITIZE="$2" -DCMAKE_BUILD_TYPE=Debug -DCMAKE_CXX_FLAGS_DEBUG="-O0 -g1" \
    -DCMAKE_CXX_FLAGS="-w -fno-sanitize-recover=all $clang_flags"
  tests=. targets=all
  if [ "$rooms" != all ]; then
    targets="" tests=""
    for room in $rooms; do
      targets="$targets torpor_${room}_tests"
      tests="$tests${tests:+|}^$room\$"
    done
  fi
  # shellcheck disable=SC2086  # a list of words on purpose
  cmake --build "$folder" --target $targets
  ASAN_OPTIONS=allow_addr2line=1:strict_string_checks=1 \
  UBSAN_OPTIONS=allow_addr2line=1:print_stacktrace=1 \
  TSAN_OPTIONS=allow_addr2line=1:halt_on_error=1 \
    ctest --test-dir "$folder" --output-on-failure --parallel "$(nproc)" --tests-regex "$tests"
}

# fuzzed SECONDS: every target goes on when another has found something
fuzzed() {
  folder=$builds/build-fuzz corpus=$PWD/tests/fuzz/corpus failed="" targets=""
  # shellcheck disable=SC2086  # a list of words on purpose
  cmake -S . -B "$folder" -G Ninja $clang -DCMAKE_UNITY_BUILD=ON -DCMAKE_UNITY_BUILD_BATCH_SIZE=12 \
    -DTORPOR_SANITIZE=address,undefined,fuzzer-no-link -DCMAKE_BUILD_TYPE=Debug \
    -DCMAKE_CXX_FLAGS_DEBUG="-O1 -g1" -DCMAKE_CXX_FLAGS="-w -fno-sanitize-recover=all $clang_flags"
  for target in "$corpus"/*/; do targets="$targets $(basename "$target")"; done
  for target in $targets; do cmake --build "$folder" --target "fuzz_$target"; done
  for target in $targets; do
    found=$folder/tests/fuzz/found/$target
    "$folder/tests/fuzz/fuzz_$target" -max_total_time="$1" -timeout=20 -print_final_stats=1 \
      -dict="$corpus/$target.dict" -artifact_prefix="$found." "$found" "$corpus/$target" \
      > "$found.log" 2>&1 || failed="$failed $target"
    awk -v target="$target" '/executed_units/ { print target ": " $2 " runs" }' "$found.log"
  done
  [ -z "$failed" ] || {
    for target in $failed; do
      echo "== $target"
      grep -v '^#[0-9]*	' "$folder/tests/fuzz/found/$target.log" | tail -n 40
    done
    return 1
  }
}

# tidied PATTERN...: of paths below here
tidied() {
  # Without precompiled headers, which clang-tidy cannot share, and source by source.
  # shellcheck disable=SC2086  # a list of words on purpose
  cmake -S . -B "$builds/build-tidy" -G Ninja $clang -DTORPOR_PRECOMPILE=OFF -DCMAKE_CXX_FLAGS="$clang_flags"
  for pattern in "$@"; do printf '/%s$\n' "$pattern"; done |
    xargs run-clang-tidy-16 -clang-tidy-binary clang-tidy-16 -quiet -p "$builds/build-tidy"
}

# The sources outside tests, and those beside the headers, that differ from where this branch left its
# origin; on that branch itself from the commit before. At most 24, the most changed ones, so that a
# large change takes no longer than three minutes of two cores.
changed_sources() {
  since=$(git merge-base HEAD origin/main 2>/dev/null || true)
  [ -n "$since" ] && [ "$since" != "$(git rev-parse HEAD)" ] || since=HEAD~1
  git diff --numstat --diff-filter=d "$since" -- sensors rules config daemon 2>/dev/null | sort -rn |
    while IFS='	' read -r _ _ file; do
      case $file in
        *.cpp) echo "$file" ;;
        *.h) [ ! -e "${file%.h}.cpp" ] || echo "${file%.h}.cpp" ;;
      esac
    done | awk '!seen[$0]++' | head -n 24
}

for stage in "$@"; do
  echo "== $stage"
  case $stage in
    address)
      if have "$stage" clang-16; then
        sanitized build-address address,undefined "sensors rules culture config history"
      fi ;;
    address-all)
      if have "$stage" clang-16 postgresql; then sanitized build-address address,undefined all; fi ;;
    thread)
      if have "$stage" clang-16; then sanitized build-thread thread "history service"; fi ;;
    fuzz)
      if have "$stage" clang-16; then fuzzed "${FUZZ_SECONDS:-400}"; fi ;;
    tidy)
      if have "$stage" clang-16 clang-tidy-16; then tidied '(sensors|rules|config|daemon)/.*[.]cpp'; fi ;;
    tidy-changed)
      sources=$(changed_sources)
      if [ -z "$sources" ]; then
        echo "no source has changed"
      elif have "$stage" clang-16 clang-tidy-16; then
        # shellcheck disable=SC2086  # a list of words on purpose
        tidied $sources
      fi ;;
    format)
      if have "$stage" clang-format; then
        git ls-files -z '*.h' '*.cpp' | xargs -0 clang-format --dry-run --Werror
      fi ;;
    *) echo "no such check: $stage" >&2; exit 2 ;;
  esac
done
