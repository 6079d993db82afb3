/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The trace is measured as a patch, and its ink counted once more stripe by stripe while the patch
 * is at hand: the counts are whole numbers of pixels and add up.
 */
#include "fleck/contact.h"

#include <math.h>
#include <stdint.h>
#include <string.h>

#include "core/memory.h"
#include "core/versioned.h"
#include "record/options.h"

#define STANDARD_GRAVITY 9.80665 /* m/s2 */

/* No dot of a trace is looked at: a cutoff above all of them spares most of the work. */
#define NO_DOTS_MM 1000

struct counting {
    const fleck_contact_options *options;
    fleck_contact *contact;
    uint64_t *ink_px, *all_px; /* of each band */
    double pixel_mm2, step_mm; /* of a pixel; step along the axis of the bands */
    size_t length_px;          /* of the region along that axis */
    fleck_error failure;       /* of the scan */
    bool done;
};

void fleck_contact_options_init(fleck_contact_options *options, size_t struct_bytes)
{
    const fleck_contact_options defaults = {
        .load_kg = NAN,
        .bands = 5,
    };

    fleck_versioned_init(options, struct_bytes, &defaults, sizeof defaults);
}

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the trace; free some memory");
}

/* The first pixel of a band. */
static size_t band_start(size_t band, size_t bands, size_t length_px)
{
    return (size_t)floor((double)band * (double)length_px / (double)bands + 0.5);
}

/* Add runs of a row to the bands they lie in. */
static void count_runs(const fleck_run *runs, size_t count, size_t y_px, bool across_y,
                       size_t bands, size_t length_px, uint64_t *pixels)
{
    size_t band = 0;

    if (across_y) {
        while (band_start(band + 1, bands, length_px) <= y_px)
            band++;
        for (size_t i = 0; i < count; i++)
            pixels[band] += runs[i].end_px - runs[i].start_px;
        return;
    }
    for (size_t i = 0; i < count; i++) {
        for (size_t at = runs[i].start_px; at < runs[i].end_px;) {
            size_t end;

            while ((end = band_start(band + 1, bands, length_px)) <= at)
                band++;
            end = end < runs[i].end_px ? end : runs[i].end_px;
            pixels[band] += end - at;
            at = end;
        }
    }
}

/* Count the ink of all rows, band by band. */
static fleck_status count_ink(struct counting *counting, const fleck_patch_view *view,
                              fleck_error *err)
{
    const fleck_geometry *const geometry = view->geometry;
    const bool across_y = counting->options->across_y;
    const size_t bands = counting->options->bands;
    fleck_run *runs = fleck_alloc_array(geometry->width_px / 2 + 1, sizeof *runs);
    fleck_status status = FLECK_OK;

    if (runs == NULL)
        return no_memory(err);
    for (size_t y = 0; y < geometry->height_px && status == FLECK_OK; y++) {
        const fleck_run row = { 0, (uint32_t)geometry->width_px };
        size_t count = 1;

        if (view->mask != NULL)
            count = fleck_mask_runs(view->mask, y, runs);
        count_runs(view->mask != NULL ? runs : &row, count, y, across_y, bands, counting->length_px,
                   counting->all_px);
        status = view->read_ink(view->context, y, runs, &count, err);
        if (status == FLECK_OK)
            count_runs(runs, count, y, across_y, bands, counting->length_px, counting->ink_px);
    }
    fleck_free(runs);
    return status;
}

/* Warnings of a record that are about the scan and the cut, not about dots. */
static fleck_status take_warnings(const fleck_record *record, fleck_warnings *warnings,
                                  fleck_error *err)
{
    static const char *const codes[] = {
        "alpha-composited",
        "below-detection-limit",
        "calibration-unproved",
        "clipped-black",
        "clipped-white",
        "former-jpeg",
        "histogram-gaps",
        "ink-tone-wanders",
        "jpeg",
        "jpeg-halved-colour",
        "more-pages",
        "resolution-differs",
        "resolution-placeholder",
        "sharpening-halo",
        "threshold-in-noise",
        "tone-assumed",
        "tone-outside-curve",
        "upsampled",
    };
    fleck_status status = FLECK_OK;

    for (size_t i = 0; i < record->warnings.count; i++) {
        const fleck_warning *const warning = &record->warnings.items[i];

        for (size_t k = 0; k < sizeof codes / sizeof *codes && status == FLECK_OK; k++) {
            if (strcmp(codes[k], warning->code) == 0)
                status = fleck_warnings_add(warnings, err, warning->code, "%s", warning->message);
        }
    }
    return status;
}

