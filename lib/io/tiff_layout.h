/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a TIFF page's numbers are: which can be read, and how their samples stand. */
#ifndef FLECK_IO_TIFF_LAYOUT_H
#define FLECK_IO_TIFF_LAYOUT_H

#include <tiffio.h>

#include "fleck/error.h"
#include "io/tiff_samples.h"

/*
 * Judge an open page.
 *
 * photometric    the file's own tag, NAN when there is none: libtiff replaces what it finds
 * unlikely layout         out; its palette belongs to the handle
 *
 * Errors: FLECK_BAD_INPUT (pixels of a kind that cannot be measured).
 */
fleck_status fleck_tiff_layout_read(TIFF *tiff, double photometric, fleck_tiff_layout *layout,
                                    fleck_error *err);

#endif
