/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report/report_picture.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include "core/memory.h"
#include "report/report_html.h"

/* Some 400 MB as cairo holds it; no picture of fleck's own choice of scale is larger. */
#define MOST_PIXELS 100000000.0

/* Width and height of a PNG from its first bytes, before anything is allocated for it. */
static bool read_size(const char *path, double *width, double *height)
{
    static const unsigned char start[] = { 0x89, 'P', 'N', 'G', '\r', '\n', 0x1a, '\n' };
    unsigned char bytes[24];
    FILE *const stream = fopen(path, "rb");
    bool read;

    if (stream == NULL)
        return false;
    read = fread(bytes, 1, sizeof bytes, stream) == sizeof bytes &&
           memcmp(bytes, start, sizeof start) == 0;
    fclose(stream);
    if (!read)
        return false;
    *width = *height = 0;
    for (size_t i = 0; i < 4; i++) {
        *width = *width * 256 + bytes[16 + i];
        *height = *height * 256 + bytes[20 + i];
    }
    return *width > 0 && *height > 0;
}

cairo_surface_t *picture_read(const char *path)
{
    double width, height;
    cairo_surface_t *surface;

    if (!read_size(path, &width, &height) || width * height > MOST_PIXELS)
        return NULL;
    surface = cairo_image_surface_create_from_png(path);
    if (cairo_surface_status(surface) == CAIRO_STATUS_SUCCESS &&
        (cairo_image_surface_get_format(surface) == CAIRO_FORMAT_RGB24 ||
         cairo_image_surface_get_format(surface) == CAIRO_FORMAT_ARGB32))
        return surface;
    cairo_surface_destroy(surface);
    return NULL;
}

/* The part of a picture, scaled, on white. NULL without memory. */
static cairo_surface_t *part(cairo_surface_t *picture, picture_box box, size_t width, size_t height)
{
    cairo_surface_t *const made =
        cairo_image_surface_create(CAIRO_FORMAT_RGB24, (int)width, (int)height);
    cairo_t *const cairo = cairo_create(made);
    const double scale = (double)width / (double)box.width;
    bool drawn;

    cairo_set_source_rgb(cairo, 1, 1, 1);
    cairo_paint(cairo);
    cairo_scale(cairo, scale, (double)height / (double)box.height);
    cairo_set_source_surface(cairo, picture, -(double)box.x, -(double)box.y);
    cairo_pattern_set_filter(cairo_get_source(cairo), scale < 1 ? CAIRO_FILTER_GOOD : CAIRO_FILTER_NEAREST);
    cairo_pattern_set_extend(cairo_get_source(cairo), CAIRO_EXTEND_PAD);
    cairo_paint(cairo);
    drawn = cairo_status(cairo) == CAIRO_STATUS_SUCCESS;
    cairo_destroy(cairo);
    cairo_surface_flush(made);
    if (drawn && cairo_surface_status(made) == CAIRO_STATUS_SUCCESS)
        return made;
    cairo_surface_destroy(made);
    return NULL;
}

/* Samples of libjpeg from cairo's 32-bit pixels. */
static unsigned char *samples_of(cairo_surface_t *surface, size_t width, size_t height, bool grey)
{
    const unsigned char *const data = cairo_image_surface_get_data(surface);
    const size_t stride = (size_t)cairo_image_surface_get_stride(surface);
    unsigned char *const samples = fleck_alloc_array(width * height, grey ? 1 : 3);
    unsigned char *to = samples;

    if (samples == NULL)
        return NULL;
    for (size_t y = 0; y < height; y++) {
        for (size_t x = 0; x < width; x++) {
            uint32_t pixel;

            memcpy(&pixel, data + y * stride + 4 * x, sizeof pixel);
            if (grey) {
                *to++ = (unsigned char)(pixel >> 8 & 255);
                continue;
            }
            *to++ = (unsigned char)(pixel >> 16 & 255);
            *to++ = (unsigned char)(pixel >> 8 & 255);
            *to++ = (unsigned char)(pixel & 255);
        }
    }
    return samples;
}

bool picture_add(fleck_text *text, cairo_surface_t *picture, picture_box box, size_t most_px,
                 int quality, bool grey, const char *alt, const char *more)
{
    const size_t longer = box.width > box.height ? box.width : box.height;
    const double scale = longer > most_px ? (double)most_px / (double)longer : 1;
    const size_t width = (size_t)fmax(1, round(scale * (double)box.width));
    const size_t height = (size_t)fmax(1, round(scale * (double)box.height));
    cairo_surface_t *const small = part(picture, box, width, height);
    unsigned char *samples = NULL, *bytes = NULL;
    size_t size = 0;
    bool made = false;

    if (small != NULL)
        samples = samples_of(small, width, height, grey);
    if (samples != NULL)
        made = jpeg_encode(samples, width, height, grey ? 1 : 3, quality, &bytes, &size);
    if (made) {
        fleck_text_add_format(text, "<img width=\"%zu\" height=\"%zu\"%s alt=\"", width, height, more);
        html_add(text, alt);
        fleck_text_add(text, "\" src=\"data:image/jpeg;base64,");
        html_add_base64(text, bytes, size);
        fleck_text_add(text, "\">");
    }
    fleck_free(bytes);
    fleck_free(samples);
    cairo_surface_destroy(small);
    return made;
}
