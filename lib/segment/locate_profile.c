/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "segment/locate_parts.h"

#include <math.h>

double fleck_box_depth(const fleck_sheet_map *map, const fleck_relief *relief,
                       const fleck_turned_box *box, bool along_u, double along, double across)
{
    const double u = along_u ? along : across, v = along_u ? across : along;
    const double x = floor(box->x + u * cos(box->angle) + v * sin(box->angle));
    const double y = floor(box->y - u * sin(box->angle) + v * cos(box->angle));

    if (x < 0 || y < 0 || x >= (double)map->columns || y >= (double)map->rows)
        return 0;
    return relief->depth[(size_t)y * map->columns + (size_t)x];
}

void fleck_profile_take(const fleck_sheet_map *map, const fleck_relief *relief,
                        const fleck_turned_box *box, bool along_u, unsigned band, unsigned bands,
                        fleck_profile *profile)
{
    const double along_half = along_u ? box->half_u : box->half_v;
    const double across_half = along_u ? box->half_v : box->half_u;
    const double width = 1.8 * across_half / bands;
    const double first = -0.9 * across_half + band * width;
    const size_t across = width < 1 ? 1 : (size_t)width;

    profile->across = across;
    profile->count = (size_t)(2 * along_half);
    if (profile->count > FLECK_PROFILE_AT_MOST)
        profile->count = FLECK_PROFILE_AT_MOST;
    for (size_t i = 0; i < profile->count; i++) {
        double sum = 0, squares = 0, variance;

        for (size_t j = 0; j < across; j++) {
            const double depth =
                fleck_box_depth(map, relief, box, along_u, (double)i + 0.5 - along_half,
                                first + ((double)j + 0.5) * width / (double)across);

            sum += depth;
            squares += depth * depth;
        }
        profile->mean[i] = sum / (double)across;
        variance = squares / (double)across - profile->mean[i] * profile->mean[i];
        profile->scatter[i] = sqrt(variance > 0 ? variance : 0);
    }
}
