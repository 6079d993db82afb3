/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Variance of coverage over square blocks. For blocks of area A and side L beyond the reach of the
 * texture's covariance C,
 *
 *     A Var(A) = v a (1 - b / L + c / L^2),   a the integral range, v = p (1 - p),
 *
 * exactly: b and c are moments of C, because a pair of points h apart fits into a square in
 * (L - |hx|) (L - |hy|) places. The patch's own mean stands for p, which takes the variance of the
 * whole patch from each of them, and from p (1 - p). The three unknowns follow from least squares
 * over sides of growing length.
 */
#include "fleck/sampling.h"

#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "fleck/texture.h"
#include "measure/region_check.h"
#include "segment/mask_words.h"

enum {
    MOST_CELLS = 1 << 20,
    FINEST_CELL_PX = 4,
    MOST_SCALES = 48,
    LEAST_TILES_FOR_EVENNESS = 4,
    UNKNOWNS = 3
};

/*
 * In texture lengths: by 2.5 the covariance of discs has ended or nearly so, at all coverages (of
 * equal discs at low coverage at 1.3), and longer blocks are too few to tell anything.
 */
static const double SHORTEST_BLOCK = 2.5;
static const double LONGEST_BLOCK = 8;
static const double SIDE_RATIO = 1.189207115002721; /* four sides for a doubling */
static const double PATCH_PART = 0.25;              /* of the shorter side: 16 blocks */
static const double SLOW_EXPONENT = -0.8;
static const double CLEARLY = 2; /* standard errors */

/* Ink of cells side by side from the region's top left; those cut by its border are left out. */
struct grid {
    size_t cell_x_px, cell_y_px, across, down;
    uint64_t *sums; /* (across + 1) (down + 1): cell (i, j) at (i + 1, j + 1), later sums up to it */
    uint64_t *inside; /* the same, 1 for each cell inside the mask; NULL: all are */
};

struct fleck_cell_counts {
    fleck_geometry geometry;
    const fleck_mask *mask;
    struct grid cells, tiles; /* tiles.sums is NULL without tiles */
    fleck_chord_counts chords;
    fleck_run *above; /* runs of the row above */
    size_t above_count;
    size_t rows;
    bool finished;
};

/* Blocks of one size: mean square of coverage less that of the patch. */
struct scale {
    double side_per_mm; /* mean of 1 / width and 1 / height */
    double area_mm2;
    double variance;
    double blocks; /* that would fit side by side */
};

static bool grid_new(struct grid *grid, const fleck_geometry *geometry, const fleck_mask *mask)
{
    size_t places;

    grid->across = geometry->width_px / grid->cell_x_px;
    grid->down = geometry->height_px / grid->cell_y_px;
    if (!size_mul(grid->across + 1, grid->down + 1, &places))
        return false;
    grid->sums = fleck_alloc_zeroed(places, sizeof *grid->sums);
    if (grid->sums == NULL)
        return false;
    if (mask == NULL)
        return true;
    grid->inside = fleck_alloc_zeroed(places, sizeof *grid->inside);
    if (grid->inside == NULL)
        return false;
    for (size_t j = 0; j < grid->down; j++) {
        for (size_t i = 0; i < grid->across; i++)
            grid->inside[(j + 1) * (grid->across + 1) + i + 1] =
                fleck_mask_covers_box(mask, i * grid->cell_x_px, j * grid->cell_y_px,
                                      grid->cell_x_px, grid->cell_y_px);
    }
    return true;
}

static void grid_add(struct grid *grid, size_t y_px, const fleck_run *runs, size_t count)
{
    const size_t row = y_px / grid->cell_y_px, step = grid->cell_x_px;
    uint64_t *const sums = grid->sums + (row + 1) * (grid->across + 1) + 1;

    if (row >= grid->down)
        return;
    for (size_t i = 0; i < count; i++) {
        size_t x = runs[i].start_px;

        for (size_t cell = x / step; cell < grid->across && x < runs[i].end_px; cell++) {
            const size_t end = (cell + 1) * step;
            const size_t stop = runs[i].end_px < end ? runs[i].end_px : end;

            sums[cell] += stop - x;
            x = stop;
        }
    }
}

