#!/bin/sh
# What is too slow for every day: sanitizer for threads, valgrind, and the tools that read the code.
# usage: sh tests/tools/run.sh [threads] [memory] [tidy] [cppcheck] [analyzer]      (default: all)
# Installs what it needs, builds in build-tools and build-threads, and ends with a line for each tool; its exit
# code is 1 when any has a finding. What a tool is told to pass over stands, with the reason, in .clang-tidy
# and beside this file.
set -u
cd "$(dirname "$0")/../.." || exit 1
root=$(pwd)
tools=${*:-threads memory tidy cppcheck analyzer}
python=$(command -v /usr/bin/python3 || command -v python3)
jobs=$(nproc 2>/dev/null || echo 2)
export PYTHONDONTWRITEBYTECODE=1

sh samples/install.sh samples/packages.txt tests/packages.txt tests/tools/packages.txt || exit 1
logs=build-tools/findings
mkdir -p "$logs"
cmake -S . -B build-tools -DCMAKE_EXPORT_COMPILE_COMMANDS=ON -DCMAKE_BUILD_TYPE=RelWithDebInfo >/dev/null &&
    cmake --build build-tools -j "$jobs" --target fleck >/dev/null || exit 1

# in these the macros of analysis.h would stand where its functions are defined; text.c wants the system's headers
# in another way
plain='lib/core/error.c lib/core/spill.c lib/core/text.c lib/calibrate/calibration.c lib/record/input_parts.c lib/record/patch.c lib/study/edition_prints.c'
sources=$(find lib cli -name '*.c' | sort)

told() { # the words that tell a tool of analysis.h, for a source
    case " $plain " in
    *" $1 "*) ;;
    *) echo "-I$root/include -I$root/lib -include $root/tests/tools/analysis.h" ;;
    esac
}

threads() {
    cmake -S . -B build-threads -DFLECK_SANITIZE_THREADS=ON >/dev/null &&
        cmake --build build-threads -j "$jobs" >/dev/null || return 1
    export TSAN_OPTIONS=exitcode=66
    # the tests of what shares its work among threads, and every command
    (cd build-threads && ctest --output-on-failure -R \
        'test_(parallel|spill|row_feed|sources|spectrum|spectrum_features|masked_measures|random_set|grain|pattern_order|record|compare|report)$') &&
        "$python" tests/tools/jobs.py build-tools/fleck build-threads/fleck
}

memory() {
    "$python" tests/tools/jobs.py build-tools/fleck valgrind --quiet --error-exitcode=99 --leak-check=full \
        --errors-for-leak-kinds=definite --suppressions="$root/tests/tools/valgrind.txt" build-tools/fleck
}

tidy() {
    for source in $sources; do
        words=
        for word in $(told "$source"); do words="$words --extra-arg=$word"; done
        # shellcheck disable=SC2086
        echo "$words $source"
    done | xargs -P "$jobs" -L 1 clang-tidy -p build-tools --quiet 2>/dev/null | grep -av -f "$logs/known-tidy"
}

read_by_cppcheck() {
    cppcheck --quiet --std=c11 --enable=warning,performance,portability -I include -I lib -I cli \
        --suppress=missingIncludeSystem --suppressions-list=tests/tools/cppcheck.txt -D_POSIX_C_SOURCE=200809L \
        -j "$jobs" --template='{file}:{line}: warning: {message} [{id}]' lib cli 2>&1
}

analyzer() {
    flags=$(pkg-config --cflags libpng libtiff-4 libjpeg lcms2 fftw3 gsl libcjson nettle cairo)
    for source in $sources; do
        echo "$(told "$source") $source"
    done | LC_ALL=C xargs -P "$jobs" -L 1 gcc -std=c17 -O1 -fanalyzer -Iinclude -Ilib -D_POSIX_C_SOURCE=200809L \
        $flags -c -o /dev/null 2>&1 | grep -av -f "$logs/known-analyzer"
}

for tool in tidy analyzer; do grep -v '^#' "tests/tools/$tool.txt" >"$logs/known-$tool"; done
wrong=0
for tool in $tools; do
    case $tool in
    threads | memory)
        if "$tool" >"$logs/$tool" 2>&1; then found=0; else found=1; fi
        tail -n 3 "$logs/$tool" | sed 's/^/    /'
        ;;
    tidy | analyzer) "$tool" >"$logs/$tool"; found=$(grep -ac 'warning:\|error:' "$logs/$tool") ;;
    cppcheck) read_by_cppcheck >"$logs/$tool"; found=$(grep -ac 'warning:' "$logs/$tool") ;;
    *) echo "fleck: $tool: no such tool; give threads, memory, tidy, cppcheck or analyzer" >&2; exit 2 ;;
    esac
    if [ "$found" -gt 0 ]; then
        wrong=1
        grep -a 'warning:\|error:\|WRONG' "$logs/$tool" | head -n 20
    fi
    echo "$tool: $found findings (all of it: $logs/$tool)"
done
exit $wrong
