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

/* both ends of the interval of one figure of sizes */
#define INTERVAL_KEYS(group, figure, label)                                          \
    { #group "." #figure "_lo_mm", "mm", label ", lower end",                                  \
      "lower end of the 95 % interval of " #figure "_mm, by a bootstrap over tiles of the patch", \
      "Kuensch 1989", FLECK_KEY_REAL, MEASURE, AT(group##_sizes.intervals.figure##_mm.lo) }, \
    { #group "." #figure "_hi_mm", "mm", label ", upper end",                                  \
      "upper end of the 95 % interval of " #figure "_mm, by a bootstrap over tiles of the patch", \
      "Kuensch 1989", FLECK_KEY_REAL, MEASURE, AT(group##_sizes.intervals.figure##_mm.hi) }

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
      MEASURE, AT(group.lognormal_gsd) },                                                          \
    { #group ".mean_circularity", "", "mean " thing " circularity",                                \
      "edge-corrected mean of sqrt(4 pi area) / perimeter of counted " thing "s, 1 for a disc",    \
      "ISO 9276-6", FLECK_KEY_REAL, MEASURE, AT(group##_shape.mean_circularity) },                 \
    { #group ".mean_edge_width_mm", "mm", "mean edge width of " thing "s",                         \
      "mean distance over which reflectance goes from 10 to 90 % between a counted " thing " and what is around it; less the scanner's own blur, in squares, when the calibration knows it, else included", \
      "fleck", FLECK_KEY_REAL, MEASURE, AT(group##_shape.mean_edge_width_mm) },                    \
    { #group ".tone_d50_mm", "mm", "median " thing " diameter by tone",                            \
      "median equivalent diameter as d50_mm, from areas by summed tone over the " thing " and its soft rim, which blur does not shrink", \
      "fleck", FLECK_KEY_REAL, MEASURE, AT(group##_shape.tone_d50_mm) },                           \
    INTERVAL_KEYS(group, d10, "10 % " thing " diameter"),                             \
    INTERVAL_KEYS(group, d50, "median " thing " diameter"),                           \
    INTERVAL_KEYS(group, d90, "90 % " thing " diameter"),                             \
    INTERVAL_KEYS(group, area_d50, "median " thing " diameter by area"),              \
    INTERVAL_KEYS(group, mean_diameter, "mean " thing " diameter"),                   \
    { #group ".per_cm2_lo", "1/cm2", thing "s per cm2, lower end",                                 \
      "lower end of the 95 % interval of " thing "s per cm2, by a bootstrap over tiles of the patch", \
      "Kuensch 1989", FLECK_KEY_REAL, MEASURE, AT(group##_sizes.intervals.per_cm2.lo) },           \
    { #group ".per_cm2_hi", "1/cm2", thing "s per cm2, upper end",                                 \
      "upper end of the 95 % interval of " thing "s per cm2, by a bootstrap over tiles of the patch", \
      "Kuensch 1989", FLECK_KEY_REAL, MEASURE, AT(group##_sizes.intervals.per_cm2.hi) },           \
    { #group ".mean_21_mm", "mm", "mean " thing " diameter by diameter",                           \
      "D[2,1] of the counted " thing "s: sum of squares over sum of diameters, what lines across the patch meet", \
      "ISO 9276-2", FLECK_KEY_REAL, MEASURE, AT(group##_sizes.mean_21_mm) },                       \
    { #group ".mean_32_mm", "mm", "mean " thing " diameter by area",                               \
      "D[3,2] of the counted " thing "s: sum of cubes over sum of squares, what a point of them belongs to", \
      "ISO 9276-2", FLECK_KEY_REAL, MEASURE, AT(group##_sizes.mean_32_mm) },                       \
    { #group ".lognormal_fit_median_mm", "mm", "median of the fitted lognormal " thing " diameters", \
      "median of the lognormal law whose part above the cutoff fits the " thing "s best", "Cohen 1959", \
      FLECK_KEY_REAL, MEASURE, AT(group##_sizes.lognormal.median_mm) },                            \
    { #group ".lognormal_fit_gsd", "", "geometric sd of the fitted lognormal " thing " diameters", \
      "geometric standard deviation of that law", "Cohen 1959", FLECK_KEY_REAL, MEASURE,           \
      AT(group##_sizes.lognormal.gsd) },                                                           \
    { #group ".lognormal_fit_distance", "", "distance of " thing " diameters from that law",       \
      "largest gap between the shares of " thing "s up to a size, measured and fitted",            \
      "Lilliefors 1967", FLECK_KEY_REAL, MEASURE, AT(group##_sizes.lognormal.distance) },          \
    { #group ".lognormal_fit_p", "", "fit of the lognormal law to " thing " diameters",            \
      "share of samples from that law, fitted in the same way, that lie as far from it",           \
      "Lilliefors 1967", FLECK_KEY_REAL, MEASURE, AT(group##_sizes.lognormal.p) },                 \
    { #group ".largest_share", "", "share of the largest " thing,                                  \
      "area of the largest " thing " over that of its whole phase; near 1 when one spans the patch", \
      "fleck", FLECK_KEY_REAL, MEASURE, AT(group##_shape.largest_share) }

/* Tone variation in an octave of wavelength. */
#define OCTAVE_KEY(octave, name, range)                                                            \
    { "spectrum.sd_from_" name "_mm", "", "tone variation at " range " mm",                        \
      "standard deviation of reflectance that comes from wavelengths of " range " mm",             \
      "Parseval", FLECK_KEY_REAL, MEASURE, AT(spectrum_features.octave_sd[octave]) }

static const fleck_key keys[] = {
    { "id", "", "patch", "name of the patch, unique in its run", "fleck", FLECK_KEY_TEXT, FACT,
      AT(id) },
    { "speckle", "", "speckle",
      "present, or flat or blank when ink and paper do not stand apart", "fleck", FLECK_KEY_TEXT,
      FACT, AT(speckle) },

    { "source.path", "", "scan", "file that was measured; the id of a scan that is no file", "fleck", FLECK_KEY_TEXT, FACT,
      AT(source.path) },
    { "source.sha256", "", "SHA-256 of the scan", "hash of the file's bytes; of rows handed over: of their samples", "FIPS 180-4",
      FLECK_KEY_TEXT, FACT, AT(source.sha256) },
    { "source.format", "", "format", "png, tiff or jpeg, told from the content; rows when handed over", "fleck",
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
    { "settings.scanner_edge_width_mm", "mm", "scanner's edge width",
      "10 to 90 % width that the scanner gives a hard edge, by the calibration, taken off the edge widths; null when not known, and then it is in them",
      "ISO 12233", FLECK_KEY_REAL, FACT, AT(settings.scanner_edge_width_mm) },
    { "settings.mask", "", "mask", "picture that is white where the scan is measured; null without",
      "fleck", FLECK_KEY_TEXT, FACT, AT(settings.mask) },
    { "settings.mask_sha256", "", "SHA-256 of the mask", "hash of the mask file's bytes",
      "FIPS 180-4", FLECK_KEY_TEXT, FACT, AT(settings.mask_sha256) },
    { "settings.tile_px", "px", "tile asked for",
      "side of the spectrum's tiles as asked for; null when chosen from the patch", "fleck",
      FLECK_KEY_WHOLE, FACT, AT(settings.tile_px) },
    { "settings.seed", "", "seed", "of what is drawn by chance: intervals and simulations", "fleck",
      FLECK_KEY_WHOLE, FACT, AT(settings.seed) },
    { "settings.simulations", "", "simulations asked for",
      "simulated patches for the verdict on the pattern", "fleck", FLECK_KEY_WHOLE, FACT,
      AT(settings.simulations) },
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
    { "ink.coverage_se", "", "standard error of coverage",
      "square root of p (1 - p) times the integral range over the region's area", "Matheron 1971; Kanit et al. 2003",
      FLECK_KEY_REAL, MEASURE, AT(ink.coverage_se) },
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
    { "spacing.gap_mean_mm", "mm", "mean gap between dots",
      "mean over counted dots of the bare distance to the nearest ink of another counted dot", "fleck",
      FLECK_KEY_REAL, MEASURE, AT(dots_shape.gap_mean_mm) },
    { "spacing.clark_evans", "", "Clark-Evans index",
      "mean nearest distance over that of random points of the same number; a descriptor only, dots with a size look regular",
      "Clark & Evans 1954, Donnelly 1978", FLECK_KEY_REAL, MEASURE, AT(spacing.clark_evans) },
    { "spacing.clark_evans_z", "", "Clark-Evans z",
      "distance of the mean from random points' in standard errors", "Donnelly 1978",
      FLECK_KEY_REAL, MEASURE, AT(spacing.clark_evans_z) },
    { "spacing.clark_evans_p", "", "Clark-Evans p",
      "two-sided p of the Clark-Evans index from the normal distribution", "Donnelly 1978",
      FLECK_KEY_REAL, MEASURE, AT(spacing.clark_evans_p) },

    { "spacing.order", "", "order of the dots",
      "clustered, random or regular: how centroids lie to each other, against simulated dots of the same sizes at random places; null when it cannot be told",
      "Myllymaki et al. 2017", FLECK_KEY_TEXT, MEASURE, AT(pattern.order) },
    { "spacing.order_p", "", "p of the order",
      "share of simulated patches whose pattern deviates at least as far as this one's",
      "Myllymaki et al. 2017", FLECK_KEY_REAL, MEASURE, AT(pattern.order_p) },

    { "pattern.dots", "", "dots of the pattern", "counted dots in the window that the pattern is taken from",
      "fleck", FLECK_KEY_WHOLE, MEASURE, AT(pattern.dots) },
    { "pattern.simulations", "", "simulations of the pattern",
      "patches drawn at random with grains like this one's", "fleck", FLECK_KEY_WHOLE, MEASURE,
      AT(pattern.simulations) },
    { "pattern.decided_at_mm", "mm", "deciding distance",
      "distance between dots at which the pattern deviates most from random dots", "Myllymaki et al. 2017",
      FLECK_KEY_REAL, MEASURE, AT(pattern.decided_at_mm) },

    { "split.depth_mm", "mm", "depth of the split",
      "how far the lower of two peaks of the distance map must rise above the pass between them; null unless a split is asked for",
      "Grimaud 1992", FLECK_KEY_REAL, FACT, AT(split.depth_mm) },
    { "split.parts", "", "parts of dots",
      "number of parts at or above the cutoff into which the counted dots fall where they narrow",
      "Vincent & Soille 1991", FLECK_KEY_WHOLE, MEASURE, AT(split.parts) },
    { "split.per_cm2", "1/cm2", "parts per cm2",
      "number density of these parts, each with the edge correction of its dot",
      "Vincent & Soille 1991; Miles 1974", FLECK_KEY_REAL, MEASURE, AT(split.per_cm2) },
    { "split.d10_mm", "mm", "10 % part diameter",
      "equivalent diameter that 10 % of the parts do not exceed, by edge-corrected number",
      "Vincent & Soille 1991; ISO 9276-2", FLECK_KEY_REAL, MEASURE, AT(split.d10_mm) },
    { "split.d50_mm", "mm", "median part diameter",
      "median equivalent diameter of the parts, by edge-corrected number",
      "Vincent & Soille 1991; ISO 9276-2", FLECK_KEY_REAL, MEASURE, AT(split.d50_mm) },
    { "split.d90_mm", "mm", "90 % part diameter",
      "equivalent diameter that 90 % of the parts do not exceed, by edge-corrected number",
      "Vincent & Soille 1991; ISO 9276-2", FLECK_KEY_REAL, MEASURE, AT(split.d90_mm) },

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

    { "chords.ink_median_mm", "mm", "median ink chord",
      "length that half of the ink chords along rows and columns do not exceed, corrected for the border",
      "Miles 1974", FLECK_KEY_REAL, MEASURE, AT(ink_chords.median_mm) },
    { "chords.ink_sd_mm", "mm", "sd of ink chords",
      "standard deviation of the ink chords, corrected for the border", "Miles 1974", FLECK_KEY_REAL,
      MEASURE, AT(ink_chords.sd_mm) },
    { "chords.bare_median_mm", "mm", "median bare chord",
      "length that half of the bare chords along rows and columns do not exceed, corrected for the border",
      "Miles 1974", FLECK_KEY_REAL, MEASURE, AT(bare_chords.median_mm) },
    { "chords.bare_sd_mm", "mm", "sd of bare chords",
      "standard deviation of the bare chords, corrected for the border", "Miles 1974",
      FLECK_KEY_REAL, MEASURE, AT(bare_chords.sd_mm) },

    { "granulometry.mean_mm", "mm", "mean size by openings",
      "area-weighted mean diameter of the discs that fit into the ink, by openings of growing diameter",
      "Matheron 1975; Serra 1982", FLECK_KEY_REAL, MEASURE, AT(granulometry.mean_mm) },
    { "granulometry.median_mm", "mm", "median size by openings",
      "diameter of the disc whose opening takes half of the ink away", "Matheron 1975; Serra 1982",
      FLECK_KEY_REAL, MEASURE, AT(granulometry.median_mm) },

    { "sampling.integral_range_mm2", "mm2", "integral range",
      "area that counts as one independent sample of coverage: limit of area times variance of coverage over p (1 - p)",
      "Matheron 1971; Kanit et al. 2003", FLECK_KEY_REAL, MEASURE, AT(sampling.integral_range_mm2) },
    { "sampling.exponent", "", "exponent of the variance",
      "slope of the logarithm of the variance of coverage over that of the area: near -1 for a texture without long-range order",
      "Lantuejoul 1991", FLECK_KEY_REAL, MEASURE, AT(sampling.exponent) },
    { "sampling.area_for_1pct_mm2", "mm2", "area for 1 % coverage error",
      "area at which the standard error of coverage is 0.01", "Kanit et al. 2003", FLECK_KEY_REAL,
      MEASURE, AT(sampling.area_for_1pct_mm2) },
    { "sampling.tiles_cv", "", "variation between tiles",
      "standard deviation over mean of the coverage of the tiles, side by side", "fleck",
      FLECK_KEY_REAL, MEASURE, AT(sampling.tiles_cv) },
    { "sampling.evenness", "", "evenness",
      "variance of the tiles' coverage over what smaller areas foretell: 1 is even, above 1 blotchy at the scale of the patch",
      "fleck", FLECK_KEY_REAL, MEASURE, AT(sampling.evenness) },

    { "sampling.dots_for_5pct", "", "dots for 5 % size error",
      "dots clear of the edge from which the median diameter is known within 5 % at 95 % confidence, were they independent and lognormal",
      "Masuda & Iinoya 1971; ISO 13322-1", FLECK_KEY_REAL, MEASURE, AT(dots_needed) },

    { "print_noise.graininess", "", "graininess",
      "root of the mean variance of density within tiles of 1.27 mm, in readings of 42 um: a reference only",
      "ISO/IEC 13660:2001", FLECK_KEY_REAL, MEASURE, AT(print_noise.graininess) },
    { "print_noise.mottle", "", "mottle",
      "standard deviation of the mean density of these tiles: a reference only", "ISO/IEC 13660:2001",
      FLECK_KEY_REAL, MEASURE, AT(print_noise.mottle) },
    { "print_noise.tiles", "", "tiles of graininess and mottle",
      "number of tiles of 1.27 mm; the standard asks for 100", "ISO/IEC 13660:2001", FLECK_KEY_WHOLE,
      MEASURE, AT(print_noise.tiles) },

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
    { "spectrum.peak_frequency_per_mm", "1/mm", "peak frequency",
      "frequency of the ring that stands out of its neighbours, else of the ring with the largest power; of ink, without ink of tone",
      "Welch 1967", FLECK_KEY_REAL, MEASURE, AT(spectrum_features.peak_frequency_per_mm) },
    { "spectrum.dominant_spacing_mm", "mm", "dominant spacing",
      "1 / peak frequency; null when no ring stands out of its neighbours by more than chance",
      "F test between rings", FLECK_KEY_REAL, MEASURE, AT(spectrum_features.dominant_spacing_mm) },
    { "spectrum.peak_p", "", "p of the peak",
      "chance that a texture without a spacing shows a peak like this, all rings counted",
      "F test between rings", FLECK_KEY_REAL, MEASURE, AT(spectrum_features.peak_p) },
    { "spectrum.mean_frequency_per_mm", "1/mm", "mean frequency",
      "mean of the rings' frequency, weighted by their power and samples: higher for a finer texture",
      "Welch 1967", FLECK_KEY_REAL, MEASURE, AT(spectrum_features.mean_frequency_per_mm) },
    { "spectrum.anisotropy", "", "anisotropy",
      "0 for a texture alike in all directions, 1 for straight lines", "Jahne 2005",
      FLECK_KEY_REAL, MEASURE, AT(spectrum_features.anisotropy) },
    { "spectrum.anisotropy_p", "", "p of the anisotropy",
      "chance of so much anisotropy from a texture without a direction", "fleck", FLECK_KEY_REAL,
      MEASURE, AT(spectrum_features.anisotropy_p) },
    { "spectrum.direction_deg", "deg", "direction",
      "along which the grain of the texture runs; null when its anisotropy may be chance (p of 0.01 or more)",
      "Jahne 2005", FLECK_KEY_REAL, MEASURE, AT(spectrum_features.direction_deg) },
    OCTAVE_KEY(0, "0_25", "0.25 to 0.5"),
    OCTAVE_KEY(1, "0_5", "0.5 to 1"),
    OCTAVE_KEY(2, "1", "1 to 2"),
    OCTAVE_KEY(3, "2", "2 to 4"),
    OCTAVE_KEY(4, "4", "4 to 8"),
};

/* the classes of sizes of one group */
#define CLASS_KEYS(group, thing)                                                                   \
    { #group ".class_from_mm", "mm", thing " diameter from",                                       \
      "lower ends of the classes of " thing " diameters, each as wide as one step of R10; the first may be cut by the cutoff", \
      "ISO 3", AT(group##_sizes.class_from_mm) },                                                  \
    { #group ".class_number_share", "", "share of " thing "s", "by number, edge-corrected",        \
      "ISO 9276-2", AT(group##_sizes.class_number_share) },                                        \
    { #group ".class_area_share", "", "share of " thing " area", "by area, edge-corrected",        \
      "ISO 9276-2", AT(group##_sizes.class_area_share) }

static const fleck_series_key series_keys[] = {
    CLASS_KEYS(dots, "dot"),
    CLASS_KEYS(flecks, "fleck"),
    { "pattern.r_mm", "mm", "distance", "distances between centroids", "fleck", AT(pattern.r_mm) },
    { "pattern.l_mm", "mm", "L(r) - r",
      "Besag's function of Ripley's K, less r: 0 for random points, below where dots keep apart",
      "Ripley 1976; Besag 1977", AT(pattern.l_mm) },
    { "pattern.l_lo_mm", "mm", "L(r) - r, lower end",
      "where L(r) - r of 95 % of random patches lies as a whole: lower end", "Myllymaki et al. 2017",
      AT(pattern.l_lo_mm) },
    { "pattern.l_hi_mm", "mm", "L(r) - r, upper end",
      "where L(r) - r of 95 % of random patches lies as a whole: upper end", "Myllymaki et al. 2017",
      AT(pattern.l_hi_mm) },
    { "pattern.pair_correlation", "", "pair correlation",
      "density of pairs at that distance over that of random points", "Stoyan & Stoyan 1994",
      AT(pattern.pair_correlation) },
    { "pattern.nearest_g", "", "nearest-neighbour function",
      "share of dots whose nearest neighbour is no farther", "Baddeley & Gill 1997",
      AT(pattern.nearest_g) },
    { "pattern.empty_f", "", "empty-space function",
      "share of places whose nearest centroid is no farther", "Baddeley & Gill 1997",
      AT(pattern.empty_f) },
    { "covariance.lag_x_mm", "mm", "step along x", "steps along rows", "fleck",
      AT(covariance.lag_x_mm) },
    { "covariance.along_x", "", "covariance along x",
      "chance that two points that far apart along a row are both ink", "Matheron 1975",
      AT(covariance.along_x) },
    { "covariance.lag_y_mm", "mm", "step along y", "steps along columns", "fleck",
      AT(covariance.lag_y_mm) },
    { "covariance.along_y", "", "covariance along y",
      "chance that two points that far apart along a column are both ink", "Matheron 1975",
      AT(covariance.along_y) },
    { "covariance.lag_mm", "mm", "distance", "mean length of steps in up to eight directions",
      "fleck", AT(covariance.lag_mm) },
    { "covariance.radial", "", "covariance",
      "chance that two points that far apart are both ink, mean over these directions",
      "Matheron 1975", AT(covariance.radial) },
    { "chords.ink_from_mm", "mm", "ink chord from",
      "lower ends of the classes of ink chords, each as wide as one step of R10", "ISO 3",
      AT(ink_chords.from_mm) },
    { "chords.ink_share", "", "share of ink chords", "by number, corrected for the border",
      "Miles 1974", AT(ink_chords.share) },
    { "chords.bare_from_mm", "mm", "bare chord from",
      "lower ends of the classes of bare chords, each as wide as one step of R10", "ISO 3",
      AT(bare_chords.from_mm) },
    { "chords.bare_share", "", "share of bare chords", "by number, corrected for the border",
      "Miles 1974", AT(bare_chords.share) },
    { "granulometry.diameter_mm", "mm", "diameter of the opening",
      "diameters of the discs that open the ink, R20", "ISO 3", AT(granulometry.diameter_mm) },
    { "granulometry.removed", "", "ink removed",
      "share of the ink that the opening by that disc takes away", "Matheron 1975; Serra 1982",
      AT(granulometry.removed) },
};

const fleck_series_key *fleck_series_keys(size_t *count)
{
    *count = sizeof series_keys / sizeof *series_keys;
    return series_keys;
}

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
