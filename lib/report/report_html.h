/* SPDX-License-Identifier: GPL-3.0-or-later */
/* HTML as text: what comes from outside passes through html_add alone. */
#ifndef FLECK_REPORT_REPORT_HTML_H
#define FLECK_REPORT_REPORT_HTML_H

#include <stdbool.h>
#include <stddef.h>

#include "core/text.h"

/*
 * Add a text so that it is shown as it is, between tags and within quoted attributes. Bytes that are
 * not UTF-8 become U+FFFD, control characters and the marks that turn the direction of writing too.
 */
void html_add(fleck_text *text, const char *content);

/* A label, typeset, its first letter a capital (ASCII). */
void html_add_capital(fleck_text *text, const char *content);

/* A sentence of the program, typeset. */
void html_add_sentence(fleck_text *text, const char *sentence, bool capital);

/* A name that may run from right to left, kept apart from what stands round it. */
void html_add_name(fleck_text *text, const char *name);

/* Bytes in base64 (RFC 4648). */
void html_add_base64(fleck_text *text, const unsigned char *bytes, size_t size);

#endif
