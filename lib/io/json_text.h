/* SPDX-License-Identifier: GPL-3.0-or-later */
/* JSON as the library reads and writes it: one way for documents, for numbers, for the finished text. */
#ifndef FLECK_IO_JSON_TEXT_H
#define FLECK_IO_JSON_TEXT_H

#include <stdbool.h>
#include <stddef.h>

#include <cjson/cJSON.h>

/*
 * Read a document of at most 2^18 values, which is many times what any of ours has: two bytes of text
 * can take a hundred of memory.
 *
 * end          out: behind the document, where other text may stand; may be NULL
 * no_memory    out: NULL was returned since memory is short, not for what the text is; may be NULL
 *
 * Returns NULL for what is no JSON, for too many values, and without memory.
 */
cJSON *fleck_json_parse(const char *text, size_t size, const char **end, bool *no_memory);

/*
 * A number that reads back as the same double, whatever the locale; null for one that is not finite.
 * NULL when there is no memory.
 */
cJSON *fleck_json_number(double value);

/*
 * Build a document without a check at each step: what cannot be added for want of memory spoils it, and
 * fleck_json_finish gives NULL then. The item is taken over in any case; object and array may be NULL
 * where an earlier step has failed. Those that make something return it, or NULL.
 */
void fleck_json_add(cJSON *object, const char *key, cJSON *item);
void fleck_json_append(cJSON *array, cJSON *item);
void fleck_json_add_number(cJSON *object, const char *key, double value);
/* null for a NULL text */
void fleck_json_add_text(cJSON *object, const char *key, const char *text);
cJSON *fleck_json_add_array(cJSON *object, const char *key);
cJSON *fleck_json_add_object(cJSON *object, const char *key);
cJSON *fleck_json_append_object(cJSON *array);

/*
 * Text of a document, ending in a newline, freed with fleck_free(): cJSON may allocate by hooks of the host
 * program. The document is deleted in any case. NULL for a NULL document, for one that is
 * spoiled, and without memory.
 */
char *fleck_json_finish(cJSON *document);

#endif
