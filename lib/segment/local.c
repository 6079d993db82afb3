/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Methods that compare a pixel with the mean of its surroundings (Niblack, Sauvola) cut at a level
 * that depends on how much ink there is around, which would bias coverage and sizes, and invent
 * dots in solid ink. A threshold between the two classes of a window does not.
 */
#include "segment/local.h"

#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "segment/main_tone.h"

enum {
    BIN_LEVELS = 16, /* of q: a tenth of an 8-bit code in light paper */
    BINS = FLECK_LEVELS / BIN_LEVELS
};

/* A side of the patch, parted into windows. */
struct axis {
    size_t length_px;
    size_t count;
};

/* Tones in levels of q. NAN until they are known. */
struct window {
    double k;
    double dark, light; /* means of the classes */
    double mean;        /* of all pixels; NAN without any */
    double weight;      /* between-class variance */
    uint64_t pixels;
};

struct fleck_local {
    struct axis x, y;
    size_t next_row;  /* of the first pass */
    uint64_t *counts; /* histograms of the present row of windows */
    struct window *windows;
    struct window *next; /* windows after a filling step */
    double *across;      /* thresholds of a row of pixels at the middles of windows */
    uint16_t *levels;    /* of a row to be cut */
};

/*
 * A window has two tones when its cut lies outside the noise of the tone that most pixels have. An
 * even shade can look so up to 2.6 standard deviations, but has a separability (between-class over
 * total variance) of 0.75 only.
 */
static const double outside_noise = 1.5, far_outside = 3.0, clear_separability = 0.78;

/* First pixel of a window, or the length for i = count. */
static size_t start_of(const struct axis *axis, size_t i)
{
    /* length and count are below 2^31 */
    return (size_t)((uint64_t)axis->length_px * i / axis->count);
}

static double middle_of(const struct axis *axis, size_t i)
{
    return ((double)start_of(axis, i) + (double)start_of(axis, i + 1) - 1.0) / 2.0;
}

static size_t window_of(const struct axis *axis, size_t at_px)
{
    size_t i = (size_t)((uint64_t)at_px * axis->count / axis->length_px);

    while (start_of(axis, i + 1) <= at_px)
        i++;
    return i;
}

static struct axis part(size_t length_px, size_t window_px)
{
    const size_t count = (length_px + window_px / 2) / window_px;

    return (struct axis){ length_px, count > 0 ? count : 1 };
}

/* The middle of a bin. */
static double level_of(double bin)
{
    return bin * BIN_LEVELS + (BIN_LEVELS - 1) / 2.0;
}

/*
 * Otsu's threshold of a window, if it has two tones; between bins where it has none, in the middle.
 * Sums of bins are whole numbers below 2^53.
 */
static void cut_window(struct window *window, const uint64_t *counts)
{
    double n = 0, s = 0, squares = 0, n0 = 0, s0 = 0, best = 0, dark = 0, light = 0;
    double separability, distance;
    size_t low = 0, high, bin;
    fleck_main_tone tone;

    for (size_t i = 0; i < BINS; i++) {
        n += (double)counts[i];
        s += (double)counts[i] * (double)i;
        squares += (double)counts[i] * (double)(i * i);
    }
    *window = (struct window){ .k = NAN, .mean = level_of(s / n), .pixels = (uint64_t)n };
    for (size_t i = 0; i < BINS; i++) {
        double between;

        if (counts[i] == 0)
            continue;
        n0 += (double)counts[i];
        s0 += (double)counts[i] * (double)i;
        if (n0 == n)
            break;
        between = (s * n0 - s0 * n) * (s * n0 - s0 * n) / (n0 * (n - n0)); /* times n^2 */
        if (between > best) {
            best = between;
            dark = level_of(s0 / n0);
            light = level_of((s - s0) / (n - n0));
            low = i;
        }
    }
    if (!(best > 0))
        return;
    for (high = low; counts[high + 1] == 0;)
        high++;
    bin = (low + high) / 2;
    separability = best / (squares * n - s * s);
    tone = fleck_find_main_tone(counts, BINS, window->pixels, bin);
    distance = fabs((double)bin + 0.5 - tone.centre);
    if (distance < outside_noise * tone.sd ||
        (distance < far_outside * tone.sd && separability < clear_separability))
        return;
    window->k = (double)(bin * BIN_LEVELS + BIN_LEVELS - 1);
    window->dark = dark;
    window->light = light;
    window->weight = best / (n * n);
}

static void close_row_of_windows(fleck_local *local, size_t row)
{
    for (size_t i = 0; i < local->x.count; i++)
        cut_window(&local->windows[row * local->x.count + i], local->counts + i * BINS);
    memset(local->counts, 0, local->x.count * BINS * sizeof *local->counts);
}