static void integrate(uint64_t *sums, size_t across, size_t down)
{
    const size_t stride = across + 1;

    for (size_t j = 1; j <= down; j++) {
        uint64_t row = 0;

        for (size_t i = 1; i <= across; i++) {
            row += sums[j * stride + i];
            sums[j * stride + i] = sums[(j - 1) * stride + i] + row;
        }
    }
}

static uint64_t box_sum(const uint64_t *sums, size_t stride, size_t i, size_t j, size_t side)
{
    return sums[(j + side) * stride + i + side] - sums[j * stride + i + side] -
           sums[(j + side) * stride + i] + sums[j * stride + i];
}

/* All places of a block of side x side cells, a quarter of it apart; false when there is none. */
static bool measure_scale(const struct grid *grid, const fleck_geometry *geometry, double coverage,
                          size_t side, struct scale *scale)
{
    const size_t stride = grid->across + 1, step = side < 4 ? 1 : side / 4;
    const double width_mm = (double)(side * grid->cell_x_px) * geometry->pixel_x_mm;
    const double height_mm = (double)(side * grid->cell_y_px) * geometry->pixel_y_mm;
    const double pixels = (double)(side * grid->cell_x_px) * (double)(side * grid->cell_y_px);
    double squares = 0, places = 0;

    for (size_t j = 0; j + side <= grid->down; j += step) {
        for (size_t i = 0; i + side <= grid->across; i += step) {
            if (grid->inside == NULL ||
                box_sum(grid->inside, stride, i, j, side) == (uint64_t)side * side) {
                const double off =
                    (double)box_sum(grid->sums, stride, i, j, side) / pixels - coverage;

                squares += off * off;
                places++;
            }
        }
    }
    *scale = (struct scale){ (1 / width_mm + 1 / height_mm) / 2, width_mm * height_mm,
                             squares / places, 0 };
    return places > 0;
}

/* Gaussian elimination with pivots; false when the sides do not tell the unknowns apart. */
static bool solve(double m[UNKNOWNS][UNKNOWNS + 1], double *x)
{
    for (size_t k = 0; k < UNKNOWNS; k++) {
        size_t pivot = k;

        for (size_t i = k + 1; i < UNKNOWNS; i++) {
            if (fabs(m[i][k]) > fabs(m[pivot][k]))
                pivot = i;
        }
        for (size_t j = 0; j <= UNKNOWNS; j++) {
            const double held = m[k][j];

            m[k][j] = m[pivot][j];
            m[pivot][j] = held;
        }
        if (!(fabs(m[k][k]) > 1e-12))
            return false;
        for (size_t i = 0; i < UNKNOWNS; i++) {
            const double factor = i == k ? 0 : m[i][k] / m[k][k];

            for (size_t j = k; j <= UNKNOWNS; j++)
                m[i][j] -= factor * m[k][j];
        }
    }
    for (size_t k = 0; k < UNKNOWNS; k++)
        x[k] = m[k][UNKNOWNS] / m[k][k];
    return true;
}

/*
 * v a, - v a b l and v a c l^2 (l the shortest block, so that all are of one order), weighted by how
 * many blocks there are of a side.
 */
