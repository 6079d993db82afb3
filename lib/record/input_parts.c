/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/input_parts.h"

#include <string.h>

#include "core/memory.h"

fleck_status fleck_inputs_no_memory(fleck_error *err)
{
    return fleck_fail(
        err, FLECK_NO_RESOURCE,
        "no memory for the list of patches; free some memory or measure fewer at once");
}

fleck_status fleck_sources_add(fleck_sources *sources, char *path, dev_t device, ino_t folder,
                               bool manifest, fleck_error *err)
{
    fleck_source *items =
        fleck_grow(sources->items, &sources->capacity, sources->count, sizeof *items);

    if (items != NULL)
        sources->items = items;
    if (items == NULL || path == NULL) {
        fleck_free(path);
        return fleck_inputs_no_memory(err);
    }
    items[sources->count++] =
        (fleck_source){ .path = path, .device = device, .folder = folder, .manifest = manifest };
    return FLECK_OK;
}

fleck_status fleck_inputs_fail(fleck_inputs *inputs, const char *path, const char *message,
                               fleck_error *err)
{
    fleck_input_failure *failures = fleck_grow(inputs->failures, &inputs->failure_capacity,
                                               inputs->failure_count, sizeof *failures);
    fleck_input_failure one;

    if (failures == NULL)
        return fleck_inputs_no_memory(err);
    inputs->failures = failures;
    one.path = fleck_copy_text(path);
    one.message = fleck_copy_text(message);
    if (one.path == NULL || one.message == NULL) {
        fleck_free(one.path);
        fleck_free(one.message);
        return fleck_inputs_no_memory(err);
    }
    failures[inputs->failure_count++] = one;
    return FLECK_OK;
}

void fleck_input_clear(fleck_input *input)
{
    fleck_free(input->id);
    fleck_free(input->path);
    fleck_free(input->cells);
    fleck_free(input->failure);
    *input = (fleck_input){ 0 };
}

char *fleck_copy_bytes(const char *bytes, size_t length)
{
    char *copy = fleck_alloc_array(length + 1, 1);

    if (copy != NULL) {
        memcpy(copy, bytes, length);
        copy[length] = '\0';
    }
    return copy;
}

char *fleck_path_join(const char *folder, size_t folder_length, const char *name)
{
    const size_t name_bytes = strlen(name) + 1;
    const size_t given = folder_length;
    size_t bytes;
    char *path;

    while (folder_length > 0 && folder[folder_length - 1] == '/')
        folder_length--;
    if (!size_add(folder_length + 1, name_bytes, &bytes) || (path = fleck_alloc_array(bytes, 1)) == NULL)
        return NULL;
    memcpy(path, folder, folder_length);
    if (given > 0)
        path[folder_length++] = '/';
    memcpy(path + folder_length, name, name_bytes);
    return path;
}

void fleck_path_name(const char *path, size_t *begin, size_t *end, size_t *stem_end)
{
    size_t last = strlen(path), first;

    while (last > 0 && path[last - 1] == '/')
        last--;
    if (last == 0)
        last = strlen(path);
    first = last;
    while (first > 0 && path[first - 1] != '/')
        first--;
    if (first == last)
        first = 0;
    *begin = first;
    *end = last;
    *stem_end = last;
    /* a dot at the very start hides a file and begins no ending */
    for (size_t i = last; i > first + 1; i--) {
        if (path[i - 1] == '.') {
            *stem_end = i - 1;
            return;
        }
    }
}

const char *fleck_trimmed(const char *text, size_t *length)
{
    size_t bytes;

    text += strspn(text, " \t");
    bytes = strlen(text);
    while (bytes > 0 && (text[bytes - 1] == ' ' || text[bytes - 1] == '\t'))
        bytes--;
    *length = bytes;
    return text;
}

const char *fleck_short_text(const char *text, char buffer[FLECK_SHORT_TEXT_BYTES])
{
    const size_t length = strlen(text), most = FLECK_SHORT_TEXT_BYTES - 4;

    if (length <= most)
        return text;
    text += length - most;
    while (((unsigned char)*text & 0xc0) == 0x80) /* not within a character of UTF-8 */
        text++;
    memcpy(buffer, "...", 3);
    memcpy(buffer + 3, text, strlen(text) + 1);
    return buffer;
}
