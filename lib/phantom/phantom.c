/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Drawing goes row by row: shares of ink, from a margin above the picture to a margin below it,
 * then blur, then tone and noise. Only the finished picture is held whole.
 */
#include "fleck/phantom.h"

#include <math.h>

#include "core/memory.h"
#include "core/versioned.h"
#include "fleck/tone.h"
#include "io/picture.h"
#include "phantom/closed_forms.h"
#include "phantom/dice.h"
#include "phantom/disc_rows.h"
#include "phantom/field_rows.h"
#include "phantom/phantom_internal.h"
#include "phantom/soften.h"

/* Where rows of ink come from; discs and field are both NULL for a plain picture. */
struct source {
    fleck_disc_px *discs_px;
    fleck_disc_rows *discs;
    fleck_field_rows *field;
    double plain;
    size_t width_px; /* with the margin on both sides */
};

static void end_source(struct source *source)
{
    fleck_disc_rows_free(source->discs);
    fleck_field_rows_free(source->field);
    fleck_free(source->discs_px);
}

static fleck_status begin_discs(fleck_phantom *phantom, size_t margin_px, struct source *source,
                                fleck_error *err)
{
    const double pixel_mm = phantom->frame.pixel_mm;
    const fleck_status status = fleck_place(&phantom->options, &phantom->frame,
                                            (double)margin_px * pixel_mm, &phantom->dots, err);

    if (status != FLECK_OK)
        return status;
    source->discs_px = fleck_alloc_array(phantom->dots.count, sizeof *source->discs_px);
    if (source->discs_px == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for %zu dots; give a smaller picture",
                          phantom->dots.count);
    for (size_t i = 0; i < phantom->dots.count; i++) {
        const fleck_dot *dot = &phantom->dots.items[i];

        source->discs_px[i] = (fleck_disc_px){ dot->x_mm / pixel_mm + (double)margin_px,
                                               dot->y_mm / pixel_mm + (double)margin_px,
                                               dot->diameter_mm / 2 / pixel_mm };
    }
    return fleck_disc_rows_new(source->discs_px, phantom->dots.count, source->width_px,
                               phantom->options.antialias, &source->discs, err);
}

static fleck_status begin_source(fleck_phantom *phantom, size_t margin_px, struct source *source,
                                 fleck_error *err)
{
    const fleck_phantom_options *options = &phantom->options;

    source->width_px = phantom->frame.width_px + 2 * margin_px;
    source->plain = options->coverage;
    if (fleck_phantom_has_discs(options->kind))
        return begin_discs(phantom, margin_px, source, err);
    if (options->kind == FLECK_PHANTOM_FIELD) {
        const fleck_field_frame field = {
            .seed = options->seed,
            .correlation_mm = options->correlation_mm,
            .level = fleck_field_level(options),
            .pixel_mm = phantom->frame.pixel_mm,
            .left_px = -(double)margin_px,
            .top_px = -(double)margin_px,
            .width_px = source->width_px,
            .antialias = options->antialias,
        };

        return fleck_field_rows_new(&field, &source->field, err);
    }
    return FLECK_OK;
}

static fleck_status next_ink(struct source *source, double *ink, fleck_error *err)
{
    if (source->discs != NULL)
        return fleck_disc_rows_next(source->discs, ink, err);
    if (source->field != NULL) {
        fleck_field_rows_next(source->field, ink);
        return FLECK_OK;
    }
    for (size_t x = 0; x < source->width_px; x++)
        ink[x] = source->plain;
    return FLECK_OK;
}

/* The texture of the bare paper, blurred beside the ink; all NULL when there is none. */
struct texture {
    fleck_field_rows *field;
    fleck_soften *soften;
    double *row; /* as wide as the source */
};

static void end_texture(struct texture *texture)
{
    fleck_field_rows_free(texture->field);
    fleck_soften_free(texture->soften);
    fleck_free(texture->row);
}

