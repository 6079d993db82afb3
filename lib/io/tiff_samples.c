/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "io/tiff_samples.h"

#include <string.h>

size_t fleck_tiff_line_bytes(const fleck_tiff_layout *layout, size_t count)
{
    const size_t samples = layout->planar ? 1 : layout->samples;

    return (count * samples * layout->bits + 7) / 8;
}

bool fleck_tiff_is_plain(const fleck_tiff_layout *layout)
{
    return layout->bits >= 8 && !layout->inverted && !layout->premultiplied && !layout->planar &&
           layout->palette[0] == NULL &&
           layout->samples == layout->colours + (layout->alpha_at != 0);
}

/* One sample of each pixel: the first is number `at` in the line, the next `step` further on. */
static void take_8(const fleck_tiff_layout *layout, const uint8_t *line, size_t at, size_t step,
                   size_t count, unsigned scale, uint8_t *to, size_t to_step)
{
    const unsigned bits = layout->bits;
    const unsigned mask = (1u << bits) - 1;

    if (bits == 8) {
        for (size_t i = 0; i < count; i++)
            to[i * to_step] = line[at + i * step];
        return;
    }
    for (size_t i = 0; i < count; i++) {
        const size_t bit = (at + i * step) * bits;
        const unsigned shift = 8 - bits - (unsigned)(bit & 7);

        to[i * to_step] = (uint8_t)(((line[bit >> 3] >> shift) & mask) * scale);
    }
}

static void take_16(const uint8_t *line, size_t at, size_t step, size_t count, uint16_t *to,
                    size_t to_step)
{
    for (size_t i = 0; i < count; i++)
        memcpy(&to[i * to_step], line + (at + i * step) * 2, 2);
}

/*
 * From the index to RGB in place, from the right. The map has 16 bits; its upper byte is the colour
 * both for programs that wrote v * 256 and for those that wrote v * 257. Some wrote plain bytes.
 */
static void look_up(const fleck_tiff_layout *layout, uint8_t *pixels, size_t count)
{
    const size_t colours = (size_t)1 << layout->bits;
    unsigned shift = 0;

    for (size_t i = 0; i < colours; i++) {
        if ((layout->palette[0][i] | layout->palette[1][i] | layout->palette[2][i]) > 255)
            shift = 8;
    }
    for (size_t i = count; i-- > 0;) {
        const size_t index = pixels[i];

        for (size_t k = 0; k < 3; k++)
            pixels[3 * i + k] = (uint8_t)(layout->palette[k][index] >> shift);
    }
}

/* Undo the multiplication by alpha, rounding; where nothing is left of a colour it becomes 0. */
static uint32_t divide(uint32_t colour, uint32_t alpha, uint32_t full)
{
    const uint32_t straight = alpha == 0 ? 0 : (colour * full + alpha / 2) / alpha;

    return straight < full ? straight : full;
}

static void finish_8(const fleck_tiff_layout *layout, uint8_t *pixels, size_t count, size_t samples)
{
    for (size_t i = 0; i < count; i++, pixels += samples) {
        for (size_t k = 0; k < layout->colours; k++) {
            if (layout->premultiplied)
                pixels[k] = (uint8_t)divide(pixels[k], pixels[samples - 1], 255);
            if (layout->inverted)
                pixels[k] = (uint8_t)(255 - pixels[k]);
        }
    }
}

static void finish_16(const fleck_tiff_layout *layout, uint16_t *pixels, size_t count,
                      size_t samples)
{
    for (size_t i = 0; i < count; i++, pixels += samples) {
        for (size_t k = 0; k < layout->colours; k++) {
            /* 65535 * 65535 + 32767 still fits 32 bits */
            if (layout->premultiplied)
                pixels[k] = (uint16_t)divide(pixels[k], pixels[samples - 1], 65535);
            if (layout->inverted)
                pixels[k] = (uint16_t)(65535 - pixels[k]);
        }
    }
}

void fleck_tiff_take_samples(const fleck_tiff_layout *layout, const uint8_t *const *lines,
                             size_t count, size_t x, void *row)
{
    const size_t samples = layout->colours + (layout->alpha_at != 0);
    const size_t step = layout->planar ? 1 : layout->samples;
    const bool palette = layout->palette[0] != NULL;
    void *const begin = (uint8_t *)row + x * (palette ? 3 : samples) * (layout->bits == 16 ? 2 : 1);
    uint8_t *const pixels_8 = begin;
    uint16_t *const pixels_16 = begin;
    const unsigned scale = palette || layout->bits >= 8 ? 1 : 255 / ((1u << layout->bits) - 1);

    for (size_t k = 0; k < samples; k++) {
        const size_t sample = k < layout->colours ? k : layout->alpha_at;
        const uint8_t *line = lines[layout->planar ? k : 0];
        const size_t at = layout->planar ? 0 : sample;

        if (layout->bits == 16)
            take_16(line, at, step, count, pixels_16 + k, samples);
        else
            take_8(layout, line, at, step, count, scale, pixels_8 + k, samples);
    }
    if (palette)
        look_up(layout, pixels_8, count);
    else if (layout->bits == 16 && (layout->inverted || layout->premultiplied))
        finish_16(layout, pixels_16, count, samples);
    else if (layout->inverted || layout->premultiplied)
        finish_8(layout, pixels_8, count, samples);
}
