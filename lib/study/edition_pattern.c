/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The same spots in the same places: neighbouring prints laid over each other. */
#include <math.h>

#include "core/memory.h"
#include "core/text.h"
#include "stats/moments.h"
#include "stats/noncentral_t.h"
#include "study/edition_parts.h"
#include "study/print_grid.h"
#include "study/relate_words.h"

/* As many pairs, spread over the edition: more would only be slower. Common practice, no source. */
enum { MOST_PAIRS = 24 };

/* A correlation below this is no pattern that anyone would see: 1 % of the variance. No source. */
static const double faint = 0.1;

/* Rows of the first patch of each print. */
static size_t *first_rows(const fleck_edition_layout *layout)
{
    size_t *const rows = fleck_alloc_array(layout->print_count, sizeof *rows);

    for (size_t i = 0; rows != NULL && i < layout->row_count; i++) {
        if (i == 0 || layout->rows[i].print_index != layout->rows[i - 1].print_index)
            rows[layout->rows[i].print_index] = layout->rows[i].row;
    }
    return rows;
}

/* Grids of two neighbouring prints; the second is often the first of the next pair. */
typedef struct held_grids {
    fleck_ink_grid grid[2];
    size_t print[2];
    bool usable[2];
} held_grids;

typedef struct pattern_course {
    const fleck_edition_layout *layout;
    const size_t *rows;
    double cell_mm;
    size_t failed;
    fleck_error first_failure;
} pattern_course;

static fleck_status hold_print(pattern_course *course, held_grids *held, size_t side, size_t print,
                               fleck_error *err)
{
    fleck_error why = { 0 };
    fleck_status status;

    fleck_ink_grid_clear(&held->grid[side]);
    held->print[side] = print;
    status = fleck_print_grid_read(course->layout->study, course->rows[print], course->cell_mm,
                                   &held->grid[side], &why);
    held->usable[side] = status == FLECK_OK;
    if (status == FLECK_NO_RESOURCE)
        return fleck_fail(err, status, "%s", why.message);
    if (status != FLECK_OK && course->failed++ == 0)
        course->first_failure = why;
    return FLECK_OK;
}

static fleck_status lay_pairs(pattern_course *course, fleck_edition *out, fleck_error *err)
{
    const size_t steps = course->layout->print_count - 1;
    const size_t wanted = steps < MOST_PAIRS ? steps : MOST_PAIRS;
    held_grids held = { .print = { FLECK_STUDY_NONE, FLECK_STUDY_NONE } };
    fleck_status status = FLECK_OK;

    out->pattern.pairs = fleck_alloc_array(wanted, sizeof *out->pattern.pairs);
    if (out->pattern.pairs == NULL)
        return fleck_edition_no_memory(err);
    for (size_t i = 0; i < wanted && status == FLECK_OK; i++) {
        const size_t first = i * steps / wanted;
        fleck_registration found;

        if (held.print[1] == first) { /* it moves over */
            const fleck_ink_grid kept = held.grid[1];

            held.grid[1] = held.grid[0];
            held.grid[0] = kept;
            held.print[0] = first;
            held.usable[0] = held.usable[1];
        } else {
            status = hold_print(course, &held, 0, first, err);
        }
        if (status == FLECK_OK)
            status = hold_print(course, &held, 1, first + 1, err);
        if (status != FLECK_OK || !held.usable[0] || !held.usable[1])
            continue;
        status = fleck_register(&held.grid[0], &held.grid[1], &found, err);
        if (status == FLECK_OK && !isnan(found.correlation))
            out->pattern.pairs[out->pattern.pair_count++] = (fleck_edition_pair){
                first, first + 1, found.correlation, found.se, found.shift_x_mm, found.shift_y_mm,
                found.turn_deg };
    }
    fleck_ink_grid_clear(&held.grid[0]);
    fleck_ink_grid_clear(&held.grid[1]);
    return status;
}

/*
 * Mean of the pairs. Its error is that of the pairs' own squares or that of the pairs among each other,
 * whichever is larger: prints of one edition may share more in some places of it than in others.
 */
