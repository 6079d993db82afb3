/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Code values become linear light through a table with one value per code, exact in double; a
 * channel is a weighted sum of the linear samples, and is rounded once, at the end. Where a single
 * sample decides, a second table holds the rounded result. Profiles that are neither curve nor
 * matrix go through the profile's own tables instead. A calibration's paper is a factor on the
 * channel; its evenness depends on the place, so that pixels then go the long way, one by one.
 * Source: IEC 61966-2-1 (curve and weights of sRGB), PNG specification (sRGB and gAMA chunks).
 */
#include "fleck/tone.h"

#include <assert.h>
#include <math.h>

#include "calibrate/calibration.h"
#include "calibrate/icc.h"
#include "calibrate/tone_reflect.h"
#include "core/memory.h"

enum { COLOURS = FLECK_COLOURS };

struct fleck_tone {
    fleck_tone_from from;
    unsigned channels; /* colour samples of a pixel */
    bool has_alpha;
    unsigned sample_bytes;
    size_t levels;                      /* codes of a sample: 256 or 65536 */
    double *linear;                     /* one curve after the other, `levels` values each */
    const double *curve[COLOURS];       /* of each sample; samples may share one */
    uint16_t *q_tables;                 /* what q_of_code points into */
    const uint16_t *q_of_code[COLOURS]; /* of each sample, where one alone decides, else NULL */
    double weight[FLECK_CHANNELS][COLOURS];
    double gain[FLECK_CHANNELS]; /* 1 / paper, or 1 */
    fleck_icc *icc;              /* a profile without curves, else NULL */
    bool grey_as_rgb;            /* the profile of a grey scan is for RGB */
    bool has_field;
    double field[FLECK_CHANNELS][FLECK_FIELD_TERMS];
    double width_px, height_px; /* of the scan, for the field */
    bool has_limits;
    unsigned low_code[COLOURS], high_code[COLOURS]; /* between them the curve was measured */
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

double fleck_tone_dot_area(double paper, double ink, double mean, double n)
{
    const double white = pow(paper, 1 / n);

    return (white - pow(mean, 1 / n)) / (white - pow(ink, 1 / n));
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
    const uint16_t *const q_of_code = tone->q_of_code[sample];
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
static inline void mix_row(const fleck_tone *tone, fleck_channel channel, unsigned channels,
                           bool has_alpha, unsigned sample_bytes, const void *pixels, size_t count,
                           uint16_t *q)
{
    const double *const weight = tone->weight[channel];
    const double gain = tone->gain[channel];
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
        r *= gain;
        if (has_alpha)
            r = on_white(r, (double)code_at(pixels, sample_bytes, i * step + channels) / full);
        q[i] = quantise(r);
    }
}

static void mix_any_row(const fleck_tone *tone, fleck_channel channel, const void *pixels,
                        size_t count, uint16_t *q)
{
    if (tone->sample_bytes == 1) {
        if (tone->channels == 1)
            mix_row(tone, channel, 1, true, 1, pixels, count, q);
        else if (tone->has_alpha)
            mix_row(tone, channel, 3, true, 1, pixels, count, q);
        else
            mix_row(tone, channel, 3, false, 1, pixels, count, q);
    } else {
        if (tone->channels == 1)
            mix_row(tone, channel, 1, true, 2, pixels, count, q);
        else if (tone->has_alpha)
            mix_row(tone, channel, 3, true, 2, pixels, count, q);
        else
            mix_row(tone, channel, 3, false, 2, pixels, count, q);
    }
}

/* Linear light of the colour samples of at most FLECK_ICC_CHUNK pixels, three values each. */
static void linear_chunk(const fleck_tone *tone, const void *pixels, size_t start, size_t count,
                         double *rgb)
{
    const size_t channels = tone->channels;
    const size_t step = channels + (tone->has_alpha ? 1 : 0);

    if (tone->icc != NULL) {
        const double full = (double)(tone->levels - 1);
        float device[FLECK_ICC_CHUNK * 4];

        for (size_t i = 0; i < count; i++) {
            for (size_t c = 0; c < channels; c++)
                device[i * channels + c] =
                    (float)(code_at(pixels, tone->sample_bytes, (start + i) * step + c) / full);
        }
        fleck_icc_to_linear(tone->icc, device, count, rgb);
        return;
    }
    for (size_t i = 0; i < count; i++) {
        for (size_t c = 0; c < COLOURS; c++)
            rgb[i * COLOURS + c] =
                c < channels
                    ? tone->curve[c][code_at(pixels, tone->sample_bytes, (start + i) * step + c)]
                    : 0;
    }
}

/* The field along one row: a cubic in x from -1 to 1. */
static void field_of_row(const fleck_tone *tone, fleck_channel channel, size_t y_px,
                         double cubic[4])
{
    const double *const c = tone->field[channel];
    const double y = (2 * (double)y_px + 1) / tone->height_px - 1;

    cubic[0] = c[0] + (c[2] + (c[5] + c[9] * y) * y) * y;
    cubic[1] = c[1] + (c[4] + c[8] * y) * y;
    cubic[2] = c[3] + c[7] * y;
    cubic[3] = c[6];
}

/* One channel of a chunk of linear light, not cut to 0 to 1. */
static void reflect_chunk(const fleck_tone *tone, fleck_channel channel, const void *pixels,
                          size_t start, size_t count, const double *rgb, size_t x_px, size_t y_px,
                          double *reflectance)
{
    const double *const weight = tone->weight[channel];
    const size_t step = tone->channels + (tone->has_alpha ? 1u : 0u);
    const double full = (double)(tone->levels - 1);
    double cubic[4] = { 1, 0, 0, 0 };

    if (tone->has_field)
        field_of_row(tone, channel, y_px, cubic);
    for (size_t i = 0; i < count; i++) {
        const double *const pixel = rgb + i * COLOURS;
        double r = weight[0] * pixel[0] + weight[1] * pixel[1] + weight[2] * pixel[2];

        r *= tone->gain[channel];
        if (tone->has_field) {
            const double x = (2 * (double)(x_px + start + i) + 1) / tone->width_px - 1;

            r /= cubic[0] + (cubic[1] + (cubic[2] + cubic[3] * x) * x) * x;
        }
        if (tone->has_alpha)
            r = on_white(
                r, code_at(pixels, tone->sample_bytes, (start + i) * step + tone->channels) / full);
        reflectance[i] = r;
    }
}

/* The long way, in pieces that fit the stack; q may lack channels (NULL). */
static void transform_row(const fleck_tone *tone, const void *pixels, size_t count, size_t x_px,
                          size_t y_px, uint16_t *const q[FLECK_CHANNELS])
{
    double rgb[FLECK_ICC_CHUNK * COLOURS];
    double reflectance[FLECK_ICC_CHUNK];

    for (size_t start = 0; start < count; start += FLECK_ICC_CHUNK) {
        const size_t some = count - start < FLECK_ICC_CHUNK ? count - start : FLECK_ICC_CHUNK;

        linear_chunk(tone, pixels, start, some, rgb);
        for (unsigned t = 0; t < FLECK_CHANNELS; t++) {
            if (q[t] == NULL)
                continue;
            reflect_chunk(tone, (fleck_channel)t, pixels, start, some, rgb, x_px, y_px,
                          reflectance);
            for (size_t i = 0; i < some; i++)
                q[t][start + i] = quantise(reflectance[i]);
        }
    }
}

void fleck_tone_reflect_row(const fleck_tone *tone, fleck_channel channel, const void *pixels,
                            size_t count, size_t x_px, size_t y_px, double *reflectance)
{
    double rgb[FLECK_ICC_CHUNK * COLOURS];

    for (size_t start = 0; start < count; start += FLECK_ICC_CHUNK) {
        const size_t some = count - start < FLECK_ICC_CHUNK ? count - start : FLECK_ICC_CHUNK;

        linear_chunk(tone, pixels, start, some, rgb);
        reflect_chunk(tone, channel, pixels, start, some, rgb, x_px, y_px, reflectance + start);
    }
}

/* Whether one sample of a pixel decides the channel; with no icc and no field there is a table then. */
static bool has_table(const fleck_tone *tone, fleck_channel channel)
{
    return tone->icc == NULL && !tone->has_field && tone->q_tables != NULL &&
           (tone->channels == 1 || channel != FLECK_CHANNEL_LUMINANCE);
}

/* That sample. */
static unsigned deciding_sample(const fleck_tone *tone, fleck_channel channel)
{
    return tone->channels == 1 ? 0
                               : (unsigned)channel - (channel > FLECK_CHANNEL_LUMINANCE ? 1u : 0u);
}

const uint16_t *fleck_tone_byte_table(const fleck_tone *tone, fleck_channel channel, size_t *step,
                                      unsigned *sample)
{
    if (tone->sample_bytes != 1 || !has_table(tone, channel))
        return NULL;
    *step = tone->channels; /* with alpha there is no table */
    *sample = deciding_sample(tone, channel);
    return tone->q_of_code[*sample];
}

void fleck_tone_row_at(const fleck_tone *tone, fleck_channel channel, const void *pixels,
                       size_t count, size_t x_px, size_t y_px, uint16_t *q)
{
    assert((unsigned)channel < FLECK_CHANNELS);
    if (tone->icc != NULL || tone->has_field) {
        uint16_t *only[FLECK_CHANNELS] = { NULL };

        only[channel] = q;
        transform_row(tone, pixels, count, x_px, y_px, only);
    } else if (has_table(tone, channel)) {
        look_up_row(tone, deciding_sample(tone, channel), pixels, count, q);
    } else {
        mix_any_row(tone, channel, pixels, count, q);
    }
}

void fleck_tone_row(const fleck_tone *tone, fleck_channel channel, const void *pixels, size_t count,
                    uint16_t *q)
{
    assert(!tone->has_field);
    fleck_tone_row_at(tone, channel, pixels, count, 0, 0, q);
}

size_t fleck_tone_count_outside(const fleck_tone *tone, const void *pixels, size_t count)
{
    const size_t step = tone->channels + (tone->has_alpha ? 1u : 0u);
    size_t outside = 0;

    for (size_t i = 0; tone->has_limits && i < count; i++) {
        bool inside = true;

        for (size_t c = 0; c < tone->channels; c++) {
            const unsigned code = code_at(pixels, tone->sample_bytes, i * step + c);

            inside = inside && code >= tone->low_code[c] && code <= tone->high_code[c];
        }
        outside += !inside;
    }
    return outside;
}

void fleck_tone_row_all(const fleck_tone *tone, const void *pixels, size_t count,
                        uint16_t *const q[FLECK_CHANNELS])
{
    assert(!tone->has_field);
    if (tone->icc != NULL) {
        transform_row(tone, pixels, count, 0, 0, q);
        return;
    }
    for (unsigned t = 0; t < fleck_tone_channels(tone); t++)
        fleck_tone_row(tone, (fleck_channel)t, pixels, count, q[t]);
}

void fleck_tone_free(fleck_tone *tone)
{
    if (tone == NULL)
        return;
    fleck_free(tone->linear);
    fleck_free(tone->q_tables);
    fleck_icc_free(tone->icc);
    fleck_free(tone);
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

/* The gain of the channel that a sample alone decides. */
static double sample_gain(const fleck_tone *tone, unsigned sample)
{
    return tone->gain[tone->channels == 1 ? 0 : FLECK_CHANNEL_RED + sample];
}

/* Rounded values, ready to look up, where nothing is mixed in. Samples that are alike share theirs.
 */
static fleck_status tabulate(fleck_tone *tone, fleck_error *err)
{
    unsigned tables = 1;

    if (tone->has_alpha || tone->has_field)
        return FLECK_OK;
    for (unsigned c = 1; c < tone->channels; c++) {
        if (tone->curve[c] != tone->curve[0] || sample_gain(tone, c) != sample_gain(tone, 0))
            tables = tone->channels;
    }
    tone->q_tables = fleck_alloc_array(tables * tone->levels, sizeof *tone->q_tables);
    if (tone->q_tables == NULL)
        return fail_memory(err);
    for (unsigned c = 0; c < COLOURS; c++) {
        const unsigned table = c < tables ? c : 0;
        uint16_t *const q_of_code = tone->q_tables + table * tone->levels;

        for (size_t i = 0; c < tables && i < tone->levels; i++)
            q_of_code[i] = quantise(tone->curve[c][i] * sample_gain(tone, c));
        tone->q_of_code[c] = q_of_code;
    }
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
    return tabulate(tone, err);
}

static fleck_status use_calibration(fleck_tone *tone, const fleck_calibration *calibration,
                                    fleck_error *err)
{
    const double full = (double)(tone->levels - 1);
    fleck_status status = alloc_curves(tone, tone->channels, err);

    if (status != FLECK_OK)
        return status;
    tone->has_limits = true;
    for (unsigned c = 0; c < tone->channels; c++) {
        const fleck_tone_curve *const curve = &calibration->tone.curves[c];
        double *const linear = tone->linear + c * tone->levels;

        for (size_t i = 0; i < tone->levels; i++)
            linear[i] = fleck_tone_curve_at(curve, (double)i / full);
        tone->low_code[c] = (unsigned)ceil(curve->low_code * full - 1e-6);
        tone->high_code[c] = (unsigned)floor(curve->high_code * full + 1e-6);
    }
    return tabulate(tone, err);
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
        return tabulate(tone, err);
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

    tone->grey_as_rgb = status == FLECK_OK && tone->channels == 1 && fleck_icc_is_for_rgb(icc);
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

static fleck_tone_from choose_source(const fleck_scan_info *info,
                                     const fleck_calibration *calibration)
{
    if (calibration != NULL && calibration->tone.step_count > 0)
        return FLECK_TONE_FROM_CALIBRATION;
    if (info->icc != NULL)
        return FLECK_TONE_FROM_ICC;
    if (info->srgb)
        return FLECK_TONE_FROM_SRGB_CHUNK;
    return gamma_makes_sense(info->gamma) ? FLECK_TONE_FROM_GAMMA_CHUNK : FLECK_TONE_ASSUMED_SRGB;
}

/* Paper and evenness that rest on the scans' own curve hold for that curve only. */
static fleck_status check_source(const fleck_tone *tone, const fleck_calibration *calibration,
                                 fleck_error *err)
{
    if (calibration == NULL || !calibration->has_tone_from ||
        tone->from == FLECK_TONE_FROM_CALIBRATION || tone->from == calibration->tone_from)
        return FLECK_OK;
    return fleck_fail(
        err, FLECK_BAD_INPUT,
        "the calibration has no curve of its own and was made with the curve %s, this "
        "scan brings the curve %s; save it as the calibration's scans were saved, or "
        "calibrate with --steps",
        fleck_tone_source_name(calibration->tone_from), fleck_tone_source_name(tone->from));
}

/* What a calibration says beyond the curve. */
static void use_paper_and_field(fleck_tone *tone, const fleck_scan_info *info,
                                const fleck_calibration *calibration)
{
    for (unsigned t = 0; t < FLECK_CHANNELS; t++)
        tone->gain[t] = 1;
    if (calibration == NULL)
        return;
    for (unsigned t = 0; t < fleck_tone_channels(tone); t++) {
        if (calibration->paper.present && calibration->relative_to_paper)
            tone->gain[t] = 1 / calibration->paper.reflectance[t];
        for (size_t i = 0; i < FLECK_FIELD_TERMS; i++)
            tone->field[t][i] = calibration->evenness.coefficients[t][i];
    }
    tone->has_field = calibration->evenness.width_px > 0;
    tone->width_px = (double)info->width_px;
    tone->height_px = (double)info->height_px;
    for (unsigned t = 1; tone->channels == 1 && t < FLECK_CHANNELS; t++) {
        /* grey is read whatever channel is asked for */
        tone->gain[t] = tone->gain[0];
        for (size_t i = 0; i < FLECK_FIELD_TERMS; i++)
            tone->field[t][i] = tone->field[0][i];
    }
}

static fleck_status add_warnings(const fleck_tone *tone, const fleck_scan_info *info,
                                 const fleck_calibration *calibration, fleck_warnings *warnings,
                                 fleck_error *err)
{
    fleck_status status =
        calibration != NULL ? fleck_calibration_check(calibration, info, warnings, err) : FLECK_OK;

    if (status == FLECK_OK && tone->from == FLECK_TONE_ASSUMED_SRGB)
        status = fleck_warnings_add(warnings, err, "tone-assumed",
                                    "%s, so the sRGB curve (IEC 61966-2-1) was assumed; embed the "
                                    "scanner's profile in the scan, or calibrate the scanner",
                                    info->gamma == 0.0
                                        ? "the scan does not say what its code values mean"
                                        : "the scan's gAMA value is outside 0.1 to 10");
    if (status == FLECK_OK && tone->grey_as_rgb)
        status = fleck_warnings_add(warnings, err, "grey-as-rgb",
                                    "the scan is grey and its profile is for RGB: its code values were "
                                    "read as R = G = B; save it with a grey profile, or calibrate the "
                                    "scanner");
    if (status == FLECK_OK && tone->has_alpha)
        status = fleck_warnings_add(warnings, err, "alpha-composited",
                                    "the scan has an alpha channel and was composited on white; "
                                    "save it without one if nothing in it is transparent");
    return status;
}

fleck_status fleck_tone_new(const fleck_scan_info *info, const fleck_calibration *calibration,
                            fleck_tone **out, fleck_warnings *warnings, fleck_error *err)
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
    if (calibration != NULL &&
        (status = fleck_calibration_check(calibration, info, NULL, err)) != FLECK_OK)
        return status;
    tone = fleck_alloc_zeroed(1, sizeof *tone);
    if (tone == NULL)
        return fail_memory(err);
    tone->from = choose_source(info, calibration);
    tone->channels = info->channels;
    tone->has_alpha = info->has_alpha;
    tone->sample_bytes = info->sample_bytes;
    tone->levels = info->sample_bytes == 1 ? 256 : 65536;
    for (size_t t = 0; t < FLECK_CHANNELS; t++) {
        for (size_t c = 0; c < COLOURS; c++)
            tone->weight[t][c] = info->channels == 1 ? (c == 0) : srgb_weight[t][c];
    }
    use_paper_and_field(tone, info, calibration);
    status = check_source(tone, calibration, err);
    if (status != FLECK_OK)
        goto done;
    if (tone->from == FLECK_TONE_FROM_CALIBRATION)
        status = use_calibration(tone, calibration, err);
    else if (tone->from == FLECK_TONE_FROM_ICC)
        status = use_profile(tone, info->icc, info->icc_bytes, err);
    else
        status = use_formula(tone, info->gamma, err);
    if (status == FLECK_OK)
        status = add_warnings(tone, info, calibration, warnings, err);
    if (status == FLECK_OK) {
        *out = tone; /* the caller owns it from here */
        tone = NULL;
    }
done:
    fleck_tone_free(tone);
    return status;
}