static fleck_status take_record(fleck_contact *contact, const fleck_record *record,
                                fleck_error *err)
{
    contact->path = fleck_copy_text(record->source.path);
    contact->channel = fleck_copy_text(record->settings.channel_used);
    contact->threshold = fleck_copy_text(record->settings.threshold);
    if (contact->path == NULL || contact->channel == NULL || contact->threshold == NULL)
        return no_memory(err);
    strncpy(contact->sha256, record->source.sha256, sizeof contact->sha256 - 1);
    contact->threshold_reflectance = record->threshold.threshold_reflectance;
    contact->x_mm = record->region.x_mm;
    contact->y_mm = record->region.y_mm;
    contact->width_mm = record->region.width_mm;
    contact->height_mm = record->region.height_mm;
    return take_warnings(record, &contact->warnings, err);
}

/* The measured patch is at hand. */
static fleck_status on_patch(void *context, const fleck_patch_view *view, fleck_error *err)
{
    struct counting *const counting = context;
    const fleck_contact_options *const options = counting->options;
    const fleck_record *const record = view->record;
    fleck_status status;

    counting->length_px = options->across_y ? view->geometry->height_px : view->geometry->width_px;
    counting->step_mm = options->across_y ? view->geometry->pixel_y_mm : view->geometry->pixel_x_mm;
    counting->pixel_mm2 = view->geometry->pixel_x_mm * view->geometry->pixel_y_mm;
    if (options->bands > counting->length_px)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "is %zu pixels wide where %zu bands are asked for; give fewer --bands",
                          counting->length_px, options->bands);
    status = count_ink(counting, view, err);
    if (status == FLECK_OK)
        status = take_record(counting->contact, record, err);
    /* without speckle all or nothing is ink, or it cannot be told */
    if (strcmp(record->speckle, "present") != 0 && record->ink.coverage == 1)
        memcpy(counting->ink_px, counting->all_px, options->bands * sizeof *counting->ink_px);
    if (isnan(record->ink.coverage) && status == FLECK_OK) {
        counting->contact->whole.contact_mm2 = NAN;
        status = fleck_warnings_add(&counting->contact->warnings, err, "no-trace",
                                    "nothing stands out on the scan: it cannot be told whether all "
                                    "or nothing of it touched; check the scan and the region, or "
                                    "give a threshold with --threshold fixed:R");
    }
    counting->done = status == FLECK_OK;
    return status;
}

static void on_failure(void *context, const char *path, const char *message)
{
    struct counting *const counting = context;

    (void)path;
    if (counting->failure.status == FLECK_OK)
        fleck_fail(&counting->failure, FLECK_BAD_INPUT, "%s", message);
}

static fleck_contact_part make_part(uint64_t ink_px, uint64_t all_px, double pixel_mm2, bool known,
                                    double load_kg)
{
    fleck_contact_part part = {
        .area_mm2 = (double)all_px * pixel_mm2,
        .contact_mm2 = known ? (double)ink_px * pixel_mm2 : NAN,
        .contact_fraction = known && all_px > 0 ? (double)ink_px / (double)all_px : NAN,
        .load_kg = load_kg,
        .mean_pressure_kpa = NAN,
    };

    if (part.contact_mm2 > 0) /* N/mm2 are MPa */
        part.mean_pressure_kpa = 1000 * (load_kg * STANDARD_GRAVITY / part.contact_mm2);
    return part;
}

/* From counts to areas and pressures. */
static fleck_status fill_parts(const struct counting *counting, fleck_error *err)
{
    fleck_contact *const contact = counting->contact;
    const size_t bands = counting->options->bands;
    const double load_kg = counting->options->load_kg;
    const bool known = !isnan(contact->whole.contact_mm2);
    const double start_mm = contact->across_y ? contact->y_mm : contact->x_mm;
    uint64_t ink_px = 0, all_px = 0;
    size_t without = 0;
    fleck_status status = FLECK_OK;

    for (size_t i = 0; i < bands; i++) {
        fleck_contact_part *const band = &contact->bands[i];

        *band = make_part(counting->ink_px[i], counting->all_px[i], counting->pixel_mm2, known,
                          load_kg / (double)bands);
        band->from_mm =
            start_mm + (double)band_start(i, bands, counting->length_px) * counting->step_mm;
        band->to_mm =
            start_mm + (double)band_start(i + 1, bands, counting->length_px) * counting->step_mm;
        ink_px += counting->ink_px[i];
        all_px += counting->all_px[i];
        without += known && counting->ink_px[i] == 0;
    }
    contact->whole = make_part(ink_px, all_px, counting->pixel_mm2, known, load_kg);
    contact->whole.from_mm = contact->bands[0].from_mm;
    contact->whole.to_mm = contact->bands[bands - 1].to_mm;
    if (known && ink_px == 0)
        status = fleck_warnings_add(&contact->warnings, err, "no-contact",
                                    "nothing touched: there is no pressure without a contact area");
    else if (without > 0)
        status = fleck_warnings_add(&contact->warnings, err, "no-contact",
                                    "nothing touched in %zu of %zu bands: they have no pressure",
                                    without, bands);
    return status;
}