static void average(fleck_edition_pattern *pattern)
{
    const double n = (double)pattern->pair_count;
    fleck_sum sum = { 0, 0 }, within = { 0, 0 }, between = { 0, 0 };
    double own, among = 0, reach;

    if (pattern->pair_count == 0)
        return;
    for (size_t i = 0; i < pattern->pair_count; i++) {
        fleck_sum_add(&sum, pattern->pairs[i].correlation);
        fleck_sum_add(&within, pattern->pairs[i].se * pattern->pairs[i].se);
    }
    pattern->correlation = fleck_sum_value(&sum) / n;
    for (size_t i = 0; i < pattern->pair_count; i++)
        fleck_sum_add(&between, pow(pattern->pairs[i].correlation - pattern->correlation, 2));
    /* a pair rests on some 25 squares at least; of two pairs the spread among them says nothing yet */
    own = fleck_t_two_sided_quantile(0.05, 24 * n) * sqrt(fleck_sum_value(&within)) / n;
    if (pattern->pair_count > 2)
        among = fleck_t_two_sided_quantile(0.05, n - 1) *
                sqrt(fleck_sum_value(&between) / (n - 1) / n);
    reach = fmax(own, among);
    pattern->lo = fmax(pattern->correlation - reach, -1);
    pattern->hi = fmin(pattern->correlation + reach, 1);
}

static fleck_status say_pattern(fleck_edition *out, fleck_error *err)
{
    fleck_edition_pattern *const pattern = &out->pattern;
    const double reach = (pattern->hi - pattern->lo) / 2;
    fleck_text text = { 0 };

    if (pattern->pair_count == 0)
        fleck_text_add(&text, "Whether spots stand in the same places from print to print is not known: no "
                              "two neighbouring prints could be laid over each other.");
    else if (pattern->lo > 0)
        fleck_text_add(&text, "Spots stand in the same places from print to print: a fixed pattern, of the "
                              "block, a dent or its grain");
    else if (pattern->hi < faint)
        fleck_text_add(&text, "Spots stand in new places in each print: no fixed pattern of the block is "
                              "seen");
    else
        fleck_text_add(&text, "Cannot tell whether spots stand in the same places from print to print");
    if (pattern->pair_count > 0) {
        fleck_text_add(&text, " (correlation of neighbouring prints ");
        fleck_words_add_rounded(&text, pattern->correlation, reach);
        fleck_text_add(&text, ", 95 % interval ");
        fleck_words_add_rounded(&text, pattern->lo, reach);
        fleck_text_add(&text, " to ");
        fleck_words_add_rounded(&text, pattern->hi, reach);
        fleck_text_add_format(&text, ", %zu %s).", pattern->pair_count,
                              pattern->pair_count == 1 ? "pair" : "pairs");
    }
    if (text.failed)
        return fleck_edition_no_memory(err);
    pattern->sentence = text.bytes;
    return FLECK_OK;
}

fleck_status fleck_edition_find_pattern(const fleck_edition_layout *layout, fleck_edition *out,
                                        fleck_error *err)
{
    size_t *const rows = first_rows(layout);
    pattern_course course = { .layout = layout, .rows = rows };
    fleck_status status;

    if (rows == NULL)
        return fleck_edition_no_memory(err);
    course.cell_mm = fleck_print_grid_cell_mm(layout->study, rows, layout->print_count);
    status = lay_pairs(&course, out, err);
    if (status == FLECK_OK && course.failed > 0)
        status = fleck_warnings_add(&out->warnings, err, "pattern-scans",
                                    "%zu %s could not be laid over %s neighbour; the first: %s",
                                    course.failed, course.failed == 1 ? "print" : "prints",
                                    course.failed == 1 ? "its" : "their", course.first_failure.message);
    if (status == FLECK_OK) {
        average(&out->pattern);
        status = say_pattern(out, err);
    }
    fleck_free(rows);
    return status;
}
