/* SPDX-License-Identifier: GPL-3.0-or-later */
/* JSON as the library writes it: one way for numbers, one for the finished text. */
#ifndef FLECK_IO_JSON_TEXT_H
#define FLECK_IO_JSON_TEXT_H

#include <cjson/cJSON.h>

/*
 * A number that reads back as the same double, whatever the locale; null for one that is not finite.
 * NULL when there is no memory.
 */
cJSON *fleck_json_number(double value);

/*
 * Text of a document, ending in a newline, freed with free(): cJSON may allocate by hooks of the host
 * program. The document is deleted in any case. NULL for a NULL document and without memory.
 */
char *fleck_json_finish(cJSON *document);

#endif
