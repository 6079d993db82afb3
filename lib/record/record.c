/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A record as JSON and back, driven by the table of measures: "group.key" stands as key in the object
 * `group`. Numbers are printed by the one formatter of the library, so that they read back the same.
 */
#include <math.h>
#include <string.h>

#include <cjson/cJSON.h>

#include "core/memory.h"
#include "fleck/record.h"
#include "fleck/version.h"
#include "io/json_text.h"

/* The arrays of a record; all have as many values as the spectrum has rings. */
static const struct array_key {
    const char *group;
    const char *key;
    size_t offset; /* of a double * in fleck_spectrum */
} array_keys[] = {
    { "spectrum", "frequency_per_mm", offsetof(fleck_spectrum, frequency_per_mm) },
    { "spectrum", "ink_power_mm2", offsetof(fleck_spectrum, ink_power_mm2) },
    { "spectrum", "tone_power_mm2", offsetof(fleck_spectrum, tone_power_mm2) },
};

static fleck_series *series_at(fleck_record *record, const fleck_series_key *key)
{
    return (fleck_series *)(void *)((char *)record + key->offset);
}

static double **array_at(fleck_spectrum *spectrum, const struct array_key *key)
{
    return (double **)(void *)((char *)spectrum + key->offset);
}

void fleck_record_init(fleck_record *record)
{
    size_t count;
    const fleck_key *keys = fleck_keys(&count);
    const double missing = NAN;

    *record = (fleck_record){ 0 };
    for (size_t i = 0; i < count; i++) {
        if (keys[i].kind != FLECK_KEY_TEXT)
            memcpy((char *)record + keys[i].offset, &missing, sizeof missing);
    }
}

void fleck_record_clear(fleck_record *record)
{
    size_t count, series_count;
    const fleck_key *keys = fleck_keys(&count);
    const fleck_series_key *series = fleck_series_keys(&series_count);

    if (record == NULL)
        return;
    for (size_t i = 0; i < series_count; i++)
        fleck_free(series_at(record, &series[i])->values);
    for (size_t i = 0; i < count; i++) {
        char *text = NULL;

        if (keys[i].kind != FLECK_KEY_TEXT)
            continue;
        memcpy(&text, (char *)record + keys[i].offset, sizeof text);
        fleck_free(text);
    }
    fleck_spectrum_clear(&record->spectrum);
    fleck_warnings_clear(&record->warnings);
    fleck_record_init(record);
}

/* The object called `group` in root, made when it is not there. */
static cJSON *group_object(cJSON *root, const char *group, size_t length)
{
    char name[64];
    cJSON *object;

    if (length >= sizeof name)
        return NULL;
    memcpy(name, group, length);
    name[length] = '\0';
    object = cJSON_GetObjectItemCaseSensitive(root, name);
    return object != NULL ? object : cJSON_AddObjectToObject(root, name);
}

/* Add an item; the item is freed when that fails, so that a caller need not look. */
static bool add_item(cJSON *object, const char *key, cJSON *item)
{
    if (object != NULL && item != NULL && cJSON_AddItemToObject(object, key, item))
        return true;
    cJSON_Delete(item);
    return false;
}

static bool add_key(cJSON *root, const fleck_record *record, const fleck_key *key)
{
    const char *dot = strchr(key->key, '.');
    cJSON *object = dot == NULL ? root : group_object(root, key->key, (size_t)(dot - key->key));
    const char *text = fleck_record_text(record, key);
    cJSON *item;

    if (key->kind != FLECK_KEY_TEXT)
        item = fleck_json_number(fleck_record_number(record, key));
    else
        item = text != NULL ? cJSON_CreateString(text) : cJSON_CreateNull();
    return add_item(object, dot == NULL ? key->key : dot + 1, item);
}

static cJSON *number_array(const double *values, size_t count)
{
    cJSON *array;

    if (values == NULL)
        return cJSON_CreateNull();
    array = cJSON_CreateArray();
    for (size_t i = 0; array != NULL && i < count; i++) {
        cJSON *item = fleck_json_number(values[i]);

        if (item == NULL || !cJSON_AddItemToArray(array, item)) {
            cJSON_Delete(item);
            cJSON_Delete(array);
            return NULL;
        }
    }
    return array;
}

static bool add_spectrum(cJSON *root, const fleck_spectrum *spectrum)
{
    cJSON *object = group_object(root, "spectrum", strlen("spectrum"));
    double *samples = NULL;
    bool done;

    for (size_t i = 0; i < sizeof array_keys / sizeof *array_keys; i++) {
        const double *values;

        memcpy(&values, (const char *)spectrum + array_keys[i].offset, sizeof values);
        if (!add_item(object, array_keys[i].key, number_array(values, spectrum->rings)))
            return false;
    }
    if (spectrum->samples != NULL) {
        samples = fleck_alloc_array(spectrum->rings, sizeof *samples);
        if (samples == NULL)
            return false;
        for (size_t i = 0; i < spectrum->rings; i++)
            samples[i] = (double)spectrum->samples[i];
    }
    done = add_item(object, "samples", number_array(samples, spectrum->rings));
    fleck_free(samples);
    return done;
}

