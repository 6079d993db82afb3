/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report/png_surface.h"

#include <string.h>

struct source {
    const unsigned char *bytes;
    size_t size, read;
};

static cairo_status_t give_bytes(void *context, unsigned char *into, unsigned count)
{
    struct source *const from = context;

    if (from->size - from->read < count)
        return CAIRO_STATUS_READ_ERROR;
    memcpy(into, from->bytes + from->read, count);
    from->read += count;
    return CAIRO_STATUS_SUCCESS;
}

cairo_surface_t *png_surface(const unsigned char *bytes, size_t size)
{
    struct source from = { bytes, size, 0 };

    return cairo_image_surface_create_from_png_stream(give_bytes, &from);
}
