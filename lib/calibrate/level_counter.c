/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The histogram of a channel. A processor that adds to a number it has just written waits for it,
 * and neighbours in a scan often have the same code: so of 8-bit codes that alone decide the
 * reflectance four neighbours are counted in four lists, which become one of reflectances at the
 * end.
 */
#include <string.h>

#include "calibrate/tone_reflect.h"
#include "core/memory.h"

enum { CODES = 256, LANES = 4 };

struct fleck_level_counter {
    const uint16_t *q_of_code; /* the tone's; NULL where reflectances are counted */
    size_t step;               /* samples of a pixel */
    unsigned sample;           /* that decides */
    uint64_t lanes[LANES][CODES];
    uint64_t *counts; /* of reflectances */
};

fleck_status fleck_level_counter_new(const fleck_tone *tone, fleck_channel channel,
                                     fleck_level_counter **out, fleck_error *err)
{
    fleck_level_counter *counter = fleck_alloc_zeroed(1, sizeof *counter);

    *out = NULL;
    if (counter != NULL) {
        counter->q_of_code = fleck_tone_byte_table(tone, channel, &counter->step, &counter->sample);
        if (counter->q_of_code == NULL) {
            counter->counts = fleck_alloc_zeroed(FLECK_LEVELS, sizeof *counter->counts);
            if (counter->counts == NULL) {
                fleck_free(counter);
                counter = NULL;
            }
        }
    }
    if (counter == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a histogram; free some memory");
    *out = counter;
    return FLECK_OK;
}

void fleck_level_counter_add(fleck_level_counter *counter, const void *pixels, const uint16_t *q,
                             size_t first_px, size_t end_px)
{
    size_t x = first_px;

    if (counter->q_of_code == NULL) {
        for (; x < end_px; x++)
            counter->counts[q[x]]++;
    } else {
        const uint8_t *const codes = (const uint8_t *)pixels + counter->sample;
        const size_t step = counter->step;

        for (; x + LANES <= end_px; x += LANES) {
            for (unsigned lane = 0; lane < LANES; lane++)
                counter->lanes[lane][codes[(x + lane) * step]]++;
        }
        for (; x < end_px; x++)
            counter->lanes[0][codes[x * step]]++;
    }
}

void fleck_level_counter_get(const fleck_level_counter *counter, uint64_t *counts)
{
    if (counter->q_of_code == NULL) {
        memcpy(counts, counter->counts, FLECK_LEVELS * sizeof *counts);
        return;
    }
    memset(counts, 0, FLECK_LEVELS * sizeof *counts);
    for (unsigned code = 0; code < CODES; code++) {
        for (unsigned lane = 0; lane < LANES; lane++)
            counts[counter->q_of_code[code]] += counter->lanes[lane][code];
    }
}

void fleck_level_counter_free(fleck_level_counter *counter)
{
    if (counter == NULL)
        return;
    fleck_free(counter->counts);
    fleck_free(counter);
}
