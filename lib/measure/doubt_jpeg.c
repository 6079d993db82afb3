/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/doubt_jpeg.h"

fleck_status fleck_doubt_jpeg_warn(const fleck_scan_info *info, fleck_warnings *warnings,
                                   fleck_error *err)
{
    fleck_status status;

    if (info->format != FLECK_SCAN_JPEG)
        return FLECK_OK;
    if (info->jpeg_quality > 0)
        status = fleck_warnings_add(warnings, err, "jpeg",
                                    "the scan is a JPEG of quality %u of 100: that blurs edges and "
                                    "makes specks beside them; scan to TIFF or PNG",
                                    info->jpeg_quality);
    else
        status = fleck_warnings_add(warnings, err, "jpeg",
                                    "the scan is a JPEG of unknown quality: that blurs edges and "
                                    "makes specks beside them; scan to TIFF or PNG");
    if (status == FLECK_OK && info->jpeg_halved_colour)
        status = fleck_warnings_add(warnings, err, "jpeg-halved-colour",
                                    "the JPEG keeps colour at a lower resolution than lightness: "
                                    "edges in the red, green and blue channel are smeared; measure "
                                    "--channel luminance, or scan to TIFF or PNG");
    return status;
}
