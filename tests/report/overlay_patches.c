/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "overlay_patches.h"

#include <math.h>
#include <unistd.h>

enum { PAPER = 52000, INK = 4000, CUTOFF_PX = 2 };

static fleck_status read_row(void *context, size_t y, uint16_t *q, fleck_error *err)
{
    const struct patch *const patch = context;
    const size_t width = patch->geometry.width_px;

    if (y == patch->fails_at)
        return fleck_fail(err, FLECK_BAD_INPUT, "row %zu is broken; mend it", y);
    for (size_t x = 0; x < width; x++)
        q[x] = patch->ink[y * width + x] ? INK : PAPER;
    return FLECK_OK;
}

static fleck_status read_ink(void *context, size_t y, fleck_run *runs, size_t *count,
                             fleck_error *err)
{
    const struct patch *const patch = context;
    const size_t width = patch->geometry.width_px;

    (void)err;
    *count = 0;
    for (size_t x = 0; x < width; x++) {
        if (!patch->ink[y * width + x] ||
            (patch->mask != NULL && !fleck_mask_has(patch->mask, x, y)))
            continue;
        if (*count > 0 && runs[*count - 1].end_px == x)
            runs[*count - 1].end_px++;
        else
            runs[(*count)++] = (fleck_run){ (uint32_t)x, (uint32_t)x + 1 };
    }
    return FLECK_OK;
}

static fleck_status keep_dot(void *context, fleck_phase phase, const fleck_component *component,
                             fleck_error *err)
{
    struct patch *const patch = context;
    size_t count;
    const fleck_blob_run *const runs = fleck_labeller_get_runs(patch->labeller, &count);
    fleck_blob_run *copy;

    (void)err;
    if (phase != FLECK_PHASE_INK)
        return FLECK_OK;
    if (component->area_px < CUTOFF_PX) {
        patch->small_count++;
        return FLECK_OK;
    }
    copy = malloc(count * sizeof *copy);
    memcpy(copy, runs, count * sizeof *copy);
    patch->dots = realloc(patch->dots, (patch->dot_count + 1) * sizeof *patch->dots);
    patch->dots[patch->dot_count++] = (fleck_blob){ *component, copy, count };
    return FLECK_OK;
}

static int by_first_pixel(const void *a, const void *b)
{
    const fleck_component *const one = &((const fleck_blob *)a)->component;
    const fleck_component *const other = &((const fleck_blob *)b)->component;

    if (one->first_y_px != other->first_y_px)
        return one->first_y_px < other->first_y_px ? -1 : 1;
    return one->first_x_px < other->first_x_px ? -1 : 1;
}

void finish_patch(struct patch *patch, const char *id)
{
    const fleck_runs_wanted wanted = { CUTOFF_PX, SIZE_MAX };
    fleck_run *const runs = malloc((patch->geometry.width_px + 1) * sizeof *runs);
    fleck_error err = { 0 };
    size_t count;

    patch->fails_at = SIZE_MAX;
    assert_int_equal(fleck_labeller_new(patch->geometry.width_px, patch->geometry.height_px,
                                        patch->mask, keep_dot, patch, &patch->labeller, &err),
                     FLECK_OK);
    assert_int_equal(fleck_labeller_keep_runs(patch->labeller, FLECK_PHASE_INK, &wanted, &err),
                     FLECK_OK);
    for (size_t y = 0; y < patch->geometry.height_px; y++) {
        read_ink(patch, y, runs, &count, NULL);
        assert_int_equal(fleck_labeller_row(patch->labeller, runs, count, &err), FLECK_OK);
    }
    assert_int_equal(fleck_labeller_finish(patch->labeller, &err), FLECK_OK);
    if (patch->dot_count > 0)
        qsort(patch->dots, patch->dot_count, sizeof *patch->dots, by_first_pixel);
    free(runs);
    fleck_record_init(&patch->record);
    patch->record.id = malloc(strlen(id) + 1);
    strcpy(patch->record.id, id);
    patch->record.dots.below_cutoff = (double)patch->small_count;
    patch->record.region.area_mm2 = 1;
    patch->record.settings.cutoff_mm = 0.1;
    patch->record.threshold.threshold_reflectance = 0.4;
    patch->view = (fleck_patch_view){
        .record = &patch->record,
        .geometry = &patch->geometry,
        .mask = patch->mask,
        .dots = patch->dots,
        .dot_count = patch->dot_count,
        .context = patch,
        .read_row = read_row,
        .read_ink = read_ink,
    };
}

void begin_patch(struct patch *patch, size_t width, size_t height, double pixel_x_mm,
                        double pixel_y_mm)
{
    *patch = (struct patch){ .geometry = { width, height, pixel_x_mm, pixel_y_mm } };
    patch->ink = calloc(width * height, 1);
    assert_non_null(patch->ink);
}

void end_patch(struct patch *patch)
{
    for (size_t i = 0; i < patch->dot_count; i++)
        free((void *)patch->dots[i].runs);
    free(patch->dots);
    free(patch->ink);
    fleck_labeller_free(patch->labeller);
    fleck_mask_free(patch->mask);
    fleck_record_clear(&patch->record);
}

void put_disc(struct patch *patch, double x, double y, double radius)
{
    for (size_t j = 0; j < patch->geometry.height_px; j++) {
        for (size_t i = 0; i < patch->geometry.width_px; i++) {
            if (hypot((double)i - x, (double)j - y) <= radius)
                patch->ink[j * patch->geometry.width_px + i] = 1;
        }
    }
}

static char folder[] = "/tmp/fleck-overlay-XXXXXX";

const char *in_folder(const char *name)
{
    static char path[256];

    snprintf(path, sizeof path, "%s/%s", folder, name);
    return path;
}

void read_picture(const char *path, struct picture *picture)
{
    fleck_scan *scan = NULL;
    fleck_error err = { 0 };
    const fleck_scan_info *info;
    uint8_t *row;

    assert_int_equal(fleck_scan_open(path, 1, &scan, &err), FLECK_OK);
    info = fleck_scan_get_info(scan);
    *picture = (struct picture){ info->width_px, info->height_px,
                                 malloc(3 * info->width_px * info->height_px) };
    row = malloc(fleck_scan_row_bytes(scan));
    for (size_t y = 0; y < picture->height; y++) {
        assert_int_equal(fleck_scan_read_row(scan, row, &err), FLECK_OK);
        for (size_t i = 0; i < 3 * picture->width; i++)
            picture->rgb[3 * picture->width * y + i] =
                info->channels == 3 ? row[i] : row[i / 3];
    }
    free(row);
    fleck_scan_close(scan);
}

const uint8_t *pixel(const struct picture *picture, size_t x, size_t y)
{
    assert_true(x < picture->width && y < picture->height);
    return picture->rgb + 3 * (y * picture->width + x);
}

int make_folder(void **state)
{
    (void)state;
    return mkdtemp(folder) == NULL;
}

int remove_folder(void **state)
{
    char command[300];

    (void)state;
    snprintf(command, sizeof command, "rm -r %s", folder);
    return system(command);
}
