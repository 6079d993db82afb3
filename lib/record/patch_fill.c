/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the two passes found, written into a record. */
#include <math.h>

#include "core/memory.h"
#include "core/parallel.h"
#include "core/sort.h"
#include "core/spill.h"
#include "record/options.h"
#include "record/patch_parts.h"

static int by_first_pixel(const void *a, const void *b)
{
    const fleck_component *const one = &((const fleck_gathered_item *)a)->component;
    const fleck_component *const other = &((const fleck_gathered_item *)b)->component;

    if (one->first_y_px != other->first_y_px)
        return one->first_y_px < other->first_y_px ? -1 : 1;
    return one->first_x_px < other->first_x_px ? -1 : one->first_x_px > other->first_x_px;
}

static fleck_status fill_settings(const fleck_patch *patch, fleck_record *record, fleck_error *err)
{
    const fleck_measure_options *const options = patch->options;
    const bool grey = fleck_tone_channels(patch->tone) == 1;
    const fleck_box_mm *const region = fleck_patch_region(patch->input, options);

    record->id = fleck_copy_text(patch->input->id);
    record->settings.channel = fleck_copy_text(fleck_channel_name(options->channel));
    record->settings.channel_used = fleck_copy_text(
        grey ? "grey" : fleck_channel_name(patch->surveyed[patch->chosen].channel));
    record->settings.tone_from = fleck_copy_text(
        fleck_tone_source_name(fleck_tone_get_source(patch->tone)));
    record->settings.ink = fleck_copy_text(fleck_ink_name(options->ink));
    record->settings.threshold = fleck_threshold_text(options);
    record->threshold.method = fleck_copy_text(fleck_threshold_method_name(options->threshold));
    if (region != NULL)
        record->settings.region = fleck_box_text(region);
    record->settings.tilt_deg = fleck_patch_tilt_deg(patch->input, options);
    if (patch->scan_mask != NULL) {
        record->settings.mask = fleck_copy_text(options->mask_path);
        record->settings.mask_sha256 = fleck_copy_text(patch->scan_mask->sha256);
    }
    if (patch->calibration != NULL) {
        record->settings.calibration = fleck_copy_text(options->calibration_path);
        record->settings.calibration_sha256 = fleck_copy_text(patch->calibration->sha256);
    }
    record->settings.scanner_edge_width_mm = fleck_patch_scanner_edge_width_mm(patch);
    record->settings.cutoff_mm = options->cutoff_mm;
    record->settings.margin_mm = options->margin_mm;
    record->settings.tile_px = options->tile_px > 0 ? (double)options->tile_px : NAN;
    record->settings.seed = (double)options->seed;
    record->settings.simulations = (double)options->simulations;
    record->settings.page = (double)options->page;
    if (record->id == NULL || record->settings.channel == NULL ||
        record->settings.channel_used == NULL || record->settings.tone_from == NULL ||
        record->settings.ink == NULL || record->settings.threshold == NULL ||
        record->threshold.method == NULL || (region != NULL && record->settings.region == NULL) ||
        (patch->calibration != NULL && (record->settings.calibration == NULL ||
                                        record->settings.calibration_sha256 == NULL)) ||
        (patch->scan_mask != NULL &&
         (record->settings.mask == NULL || record->settings.mask_sha256 == NULL)))
        return fleck_patch_no_memory(err);
    return FLECK_OK;
}

static void fill_region(const fleck_patch *patch, fleck_record *record)
{
    const fleck_geometry *const geometry = &patch->geometry;

    record->region.x_mm = (double)patch->area.box.left_px * geometry->pixel_x_mm;
    record->region.y_mm = (double)patch->area.box.top_px * geometry->pixel_y_mm;
    record->region.width_mm = (double)geometry->width_px * geometry->pixel_x_mm;
    record->region.height_mm = (double)geometry->height_px * geometry->pixel_y_mm;
    record->region.area_mm2 = record->region.width_mm * record->region.height_mm;
    if (patch->area.mask != NULL)
        record->region.area_mm2 = fleck_area_mm2(geometry, fleck_mask_area_px(patch->area.mask));
}

