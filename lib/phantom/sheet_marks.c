/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a sheet holds beside its patches: rulers, grey scale, crosses. */
#include <math.h>

#include "core/memory.h"
#include "phantom/phantom_sheet_internal.h"

/* All in mm; sizes as on printed rulers and scales, no source. */
static const double line_mm = 0.12;
static const double tick_mm[3] = { 2.5, 3.5, 5 }; /* each millimetre, each 5, each 10 */
static const double ruler_from_edge_mm = 14;       /* its zero and its end */
static const double ruler_base_x_mm = 5, ruler_base_y_mm = 7; /* the line its ticks stand on */
static const double scale_left_mm = 20, scale_below_mm = 17, step_height_mm = 10;
static const double step_width_mm = 8, least_step_width_mm = 2;
static const double cross_from_edge_mm = 6, cross_mm = 8, cross_line_mm = 0.25;

static fleck_status add_mark(fleck_phantom_sheet *sheet, fleck_mark_kind kind,
                             const fleck_box_mm *box, double reflectance, double value,
                             fleck_error *err)
{
    fleck_sheet_mark *marks =
        fleck_grow(sheet->marks, &sheet->mark_capacity, sheet->mark_count, sizeof *marks);

    if (marks == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the sheet's marks; free some");
    sheet->marks = marks;
    marks[sheet->mark_count++] =
        (fleck_sheet_mark){ kind, fleck_sheet_plate(sheet, box, 0), reflectance, value, 0 };
    return FLECK_OK;
}

static fleck_status add_zone(fleck_phantom_sheet *sheet, const char *name, const fleck_box_mm *box,
                             fleck_error *err)
{
    const fleck_plate plate = fleck_sheet_plate(sheet, box, 0);

    if (!fleck_plate_is_within(&plate, sheet->options.width_mm, sheet->options.height_mm))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "%s would leave the sheet; give a larger sheet or less tilt, or leave it out",
                          name);
    sheet->zones[sheet->zone_count++] = (fleck_sheet_zone){ name, *box };
    return FLECK_OK;
}

/* Along x from the lower left, or along y from the upper left. */
static fleck_status add_ruler(fleck_phantom_sheet *sheet, bool along_x, fleck_error *err)
{
    const double side_mm = along_x ? sheet->options.width_mm : sheet->options.height_mm;
    const double length_mm = floor((side_mm - 2 * ruler_from_edge_mm) / 10 + 1e-9) * 10;
    const double zero_mm = ruler_from_edge_mm;
    const double base_mm = along_x ? sheet->options.height_mm - ruler_base_y_mm : ruler_base_x_mm;
    const double ink = sheet->options.mark_reflectance;
    const fleck_box_mm line =
        along_x ? (fleck_box_mm){ zero_mm - line_mm / 2, base_mm, length_mm + line_mm, line_mm }
                : (fleck_box_mm){ base_mm - line_mm, zero_mm - line_mm / 2, line_mm,
                                  length_mm + line_mm };
    fleck_box_mm zone = line;
    fleck_status status;

    if (!(length_mm >= 10))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "the sheet has no room for rulers; give a larger one or leave them out");
    if (along_x) {
        zone.y_mm -= tick_mm[2];
        zone.height_mm += tick_mm[2];
    } else {
        zone.width_mm += tick_mm[2];
    }
    status = add_zone(sheet, along_x ? "the lower ruler" : "the left ruler", &zone, err);
    if (status == FLECK_OK)
        status = add_mark(sheet, FLECK_MARK_LINE, &line, ink, 0, err);
    for (size_t mm = 0; status == FLECK_OK && mm <= (size_t)length_mm; mm++) {
        const double height_mm = tick_mm[mm % 10 == 0 ? 2 : mm % 5 == 0 ? 1 : 0];
        const double at_mm = zero_mm + (double)mm - line_mm / 2;
        const fleck_box_mm tick =
            along_x ? (fleck_box_mm){ at_mm, base_mm - height_mm, line_mm, height_mm }
                    : (fleck_box_mm){ base_mm, at_mm, height_mm, line_mm };

        status = add_mark(sheet, along_x ? FLECK_MARK_TICK_X : FLECK_MARK_TICK_Y, &tick, ink,
                          (double)mm, err);
    }
    return status;
}

static fleck_status add_scale(fleck_phantom_sheet *sheet, fleck_error *err)
{
    const fleck_phantom_sheet_options *options = &sheet->options;
    const double steps = (double)options->steps;
    const double width_mm = fmin(step_width_mm, (options->width_mm - 2 * scale_left_mm) / steps);
    const fleck_box_mm zone = { scale_left_mm, options->height_mm - scale_below_mm - step_height_mm,
                                steps * width_mm, step_height_mm };
    fleck_status status;

    if (!(width_mm >= least_step_width_mm))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "the sheet has no room for a grey scale of %zu steps; give a wider one or "
                          "fewer steps",
                          options->steps);
    status = add_zone(sheet, "the grey scale", &zone, err);
    for (size_t i = 0; status == FLECK_OK && i < options->steps; i++) {
        const double density = options->density_from + (double)i / (steps - 1) *
                                                           (options->density_to - options->density_from);
        const fleck_box_mm step = { zone.x_mm + (double)i * width_mm, zone.y_mm, width_mm,
                                    step_height_mm };

        status = add_mark(sheet, FLECK_MARK_STEP, &step, pow(10, -density), density, err);
        if (status == FLECK_OK && i + 1 < options->steps)
            sheet->marks[sheet->mark_count - 1].under_mm = width_mm / 2;
    }
    return status;
}

static fleck_status add_cross(fleck_phantom_sheet *sheet, double x_mm, double y_mm,
                              fleck_error *err)
{
    const double ink = sheet->options.mark_reflectance;
    const fleck_box_mm along = { x_mm - cross_mm / 2, y_mm - cross_line_mm / 2, cross_mm,
                                 cross_line_mm };
    const fleck_box_mm down = { x_mm - cross_line_mm / 2, y_mm - cross_mm / 2, cross_line_mm,
                                cross_mm };
    const fleck_box_mm zone = { along.x_mm, down.y_mm, cross_mm, cross_mm };
    fleck_status status = add_zone(sheet, "a cross", &zone, err);

    if (status == FLECK_OK)
        status = add_mark(sheet, FLECK_MARK_CROSS, &along, ink, 0, err);
    if (status == FLECK_OK)
        status = add_mark(sheet, FLECK_MARK_LINE, &down, ink, 0, err);
    return status;
}

fleck_status fleck_sheet_lay_marks(fleck_phantom_sheet *sheet, fleck_error *err)
{
    const fleck_phantom_sheet_options *options = &sheet->options;
    fleck_status status = FLECK_OK;

    if (options->rulers)
        status = add_ruler(sheet, true, err);
    if (options->rulers && status == FLECK_OK)
        status = add_ruler(sheet, false, err);
    if (options->steps > 0 && status == FLECK_OK)
        status = add_scale(sheet, err);
    for (int corner = 0; options->crosses && status == FLECK_OK && corner < 4; corner++)
        status = add_cross(
            sheet,
            corner % 2 == 0 ? cross_from_edge_mm : options->width_mm - cross_from_edge_mm,
            corner / 2 == 0 ? cross_from_edge_mm : options->height_mm - cross_from_edge_mm, err);
    return status;
}