static bool add_series(cJSON *root, const fleck_record *record, const fleck_series_key *key)
{
    const char *const dot = strchr(key->key, '.');
    cJSON *const object = group_object(root, key->key, (size_t)(dot - key->key));
    fleck_series series;

    memcpy(&series, (const char *)record + key->offset, sizeof series);
    return add_item(object, dot + 1, number_array(series.values, series.count));
}

static bool add_warnings(cJSON *root, const fleck_warnings *warnings)
{
    cJSON *array = cJSON_AddArrayToObject(root, "warnings");

    for (size_t i = 0; array != NULL && i < warnings->count; i++) {
        cJSON *item = cJSON_CreateObject();

        if (item == NULL || cJSON_AddStringToObject(item, "code", warnings->items[i].code) == NULL ||
            cJSON_AddStringToObject(item, "message", warnings->items[i].message) == NULL ||
            !cJSON_AddItemToArray(array, item)) {
            cJSON_Delete(item);
            return false;
        }
    }
    return array != NULL;
}

static bool fill_root(cJSON *root, const fleck_record *record)
{
    size_t count, series_count;
    const fleck_key *keys = fleck_keys(&count);
    const fleck_series_key *series = fleck_series_keys(&series_count);
    cJSON *provenance;

    if (cJSON_AddStringToObject(root, "schema", FLECK_RECORD_SCHEMA) == NULL ||
        !add_item(root, "version", fleck_json_number(FLECK_RECORD_VERSION)))
        return false;
    for (size_t i = 0; i < count; i++) {
        if (!add_key(root, record, &keys[i]))
            return false;
    }
    for (size_t i = 0; i < series_count; i++) {
        if (!add_series(root, record, &series[i]))
            return false;
    }
    if (!add_spectrum(root, &record->spectrum) || !add_warnings(root, &record->warnings))
        return false;
    provenance = cJSON_AddObjectToObject(root, "provenance");
    return provenance != NULL && cJSON_AddStringToObject(provenance, "program", "fleck") != NULL &&
           cJSON_AddStringToObject(provenance, "version", fleck_version()) != NULL;
}

char *fleck_record_to_json(const fleck_record *record)
{
    cJSON *root = cJSON_CreateObject();

    if (root != NULL && !fill_root(root, record)) {
        cJSON_Delete(root);
        return NULL;
    }
    return fleck_json_finish(root);
}

static const cJSON *find_item(const cJSON *root, const char *key)
{
    const char *dot = strchr(key, '.');
    char group[64];

    if (dot == NULL)
        return cJSON_GetObjectItemCaseSensitive(root, key);
    if ((size_t)(dot - key) >= sizeof group)
        return NULL;
    memcpy(group, key, (size_t)(dot - key));
    group[dot - key] = '\0';
    return cJSON_GetObjectItemCaseSensitive(cJSON_GetObjectItemCaseSensitive(root, group), dot + 1);
}

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a record; free some memory");
}

static fleck_status read_key(const cJSON *root, const fleck_key *key, fleck_record *record,
                             fleck_error *err)
{
    const cJSON *item = find_item(root, key->key);

    if (item == NULL || cJSON_IsNull(item))
        return FLECK_OK;
    if (key->kind == FLECK_KEY_TEXT) {
        char *text;

        if (!cJSON_IsString(item))
            return fleck_fail(err, FLECK_BAD_INPUT, "%s is no text in the record; measure again",
                              key->key);
        text = fleck_copy_text(item->valuestring);
        if (text == NULL)
            return no_memory(err);
        memcpy((char *)record + key->offset, &text, sizeof text);
        return FLECK_OK;
    }
    if (!cJSON_IsNumber(item) || !isfinite(item->valuedouble))
        return fleck_fail(err, FLECK_BAD_INPUT, "%s is no number in the record; measure again",
                          key->key);
    memcpy((char *)record + key->offset, &item->valuedouble, sizeof item->valuedouble);
    return FLECK_OK;
}

/* A list of numbers, or NULL for null. A list of the spectrum is as long as its others. */
static fleck_status read_array(const cJSON *root, const char *group, const char *key, size_t *count,
                               double **out, fleck_error *err)
{
    const cJSON *array = cJSON_GetObjectItemCaseSensitive(
        cJSON_GetObjectItemCaseSensitive(root, group), key);
    const cJSON *item;
    size_t length = 0;

    *out = NULL;
    if (array == NULL || cJSON_IsNull(array))
        return FLECK_OK;
    cJSON_ArrayForEach(item, array) {
        if (!cJSON_IsNumber(item) && !cJSON_IsNull(item))
            return fleck_fail(err, FLECK_BAD_INPUT, "%s.%s holds no numbers; measure again", group,
                              key);
        length++;
    }
    if (!cJSON_IsArray(array) || (*count != 0 && length != *count))
        return fleck_fail(err, FLECK_BAD_INPUT, "%s.%s has the wrong length; measure again", group,
                          key);
    *out = fleck_alloc_array(length, sizeof **out);
    if (*out == NULL)
        return no_memory(err);
    *count = length;
    length = 0;
    cJSON_ArrayForEach(item, array)
        (*out)[length++] = cJSON_IsNumber(item) ? item->valuedouble : NAN;
    return FLECK_OK;
}

