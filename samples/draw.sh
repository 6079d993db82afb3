#!/bin/sh
# Draw the tiles of the sample scenario into samples/out/.
# usage: sh samples/draw.sh [PROGRAM]
set -eu
here=$(cd "$(dirname "$0")" && pwd)
program=${1:-$here/../build/fleck}
out=$here/out
mkdir -p "$out/tiles"
cp "$here/tiles.csv" "$out/tiles.csv"
sed 1d "$here/tiles.csv" | while IFS=, read -r scan patch paste batch diameter coverage seed; do
    if [ -f "$out/$scan" ]; then
        continue
    fi
    "$program" phantom discs -o "$out/$scan" --width 24 --height 24 --ppi 1200 --diameter "$diameter" --gsd 1.5 \
        --coverage "$coverage" --softness 0.012 --noise 0.012 --ink 0.09 --paper 0.83 --seed "$seed"
    echo "drawn: $patch ($paste % paste, bowl $batch)"
done
