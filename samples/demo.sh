#!/bin/sh
# Install what is missing, build fleck, measure the sample tiles and make a page about them.
# usage: sh samples/demo.sh
set -eu
here=$(cd "$(dirname "$0")" && pwd)
root=$(cd "$here/.." && pwd)

sh "$here/install.sh" "$here/packages.txt"
echo "== building =="
cmake -S "$root" -B "$root/build" -DFLECK_TESTS=OFF >/dev/null
cmake --build "$root/build" -j "$(nproc)" >/dev/null
fleck=$root/build/fleck

echo "== drawing the sample tiles (invented: see samples/README.md) =="
sh "$here/draw.sh" "$fleck"

cd "$here/out"
echo
echo "== one tile: fleck measure tiles/paste2-5-1.png =="
"$fleck" measure tiles/paste2-5-1.png
echo
echo "== all tiles, in three concentrations of paste: fleck measure tiles.csv --pictures --sheet-by paste_pct -o run =="
rm -rf run
"$fleck" measure tiles.csv --pictures --sheet-by paste_pct -o run
echo
echo "== one page about them: fleck report run --by paste_pct =="
"$fleck" report run --by paste_pct --title "Does more paste change the speckle?"
echo
echo "Open samples/out/run/report.html in a browser: it answers the question first and can be sent as it is."
echo "The table with every measure is samples/out/run/patches.csv; fleck describe says what each means."
