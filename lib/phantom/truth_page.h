/* SPDX-License-Identifier: GPL-3.0-or-later */
/* JSON documents of known truth. */
#ifndef FLECK_PHANTOM_TRUTH_PAGE_H
#define FLECK_PHANTOM_TRUTH_PAGE_H

#include <cjson/cJSON.h>
#include <stdbool.h>
#include <stdint.h>

/* A document being made; after a failed allocation `failed` is set and the rest does nothing. */
typedef struct fleck_truth_page {
    cJSON *root;
    bool failed;
} fleck_truth_page;

/* With its keys schema and version. */
fleck_truth_page fleck_truth_begin(const char *schema, int version);

/* An object or a list below a key. */
cJSON *fleck_truth_group(fleck_truth_page *page, cJSON *parent, const char *name);
cJSON *fleck_truth_list(fleck_truth_page *page, cJSON *parent, const char *name);

/* An object at the end of a list. */
cJSON *fleck_truth_entry(fleck_truth_page *page, cJSON *list);

/* A number; null when it is NAN. */
void fleck_truth_number(fleck_truth_page *page, cJSON *group, const char *name, double value);

void fleck_truth_whole(fleck_truth_page *page, cJSON *group, const char *name, uint64_t value);

/* A text; null when it is NULL. */
void fleck_truth_text(fleck_truth_page *page, cJSON *group, const char *name, const char *text);

/* true or false; null when it is not used. */
void fleck_truth_flag(fleck_truth_page *page, cJSON *group, const char *name, bool used,
                      bool value);

/* The text, ending in a newline, freed with fleck_free(), and the end of the page; NULL without memory. */
char *fleck_truth_print(fleck_truth_page *page);

#endif
