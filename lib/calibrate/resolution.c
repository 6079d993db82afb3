/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "calibrate/resolution.h"

#include "calibrate/calibration.h"

fleck_status fleck_resolution_compare(const fleck_scan_info *info,
                                      const fleck_calibration_length *length,
                                      fleck_warnings *warnings, fleck_error *err)
{
    if (!(info->ppi_x > 0 && info->ppi_y > 0) || (fleck_ppi_agree(info->ppi_x, length->ppi_x) &&
                                                  fleck_ppi_agree(info->ppi_y, length->ppi_y)))
        return FLECK_OK;
    return fleck_warnings_add(
        warnings, err, "resolution-differs",
        "the file says %.6g x %.6g ppi, the calibration measured %.6g x %.6g, "
        "which is used; check its lengths if that is not the scanner's error",
        info->ppi_x, info->ppi_y, length->ppi_x, length->ppi_y);
}

fleck_status fleck_resolution_choose(const fleck_scan_info *info, double asked_ppi_x,
                                     double asked_ppi_y, const fleck_calibration *calibration,
                                     fleck_resolution *out, fleck_warnings *warnings,
                                     fleck_error *err)
{
    /* 72 ppi is what editors and cameras write for "not known" (common practice, no source) */
    const double placeholder_ppi = 72;

    *out = (fleck_resolution){ .ppi_x = asked_ppi_x, .ppi_y = asked_ppi_y, .from = "option" };
    if (asked_ppi_x > 0 && asked_ppi_y > 0)
        return FLECK_OK;
    if (calibration != NULL && calibration->length.mark_count > 0) {
        const fleck_calibration_length *const length = &calibration->length;

        *out = (fleck_resolution){ length->ppi_x, length->ppi_y, "calibration" };
        return fleck_resolution_compare(info, length, warnings, err);
    }
    *out = (fleck_resolution){ .ppi_x = info->ppi_x, .ppi_y = info->ppi_y, .from = "file" };
    if (!(info->ppi_x > 0 && info->ppi_y > 0))
        return fleck_fail(
            err, FLECK_BAD_INPUT,
            "says no resolution; give --ppi N (or --pixel UM for a microscope picture)");
    /* a density in pixels per metre or cm comes back a hair off 72 */
    if (info->ppi_x > placeholder_ppi - 0.02 && info->ppi_x < placeholder_ppi + 0.02)
        return fleck_warnings_add(
            warnings, err, "resolution-placeholder",
            "the file says 72 ppi, which programs write when they do not know: every length may be "
            "wrong; give --ppi");
    return FLECK_OK;
}
