#!/bin/sh
# Runs psychrolib_live.cjs where node and npm are; skipped (77) with a message where not, or where
# the package cannot be had. The recorded table in tests/reference/air is checked everywhere.
#   psychrolib_live.sh TORPOR FOLDER
set -eu
torpor=$1 folder=$2
here=$(cd "$(dirname "$0")" && pwd)
for tool in node npm; do
  command -v $tool >/dev/null || { echo "skipped: there is no $tool here"; exit 77; }
done
mkdir -p "$folder"
timeout 60 npm install --prefix "$folder" --cache "$folder/cache" --no-audit --no-fund --silent \
  psychrolib@1 >/dev/null 2>&1 || { echo "skipped: npm cannot get psychrolib"; exit 77; }
exec node "$here/psychrolib_live.cjs" "$torpor" "$folder/node_modules/psychrolib"