/* With a threshold that is not the same everywhere the classes are those of the mask. */
static void settle_local_cut(fleck_patch *patch)
{
    const fleck_layer *const main = &patch->layers[FLECK_LAYER_MAIN];
    fleck_cut *const cut = &patch->cut;
    const double all_px = (double)(patch->chords.ink_px + patch->chords.bare_px);
    const double ink_px = (double)patch->chords.ink_px, bare_px = all_px - ink_px;
    const double total = cut->mean_reflectance * all_px;
    double between;

    if (patch->levels == NULL || !patch->has_ink)
        return;
    cut->ink_reflectance = ink_px > 0 ? (double)main->ink_sum / 65535 / ink_px : NAN;
    cut->bare_reflectance =
        bare_px > 0 ? (total - (double)main->ink_sum / 65535) / bare_px : NAN;
    between = ink_px / all_px * (bare_px / all_px) *
              pow(cut->ink_reflectance - cut->bare_reflectance, 2);
    cut->between_variance = between;
    cut->separability = between / (cut->sd_reflectance * cut->sd_reflectance);
}

static void fill_tone(const fleck_patch *patch, fleck_record *record)
{
    const fleck_cut *const cut = &patch->cut;
    const fleck_channel channel = patch->surveyed[patch->chosen].channel;

    record->tone.mean_reflectance = cut->mean_reflectance;
    record->tone.sd_reflectance = cut->sd_reflectance;
    record->tone.density = fleck_tone_density(cut->mean_reflectance);
    record->tone.open_paper_reflectance = patch->surveyed[patch->chosen].paper_level;
    if (patch->calibration != NULL)
        record->tone.optical_coverage = fleck_calibration_optical_coverage(
            patch->calibration, channel, cut->mean_reflectance);
    if (!patch->has_ink && (patch->options->threshold == FLECK_THRESHOLD_OTSU ||
                            patch->options->threshold == FLECK_THRESHOLD_LOCAL))
        return;
    record->threshold.threshold_reflectance = fleck_cut_threshold_reflectance(cut->k);
    record->threshold.separability = cut->separability;
    record->threshold.ink_reflectance = cut->ink_reflectance;
    record->threshold.bare_reflectance = cut->bare_reflectance;
}

static void fill_blank(const fleck_patch *patch, fleck_record *record)
{
    const fleck_channel channel = patch->surveyed[patch->chosen].channel;
    const fleck_calibration_blank *blank;

    if (patch->calibration == NULL || !(patch->calibration->blank.boxes > 0))
        return;
    blank = &patch->calibration->blank;
    record->blank.coverage = blank->coverage_mean[channel];
    record->blank.coverage_limit = blank->coverage_limit[channel];
    record->blank.per_cm2 = blank->per_cm2_mean[channel];
    record->blank.per_cm2_limit = blank->per_cm2_limit[channel];
}

/* Order, components, weights and sizes of the counted components of a phase. */
static fleck_status fill_phase(const fleck_patch *patch, fleck_gathered *phase,
                               fleck_sizes *sizes, fleck_error *err)
{
    fleck_status status;

    if (!fleck_sort(phase->items, phase->count, sizeof *phase->items, by_first_pixel))
        return fleck_patch_no_memory(err);
    phase->counted = fleck_alloc_array(phase->count, sizeof *phase->counted);
    phase->weights_per_px2 = fleck_alloc_array(phase->count, sizeof *phase->weights_per_px2);
    if (phase->counted == NULL || phase->weights_per_px2 == NULL)
        return fleck_patch_no_memory(err);
    for (size_t i = 0; i < phase->count; i++) {
        fleck_spill_let_go();
        phase->counted[i] = phase->items[i].component;
    }
    status = fleck_edge_weights(&patch->geometry, patch->area.mask, phase->counted, phase->count,
                                phase->weights_per_px2, err);
    if (status == FLECK_OK)
        status = fleck_sizes_summarise(phase->counted, phase->weights_per_px2, phase->count,
                                       phase->below_cutoff, &patch->geometry, sizes, err);
    return status;
}

/* Hand a list over to the record. */
static fleck_series take_series(double **values, size_t count)
{
    const fleck_series series = { *values, count };

    *values = NULL;
    return series;
}

