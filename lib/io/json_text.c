/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "io/json_text.h"

#include <math.h>

#include "core/text.h"

enum { MOST_VALUES = 1 << 18 };

cJSON *fleck_json_number(double value)
{
    char buffer[FLECK_NUMBER_TEXT_BYTES];

    if (!isfinite(value))
        return cJSON_CreateNull();
    return cJSON_CreateRaw(fleck_text_from_number(value, buffer));
}

cJSON *fleck_json_parse(const char *text, size_t size, const char **end)
{
    size_t values = 1;

    for (size_t i = 0; i < size; i++)
        values += text[i] == ',' || text[i] == '[' || text[i] == '{';
    return values <= MOST_VALUES ? cJSON_ParseWithLengthOpts(text, size, end, 0) : NULL;
}

char *fleck_json_finish(cJSON *document)
{
    char *const printed = document != NULL ? cJSON_Print(document) : NULL;
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