static fleck_status read_spectrum(const cJSON *root, fleck_record *record, fleck_error *err)
{
    fleck_spectrum *spectrum = &record->spectrum;
    fleck_status status = FLECK_OK;
    double *samples = NULL;

    for (size_t i = 0; status == FLECK_OK && i < sizeof array_keys / sizeof *array_keys; i++)
        status = read_array(root, array_keys[i].group, array_keys[i].key, &spectrum->rings,
                            array_at(spectrum, &array_keys[i]), err);
    if (status == FLECK_OK)
        status = read_array(root, "spectrum", "samples", &spectrum->rings, &samples, err);
    if (status == FLECK_OK && samples != NULL) {
        spectrum->samples = fleck_alloc_array(spectrum->rings, sizeof *spectrum->samples);
        if (spectrum->samples == NULL)
            status = no_memory(err);
        for (size_t i = 0; status == FLECK_OK && i < spectrum->rings; i++) {
            if (!(samples[i] >= 0 && samples[i] < 0x1p53))
                status = fleck_fail(err, FLECK_BAD_INPUT,
                                    "spectrum.samples holds a number that is no count; measure again");
            else
                spectrum->samples[i] = (uint64_t)samples[i];
        }
    }
    fleck_free(samples);
    if (status == FLECK_OK && isfinite(record->spectrum_tile_px) && record->spectrum_tile_px >= 0 &&
        record->spectrum_tile_px < 0x1p31)
        spectrum->tile_px = (size_t)record->spectrum_tile_px;
    if (status == FLECK_OK && isfinite(record->spectrum_tiles) && record->spectrum_tiles >= 0 &&
        record->spectrum_tiles < 0x1p53)
        spectrum->tiles = (size_t)record->spectrum_tiles;
    return status;
}

static fleck_status read_series(const cJSON *root, fleck_record *record, fleck_error *err)
{
    size_t count;
    const fleck_series_key *keys = fleck_series_keys(&count);
    fleck_status status = FLECK_OK;

    for (size_t i = 0; status == FLECK_OK && i < count; i++) {
        const char *const dot = strchr(keys[i].key, '.');
        fleck_series *const series = series_at(record, &keys[i]);
        char group[64];

        memcpy(group, keys[i].key, (size_t)(dot - keys[i].key));
        group[dot - keys[i].key] = '\0';
        status = read_array(root, group, dot + 1, &series->count, &series->values, err);
    }
    return status;
}

static fleck_status read_warnings(const cJSON *root, fleck_record *record, fleck_error *err)
{
    const cJSON *item;
    fleck_status status = FLECK_OK;

    cJSON_ArrayForEach(item, cJSON_GetObjectItemCaseSensitive(root, "warnings")) {
        const char *code = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(item, "code"));
        const char *message = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(item, "message"));

        if (code == NULL || message == NULL)
            return fleck_fail(err, FLECK_BAD_INPUT,
                              "a warning in the record has no code or no message; measure again");
        status = fleck_warnings_add(&record->warnings, err, code, "%s", message);
        if (status != FLECK_OK)
            break;
    }
    return status;
}

static fleck_status read_root(const cJSON *root, fleck_record *out, fleck_error *err)
{
    size_t count;
    const fleck_key *keys = fleck_keys(&count);
    const char *schema = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(root, "schema"));
    const cJSON *version = cJSON_GetObjectItemCaseSensitive(root, "version");
    fleck_status status = FLECK_OK;

    if (schema == NULL || strcmp(schema, FLECK_RECORD_SCHEMA) != 0 || !cJSON_IsNumber(version))
        return fleck_fail(err, FLECK_BAD_INPUT, "is no record; give a file from a run's folder records");
    if (version->valuedouble > FLECK_RECORD_VERSION)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "is a record of a newer version (%g); use a newer fleck",
                          version->valuedouble);
    for (size_t i = 0; status == FLECK_OK && i < count; i++)
        status = read_key(root, &keys[i], out, err);
    if (status == FLECK_OK)
        status = read_spectrum(root, out, err);
    if (status == FLECK_OK)
        status = read_series(root, out, err);
    if (status == FLECK_OK)
        status = read_warnings(root, out, err);
    return status;
}

fleck_status fleck_record_from_json(const char *text, size_t size, fleck_record *out,
                                    fleck_error *err)
{
    bool short_of_memory;
    cJSON *root = fleck_json_parse(text, size, NULL, &short_of_memory);
    fleck_status status;

    fleck_record_init(out);
    if (short_of_memory)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to read a record; free some memory");
    if (root == NULL)
        return fleck_fail(err, FLECK_BAD_INPUT, "is not JSON, or damaged; measure again");
    status = read_root(root, out, err);
    cJSON_Delete(root);
    if (status != FLECK_OK)
        fleck_record_clear(out);
    return status;
}
