/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A first look tells how wide the soft rim of a dot is. One pass then adds up, for each dot, its ink,
 * its rim and what lies just behind, all in integers; tones, areas and edges follow from these sums.
 * Where hardly any ink lies deeper than the rim is wide, that first look took the edges for harder than
 * they are; small dots as discs then tell the blur, and the pass is made again.
 *
 * Blur moves ink about and loses none: summed over dot and rim, (bare - R) / (bare - ink) is the area
 * that was covered before the scanner blurred it. The area between two levels over the length of
 * the outline is the mean distance between their contours, whichever way the outline runs: levels are
 * told apart in a histogram of each dot's edge, between its deepest tone and its surroundings.
 */
#include "fleck/shape.h"

#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "core/spill.h"
#include "fleck/random_set.h"
#include "fleck/texture.h"
#include "fleck/tone.h"
#include "measure/disc_tone.h"
#include "measure/edge_survey.h"
#include "measure/rim_rows.h"

enum {
    BINS = 48,
    LEAST_CORE_PX = 50,  /* from which on their median is the ink tone */
    LEAST_RING_PX = 16,  /* from which on their mean is a local bare tone */
    MOST_RIM_PX = 64,    /* of the smaller side: time grows with the rim's width */
    MOST_ROUNDS = 3,
    BAND_BYTES = 8 << 20 /* that it may take beside others */
};

static const double most_rim_mm = 0.4; /* three times the softest print that was thought of */
static const double beyond = 0.25;     /* bins go this share of the contrast past both tones */
static const double full_q = 65535;

/* What is added up of one dot. */
struct sums {
    uint64_t ink_px, ink_q;
    uint64_t rim_px, rim_q;   /* around it, as wide as the rim */
    uint64_t ring_px, ring_q; /* behind that */
    uint64_t core_px, core_q; /* deeper than the rim is wide */
    uint64_t deep_px, deep_q; /* at the largest depth of all */
    int16_t deepest;
    uint32_t bins[BINS]; /* of the edge: the rim, and as deep inside */
};

/* How wide the rim is and how far behind it one looks, in mm. */
struct reach {
    double rim_mm, all_mm;
    bool is_cut;
};

/* What is added up of the rows of one band. */
struct part {
    uint64_t *core_counts; /* of levels, of all cores */
    uint64_t *ink_counts;  /* of all dots' ink */
    uint64_t core_px, ink_px;
    uint64_t far_px, far_q; /* bare and behind the rims of all dots */
    uint64_t bare_px;
    struct sums *shared; /* of dots that another band may have pixels of, too */
};

struct gathering {
    const fleck_dot_tone_input *input;
    struct sums *dots;
    size_t bands;
    struct part parts[FLECK_RIM_MOST_BANDS]; /* behind a round all is in the first, and in the dots */
    int32_t *shared_place; /* of each dot among the shared ones, or -1; NULL with one band */
    int16_t rim_square; /* beyond it: behind the rim, or in the core */
    double first_q, bins_per_q; /* of the histograms */
    struct reach reach;
    double per_mm2; /* of squares */
    double bare_q;  /* of the patch */
    double ink_q;
    bool ink_is_beyond; /* what the discs foretell is no tone that there is */
    fleck_disc disc; /* NAN where there was no need or no dot for it */
};

static size_t find_bin(const struct gathering *gathering, uint16_t q)
{
    const double bin = ((double)q - gathering->first_q) * gathering->bins_per_q;

    return bin < 0 ? 0 : bin >= BINS ? BINS - 1 : (size_t)bin;
}