fleck_status fleck_local_add_row(fleck_local *local, const uint16_t *q, const fleck_run *inside,
                                 size_t inside_count, fleck_error *err)
{
    size_t row;

    if (local->next_row == local->y.length_px)
        return fleck_fail(err, FLECK_BAD_CALL, "more rows than the patch has; hand over %zu",
                          local->y.length_px);
    row = window_of(&local->y, local->next_row);
    for (size_t r = 0; r < inside_count; r++) {
        size_t from = inside[r].start_px;

        for (size_t i = window_of(&local->x, from); from < inside[r].end_px; i++) {
            const size_t past = start_of(&local->x, i + 1);
            const size_t end = past < inside[r].end_px ? past : inside[r].end_px;
            uint64_t *const counts = local->counts + i * BINS;

            for (; from < end; from++)
                counts[q[from] / BIN_LEVELS]++;
        }
    }
    local->next_row++;
    if (local->next_row == start_of(&local->y, row + 1))
        close_row_of_windows(local, row);
    return FLECK_OK;
}

/*
 * Drop thresholds of windows whose tones lie less than half as far apart as two tones do on
 * average: they cut noise. Returns how many are left.
 */
static size_t keep_true_windows(fleck_local *local)
{
    const size_t count = local->x.count * local->y.count;
    double weights = 0, sum = 0;
    size_t own = 0;

    for (size_t i = 0; i < count; i++) {
        const struct window *const window = &local->windows[i];

        if (isnan(window->k))
            continue;
        weights += window->weight;
        sum += window->weight * (window->light - window->dark);
    }
    for (size_t i = 0; i < count; i++) {
        struct window *const window = &local->windows[i];

        if (window->weight > 0 && window->light - window->dark < 0.5 * sum / weights)
            window->k = NAN;
        own += isnan(window->k) ? 0 : 1;
    }
    return own;
}

/*
 * A window without a threshold as those around it let expect. It is all bare or all ink, or nearly
 * so: its mean is one of the two tones, and the other one and the threshold lie as far from it as
 * around.
 */
static struct window expect(const fleck_local *local, size_t column, size_t row)
{
    struct window window = local->windows[row * local->x.count + column];
    double k = 0, dark = 0, light = 0, shift = 0;
    size_t count = 0;

    for (size_t y = row > 0 ? row - 1 : 0; y <= row + 1 && y < local->y.count; y++) {
        for (size_t x = column > 0 ? column - 1 : 0; x <= column + 1 && x < local->x.count; x++) {
            const struct window *const near = &local->windows[y * local->x.count + x];

            if (isnan(near->k))
                continue;
            k += near->k;
            dark += near->dark;
            light += near->light;
            count++;
        }
    }
    if (count == 0)
        return window;
    k /= (double)count;
    dark /= (double)count;
    light /= (double)count;
    if (!isnan(window.mean))
        shift = window.mean - (window.mean > k ? light : dark);
    window.k = fmin(fmax(k + shift, 0), 65535);
    window.dark = dark + shift;
    window.light = light + shift;
    return window;
}

/* Fill windows without a threshold, in steps that take only what stood before the step. */
static void fill(fleck_local *local)
{
    const size_t count = local->x.count * local->y.count;
    bool missing = true;

    while (missing) {
        missing = false;
        for (size_t i = 0; i < count; i++)
            local->next[i] = isnan(local->windows[i].k)
                                 ? expect(local, i % local->x.count, i / local->x.count)
                                 : local->windows[i];
        for (size_t i = 0; i < count; i++) {
            local->windows[i] = local->next[i];
            missing = missing || isnan(local->next[i].k);
        }
    }
}

fleck_status fleck_local_settle(fleck_local *local, const fleck_cut *whole,
                                fleck_local_summary *summary, fleck_error *err)
{
    const size_t count = local->x.count * local->y.count;
    double sum = 0, pixels = 0;

    if (local->next_row < local->y.length_px)
        return fleck_fail(err, FLECK_BAD_CALL, "rows of the patch are missing; hand over %zu",
                          local->y.length_px);
    *summary =
        (fleck_local_summary){ .windows = count, .lowest_k = INFINITY, .highest_k = -INFINITY };
    summary->own = keep_true_windows(local);
    for (size_t i = 0; summary->own == 0 && i < count; i++)
        local->windows[i].k = whole->k;
    fill(local);
    for (size_t i = 0; i < count; i++) {
        const struct window *const window = &local->windows[i];

        sum += window->k * (double)window->pixels;
        pixels += (double)window->pixels;
        summary->lowest_k = fmin(summary->lowest_k, window->k);
        summary->highest_k = fmax(summary->highest_k, window->k);
    }
    summary->mean_k = pixels > 0 ? sum / pixels : NAN;
    fleck_free(local->counts); /* the second pass needs room itself */
    local->counts = NULL;
    return FLECK_OK;
}

