/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The line is that of least squares of distances (the long axis of the crossings), laid again through
 * those that are near it until dust and nicks have lost their pull.
 */
#include "measure/edge_line.h"

#include <math.h>

#include "core/memory.h"

enum { ROUNDS = 6, MOST_BINS = 4096 };

static const double pi = 3.14159265358979323846;

/* Moments of the places where the tone passes the cut. */
struct moments {
    double n, all, x, y, xx, xy, yy, square; /* square: of distances from the line before */
    double bare_x, bare_y, bare_n;           /* of all bare pixels, to tell the sides */
};

/* Near enough to the line of the round before to be part of it. */
struct gate {
    const fleck_edge_line *line; /* NULL: all are */
    double most_mm;
};

static double distance_mm(const fleck_edge_line *line, double x_mm, double y_mm)
{
    return (x_mm - line->x_mm) * line->normal_x + (y_mm - line->y_mm) * line->normal_y;
}

static void add(struct moments *moments, const struct gate *gate, double x_mm, double y_mm)
{
    double off_mm = 0;

    moments->all++;
    if (gate->line != NULL) {
        off_mm = distance_mm(gate->line, x_mm, y_mm);
        if (fabs(off_mm) > gate->most_mm)
            return;
    }
    moments->n++;
    moments->x += x_mm;
    moments->y += y_mm;
    moments->xx += x_mm * x_mm;
    moments->xy += x_mm * y_mm;
    moments->yy += y_mm * y_mm;
    moments->square += off_mm * off_mm;
}

/* How far from a to b the cut is passed, 0 to 1. */
static double passed(unsigned k, uint16_t a, uint16_t b)
{
    return ((double)k + 0.5 - a) / ((double)b - a);
}

static struct moments gather(const fleck_edge_picture *picture, const struct gate *gate)
{
    const size_t width = picture->geometry.width_px, height = picture->geometry.height_px;
    const double px = picture->geometry.pixel_x_mm, py = picture->geometry.pixel_y_mm;
    const unsigned k = picture->k;
    struct moments moments = { 0 };

    for (size_t y = 0; y < height; y++) {
        const uint16_t *const row = picture->q + y * width;
        const uint16_t *const above = y > 0 ? row - width : NULL;

        for (size_t x = 0; x < width; x++) {
            const double x_mm = ((double)x + 0.5) * px, y_mm = ((double)y + 0.5) * py;

            if (row[x] > k) {
                moments.bare_n++;
                moments.bare_x += x_mm;
                moments.bare_y += y_mm;
            }
            if (x > 0 && (row[x] <= k) != (row[x - 1] <= k))
                add(&moments, gate, x_mm - px + px * passed(k, row[x - 1], row[x]), y_mm);
            if (above != NULL && (row[x] <= k) != (above[x] <= k))
                add(&moments, gate, x_mm, y_mm - py + py * passed(k, above[x], row[x]));
        }
    }
    return moments;
}

static void lay(const struct moments *m, fleck_edge_line *line)
{
    const double x_mm = m->x / m->n, y_mm = m->y / m->n;
    const double xx = m->xx / m->n - x_mm * x_mm, yy = m->yy / m->n - y_mm * y_mm;
    const double xy = m->xy / m->n - x_mm * y_mm;
    const double along = 0.5 * atan2(2 * xy, xx - yy);

    line->x_mm = x_mm;
    line->y_mm = y_mm;
    line->normal_x = -sin(along);
    line->normal_y = cos(along);
}

/* Length and steps of the part of the line that lies inside the picture. */
static void cut_to_picture(const fleck_geometry *geometry, fleck_edge_line *line)
{
    const double px = geometry->pixel_x_mm, py = geometry->pixel_y_mm;
    const double across[2] = { -line->normal_y, line->normal_x }; /* along the line */
    const double start[2] = { line->x_mm, line->y_mm };
    const double end[2] = { (double)geometry->width_px * px, (double)geometry->height_px * py };
    double from = -INFINITY, to = INFINITY, columns, rows;

    for (int i = 0; i < 2; i++) {
        double a, b;

        if (across[i] == 0)
            continue;
        a = -start[i] / across[i];
        b = (end[i] - start[i]) / across[i];
        from = fmax(from, fmin(a, b));
        to = fmin(to, fmax(a, b));
    }
    line->length_mm = fmax(0, to - from);
    columns = line->length_mm * fabs(across[0]) / px;
    rows = line->length_mm * fabs(across[1]) / py;
    line->steps_px = fmin(fmin(columns, rows), fabs(columns - rows));
}

/* Farthest corners to either side. */
static void find_room(const fleck_geometry *geometry, fleck_edge_line *line)
{
    line->ink_room_mm = line->bare_room_mm = 0;
    for (int corner = 0; corner < 4; corner++) {
        const double x_mm =
            corner % 2 == 0 ? 0 : (double)geometry->width_px * geometry->pixel_x_mm;
        const double y_mm =
            corner / 2 == 0 ? 0 : (double)geometry->height_px * geometry->pixel_y_mm;
        const double away_mm = distance_mm(line, x_mm, y_mm);

        line->bare_room_mm = fmax(line->bare_room_mm, away_mm);
        line->ink_room_mm = fmax(line->ink_room_mm, -away_mm);
    }
}