static void add_ink(const struct gathering *gathering, struct part *part, struct sums *dot,
                    uint16_t q, int16_t square)
{
    part->ink_px++;
    part->ink_counts[q]++;
    dot->ink_px++;
    dot->ink_q += q;
    if (square > gathering->rim_square) {
        part->core_counts[q]++;
        part->core_px++;
        dot->core_px++;
        dot->core_q += q;
        return;
    }
    dot->bins[find_bin(gathering, q)]++;
    if (square > dot->deepest) {
        dot->deepest = square;
        dot->deep_px = dot->deep_q = 0;
    }
    if (square == dot->deepest) {
        dot->deep_px++;
        dot->deep_q += q;
    }
}

static void add_row(void *context, size_t band, const fleck_rim_row *row)
{
    struct gathering *const gathering = context;
    struct part *const part = &gathering->parts[band];
    const int32_t *const shared_place = gathering->shared_place;
    const size_t width = gathering->input->geometry->width_px;

    for (size_t x = 0; x < width; x++) {
        const uint16_t q = row->q[x];
        const int32_t owner = row->owner[x];
        const bool ink = fleck_rim_is_ink(gathering->input, q);
        const bool behind = row->square[x] > gathering->rim_square;
        struct sums *dot;

        if (owner == FLECK_OWNER_MASKED)
            continue;
        if (!ink) {
            part->bare_px++;
            part->far_px += behind;
            part->far_q += behind ? q : 0;
        }
        if (owner < 0)
            continue;
        dot = &gathering->dots[owner];
        if (shared_place != NULL && shared_place[owner] >= 0)
            dot = &part->shared[shared_place[owner]];
        if (ink) {
            add_ink(gathering, part, dot, q, row->square[x]);
        } else if (behind) {
            dot->ring_px++;
            dot->ring_q += q;
        } else {
            dot->rim_px++;
            dot->rim_q += q;
            dot->bins[find_bin(gathering, q)]++;
        }
    }
}

static void add_sums(struct sums *sum, const struct sums *other)
{
    sum->ink_px += other->ink_px;
    sum->ink_q += other->ink_q;
    sum->rim_px += other->rim_px;
    sum->rim_q += other->rim_q;
    sum->ring_px += other->ring_px;
    sum->ring_q += other->ring_q;
    sum->core_px += other->core_px;
    sum->core_q += other->core_q;
    if (other->deepest > sum->deepest) {
        sum->deepest = other->deepest;
        sum->deep_px = sum->deep_q = 0;
    }
    if (other->deepest == sum->deepest) {
        sum->deep_px += other->deep_px;
        sum->deep_q += other->deep_q;
    }
    for (size_t i = 0; i < BINS; i++)
        sum->bins[i] += other->bins[i];
}

/* All into the first part and into the dots; whole numbers, so that the bands make no difference. */
static void add_parts(struct gathering *gathering)
{
    struct part *const all = &gathering->parts[0];

    for (size_t band = 1; band < gathering->bands; band++) {
        const struct part *const part = &gathering->parts[band];

        all->core_px += part->core_px;
        all->ink_px += part->ink_px;
        all->far_px += part->far_px;
        all->far_q += part->far_q;
        all->bare_px += part->bare_px;
        for (size_t level = 0; level < FLECK_LEVELS; level++) {
            all->core_counts[level] += part->core_counts[level];
            all->ink_counts[level] += part->ink_counts[level];
        }
    }
    for (size_t i = 0; gathering->bands > 1 && i < gathering->input->n; i++) {
        const int32_t place = gathering->shared_place[i];

        for (size_t band = 0; place >= 0 && band < gathering->bands; band++)
            add_sums(&gathering->dots[i], &gathering->parts[band].shared[place]);
    }
}

static struct reach find_reach(const fleck_geometry *geometry, double blur_mm)
{
    const double px = geometry->pixel_x_mm, py = geometry->pixel_y_mm;
    const double larger_mm = fmax(px, py), side_mm = sqrt(px * py);
    const double wanted_mm = (isnan(blur_mm) ? 0 : 3 * blur_mm) + side_mm;
    const double most_mm = fmin(most_rim_mm, MOST_RIM_PX * fmin(px, py));
    struct reach reach;

