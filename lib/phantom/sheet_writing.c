/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Pencil strokes that look like joined letters from afar: loops of changing height along a line, the
 * pen lifted every few of them. A stroke is a chain of discs, much closer than they are wide.
 */
#include <math.h>
#include <stdlib.h>

#include "phantom/dice.h"
#include "phantom/phantom_sheet_internal.h"

static const double pi = 3.14159265358979323846;
static const double pen_mm = 0.3, chain_step_mm = 0.05;

static fleck_status write_letter(fleck_phantom_sheet *sheet, double left_mm, double base_mm,
                                 double pitch_mm, double height_mm, double lean, double pen,
                                 fleck_error *err)
{
    const double length_mm = 2 * height_mm + 2 * pitch_mm;
    const size_t steps = (size_t)ceil(length_mm / chain_step_mm);
    fleck_status status = FLECK_OK;

    for (size_t i = 0; status == FLECK_OK && i < steps; i++) {
        const double u = (double)i / (double)steps;
        const double up = height_mm * (0.5 - 0.5 * cos(2 * pi * u));
        double x_mm = left_mm + pitch_mm * (u + 0.28 * sin(2 * pi * u)) + lean * up;
        double y_mm = base_mm - up;

        fleck_sheet_point(sheet, &x_mm, &y_mm);
        status = fleck_dots_keep(&sheet->strokes, x_mm, y_mm, pen, err);
    }
    return status;
}

static fleck_status write_line(fleck_phantom_sheet *sheet, const fleck_box_mm *box, int64_t line,
                               fleck_error *err)
{
    fleck_dice dice = fleck_dice_at(sheet->options.seed, FLECK_DICE_WRITING, line, 0);
    const double pitch_mm = 0.4 * box->height_mm;
    const double base_mm = box->y_mm + box->height_mm - pen_mm;
    const double end_mm = box->x_mm + box->width_mm - 1.5 * pitch_mm;
    double left_mm = box->x_mm + pen_mm;
    fleck_status status = FLECK_OK;

    while (status == FLECK_OK && left_mm <= end_mm) {
        const double tall = fleck_dice_uniform(&dice);
        const double height_mm =
            (tall > 0.75 ? 1 : 0.35 + 0.2 * tall) * (box->height_mm - 2 * pen_mm);
        const double width_mm = pitch_mm * (0.8 + 0.4 * fleck_dice_uniform(&dice));
        const double pen = pen_mm * (0.85 + 0.3 * fleck_dice_uniform(&dice));

        status = write_letter(sheet, left_mm, base_mm, width_mm, height_mm, 0.2, pen, err);
        left_mm += width_mm;
        if (fleck_dice_uniform(&dice) < 0.2)
            left_mm += 1.2 * pitch_mm; /* between words */
    }
    return status;
}

static bool has_room(const fleck_phantom_sheet *sheet, const fleck_box_mm *box)
{
    static const double clear_mm = 0.5;
    const fleck_box_mm wide = { box->x_mm - clear_mm, box->y_mm - clear_mm,
                                box->width_mm + 2 * clear_mm, box->height_mm + 2 * clear_mm };
    const fleck_plate plate = fleck_sheet_plate(sheet, &wide, 0);

    if (!fleck_plate_is_within(&plate, sheet->options.width_mm, sheet->options.height_mm))
        return false;
    for (size_t i = 0; i < sheet->patch_count; i++) {
        if (fleck_plates_overlap(&plate, &sheet->patches[i].plate))
            return false;
    }
    for (size_t i = 0; i < sheet->zone_count; i++) {
        const fleck_plate zone = fleck_sheet_plate(sheet, &sheet->zones[i].box, 0);

        if (fleck_plates_overlap(&plate, &zone))
            return false;
    }
    return true;
}

fleck_status fleck_sheet_lay_writing(fleck_phantom_sheet *sheet, fleck_error *err)
{
    const fleck_box_mm title = { 20, 4, fmin(60, sheet->options.width_mm - 40), 6 };
    fleck_status status = FLECK_OK;

    if (title.width_mm > 5 && has_room(sheet, &title))
        status = write_line(sheet, &title, 0, err);
    for (size_t i = 0; status == FLECK_OK && i < sheet->patch_count; i++) {
        const fleck_box_mm *box = &sheet->patches[i].given.box;
        const fleck_box_mm note = { box->x_mm, box->y_mm + box->height_mm + 1.5,
                                    0.7 * box->width_mm, 2.8 };

        if (has_room(sheet, &note))
            status = write_line(sheet, &note, (int64_t)i + 1, err);
    }
    return status;
}
