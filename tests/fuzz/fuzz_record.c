/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any bytes as a record: what is read must be the same after it was written and read again. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "fleck/record.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    fleck_record first, second;
    char *text = NULL, *again = NULL;

    fleck_record_init(&first);
    fleck_record_init(&second);
    if (fleck_record_from_json((const char *)bytes, size, &first, NULL) == FLECK_OK) {
        text = fleck_record_to_json(&first);
        if (text == NULL || fleck_record_from_json(text, strlen(text), &second, NULL) != FLECK_OK)
            abort();
        again = fleck_record_to_json(&second);
        if (again == NULL || strcmp(text, again) != 0)
            abort();
    }
    free(text);
    free(again);
    fleck_record_clear(&first);
    fleck_record_clear(&second);
    return 0;
}
