/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Code values become linear light through a table with one value per code, exact in double; a
 * channel is a weighted sum of the linear samples, and is rounded once, at the end. Where a single
 * sample decides, a second table holds the rounded result. Profiles that are neither curve nor
 * matrix go through the profile's own tables instead.
 * Source: IEC 61966-2-1 (curve and weights of sRGB), PNG specification (sRGB and gAMA chunks).
 */
#include "fleck/tone.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>

#include "calibrate/icc.h"
#include "core/memory.h"

enum { COLOURS = 3 };

struct fleck_tone {
    fleck_tone_from from;
    unsigned channels; /* colour samples of a pixel */
    bool has_alpha;
    unsigned sample_bytes;
    size_t levels;                /* codes of a sample: 256 or 65536 */
    double *linear;               /* one curve after the other, `levels` values each */
    const double *curve[COLOURS]; /* of each sample; samples may share one */
    uint16_t *q_of_code;          /* of a curve all samples share unmixed, else NULL */
    double weight[FLECK_CHANNELS][COLOURS];
    fleck_icc *icc; /* a profile without curves, else NULL */
};

static const double srgb_weight[FLECK_CHANNELS][COLOURS] = {
    [FLECK_CHANNEL_LUMINANCE] = { 0.2126, 0.7152, 0.0722 },
    [FLECK_CHANNEL_RED] = { 1, 0, 0 },
    [FLECK_CHANNEL_GREEN] = { 0, 1, 0 },
    [FLECK_CHANNEL_BLUE] = { 0, 0, 1 },
};

const char *fleck_channel_name(fleck_channel channel)
{
    switch (channel) {
    case FLECK_CHANNEL_LUMINANCE:
        return "luminance";
    case FLECK_CHANNEL_RED:
        return "red";
    case FLECK_CHANNEL_GREEN:
        return "green";
    case FLECK_CHANNEL_BLUE:
        return "blue";
    case FLECK_CHANNEL_AUTO:
        break;
    }
    return "auto";
}

const char *fleck_tone_source_name(fleck_tone_from from)
{
    switch (from) {
    case FLECK_TONE_FROM_CALIBRATION:
        return "calibration";
    case FLECK_TONE_FROM_ICC:
        return "icc";
    case FLECK_TONE_FROM_SRGB_CHUNK:
        return "png-srgb";
    case FLECK_TONE_FROM_GAMMA_CHUNK:
        return "png-gama";
    case FLECK_TONE_ASSUMED_SRGB:
        break;
    }
    return "srgb-assumed";
}

double fleck_tone_srgb_decode(double code)
{
    return code <= 0.04045 ? code / 12.92 : pow((code + 0.055) / 1.055, 2.4);
}

double fleck_tone_srgb_encode(double linear)
{
    return linear <= 0.0031308 ? 12.92 * linear : 1.055 * pow(linear, 1.0 / 2.4) - 0.055;
}

double fleck_tone_lightness(double reflectance)
{
    return reflectance > 216.0 / 24389.0 ? 116.0 * cbrt(reflectance) - 16.0
                                         : 24389.0 / 27.0 * reflectance;
}

double fleck_tone_density(double reflectance)
{
    return reflectance > 0.0 ? 0.0 - log10(reflectance) : NAN; /* 0 - 0: white is 0, not -0 */
}

fleck_tone_from fleck_tone_get_source(const fleck_tone *tone)
{
    return tone->from;
}

unsigned fleck_tone_channels(const fleck_tone *tone)
{
    return tone->channels == 1 ? 1 : FLECK_CHANNELS;
}

static inline uint16_t quantise(double reflectance)
{
    /* in this order NAN, which a broken profile may give, becomes 0 */
    const double inside = reflectance > 0.0 ? (reflectance < 1.0 ? reflectance : 1.0) : 0.0;

    return (uint16_t)(65535.0 * inside + 0.5);
}

static inline unsigned code_at(const void *pixels, unsigned sample_bytes, size_t i)
{
    return sample_bytes == 1 ? ((const uint8_t *)pixels)[i] : ((const uint16_t *)pixels)[i];
}

