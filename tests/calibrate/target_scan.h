/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Scans drawn for the tests of calibrating, in a folder that is removed at the end. */
#ifndef FLECK_TESTS_TARGET_SCAN_H
#define FLECK_TESTS_TARGET_SCAN_H

#include "support/check.h"

#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "fleck/calibration.h"
#include "io/picture.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

enum { TARGET_FILES = 64, TARGET_PATH = 128 };

static char target_folder[] = "/tmp/fleck-calibrate-XXXXXX";
static char target_files[TARGET_FILES][TARGET_PATH];
static size_t target_count;

static int make_folder(void **state)
{
    (void)state;
    return mkdtemp(target_folder) != NULL ? 0 : -1;
}

static int remove_folder(void **state)
{
    (void)state;
    for (size_t i = 0; i < target_count; i++)
        unlink(target_files[i]);
    return rmdir(target_folder);
}

/* The path of a file that is removed at the end. */
static const char *target_path(const char *name)
{
    char path[TARGET_PATH];

    snprintf(path, sizeof path, "%s/%s", target_folder, name);
    for (size_t i = 0; i < target_count; i++) {
        if (strcmp(target_files[i], path) == 0)
            return target_files[i];
    }
    assert_true(target_count < TARGET_FILES);
    strcpy(target_files[target_count], path);
    return target_files[target_count++];
}

static inline const char *write_text(const char *name, const char *text)
{
    const char *const path = target_path(name);
    FILE *const stream = fopen(path, "wb");

    assert_non_null(stream);
    assert_int_equal(fwrite(text, 1, strlen(text), stream), strlen(text));
    assert_int_equal(fclose(stream), 0);
    return path;
}

/* How a scan is drawn. */
typedef struct target {
    size_t width_px, height_px;
    unsigned channels, bits;
    double ppi;   /* 0: the file says nothing */
    double gamma; /* code = reflectance^(1/gamma); 0: the sRGB curve */
    double noise; /* uniform, +- this share of full scale */
    uint64_t seed;
    double (*reflectance)(const void *context, size_t x, size_t y, unsigned c);
    const void *context;
} target;

static inline double code_of(const target *t, double reflectance)
{
    const double inside = fmin(fmax(reflectance, 0), 1);

    return t->gamma > 0 ? pow(inside, 1 / t->gamma) : fleck_tone_srgb_encode(inside);
}

static inline const char *draw(const char *name, const target *t)
{
    const size_t count = t->width_px * t->height_px * t->channels;
    const double full = t->bits == 8 ? 255 : 65535;
    const fleck_picture picture = { .format = FLECK_PICTURE_TIFF,
                                    .width_px = t->width_px,
                                    .height_px = t->height_px,
                                    .channels = t->channels,
                                    .bits = t->bits,
                                    .ppi_x = t->ppi,
                                    .ppi_y = t->ppi };
    unsigned char *const narrow = malloc(count * 2);
    uint16_t *const wide = (uint16_t *)(void *)narrow;
    const char *const path = target_path(name);
    uint64_t random = t->seed + 1;
    fleck_error err;

    assert_non_null(narrow);
    for (size_t i = 0; i < count; i++) {
        const size_t pixel = i / t->channels;
        const double r = t->reflectance(t->context, pixel % t->width_px, pixel / t->width_px,
                                        (unsigned)(i % t->channels));
        const double code = full * (code_of(t, r) + t->noise * (2 * test_uniform(&random) - 1));
        const double whole = fmin(fmax(floor(code + 0.5), 0), full);

        if (t->bits == 8)
            narrow[i] = (unsigned char)whole;
        else
            wide[i] = (uint16_t)whole;
    }
    if (fleck_picture_write_samples(path, &picture, narrow, &err) != FLECK_OK)
        fail_msg("%s", err.message);
    free(narrow);
    return path;
}

/* One tone everywhere; the context is a double. */
static inline double plain(const void *context, size_t x, size_t y, unsigned c)
{
    (void)x;
    (void)y;
    (void)c;
    return *(const double *)context;
}

/* The call must go well. */
#define check_ok(call)                                                                             \
    do {                                                                                           \
        fleck_error err_ = { 0 };                                                                  \
        fleck_error *const err = &err_;                                                            \
        if ((call) != FLECK_OK)                                                                    \
            fail_msg("%s", err_.message);                                                          \
    } while (0)

/* The call must fail so, and say this. */
#define check_fails(call, status, words)                                                           \
    do {                                                                                           \
        fleck_error err_ = { 0 };                                                                  \
        fleck_error *const err = &err_;                                                            \
        assert_int_equal((call), (status));                                                        \
        if (strstr(err_.message, (words)) == NULL)                                                 \
            fail_msg("says \"%s\", not \"%s\"", err_.message, (words));                            \
        assert_non_null(strchr(err_.message, ';'));                                                \
    } while (0)

#endif