static fleck_status begin_texture(const fleck_phantom *phantom, double sd_px, size_t margin_px,
                                  struct texture *texture, fleck_error *err)
{
    const fleck_phantom_options *options = &phantom->options;
    const fleck_field_frame frame = {
        .seed = options->seed,
        .correlation_mm = options->fibre_length_mm,
        .pixel_mm = phantom->frame.pixel_mm,
        .left_px = -(double)margin_px,
        .top_px = -(double)margin_px,
        .width_px = phantom->frame.width_px + 2 * margin_px,
        .fibre = true,
    };
    fleck_status status;

    if (options->fibre == 0)
        return FLECK_OK;
    if ((status = fleck_field_rows_new(&frame, &texture->field, err)) != FLECK_OK ||
        (status = fleck_soften_new(sd_px, phantom->frame.width_px, &texture->soften, err)) !=
            FLECK_OK)
        return status;
    texture->row = fleck_alloc_array(frame.width_px, sizeof *texture->row);
    if (texture->row == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to draw; give a smaller picture");
    return FLECK_OK;
}

static void put_texture(struct texture *texture, const double *ink, size_t width_px)
{
    if (texture->field == NULL)
        return;
    fleck_field_rows_values(texture->field, texture->row);
    for (size_t x = 0; x < width_px; x++)
        texture->row[x] *= 1 - ink[x];
    fleck_soften_put(texture->soften, texture->row);
}

static void finish_row(fleck_phantom *phantom, size_t y, const double *ink, const double *texture)
{
    const fleck_phantom_options *options = &phantom->options;
    const size_t width_px = phantom->frame.width_px;
    float *row = phantom->reflectance + y * width_px;
    fleck_dice dice = fleck_dice_at(options->seed, FLECK_DICE_NOISE, 0, (int64_t)y);
    double pair[2] = { 0, 0 };

    for (size_t x = 0; x < width_px; x++) {
        if (options->noise > 0 && x % 2 == 0)
            fleck_dice_normal_pair(&dice, pair);
        row[x] = (float)(options->paper_reflectance +
                         (options->ink_reflectance - options->paper_reflectance) * ink[x] +
                         options->noise * pair[x % 2] +
                         (texture != NULL ? options->fibre * texture[x] : 0));
    }
}

static fleck_status draw(fleck_phantom *phantom, fleck_error *err)
{
    const size_t width_px = phantom->frame.width_px, height_px = phantom->frame.height_px;
    const double sd_px = phantom->options.softness_mm / phantom->frame.pixel_mm;
    const size_t margin_px = fleck_soften_margin_px(sd_px);
    struct source source = { 0 };
    struct texture texture = { 0 };
    fleck_soften *soften = NULL;
    double *ink = NULL, *soft = NULL;
    double total = 0;
    fleck_status status;

    if ((status = begin_source(phantom, margin_px, &source, err)) != FLECK_OK)
        goto done;
    if ((status = begin_texture(phantom, sd_px, margin_px, &texture, err)) != FLECK_OK)
        goto done;
    if ((status = fleck_soften_new(sd_px, width_px, &soften, err)) != FLECK_OK)
        goto done;
    ink = fleck_alloc_array(source.width_px, sizeof *ink);
    soft = fleck_alloc_array(width_px, sizeof *soft);
    if (ink == NULL || soft == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory to draw; give a smaller picture");
        goto done;
    }
    for (size_t row = 0; row < height_px + 2 * margin_px; row++) {
        if ((status = next_ink(&source, ink, err)) != FLECK_OK)
            goto done;
        if (row >= margin_px && row < margin_px + height_px) {
            double sum = 0;

            for (size_t x = 0; x < width_px; x++)
                sum += ink[margin_px + x];
            total += sum;
        }
        fleck_soften_put(soften, ink);
        put_texture(&texture, ink, source.width_px);
        if (row >= 2 * margin_px) {
            fleck_soften_get(soften, soft);
            /* the ink's row is used up: it takes the texture's */
            if (texture.field != NULL)
                fleck_soften_get(texture.soften, ink);
            finish_row(phantom, row - 2 * margin_px, soft, texture.field != NULL ? ink : NULL);
        }
    }
    phantom->exact_coverage = total / ((double)width_px * (double)height_px);
done:
    end_source(&source);
    end_texture(&texture);
    fleck_soften_free(soften);
    fleck_free(ink);
    fleck_free(soft);
    return status;
}

/* Discs that lie in the margin alone were needed for the blur; they are no part of the picture. */
static void forget_outside(fleck_phantom *phantom)
{
    size_t kept = 0;

    for (size_t i = 0; i < phantom->dots.count; i++) {
        const fleck_dot *dot = &phantom->dots.items[i];

        if (fleck_dot_reaches(dot, &phantom->frame))
            phantom->dots.items[kept++] = *dot;
    }
    phantom->dots.count = kept;
}

fleck_status fleck_phantom_new(const fleck_phantom_options *options, fleck_phantom **out,
                               fleck_error *err)
{
    fleck_phantom_options known = fleck_phantom_options_default();
    fleck_phantom *phantom = NULL;
    fleck_phantom_frame frame;
    fleck_status status;

    *out = NULL;
    if ((status = fleck_versioned_take(options, &known, sizeof known, "phantom options", err)) != FLECK_OK)
        return status;
    options = &known;
    if ((status = fleck_phantom_check(options, &frame, err)) != FLECK_OK)
        return status;
    phantom = fleck_alloc_zeroed(1, sizeof *phantom);
    if (phantom != NULL)
        phantom->reflectance =
            fleck_alloc_array(frame.width_px * frame.height_px, sizeof *phantom->reflectance);
    if (phantom == NULL || phantom->reflectance == NULL) {
        fleck_phantom_free(phantom);
        return fleck_fail(err, FLECK_NO_RESOURCE,
                          "no memory for %zu x %zu pixels; give a smaller picture or a lower ppi",
                          frame.width_px, frame.height_px);
    }
    phantom->options = *options;
    phantom->frame = frame;
    if ((status = draw(phantom, err)) != FLECK_OK) {
        fleck_phantom_free(phantom);
        return status;
    }
    forget_outside(phantom);
    *out = phantom;
    return FLECK_OK;
}

static fleck_status code_row(void *context, size_t y, void *samples, fleck_error *err)
{
    const fleck_phantom *phantom = context;
    const float *row = phantom->reflectance + y * phantom->frame.width_px;
    const double full = phantom->options.bits == 8 ? 255 : 65535;

    (void)err;
    for (size_t x = 0; x < phantom->frame.width_px; x++) {
        const double linear = fmin(fmax((double)row[x], 0), 1);
        const double code = floor(fleck_tone_srgb_encode(linear) * full + 0.5);

        if (phantom->options.bits == 8)
            ((uint8_t *)samples)[x] = (uint8_t)code;
        else
            ((uint16_t *)samples)[x] = (uint16_t)code;
    }
    return FLECK_OK;
}

fleck_status fleck_phantom_write(const fleck_phantom *phantom, const char *path, fleck_error *err)
{
    fleck_picture picture = {
        .width_px = phantom->frame.width_px,
        .height_px = phantom->frame.height_px,
        .channels = 1,
        .bits = phantom->options.bits,
        .ppi_x = phantom->options.ppi,
        .ppi_y = phantom->options.ppi,
        .srgb = true,
    };

    if (!fleck_picture_format_from_name(path, &picture.format))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "the name tells no kind of picture; end it in .png, .tif or .tiff");
    /* the rows are only read */
    return fleck_picture_write(path, &picture, code_row, (void *)(uintptr_t)phantom, err);
}

const float *fleck_phantom_reflectance(const fleck_phantom *phantom, size_t *width_px,
                                       size_t *height_px)
{
    *width_px = phantom->frame.width_px;
    *height_px = phantom->frame.height_px;
    return phantom->reflectance;
}

double fleck_phantom_exact_coverage(const fleck_phantom *phantom)
{
    return phantom->exact_coverage;
}

void fleck_phantom_free(fleck_phantom *phantom)
{
    if (phantom == NULL)
        return;
    fleck_free(phantom->dots.items);
    fleck_free(phantom->reflectance);
    fleck_free(phantom);
}