static bool fit(const struct scale *scales, size_t count, double area_mm2, double patch_per_mm,
                double *unknowns)
{
    const double per_length = 1 / scales[0].side_per_mm;
    double m[UNKNOWNS][UNKNOWNS + 1] = { { 0 } };

    for (size_t s = 0; s < count; s++) {
        const double share = scales[s].area_mm2 / area_mm2;
        const double weight = scales[0].area_mm2 / scales[s].area_mm2;
        const double u = scales[s].side_per_mm * per_length, w = patch_per_mm * per_length;
        const double terms[UNKNOWNS] = { 1 - share, u - share * w, u * u - share * w * w };

        for (size_t i = 0; i < UNKNOWNS; i++) {
            for (size_t j = 0; j < UNKNOWNS; j++)
                m[i][j] += weight * terms[i] * terms[j];
            m[i][UNKNOWNS] += weight * terms[i] * scales[s].area_mm2 * scales[s].variance;
        }
    }
    return solve(m, unknowns);
}

/* Slope of ln variance over ln area; the blocks' number weighs, and tells its standard error. */
static void find_exponent(const struct scale *scales, size_t count, double patch_variance,
                          fleck_sampling *out)
{
    double w = 0, x = 0, y = 0, xx = 0, xy = 0;

    for (int pass = 0; pass < 2; pass++) {
        const double mean_x = pass == 0 ? 0 : x / w, mean_y = pass == 0 ? 0 : y / w;

        for (size_t s = 0; s < count; s++) {
            const double dx = log(scales[s].area_mm2) - mean_x;
            const double dy = log(scales[s].variance + patch_variance) - mean_y;

            if (pass == 0) {
                w += scales[s].blocks;
                x += scales[s].blocks * dx;
                y += scales[s].blocks * dy;
            } else {
                xx += scales[s].blocks * dx * dx;
                xy += scales[s].blocks * dx * dy;
            }
        }
    }
    if (count < 3 || !(xx > 0))
        return;
    out->exponent = xy / xx;
    /* ln of a variance from n blocks has the variance 2 / n; sides of half the area share theirs */
    out->exponent_is_slow = out->exponent - CLEARLY * sqrt(2 * 2 / xx) > SLOW_EXPONENT;
}

static size_t cells_in(double length_mm, const struct grid *grid, const fleck_geometry *geometry)
{
    const double cell_mm = sqrt((double)grid->cell_x_px * geometry->pixel_x_mm *
                                ((double)grid->cell_y_px * geometry->pixel_y_mm));

    return (size_t)fmax(1, ceil(length_mm / cell_mm - 1e-9));
}

/* Scales of sides from one length to another. */
static size_t measure_scales(const fleck_cell_counts *counts, double coverage, double area_mm2,
                             double shortest_mm, double longest_mm, struct scale *scales)
{
    const size_t last = cells_in(longest_mm, &counts->cells, &counts->geometry);
    size_t side = cells_in(shortest_mm, &counts->cells, &counts->geometry), count = 0;

    while (side <= last && count < MOST_SCALES &&
           measure_scale(&counts->cells, &counts->geometry, coverage, side, &scales[count])) {
        const size_t next = (size_t)floor((double)side * SIDE_RATIO + 0.5);

        scales[count].blocks = area_mm2 / scales[count].area_mm2;
        count++;
        side = next > side ? next : side + 1;
    }
    return count;
}

static void find_tiles(const fleck_cell_counts *counts, fleck_sampling *out, double *variance,
                       size_t *tiles)
{
    const struct grid *const grid = &counts->tiles;
    const size_t stride = grid->across + 1;
    const double pixels = (double)grid->cell_x_px * (double)grid->cell_y_px;
    double sum = 0, squares = 0, mean;

    *tiles = 0;
    *variance = NAN;
    for (int pass = 0; pass < 2; pass++) {
        mean = pass == 0 ? 0 : sum / (double)*tiles;
        for (size_t i = 0; i < grid->across * grid->down; i++) {
            const size_t at = (i / grid->across + 1) * stride + i % grid->across + 1;
            const double share = (double)grid->sums[at] / pixels;

            if (grid->inside != NULL && grid->inside[at] == 0)
                continue;
            if (pass == 0) {
                sum += share;
                ++*tiles;
            } else {
                squares += (share - mean) * (share - mean);
            }
        }
    }
    if (*tiles < 2)
        return;
    *variance = squares / (double)(*tiles - 1);
    if (sum > 0)
        out->tiles_cv = sqrt(*variance) / (sum / (double)*tiles);
}

