/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The two things fleck takes from an Exif block: orientation and resolution. */
#ifndef FLECK_IO_EXIF_H
#define FLECK_IO_EXIF_H

#include <stddef.h>

typedef struct fleck_exif {
    unsigned orientation; /* 1 to 8; 1 when the block has none */
    double ppi_x;         /* 0 when the block has none */
    double ppi_y;
} fleck_exif;

/*
 * Read an Exif block.
 *
 * bytes    from the TIFF header on; the "Exif" mark that JPEG puts before it may be there too
 *
 * A damaged block gives what could be read: it says nothing about the pixels. Never fails.
 * Source: CIPA DC-008 (Exif 2.32), 4.6.4 "TIFF Rev. 6.0 Attribute Information".
 */
fleck_exif fleck_exif_read(const void *bytes, size_t size);

#endif
