#!/bin/sh
# Names that a shared library exports, sorted.
# usage: sh lib/package/list_symbols.sh build/libfleck.so >lib/package/symbols.txt
set -eu
nm -D --defined-only "$1" | awk '{ print $3 }' | LC_ALL=C sort -u
