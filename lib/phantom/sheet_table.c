/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The patches of a sheet from a table. */
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"
#include "core/versioned.h"
#include "io/csv.h"
#include "phantom/phantom_sheet_internal.h"

/* Columns that hold a number, and where it goes. */
static const struct column {
    const char *name;
    size_t offset; /* in fleck_phantom_patch */
    bool needed;
} numbers[] = {
    { "x_mm", offsetof(fleck_phantom_patch, box.x_mm), true },
    { "y_mm", offsetof(fleck_phantom_patch, box.y_mm), true },
    { "width_mm", offsetof(fleck_phantom_patch, box.width_mm), true },
    { "height_mm", offsetof(fleck_phantom_patch, box.height_mm), true },
    { "tilt_deg", offsetof(fleck_phantom_patch, tilt_deg), false },
    { "coverage", offsetof(fleck_phantom_patch, speckle.coverage), false },
    { "diameter_mm", offsetof(fleck_phantom_patch, speckle.diameter_mm), false },
    { "gsd", offsetof(fleck_phantom_patch, speckle.gsd), false },
    { "half_range_mm", offsetof(fleck_phantom_patch, speckle.diameter_half_range_mm), false },
    { "gap_mm", offsetof(fleck_phantom_patch, speckle.gap_mm), false },
    { "pitch_mm", offsetof(fleck_phantom_patch, speckle.pitch_mm), false },
    { "angle_deg", offsetof(fleck_phantom_patch, speckle.angle_deg), false },
    { "correlation_mm", offsetof(fleck_phantom_patch, speckle.correlation_mm), false },
    { "ink", offsetof(fleck_phantom_patch, speckle.ink_reflectance), false },
};
enum { NUMBERS = sizeof numbers / sizeof *numbers };

/* Columns that hold a word; `note` is for people. */
enum { NAME, KIND, SEED, EDGE, NOTE, WORDS };
static const char *const words[WORDS] = { "patch", "kind", "seed", "edge", "note" };

/* Where the columns stand; SIZE_MAX when there is none. */
struct columns {
    size_t number[NUMBERS], word[WORDS];
};

static bool is_known(const char *name)
{
    for (size_t i = 0; i < NUMBERS; i++) {
        if (strcmp(name, numbers[i].name) == 0)
            return true;
    }
    for (size_t i = 0; i < WORDS; i++) {
        if (strcmp(name, words[i]) == 0)
            return true;
    }
    return false;
}

static fleck_status find_columns(const fleck_csv *csv, struct columns *columns, fleck_error *err)
{
    for (size_t i = 0; i < NUMBERS; i++) {
        columns->number[i] = SIZE_MAX;
        if (!fleck_csv_find_column(csv, numbers[i].name, &columns->number[i]) && numbers[i].needed)
            return fleck_fail(err, FLECK_BAD_INPUT,
                              "the table has no column %s; give patch, x_mm, y_mm, width_mm, height_mm",
                              numbers[i].name);
    }
    for (size_t i = 0; i < WORDS; i++) {
        columns->word[i] = SIZE_MAX;
        if (!fleck_csv_find_column(csv, words[i], &columns->word[i]) && i == NAME)
            return fleck_fail(err, FLECK_BAD_INPUT,
                              "the table has no column patch; give the patches' names");
    }
    /* a slip in a name would draw something else than was meant */
    for (size_t i = 0; i < fleck_csv_cell_count(csv, 0); i++) {
        const char *cell = fleck_csv_cell(csv, 0, i);
        char name[32];
        size_t length;

        cell += strspn(cell, " \t");
        length = strlen(cell);
        while (length > 0 && (cell[length - 1] == ' ' || cell[length - 1] == '\t'))
            length--;
        snprintf(name, sizeof name, "%.*s", (int)(length < 31 ? length : 31), cell);
        if (!is_known(name))
            return fleck_fail(err, FLECK_BAD_INPUT,
                              "column %zu is none of a sheet's; correct its name or leave it out (for "
                              "people there is a column note)",
                              i + 1);
    }
    return FLECK_OK;
}

static const char *word_of(const fleck_csv *csv, size_t row, const struct columns *columns, int word)
{
    return columns->word[word] == SIZE_MAX ? "" : fleck_csv_cell(csv, row, columns->word[word]);
}

