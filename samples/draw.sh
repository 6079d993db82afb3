#!/bin/sh
# Draw the tiles and the edition of the sample scenario into samples/out/; with the word `sheet`, its test sheet instead.
# usage: sh samples/draw.sh [PROGRAM [sheet]]
set -eu
start=$(pwd)
here=$(cd "$(dirname "$0")" && pwd)
program=${1:-$here/../build/fleck}
out=$here/out
if [ "${2:-}" = sheet ]; then
    mkdir -p "$out/sheet"
    cd "$out/sheet"
    # another sheet of paper has another texture, and each scan its own noise; the scanner is the same
    draw() {
        name=$1
        shift
        [ -f "$name.png" ] || "$program" phantom sheet -o "$name.png" --patches "$here/sheet.csv" --ppi 1200 \
            --tilt 0.8 --light 0.1 --gamma 2 --chunk none --softness 0.012 --noise 0.01 --fibre 0.008 --ink 0.09 --density-to 1.7 "$@"
    }
    case $program in /*) ;; *) program=$start/$program ;; esac
    draw sheet --seed 51 --steps-out steps.csv
    draw blank --seed 52 --blank
    draw solid --seed 53 --solid
    echo "drawn: samples/out/sheet/ with a sheet of 24 patches, a blank one and a solid one; docs/phantoms.md goes on"
    exit 0
fi
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
mkdir -p "$out/edition"
cp "$here/edition.csv" "$out/edition.csv"
sed 1d "$here/edition.csv" | while IFS=, read -r scan patch print_no diameter coverage seed; do
    if [ -f "$out/$scan" ]; then
        continue
    fi
    "$program" phantom discs -o "$out/$scan" --width 24 --height 24 --ppi 600 --diameter "$diameter" --gsd 1.5 \
        --coverage "$coverage" --softness 0.012 --noise 0.012 --ink 0.09 --paper 0.83 --seed "$seed"
    echo "drawn: $patch of the edition"
done