/* The distribution of the sizes of a phase, with its intervals. */
static fleck_status fill_distribution(const fleck_patch *patch, const fleck_gathered *phase,
                                      fleck_record_sizes *out, fleck_error *err)
{
    fleck_size_options how = fleck_size_options_default();
    fleck_size_distribution sizes;
    fleck_status status;

    how.seed = patch->options->seed;
    status = fleck_size_distribution_fill(phase->counted, phase->weights_per_px2, phase->count,
                                          &patch->geometry, patch->area.mask,
                                          patch->options->cutoff_mm, &how, &sizes, err);
    if (status != FLECK_OK)
        return status;
    out->mean_21_mm = sizes.mean_21_mm;
    out->mean_32_mm = sizes.mean_32_mm;
    out->lognormal = sizes.lognormal;
    out->intervals = sizes.intervals;
    out->class_from_mm = take_series(&sizes.from_mm, sizes.classes);
    out->class_number_share = take_series(&sizes.number_share, sizes.classes);
    out->class_area_share = take_series(&sizes.area_share, sizes.classes);
    fleck_size_distribution_clear(&sizes);
    return FLECK_OK;
}

/* A phase as a task. */
struct phase_task {
    const fleck_patch *patch;
    fleck_gathered *phase;
    fleck_sizes *sizes;           /* out */
    fleck_record_sizes *of_sizes; /* out */
    bool with_neighbours;
    double *distance_mm;    /* out: of each component, the caller's with fleck_free(), on failure too */
    fleck_spacing *spacing; /* out, may be NULL */
};

/* Distance of each component of a phase to its nearest neighbour; for dots the group `spacing` too. */
static fleck_status find_spacing(struct phase_task *task, fleck_error *err)
{
    const fleck_patch *const patch = task->patch;
    const fleck_gathered *const phase = task->phase;
    const fleck_geometry *const geometry = &patch->geometry;
    fleck_point_mm *centres = fleck_alloc_array(phase->count, sizeof *centres);
    fleck_status status;

    task->distance_mm = fleck_alloc_array(phase->count, sizeof *task->distance_mm);
    if (centres == NULL || task->distance_mm == NULL) {
        fleck_free(centres);
        return fleck_patch_no_memory(err);
    }
    for (size_t i = 0; i < phase->count; i++) {
        fleck_spill_let_go();
        centres[i] = fleck_component_centroid(&phase->counted[i], geometry);
    }
    status = fleck_nearest_neighbours(centres, phase->count,
                                      (double)geometry->width_px * geometry->pixel_x_mm,
                                      (double)geometry->height_px * geometry->pixel_y_mm,
                                      task->distance_mm, err);
    if (status == FLECK_OK && task->spacing != NULL)
        status = fleck_spacing_summarise_in(centres, task->distance_mm, phase->count, geometry,
                                            patch->area.mask, task->spacing, err);
    fleck_free(centres);
    return status;
}

static fleck_status fill_phase_sizes(void *context, fleck_error *err)
{
    struct phase_task *const task = context;
    fleck_status status = fill_phase(task->patch, task->phase, task->sizes, err);

    if (status == FLECK_OK)
        status = fill_distribution(task->patch, task->phase, task->of_sizes, err);
    if (status == FLECK_OK && task->with_neighbours)
        status = find_spacing(task, err);
    return status;
}

/*
 * The table of a phase.
 * distance_mm    of each component to its nearest neighbour
 * parts          of each component, may be NULL
 */
static fleck_status fill_table(const fleck_gathered *phase, const double *distance_mm,
                               const size_t *parts, fleck_dot_table *table, fleck_error *err)
{
    const size_t n = phase->count;

    table->rows = fleck_alloc_array(n, sizeof *table->rows);
    if (table->rows == NULL)
        return fleck_patch_no_memory(err);
    for (size_t i = 0; i < n; i++) {
        fleck_spill_let_go();
        table->rows[i] = (fleck_dot_row){
            .component = phase->counted[i],
            .weight_per_px2 = phase->weights_per_px2[i],
            .nn_mm = distance_mm[i],
            .shape = phase->shapes[i],
            .parts = parts != NULL ? parts[i] : 0,
        };
    }
    table->count = n;
    return FLECK_OK;
}

/* One of the moved thresholds as a task. */
struct moved_task {
    const fleck_patch *patch;
    fleck_layer *layer;
    double *coverage, *d50_mm; /* out */
};