static fleck_status read_numbers(const fleck_csv *csv, size_t row, const struct columns *columns,
                                 fleck_phantom_patch *patch, fleck_error *err)
{
    bool gsd = false, half_range = false;

    for (size_t i = 0; i < NUMBERS; i++) {
        const char *const cell =
            columns->number[i] == SIZE_MAX ? "" : fleck_csv_cell(csv, row, columns->number[i]);
        double value;

        if (*cell == '\0' && !numbers[i].needed)
            continue;
        if (!fleck_csv_number(csv, cell, &value))
            return fleck_fail(err, FLECK_BAD_INPUT, "line %zu: %s is no number; give one",
                              fleck_csv_line(csv, row), numbers[i].name);
        memcpy((char *)patch + numbers[i].offset, &value, sizeof value);
        gsd = gsd || strcmp(numbers[i].name, "gsd") == 0;
        half_range = half_range || strcmp(numbers[i].name, "half_range_mm") == 0;
    }
    if (gsd && half_range)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "line %zu: diameters cannot follow both gsd and half_range_mm; give one",
                          fleck_csv_line(csv, row));
    if (gsd || half_range)
        patch->speckle.sizes = gsd ? FLECK_PHANTOM_LOGNORMAL : FLECK_PHANTOM_UNIFORM;
    return FLECK_OK;
}

static fleck_status read_words(const fleck_csv *csv, size_t row, const struct columns *columns,
                               fleck_phantom_patch *patch, fleck_error *err)
{
    const size_t line = fleck_csv_line(csv, row);
    const char *const name = word_of(csv, row, columns, NAME);
    const char *const kind = word_of(csv, row, columns, KIND);
    const char *const seed = word_of(csv, row, columns, SEED);
    const char *const edge = word_of(csv, row, columns, EDGE);
    size_t count;
    int found = 0;

    if (*name == '\0' || strlen(name) >= sizeof patch->name)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "line %zu: the patch has %s; give one of up to %zu bytes", line,
                          *name == '\0' ? "no name" : "too long a name", sizeof patch->name - 1);
    memcpy(patch->name, name, strlen(name) + 1);
    if (*kind != '\0') {
        while (found < FLECK_PHANTOM_KINDS &&
               strcmp(kind, fleck_phantom_kind_name((fleck_phantom_kind)found)) != 0)
            found++;
        if (found == FLECK_PHANTOM_KINDS)
            return fleck_fail(err, FLECK_BAD_INPUT,
                              "line %zu: there is no such kind; give discs, separate, square, "
                              "hexagonal, field or plain",
                              line);
        patch->speckle.kind = (fleck_phantom_kind)found;
    }
    if (*seed != '\0') {
        if (!fleck_text_to_size(seed, &count))
            return fleck_fail(err, FLECK_BAD_INPUT,
                              "line %zu: the seed is no whole number; give one of 0 or more", line);
        patch->speckle.seed = count;
    }
    if (*edge != '\0') {
        patch->ragged = strcmp(edge, "ragged") == 0;
        if (!patch->ragged && strcmp(edge, "straight") != 0)
            return fleck_fail(err, FLECK_BAD_INPUT,
                              "line %zu: there is no such edge; give straight or ragged", line);
    }
    return FLECK_OK;
}

fleck_status fleck_phantom_patches_from_csv(const char *path, const fleck_phantom_options *speckle,
                                            fleck_phantom_patch **out, size_t *count,
                                            fleck_error *err)
{
    fleck_phantom_options known = fleck_phantom_options_default();
    fleck_csv *csv = NULL;
    fleck_phantom_patch *patches = NULL;
    struct columns columns;
    size_t rows = 0;
    fleck_status status;

    *out = NULL;
    *count = 0;
    if ((status = fleck_versioned_take(speckle, &known, sizeof known, "phantom options", err)) != FLECK_OK)
        return status;
    if ((status = fleck_csv_read(path, &csv, err)) != FLECK_OK)
        return status;
    if ((status = find_columns(csv, &columns, err)) != FLECK_OK)
        goto done;
    rows = fleck_csv_row_count(csv) - 1;
    if (rows == 0) {
        status = fleck_fail(err, FLECK_BAD_INPUT,
                            "the table has no patch; give a row for each below the header");
        goto done;
    }
    patches = fleck_alloc_array(rows, sizeof *patches);
    if (patches == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the patches; give fewer");
        goto done;
    }
    for (size_t i = 0; status == FLECK_OK && i < rows; i++) {
        patches[i] = (fleck_phantom_patch){ .speckle = known };
        patches[i].speckle.seed = known.seed + 1 + i;
        status = read_numbers(csv, i + 1, &columns, &patches[i], err);
        if (status == FLECK_OK)
            status = read_words(csv, i + 1, &columns, &patches[i], err);
    }
    if (status == FLECK_OK) {
        *out = patches;
        *count = rows;
        patches = NULL;
    }
done:
    fleck_free(patches);
    fleck_csv_free(csv);
    return status;
}
