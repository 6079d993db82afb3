/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "calibrate/calibration.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "calibrate/calibration_names.h"
#include "core/memory.h"
#include "io/sha256.h"

const char *const fleck_field_term_names[FLECK_FIELD_TERMS] = { "1",  "x",  "y",   "x2",  "xy",
                                                                "y2", "x3", "x2y", "xy2", "y3" };

const char *const fleck_clip_names[FLECK_CLIP_LIGHT + 1] = { "no", "dark", "light" };

const char *fleck_colour_name(unsigned channels, unsigned colour)
{
    return channels == 1 ? "grey" : fleck_channel_name((fleck_channel)(FLECK_CHANNEL_RED + colour));
}

void fleck_calibration_init(fleck_calibration *calibration)
{
    *calibration = (fleck_calibration){
        .length = { .ppi_x = NAN, .ppi_y = NAN, .ppi_x_se = NAN, .ppi_y_se = NAN },
    };
}

void fleck_calibration_clear(fleck_calibration *calibration)
{
    if (calibration == NULL)
        return;
    fleck_free(calibration->length.marks);
    fleck_free(calibration->tone.steps);
    fleck_free(calibration->blur.edges);
    for (size_t c = 0; c < FLECK_COLOURS; c++) {
        fleck_free(calibration->tone.curves[c].code);
        fleck_free(calibration->tone.curves[c].reflectance);
    }
    for (size_t i = 0; i < calibration->scan_count; i++) {
        fleck_free(calibration->scans[i].part);
        fleck_free(calibration->scans[i].path);
    }
    fleck_free(calibration->scans);
    fleck_calibration_init(calibration);
}

fleck_status fleck_calibration_no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to calibrate; free some memory");
}

bool fleck_ppi_agree(double a, double b)
{
    return fabs(a - b) <= 0.01 * b;
}

unsigned fleck_calibration_channels(const fleck_calibration *calibration)
{
    return calibration->channels == 1 ? 1 : FLECK_CHANNELS;
}

const char *fleck_calibration_channel_name(const fleck_calibration *calibration, unsigned channel)
{
    return calibration->channels == 1 ? "grey" : fleck_channel_name((fleck_channel)channel);
}

static const char *colours_name(unsigned channels)
{
    switch (channels) {
    case 1:
        return "grey";
    case 3:
        return "RGB";
    default:
        return "CMYK";
    }
}

enum { KIND_TEXT_BYTES = 96 };

/* "8-bit grey at 1200 ppi" */
static const char *describe(unsigned bits, unsigned channels, double ppi_x, double ppi_y,
                            char text[KIND_TEXT_BYTES])
{
    const int length = snprintf(text, KIND_TEXT_BYTES, "%u-bit %s", bits, colours_name(channels));
    char *const rest = text + length;
    const size_t room = KIND_TEXT_BYTES - (size_t)length;

    if (!(ppi_x > 0 && ppi_y > 0))
        snprintf(rest, room, " of no stated ppi");
    else if (fabs(ppi_x - ppi_y) < 0.005 * ppi_x)
        snprintf(rest, room, " at %.4g ppi", ppi_x);
    else
        snprintf(rest, room, " at %.4g x %.4g ppi", ppi_x, ppi_y);
    return text;
}

static bool has_claim(double ppi_x, double ppi_y)
{
    return ppi_x > 0 && ppi_y > 0;
}

static bool size_agrees(size_t a, size_t b)
{
    return fabs((double)a - (double)b) <= 0.01 * (double)b;
}

fleck_status fleck_calibration_check(const fleck_calibration *calibration,
                                     const fleck_scan_info *info, fleck_warnings *warnings,
                                     fleck_error *err)
{
    const unsigned bits = 8 * info->sample_bytes;
    const bool claimed = has_claim(calibration->claimed_ppi_x, calibration->claimed_ppi_y);
    const bool scan_claims = has_claim(info->ppi_x, info->ppi_y);
    const bool ppi_differ = claimed && scan_claims &&
                            !(fleck_ppi_agree(info->ppi_x, calibration->claimed_ppi_x) &&
                              fleck_ppi_agree(info->ppi_y, calibration->claimed_ppi_y));
    const fleck_calibration_evenness *const evenness = &calibration->evenness;

    if (calibration->bits == 0)
        return FLECK_OK;
    if (bits != calibration->bits || info->channels != calibration->channels || ppi_differ) {
        char made[KIND_TEXT_BYTES], is[KIND_TEXT_BYTES];

        return fleck_fail(
            err, FLECK_BAD_INPUT,
            "the calibration was made for %s, this scan is %s; scan as the calibration "
            "was scanned, or calibrate for this setting",
            describe(calibration->bits, calibration->channels, calibration->claimed_ppi_x,
                     calibration->claimed_ppi_y, made),
            describe(bits, info->channels, info->ppi_x, info->ppi_y, is));
    }
    if (evenness->width_px > 0 && !(size_agrees(info->width_px, evenness->width_px) &&
                                    size_agrees(info->height_px, evenness->height_px)))
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "the calibration's evenness is for scans of %zu x %zu px, this one has "
                          "%zu x %zu: where it lay on the glass is not known; scan the same area, "
                          "or calibrate without --evenness",
                          evenness->width_px, evenness->height_px, info->width_px, info->height_px);
    if (warnings != NULL && claimed != scan_claims)
        return fleck_warnings_add(
            warnings, err, "calibration-unproved",
            "%s does not say its resolution, so that it cannot be proved that "
            "both come from the same setting of the scanner; save scans with "
            "their resolution",
            claimed ? "the scan" : "the calibration's scan");
    return FLECK_OK;
}

