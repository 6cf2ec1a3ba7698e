#!/bin/sh
# Every comparison of the history with its neighbours in one run; quote ratios of one run only.
#
#   sh tests/bench/all.sh BUILD OFFICE_ROOM.csv [FOLDER]
#
# BUILD: a release build with its benchmarks. FOLDER: on the disk that matters. Let the machine be
# calm: it takes about five minutes.
set -eu
bench=$(dirname "$0")
TMPDIR=$(cd "${3:-.}" && pwd)
export TMPDIR
"$1/tests/bench/torpor_block_bench" "$2" "$TMPDIR"
"$1/tests/bench/torpor_history_bench" "$TMPDIR"
sh "$bench/pipe_bench.sh" "$1"
sh "$bench/report_bench.sh" "$1"
