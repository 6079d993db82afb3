/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Prints and values of an edition as a printer reads them. */
#ifndef FLECK_STUDY_EDITION_WORDS_H
#define FLECK_STUDY_EDITION_WORDS_H

#include <stdbool.h>

#include "core/text.h"
#include "fleck/edition.h"

/* How a measure is called: its label in the key table, else its name. */
const char *fleck_edition_label(const char *measure);

/* "print 7", "prints 3, 7 and 9", "prints 14 to 19": the list in its order, neighbours taken together. */
void fleck_edition_add_list(fleck_text *text, const fleck_edition *edition,
                            const fleck_edition_list *list);

/* "print 7" or "prints 14 to 19" */
void fleck_edition_add_range(fleck_text *text, const fleck_edition *edition, size_t first, size_t last);

/* A value and its unit: "0.254 mm". */
void fleck_edition_add_value(fleck_text *text, const char *measure, double value, double uncertainty);

/* "prints 14 to 19 have drifted: from 14 on coverage rises by 0.4 % (0.0010) a print" */
void fleck_edition_add_change(fleck_text *text, const fleck_edition *edition,
                              const fleck_edition_measure *measure);

#endif