static inline double on_white(double reflectance, double alpha)
{
    return alpha * reflectance + (1.0 - alpha);
}

static void look_up_row(const fleck_tone *tone, unsigned sample, const void *pixels, size_t count,
                        uint16_t *q)
{
    const uint16_t *const q_of_code = tone->q_of_code;
    const size_t step = tone->channels;

    if (tone->sample_bytes == 1) {
        for (size_t i = 0; i < count; i++)
            q[i] = q_of_code[code_at(pixels, 1, i * step + sample)];
    } else {
        for (size_t i = 0; i < count; i++)
            q[i] = q_of_code[code_at(pixels, 2, i * step + sample)];
    }
}

/* Called with constants, so that each kind of pixel gets a loop of its own. */
static inline void mix_row(const fleck_tone *tone, const double *weight, unsigned channels,
                           bool has_alpha, unsigned sample_bytes, const void *pixels, size_t count,
                           uint16_t *q)
{
    const double *const first = tone->curve[0];
    const double *const second = tone->curve[1];
    const double *const third = tone->curve[2];
    const double full = (double)(tone->levels - 1);
    const size_t step = channels + (has_alpha ? 1 : 0);

    for (size_t i = 0; i < count; i++) {
        double r = first[code_at(pixels, sample_bytes, i * step)];

        if (channels == 3)
            r = weight[0] * r + weight[1] * second[code_at(pixels, sample_bytes, i * step + 1)] +
                weight[2] * third[code_at(pixels, sample_bytes, i * step + 2)];
        if (has_alpha)
            r = on_white(r, (double)code_at(pixels, sample_bytes, i * step + channels) / full);
        q[i] = quantise(r);
    }
}

static void mix_any_row(const fleck_tone *tone, const double *weight, const void *pixels,
                        size_t count, uint16_t *q)
{
    if (tone->sample_bytes == 1) {
        if (tone->channels == 1)
            mix_row(tone, weight, 1, true, 1, pixels, count, q);
        else if (tone->has_alpha)
            mix_row(tone, weight, 3, true, 1, pixels, count, q);
        else
            mix_row(tone, weight, 3, false, 1, pixels, count, q);
    } else {
        if (tone->channels == 1)
            mix_row(tone, weight, 1, true, 2, pixels, count, q);
        else if (tone->has_alpha)
            mix_row(tone, weight, 3, true, 2, pixels, count, q);
        else
            mix_row(tone, weight, 3, false, 2, pixels, count, q);
    }
}

/* Through the profile's own tables, in pieces that fit the stack; q may lack channels (NULL). */
static void transform_row(const fleck_tone *tone, const void *pixels, size_t count,
                          uint16_t *const q[FLECK_CHANNELS])
{
    const size_t channels = tone->channels;
    const size_t step = channels + (tone->has_alpha ? 1 : 0);
    const double full = (double)(tone->levels - 1);
    float device[FLECK_ICC_CHUNK * 4];
    double rgb[FLECK_ICC_CHUNK * COLOURS];

    for (size_t start = 0; start < count; start += FLECK_ICC_CHUNK) {
        const size_t some = count - start < FLECK_ICC_CHUNK ? count - start : FLECK_ICC_CHUNK;

        for (size_t i = 0; i < some; i++) {
            for (size_t c = 0; c < channels; c++)
                device[i * channels + c] =
                    (float)(code_at(pixels, tone->sample_bytes, (start + i) * step + c) / full);
        }
        fleck_icc_to_linear(tone->icc, device, some, rgb);
        for (size_t t = 0; t < FLECK_CHANNELS; t++) {
            const double *const weight = tone->weight[t];

            for (size_t i = 0; q[t] != NULL && i < some; i++) {
                const double *const pixel = rgb + i * COLOURS;
                const size_t alpha = (start + i) * step + channels;
                double r = weight[0] * pixel[0] + weight[1] * pixel[1] + weight[2] * pixel[2];

                if (tone->has_alpha)
                    r = on_white(r, code_at(pixels, tone->sample_bytes, alpha) / full);
                q[t][start + i] = quantise(r);
            }
        }
    }
}

