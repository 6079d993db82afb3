#!/bin/sh
# Install the Debian packages of the lists named, those that are missing alone.
# usage: sh samples/install.sh LIST...
set -eu

missing=
for package in $(sed 's/#.*//' "$@"); do
    state=$(dpkg-query -W -f '${Status}' "$package" 2>/dev/null || true)
    [ "$state" = "install ok installed" ] || missing="$missing $package"
done
[ -n "$missing" ] || exit 0

if ! command -v apt-get >/dev/null 2>&1; then
    echo "fleck: this is no Debian system; install by hand what matches:$missing" >&2
    exit 1
fi
if [ "$(id -u)" -eq 0 ]; then
    as_root=
elif command -v sudo >/dev/null 2>&1; then
    as_root=sudo
else
    echo "fleck: packages are missing and there is neither root nor sudo; as root, run" >&2
    echo "    apt-get install$missing" >&2
    exit 1
fi
echo "installing:$missing"
# the word splitting of $missing and of an empty $as_root is meant
# shellcheck disable=SC2086
if ! $as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $missing >/dev/null 2>&1; then
    # the lists of packages may be old or were never fetched
    $as_root apt-get update -qq
    $as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $missing >/dev/null
fi
