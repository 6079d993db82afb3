/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What moves each measure, in the words of the print shop, and when it should not be trusted. Beside the
 * table of measures, which names and defines them.
 */
#include <stddef.h>
#include <string.h>

#include "fleck/record.h"

/* key "*.NAME" stands for the groups dots and flecks */
static const struct note {
    const char *key, *moves, *beware;
} notes[] = {
    { "region.x_mm", "where the patch was taken from", "the scan was cropped or turned in between" },
    { "region.y_mm", "where the patch was taken from", "the scan was cropped or turned in between" },
    { "region.width_mm", "the box, margin and tilt asked for", "the resolution is wrong" },
    { "region.height_mm", "the box, margin and tilt asked for", "the resolution is wrong" },
    { "region.area_mm2", "the box, margin, tilt and mask asked for", "the resolution is wrong" },
    { "threshold.threshold_reflectance",
      "darker ink or darker paper lower it; it should be nearly the same for all patches that are compared",
      "it lies apart between groups: measure them with --threshold pooled" },
    { "threshold.separability", "stronger ink on clean paper and hard edges raise it; pale ink, soft edges and paper texture lower it",
      "it is below some 0.7: ink and paper hardly stand apart" },
    { "threshold.ink_reflectance", "more pigment and thicker ink lower it; soft edges and thin ink raise it",
      "dots are hardly larger than the scanner's blur, which lightens them" },
    { "threshold.bare_reflectance", "whiter and cleaner paper raises it; ink haze and soft rims lower it",
      "no paper lies open between the dots" },
    { "tone.mean_reflectance", "less ink, paler ink and whiter paper raise it",
      "there is no calibration: it is then relative to the scanner's white" },
    { "tone.sd_reflectance", "strong ink at middle coverage raises it; flat tones lower it",
      "the scan was sharpened or its levels were stretched" },
    { "tone.density", "more ink and stronger ink raise it",
      "there is no calibration: it is then relative to the scanner's white" },
    { "tone.optical_coverage", "coverage raises it, and so does light caught in the paper around dots, which makes it larger than coverage",
      "the solid ink of the calibration was another ink, or printed thicker" },
    { "tone.open_paper_reflectance", "whiter paper raises it; ink haze lowers it",
      "dots lie so close that no paper is open" },
    { "ink.coverage", "more paste, more ink and more force raise it; more water and a lighter charge lower it",
      "the threshold lies within noise, or sensitivity.coverage_lo and _hi are far apart" },
    { "ink.coverage_se", "a larger patch lowers it; a coarser or blotchier texture raises it",
      "the warning slow-variance stands beside it: it is then too small" },
    { "ink.counted_coverage", "as coverage, without specks below the cutoff",
      "it is far below coverage: most ink is then in specks that do not count" },
    { "ink.mean_chord_mm", "coarser speckle and higher coverage raise it", "the patch is only a few chords wide" },
    { "ink.perimeter_per_area_per_mm", "finer speckle raises it; flat tones, near full or near none, lower it",
      "pixels are coarse or noisy: rough edges add boundary" },
    { "ink.euler_per_cm2", "many single dots raise it; dots that join and enclose paper lower it, below 0 where holes outnumber dots",
      "dots overlap: pixels then count it low, whatever the resolution" },
    { "*.counted", "a larger patch raises it: compare per_cm2 instead", "one spans the patch (largest_share near 1)" },
    { "*.below_cutoff", "finer specks, noise and a larger cutoff raise it", "the cutoff is below 3 pixels: noise counts too" },
    { "*.at_edge", "a smaller patch and larger dots raise it", "it is a large part of all counted: take a larger patch" },
    { "*.per_cm2", "finer speckle raises it; dots that merge as coverage grows lower it",
      "dots merge (above 20 % coverage), or one spans the patch" },
    { "*.mean_area_mm2", "coarser speckle raises it, and so does merging", "a few large ones carry it: look at the median" },
    { "*.d10_mm", "coarser speckle raises it", "it lies near the cutoff: the cutoff then decides it" },
    { "*.d50_mm", "less paste, more water and coarser speckle raise it, and so does merging as coverage grows",
      "coverage differs between what is compared: size and coverage are mixed above 20 %" },
    { "*.d90_mm", "large and merged dots raise it", "fewer than some 100 are counted, or dots merge" },
    { "*.span", "a wider mix of sizes raises it", "the cutoff cuts the small ones off, or dots merge" },
    { "*.area_d50_mm", "large and merged dots raise it strongly", "a few large ones hold most of the area" },
    { "*.mean_diameter_mm", "coarser speckle raises it, and so does merging", "the cutoff cuts the small ones off" },
    { "*.sd_diameter_mm", "a wider mix of sizes raises it", "a few large ones carry it" },
    { "*.lognormal_median_mm", "coarser speckle raises it", "sizes are not lognormal, or the cutoff cuts the small ones off" },
    { "*.lognormal_gsd", "a wider mix of sizes raises it", "sizes are not lognormal, or the cutoff cuts the small ones off" },
    { "*.mean_circularity", "round single dots raise it; merged and torn ones lower it",
      "dots are below some 10 pixels: pixels make them look round or rough" },
    { "*.mean_edge_width_mm", "damp paper and wet ink make edges soft and raise it; dry paper keeps them hard",
      "it is near the scanner's own blur (some 0.03 mm at 1200 ppi) and no calibration takes that off, the scan was sharpened, or noise makes the outline of soft dots rough" },
    { "*.tone_d50_mm", "as d50_mm, without the loss of small dots to blur", "ink tone differs between dots, or rims meet" },
    { "*.largest_share", "merging raises it: near 1 one spans the patch", "there are only a few" },
    { "*.d10_lo_mm", "as d10_mm; a smaller patch and a blotchier texture lower it", "one print is told, not the next one" },
    { "*.d10_hi_mm", "as d10_mm; a smaller patch and a blotchier texture raise it", "one print is told, not the next one" },
    { "*.d50_lo_mm", "as d50_mm; a smaller patch and a blotchier texture lower it", "one print is told, not the next one" },
    { "*.d50_hi_mm", "as d50_mm; a smaller patch and a blotchier texture raise it", "one print is told, not the next one" },
    { "*.d90_lo_mm", "as d90_mm; a smaller patch and a blotchier texture lower it", "one print is told, not the next one" },
    { "*.d90_hi_mm", "as d90_mm; a smaller patch and a blotchier texture raise it", "one print is told, not the next one" },
    { "*.area_d50_lo_mm", "as area_d50_mm; a smaller patch and a blotchier texture lower it", "one print is told, not the next one" },
    { "*.area_d50_hi_mm", "as area_d50_mm; a smaller patch and a blotchier texture raise it", "one print is told, not the next one" },
    { "*.mean_diameter_lo_mm", "as mean_diameter_mm; a smaller patch and a blotchier texture lower it", "one print is told, not the next one" },
    { "*.mean_diameter_hi_mm", "as mean_diameter_mm; a smaller patch and a blotchier texture raise it", "one print is told, not the next one" },
    { "*.per_cm2_lo", "as per_cm2; a smaller patch and a blotchier texture lower it", "one print is told, not the next one" },
    { "*.per_cm2_hi", "as per_cm2; a smaller patch and a blotchier texture raise it", "one print is told, not the next one" },
    { "*.mean_21_mm", "coarser speckle raises it, and so does merging", "a few large ones carry it" },
    { "*.mean_32_mm", "large and merged ones raise it strongly", "a few large ones carry it" },
    { "*.lognormal_fit_median_mm", "coarser speckle raises it, without the pull of the cutoff", "lognormal_fit_distance is above some 0.1" },
    { "*.lognormal_fit_gsd", "a wider mix of sizes raises it, without the pull of the cutoff", "lognormal_fit_distance is above some 0.1" },
    { "*.lognormal_fit_distance", "a second kind of dots, merging and torn dots raise it", "fewer than some 100 are counted: chance alone raises it" },
    { "*.lognormal_fit_p", "sizes that are lognormal raise it", "thousands are counted: the least departure then makes it small" },
    { "spacing.nn_mean_raw_mm", "as nn_mean_mm", "dots at the border pull it: use nn_mean_mm" },
    { "spacing.nn_mean_mm", "less paste and coarser speckle raise it; more dots per cm2 lower it",
      "dots merge: the distances are then between clumps" },
    { "spacing.nn_median_mm", "as nn_mean_mm", "as for nn_mean_mm" },
    { "spacing.nn_cv", "clusters beside open places raise it; an even grid lowers it", "dots merge, or fewer than some 50 are counted" },
    { "spacing.gap_mean_mm", "open paper between dots raises it; crowding lowers it", "pixels are larger than a quarter of it" },
    { "spacing.clark_evans", "even spacing raises it, clusters lower it",
      "always for dots with a size, which look regular beside points: read spacing.order instead" },
    { "spacing.clark_evans_z", "as clark_evans, and more dots enlarge it", "as for clark_evans" },
    { "spacing.clark_evans_p", "nothing of the print but its distance from random points", "as for clark_evans" },
    { "spacing.order_p", "a pattern unlike random dots lowers it", "the patch holds fewer than some 50 dots: little can be told from random then" },
    { "pattern.dots", "a denser pattern and a larger patch raise it", "it is below 50" },
    { "pattern.simulations", "--simulations", "it is below 99" },
    { "pattern.decided_at_mm", "wider patterns raise it", "order is random: it then decided nothing" },
    { "split.parts", "more dots, and dots that narrow, raise it", "dots overlap by more than half: parts cannot be told then" },
    { "split.per_cm2", "as dots.per_cm2, less lowered by merging", "dots overlap by more than half" },
    { "split.d10_mm", "as dots.d10_mm, less raised by merging", "it lies near the cutoff" },
    { "split.d50_mm", "as dots.d50_mm, less raised by merging", "dots overlap by more than half, or are not round" },
    { "split.d90_mm", "as dots.d90_mm, less raised by merging", "dots overlap by more than half, or are not round" },
    { "grain.mean_diameter_mm", "coarser specks raise it, whatever the coverage: it can be compared where dots merge",
      "grain.fit_p is below 0.05: the print is then no field of overlapping discs" },
    { "grain.per_cm2", "more and finer specks raise it", "grain.fit_p is below 0.05" },
    { "grain.fit_p", "prints that look like random overlapping discs raise it", "the patch holds fewer than some 100 grains: anything fits then" },
    { "flecks.mean_chord_mm", "open paper between dots raises it; more ink lowers it", "the patch is only a few chords wide" },
    { "chords.ink_median_mm", "coarser speckle and higher coverage raise it", "fewer than some 100 chords are whole" },
    { "chords.ink_sd_mm", "a mix of fine and coarse raises it", "a few long chords carry it" },
    { "chords.bare_median_mm", "open paper between dots raises it", "fewer than some 100 chords are whole" },
    { "chords.bare_sd_mm", "open places beside crowded ones raise it", "a few long chords carry it" },
    { "granulometry.mean_mm", "wide solid ink raises it, fine specks and thin necks lower it", "it is below some 5 pixels, which make it low" },
    { "granulometry.median_mm", "as the mean, less moved by the widest places", "it is below some 5 pixels, which make it low" },
    { "sampling.integral_range_mm2", "a coarser texture raises it", "the patch is narrower than some 20 dots" },
    { "sampling.exponent", "streaks, long fibres and slopes across the patch bring it towards 0", "the patch is narrower than some 20 dots" },
    { "sampling.area_for_1pct_mm2", "a coarser texture and middle coverage raise it",
      "the warning slow-variance stands beside it: more is needed then" },
    { "sampling.tiles_cv", "blotches the size of a tile raise it; low coverage raises it too", "fewer than some 10 tiles lie in the patch" },
    { "sampling.evenness", "blotches, uneven force and slopes raise it above 1", "fewer than some 10 tiles lie in the patch: it then scatters widely" },
    { "sampling.dots_for_5pct", "a wider mix of sizes raises it", "dots merge, or sizes are not lognormal" },
    { "print_noise.graininess", "the speckle itself raises it", "always as a quality of this print: it was made for even areas of office printers" },
    { "print_noise.mottle", "blotches of some millimetres raise it", "always as a quality of this print: it was made for even areas of office printers" },
    { "print_noise.tiles", "a larger patch raises it", "it is below 100" },
    { "sensitivity.coverage_lo", "soft edges and pale ink bring it away from coverage", "the threshold lies within noise" },
    { "sensitivity.coverage_hi", "soft edges and pale ink bring it away from coverage", "the threshold lies within noise" },
    { "sensitivity.d50_lo_mm", "soft edges bring it away from d50_mm", "dots merge: small steps then join or part them" },
    { "sensitivity.d50_hi_mm", "soft edges bring it away from d50_mm", "dots merge: small steps then join or part them" },
    { "blank.coverage", "dirt, fibres and texture of the paper raise it", "the blank paper was of another lot" },
    { "blank.coverage_limit", "uneven blank paper raises it", "fewer than some 5 boxes of blank paper were scanned" },
    { "blank.per_cm2", "dirt and fibres of the paper raise it", "the blank paper was of another lot" },
    { "blank.per_cm2_limit", "uneven blank paper raises it", "fewer than some 5 boxes of blank paper were scanned" },
    { "spectrum.tile_px", "resolution and size of the patch", "it differs between what is compared" },
    { "spectrum.tiles", "a larger patch raises it", "it is 1: nothing is then known of the scatter" },
    { "spectrum.peak_frequency_per_mm", "closer dots raise it", "peak_p is 0.05 or more: it is then no peak but the slope's end" },
    { "spectrum.dominant_spacing_mm", "an even pattern of wider steps raises it: a grain of the block, a weave, a screen",
      "it is above a quarter of the tile" },
    { "spectrum.peak_p", "an even pattern lowers it", "there is one tile only" },
    { "spectrum.mean_frequency_per_mm", "a finer texture raises it, and so do hard edges and noise", "resolution or sharpness of the scans differ" },
    { "spectrum.anisotropy", "grain of the block, brush strokes and wiping in one direction raise it", "anisotropy_p is 0.01 or more" },
    { "spectrum.anisotropy_p", "a direction in the texture lowers it", "there are only a few tiles" },
    { "spectrum.direction_deg", "the direction of grain, brush or wiping", "the print lay turned on the scanner" },
    { "spectrum.sd_from_0_25_mm", "fine specks raise it", "pixels are larger than some 0.05 mm" },
    { "spectrum.sd_from_0_5_mm", "specks of about half that size raise it", "resolution or contrast of the scans differ" },
    { "spectrum.sd_from_1_mm", "coarse specks and clumps raise it", "contrast of the scans differs" },
    { "spectrum.sd_from_2_mm", "clumps and blotches raise it", "the patch holds only a few such waves" },
    { "spectrum.sd_from_4_mm", "blotches and uneven force raise it", "the patch holds only a few such waves" },
};

static const struct note *find_note(const fleck_key *key)
{
    const char *const dot = strchr(key->key, '.');
    const size_t group = dot != NULL ? (size_t)(dot - key->key) : 0;
    const bool sizes = dot != NULL && ((group == 4 && memcmp(key->key, "dots", 4) == 0) ||
                                       (group == 6 && memcmp(key->key, "flecks", 6) == 0));

    for (size_t i = 0; i < sizeof notes / sizeof *notes; i++) {
        if (strcmp(notes[i].key, key->key) == 0 ||
            (sizes && notes[i].key[0] == '*' && strcmp(notes[i].key + 1, dot) == 0))
            return &notes[i];
    }
    return NULL;
}

const char *fleck_key_moves(const fleck_key *key)
{
    const struct note *const note = find_note(key);

    return note != NULL ? note->moves : NULL;
}

const char *fleck_key_beware(const fleck_key *key)
{
    const struct note *const note = find_note(key);

    return note != NULL ? note->beware : NULL;
}
