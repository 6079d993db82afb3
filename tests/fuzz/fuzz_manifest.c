/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Any bytes as a manifest, layouts of fleck locate included, in a folder with two scans: each patch has
 * an id of its own, whose files stay in the folder they are meant for.
 */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "fleck/inputs.h"
#include "scratch.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);

static int by_text(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

static void check_ids(const fleck_inputs *inputs)
{
    const char **ids = malloc((inputs->count + 1) * sizeof *ids);
    size_t n = 0;

    if (ids == NULL)
        return;
    for (size_t i = 0; i < inputs->count; i++) {
        char *name;

        if (inputs->items[i].failure != NULL)
            continue;
        ids[n++] = inputs->items[i].id;
        name = fleck_id_to_file_name(inputs->items[i].id);
        if (name == NULL || name[0] == '\0' || name[0] == '.' || strchr(name, '/') != NULL ||
            strlen(name) > 200)
            abort();
        free(name);
    }
    qsort(ids, n, sizeof *ids, by_text);
    for (size_t i = 1; i < n; i++) {
        if (strcmp(ids[i - 1], ids[i]) == 0)
            abort();
    }
    free(ids);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    static char manifest[SCRATCH_PATH_BYTES + 8];
    const char *const names[] = { manifest };
    fleck_inputs inputs;

    if (manifest[0] == '\0') {
        snprintf(manifest, sizeof manifest, "%s/m.csv", scratch_folder());
        scratch_put("a.png", "", 0);
        scratch_put("b.tif", "", 0);
    }
    scratch_put("m.csv", bytes, size);
    if (fleck_inputs_gather(names, 1, &inputs, NULL) == FLECK_OK) {
        const fleck_box_mm regions[] = { { 1, 1, 5, 5 }, { 7, 1, 5, 5 } };

        check_ids(&inputs);
        if (size % 2 == 0 && fleck_inputs_split_regions(&inputs, regions, 2, 1.5, NULL) == FLECK_OK)
            check_ids(&inputs);
    }
    fleck_inputs_clear(&inputs);
    return 0;
}
