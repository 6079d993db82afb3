/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Source: Okabe & Ito (2008), Color Universal Design, for the colours. */
#include "report/overlay_palette.h"

#include <string.h>

#include "core/memory.h"
#include "fleck/tone.h"

bool overlay_is_light(const fleck_record *record)
{
    return record->settings.ink != NULL && strcmp(record->settings.ink, "light") == 0;
}

void overlay_palette_fill(bool light_ink, uint8_t palette[OVERLAY_COLOURS][3])
{
    static const uint8_t colours[2][OVERLAY_CLASSES][3] = {
        {
            [OVERLAY_INNER - OVERLAY_GREYS] = { 240, 228, 66 },
            [OVERLAY_BARE] = { 0, 0, 0 },
            [OVERLAY_SMALL] = { 204, 0, 140 },
            [OVERLAY_COUNTED] = { 0, 114, 178 },
            [OVERLAY_MERGED] = { 0, 158, 115 },
            [OVERLAY_EDGE] = { 213, 94, 0 },
        },
        {
            [OVERLAY_INNER - OVERLAY_GREYS] = { 0, 72, 112 },
            [OVERLAY_BARE] = { 255, 255, 255 },
            [OVERLAY_SMALL] = { 240, 228, 66 },
            [OVERLAY_COUNTED] = { 86, 180, 233 },
            [OVERLAY_MERGED] = { 0, 158, 115 },
            [OVERLAY_EDGE] = { 230, 159, 0 },
        },
    };

    for (size_t i = 0; i < OVERLAY_GREYS; i++)
        memset(palette[i], (int)((255 * i + OVERLAY_WHITE / 2) / OVERLAY_WHITE), 3);
    memcpy(palette[OVERLAY_GREYS], colours[light_ink], sizeof colours[light_ink]);
}

uint8_t *overlay_grey_table(void)
{
    uint8_t *const table = fleck_alloc_array(FLECK_LEVELS, 1);

    for (size_t q = 0; table != NULL && q < FLECK_LEVELS; q++)
        table[q] = (uint8_t)(OVERLAY_WHITE * fleck_tone_srgb_encode((double)q / 65535) + 0.5);
    return table;
}
