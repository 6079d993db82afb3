/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The directories (IFDs) of TIFF and BigTIFF files and of Exif blocks, which are small TIFFs.
 *
 * libtiff reads the pixels; this reads what it does not give: the list of pages within a bound, and
 * resolutions as the fractions they are, not rounded to float.
 */
#ifndef FLECK_IO_IFD_H
#define FLECK_IO_IFD_H

#include <stdbool.h>
#include <stdint.h>

#include "io/byte_source.h"

typedef struct fleck_ifd_file {
    const fleck_byte_source *source; /* borrowed */
    bool big_endian;
    bool big_tiff;
    uint64_t first; /* offset of the first directory */
} fleck_ifd_file;

/* Read the header; false when it is none. */
bool fleck_ifd_open(const fleck_byte_source *source, fleck_ifd_file *file);

/* Offset of the directory after the one at `at`, 0 when it is the last. False when not readable. */
bool fleck_ifd_next(const fleck_ifd_file *file, uint64_t at, uint64_t *next);

/* True when the directory at `at` has the tag. */
bool fleck_ifd_has(const fleck_ifd_file *file, uint64_t at, unsigned tag);

/*
 * The first tag that libtiff would take too much memory for, since it reads the values of every tag: where
 * strips or tiles lie may be up to 2^22 values, a profile 64 MiB, all else 256 MiB. False when there is
 * none.
 */
bool fleck_ifd_too_large(const fleck_ifd_file *file, uint64_t at, unsigned *tag);

/*
 * First value of a tag as a number: types BYTE, SHORT, LONG and RATIONAL. False, and *value
 * untouched, when the tag is missing, of another type, or a fraction over zero.
 */
bool fleck_ifd_number(const fleck_ifd_file *file, uint64_t at, unsigned tag, double *value);

#endif
