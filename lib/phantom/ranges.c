/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "phantom/ranges.h"

#include "core/text.h"

fleck_status fleck_ranges_check(const fleck_range *ranges, size_t count, fleck_error *err)
{
    char value[FLECK_NUMBER_TEXT_BYTES], low[FLECK_NUMBER_TEXT_BYTES];
    char high[FLECK_NUMBER_TEXT_BYTES];

    for (size_t i = 0; i < count; i++) {
        const fleck_range *range = &ranges[i];

        if (!range->used || (range->value >= range->low && range->value <= range->high))
            continue;
        fleck_text_from_number(range->value, value);
        return fleck_fail(err, FLECK_BAD_CALL, "%s is %s; give %s to %s", range->name,
                          value[0] != '\0' ? value : "not a number",
                          fleck_text_from_number(range->low, low),
                          fleck_text_from_number(range->high, high));
    }
    return FLECK_OK;
}