/* Coverage and median dot of one of the moved thresholds, which then has done its part. */
static fleck_status fill_moved(void *context, fleck_error *err)
{
    const struct moved_task *const task = context;
    const fleck_chord_counts *const chords = &task->patch->chords;
    fleck_layer *const layer = task->layer;
    fleck_sizes sizes;
    fleck_status status;

    if (layer->labeller == NULL)
        return FLECK_OK;
    status = fleck_labeller_finish(layer->labeller, err);
    if (status == FLECK_OK)
        status = fill_phase(task->patch, &layer->ink, &sizes, err);
    if (status == FLECK_OK) {
        *task->coverage = (double)layer->ink_px / (double)(chords->ink_px + chords->bare_px);
        *task->d50_mm = sizes.d50_mm;
    }
    fleck_layer_clear(layer); /* its components are in the way of what is kept to the end */
    return status;
}

static void fill_chords(fleck_chord_lengths *chords, fleck_record_chords *out)
{
    out->median_mm = chords->median_mm;
    out->sd_mm = chords->sd_mm;
    out->from_mm = take_series(&chords->from_mm, chords->classes);
    out->share = take_series(&chords->share, chords->classes);
}

/* Standard deviation of a Gaussian with the softness of these edges. */
static double blur_sd_mm(double edge_width_mm)
{
    static const double from_10_to_90 = 2.5631031310892007; /* of a normal distribution, in sd */

    return edge_width_mm / from_10_to_90;
}

/* How the dots lie to each other, and whether that is clustered, random or regular. */
static fleck_status fill_pattern(fleck_patch *patch, const fleck_disc_model *grains, double blur_mm,
                                 fleck_record *record, fleck_error *err)
{
    const fleck_gathered *const ink = &patch->layers[FLECK_LAYER_MAIN].ink;
    fleck_pattern_options how = fleck_pattern_options_default();
    fleck_pattern found;
    fleck_status status;

    how.simulations = patch->options->simulations;
    how.seed = patch->options->seed;
    how.least_area_px = patch->cutoff_area_px;
    how.threads = patch->threads;
    status = fleck_pattern_find(ink->counted, ink->count, &patch->geometry, patch->area.mask, grains,
                                blur_mm, &how, &found, err);
    if (status != FLECK_OK)
        return status;
    if (fleck_order_name(found.order) != NULL) {
        record->pattern.order = fleck_copy_text(fleck_order_name(found.order));
        if (record->pattern.order == NULL)
            status = fleck_patch_no_memory(err);
    } else {
        status = fleck_warnings_add(&patch->warnings, err, "no-order",
                                    "whether the dots are clustered, random or regular cannot be told: "
                                    "%s",
                                    found.why_text);
    }
    record->pattern.order_p = found.order_p;
    record->pattern.dots = (double)found.dots;
    record->pattern.simulations = (double)found.simulations;
    record->pattern.decided_at_mm = found.decided_at_mm;
    record->pattern.r_mm = take_series(&found.r_mm, found.count);
    record->pattern.l_mm = take_series(&found.l_mm, found.count);
    record->pattern.l_lo_mm = take_series(&found.l_lo_mm, found.count);
    record->pattern.l_hi_mm = take_series(&found.l_hi_mm, found.count);
    record->pattern.pair_correlation = take_series(&found.g, found.count);
    record->pattern.nearest_g = take_series(&found.nn_g, found.count);
    record->pattern.empty_f = take_series(&found.empty_f, found.count);
    fleck_pattern_clear(&found);
    return status;
}

/* Boundary, Euler number, covariance, chords, openings, the grains of a Boolean model, and the pattern of
   the dots against them. */
static fleck_status fill_random_set(fleck_patch *patch, fleck_record *record, fleck_error *err)
{
    const double blur_mm =
        blur_sd_mm(patch->layers[FLECK_LAYER_MAIN].ink.scanned_edge_width_mm);
    fleck_random_set set;
    fleck_status status =
        fleck_random_set_maker_finish(patch->random_set_maker, blur_mm, &set, err);

    if (status != FLECK_OK)
        return status;
    record->ink.perimeter_per_area_per_mm = set.perimeter_per_area_per_mm;
    record->ink.euler_per_cm2 = set.euler_per_cm2;
    record->grain.mean_diameter_mm = set.grain.mean_diameter_mm;
    record->grain.per_cm2 = set.grain.per_cm2;
    record->grain.fit_p = set.grain.fit_p;
    record->covariance.lag_x_mm = take_series(&set.along_x.lag_mm, set.along_x.count);
    record->covariance.along_x = take_series(&set.along_x.probability, set.along_x.count);
    record->covariance.lag_y_mm = take_series(&set.along_y.lag_mm, set.along_y.count);
    record->covariance.along_y = take_series(&set.along_y.probability, set.along_y.count);
    record->covariance.lag_mm = take_series(&set.radial.lag_mm, set.radial.count);
    record->covariance.radial = take_series(&set.radial.probability, set.radial.count);
    fill_chords(&set.ink_chords, &record->ink_chords);
    fill_chords(&set.bare_chords, &record->bare_chords);
    record->granulometry.mean_mm = set.granulometry.mean_mm;
    record->granulometry.median_mm = set.granulometry.median_mm;
    record->granulometry.diameter_mm =
        take_series(&set.granulometry.diameter_mm, set.granulometry.count);
    record->granulometry.removed = take_series(&set.granulometry.removed, set.granulometry.count);
    status = fill_pattern(patch, &set.grain.model, blur_mm, record, err);
    fleck_random_set_clear(&set);
    return status;
}

