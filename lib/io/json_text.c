/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "io/json_text.h"

#include <math.h>
#include <stdbool.h>

#include "core/memory.h"
#include "core/text.h"

enum { MOST_VALUES = 1 << 18, VALUE_BYTES = 2 * sizeof(cJSON) };

cJSON *fleck_json_number(double value)
{
    char buffer[FLECK_NUMBER_TEXT_BYTES];

    if (!isfinite(value))
        return cJSON_CreateNull();
    return cJSON_CreateRaw(fleck_text_from_number(value, buffer));
}

cJSON *fleck_json_parse(const char *text, size_t size, const char **end, bool *no_memory)
{
    size_t values = 1;
    cJSON *document = NULL;
    void *probe;

    if (no_memory != NULL)
        *no_memory = false;
    for (size_t i = 0; i < size; i++)
        values += text[i] == ',' || text[i] == '[' || text[i] == '{';
    if (values <= MOST_VALUES)
        document = cJSON_ParseWithLengthOpts(text, size, end, 0);
    if (document != NULL || values > MOST_VALUES)
        return document;
    /* cJSON does not tell a lack of memory from a fault of the text: where there is enough, once more */
    probe = fleck_alloc_array(size + values * VALUE_BYTES, 1);
    if (probe == NULL) {
        if (no_memory != NULL)
            *no_memory = true;
        return NULL;
    }
    fleck_free(probe);
    return cJSON_ParseWithLengthOpts(text, size, end, 0);
}

/* In valueint, which cJSON leaves alone in objects and arrays. */
enum { SPOILED = 1 };

static void spoil(cJSON *holder)
{
    if (holder != NULL)
        holder->valueint = SPOILED;
}

static bool try_add(cJSON *object, const char *key, cJSON *item)
{
    if (object != NULL && item != NULL && cJSON_AddItemToObject(object, key, item))
        return true;
    cJSON_Delete(item);
    spoil(object);
    return false;
}

static bool try_append(cJSON *array, cJSON *item)
{
    if (array != NULL && item != NULL && cJSON_AddItemToArray(array, item))
        return true;
    cJSON_Delete(item);
    spoil(array);
    return false;
}

void fleck_json_add(cJSON *object, const char *key, cJSON *item)
{
    (void)try_add(object, key, item);
}

void fleck_json_append(cJSON *array, cJSON *item)
{
    (void)try_append(array, item);
}

void fleck_json_add_number(cJSON *object, const char *key, double value)
{
    fleck_json_add(object, key, fleck_json_number(value));
}

void fleck_json_add_text(cJSON *object, const char *key, const char *text)
{
    fleck_json_add(object, key, text != NULL ? cJSON_CreateString(text) : cJSON_CreateNull());
}

cJSON *fleck_json_add_array(cJSON *object, const char *key)
{
    cJSON *const array = cJSON_CreateArray();

    return try_add(object, key, array) ? array : NULL;
}

cJSON *fleck_json_add_object(cJSON *object, const char *key)
{
    cJSON *const inside = cJSON_CreateObject();

    return try_add(object, key, inside) ? inside : NULL;
}

cJSON *fleck_json_append_object(cJSON *array)
{
    cJSON *const object = cJSON_CreateObject();

    return try_append(array, object) ? object : NULL;
}

static bool is_whole(const cJSON *item)
{
    if (!cJSON_IsObject(item) && !cJSON_IsArray(item))
        return true;
    if (item->valueint == SPOILED)
        return false;
    for (const cJSON *one = item->child; one != NULL; one = one->next) {
        if (!is_whole(one))
            return false;
    }
    return true;
}

char *fleck_json_finish(cJSON *document)
{
    char *const printed = document != NULL && is_whole(document) ? cJSON_Print(document) : NULL;
    fleck_text text = { 0 };

    cJSON_Delete(document);
    if (printed == NULL)
        return NULL;
    fleck_text_add(&text, printed);
    fleck_text_add(&text, "\n");
    cJSON_free(printed);
    if (text.failed)
        fleck_text_clear(&text);
    return text.bytes;
}
