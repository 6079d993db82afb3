/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "bars.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { LEVELS = 8, MOST_CHARACTERS = 30 };

/* The lower blocks of an eighth to a whole, and characters that grow darker. */
static const char *const blocks[LEVELS] = { "\u2581", "\u2582", "\u2583", "\u2584",
                                            "\u2585", "\u2586", "\u2587", "\u2588" };
static const char *const plain[LEVELS] = { ".", ":", "-", "=", "+", "*", "#", "#" };
/* The left blocks, for the end of a bar. */
static const char *const ends[LEVELS] = { "\u258f", "\u258e", "\u258d", "\u258c",
                                          "\u258b", "\u258a", "\u2589", "\u2588" };

static bool is_utf8(void)
{
    static const char *const names[] = { "LC_ALL", "LC_CTYPE", "LANG" };

    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        const char *const value = getenv(names[i]);

        if (value != NULL && *value != '\0') /* the first that is set decides */
            return strstr(value, "UTF-8") != NULL || strstr(value, "utf8") != NULL ||
                   strstr(value, "UTF8") != NULL || strstr(value, "utf-8") != NULL;
    }
    return false;
}

bool cli_can_draw(FILE *out)
{
    const char *const term = getenv("TERM"), *const no_colour = getenv("NO_COLOR");

    return isatty(fileno(out)) == 1 && term != NULL && strcmp(term, "dumb") != 0 &&
           (no_colour == NULL || *no_colour == '\0') && is_utf8();
}

const char *cli_bar(char text[CLI_BAR_BYTES], double share, size_t width, bool draw)
{
    const double full = fmin(1, fmax(0, share)) * (double)width;
    size_t whole;

    text[0] = '\0';
    if (!isfinite(share) || width > MOST_CHARACTERS)
        return text;
    whole = (size_t)(draw ? floor(full) : round(full));
    for (size_t i = 0; i < width; i++) {
        const size_t part = draw && i == whole ? (size_t)floor((full - floor(full)) * LEVELS) : 0;
        const char *const rest = draw ? part > 0 ? ends[part - 1] : "\u00b7" : ".";

        strcat(text, i < whole ? draw ? ends[LEVELS - 1] : "#" : rest);
    }
    return text;
}

const char *cli_profile(char text[CLI_BAR_BYTES], const double *values, size_t count, bool draw)
{
    double largest = 0;

    text[0] = '\0';
    for (size_t i = 0; i < count; i++)
        largest = fmax(largest, values[i]);
    for (size_t i = 0; largest > 0 && i < count && i < MOST_CHARACTERS; i++) {
        const double level = ceil(values[i] / largest * LEVELS);
        const size_t place = level >= 1 ? (size_t)level - 1 : 0;

        if (!(level >= 1))
            strcat(text, " ");
        else
            strcat(text, draw ? blocks[place] : plain[place]);
    }
    return text;
}
