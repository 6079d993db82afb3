#!/bin/sh
# Build, install and pack twice, from two copies in folders of different names and at different times:
# every byte must be the same. Takes as long as two builds, so it is run by hand.
# usage: sh tests/install/reproducible.sh
set -eu
root=$(cd "$(dirname "$0")/../.." && pwd)
jobs=$(nproc 2>/dev/null || echo 2)
top=$(mktemp -d)
trap 'rm -rf "$top"' EXIT
# the time that files in the package bear
SOURCE_DATE_EPOCH=$(date -u -d "$(sed -n 's/^## .*(\(.*\)).*/\1/p' "$root/CHANGELOG.md" | head -n 1)" +%s)
export SOURCE_DATE_EPOCH

for folder in one "another of a longer name"; do
    mkdir -p "$top/$folder/source"
    (cd "$root" && tar cf - CMakeLists.txt README.md CHANGELOG.md LICENSE cli docs include lib samples/c) |
        (cd "$top/$folder/source" && tar xf -)
    cmake -S "$top/$folder/source" -B "$top/$folder/build of it" -DFLECK_TESTS=OFF -DCMAKE_INSTALL_PREFIX=/usr >/dev/null
    cmake --build "$top/$folder/build of it" -j "$jobs" >/dev/null
    DESTDIR="$top/$folder/installed" cmake --install "$top/$folder/build of it" >/dev/null
    (cd "$top/$folder" && cpack -G DEB --config "build of it/CPackConfig.cmake" -B packed >/dev/null)
    # what is packed is cleaned of the two places where it lay
    find "$top/$folder/packed" -mindepth 1 -maxdepth 1 -type d -exec rm -rf {} +
done

diff -r "$top/one/installed" "$top/another of a longer name/installed"
diff -r "$top/one/packed" "$top/another of a longer name/packed"
echo "the same bytes: $(find "$top/one/installed" -type f | wc -l) files and $(cd "$top/one/packed" && ls)"
(cd "$top/one/packed" && sha256sum ./*.deb)
