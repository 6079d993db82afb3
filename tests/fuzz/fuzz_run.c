/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Any files as the folder of a run: read as a study and asked all that a study is asked, gathered as if
 * it were a slice, drawn, and made a page.
 *
 * The input is four files, parted by the byte 0x1e: patches.csv, run.json, the record of a patch and the
 * table of its dots. Patches B to F have the same files as A, where the record says so: its first "A" is
 * their letter.
 */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "fleck/compare.h"
#include "fleck/edition.h"
#include "fleck/gather.h"
#include "fleck/memory.h"
#include "fleck/relate.h"
#include "fleck/report.h"
#include "fleck/run_plots.h"
#include "fleck/study.h"
#include "scratch.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);

enum { FILES = 4, PATCHES = 6 };

typedef struct part {
    const uint8_t *bytes;
    size_t size;
} part;

static char run[SCRATCH_PATH_BYTES + 8], out[SCRATCH_PATH_BYTES + 8];

static void put(const char *name, const part *file, const uint8_t *letter_at, char letter)
{
    char path[sizeof run + 40];
    FILE *stream;

    snprintf(path, sizeof path, "%s/%s", run, name);
    stream = fopen(path, "wb");
    if (stream == NULL)
        abort();
    for (size_t i = 0; i < file->size; i++)
        fputc(file->bytes + i == letter_at ? letter : file->bytes[i], stream);
    if (fclose(stream) != 0)
        abort();
}

static void make_folder(void)
{
    static const char *const inside[] = { "", "/records", "/dots" };
    char path[sizeof run + 16];

    snprintf(run, sizeof run, "%s/run", scratch_folder());
    snprintf(out, sizeof out, "%s/out", scratch_folder());
    for (size_t i = 0; i < sizeof inside / sizeof *inside; i++) {
        snprintf(path, sizeof path, "%s%s", run, inside[i]);
        if (mkdir(path, 0777) != 0)
            abort();
    }
}

static void put_run(const uint8_t *bytes, size_t size)
{
    part parts[FILES] = { { bytes, 0 } };
    const uint8_t *letter_at = NULL;
    size_t n = 0;

    for (size_t i = 0; i < size; i++) {
        if (bytes[i] == 0x1e && n + 1 < FILES)
            parts[++n].bytes = bytes + i + 1;
        else
            parts[n].size++;
    }
    for (size_t i = 0; letter_at == NULL && i + 3 <= parts[2].size; i++)
        letter_at = memcmp(parts[2].bytes + i, "\"A\"", 3) == 0 ? parts[2].bytes + i + 1 : NULL;
    put("patches.csv", &parts[0], NULL, 0);
    put("run.json", &parts[1], NULL, 0);
    for (char letter = 'A'; letter < 'A' + PATCHES; letter++) {
        char name[40];

        snprintf(name, sizeof name, "records/%c.json", letter);
        put(name, &parts[2], letter_at, letter);
        snprintf(name, sizeof name, "dots/%c.csv", letter);
        put(name, &parts[3], NULL, 0);
    }
}

static void take_text(char *text)
{
    if (text != NULL && strlen(text) == 0)
        abort();
    fleck_free(text);
}

static void ask_compare(const fleck_study *study)
{
    fleck_compare_options options = fleck_compare_options_default();
    fleck_compare result = { 0 };

    options.by = "paste_pct";
    options.unit = "batch";
    options.seed = 1;
    if (fleck_compare_study(study, &options, &result, NULL) == FLECK_OK) {
        take_text(fleck_compare_to_json(&result));
        take_text(fleck_compare_to_csv(&result));
    }
    fleck_compare_clear(&result);
}

static void ask_relate(const fleck_study *study)
{
    static const char *const factors[] = { "paste_pct" };
    fleck_relate_options options = fleck_relate_options_default();
    fleck_relate result = { 0 };

    options.factors = factors;
    options.factor_count = 1;
    if (fleck_relate_study(study, &options, &result, NULL) == FLECK_OK) {
        take_text(fleck_relate_to_json(&result));
        take_text(fleck_relate_to_csv(&result));
    }
    fleck_relate_clear(&result);
}

static void ask_edition(const fleck_study *study)
{
    fleck_edition_options options = fleck_edition_options_default();
    fleck_edition result = { 0 };

    options.order = "print";
    options.edition_size = 30;
    options.pattern = false;
    if (fleck_edition_judge(study, &options, &result, NULL) == FLECK_OK) {
        take_text(fleck_edition_to_json(&result));
        take_text(fleck_edition_to_csv(&result));
    }
    fleck_edition_clear(&result);
}

static void ask_study(size_t question)
{
    const char *const runs[] = { run };
    fleck_study *study;

    if (fleck_study_read(runs, 1, &study, NULL) == FLECK_OK) {
        for (size_t row = 0; row < fleck_study_row_count(study); row++) {
            fleck_study_dots dots;

            (void)fleck_study_read_dots(study, row, &dots, NULL);
            fleck_study_dots_clear(&dots);
        }
        if (question == 2)
            ask_compare(study);
        else if (question == 3)
            ask_relate(study);
        else if (question == 4)
            ask_edition(study);
    }
    fleck_study_free(study);
}

static void ask_page(void)
{
    fleck_report_options options = fleck_report_options_default();
    fleck_report_summary summary;
    char *bytes = NULL;
    size_t size;

    options.by = "paste_pct";
    options.order = "print";
    (void)fleck_report_make(run, &options, &bytes, &size, &summary, NULL);
    fleck_free(bytes);
}

static void ask_plots(void)
{
    static const char *const patches[] = { "A" };
    fleck_run_plots_options options = fleck_run_plots_options_default();
    fleck_run_plots_summary summary;

    options.folder = out;
    options.patches = patches;
    options.patch_count = 1;
    options.by = "paste_pct";
    options.order = "print";
    (void)fleck_run_plots_write(run, &options, &summary, NULL);
    scratch_remove(out);
}

static void ask_gather(void)
{
    const char *const runs[] = { run };
    const fleck_gather_options options = fleck_gather_options_default();
    fleck_gather_summary summary;

    (void)fleck_gather(runs, 1, &options, out, NULL, &summary, NULL);
    scratch_remove(out);
}

/* The input's size says which of the slow questions is asked. */
int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    if (run[0] == '\0')
        make_folder();
    put_run(bytes, size);
    ask_study(size % 8);
    if (size % 8 == 0)
        ask_page();
    else if (size % 8 == 1)
        ask_plots();
    else if (size % 8 > 4)
        ask_gather();
    return 0;
}