static void find_range(fleck_cell_counts *counts, double tile_variance, size_t tiles,
                       fleck_sampling *out)
{
    const fleck_geometry *const g = &counts->geometry;
    const double pixels = (double)(counts->chords.ink_px + counts->chords.bare_px);
    const double coverage = (double)counts->chords.ink_px / pixels;
    const double area_mm2 = pixels * g->pixel_x_mm * g->pixel_y_mm;
    const double changes =
        (double)(counts->chords.changes_in_rows + counts->chords.changes_in_columns);
    const double runs_per_mm = changes / 2 / (pixels * (g->pixel_x_mm + g->pixel_y_mm));
    const double length_mm = coverage * (1 - coverage) / runs_per_mm;
    const double width_mm = (double)g->width_px * g->pixel_x_mm;
    const double height_mm = (double)g->height_px * g->pixel_y_mm;
    const double most_mm = PATCH_PART * fmin(fmin(width_mm, height_mm), sqrt(area_mm2));
    const double shortest_mm = SHORTEST_BLOCK * length_mm;
    const double longest_mm = fmin(LONGEST_BLOCK * length_mm, most_mm);
    const double patch_per_mm = (1 / width_mm + 1 / height_mm) / 2;
    struct scale scales[MOST_SCALES];
    double unknowns[UNKNOWNS], variance;
    size_t count;

    if (!(changes > 0) || !(longest_mm >= 1.5 * shortest_mm))
        return;
    integrate(counts->cells.sums, counts->cells.across, counts->cells.down);
    if (counts->cells.inside != NULL)
        integrate(counts->cells.inside, counts->cells.across, counts->cells.down);
    count = measure_scales(counts, coverage, area_mm2, shortest_mm, longest_mm, scales);
    if (count < UNKNOWNS || !fit(scales, count, area_mm2, patch_per_mm, unknowns))
        return;
    if (unknowns[0] > 0) {
        const double tile_mm2 = (double)counts->tiles.cell_x_px * g->pixel_x_mm *
                                ((double)counts->tiles.cell_y_px * g->pixel_y_mm);

        /* p (1 - p) of one patch is low by the variance of its coverage */
        out->integral_range_mm2 =
            unknowns[0] / (coverage * (1 - coverage) + unknowns[0] / area_mm2);
        variance = coverage * (1 - coverage) * out->integral_range_mm2;
        out->coverage_se = sqrt(variance / area_mm2);
        out->area_for_1pct_mm2 = variance / (0.01 * 0.01);
        if (tiles >= LEAST_TILES_FOR_EVENNESS && tile_mm2 >= scales[count - 1].area_mm2) {
            const double u = (1 / ((double)counts->tiles.cell_x_px * g->pixel_x_mm) +
                              1 / ((double)counts->tiles.cell_y_px * g->pixel_y_mm)) /
                             2 / scales[0].side_per_mm;
            const double foretold =
                (unknowns[0] + unknowns[1] * u + unknowns[2] * u * u) / tile_mm2;

            if (foretold > 0)
                out->evenness = tile_variance / foretold;
        }
    }
    count = measure_scales(counts, coverage, area_mm2, 2 * shortest_mm, most_mm, scales);
    find_exponent(scales, count, fmax(0, unknowns[0]) / area_mm2, out);
}