static fleck_status check_options(const fleck_contact_options *options, fleck_error *err)
{
    if (!(options->load_kg > 0) || isinf(options->load_kg))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "the load must be above 0; give the weight on the pad in kg, such as "
                          "--load 5");
    if (options->bands < 1 || options->bands > FLECK_CONTACT_BANDS)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "%zu is no number of bands; give 1 to %d with --bands", options->bands,
                          FLECK_CONTACT_BANDS);
    return FLECK_OK;
}

/* The one patch that a name stands for. */
static fleck_status gather_one(const char *scan, fleck_inputs *inputs, fleck_error *err)
{
    const fleck_status status = fleck_inputs_gather(&scan, 1, inputs, err);

    if (status != FLECK_OK)
        return status;
    if (inputs->count == 0 && inputs->failure_count > 0)
        return fleck_fail(err, FLECK_BAD_INPUT, "%s", inputs->failures[0].message);
    if (inputs->count != 1)
        return fleck_fail(
            err, FLECK_BAD_CALL,
            "stands for %zu scans; give one scan, and a --region when it shows several "
            "traces",
            inputs->count);
    return FLECK_OK;
}

fleck_status fleck_contact_measure(const char *scan, const fleck_contact_options *options,
                                   fleck_contact *out, fleck_error *err)
{
    fleck_contact_options known = fleck_contact_options_default();
    fleck_measure_options measure = fleck_measure_options_default();
    struct counting counting = { .options = &known, .contact = out };
    fleck_measure_observer observer = fleck_measure_observer_default();
    fleck_measure_summary summary;
    fleck_inputs inputs = { 0 };
    fleck_status status;

    *out = (fleck_contact){ 0 };
    if ((status = fleck_versioned_take(options, &known, sizeof known, "contact options", err)) != FLECK_OK)
        return status;
    options = &known;
    out->across_y = options->across_y;
    if (options->measure != NULL)
        status = fleck_versioned_take(options->measure, &measure, sizeof measure, "measure options", err);
    measure.cutoff_mm = NO_DOTS_MM;
    observer.context = &counting;
    observer.failure = on_failure;
    observer.patch = on_patch;
    if (status != FLECK_OK || (status = check_options(options, err)) != FLECK_OK ||
        (status = fleck_measure_options_check(&measure, err)) != FLECK_OK ||
        (status = gather_one(scan, &inputs, err)) != FLECK_OK)
        goto done;
    counting.ink_px = fleck_alloc_zeroed(options->bands, sizeof *counting.ink_px);
    counting.all_px = fleck_alloc_zeroed(options->bands, sizeof *counting.all_px);
    out->bands = fleck_alloc_zeroed(options->bands, sizeof *out->bands);
    if (counting.ink_px == NULL || counting.all_px == NULL || out->bands == NULL) {
        status = no_memory(err);
        goto done;
    }
    out->band_count = options->bands;
    status = fleck_measure(&inputs, &measure, NULL, &observer, &summary, err);
    if (status == FLECK_OK && !counting.done)
        status = fleck_fail(err, FLECK_BAD_INPUT, "%s", counting.failure.message);
    if (status == FLECK_OK)
        status = fill_parts(&counting, err);
done:
    fleck_free(counting.ink_px);
    fleck_free(counting.all_px);
    fleck_inputs_clear(&inputs);
    if (status != FLECK_OK)
        fleck_contact_clear(out);
    return status;
}

void fleck_contact_clear(fleck_contact *contact)
{
    if (contact == NULL)
        return;
    fleck_free(contact->path);
    fleck_free(contact->channel);
    fleck_free(contact->threshold);
    fleck_free(contact->bands);
    fleck_warnings_clear(&contact->warnings);
    *contact = (fleck_contact){ 0 };
}