/* The window whose middle lies at or before a pixel, with another one behind it, and the way
   between the two, 0 to 1. */
static size_t find_pair(const struct axis *axis, size_t at_px, double *way)
{
    size_t i = window_of(axis, at_px);
    double from, to;

    *way = 0;
    if (middle_of(axis, i) > (double)at_px && i > 0)
        i--;
    if (i + 1 == axis->count)
        return i;
    from = middle_of(axis, i);
    to = middle_of(axis, i + 1);
    *way = fmax(0, ((double)at_px - from) / (to - from));
    return i;
}

void fleck_local_levels(fleck_local *local, size_t y_px, uint16_t *k)
{
    const size_t columns = local->x.count;
    double way;
    const size_t row = find_pair(&local->y, y_px, &way);
    const struct window *const upper = local->windows + row * columns;
    const struct window *const lower = row + 1 < local->y.count ? upper + columns : upper;
    double *const across = local->across;
    size_t x = 0;

    for (size_t i = 0; i < columns; i++)
        across[i] = upper[i].k + (lower[i].k - upper[i].k) * way;
    for (size_t i = 0; i < columns; i++) {
        const double from = middle_of(&local->x, i);
        const double slope =
            i + 1 < columns ? (across[i + 1] - across[i]) / (middle_of(&local->x, i + 1) - from)
                            : 0;
        const size_t end =
            i + 1 < columns ? (size_t)ceil(middle_of(&local->x, i + 1)) : local->x.length_px;

        for (; i == 0 && x < end && (double)x < from; x++)
            k[x] = (uint16_t)across[0];
        for (; x < end; x++)
            k[x] = (uint16_t)(across[i] + slope * ((double)x - from));
    }
}

void fleck_local_cut_row(fleck_local *local, size_t y_px, const uint16_t *q, uint16_t *sides)
{
    const uint16_t *const levels = local->levels;

    fleck_local_levels(local, y_px, local->levels);
    for (size_t x = 0; x < local->x.length_px; x++)
        sides[x] = q[x] > levels[x];
}

static bool make_room(fleck_local *local, struct axis x, struct axis y)
{
    size_t windows, bins;

    local->x = x;
    local->y = y;
    if (!size_mul(x.count, y.count, &windows) || !size_mul(x.count, BINS, &bins))
        return false;
    local->windows = fleck_alloc_zeroed(windows, sizeof *local->windows);
    local->next = fleck_alloc_zeroed(windows, sizeof *local->next);
    local->across = fleck_alloc_zeroed(x.count, sizeof *local->across);
    local->counts = fleck_alloc_zeroed(bins, sizeof *local->counts);
    local->levels = fleck_alloc_zeroed(x.length_px, sizeof *local->levels);
    return local->windows != NULL && local->next != NULL && local->across != NULL &&
           local->counts != NULL && local->levels != NULL;
}

fleck_status fleck_local_new(size_t width_px, size_t height_px, size_t window_x_px,
                             size_t window_y_px, fleck_local **out, fleck_error *err)
{
    fleck_local *local;

    *out = NULL;
    if (width_px < 1 || width_px > INT32_MAX || height_px < 1 || height_px > INT32_MAX)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a patch of %zu x %zu pixels has no local threshold; give one of 1 to "
                          "2^31 - 1 pixels",
                          width_px, height_px);
    if (window_x_px < FLECK_LOCAL_LEAST_PX || window_x_px > FLECK_LOCAL_MOST_PX ||
        window_y_px < FLECK_LOCAL_LEAST_PX || window_y_px > FLECK_LOCAL_MOST_PX)
        return fleck_fail(
            err, FLECK_BAD_CALL,
            "a window of %zu x %zu pixels cannot give a threshold; give one of %d to %d",
            window_x_px, window_y_px, FLECK_LOCAL_LEAST_PX, FLECK_LOCAL_MOST_PX);
    local = fleck_alloc_zeroed(1, sizeof *local);
    if (local == NULL ||
        !make_room(local, part(width_px, window_x_px), part(height_px, window_y_px))) {
        fleck_local_free(local);
        return fleck_fail(
            err, FLECK_NO_RESOURCE,
            "no memory for local thresholds; give a larger window or a smaller --region");
    }
    *out = local;
    return FLECK_OK;
}

void fleck_local_free(fleck_local *local)
{
    if (local == NULL)
        return;
    fleck_free(local->counts);
    fleck_free(local->windows);
    fleck_free(local->next);
    fleck_free(local->across);
    fleck_free(local->levels);
    fleck_free(local);
}
