#!/bin/sh
# Install what is missing, build fleck, and measure the sample tiles.
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
echo "== all tiles, in three concentrations of paste: fleck measure tiles.csv -o run =="
rm -rf run
"$fleck" measure tiles.csv -o run
echo
echo "The table with every measure is samples/out/run/patches.csv; fleck describe says what each means."
