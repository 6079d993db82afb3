/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One-way analysis of variance: cells of 1 mm are the samples, fields of about 3 x 3 of them the
 * groups, each cell weighted by the pixels of ink it has. What the means of the fields scatter
 * beyond the scatter of cells within fields is the tone's wandering. The outermost cells are left
 * out: a rim is another doubt. F becomes a normal deviate by the cube root of Paulson (1942),
 * Ann. Math. Stat. 13, 233.
 */
#include "measure/doubt_wander.h"

#include <math.h>
#include <string.h>

#include "core/memory.h"

enum { FIELD_CELLS = 3, LEAST_CORE_PX = 20, LEAST_FIELD_CELLS = 3 };

static const double critical = 0.05; /* of the contrast; docs/doubts.md has the rates */
static const double critical_z = 4;

bool fleck_doubt_wander_begin(fleck_doubt_wander_sums *sums, const fleck_ink_cells *cells)
{
    *sums = (fleck_doubt_wander_sums){ 0 };
    if (cells->across >= 2 + 2 * FIELD_CELLS && cells->down >= 2 + 2 * FIELD_CELLS) {
        sums->across = (cells->across - 2) / FIELD_CELLS;
        sums->down = (cells->down - 2) / FIELD_CELLS;
    }
    sums->fields = fleck_alloc_zeroed(sums->across, sizeof *sums->fields);
    return sums->fields != NULL;
}

static void close_fields(fleck_doubt_wander_sums *sums)
{
    for (size_t i = 0; i < sums->across; i++) {
        const fleck_wander_field *const field = &sums->fields[i];

        if (field->cells < LEAST_FIELD_CELLS)
            continue;
        sums->field_count++;
        sums->cell_count += field->cells;
        sums->weight += field->weight;
        sums->weight_squares += field->weight * field->weight;
        sums->sum += field->sum;
        sums->field_squares += field->sum * field->sum / field->weight;
        sums->within += fmax(field->squares - field->sum * field->sum / field->weight, 0);
    }
    memset(sums->fields, 0, sums->across * sizeof *sums->fields);
}

void fleck_doubt_wander_add(fleck_doubt_wander_sums *sums, const fleck_ink_cells *cells)
{
    const size_t inner_across = cells->across - 2, inner_down = cells->down - 2;
    const size_t row = cells->cell_row;

    if (sums->across == 0 || row == 0 || row > inner_down)
        return;
    for (size_t i = 0; i < inner_across; i++) {
        const fleck_ink_cell *const cell = &cells->cells[i + 1];
        fleck_wander_field *const field = &sums->fields[i * sums->across / inner_across];
        const double weight = (double)cell->core_px;
        double tone;

        if (cell->core_px < LEAST_CORE_PX)
            continue;
        tone = (double)cell->core_sum / (weight * 65535);
        field->cells++;
        field->weight += weight;
        field->sum += weight * tone;
        field->squares += weight * tone * tone;
    }
    /* the next row of cells belongs to another row of fields, or there is none */
    if (row == inner_down || (row - 1) * sums->down / inner_down != row * sums->down / inner_down)
        close_fields(sums);
}

fleck_doubt_wander fleck_doubt_wander_finish(const fleck_doubt_wander_sums *sums,
                                             double ink_reflectance, double bare_reflectance)
{
    fleck_doubt_wander wander = { .doubt = { .statistic = NAN, .critical = critical }, .z = NAN };
    const double a = sums->field_count - 1, b = sums->cell_count - sums->field_count;
    double between, within, typical_weight, f, root, slack_a, slack_b, variance;

    if (a < 3 || b < 6)
        return wander;
    between = fmax(sums->field_squares - sums->sum * sums->sum / sums->weight, 0) / a;
    /* rounding must not make a drawn picture without any scatter wander */
    within = fmax(sums->within / b, 1e-12);
    typical_weight = (sums->weight - sums->weight_squares / sums->weight) / a;
    variance = fmax((between - within) / typical_weight, 0);
    f = between / within;
    root = cbrt(f);
    slack_a = 2 / (9 * a);
    slack_b = 2 / (9 * b);
    wander.z = ((1 - slack_b) * root - (1 - slack_a)) / sqrt(slack_b * root * root + slack_a);
    wander.doubt.statistic = sqrt(12 * variance) / fabs(bare_reflectance - ink_reflectance);
    wander.doubt.exceeded = wander.doubt.statistic >= critical && wander.z >= critical_z;
    return wander;
}

void fleck_doubt_wander_end(fleck_doubt_wander_sums *sums)
{
    fleck_free(sums->fields);
    *sums = (fleck_doubt_wander_sums){ 0 };
}

fleck_status fleck_doubt_wander_warn(const fleck_doubt_wander *wander, fleck_warnings *warnings,
                                     fleck_error *err)
{
    if (!wander->doubt.exceeded)
        return FLECK_OK;
    return fleck_warnings_add(
        warnings, err, "ink-tone-wanders",
        "the ink's own tone wanders by %.0f %% of the contrast inside the "
        "patch: one threshold does not fit all of it; look whether ink, "
        "pressure or the scanner's light was uneven, measure smaller regions, "
        "or use --threshold local",
        100 * wander->doubt.statistic);
}
