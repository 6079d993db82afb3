/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Along a row chords are the runs and the gaps between them. Down the columns a chord ends where a
 * pixel differs from the one above: those places are the bits of one row xor the next, and each
 * column remembers where its stretch began. Lengths are counted in whole pixels, so that nothing is
 * rounded before the end.
 */
#include "measure/chord_lengths.h"

#include <math.h>
#include <stdlib.h>

#include "core/memory.h"
#include "measure/preferred_numbers.h"
#include "segment/mask_words.h"

enum { INK = FLECK_PHASE_INK, BARE = FLECK_PHASE_BARE };

static bool new_stretches(fleck_stretches *stretches, size_t length_px)
{
    stretches->inside = fleck_alloc_zeroed(length_px + 1, sizeof *stretches->inside);
    stretches->whole[INK] = fleck_alloc_zeroed(length_px + 1, sizeof *stretches->whole[INK]);
    stretches->whole[BARE] = fleck_alloc_zeroed(length_px + 1, sizeof *stretches->whole[BARE]);
    return stretches->inside != NULL && stretches->whole[INK] != NULL &&
           stretches->whole[BARE] != NULL;
}

static void free_stretches(fleck_stretches *stretches)
{
    fleck_free(stretches->inside);
    fleck_free(stretches->whole[INK]);
    fleck_free(stretches->whole[BARE]);
}

fleck_status fleck_chord_counter_init(fleck_chord_counter *counter, size_t width_px,
                                      size_t height_px, fleck_error *err)
{
    *counter = (fleck_chord_counter){ .width_px = width_px, .height_px = height_px };
    counter->begin = fleck_alloc_zeroed(width_px, sizeof *counter->begin);
    counter->inside_begin = fleck_alloc_zeroed(width_px, sizeof *counter->inside_begin);
    counter->cut = fleck_alloc_zeroed(width_px, sizeof *counter->cut);
    if (counter->begin == NULL || counter->inside_begin == NULL || counter->cut == NULL ||
        !new_stretches(&counter->rows, width_px) || !new_stretches(&counter->columns, height_px))
        return fleck_fail(err, FLECK_NO_RESOURCE,
                          "no memory for chord lengths; give a smaller --region");
    return FLECK_OK;
}

void fleck_chord_counter_clear(fleck_chord_counter *counter)
{
    fleck_free(counter->begin);
    fleck_free(counter->inside_begin);
    fleck_free(counter->cut);
    free_stretches(&counter->rows);
    free_stretches(&counter->columns);
    *counter = (fleck_chord_counter){ 0 };
}

static void count_stretch(fleck_stretches *stretches, int phase, size_t length_px, bool cut)
{
    if (cut)
        stretches->cut[phase]++;
    else
        stretches->whole[phase][length_px]++;
}

static void count_row(fleck_stretches *rows, const fleck_run *ink, size_t ink_count,
                      const fleck_run *inside, size_t inside_count)
{
    size_t next = 0;

    for (size_t i = 0; i < inside_count; i++) {
        const fleck_run part = inside[i];
        uint32_t at = part.start_px;

        rows->inside[part.end_px - part.start_px]++;
        for (; next < ink_count && ink[next].start_px < part.end_px; next++) {
            const fleck_run run = ink[next];

            if (run.start_px > at)
                count_stretch(rows, BARE, run.start_px - at, at == part.start_px);
            count_stretch(rows, INK, run.end_px - run.start_px,
                          run.start_px == part.start_px || run.end_px == part.end_px);
            at = run.end_px;
        }
        if (at < part.end_px)
            count_stretch(rows, BARE, part.end_px - at, true);
    }
}

/* Pixel x of row y is of another kind than the one above it. */
static void change_column(fleck_chord_counter *counter, size_t x, size_t y, bool was_inside,
                          bool was_ink, bool is_inside)
{
    if (was_inside) {
        count_stretch(&counter->columns, was_ink ? INK : BARE, y - counter->begin[x],
                      counter->cut[x] || !is_inside);
        if (!is_inside)
            counter->columns.inside[y - counter->inside_begin[x]]++;
    } else {
        counter->inside_begin[x] = (uint32_t)y;
    }
    counter->begin[x] = (uint32_t)y;
    counter->cut[x] = !was_inside;
}

/* Word i of the pixels of row y that are inside; the rows beyond the region are not. */
static uint64_t inside_word(const fleck_chord_counter *counter, const fleck_bit_rows *inside_rows,
                            size_t y, size_t i)
{
    const size_t left_px = counter->width_px - 64 * i;

    if (y >= counter->height_px) /* y - 1 of the first row comes here too */
        return 0;
    if (inside_rows != NULL)
        return fleck_bit_row(inside_rows, y)[i];
    return left_px >= 64 ? UINT64_MAX : (UINT64_C(1) << left_px) - 1;
}

static void count_columns(fleck_chord_counter *counter, const fleck_bit_rows *ink_rows,
                          const fleck_bit_rows *inside_rows, size_t y)
{
    for (size_t i = 0; i < ink_rows->words; i++) {
        const uint64_t now_inside = inside_word(counter, inside_rows, y, i);
        const uint64_t was_inside = inside_word(counter, inside_rows, y - 1, i);
        const uint64_t now_ink = y < counter->height_px ? fleck_bit_row(ink_rows, y)[i] : 0;
        const uint64_t was_ink = y > 0 ? fleck_bit_row(ink_rows, y - 1)[i] : 0;
        uint64_t changed = (now_inside ^ was_inside) | (now_ink ^ was_ink);

        while (changed != 0) {
            const uint64_t bit = changed & (~changed + 1);

            change_column(counter, 64 * i + fleck_word_ones(bit - 1), y, (was_inside & bit) != 0,
                          (was_ink & bit) != 0, (now_inside & bit) != 0);
            changed ^= bit;
        }
    }
}