    reach.is_cut = wanted_mm > most_mm;
    reach.rim_mm = reach.is_cut ? most_mm : wanted_mm;
    /* from the centres of the outermost ink; oblong pixels reach at least to their neighbours */
    reach.rim_mm = fmax(reach.rim_mm, larger_mm);
    reach.all_mm = reach.rim_mm + 0.5 * side_mm + fmax(2 * larger_mm, 0.5 * reach.rim_mm);
    return reach;
}

static fleck_status no_memory(size_t n, fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE,
                      "no memory for the tones of %zu dots; measure a smaller region", n);
}

static double bare_q_of(const struct sums *dot, double patch_bare_q)
{
    return dot->ring_px >= LEAST_RING_PX ? (double)dot->ring_q / (double)dot->ring_px
                                         : patch_bare_q;
}

/* The level that a share of the counts, above 0, does not exceed. */
static double level_at(const uint64_t *counts, uint64_t total, double share)
{
    uint64_t sum = counts[0];
    unsigned level = 0;

    while ((double)sum < share * (double)total)
        sum += counts[++level];
    return level;
}

static fleck_status look_at_discs(struct gathering *gathering, fleck_error *err)
{
    const size_t n = gathering->input->n;
    double *const bare_q = fleck_alloc_array(n, sizeof *bare_q);
    fleck_status status;

    if (bare_q == NULL)
        return no_memory(n, err);
    for (size_t i = 0; i < n; i++)
        bare_q[i] = gathering->dots[i].ring_px >= LEAST_RING_PX
                        ? bare_q_of(&gathering->dots[i], gathering->bare_q)
                        : NAN;
    status = fleck_disc_tone(gathering->input, bare_q, gathering->reach.rim_mm, &gathering->disc,
                             err);
    fleck_free(bare_q);
    return status;
}

/* The tone of the ink and where it comes from, best source first. */
static fleck_ink_tone_from find_ink_tone(struct gathering *gathering)
{
    const fleck_dot_tone_input *const input = gathering->input;
    const struct part *const all = &gathering->parts[0];
    const bool dark = fleck_rim_is_ink(input, 0);
    const double darkest_q = level_at(all->ink_counts, all->ink_px, dark ? 0.05 : 0.95);

    if (!isnan(input->ink_reflectance)) {
        gathering->ink_q = full_q * input->ink_reflectance;
        return FLECK_INK_TONE_GIVEN;
    }
    if (all->core_px >= LEAST_CORE_PX) {
        gathering->ink_q = level_at(all->core_counts, all->core_px, 0.5);
        return FLECK_INK_TONE_CORES;
    }
    if (!isnan(gathering->disc.contrast)) {
        static const double by_chance = 0.05; /* of the contrast: black ink, with noise */
        const double step_q = dark ? -gathering->disc.contrast : gathering->disc.contrast;
        const double foretold_q = gathering->bare_q + step_q;

        gathering->ink_q = fmin(full_q, fmax(0, foretold_q));
        gathering->ink_is_beyond =
            fabs(foretold_q - gathering->ink_q) > by_chance * gathering->disc.contrast;
        return FLECK_INK_TONE_DISCS;
    }
    gathering->ink_q = darkest_q;
    return FLECK_INK_TONE_DARKEST;
}

/* Pixels of the edge below a level, a bin being evenly filled. */
static double below(const struct gathering *gathering, const struct sums *dot, double q)
{
    const double at =
        fmin(BINS, fmax(0, (q - gathering->first_q) * gathering->bins_per_q));
    const size_t whole = (size_t)at;
    double sum = 0;

    for (size_t i = 0; i < whole; i++)
        sum += dot->bins[i];
    return whole < BINS ? sum + dot->bins[whole] * (at - (double)whole) : sum;
}

