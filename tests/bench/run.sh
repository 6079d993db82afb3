#!/bin/sh
# Time fleck beside its peers, side by side in one go, and write docs/performance.md.
# usage: sh tests/bench/run.sh [ROUNDS] [FOLDER FOR SCANS]
set -eu
cd "$(dirname "$0")/../.."

sh samples/install.sh samples/packages.txt tests/packages.txt tests/bench/packages.txt

rounds=${1:-3}
scans=${2:-build-bench/scans}
jobs=$(nproc 2>/dev/null || echo 2)
cmake -S . -B build-bench -DCMAKE_BUILD_TYPE=Release >/dev/null
cmake --build build-bench -j "$jobs" --target fleck stages >build-bench/build.log 2>&1 || {
    cat build-bench/build.log
    exit 1
}
g++ -O3 -march=native tests/bench/peers/opencv.cpp -o build-bench/opencv $(pkg-config --cflags opencv4) \
    -lopencv_core -lopencv_imgproc -lopencv_imgcodecs -lopencv_flann
mkdir -p "$scans"
exec /usr/bin/python3 tests/bench/compare.py build-bench "$scans" "$rounds" docs/performance.md