fleck_status fleck_cell_counts_row(fleck_cell_counts *counts, const fleck_run *runs, size_t count,
                                   fleck_error *err)
{
    const size_t width = counts->geometry.width_px;

    if (counts->rows == counts->geometry.height_px)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "more rows than the region's %zu; give each row once",
                          counts->geometry.height_px);
    if (count > (width + 1) / 2 || (count > 0 && runs[count - 1].end_px > width))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "an ink run leaves the row of %zu px; give the runs of this row", width);
    grid_add(&counts->cells, counts->rows, runs, count);
    if (counts->tiles.sums != NULL)
        grid_add(&counts->tiles, counts->rows, runs, count);
    fleck_chord_counts_add_row(&counts->chords, width, counts->mask, counts->rows, runs, count,
                               counts->above, counts->above_count);
    if (count > 0)
        memcpy(counts->above, runs, count * sizeof *runs);
    counts->above_count = count;
    counts->rows++;
    return FLECK_OK;
}

fleck_status fleck_cell_counts_finish(fleck_cell_counts *counts, fleck_sampling *out,
                                      fleck_error *err)
{
    double tile_variance = NAN;
    size_t tiles = 0;

    *out = (fleck_sampling){ NAN, NAN, NAN, NAN, false, NAN, NAN };
    if (counts->rows != counts->geometry.height_px || counts->finished)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "%zu of %zu rows were given; finish once, after the last row",
                          counts->rows, counts->geometry.height_px);
    counts->finished = true;
    if (counts->tiles.sums != NULL)
        find_tiles(counts, out, &tile_variance, &tiles);
    find_range(counts, tile_variance, tiles, out);
    return FLECK_OK;
}

void fleck_cell_counts_free(fleck_cell_counts *counts)
{
    if (counts == NULL)
        return;
    fleck_free(counts->cells.sums);
    fleck_free(counts->cells.inside);
    fleck_free(counts->tiles.sums);
    fleck_free(counts->tiles.inside);
    fleck_free(counts->above);
    fleck_free(counts);
}

/* Cells square in mm, as small as their number allows. */
static void choose_cells(const fleck_geometry *geometry, struct grid *cells)
{
    const double smaller_mm = fmin(geometry->pixel_x_mm, geometry->pixel_y_mm);
    const double larger_mm = fmax(geometry->pixel_x_mm, geometry->pixel_y_mm);

    for (size_t side = FINEST_CELL_PX;; side *= 2) {
        const double other_px = fmax(1, floor((double)side * smaller_mm / larger_mm + 0.5));
        const bool tall = geometry->pixel_x_mm > geometry->pixel_y_mm;

        cells->cell_x_px = tall ? (size_t)other_px : side;
        cells->cell_y_px = tall ? side : (size_t)other_px;
        if (side > SIZE_MAX / 4 || (double)(geometry->width_px / cells->cell_x_px) *
                                           (double)(geometry->height_px / cells->cell_y_px) <=
                                       MOST_CELLS)
            return;
    }
}

fleck_status fleck_cell_counts_new(const fleck_geometry *geometry, const fleck_mask *mask,
                                   size_t tile_px, fleck_cell_counts **out, fleck_error *err)
{
    fleck_cell_counts *counts = NULL;
    const fleck_status status = fleck_region_check(geometry, mask, err);

    *out = NULL;
    if (status != FLECK_OK)
        return status;
    counts = fleck_alloc_zeroed(1, sizeof *counts);
    if (counts == NULL)
        goto no_memory;
    counts->geometry = *geometry;
    counts->mask = fleck_mask_unless_full(mask);
    choose_cells(geometry, &counts->cells);
    counts->tiles.cell_x_px = counts->tiles.cell_y_px = tile_px;
    counts->above = fleck_alloc_array(geometry->width_px / 2 + 1, sizeof *counts->above);
    if (counts->above == NULL || !grid_new(&counts->cells, geometry, counts->mask) ||
        (tile_px > 0 && !grid_new(&counts->tiles, geometry, counts->mask)))
        goto no_memory;
    *out = counts;
    return FLECK_OK;
no_memory:
    fleck_cell_counts_free(counts);
    return fleck_fail(err, FLECK_NO_RESOURCE,
                      "no memory for counts over a region of %zu x %zu pixels; give a smaller one",
                      geometry->width_px, geometry->height_px);
}
