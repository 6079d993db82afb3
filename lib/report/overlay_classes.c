/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Dots come into use at their first row and leave behind their last one, so that a row costs no more
 * than the dots it meets. Ink that belongs to none of them is below the cutoff.
 */
#include "report/overlay_classes.h"

#include <string.h>

#include "core/memory.h"

struct active {
    size_t dot;
    size_t run; /* the next one */
};

struct overlay_classes {
    const fleck_patch_view *view;
    const overlay_kinds *kinds;
    size_t next; /* dot to come into use */
    struct active *active;
    size_t active_count;
    fleck_run *runs;
    size_t y_px;
};

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the picture; free some memory");
}

fleck_status overlay_kinds_find(const fleck_patch_view *view, overlay_kinds *kinds,
                                fleck_error *err)
{
    fleck_split split = { 0 };
    fleck_status status = FLECK_OK;

    *kinds = (overlay_kinds){ .of_dot = fleck_alloc_zeroed(view->dot_count + 1, 1) };
    if (kinds->of_dot == NULL)
        return no_memory(err);
    if (view->dot_count > 0)
        status = fleck_split_dots(view->dots, view->dot_count, view->geometry,
                                  fleck_split_depth_mm(view->geometry), &split, err);
    if (status != FLECK_OK)
        return status;
    for (size_t i = 0; i + 1 < split.count; i++) {
        if (split.parts[i].blob == split.parts[i + 1].blob)
            kinds->of_dot[split.parts[i].blob] = OVERLAY_MERGED;
    }
    for (size_t i = 0; i < view->dot_count; i++) {
        if (view->dots[i].component.at_edge)
            kinds->of_dot[i] = OVERLAY_EDGE;
        else if (kinds->of_dot[i] == 0)
            kinds->of_dot[i] = OVERLAY_COUNTED;
        kinds->count[kinds->of_dot[i]]++;
        kinds->without_runs = kinds->without_runs || view->dots[i].run_count == 0;
    }
    fleck_split_clear(&split);
    return FLECK_OK;
}

void overlay_kinds_clear(overlay_kinds *kinds)
{
    fleck_free(kinds->of_dot);
    *kinds = (overlay_kinds){ 0 };
}

fleck_status overlay_classes_new(const fleck_patch_view *view, const overlay_kinds *kinds,
                                 overlay_classes **out, fleck_error *err)
{
    overlay_classes *const classes = fleck_alloc_zeroed(1, sizeof *classes);

    *out = NULL;
    if (classes == NULL)
        return no_memory(err);
    classes->view = view;
    classes->kinds = kinds;
    classes->active = fleck_alloc_array(view->dot_count + 1, sizeof *classes->active);
    classes->runs = fleck_alloc_array(view->geometry->width_px / 2 + 1, sizeof *classes->runs);
    if (classes->active == NULL || classes->runs == NULL) {
        overlay_classes_free(classes);
        return no_memory(err);
    }
    *out = classes;
    return FLECK_OK;
}

static void fill_runs(uint8_t *row, const fleck_run *runs, size_t count, uint8_t class)
{
    for (size_t i = 0; i < count; i++)
        memset(row + runs[i].start_px, class, runs[i].end_px - runs[i].start_px);
}

/* Dots that begin in this row; the view gives them by their first pixels. */
static void take_up(overlay_classes *classes)
{
    const fleck_patch_view *const view = classes->view;

    while (classes->next < view->dot_count &&
           view->dots[classes->next].component.first_y_px <= classes->y_px) {
        if (view->dots[classes->next].run_count > 0)
            classes->active[classes->active_count++] = (struct active){ .dot = classes->next };
        classes->next++;
    }
}

static void fill_dots(overlay_classes *classes, uint8_t *row)
{
    size_t kept = 0;

    for (size_t i = 0; i < classes->active_count; i++) {
        struct active one = classes->active[i];
        const fleck_blob *const dot = &classes->view->dots[one.dot];

        for (; one.run < dot->run_count && dot->runs[one.run].y_px == classes->y_px; one.run++)
            memset(row + dot->runs[one.run].start_px, classes->kinds->of_dot[one.dot],
                   dot->runs[one.run].end_px - dot->runs[one.run].start_px);
        if (one.run < dot->run_count)
            classes->active[kept++] = one;
    }
    classes->active_count = kept;
}

fleck_status overlay_classes_row(overlay_classes *classes, uint8_t *row, fleck_error *err)
{
    const fleck_patch_view *const view = classes->view;
    const size_t width_px = view->geometry->width_px;
    size_t count = 0;
    fleck_status status;

    memset(row, view->mask == NULL ? OVERLAY_BARE : OVERLAY_OUTSIDE, width_px);
    if (view->mask != NULL) {
        count = fleck_mask_runs(view->mask, classes->y_px, classes->runs);
        fill_runs(row, classes->runs, count, OVERLAY_BARE);
    }
    status = view->read_ink(view->context, classes->y_px, classes->runs, &count, err);
    if (status != FLECK_OK)
        return status;
    fill_runs(row, classes->runs, count, OVERLAY_SMALL);
    take_up(classes);
    fill_dots(classes, row);
    classes->y_px++;
    return FLECK_OK;
}

void overlay_classes_free(overlay_classes *classes)
{
    if (classes == NULL)
        return;
    fleck_free(classes->active);
    fleck_free(classes->runs);
    fleck_free(classes);
}