/* Length of the outline that is not the region's border. */
static double free_outline_mm(const fleck_blob *blob, const fleck_outline *outline,
                              const fleck_geometry *geometry)
{
    uint64_t along_x = 0, along_y = 0;
    fleck_crossings border;

    if (!blob->component.at_edge)
        return outline->perimeter_mm;
    for (size_t i = 0; i < blob->run_count; i++) {
        const fleck_blob_run *const run = &blob->runs[i];
        const uint64_t length_px = run->end_px - run->start_px;

        along_x += run->y_px == 0 ? length_px : 0;
        along_x += run->y_px == geometry->height_px - 1 ? length_px : 0;
        along_y += run->start_px == 0 ? 1 : 0;
        along_y += run->end_px == geometry->width_px ? 1 : 0;
    }
    border = (fleck_crossings){ .deg0 = along_y,
                                .deg90 = along_x,
                                .deg45 = along_x + along_y,
                                .deg135 = along_x + along_y };
    return outline->perimeter_mm -
           fleck_crossings_length_mm(&border, geometry->pixel_x_mm, geometry->pixel_y_mm);
}

/*
 * The tone that the dot's edge leads to: its own where it is deep enough to show one; whether a
 * shallower one is light or soft nobody can tell, and the patch's is as good as any.
 */
static double own_ink_q(const struct gathering *gathering, const struct sums *dot)
{
    static const double enough = 0.8; /* of the rim; a disc of that radius is 95 % dark at its centre */
    const double depth_mm = sqrt((double)dot->deepest / gathering->per_mm2);

    if (dot->core_px > 0)
        return (double)dot->core_q / (double)dot->core_px;
    if (depth_mm > enough * gathering->reach.rim_mm)
        return (double)dot->deep_q / (double)dot->deep_px;
    return gathering->ink_q;
}

static double edge_width_mm(const struct gathering *gathering, size_t i, double bare_q)
{
    const fleck_dot_tone_input *const input = gathering->input;
    const struct sums *const dot = &gathering->dots[i];
    const fleck_geometry *const geometry = input->geometry;
    const double ink_q = own_ink_q(gathering, dot);
    const double low_q = fmin(ink_q, bare_q), contrast_q = fabs(bare_q - ink_q);
    const double length_mm = free_outline_mm(&input->blobs[i], &input->outlines[i], geometry);
    const double half_q = 0.5 * (ink_q + bare_q);
    double between_px, half_px, width_mm;

    if (!(length_mm > 0.25 * input->outlines[i].perimeter_mm) ||
        (input->mask != NULL && input->blobs[i].component.at_edge))
        return NAN;
    between_px = below(gathering, dot, low_q + 0.9 * contrast_q) -
                 below(gathering, dot, low_q + 0.1 * contrast_q);
    half_px = (double)dot->core_px +
              (ink_q < bare_q ? below(gathering, dot, half_q)
                              : below(gathering, dot, full_q) - below(gathering, dot, half_q));
    if (!(half_px > 0))
        return NAN;
    /* the outline is where the threshold runs; the contour of the half-way level is longer or shorter */
    width_mm = between_px * geometry->pixel_x_mm * geometry->pixel_y_mm /
               (length_mm * sqrt(half_px / (double)dot->ink_px));
    if (isnan(input->scanner_edge_width_mm))
        return width_mm;
    return sqrt(fmax(0, width_mm * width_mm -
                            input->scanner_edge_width_mm * input->scanner_edge_width_mm));
}

static fleck_dot_tone tone_of(const struct gathering *gathering, size_t i)
{
    const struct sums *const dot = &gathering->dots[i];
    const fleck_geometry *const geometry = gathering->input->geometry;
    const double bare_q = bare_q_of(dot, gathering->bare_q);
    fleck_dot_tone tone = { NAN, NAN, NAN, NAN };
    double area_px;

    if (dot->ink_px == 0)
        return tone;
    tone.mean_reflectance = (double)dot->ink_q / (double)dot->ink_px / full_q;
    tone.density = fleck_tone_density(tone.mean_reflectance);
    area_px = ((double)(dot->ink_px + dot->rim_px) * bare_q - (double)(dot->ink_q + dot->rim_q)) /
              (bare_q - gathering->ink_q);
    if (isfinite(area_px) && area_px > 0)
        tone.tone_area_mm2 = area_px * geometry->pixel_x_mm * geometry->pixel_y_mm;
    tone.edge_width_mm = edge_width_mm(gathering, i, bare_q);
    return tone;
}

