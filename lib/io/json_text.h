/* SPDX-License-Identifier: GPL-3.0-or-later */
/* JSON as the library reads and writes it: one way for documents, for numbers, for the finished text. */
#ifndef FLECK_IO_JSON_TEXT_H
#define FLECK_IO_JSON_TEXT_H

#include <stddef.h>

#include <cjson/cJSON.h>

/*
 * Read a document of at most 2^18 values, which is many times what any of ours has: two bytes of text
 * can take a hundred of memory.
 *
 * end    out: behind the document, where other text may stand; may be NULL
 *
 * Returns NULL for what is no JSON, for too many values, and without memory.
 */
cJSON *fleck_json_parse(const char *text, size_t size, const char **end);

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