void fleck_chord_counter_row(fleck_chord_counter *counter, const fleck_run *ink, size_t ink_count,
                             const fleck_run *inside, size_t inside_count,
                             const fleck_bit_rows *ink_rows, const fleck_bit_rows *inside_rows)
{
    count_row(&counter->rows, ink, ink_count, inside, inside_count);
    count_columns(counter, ink_rows, inside_rows, counter->next_row++);
}

void fleck_chord_counter_end(fleck_chord_counter *counter, const fleck_bit_rows *ink_rows,
                             const fleck_bit_rows *inside_rows)
{
    count_columns(counter, ink_rows, inside_rows, counter->height_px);
}

/* ---- from counts to a distribution ---- */

struct weighted {
    double length_mm, weight;
};

/* Each length once for each axis; equal lengths of both axes are summed alike in either order. */
static int by_length(const void *a, const void *b)
{
    const struct weighted *const left = a, *const right = b;

    if (left->length_mm != right->length_mm)
        return left->length_mm < right->length_mm ? -1 : 1;
    return (left->weight > right->weight) - (left->weight < right->weight);
}

/* Add the lengths of one axis with their weights per mm of line; returns the number of chords. */
static double weigh(const fleck_stretches *stretches, int phase, size_t longest_px, double pixel_mm,
                    struct weighted *list, size_t *count)
{
    double chords = 0, lines = 0, line_px = 0;

    for (size_t n = longest_px; n >= 2; n--) {
        /* places for a chord of n - 2 pixels: 1 on a line of n, 2 on one of n + 1, ... */
        const size_t length_px = n - 2;
        double places;

        lines += (double)stretches->inside[n];
        line_px += (double)stretches->inside[n] * (double)n;
        places = line_px - (double)(length_px + 1) * lines;
        if (stretches->whole[phase][length_px] > 0) {
            const double chords_here = (double)stretches->whole[phase][length_px];

            list[(*count)++] = (struct weighted){ (double)length_px * pixel_mm,
                                                  chords_here / (places * pixel_mm) };
            chords += chords_here;
        }
    }
    return chords;
}

enum { CLASSES_PER_DECADE = 10 };

static int class_of(double length_mm)
{
    return fleck_preferred_class(length_mm, CLASSES_PER_DECADE);
}

static fleck_status summarise(const struct weighted *list, size_t count, fleck_chord_lengths *out,
                              fleck_error *err)
{
    const int first = class_of(list[0].length_mm), last = class_of(list[count - 1].length_mm);
    double sum = 0, first_moment = 0, spread = 0, reached = 0;

    out->classes = (size_t)(last - first) + 1;
    out->from_mm = fleck_alloc_array(out->classes + 1, sizeof *out->from_mm);
    out->share = fleck_alloc_zeroed(out->classes, sizeof *out->share);
    if (out->from_mm == NULL || out->share == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for chord lengths; free some memory");
    for (size_t i = 0; i <= out->classes; i++)
        out->from_mm[i] = fleck_preferred_number(first + (int)i, CLASSES_PER_DECADE);
    for (size_t i = 0; i < count; i++) {
        sum += list[i].weight;
        first_moment += list[i].weight * list[i].length_mm;
    }
    out->mean_mm = first_moment / sum;
    for (size_t i = 0; i < count; i++) {
        const double distance_mm = list[i].length_mm - out->mean_mm;

        spread += list[i].weight * distance_mm * distance_mm;
        if (reached < 0.5 * sum)
            out->median_mm = list[i].length_mm;
        reached += list[i].weight;
        out->share[class_of(list[i].length_mm) - first] += list[i].weight / sum;
    }
    out->sd_mm = sqrt(spread / sum);
    return FLECK_OK;
}

fleck_status fleck_chord_lengths_fill(const fleck_chord_counter *counter, fleck_phase phase,
                                      double pixel_x_mm, double pixel_y_mm,
                                      fleck_chord_lengths *out, fleck_error *err)
{
    struct weighted *list = NULL;
    fleck_status status = FLECK_OK;
    size_t count = 0;

    *out = (fleck_chord_lengths){ .mean_mm = NAN, .median_mm = NAN, .sd_mm = NAN };
    list = fleck_alloc_array(counter->width_px + counter->height_px, sizeof *list);
    if (list == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for chord lengths; free some memory");
    out->chords = weigh(&counter->rows, phase, counter->width_px, pixel_x_mm, list, &count);
    out->chords += weigh(&counter->columns, phase, counter->height_px, pixel_y_mm, list, &count);
    out->cut = (double)(counter->rows.cut[phase] + counter->columns.cut[phase]);
    if (count > 0) {
        qsort(list, count, sizeof *list, by_length);
        status = summarise(list, count, out, err);
    }
    fleck_free(list);
    return status;
}

void fleck_chord_lengths_clear(fleck_chord_lengths *lengths)
{
    fleck_free(lengths->from_mm);
    fleck_free(lengths->share);
    *lengths = (fleck_chord_lengths){ 0 };
}