static fleck_status fill_sampling(fleck_patch *patch, fleck_record *record, fleck_error *err)
{
    fleck_sampling sampling;
    fleck_status status = fleck_cell_counts_finish(patch->cell_counts, &sampling, err);

    if (status != FLECK_OK)
        return status;
    record->ink.coverage_se = sampling.coverage_se;
    record->sampling = sampling;
    /* of the median: c = 0, see fleck_dots_needed */
    record->dots_needed = fleck_dots_needed(record->dots.lognormal_gsd, 1, -0.5, 0.05, 0.95);
    if (sampling.exponent_is_slow)
        status = fleck_warnings_add(&patch->warnings, err, "slow-variance",
                                    "coverage of larger areas scatters more than their size foretells "
                                    "(long fibres, strata or a slope): coverage_se is too small");
    return status;
}

/* Sizes at all thresholds and neighbours, then shapes, into record and tables. */
static fleck_status fill_phases(fleck_patch *patch, fleck_record *record, fleck_dot_tables *tables,
                                fleck_error *err)
{
    fleck_layer *const main = &patch->layers[FLECK_LAYER_MAIN];
    struct phase_task dots = { patch, &main->ink, &record->dots, &record->dots_sizes, true, NULL,
                               &record->spacing };
    struct phase_task flecks = { patch, &main->bare, &record->flecks, &record->flecks_sizes,
                                 patch->options->flecks_table, NULL, NULL };
    struct moved_task less = { patch, &patch->layers[FLECK_LAYER_LESS],
                               &record->sensitivity.coverage_lo, &record->sensitivity.d50_lo_mm };
    struct moved_task more = { patch, &patch->layers[FLECK_LAYER_MORE],
                               &record->sensitivity.coverage_hi, &record->sensitivity.d50_hi_mm };
    /* the dots take longest, about as long as all others together */
    fleck_task tasks[] = { { .run = fill_phase_sizes, .context = &dots },
                           { .run = fill_moved, .context = &less },
                           { .run = fill_moved, .context = &more },
                           { .run = fill_phase_sizes, .context = &flecks } };
    size_t *parts = NULL;
    fleck_status status =
        fleck_tasks_run(tasks, sizeof tasks / sizeof *tasks, patch->threads, err);

    if (status == FLECK_OK)
        status = fleck_patch_fill_shapes(patch, record, &parts, err);
    if (status == FLECK_OK)
        status = fill_table(&main->ink, dots.distance_mm, parts, &tables->dots, err);
    if (status == FLECK_OK && flecks.with_neighbours)
        status = fill_table(&main->bare, flecks.distance_mm, NULL, &tables->flecks, err);
    fleck_free(dots.distance_mm);
    fleck_free(flecks.distance_mm);
    fleck_free(parts);
    return status;
}

static fleck_status fill_ink_groups(fleck_patch *patch, fleck_record *record,
                                    fleck_dot_tables *tables, fleck_error *err)
{
    const double region_px = (double)(patch->chords.ink_px + patch->chords.bare_px);
    fleck_layer *const main = &patch->layers[FLECK_LAYER_MAIN];
    fleck_status status = fleck_labeller_finish(main->labeller, err);

    if (status != FLECK_OK)
        return status;
    record->ink.coverage = (double)patch->chords.ink_px / region_px;
    record->ink.counted_coverage = (double)main->ink.counted_px / region_px;
    record->ink.mean_chord_mm = fleck_mean_chord_mm(&patch->chords, FLECK_PHASE_INK,
                                                    &patch->geometry);
    record->flecks_mean_chord_mm = fleck_mean_chord_mm(&patch->chords, FLECK_PHASE_BARE,
                                                       &patch->geometry);
    status = fill_phases(patch, record, tables, err);
    if (status == FLECK_OK)
        status = fill_random_set(patch, record, err);
    if (status == FLECK_OK)
        status = fill_sampling(patch, record, err);
    return status;
}

