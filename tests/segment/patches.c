/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "patches.h"

#include <math.h>
#include <stdlib.h>

#include "support/check.h"

struct patch patch_new(size_t width_px, size_t height_px, double tone)
{
    struct patch patch = { width_px, height_px, malloc(width_px * height_px * sizeof(double)) };

    assert_non_null(patch.tone);
    for (size_t i = 0; i < width_px * height_px; i++)
        patch.tone[i] = tone;
    return patch;
}

void patch_free(struct patch *patch)
{
    free(patch->tone);
    patch->tone = NULL;
}

/* Box and Muller (1958). */
static double normal(uint64_t *state)
{
    const double radius = sqrt(-2.0 * log(1.0 - test_uniform(state)));

    return radius * cos(2.0 * acos(-1.0) * test_uniform(state));
}

void patch_add_noise(struct patch *patch, double sd, size_t smooth_px, uint64_t *state)
{
    const size_t width = patch->width_px + 2 * smooth_px, height = patch->height_px + 2 * smooth_px;
    const size_t side = 2 * smooth_px + 1;
    double *const noise = malloc(width * height * sizeof *noise);

    assert_non_null(noise);
    for (size_t i = 0; i < width * height; i++)
        noise[i] = normal(state);
    for (size_t y = 0; y < patch->height_px; y++) {
        for (size_t x = 0; x < patch->width_px; x++) {
            double sum = 0;

            for (size_t j = 0; j < side; j++) {
                for (size_t i = 0; i < side; i++)
                    sum += noise[(y + j) * width + x + i];
            }
            patch->tone[y * patch->width_px + x] += sd * sum / (double)side;
        }
    }
    free(noise);
}

double patch_add_discs(struct patch *patch, double radius_px, double coverage, double depth,
                       uint64_t *state)
{
    const size_t count = patch->width_px * patch->height_px;
    double *const ink = calloc(count, sizeof *ink);
    double covered = 0;

    assert_non_null(ink);
    while (covered < coverage * (double)count) {
        const double at_x = test_uniform(state) * (double)patch->width_px;
        const double at_y = test_uniform(state) * (double)patch->height_px;
        const double reach = radius_px + 1;
        const size_t left = at_x > reach ? (size_t)(at_x - reach) : 0;
        const size_t top = at_y > reach ? (size_t)(at_y - reach) : 0;

        for (size_t y = top; y < patch->height_px && (double)y < at_y + reach; y++) {
            for (size_t x = left; x < patch->width_px && (double)x < at_x + reach; x++) {
                const double from_rim =
                    radius_px - hypot((double)x + 0.5 - at_x, (double)y + 0.5 - at_y);
                const double share = fmin(fmax(from_rim + 0.5, 0), 1);
                double *const there = &ink[y * patch->width_px + x];

                covered += fmax(share - *there, 0);
                *there = fmax(share, *there);
            }
        }
    }
    for (size_t i = 0; i < count; i++)
        patch->tone[i] -= depth * ink[i];
    free(ink);
    return covered / (double)count;
}

void patch_shade(struct patch *patch, double slope, double bow)
{
    for (size_t i = 0; i < patch->width_px * patch->height_px; i++) {
        const double x = (double)(i % patch->width_px) / (double)patch->width_px;
        const double y = (double)(i / patch->width_px) / (double)patch->height_px;

        patch->tone[i] *= 1 + slope * x + bow * (x - 0.5) * (x - 0.5);
        patch->tone[i] *= 1 + slope * y + bow * (y - 0.5) * (y - 0.5);
    }
}

uint16_t *patch_scan(const struct patch *patch, double codes)
{
    const size_t count = patch->width_px * patch->height_px;
    uint16_t *const q = malloc(count * sizeof *q);

    assert_non_null(q);
    for (size_t i = 0; i < count; i++) {
        const double tone = fmin(fmax(patch->tone[i], 0), 1);
        const double encoded =
            tone <= 0.0031308 ? 12.92 * tone : 1.055 * pow(tone, 1 / 2.4) - 0.055;
        const double code = round(codes * encoded) / codes;
        const double back = code <= 0.04045 ? code / 12.92 : pow((code + 0.055) / 1.055, 2.4);

        q[i] = (uint16_t)round(65535 * back);
    }
    return q;
}
