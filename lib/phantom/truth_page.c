/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "phantom/truth_page.h"

#include <inttypes.h>
#include <stdio.h>

#include "io/json_text.h"

fleck_truth_page fleck_truth_begin(const char *schema, int version)
{
    fleck_truth_page page = { .root = cJSON_CreateObject() };

    page.failed = page.root == NULL;
    fleck_truth_text(&page, page.root, "schema", schema);
    fleck_truth_whole(&page, page.root, "version", (uint64_t)version);
    return page;
}

cJSON *fleck_truth_group(fleck_truth_page *page, cJSON *parent, const char *name)
{
    cJSON *group = parent != NULL ? cJSON_AddObjectToObject(parent, name) : NULL;

    if (group == NULL)
        page->failed = true;
    return group;
}

cJSON *fleck_truth_list(fleck_truth_page *page, cJSON *parent, const char *name)
{
    cJSON *list = parent != NULL ? cJSON_AddArrayToObject(parent, name) : NULL;

    if (list == NULL)
        page->failed = true;
    return list;
}

cJSON *fleck_truth_entry(fleck_truth_page *page, cJSON *list)
{
    cJSON *entry = list != NULL ? cJSON_CreateObject() : NULL;

    if (entry != NULL && !cJSON_AddItemToArray(list, entry)) {
        cJSON_Delete(entry);
        entry = NULL;
    }
    if (entry == NULL)
        page->failed = true;
    return entry;
}

static void add_raw(fleck_truth_page *page, cJSON *group, const char *name, const char *raw)
{
    if (group == NULL || cJSON_AddRawToObject(group, name, raw) == NULL)
        page->failed = true;
}

void fleck_truth_number(fleck_truth_page *page, cJSON *group, const char *name, double value)
{
    cJSON *const item = fleck_json_number(value);

    if (group == NULL || item == NULL || !cJSON_AddItemToObject(group, name, item)) {
        cJSON_Delete(item);
        page->failed = true;
    }
}

void fleck_truth_whole(fleck_truth_page *page, cJSON *group, const char *name, uint64_t value)
{
    char text[32];

    /* as digits: a double would lose the end of a long seed */
    snprintf(text, sizeof text, "%" PRIu64, value);
    add_raw(page, group, name, text);
}

void fleck_truth_text(fleck_truth_page *page, cJSON *group, const char *name, const char *text)
{
    if (group == NULL || (text != NULL ? cJSON_AddStringToObject(group, name, text)
                                       : cJSON_AddNullToObject(group, name)) == NULL)
        page->failed = true;
}

void fleck_truth_flag(fleck_truth_page *page, cJSON *group, const char *name, bool used, bool value)
{
    add_raw(page, group, name, !used ? "null" : value ? "true" : "false");
}

char *fleck_truth_print(fleck_truth_page *page)
{
    cJSON *const root = page->root;

    page->root = NULL;
    if (page->failed) {
        cJSON_Delete(root);
        return NULL;
    }
    return fleck_json_finish(root);
}
