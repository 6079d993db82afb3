/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Pictures of a run made small enough for the page. */
#ifndef FLECK_REPORT_REPORT_PICTURE_H
#define FLECK_REPORT_REPORT_PICTURE_H

#include <stdbool.h>
#include <stddef.h>

#include <cairo.h>

#include "core/text.h"

/* Read a PNG; NULL when there is none, it is damaged, or a side is too long. Ended with
 * cairo_surface_destroy. */
cairo_surface_t *picture_read(const char *path);

typedef struct picture_box {
    size_t x, y, width, height; /* in the picture's pixels */
} picture_box;

/*
 * Add <img ...> with a part of a picture as JPEG.
 *
 * most_px    longest side; a longer one is scaled down
 * alt        text instead of the picture, as plain text
 * more       further attributes as they are, beginning with a blank; ""
 *
 * False without memory; nothing is added then.
 */
bool picture_add(fleck_text *text, cairo_surface_t *picture, picture_box box, size_t most_px,
                 int quality, bool grey, const char *alt, const char *more);

/* Encode 8-bit samples as JPEG, 4:4:4 baseline; freed with fleck_free(). False when it fails. */
bool jpeg_encode(const unsigned char *samples, size_t width, size_t height, int channels, int quality,
                 unsigned char **bytes, size_t *size);

#endif
