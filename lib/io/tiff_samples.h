/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From packed TIFF samples to the pixels of fleck_scan_read_row. Knows nothing of libtiff. */
#ifndef FLECK_IO_TIFF_SAMPLES_H
#define FLECK_IO_TIFF_SAMPLES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* How samples stand in a line, and what they mean. */
typedef struct fleck_tiff_layout {
    unsigned bits;              /* 1, 2, 4, 8 or 16 */
    unsigned samples;           /* per pixel in the file, extra ones too */
    unsigned colours;           /* of these; the index of a palette counts as one */
    unsigned alpha_at;          /* sample that is alpha, 0 when there is none */
    bool premultiplied;         /* the colours were multiplied by alpha */
    bool planar;                /* each sample in lines of its own */
    bool inverted;              /* 0 is white */
    const uint16_t *palette[3]; /* 2^bits values each, NULL when there is none */
} fleck_tiff_layout;

/* Bytes that a packed line of so many pixels needs at least. */
size_t fleck_tiff_line_bytes(const fleck_tiff_layout *layout, size_t count);

/* True when a packed line is a finished row already. */
bool fleck_tiff_is_plain(const fleck_tiff_layout *layout);

/*
 * Turn packed samples into pixels.
 *
 * lines    the packed line; when planar, one line for each colour and then for alpha
 * count    pixels in the line
 * x        pixel of the row to begin at
 * row      out: pixels x to x + count - 1 of it
 *
 * Source: TIFF revision 6.0, sections 3 to 6 and 18 (associated alpha).
 */
void fleck_tiff_take_samples(const fleck_tiff_layout *layout, const uint8_t *const *lines,
                             size_t count, size_t x, void *row);

#endif