static fleck_status note_scan(fleck_calibration *calibration, const char *path, const char *part,
                              fleck_error *err)
{
    fleck_calibration_scan scan = { 0 };
    fleck_calibration_scan *moved;
    fleck_status status;

    for (size_t i = 0; i < calibration->scan_count; i++) {
        if (strcmp(calibration->scans[i].part, part) == 0 &&
            strcmp(calibration->scans[i].path, path) == 0)
            return FLECK_OK;
    }
    status = fleck_sha256_file(path, scan.sha256, err);
    if (status != FLECK_OK)
        return status;
    moved = fleck_grow(calibration->scans, &calibration->scan_capacity, calibration->scan_count,
                       sizeof *moved);
    if (moved == NULL)
        return fleck_calibration_no_memory(err);
    calibration->scans = moved;
    scan.part = fleck_copy_text(part);
    scan.path = fleck_copy_text(path);
    if (scan.part == NULL || scan.path == NULL) {
        fleck_free(scan.part);
        fleck_free(scan.path);
        return fleck_calibration_no_memory(err);
    }
    calibration->scans[calibration->scan_count++] = scan;
    return FLECK_OK;
}

fleck_status fleck_calibration_bind(fleck_calibration *calibration, const fleck_scan_info *info,
                                    const char *path, const char *part, fleck_warnings *warnings,
                                    fleck_error *err)
{
    fleck_status status;

    if (info->channels != 1 && info->channels != 3)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "is CMYK, which no scanner gives; scan in grey or RGB");
    status = fleck_calibration_check(calibration, info, warnings, err);
    if (status == FLECK_OK)
        status = note_scan(calibration, path, part, err);
    if (status != FLECK_OK || calibration->bits != 0)
        return status;
    calibration->bits = 8 * info->sample_bytes;
    calibration->channels = info->channels;
    if (has_claim(info->ppi_x, info->ppi_y)) {
        calibration->claimed_ppi_x = info->ppi_x;
        calibration->claimed_ppi_y = info->ppi_y;
    }
    return FLECK_OK;
}

void fleck_field_terms(double x, double y, double terms[FLECK_FIELD_TERMS])
{
    const double all[FLECK_FIELD_TERMS] = { 1,     x,         y,         x * x,     x * y,
                                            y * y, x * x * x, x * x * y, x * y * y, y * y * y };

    memcpy(terms, all, sizeof all);
}

double fleck_field_at(const double coefficients[FLECK_FIELD_TERMS], double x, double y)
{
    double terms[FLECK_FIELD_TERMS];
    double sum = 0;

    fleck_field_terms(x, y, terms);
    for (size_t i = 0; i < FLECK_FIELD_TERMS; i++)
        sum += coefficients[i] * terms[i];
    return sum;
}

/* What is known of a channel; a grey scan has one, whatever is asked for. */
static size_t index_of(const fleck_calibration *calibration, fleck_channel channel)
{
    return calibration->channels == 1 ? 0 : (size_t)channel;
}

double fleck_calibration_field(const fleck_calibration *calibration, fleck_channel channel,
                               double x_px, double y_px)
{
    const fleck_calibration_evenness *const evenness = &calibration->evenness;

    if (evenness->width_px == 0)
        return 1;
    return fleck_field_at(evenness->coefficients[index_of(calibration, channel)],
                          (2 * x_px + 1) / (double)evenness->width_px - 1,
                          (2 * y_px + 1) / (double)evenness->height_px - 1);
}

double fleck_calibration_optical_coverage(const fleck_calibration *calibration,
                                          fleck_channel channel, double mean_reflectance)
{
    const fleck_calibration_area *const paper = &calibration->paper;
    const fleck_calibration_area *const ink = &calibration->ink;
    const size_t t = index_of(calibration, channel);
    const double noise = fmax(paper->sd[t], ink->sd[t]);

    if (!paper->present || !ink->present ||
        !(fabs(paper->reflectance[t] - ink->reflectance[t]) > noise) ||
        paper->quantised[t] == ink->quantised[t])
        return NAN;
    return fleck_tone_dot_area(paper->quantised[t], ink->quantised[t], mean_reflectance, 1);
}

double fleck_calibration_edge_width_mm(const fleck_calibration *calibration, fleck_channel channel)
{
    const fleck_calibration_blur *const blur = &calibration->blur;

    return blur->present ? blur->edge_width_mm[index_of(calibration, channel)] : NAN;
}