bool fleck_edge_line_fit(const fleck_edge_picture *picture, fleck_edge_line *line)
{
    const fleck_geometry *const geometry = &picture->geometry;
    const double larger_mm = fmax(geometry->pixel_x_mm, geometry->pixel_y_mm);
    struct gate gate = { NULL, 0 };
    struct moments moments = gather(picture, &gate);
    double angle_deg;

    *line = (fleck_edge_line){ 0 };
    if (moments.n < 2)
        return false;
    lay(&moments, line);
    gate = (struct gate){ line, INFINITY };
    for (int round = 0; round < ROUNDS; round++) {
        fleck_edge_line next = *line;

        moments = gather(picture, &gate);
        if (moments.n < 2)
            return false;
        lay(&moments, &next);
        line->off_mm = sqrt(moments.square / moments.n);
        gate.most_mm = fmax(larger_mm, 2.5 * line->off_mm);
        next.off_mm = line->off_mm;
        next.left_out = 1 - moments.n / moments.all;
        *line = next;
    }
    if (moments.bare_n > 0 &&
        distance_mm(line, moments.bare_x / moments.bare_n, moments.bare_y / moments.bare_n) < 0) {
        line->normal_x = -line->normal_x;
        line->normal_y = -line->normal_y;
    }
    /* the picture's y runs downward */
    angle_deg = atan2(-line->normal_x, -line->normal_y) * 180 / pi;
    line->angle_deg = fmod(angle_deg + 360, 180);
    cut_to_picture(geometry, line);
    find_room(geometry, line);
    return true;
}

/* What lies at about one distance from the line. */
struct bin {
    double n, q, mm;
};

/* Mean and standard deviation of one tone. */
struct tone {
    double n, sum, square;
};

static double mean_of(const struct tone *tone)
{
    return tone->sum / tone->n;
}

static double sd_of(const struct tone *tone)
{
    const double mean = mean_of(tone);

    return sqrt(fmax(0, tone->square / tone->n - mean * mean));
}

/* Distance at which the mean profile first reaches a level, coming from the ink. */
static double reach_mm(const struct bin *bins, size_t count, double level, bool rising)
{
    const struct bin *before = NULL;

    for (size_t i = 0; i < count; i++) {
        const struct bin *const bin = &bins[i];
        double q;

        if (!(bin->n > 0))
            continue;
        q = bin->q / bin->n;
        if ((q >= level) == rising) {
            double q_before;

            if (before == NULL)
                return NAN;
            q_before = before->q / before->n;
            return before->mm / before->n + (level - q_before) / (q - q_before) *
                                                (bin->mm / bin->n - before->mm / before->n);
        }
        before = bin;
    }
    return NAN;
}

fleck_status fleck_edge_profile_take(const fleck_edge_picture *picture, const fleck_edge_line *line,
                                     double width_mm, fleck_edge_profile *out, fleck_error *err)
{
    const fleck_geometry *const geometry = &picture->geometry;
    const double px = geometry->pixel_x_mm, py = geometry->pixel_y_mm;
    const double tones_mm = 2 * width_mm + fmax(px, py);
    const double bin_mm = fmax(0.25 * fmin(px, py), 2 * tones_mm / MOST_BINS);
    struct bin *const bins = fleck_alloc_zeroed(MOST_BINS, sizeof *bins);
    struct tone ink = { 0 }, bare = { 0 };
    double ink_q, contrast_q, at[3];

    *out = (fleck_edge_profile){ NAN, NAN, NAN };
    if (bins == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to look at an edge; give a smaller box");
    for (size_t y = 0; y < geometry->height_px; y++)
        for (size_t x = 0; x < geometry->width_px; x++) {
            const double q = picture->q[y * geometry->width_px + x];
            const double mm = distance_mm(line, ((double)x + 0.5) * px, ((double)y + 0.5) * py);

            if (fabs(mm) > tones_mm) {
                struct tone *const tone = mm < 0 ? &ink : &bare;

                tone->n++;
                tone->sum += q;
                tone->square += q * q;
            } else {
                struct bin *const bin = &bins[(size_t)((mm + tones_mm) / bin_mm) % MOST_BINS];

                bin->n++;
                bin->q += q;
                bin->mm += mm;
            }
        }
    if (ink.n > 0 && bare.n > 0) {
        ink_q = mean_of(&ink);
        contrast_q = mean_of(&bare) - ink_q;
        for (int i = 0; i < 3; i++)
            at[i] = reach_mm(bins, MOST_BINS, ink_q + (0.1 + 0.4 * i) * contrast_q, contrast_q > 0);
        out->ink_part_mm = at[1] - at[0];
        out->bare_part_mm = at[2] - at[1];
        out->noise = fmax(sd_of(&ink), sd_of(&bare)) / fabs(contrast_q);
    }
    fleck_free(bins);
    return FLECK_OK;
}
