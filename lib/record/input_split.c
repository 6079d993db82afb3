/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One patch becomes several, for the regions named in a call. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"
#include "record/input_parts.h"

/* The patch of one region; false without memory, *out to be cleared all the same. */
static bool make_part(const fleck_input *input, size_t column_count, const fleck_box_mm *region,
                      size_t number, double tilt_deg, fleck_input *out)
{
    fleck_text id = { 0 };

    fleck_text_add_format(&id, "%s-%zu", input->id, number);
    if (id.failed)
        fleck_text_clear(&id);
    *out = (fleck_input){
        .id = id.bytes,
        .path = fleck_copy_text(input->path),
        .has_region = true,
        .region = *region,
        .tilt_deg = tilt_deg,
        .source = input->source,
        .cells = fleck_input_cells(input->cells, column_count, column_count, SIZE_MAX, ""),
    };
    return out->id != NULL && out->path != NULL && out->cells != NULL;
}

static bool is_split(const fleck_input *input)
{
    return !input->has_region && input->failure == NULL;
}

struct named {
    fleck_input *input;
    size_t index; /* so that nothing ties */
};

static int by_id(const void *left, const void *right)
{
    const struct named *const a = left, *const b = right;
    const int order = strcmp(a->input->id, b->input->id);

    return order != 0 ? order : (a->index > b->index) - (a->index < b->index);
}

static bool same_id(const struct named *a, const struct named *b)
{
    return strcmp(a->input->id, b->input->id) == 0;
}

/* Ids that the numbers have made equal get a failure. */
static fleck_status fail_equal_ids(fleck_inputs *inputs, fleck_error *err)
{
    struct named *const names = fleck_alloc_array(inputs->count, sizeof *names);
    size_t live = 0;
    bool enough = true;

    if (names == NULL)
        return fleck_inputs_no_memory(err);
    for (size_t i = 0; i < inputs->count; i++) {
        if (inputs->items[i].failure == NULL)
            names[live++] = (struct named){ &inputs->items[i], i };
    }
    if (live > 0)
        qsort(names, live, sizeof *names, by_id);
    for (size_t i = 0; i < live; i++) {
        char buffer[FLECK_SHORT_TEXT_BYTES];
        fleck_error fault;

        if (!(i > 0 && same_id(&names[i - 1], &names[i])) &&
            !(i + 1 < live && same_id(&names[i], &names[i + 1])))
            continue;
        (void)fleck_fail(&fault, FLECK_BAD_INPUT,
                         "id \"%s\" stands twice, once as a region's number; name the patches in a "
                         "manifest",
                         fleck_short_text(names[i].input->id, buffer));
        names[i].input->failure = fleck_copy_text(fault.message);
        enough = enough && names[i].input->failure != NULL;
    }
    fleck_free(names);
    return enough ? FLECK_OK : fleck_inputs_no_memory(err);
}

fleck_status fleck_inputs_split_regions(fleck_inputs *inputs, const fleck_box_mm *regions,
                                        size_t count, double tilt_deg, fleck_error *err)
{
    fleck_input *items = NULL;
    size_t total = 0, made = 0, split = 0, room;
    bool enough = true;

    for (size_t i = 0; i < inputs->count; i++)
        split += is_split(&inputs->items[i]);
    if (!size_mul(split, count, &room) || !size_add(room, inputs->count - split, &total) ||
        (items = fleck_alloc_zeroed(total, sizeof *items)) == NULL)
        return fleck_inputs_no_memory(err);
    for (size_t i = 0; i < inputs->count && enough; i++) {
        for (size_t r = 0; is_split(&inputs->items[i]) && r < count && enough; r++)
            enough = make_part(&inputs->items[i], inputs->column_count, &regions[r], r + 1,
                               tilt_deg, &items[made++]);
        if (!is_split(&inputs->items[i]))
            items[made++].id = NULL; /* filled in below, when nothing can fail any more */
    }
    if (!enough) {
        for (size_t i = 0; i < made; i++)
            fleck_input_clear(&items[i]);
        fleck_free(items);
        return fleck_inputs_no_memory(err);
    }
    made = 0;
    for (size_t i = 0; i < inputs->count; i++) {
        if (is_split(&inputs->items[i])) {
            fleck_input_clear(&inputs->items[i]);
            made += count;
        } else {
            items[made++] = inputs->items[i];
        }
    }
    fleck_free(inputs->items);
    inputs->items = items;
    inputs->count = inputs->capacity = total;
    return fail_equal_ids(inputs, err);
}
