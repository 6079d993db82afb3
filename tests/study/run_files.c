/* SPDX-License-Identifier: GPL-3.0-or-later */
#define _XOPEN_SOURCE 700 /* nftw */
#include "support/check.h"

#include "study/run_files.h"

#include <ftw.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/memory.h"
#include "fleck/inputs.h"
#include "io/csv.h"

static char folder[64];

int runs_begin(void **state)
{
    (void)state;
    strcpy(folder, "/tmp/fleck-study-XXXXXX");
    return mkdtemp(folder) != NULL ? chdir(folder) : -1;
}

static int remove_one(const char *path, const struct stat *about, int kind, struct FTW *place)
{
    (void)about;
    (void)kind;
    (void)place;
    return remove(path);
}

int runs_end(void **state)
{
    (void)state;
    return chdir("/") != 0 ? -1 : nftw(folder, remove_one, 16, FTW_DEPTH | FTW_PHYS);
}

void run_put(const char *path, const char *text)
{
    char above[512];
    FILE *out;

    assert_true(strlen(path) < sizeof above);
    strcpy(above, path);
    for (char *slash = strchr(above, '/'); slash != NULL; slash = strchr(slash + 1, '/')) {
        *slash = '\0';
        mkdir(above, 0777);
        *slash = '/';
    }
    out = fopen(path, "wb");
    assert_non_null(out);
    assert_int_equal(fwrite(text, 1, strlen(text), out), strlen(text));
    assert_int_equal(fclose(out), 0);
}

static void put_record(const char *run, const char *id,
                       void (*change)(fleck_record *record, const char *id))
{
    fleck_record record;
    char *name = fleck_id_to_file_name(id);
    char *json;
    char path[512];

    fleck_record_init(&record);
    record.id = fleck_copy_text(id);
    record.settings.channel_used = fleck_copy_text("grey");
    record.settings.ink = fleck_copy_text("dark");
    record.settings.threshold = fleck_copy_text("otsu");
    record.settings.tone_from = fleck_copy_text("png-srgb");
    record.settings.cutoff_mm = 0.1;
    record.source.ppi_x = record.source.ppi_y = 600;
    if (change != NULL)
        change(&record, id);
    json = fleck_record_to_json(&record);
    assert_non_null(json);
    snprintf(path, sizeof path, "%s/records/%s.json", run, name);
    run_put(path, json);
    free(json);
    free(name);
    fleck_record_clear(&record);
}

void run_put_all(const char *run, const char *table,
                 void (*change)(fleck_record *record, const char *id))
{
    fleck_csv *csv = NULL;
    char path[512];

    snprintf(path, sizeof path, "%s/patches.csv", run);
    run_put(path, table);
    assert_int_equal(fleck_csv_read_memory(table, strlen(table), &csv, NULL), FLECK_OK);
    for (size_t row = 1; row < fleck_csv_row_count(csv); row++)
        put_record(run, fleck_csv_cell(csv, row, 0), change);
    fleck_csv_free(csv);
}
