#!/bin/sh
# Hunt for inputs that break a reader: libFuzzer under AddressSanitizer and UBSan.
# usage: sh tests/fuzz/run.sh SECONDS [HUNT...]
# Hunts: png tiff jpeg calibration csv manifest record run label command (default: all, one after the other).
# What is found stays in build-fuzz/found/HUNT, the corpus that has grown in build-fuzz/corpus/HUNT. Besides
# what the sanitizers see, an input that takes over 5 s (run, command: 25), 64 MiB at a time or 512 MiB in all is a finding.
set -eu
cd "$(dirname "$0")/../.."

seconds=${1:?usage: sh tests/fuzz/run.sh SECONDS [HUNT...]}
shift
[ $# -gt 0 ] || set -- png tiff jpeg calibration csv manifest record run label command
sh samples/install.sh samples/packages.txt tests/packages.txt tests/fuzz/packages.txt

build=build-fuzz
CC=clang CXX=clang++ cmake -S . -B $build -DFLECK_SANITIZE=ON -DFLECK_FUZZ=ON \
    -DCMAKE_C_FLAGS=-fsanitize=fuzzer-no-link >/dev/null
cmake --build $build -j "$(nproc)" --target fuzz_scan fuzz_calibration fuzz_csv fuzz_manifest fuzz_record \
    fuzz_run fuzz_label fuzz_command >$build/build.log 2>&1 || {
    cat $build/build.log
    exit 1
}
mkdir -p $build/found $build/corpus $build/logs

# seeds of one format only
scans() {
    mkdir -p "$build/seeds/$1"
    shift
    for ending in "$@"; do
        find tests/data/scan tests/fuzz/seeds/scan -name "*.$ending" -size -64k -exec cp {} "$build/seeds/$hunt/" \;
    done
}

failed=0
printf '%-12s %12s %8s %s\n' hunt executions seconds found
for hunt in "$@"; do
    target=fuzz_$hunt dictionary= seeds= longest=65536 slowest=5
    case $hunt in
    png) target=fuzz_scan dictionary=png.dict seeds=$build/seeds/png; scans png png ;;
    tiff) target=fuzz_scan dictionary=tiff.dict seeds=$build/seeds/tiff; scans tiff tif tiff ;;
    jpeg) target=fuzz_scan dictionary=jpeg.dict seeds=$build/seeds/jpeg; scans jpeg jpg jpeg ;;
    calibration) dictionary=calibration.dict seeds=tests/data/calibration ;;
    csv) dictionary=manifest.dict seeds=tests/data/csv ;;
    manifest) dictionary=manifest.dict seeds="tests/fuzz/seeds/manifest tests/data/csv" ;;
    record) dictionary=record.dict seeds=tests/fuzz/seeds/record ;;
    run) dictionary=record.dict seeds=tests/fuzz/seeds/run slowest=25 ;; # a page is much work under the sanitizers
    label) seeds=tests/fuzz/seeds/label longest=4096 ;;
    command) dictionary=command.dict seeds=tests/fuzz/seeds/command longest=1000 slowest=25 ;; # as a measurement is
    *) echo "fleck: $hunt: is no hunt; see the head of this file" >&2; exit 2 ;;
    esac
    mkdir -p "$build/found/$hunt" "$build/corpus/$hunt"
    begun=$(date +%s)
    # what AddressSanitizer holds back of freed memory is none of ours; fontconfig keeps what it made
    ASAN_OPTIONS=quarantine_size_mb=16 LSAN_OPTIONS=suppressions=$PWD/tests/support/leaks.txt \
        $build/tests/$target -max_total_time="$seconds" -timeout=$slowest -malloc_limit_mb=64 \
        -rss_limit_mb=512 -max_len=$longest -print_final_stats=1 \
        ${dictionary:+-dict=tests/fuzz/$dictionary} -artifact_prefix="$PWD/$build/found/$hunt/" \
        "$PWD/$build/corpus/$hunt" $(for seed in $seeds; do echo "$PWD/$seed"; done) >"$build/logs/$hunt.log" 2>&1 || failed=1
    printf '%-12s %12s %8s %s\n' "$hunt" \
        "$(sed -n 's/^stat::number_of_executed_units: *//p' "$build/logs/$hunt.log")" "$(($(date +%s) - begun))" \
        "$(find "$build/found/$hunt" -type f | wc -l)"
done
exit $failed
