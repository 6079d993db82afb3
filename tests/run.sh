#!/bin/sh
# Install what is missing, build, and pass all tests, plain and under the sanitizers.
# usage: sh tests/run.sh [CTEST ARGUMENT...]
set -eu
cd "$(dirname "$0")/.."

sh samples/install.sh samples/packages.txt tests/packages.txt

jobs=$(nproc 2>/dev/null || echo 2)
for kind in plain sanitized; do
    folder=build
    sanitize=OFF
    if [ "$kind" = sanitized ]; then
        folder=build-sanitized
        sanitize=ON
    fi
    echo "== $kind build =="
    cmake -S . -B "$folder" -DFLECK_SANITIZE=$sanitize -DFLECK_TESTS=ON >/dev/null
    cmake --build "$folder" -j "$jobs" >"$folder/build.log" 2>&1 || {
        cat "$folder/build.log"
        exit 1
    }
    if grep -n 'warning:' "$folder/build.log"; then
        echo "fleck: the build has warnings; mend them" >&2
        exit 1
    fi
    echo "== $kind tests =="
    (cd "$folder" && ctest --output-on-failure -j "$jobs" "$@")
done