/* Start anew with a rim for this blur. */
static void start_round(struct gathering *gathering, const fleck_edge_survey *survey,
                        double blur_mm)
{
    const fleck_geometry *const geometry = gathering->input->geometry;
    const double half_mm = 0.5 * sqrt(geometry->pixel_x_mm * geometry->pixel_y_mm);
    const double contrast_q = fmax(1, fabs(survey->bare_q - survey->ink_q));
    double edge_mm;

    gathering->reach = find_reach(geometry, blur_mm);
    gathering->per_mm2 = fleck_rim_per_mm2(geometry, gathering->reach.all_mm);
    edge_mm = gathering->reach.rim_mm + half_mm;
    gathering->rim_square = (int16_t)(edge_mm * edge_mm * gathering->per_mm2);
    gathering->first_q = fmin(survey->ink_q, survey->bare_q) - beyond * contrast_q;
    gathering->bins_per_q = BINS / ((1 + 2 * beyond) * contrast_q);
    gathering->disc = (fleck_disc){ NAN, NAN };
    for (size_t i = 0; i < gathering->input->n; i++) {
        fleck_spill_let_go();
        gathering->dots[i] = (struct sums){ 0 };
    }
    for (size_t band = 0; band < gathering->bands; band++) {
        struct part *const part = &gathering->parts[band];

        part->core_px = part->ink_px = 0;
        part->far_px = part->far_q = part->bare_px = 0;
        memset(part->core_counts, 0, FLECK_LEVELS * sizeof *part->core_counts);
        memset(part->ink_counts, 0, FLECK_LEVELS * sizeof *part->ink_counts);
    }
}

/* Whether a dot may have ink, rim or ring in more than one band. */
static bool is_shared(const struct gathering *gathering, const fleck_component *dot,
                      size_t reach_px)
{
    for (size_t band = 1; band < gathering->bands; band++) {
        const size_t row =
            fleck_rim_band_row(gathering->input->geometry, gathering->bands, band);

        if (dot->min_y_px < row + reach_px && dot->max_y_px + reach_px >= row)
            return true;
    }
    return false;
}

/* Sums of their own, in each band, for the dots that bands share. */
static fleck_status find_shared(struct gathering *gathering, fleck_error *err)
{
    const fleck_dot_tone_input *const input = gathering->input;
    const size_t reach_px =
        (size_t)ceil(gathering->reach.all_mm / input->geometry->pixel_y_mm) + 1;
    size_t count = 0;

    if (gathering->bands == 1)
        return FLECK_OK;
    for (size_t i = 0; i < input->n; i++)
        gathering->shared_place[i] =
            is_shared(gathering, &input->blobs[i].component, reach_px) ? (int32_t)count++ : -1;
    for (size_t band = 0; band < gathering->bands; band++) {
        struct part *const part = &gathering->parts[band];

        fleck_free(part->shared);
        part->shared = fleck_alloc_zeroed(count, sizeof *part->shared);
        if (part->shared == NULL)
            return no_memory(input->n, err);
    }
    return FLECK_OK;
}

