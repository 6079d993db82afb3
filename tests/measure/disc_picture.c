/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "disc_picture.h"

#include <math.h>
#include <stdlib.h>

#include "support/check.h"

enum { PITCH_PX = 40, MARGIN_PX = 12 };

double test_normal(uint64_t *state)
{
    double sum = -6;

    for (int i = 0; i < 12; i++)
        sum += test_uniform(state);
    return sum;
}

static void draw_disc(disc_picture *picture, double x_px, double y_px, double radius_px,
                      double softness_px)
{
    const double reach = radius_px + 6 * softness_px + 1;

    for (double y = floor(y_px - reach); y <= y_px + reach; y++) {
        for (double x = floor(x_px - reach); x <= x_px + reach; x++) {
            const double outside = hypot(x + 0.5 - x_px, y + 0.5 - y_px) - radius_px;
            double ink, *at;

            if (x < 0 || y < 0 || x >= (double)picture->width_px || y >= (double)picture->height_px)
                continue;
            ink = softness_px > 0 ? 0.5 * erfc(outside / (sqrt(2) * softness_px)) : outside < 0;
            at = &picture->reflectance[(size_t)y * picture->width_px + (size_t)x];
            *at -= ink * (*at - 0.1);
        }
    }
}

disc_picture disc_picture_new(size_t width_px, size_t height_px, double softness_px, double noise,
                              uint64_t seed)
{
    disc_picture picture = { .width_px = width_px, .height_px = height_px };
    const size_t n = width_px * height_px;

    picture.reflectance = malloc(n * sizeof *picture.reflectance);
    picture.q = malloc(n * sizeof *picture.q);
    picture.runs = malloc((width_px / 2 + 1) * sizeof *picture.runs);
    assert_true(picture.reflectance != NULL && picture.q != NULL && picture.runs != NULL);
    for (size_t i = 0; i < n; i++)
        picture.reflectance[i] = 0.8;
    for (size_t y = 0; y < height_px; y += PITCH_PX) {
        for (size_t x = 0; x < width_px; x += PITCH_PX) {
            const double room = PITCH_PX - 2 * MARGIN_PX;
            const double x_px = (double)x + MARGIN_PX + room * test_uniform(&seed);
            const double y_px = (double)y + MARGIN_PX + room * test_uniform(&seed);

            draw_disc(&picture, x_px, y_px, 5 + 3 * test_uniform(&seed), softness_px);
        }
    }
    for (size_t i = 0; noise > 0 && i < n; i++)
        picture.reflectance[i] += noise * test_normal(&seed);
    disc_picture_code(&picture, 0);
    return picture;
}

void disc_picture_code(disc_picture *picture, double levels)
{
    for (size_t i = 0; i < picture->width_px * picture->height_px; i++) {
        double value = fmin(fmax(picture->reflectance[i], 0), 1);

        if (levels > 0) {
            const double code = floor(sqrt(value) * levels + 0.5) / levels;

            value = code * code;
        }
        picture->q[i] = (uint16_t)(65535 * value + 0.5);
    }
}

size_t disc_picture_row(disc_picture *picture, size_t y)
{
    return fleck_runs_from_row(picture->q + y * picture->width_px, picture->width_px,
                               (unsigned)(65535 * 0.45), FLECK_INK_DARK, picture->runs);
}

void disc_picture_free(disc_picture *picture)
{
    free(picture->reflectance);
    free(picture->q);
    free(picture->runs);
}
