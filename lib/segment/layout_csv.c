/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The layout in words: its doubts, and the manifest with a path that leads from it to the scan. */
#define _XOPEN_SOURCE 700 /* realpath */

#include "fleck/locate.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"
#include "io/csv.h"

const char *fleck_block_kind_name(fleck_block_kind kind)
{
    switch (kind) {
    case FLECK_BLOCK_PATCH:
        return "patch";
    case FLECK_BLOCK_GREY_SCALE:
        return "grey scale";
    case FLECK_BLOCK_RULER:
        return "ruler";
    case FLECK_BLOCK_WRITING:
        return "writing";
    case FLECK_BLOCK_FRAME:
        return "frame";
    case FLECK_BLOCK_SMALL:
        break;
    }
    return "small";
}

static const struct {
    unsigned doubt;
    const char *words;
} doubt_words[] = {
    { FLECK_DOUBT_CUT, "cut by the scan's edge" },
    { FLECK_DOUBT_TOUCHES, "touches another patch" },
    { FLECK_DOUBT_SEVERAL, "perhaps several patches that touch" },
    { FLECK_DOUBT_NOT_RECTANGULAR, "not rectangular" },
    { FLECK_DOUBT_ROUGH, "rough edges" },
    { FLECK_DOUBT_WEAK, "weak" },
    { FLECK_DOUBT_OFF_GRID, "does not fit the grid" },
};

const char *fleck_located_note(const fleck_located *located, char buffer[256])
{
    size_t length = 0;

    buffer[0] = '\0';
    if ((located->doubts & FLECK_DOUBT_KIND) != 0)
        length = (size_t)snprintf(buffer, 256, "%s?", fleck_block_kind_name(located->kind));
    for (size_t i = 0; i < sizeof doubt_words / sizeof *doubt_words; i++) {
        if ((located->doubts & doubt_words[i].doubt) != 0)
            length += (size_t)snprintf(buffer + length, 256 - length, "%s%s",
                                       length > 0 ? "; " : "", doubt_words[i].words);
    }
    return buffer;
}

void fleck_layout_clear(fleck_layout *layout)
{
    if (layout == NULL)
        return;
    fleck_free(layout->patches);
    fleck_free(layout->left_out);
    fleck_free(layout->map.reflectance);
    fleck_warnings_clear(&layout->warnings);
    *layout = (fleck_layout){ 0 };
}

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the layout; free some memory");
}

/* The folder of a path without links and dots in it. */
static fleck_status real_folder(const char *path, char **folder, fleck_error *err)
{
    const char *const slash = strrchr(path, '/');
    char *const name = fleck_copy_text(slash != NULL ? path : ".");
    char *found;

    *folder = NULL;
    if (name == NULL)
        return no_memory(err);
    if (slash != NULL)
        name[slash == path ? 1 : slash - path] = '\0';
    errno = 0;
    found = realpath(name, NULL);
    fleck_free(name);
    if (found == NULL && errno == ENOMEM)
        return no_memory(err);
    if (found == NULL)
        return fleck_fail(err, FLECK_BAD_INPUT, "its folder is not there; make it first");
    *folder = fleck_copy_text(found);
    free(found); /* the C library's */
    return *folder != NULL ? FLECK_OK : no_memory(err);
}

/* Length of the part two folders share, ending before a slash or at the end of both. */
static size_t shared_length(const char *a, const char *b)
{
    size_t shared = 0, i = 0;

    while (a[i] != '\0' && a[i] == b[i]) {
        i++;
        if ((a[i] == '/' || a[i] == '\0') && (b[i] == '/' || b[i] == '\0'))
            shared = i;
    }
    return shared;
}

static fleck_status lead_to_scan(const char *scan_path, const char *layout_path, fleck_text *path,
                                 fleck_error *err)
{
    const char *const slash = strrchr(scan_path, '/');
    char *from = NULL, *to = NULL;
    size_t shared;
    fleck_status status = real_folder(layout_path, &from, err);

    if (status == FLECK_OK)
        status = real_folder(scan_path, &to, err);
    if (status != FLECK_OK)
        goto done;
    /* the root alone ends in a slash */
    if (strcmp(from, "/") == 0)
        from[0] = '\0';
    if (strcmp(to, "/") == 0)
        to[0] = '\0';
    shared = shared_length(from, to);
    for (const char *rest = from + shared; *rest != '\0'; rest++) {
        if (*rest == '/')
            fleck_text_add(path, "../");
    }
    if (to[shared] == '/') {
        fleck_text_add(path, to + shared + 1);
        fleck_text_add(path, "/");
    }
    fleck_text_add(path, slash != NULL ? slash + 1 : scan_path);
    if (path->failed)
        status = no_memory(err);
done:
    fleck_free(from);
    fleck_free(to);
    return status;
}

static void add_region(fleck_text *csv, const fleck_box_mm *box)
{
    const double numbers[4] = { box->x_mm, box->y_mm, box->width_mm, box->height_mm };
    char text[4][FLECK_NUMBER_TEXT_BYTES];
    char cell[4 * FLECK_NUMBER_TEXT_BYTES];

    for (unsigned i = 0; i < 4; i++)
        (void)fleck_text_from_number(numbers[i], text[i]);
    snprintf(cell, sizeof cell, "%s %s %s %s", text[0], text[1], text[2], text[3]);
    fleck_csv_add_cell(csv, cell);
}

fleck_status fleck_layout_csv(const fleck_layout *layout, const char *scan_path,
                              const char *layout_path, char **text, fleck_error *err)
{
    fleck_text csv = { 0 }, path = { 0 };
    fleck_status status = FLECK_OK;

    *text = NULL;
    if (layout_path != NULL)
        status = lead_to_scan(scan_path, layout_path, &path, err);
    else
        fleck_text_add(&path, scan_path);
    if (status == FLECK_OK && path.failed)
        status = no_memory(err);
    if (status != FLECK_OK)
        goto done;
    fleck_text_add(&csv, "scan,patch,region,tilt_deg,note\n");
    for (size_t i = 0; i < layout->count; i++) {
        const fleck_located *const patch = &layout->patches[i];
        char note[256];

        fleck_csv_add_cell(&csv, path.bytes);
        fleck_csv_add_cell(&csv, patch->id);
        add_region(&csv, &patch->box);
        fleck_csv_add_number(&csv, patch->tilt_deg);
        fleck_csv_add_cell(&csv, fleck_located_note(patch, note));
        fleck_csv_end_row(&csv);
    }
    if (csv.failed) {
        status = no_memory(err);
        goto done;
    }
    *text = csv.bytes; /* the caller owns it from here */
    csv = (fleck_text){ 0 };
done:
    fleck_text_clear(&csv);
    fleck_text_clear(&path);
    return status;
}
