/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Changes between neighbouring lines of words, which are shifted by a pixel for the slanted
 * directions. */
#include "segment/mask_outline.h"

#include <math.h>

#include "segment/mask_words.h"

/* Word i of a row shifted by one pixel to the right; -1 to the left. Beyond the row all is outside.
 */
static uint64_t shifted(const fleck_mask *mask, const uint64_t *row, size_t i, int shift)
{
    if (row == NULL || i > mask->row_words)
        return 0;
    if (shift > 0)
        return (i < mask->row_words ? row[i] << 1 : 0) | (i > 0 ? row[i - 1] >> 63 : 0);
    if (i == mask->row_words)
        return 0;
    return shift == 0 ? row[i] : row[i] >> 1 | (i + 1 < mask->row_words ? row[i + 1] << 63 : 0);
}

/*
 * Pixels that differ between a row and another one shifted against it, what the shift brings before
 * the first pixel counted too.
 */
static uint64_t differences(const fleck_mask *mask, const uint64_t *row, const uint64_t *other,
                            int shift)
{
    uint64_t count = shift < 0 && other != NULL ? other[0] & 1 : 0;

    for (size_t i = 0; i <= mask->row_words; i++)
        count += fleck_word_ones(shifted(mask, row, i, 0) ^ shifted(mask, other, i, shift));
    return count;
}

double fleck_mask_outline_mm(const fleck_mask *mask, double pixel_x_mm, double pixel_y_mm)
{
    const double pi = 3.14159265358979323846;
    const double slanted_mm = pixel_x_mm * pixel_y_mm / hypot(pixel_x_mm, pixel_y_mm);
    uint64_t along_rows = 0, along_columns = 0, slanted = 0;

    for (size_t y = 0; y <= mask->height_px; y++) {
        const uint64_t *const above = y > 0 ? fleck_mask_row(mask, y - 1) : NULL;
        const uint64_t *const row = y < mask->height_px ? fleck_mask_row(mask, y) : NULL;

        along_rows += row != NULL ? differences(mask, row, row, 1) : 0;
        along_columns += differences(mask, row, above, 0);
        slanted += differences(mask, row, above, 1) + differences(mask, row, above, -1);
    }
    return pi / 8 *
           ((double)along_rows * pixel_y_mm + (double)along_columns * pixel_x_mm +
            (double)slanted * slanted_mm);
}
