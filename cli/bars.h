/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Small bars made of characters, and whether the terminal can show the better ones. */
#ifndef FLECK_CLI_BARS_H
#define FLECK_CLI_BARS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

/*
 * Whether block characters may be printed to a stream: it is a terminal that is not dumb, its
 * locale is UTF-8, and NO_COLOR, which asks for plain text, is not set.
 */
bool cli_can_draw(FILE *out);

enum { CLI_BAR_BYTES = 128 };

/* A bar of `width` characters, at most 30, filled up to a share of 0 to 1; "" for NAN. */
const char *cli_bar(char text[CLI_BAR_BYTES], double share, size_t width, bool draw);

/*
 * One character for each value, its height in proportion to the largest; what is above 0 shows. At
 * most 30 values; "" when there is nothing.
 */
const char *cli_profile(char text[CLI_BAR_BYTES], const double *values, size_t count, bool draw);

#endif