void fleck_tone_row(const fleck_tone *tone, fleck_channel channel, const void *pixels, size_t count,
                    uint16_t *q)
{
    assert((unsigned)channel < FLECK_CHANNELS);
    if (tone->icc != NULL) {
        uint16_t *only[FLECK_CHANNELS] = { NULL };

        only[channel] = q;
        transform_row(tone, pixels, count, only);
    } else if (tone->q_of_code != NULL && tone->channels == 1) {
        look_up_row(tone, 0, pixels, count, q);
    } else if (tone->q_of_code != NULL && channel != FLECK_CHANNEL_LUMINANCE) {
        look_up_row(tone, channel - FLECK_CHANNEL_RED, pixels, count, q);
    } else {
        mix_any_row(tone, tone->weight[channel], pixels, count, q);
    }
}

void fleck_tone_row_all(const fleck_tone *tone, const void *pixels, size_t count,
                        uint16_t *const q[FLECK_CHANNELS])
{
    if (tone->icc != NULL) {
        transform_row(tone, pixels, count, q);
        return;
    }
    for (unsigned t = 0; t < fleck_tone_channels(tone); t++)
        fleck_tone_row(tone, (fleck_channel)t, pixels, count, q[t]);
}

void fleck_tone_free(fleck_tone *tone)
{
    if (tone == NULL)
        return;
    free(tone->linear);
    free(tone->q_of_code);
    fleck_icc_free(tone->icc);
    free(tone);
}

static fleck_status fail_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the tone curve; free some memory");
}

static fleck_status alloc_curves(fleck_tone *tone, unsigned curves, fleck_error *err)
{
    tone->linear = fleck_alloc_array(curves * tone->levels, sizeof *tone->linear);
    if (tone->linear == NULL)
        return fail_memory(err);
    for (unsigned c = 0; c < COLOURS; c++)
        tone->curve[c] = tone->linear + (c < curves ? c : 0) * tone->levels;
    return FLECK_OK;
}

/* One curve for all samples and nothing mixed in: its rounded values, ready to look up. */
static fleck_status finish_single_curve(fleck_tone *tone, fleck_error *err)
{
    if (tone->has_alpha)
        return FLECK_OK;
    tone->q_of_code = fleck_alloc_array(tone->levels, sizeof *tone->q_of_code);
    if (tone->q_of_code == NULL)
        return fail_memory(err);
    for (size_t i = 0; i < tone->levels; i++)
        tone->q_of_code[i] = quantise(tone->linear[i]);
    return FLECK_OK;
}

static fleck_status use_formula(fleck_tone *tone, double gamma, fleck_error *err)
{
    fleck_status status = alloc_curves(tone, 1, err);

    if (status != FLECK_OK)
        return status;
    for (size_t i = 0; i < tone->levels; i++) {
        const double code = (double)i / (double)(tone->levels - 1);

        tone->linear[i] = tone->from == FLECK_TONE_FROM_GAMMA_CHUNK ? pow(code, 1.0 / gamma)
                                                                    : fleck_tone_srgb_decode(code);
    }
    return finish_single_curve(tone, err);
}

static fleck_status use_curves(fleck_tone *tone, const fleck_icc *icc, fleck_error *err)
{
    double matrix[COLOURS][COLOURS];
    fleck_status status = alloc_curves(tone, tone->channels, err);

    for (unsigned c = 0; status == FLECK_OK && c < tone->channels; c++)
        status = fleck_icc_read_curve(icc, c, tone->levels, tone->linear + c * tone->levels, err);
    if (status != FLECK_OK)
        return status;
    if (tone->channels == 1)
        return finish_single_curve(tone, err);
    if ((status = fleck_icc_read_matrix(icc, matrix, err)) != FLECK_OK)
        return status;
    for (size_t t = 0; t < FLECK_CHANNELS; t++) {
        for (size_t c = 0; c < COLOURS; c++)
            tone->weight[t][c] = srgb_weight[t][0] * matrix[0][c] +
                                 srgb_weight[t][1] * matrix[1][c] +
                                 srgb_weight[t][2] * matrix[2][c];
    }
    return FLECK_OK;
}

