#!/bin/sh
# Makes the README's pictures anew (examples/pictures/): the demo's shelves and one jar's history, as
# a desk's browser shows them. Needs Debian's chromium and pngquant, and the demo's build.
#   sh examples/pictures.sh [BUILD]
set -eu
cd "$(dirname "$0")/.."
build=$(cd "${1:-build}" && pwd)
. examples/cellar.sh

# picture NAME HEIGHT ADDRESS: 960 px wide, in few greys and browns.
picture() {
  chromium --headless --no-sandbox --disable-gpu --hide-scrollbars --user-data-dir="$room/browser" \
    --window-size="960,$2" --screenshot="$room/$1.png" "$3" 2>"$room/chromium.log" ||
    { cat "$room/chromium.log" >&2; exit 1; }
  pngquant --force --strip --speed 1 --output "examples/pictures/$1.png" 16 "$room/$1.png"
}

configure_cellar
open_cellar
register_jars >/dev/null
play_days
mkdir -p examples/pictures
$torpor jar F-08 --html "$room/F-08.html"
picture shelves 1070 "http://127.0.0.1:$page_port/"
picture jar 1180 "file://$room/F-08.html"
ls -l examples/pictures
