/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/doubt_clipping.h"

#include <math.h>

/* Beyond it the class means move by more than the third digit. Common practice, no source. */
static const double critical = 0.001;

static bool has_tones(const fleck_code_channel *channel)
{
    size_t occupied = 0;

    for (size_t code = 0; code < 256; code++)
        occupied += channel->codes[code] > 0;
    return occupied > 2;
}

static void raise_to(fleck_doubt *doubt, double share)
{
    if (!(share <= doubt->statistic))
        doubt->statistic = share;
    doubt->exceeded = doubt->statistic >= critical;
}

fleck_doubt_clipping fleck_doubt_clipping_finish(const fleck_code_counts *counts)
{
    const fleck_doubt untold = { .statistic = NAN, .critical = critical };
    fleck_doubt_clipping clipping = { untold, untold };

    for (unsigned c = 0; c < counts->channels; c++) {
        const fleck_code_channel *const channel = &counts->channel[c];
        const bool tones = !counts->narrow && has_tones(channel);
        uint64_t all = 0;

        for (size_t code = 0; code < 256; code++)
            all += channel->codes[code];
        if (all == 0)
            continue;
        raise_to(&clipping.black, tones ? (double)channel->darkest / (double)all : 0);
        raise_to(&clipping.white, tones ? (double)channel->lightest / (double)all : 0);
    }
    return clipping;
}

fleck_status fleck_doubt_clipping_warn(const fleck_doubt_clipping *clipping,
                                       fleck_warnings *warnings, fleck_error *err)
{
    fleck_status status = FLECK_OK;

    if (clipping->white.exceeded)
        status =
            fleck_warnings_add(warnings, err, "clipped-white",
                               "%.2g %% of the pixels are cut off at white: tones lighter than "
                               "that are lost and mean tones are too dark; scan again with less "
                               "exposure or without automatic levels",
                               100 * clipping->white.statistic);
    if (status == FLECK_OK && clipping->black.exceeded)
        status = fleck_warnings_add(warnings, err, "clipped-black",
                                    "%.2g %% of the pixels are cut off at black: tones darker than "
                                    "that are lost and mean tones are too light; scan again with "
                                    "more exposure or without automatic levels",
                                    100 * clipping->black.statistic);
    return status;
}
