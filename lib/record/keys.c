/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The table of measures. Each row is the only place where a measure's name, unit, meaning and source
 * stand: the record, patches.csv, the command line, the documentation and the report read it.
 */
#include <math.h>
#include <stddef.h>
#include <string.h>

#include "fleck/record.h"

#define AT(member) offsetof(fleck_record, member)

/* not a measure / a column of patches.csv */
enum { FACT = 0, MEASURE = 1 };

/* dots and flecks have the same measures: the rows of one group, for components called `thing` */
#define SIZE_KEYS(group, thing)                                                                    \
    { #group ".counted", "", "counted " thing "s",                                                 \
      "number of " thing "s with an equivalent diameter at or above the cutoff", "ISO 9276-6",     \
      FLECK_KEY_WHOLE, MEASURE, AT(group.counted) },                                               \
    { #group ".below_cutoff", "", thing "s below the cutoff",                                      \
      "number of " thing "s smaller than the cutoff", "ISO 9276-6", FLECK_KEY_WHOLE, MEASURE,      \
      AT(group.below_cutoff) },                                                                    \
    { #group ".at_edge", "", thing "s at the edge",                                                \
      "number of counted " thing "s with a pixel in the region's outermost rows or columns, or beside one that the mask leaves out", \
      "Miles 1974", FLECK_KEY_WHOLE, MEASURE, AT(group.at_edge) },                                 \
    { #group ".per_cm2", "1/cm2", thing "s per cm2",                                               \
      "number density of counted " thing "s, each whole one weighted by the inverse of its chance to lie wholly inside, with the box around it and one pixel more", \
      "Miles 1974; Lantuejoul 1978", FLECK_KEY_REAL, MEASURE, AT(group.per_cm2) },                 \
    { #group ".mean_area_mm2", "mm2", "mean " thing " area",                                       \
      "edge-corrected mean area of counted " thing "s", "ISO 9276-2", FLECK_KEY_REAL, MEASURE,     \
      AT(group.mean_area_mm2) },                                                                   \
    { #group ".d10_mm", "mm", "10 % " thing " diameter",                                           \
      "equivalent diameter that 10 % of the counted " thing "s do not exceed, by edge-corrected number", \
      "ISO 9276-2", FLECK_KEY_REAL, MEASURE, AT(group.d10_mm) },                                   \
    { #group ".d50_mm", "mm", "median " thing " diameter",                                         \
      "median equivalent diameter of the counted " thing "s, by edge-corrected number",            \
      "ISO 9276-2", FLECK_KEY_REAL, MEASURE, AT(group.d50_mm) },                                   \
    { #group ".d90_mm", "mm", "90 % " thing " diameter",                                           \
      "equivalent diameter that 90 % of the counted " thing "s do not exceed, by edge-corrected number", \
      "ISO 9276-2", FLECK_KEY_REAL, MEASURE, AT(group.d90_mm) },                                   \
    { #group ".span", "", "span of " thing " diameters", "(d90 - d10) / d50: how unequal the " thing "s are", \
      "ISO 9276-2", FLECK_KEY_REAL, MEASURE, AT(group.span) },                                     \
    { #group ".area_d50_mm", "mm", "median " thing " diameter by area",                            \
      "equivalent diameter below which half of the area of counted " thing "s lies", "ISO 9276-2", \
      FLECK_KEY_REAL, MEASURE, AT(group.area_d50_mm) },                                            \
    { #group ".mean_diameter_mm", "mm", "mean " thing " diameter",                                 \
      "edge-corrected mean equivalent diameter", "ISO 9276-2", FLECK_KEY_REAL, MEASURE,            \
      AT(group.mean_diameter_mm) },                                                                \
    { #group ".sd_diameter_mm", "mm", "sd of " thing " diameters",                                 \
      "edge-corrected standard deviation of the equivalent diameter, population form",             \
      "ISO 9276-2", FLECK_KEY_REAL, MEASURE, AT(group.sd_diameter_mm) },                           \
    { #group ".lognormal_median_mm", "mm", "lognormal median " thing " diameter",                  \
      "exp of the edge-corrected mean of ln diameter", "ISO 9276-5", FLECK_KEY_REAL, MEASURE,      \
      AT(group.lognormal_median_mm) },                                                             \
    { #group ".lognormal_gsd", "", "geometric sd of " thing " diameters",                          \
      "exp of the edge-corrected standard deviation of ln diameter", "ISO 9276-5", FLECK_KEY_REAL, \
      MEASURE, AT(group.lognormal_gsd) }

