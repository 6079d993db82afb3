/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "core/memory.h"
#include "phantom/dice.h"
#include "phantom/phantom_sheet_internal.h"
#include "phantom/ranges.h"

fleck_phantom_grid fleck_phantom_grid_default(void)
{
    const fleck_phantom_options speckle = fleck_phantom_options_default();

    return (fleck_phantom_grid){
        .rows = 4,
        .columns = 6,
        .patch_mm = 12,
        .gap_mm = 6,
        .coverage_from = 0.1,
        .coverage_to = 0.5,
        .diameter_from_mm = speckle.diameter_mm,
        .diameter_to_mm = speckle.diameter_mm,
        .tilt_deg = 0,
        .ragged = false,
        .speckle = speckle,
    };
}

static fleck_status check(const fleck_phantom_grid *grid, fleck_error *err)
{
    const fleck_range ranges[] = {
        { "rows", (double)grid->rows, 1, 100, true },
        { "columns", (double)grid->columns, 1, 100, true },
        { "patch_mm", grid->patch_mm, 0.1, 1000, true },
        { "gap_mm", grid->gap_mm, 0, 1000, true },
        { "diameter_from_mm", grid->diameter_from_mm, 0.0001, 1000, true },
        { "diameter_to_mm", grid->diameter_to_mm, 0.0001, 1000, true },
        { "tilt_deg of the patches", grid->tilt_deg, 0, 20, true },
    };

    return fleck_ranges_check(ranges, sizeof ranges / sizeof *ranges, err);
}

static fleck_phantom_patch patch_of(const fleck_phantom_grid *grid, size_t row, size_t column)
{
    const size_t i = row * grid->columns + column, count = grid->rows * grid->columns;
    const double at = count > 1 ? (double)i / (double)(count - 1) : 0;
    const double pitch_mm = grid->patch_mm + grid->gap_mm;
    fleck_dice dice = fleck_dice_at(grid->speckle.seed, FLECK_DICE_PATCH, (int64_t)i, 0);
    fleck_phantom_patch patch = {
        .box = { FLECK_SHEET_LEFT + (double)column * pitch_mm, FLECK_SHEET_TOP + (double)row * pitch_mm,
                 grid->patch_mm, grid->patch_mm },
        .tilt_deg = grid->tilt_deg * (2 * fleck_dice_uniform(&dice) - 1),
        .ragged = grid->ragged,
        .speckle = grid->speckle,
    };

    snprintf(patch.name, sizeof patch.name, "r%zuc%zu", row + 1, column + 1);
    patch.speckle.coverage = grid->coverage_from + at * (grid->coverage_to - grid->coverage_from);
    if (grid->diameter_from_mm == grid->diameter_to_mm)
        patch.speckle.diameter_mm = grid->diameter_from_mm;
    else
        patch.speckle.diameter_mm =
            grid->diameter_from_mm * pow(grid->diameter_to_mm / grid->diameter_from_mm, at);
    patch.speckle.seed = grid->speckle.seed + 1 + i;
    return patch;
}

fleck_status fleck_phantom_patches_from_grid(const fleck_phantom_grid *grid,
                                             fleck_phantom_patch **out, size_t *count,
                                             fleck_error *err)
{
    fleck_phantom_patch *patches;
    fleck_status status;

    *out = NULL;
    *count = 0;
    if ((status = check(grid, err)) != FLECK_OK)
        return status;
    patches = fleck_alloc_array(grid->rows * grid->columns, sizeof *patches);
    if (patches == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the patches; give fewer");
    for (size_t row = 0; row < grid->rows; row++) {
        for (size_t column = 0; column < grid->columns; column++)
            patches[row * grid->columns + column] = patch_of(grid, row, column);
    }
    *out = patches;
    *count = grid->rows * grid->columns;
    return FLECK_OK;
}