/* Into as many bands as threads, but where memory is short. */
static bool make_parts(struct gathering *gathering)
{
    const fleck_dot_tone_input *const input = gathering->input;
    bool made;

    gathering->bands = fleck_rim_bands(input->geometry, input->threads);
    if (fleck_memory_room() / BAND_BYTES < gathering->bands)
        gathering->bands = 1;
    gathering->dots = fleck_alloc_array(input->n, sizeof *gathering->dots);
    made = gathering->dots != NULL;
    if (gathering->bands > 1) {
        gathering->shared_place = fleck_alloc_array(input->n, sizeof *gathering->shared_place);
        made = made && gathering->shared_place != NULL;
    }
    for (size_t band = 0; band < gathering->bands; band++) {
        struct part *const part = &gathering->parts[band];

        part->core_counts = fleck_alloc_array(FLECK_LEVELS, sizeof *part->core_counts);
        part->ink_counts = fleck_alloc_array(FLECK_LEVELS, sizeof *part->ink_counts);
        made = made && part->core_counts != NULL && part->ink_counts != NULL;
    }
    return made;
}

static void free_parts(struct gathering *gathering)
{
    for (size_t band = 0; band < gathering->bands; band++) {
        fleck_free(gathering->parts[band].core_counts);
        fleck_free(gathering->parts[band].ink_counts);
        fleck_free(gathering->parts[band].shared);
    }
    fleck_free(gathering->shared_place);
    fleck_free(gathering->dots);
}

static fleck_status gather(struct gathering *gathering, const fleck_edge_survey *survey,
                           fleck_error *err)
{
    static const double least_core = 0.1; /* share of the ink: below it dots may be all edge */
    static const double least_far = 0.01; /* share of the bare pixels that shows the paper's tone */
    const struct part *const all = &gathering->parts[0];
    double blur_mm = survey->blur_mm;
    fleck_status status = FLECK_OK;

    for (int round = 0; round < MOST_ROUNDS && status == FLECK_OK; round++) {
        start_round(gathering, survey, blur_mm);
        status = find_shared(gathering, err);
        if (status == FLECK_OK)
            status = fleck_rim_rows(gathering->input, gathering->reach.all_mm, gathering->bands,
                                    add_row, gathering, err);
        if (status != FLECK_OK)
            break;
        add_parts(gathering);
        gathering->bare_q = survey->lightest_q;
        if ((double)all->far_px > least_far * (double)all->bare_px)
            gathering->bare_q = (double)all->far_q / (double)all->far_px;
        else
            gathering->reach.is_cut = true;
        if ((double)all->core_px >= least_core * (double)all->ink_px)
            break;
        status = look_at_discs(gathering, err);
        if (!(gathering->disc.blur_mm > 1.1 * blur_mm))
            break;
        blur_mm = fmin(gathering->disc.blur_mm, 2 * blur_mm);
    }
    return status;
}

fleck_status fleck_dot_tones(const fleck_dot_tone_input *input, fleck_dot_tone *tones,
                             fleck_patch_tone *patch, fleck_error *err)
{
    const fleck_geometry *const geometry = input->geometry;
    struct gathering gathering = { .input = input };
    fleck_edge_survey survey;
    fleck_status status;

    if (input->mask != NULL && (fleck_mask_width_px(input->mask) != geometry->width_px ||
                                fleck_mask_height_px(input->mask) != geometry->height_px))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "the mask does not fit the region; give one of its size");
    status = fleck_edge_survey_take(input, &survey, err);
    if (status != FLECK_OK)
        return status;
    status = make_parts(&gathering) ? gather(&gathering, &survey, err) : no_memory(input->n, err);
    if (status != FLECK_OK)
        goto done;
    patch->ink_from = find_ink_tone(&gathering);
    patch->ink_reflectance = gathering.ink_q / full_q;
    patch->bare_reflectance = gathering.bare_q / full_q;
    patch->rim_mm = gathering.reach.rim_mm;
    patch->rim_is_cut = gathering.reach.is_cut;
    patch->ink_is_beyond = gathering.ink_is_beyond;
    for (size_t i = 0; i < input->n; i++) {
        fleck_spill_let_go();
        tones[i] = tone_of(&gathering, i);
    }
done:
    free_parts(&gathering);
    return status;
}