static fleck_status fill_spectrum(fleck_patch *patch, fleck_record *record, fleck_error *err)
{
    fleck_status status;

    if (patch->spectrum_maker == NULL)
        return FLECK_OK;
    status = fleck_spectrum_maker_finish(patch->spectrum_maker, &record->spectrum, err);
    if (status != FLECK_OK)
        return status;
    record->spectrum_tile_px = (double)record->spectrum.tile_px;
    record->spectrum_tiles = (double)record->spectrum.tiles;
    fleck_spectrum_features_find(&record->spectrum, &record->spectrum_features);
    return FLECK_OK;
}

/*
 * On which side a patch of one tone lies by the calibration: half-way between paper and ink, or with
 * the paper alone by whether it stands apart from it. Returns 0 for paper, 1 for ink, NAN when the
 * calibration does not say.
 */
static double side_by_calibration(const fleck_patch *patch)
{
    const fleck_calibration *const calibration = patch->calibration;
    const fleck_channel channel = patch->surveyed[patch->chosen].channel;
    const double mean = patch->cut.mean_reflectance;
    double paper, tolerance;

    if (calibration == NULL || !calibration->paper.present)
        return NAN;
    paper = calibration->paper.quantised[channel];
    if (calibration->ink.present)
        return fabs(mean - paper) < fabs(mean - calibration->ink.quantised[channel]) ? 0 : 1;
    /* paper of one lot differs by some per cent; five of its own standard deviations at least */
    tolerance = fmax(0.05 * paper, 5 * calibration->paper.sd[channel]);
    return fabs(mean - paper) <= tolerance ? 0 : 1;
}

/*
 * Whether there is speckle. Without it a threshold from elsewhere or the calibration may still say on
 * which side all of it lies; Otsu's own cannot.
 */
static fleck_status fill_speckle(const fleck_patch *patch, fleck_record *record, fleck_error *err)
{
    const char *speckle = "present";

    if (!patch->has_ink) {
        const fleck_surveyed *const chosen = &patch->surveyed[patch->chosen];

        record->ink.coverage = side_by_calibration(patch);
        if (patch->options->threshold != FLECK_THRESHOLD_OTSU &&
            patch->options->threshold != FLECK_THRESHOLD_LOCAL && isnan(record->ink.coverage) &&
            (patch->cut.k < chosen->lowest || patch->cut.k >= chosen->highest))
            record->ink.coverage = isfinite(patch->cut.ink_reflectance) ? 1 : 0;
        speckle = record->ink.coverage == 0 ? "blank" : "flat";
    }
    record->speckle = fleck_copy_text(speckle);
    return record->speckle != NULL ? FLECK_OK : fleck_patch_no_memory(err);
}

fleck_status fleck_patch_measure_end(fleck_patch *patch, fleck_record *record,
                                     fleck_dot_tables *tables, fleck_error *err)
{
    fleck_status status = fill_settings(patch, record, err);

    if (status == FLECK_OK && patch->counts != NULL)
        status = fleck_cut_at(patch->counts, patch->cut.k, patch->options->ink, &patch->cut, err);
    if (status != FLECK_OK)
        return status;
    fill_region(patch, record);
    settle_local_cut(patch);
    fill_tone(patch, record);
    fill_blank(patch, record);
    tables->geometry = patch->geometry;
    if (patch->has_ink)
        status = fill_ink_groups(patch, record, tables, err);
    if (status == FLECK_OK)
        status = fill_spectrum(patch, record, err);
    if (status == FLECK_OK)
        status = fleck_print_noise_maker_finish(patch->print_noise_maker, &record->print_noise, err);
    if (status == FLECK_OK)
        status = fill_speckle(patch, record, err);
    if (status == FLECK_OK)
        status = fleck_patch_doubt(patch, record, err);
    if (status == FLECK_OK)
        status = fleck_warnings_append(&record->warnings, &patch->warnings, err);
    return status;
}
