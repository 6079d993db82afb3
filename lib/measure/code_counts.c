/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/code_counts.h"

void fleck_code_counts_begin(fleck_code_counts *counts, const fleck_scan_info *info,
                             size_t width_px, size_t height_px)
{
    const size_t enough_px = 1000000;
    const size_t rows = width_px < enough_px ? enough_px / width_px : 1;

    *counts = (fleck_code_counts){ 0 };
    counts->channels = info->channels < FLECK_CODE_CHANNELS ? info->channels : FLECK_CODE_CHANNELS;
    counts->samples = info->channels + (info->has_alpha ? 1 : 0);
    counts->sample_bytes = info->sample_bytes;
    counts->narrow = info->bits < 8;
    counts->row_step = height_px / rows | 1;
}

static void add_wide(fleck_code_channel *channel, const uint16_t *at, size_t count, size_t stride)
{
    for (size_t i = 0; i < count; i++, at += stride) {
        const unsigned code = *at, high = code >> 8, low = code & 0xff;

        channel->codes[high]++;
        channel->darkest += code == 0;
        channel->lightest += code == 0xffff;
        channel->between += low != 0 && low != high;
    }
}

void fleck_code_counts_add_row(fleck_code_counts *counts, const void *pixels, size_t count)
{
    if (counts->row++ % counts->row_step != 0)
        return;
    for (unsigned c = 0; c < counts->channels; c++) {
        fleck_code_channel *const channel = &counts->channel[c];

        if (counts->sample_bytes == 2) {
            add_wide(channel, (const uint16_t *)pixels + c, count, counts->samples);
        } else {
            const uint8_t *at = (const uint8_t *)pixels + c;

            for (size_t i = 0; i < count; i++, at += counts->samples)
                channel->codes[*at]++;
        }
    }
    if (counts->sample_bytes == 1) {
        for (unsigned c = 0; c < counts->channels; c++) {
            counts->channel[c].darkest = counts->channel[c].codes[0];
            counts->channel[c].lightest = counts->channel[c].codes[255];
        }
    }
}
