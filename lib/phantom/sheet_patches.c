/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Patches in their places on a sheet, and the dots in them. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/utf8.h"
#include "phantom/phantom_sheet_internal.h"

void fleck_sheet_point(const fleck_phantom_sheet *sheet, double *x_mm, double *y_mm)
{
    const double middle_x = sheet->options.width_mm / 2, middle_y = sheet->options.height_mm / 2;
    const fleck_plate whole = fleck_plate_at(middle_x, middle_y, 1, 1, sheet->options.tilt_deg);

    fleck_plate_point(&whole, *x_mm - middle_x, *y_mm - middle_y, x_mm, y_mm);
}

fleck_plate fleck_sheet_plate(const fleck_phantom_sheet *sheet, const fleck_box_mm *box,
                              double tilt_deg)
{
    double x_mm = box->x_mm + box->width_mm / 2, y_mm = box->y_mm + box->height_mm / 2;

    fleck_sheet_point(sheet, &x_mm, &y_mm);
    return fleck_plate_at(x_mm, y_mm, box->width_mm, box->height_mm,
                          tilt_deg + sheet->options.tilt_deg);
}

/* What holds for the patch by itself. The phantom's own check says what is wrong with the speckle. */
static fleck_status check_patch(const fleck_phantom_sheet *sheet, const fleck_phantom_patch *patch,
                                fleck_error *err)
{
    fleck_phantom_options speckle = patch->speckle;
    fleck_phantom_frame frame;
    fleck_error inner = { FLECK_OK, "" };
    fleck_status status;

    speckle.width_mm = patch->box.width_mm;
    speckle.height_mm = patch->box.height_mm;
    speckle.ppi = sheet->options.ppi;
    speckle.fibre = 0;
    if (!(fabs(patch->tilt_deg) <= 45))
        return fleck_fail(err, FLECK_BAD_CALL, "patch %s: its tilt is %g degrees; give -45 to 45",
                          patch->name, patch->tilt_deg);
    if (!(patch->box.width_mm >= 0.1 && patch->box.height_mm >= 0.1))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "patch %s: it is %g x %g mm; give sides of 0.1 mm or more", patch->name,
                          patch->box.width_mm, patch->box.height_mm);
    if (patch->ragged && !fleck_phantom_has_discs(speckle.kind))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "patch %s: a ragged edge is made by whole dots and a %s has none; give a "
                          "straight one",
                          patch->name, fleck_phantom_kind_name(speckle.kind));
    status = fleck_phantom_check(&speckle, &frame, &inner);
    if (status != FLECK_OK)
        return fleck_fail(err, status, "patch %s: %s", patch->name, inner.message);
    return FLECK_OK;
}

static fleck_status check_place(const fleck_phantom_sheet *sheet, size_t at, fleck_error *err)
{
    const fleck_sheet_patch *patch = &sheet->patches[at];

    if (!isfinite(patch->plate.x) || !isfinite(patch->plate.y) ||
        !fleck_plate_is_within(&patch->plate, sheet->options.width_mm, sheet->options.height_mm))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "patch %s lies partly outside the sheet of %.1f x %.1f mm; move it or give "
                          "a larger sheet",
                          patch->given.name, sheet->options.width_mm, sheet->options.height_mm);
    for (size_t i = 0; i < at; i++) {
        if (strcmp(sheet->patches[i].given.name, patch->given.name) == 0)
            return fleck_fail(err, FLECK_BAD_CALL,
                              "there are two patches %s; give each its own name",
                              patch->given.name);
        if (fleck_plates_overlap(&sheet->patches[i].plate, &patch->plate))
            return fleck_fail(err, FLECK_BAD_CALL, "patches %s and %s overlap; move one of them",
                              sheet->patches[i].given.name, patch->given.name);
    }
    for (size_t i = 0; i < sheet->zone_count; i++) {
        const fleck_plate zone = fleck_sheet_plate(sheet, &sheet->zones[i].box, 0);

        if (fleck_plates_overlap(&zone, &patch->plate))
            return fleck_fail(err, FLECK_BAD_CALL,
                              "patch %s lies on %s; move it, or leave that out of the sheet",
                              patch->given.name, sheet->zones[i].name);
    }
    return FLECK_OK;
}

/* Dots by the patch's own coordinates, then turned with it onto the sheet. */
static fleck_status place_dots(fleck_sheet_patch *patch, fleck_error *err)
{
    const double width = patch->given.box.width_mm, height = patch->given.box.height_mm;
    const fleck_window window = { 0, 0, width, height };
    fleck_error inner = { FLECK_OK, "" };
    fleck_status status;
    size_t kept = 0;

    if (!fleck_phantom_has_discs(patch->given.speckle.kind))
        return FLECK_OK;
    status = fleck_place_in(&patch->given.speckle, &window, &window, &patch->dots, &inner);
    if (status != FLECK_OK)
        return fleck_fail(err, status, "patch %s: %s", patch->given.name, inner.message);
    for (size_t i = 0; i < patch->dots.count; i++) {
        fleck_dot dot = patch->dots.items[i];

        if (patch->given.ragged &&
            !(dot.x_mm >= 0 && dot.x_mm < width && dot.y_mm >= 0 && dot.y_mm < height))
            continue;
        fleck_plate_point(&patch->plate, dot.x_mm - width / 2, dot.y_mm - height / 2, &dot.x_mm,
                          &dot.y_mm);
        patch->dots.items[kept++] = dot;
    }
    patch->dots.count = kept;
    return FLECK_OK;
}

fleck_status fleck_sheet_lay_patches(fleck_phantom_sheet *sheet, fleck_error *err)
{
    for (size_t i = 0; i < sheet->patch_count; i++) {
        fleck_sheet_patch *patch = &sheet->patches[i];
        fleck_status status = check_patch(sheet, &patch->given, err);

        if (status != FLECK_OK)
            return status;
        if (sheet->options.solid) {
            patch->given.speckle.kind = FLECK_PHANTOM_PLAIN;
            patch->given.speckle.coverage = 1;
            patch->given.ragged = false;
        }
        patch->tilt_deg = patch->given.tilt_deg + sheet->options.tilt_deg;
        patch->plate = fleck_sheet_plate(sheet, &patch->given.box, patch->given.tilt_deg);
        if ((status = check_place(sheet, i, err)) != FLECK_OK ||
            (status = place_dots(patch, err)) != FLECK_OK)
            return status;
    }
    return FLECK_OK;
}