static fleck_status use_profile(fleck_tone *tone, const void *bytes, size_t size, fleck_error *err)
{
    fleck_icc *icc = NULL;
    fleck_status status = fleck_icc_open(bytes, size, tone->channels, &icc, err);

    if (status == FLECK_OK && fleck_icc_has_curves(icc)) {
        status = use_curves(tone, icc, err);
    } else if (status == FLECK_OK) {
        tone->icc = icc; /* the tone owns it from here */
        icc = NULL;
    }
    fleck_icc_free(icc);
    return status;
}

/* Common practice, no source: no device has a curve beyond this, whatever the chunk holds. */
static bool gamma_makes_sense(double gamma)
{
    return gamma >= 0.1 && gamma <= 10.0;
}

static fleck_tone_from choose_source(const fleck_scan_info *info)
{
    if (info->icc != NULL)
        return FLECK_TONE_FROM_ICC;
    if (info->srgb)
        return FLECK_TONE_FROM_SRGB_CHUNK;
    return gamma_makes_sense(info->gamma) ? FLECK_TONE_FROM_GAMMA_CHUNK : FLECK_TONE_ASSUMED_SRGB;
}

static fleck_status add_warnings(const fleck_tone *tone, const fleck_scan_info *info,
                                 fleck_warnings *warnings, fleck_error *err)
{
    fleck_status status = FLECK_OK;

    if (tone->from == FLECK_TONE_ASSUMED_SRGB)
        status = fleck_warnings_add(warnings, err, "tone-assumed",
                                    "%s, so the sRGB curve (IEC 61966-2-1) was assumed; embed the "
                                    "scanner's profile in the scan, or calibrate the scanner",
                                    info->gamma == 0.0
                                        ? "the scan does not say what its code values mean"
                                        : "the scan's gAMA value is outside 0.1 to 10");
    if (status == FLECK_OK && tone->has_alpha)
        status = fleck_warnings_add(warnings, err, "alpha-composited",
                                    "the scan has an alpha channel and was composited on white; "
                                    "save it without one if nothing in it is transparent");
    return status;
}

fleck_status fleck_tone_new(const fleck_scan_info *info, fleck_tone **out, fleck_warnings *warnings,
                            fleck_error *err)
{
    fleck_tone *tone = NULL;
    fleck_status status;

    *out = NULL;
    if ((info->channels != 1 && info->channels != 3 && info->channels != 4) ||
        (info->sample_bytes != 1 && info->sample_bytes != 2))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "pixels of %u samples of %u bytes are of no known kind; give 1, 3 or 4 "
                          "samples of 1 or 2 bytes",
                          info->channels, info->sample_bytes);
    if (info->channels == 4 && info->icc == NULL)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "CMYK pixels without a colour profile do not say how light they are; "
                          "embed the profile, or save the scan as RGB or grey");
    tone = fleck_alloc_zeroed(1, sizeof *tone);
    if (tone == NULL)
        return fail_memory(err);
    tone->from = choose_source(info);
    tone->channels = info->channels;
    tone->has_alpha = info->has_alpha;
    tone->sample_bytes = info->sample_bytes;
    tone->levels = info->sample_bytes == 1 ? 256 : 65536;
    for (size_t t = 0; t < FLECK_CHANNELS; t++) {
        for (size_t c = 0; c < COLOURS; c++)
            tone->weight[t][c] = srgb_weight[t][c];
    }
    status = tone->from == FLECK_TONE_FROM_ICC ? use_profile(tone, info->icc, info->icc_bytes, err)
                                               : use_formula(tone, info->gamma, err);
    if (status == FLECK_OK)
        status = add_warnings(tone, info, warnings, err);
    if (status == FLECK_OK) {
        *out = tone; /* the caller owns it from here */
        tone = NULL;
    }
    fleck_tone_free(tone);
    return status;
}