static const fleck_key keys[] = {
    { "id", "", "patch", "name of the patch, unique in its run", "fleck", FLECK_KEY_TEXT, FACT,
      AT(id) },
    { "speckle", "", "speckle",
      "present, or flat or blank when ink and paper do not stand apart", "fleck", FLECK_KEY_TEXT,
      FACT, AT(speckle) },

    { "source.path", "", "scan", "file that was measured", "fleck", FLECK_KEY_TEXT, FACT,
      AT(source.path) },
    { "source.sha256", "", "SHA-256 of the scan", "hash of the file's bytes", "FIPS 180-4",
      FLECK_KEY_TEXT, FACT, AT(source.sha256) },
    { "source.format", "", "format", "png, tiff or jpeg, told from the content", "fleck",
      FLECK_KEY_TEXT, FACT, AT(source.format) },
    { "source.width_px", "px", "scan width", "columns of the scan", "fleck", FLECK_KEY_WHOLE, FACT,
      AT(source.width_px) },
    { "source.height_px", "px", "scan height", "rows of the scan", "fleck", FLECK_KEY_WHOLE, FACT,
      AT(source.height_px) },
    { "source.bits", "", "bits per sample", "bits of one sample as the file stores it", "fleck",
      FLECK_KEY_WHOLE, FACT, AT(source.bits) },
    { "source.channels", "", "channels", "samples of one pixel, alpha included", "fleck",
      FLECK_KEY_WHOLE, FACT, AT(source.channels) },
    { "source.ppi_x", "1/inch", "resolution along x", "pixels per inch that the lengths rest on",
      "fleck", FLECK_KEY_REAL, FACT, AT(source.ppi_x) },
    { "source.ppi_y", "1/inch", "resolution along y", "pixels per inch that the lengths rest on",
      "fleck", FLECK_KEY_REAL, FACT, AT(source.ppi_y) },
    { "source.ppi_from", "", "resolution from", "where the resolution comes from: option or file",
      "fleck", FLECK_KEY_TEXT, FACT, AT(source.ppi_from) },

    { "region.x_mm", "mm", "region left", "left side of the box around the pixels measured, from the scan's left",
      "fleck", FLECK_KEY_REAL, MEASURE, AT(region.x_mm) },
    { "region.y_mm", "mm", "region top", "top of the box around the pixels measured, from the scan's top", "fleck",
      FLECK_KEY_REAL, MEASURE, AT(region.y_mm) },
    { "region.width_mm", "mm", "region width", "width of the box around the pixels measured", "fleck",
      FLECK_KEY_REAL, MEASURE, AT(region.width_mm) },
    { "region.height_mm", "mm", "region height", "height of the box around the pixels measured", "fleck",
      FLECK_KEY_REAL, MEASURE, AT(region.height_mm) },
    { "region.area_mm2", "mm2", "measured area", "area of the pixels measured: the box less what a tilt or mask leaves out of it", "fleck",
      FLECK_KEY_REAL, MEASURE, AT(region.area_mm2) },

    { "settings.channel", "", "channel asked for", "channel as asked for", "fleck", FLECK_KEY_TEXT,
      FACT, AT(settings.channel) },
    { "settings.channel_used", "", "channel", "channel that was measured", "fleck", FLECK_KEY_TEXT,
      FACT, AT(settings.channel_used) },
    { "settings.tone_from", "", "tone curve from",
      "where the curve from code value to reflectance comes from", "fleck", FLECK_KEY_TEXT, FACT,
      AT(settings.tone_from) },
    { "settings.ink", "", "ink is", "dark or light", "fleck", FLECK_KEY_TEXT, FACT,
      AT(settings.ink) },
    { "settings.threshold", "", "threshold asked for", "threshold method as asked for", "fleck",
      FLECK_KEY_TEXT, FACT, AT(settings.threshold) },
    { "settings.cutoff_mm", "mm", "cutoff", "equivalent diameter from which a dot counts", "fleck",
      FLECK_KEY_REAL, FACT, AT(settings.cutoff_mm) },
    { "settings.region", "", "region asked for", "X,Y,W,H in mm; null for the whole scan", "fleck",
      FLECK_KEY_TEXT, FACT, AT(settings.region) },
    { "settings.tilt_deg", "deg", "tilt", "by which the region is turned about its centre, anticlockwise",
      "fleck", FLECK_KEY_REAL, FACT, AT(settings.tilt_deg) },
    { "settings.margin_mm", "mm", "margin",
      "kept off on all four sides of the region, and all round what a mask leaves out", "fleck",
      FLECK_KEY_REAL, FACT, AT(settings.margin_mm) },
    { "settings.calibration", "", "calibration", "calibration file; null without", "fleck",
      FLECK_KEY_TEXT, FACT, AT(settings.calibration) },
    { "settings.calibration_sha256", "", "SHA-256 of the calibration",
      "hash of the calibration file's bytes", "FIPS 180-4", FLECK_KEY_TEXT, FACT,
      AT(settings.calibration_sha256) },
    { "settings.mask", "", "mask", "picture that is white where the scan is measured; null without",
      "fleck", FLECK_KEY_TEXT, FACT, AT(settings.mask) },
    { "settings.mask_sha256", "", "SHA-256 of the mask", "hash of the mask file's bytes",
      "FIPS 180-4", FLECK_KEY_TEXT, FACT, AT(settings.mask_sha256) },
    { "settings.tile_px", "px", "tile asked for",
      "side of the spectrum's tiles as asked for; null when chosen from the patch", "fleck",
      FLECK_KEY_WHOLE, FACT, AT(settings.tile_px) },
    { "settings.page", "", "page", "page of the file, from 1", "fleck", FLECK_KEY_WHOLE, FACT,
      AT(settings.page) },

    { "threshold.method", "", "threshold method", "how the threshold was found", "fleck",
      FLECK_KEY_TEXT, FACT, AT(threshold.method) },
    { "threshold.threshold_reflectance", "", "threshold",
      "reflectance that separates ink from bare paper", "Otsu 1979", FLECK_KEY_REAL, MEASURE,
      AT(threshold.threshold_reflectance) },
    { "threshold.separability", "", "separability",
      "between-class over total variance at the threshold, 0 to 1", "Otsu 1979", FLECK_KEY_REAL,
      MEASURE, AT(threshold.separability) },
    { "threshold.ink_reflectance", "", "ink reflectance", "mean reflectance of the ink pixels",
      "Otsu 1979", FLECK_KEY_REAL, MEASURE, AT(threshold.ink_reflectance) },
    { "threshold.bare_reflectance", "", "bare reflectance", "mean reflectance of the bare pixels",
      "Otsu 1979", FLECK_KEY_REAL, MEASURE, AT(threshold.bare_reflectance) },

    { "tone.mean_reflectance", "", "mean reflectance", "mean reflectance of the region", "fleck",
      FLECK_KEY_REAL, MEASURE, AT(tone.mean_reflectance) },
    { "tone.sd_reflectance", "", "sd of reflectance",
      "standard deviation of reflectance over the region's pixels, population form", "fleck",
      FLECK_KEY_REAL, MEASURE, AT(tone.sd_reflectance) },
    { "tone.density", "", "density", "-log10 of the mean reflectance", "ISO 5-4", FLECK_KEY_REAL,
      MEASURE, AT(tone.density) },
    { "tone.optical_coverage", "", "optical coverage",
      "(paper - mean) / (paper - solid ink) in reflectance; needs a calibration with both",
      "Murray & Davies 1936", FLECK_KEY_REAL, MEASURE, AT(tone.optical_coverage) },

    { "tone.open_paper_reflectance", "", "open paper reflectance",
      "reflectance from which on the quarter of the bare pixels lies that is furthest from ink in tone; null without speckle",
      "fleck", FLECK_KEY_REAL, MEASURE, AT(tone.open_paper_reflectance) },

    { "ink.coverage", "", "coverage", "ink pixels over all pixels of the region", "fleck",
      FLECK_KEY_REAL, MEASURE, AT(ink.coverage) },
    { "ink.counted_coverage", "", "coverage of counted dots",
      "pixels of counted dots over all pixels of the region", "fleck", FLECK_KEY_REAL, MEASURE,
      AT(ink.counted_coverage) },
    { "ink.mean_chord_mm", "mm", "mean ink chord",
      "mean length that lines along rows and columns run through ink", "mean intercept, ASTM E1245",
      FLECK_KEY_REAL, MEASURE, AT(ink.mean_chord_mm) },

    { "ink.perimeter_per_area_per_mm", "1/mm", "boundary per area",
      "length of the boundary between ink and bare paper over the region's area, by Crofton's formula in four directions",
      "Crofton 1868", FLECK_KEY_REAL, MEASURE, AT(ink.perimeter_per_area_per_mm) },
    { "ink.euler_per_cm2", "1/cm2", "dots less holes",
      "Euler number of 8-connected ink over the region's area; pixels count it low where dots overlap, whatever the resolution",
      "Serra 1982", FLECK_KEY_REAL, MEASURE, AT(ink.euler_per_cm2) },

    SIZE_KEYS(dots, "dot"),
    { "dots.largest_share", "", "largest dot's share",
      "share of all ink that belongs to the largest dot; near 1 when dots have merged across the patch",
      "fleck", FLECK_KEY_REAL, MEASURE, AT(dots_largest_share) },

    { "spacing.nn_mean_raw_mm", "mm", "mean distance to the nearest dot, uncorrected",
      "plain mean distance from a counted dot's centroid to the nearest other one", "fleck",
      FLECK_KEY_REAL, MEASURE, AT(spacing.nn_mean_raw_mm) },
    { "spacing.nn_mean_mm", "mm", "mean distance to the nearest dot",
      "mean distance from centroid to nearest centroid, corrected for the border", "Hanisch 1984",
      FLECK_KEY_REAL, MEASURE, AT(spacing.nn_mean_mm) },
    { "spacing.nn_median_mm", "mm", "median distance to the nearest dot",
      "median distance from centroid to nearest centroid, corrected for the border", "Hanisch 1984",
      FLECK_KEY_REAL, MEASURE, AT(spacing.nn_median_mm) },
    { "spacing.nn_cv", "", "variation of the nearest distance",
      "standard deviation over mean of the nearest distance, corrected for the border",
      "Hanisch 1984", FLECK_KEY_REAL, MEASURE, AT(spacing.nn_cv) },
    { "spacing.clark_evans", "", "Clark-Evans index",
      "mean nearest distance over that of random points of the same number; a descriptor only, dots with a size look regular",
      "Clark & Evans 1954, Donnelly 1978", FLECK_KEY_REAL, MEASURE, AT(spacing.clark_evans) },
    { "spacing.clark_evans_z", "", "Clark-Evans z",
      "distance of the mean from random points' in standard errors", "Donnelly 1978",
      FLECK_KEY_REAL, MEASURE, AT(spacing.clark_evans_z) },
    { "spacing.clark_evans_p", "", "Clark-Evans p",
      "two-sided p of the Clark-Evans index from the normal distribution", "Donnelly 1978",
      FLECK_KEY_REAL, MEASURE, AT(spacing.clark_evans_p) },

    { "grain.mean_diameter_mm", "mm", "mean grain diameter",
      "mean diameter of the discs of a Boolean model with the patch's coverage and covariance: comparable between coverages, where dots merge",
      "Matheron 1975; Serra 1982", FLECK_KEY_REAL, MEASURE, AT(grain.mean_diameter_mm) },
    { "grain.per_cm2", "1/cm2", "grains per cm2", "number of the discs of that Boolean model",
      "Matheron 1975; Serra 1982", FLECK_KEY_REAL, MEASURE, AT(grain.per_cm2) },
    { "grain.fit_p", "", "fit of the grains",
      "share of simulated patches of that model that fit it no better than this one; small: the print is no such model and its grains mean little",
      "seeded simulation", FLECK_KEY_REAL, MEASURE, AT(grain.fit_p) },

    SIZE_KEYS(flecks, "fleck"),
    { "flecks.mean_chord_mm", "mm", "mean bare chord",
      "mean length that lines along rows and columns run through bare paper",
      "mean intercept, ASTM E1245", FLECK_KEY_REAL, MEASURE, AT(flecks_mean_chord_mm) },

    { "sensitivity.coverage_lo", "", "coverage at less ink",
      "coverage with the threshold moved by 5 % of the ink-to-bare contrast towards less ink",
      "fleck", FLECK_KEY_REAL, MEASURE, AT(sensitivity.coverage_lo) },
    { "sensitivity.coverage_hi", "", "coverage at more ink",
      "coverage with the threshold moved by 5 % of the ink-to-bare contrast towards more ink",
      "fleck", FLECK_KEY_REAL, MEASURE, AT(sensitivity.coverage_hi) },
    { "sensitivity.d50_lo_mm", "mm", "median dot diameter at less ink",
      "median dot diameter with the threshold moved by 5 % of the ink-to-bare contrast towards less ink",
      "fleck", FLECK_KEY_REAL, MEASURE, AT(sensitivity.d50_lo_mm) },
    { "sensitivity.d50_hi_mm", "mm", "median dot diameter at more ink",
      "median dot diameter with the threshold moved by 5 % of the ink-to-bare contrast towards more ink",
      "fleck", FLECK_KEY_REAL, MEASURE, AT(sensitivity.d50_hi_mm) },

    { "blank.coverage", "", "coverage of blank paper",
      "false coverage of the calibration's blank paper, measured half-way between paper and ink",
      "blank value", FLECK_KEY_REAL, MEASURE, AT(blank.coverage) },
    { "blank.coverage_limit", "", "limit of detection of coverage",
      "mean + 3 sd of the coverage of blank paper; a coverage below cannot be told from none",
      "blank + 3 sd", FLECK_KEY_REAL, MEASURE, AT(blank.coverage_limit) },
    { "blank.per_cm2", "1/cm2", "dots per cm2 of blank paper",
      "false counted dots of the calibration's blank paper", "blank value", FLECK_KEY_REAL, MEASURE,
      AT(blank.per_cm2) },
    { "blank.per_cm2_limit", "1/cm2", "limit of detection of dots",
      "mean + 3 sd of the dots per cm2 of blank paper", "blank + 3 sd", FLECK_KEY_REAL, MEASURE,
      AT(blank.per_cm2_limit) },

    { "spectrum.tile_px", "px", "tile side", "side of the square tiles of the spectrum",
      "Welch 1967", FLECK_KEY_WHOLE, MEASURE, AT(spectrum_tile_px) },
    { "spectrum.tiles", "", "tiles", "number of half-overlapping tiles", "Welch 1967",
      FLECK_KEY_WHOLE, MEASURE, AT(spectrum_tiles) },
};

const fleck_key *fleck_keys(size_t *count)
{
    *count = sizeof keys / sizeof *keys;
    return keys;
}

const fleck_key *fleck_key_find(const char *name)
{
    for (size_t i = 0; i < sizeof keys / sizeof *keys; i++) {
        if (strcmp(keys[i].key, name) == 0)
            return &keys[i];
    }
    return NULL;
}

double fleck_record_number(const fleck_record *record, const fleck_key *key)
{
    double value;

    if (key->kind == FLECK_KEY_TEXT)
        return NAN;
    memcpy(&value, (const char *)record + key->offset, sizeof value);
    return value;
}

const char *fleck_record_text(const fleck_record *record, const fleck_key *key)
{
    const char *text;

    if (key->kind != FLECK_KEY_TEXT)
        return NULL;
    memcpy(&text, (const char *)record + key->offset, sizeof text);
    return text;
}
