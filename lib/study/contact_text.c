/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/contact.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cjson/cJSON.h>

#include "fleck/version.h"
#include "io/csv.h"
#include "io/json_text.h"

static const char *const cautions[] = {
    "Weight on a pad is not pressure at the paper: the pad, its edge and the way the hand leans "
    "share it "
    "out unevenly, and a moving hand adds to it.",
    "The trace shows where there was contact, not how hard each point pressed: a mean says nothing "
    "of "
    "its peaks. In a band it rests on the same part of the load for each band.",
};

const char *const *fleck_contact_cautions(size_t *count)
{
    *count = sizeof cautions / sizeof *cautions;
    return cautions;
}

static bool add_number(cJSON *object, const char *key, double value)
{
    cJSON *const item = fleck_json_number(value);

    if (object != NULL && item != NULL && cJSON_AddItemToObject(object, key, item))
        return true;
    cJSON_Delete(item);
    return false;
}

static bool add_part(cJSON *object, const fleck_contact_part *part)
{
    return add_number(object, "area_mm2", part->area_mm2) &&
           add_number(object, "contact_area_mm2", part->contact_mm2) &&
           add_number(object, "contact_fraction", part->contact_fraction) &&
           add_number(object, "load_kg", part->load_kg) &&
           add_number(object, "mean_pressure_kpa", part->mean_pressure_kpa);
}

static bool add_bands(cJSON *root, const fleck_contact *contact)
{
    cJSON *array = cJSON_AddArrayToObject(root, "bands");

    for (size_t i = 0; array != NULL && i < contact->band_count; i++) {
        cJSON *item = cJSON_CreateObject();

        if (item == NULL || !cJSON_AddItemToArray(array, item)) {
            cJSON_Delete(item);
            return false;
        }
        if (!add_number(item, "band", (double)(i + 1)) ||
            !add_number(item, "from_mm", contact->bands[i].from_mm) ||
            !add_number(item, "to_mm", contact->bands[i].to_mm) ||
            !add_part(item, &contact->bands[i]))
            return false;
    }
    return array != NULL;
}

static bool add_notes(cJSON *root, const fleck_contact *contact)
{
    cJSON *const sentences = cJSON_AddArrayToObject(root, "cautions");
    cJSON *const warnings = cJSON_AddArrayToObject(root, "warnings");

    if (sentences == NULL || warnings == NULL)
        return false;
    for (size_t i = 0; i < sizeof cautions / sizeof *cautions; i++) {
        cJSON *const item = cJSON_CreateString(cautions[i]);

        if (item == NULL || !cJSON_AddItemToArray(sentences, item)) {
            cJSON_Delete(item);
            return false;
        }
    }
    for (size_t i = 0; i < contact->warnings.count; i++) {
        cJSON *const item = cJSON_CreateObject();

        if (item == NULL || !cJSON_AddItemToArray(warnings, item)) {
            cJSON_Delete(item);
            return false;
        }
        if (cJSON_AddStringToObject(item, "code", contact->warnings.items[i].code) == NULL ||
            cJSON_AddStringToObject(item, "message", contact->warnings.items[i].message) == NULL)
            return false;
    }
    return true;
}

static bool fill_root(cJSON *root, const fleck_contact *contact)
{
    cJSON *part;

    if (cJSON_AddStringToObject(root, "schema", FLECK_CONTACT_SCHEMA) == NULL ||
        !add_number(root, "version", FLECK_CONTACT_VERSION))
        return false;
    part = cJSON_AddObjectToObject(root, "source");
    if (part == NULL || cJSON_AddStringToObject(part, "path", contact->path) == NULL ||
        cJSON_AddStringToObject(part, "sha256", contact->sha256) == NULL)
        return false;
    part = cJSON_AddObjectToObject(root, "region");
    if (!add_number(part, "x_mm", contact->x_mm) || !add_number(part, "y_mm", contact->y_mm) ||
        !add_number(part, "width_mm", contact->width_mm) ||
        !add_number(part, "height_mm", contact->height_mm))
        return false;
    part = cJSON_AddObjectToObject(root, "threshold");
    if (part == NULL || cJSON_AddStringToObject(part, "method", contact->threshold) == NULL ||
        !add_number(part, "threshold_reflectance", contact->threshold_reflectance) ||
        cJSON_AddStringToObject(part, "channel", contact->channel) == NULL)
        return false;
    if (!add_part(root, &contact->whole) ||
        cJSON_AddStringToObject(root, "across", contact->across_y ? "y" : "x") == NULL ||
        !add_bands(root, contact) || !add_notes(root, contact))
        return false;
    part = cJSON_AddObjectToObject(root, "provenance");
    return part != NULL && cJSON_AddStringToObject(part, "program", "fleck") != NULL &&
           cJSON_AddStringToObject(part, "version", fleck_version()) != NULL;
}

char *fleck_contact_to_json(const fleck_contact *contact)
{
    cJSON *root = cJSON_CreateObject();

    if (root != NULL && !fill_root(root, contact)) {
        cJSON_Delete(root);
        return NULL;
    }
    return fleck_json_finish(root);
}

static void add_row(fleck_text *text, const fleck_contact *contact, const fleck_contact_part *part,
                    const char *name)
{
    fleck_csv_add_cell(text, contact->path);
    fleck_csv_add_cell(text, name);
    fleck_csv_add_number(text, part->from_mm);
    fleck_csv_add_number(text, part->to_mm);
    fleck_csv_add_number(text, part->area_mm2);
    fleck_csv_add_number(text, part->contact_mm2);
    fleck_csv_add_number(text, part->contact_fraction);
    fleck_csv_add_number(text, part->load_kg);
    fleck_csv_add_number(text, part->mean_pressure_kpa);
    fleck_csv_end_row(text);
}

char *fleck_contact_to_csv(const fleck_contact *contact)
{
    fleck_text text = { 0 };

    fleck_text_add(&text,
                   "scan,part,from_mm,to_mm,area_mm2,contact_area_mm2,contact_fraction,load_kg,"
                   "mean_pressure_kpa\n");
    add_row(&text, contact, &contact->whole, "whole");
    for (size_t i = 0; i < contact->band_count; i++) {
        char name[32];

        snprintf(name, sizeof name, "band %zu", i + 1);
        add_row(&text, contact, &contact->bands[i], name);
    }
    if (text.failed)
        fleck_text_clear(&text);
    return text.bytes;
}
