#!/bin/sh
# The systemd unit shows at most so much to the rest of the machine: `systemd-analyze security`, of
# 10 at the worst. Skipped (77) where there is no systemd-analyze that can look at a file.
#   sh tests/unit_file.sh UNIT
set -eu
if ! systemd-analyze security --help 2>/dev/null | grep -q -- --offline; then
  echo "skipped: no systemd-analyze that looks at a file"
  exit 77
fi
systemd-analyze security --offline=true --threshold=20 --no-pager "$1" | tail -n 1
# Verify finds keys that are misspelt; what is not installed here is no fault of the file.
faults=$(systemd-analyze verify "$1" 2>&1 | grep -F "$(basename "$1"):" | grep -v 'is not executable' | grep -v "Command 'man " || true)
[ -z "$faults" ] || { echo "$faults"; exit 1; }
