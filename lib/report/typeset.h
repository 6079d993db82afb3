/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The program's own words as a page or a plot prints them: they are kept in ASCII for terminals and tables. */
#ifndef FLECK_REPORT_TYPESET_H
#define FLECK_REPORT_TYPESET_H

#include "core/text.h"

/* A label: "dots per cm2" with a raised 2. */
void typeset_label(fleck_text *text, const char *label);

/* A sentence: the same, and the hyphen before a number becomes a minus sign. */
void typeset_sentence(fleck_text *text, const char *sentence);

#endif
