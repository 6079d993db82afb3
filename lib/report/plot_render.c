/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A plot as the bytes of a file. Cairo writes what would differ from call to call: it numbers the
 * surfaces of a process in SVG and puts the time into PDF; both are replaced.
 */
#include <cairo-pdf.h>
#include <cairo-svg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/text.h"
#include "fleck/plot.h"
#include "report/plot_draw.h"

#define PNG_PPI 300.0

static cairo_status_t take_bytes(void *context, const unsigned char *bytes, unsigned length)
{
    fleck_text *const file = context;

    fleck_text_add_bytes(file, (const char *)bytes, length);
    return file->failed ? CAIRO_STATUS_WRITE_ERROR : CAIRO_STATUS_SUCCESS;
}

static cairo_surface_t *make_surface(const plot_layout *layout, fleck_plot_format format,
                                     fleck_text *file)
{
    const double scale = PNG_PPI / 72;
    cairo_surface_t *surface;

    switch (format) {
    case FLECK_PLOT_SVG:
        surface = cairo_svg_surface_create_for_stream(take_bytes, file, layout->width_pt,
                                                      layout->height_pt);
        cairo_svg_surface_restrict_to_version(surface, CAIRO_SVG_VERSION_1_1);
        return surface;
    case FLECK_PLOT_PDF:
        surface = cairo_pdf_surface_create_for_stream(take_bytes, file, layout->width_pt,
                                                      layout->height_pt);
        cairo_pdf_surface_restrict_to_version(surface, CAIRO_PDF_VERSION_1_5);
        cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATE_DATE,
                                       "2000-01-01T00:00:00Z");
        return surface;
    default:
        return cairo_image_surface_create(CAIRO_FORMAT_RGB24, (int)ceil(layout->width_pt * scale),
                                          (int)ceil(layout->height_pt * scale));
    }
}

static void add_escaped(fleck_text *text, const char *raw)
{
    for (; *raw != '\0'; raw++) {
        switch (*raw) {
        case '&':
            fleck_text_add(text, "&amp;");
            break;
        case '<':
            fleck_text_add(text, "&lt;");
            break;
        case '>':
            fleck_text_add(text, "&gt;");
            break;
        default:
            fleck_text_add_bytes(text, raw, 1);
            break;
        }
    }
}

/* Give the document its description, and the group of the surface a name without a number. */
static void mend_svg(const fleck_plot *plot, fleck_text *file)
{
    static const char group[] = "<g id=\"surface";
    const char *const start = file->bytes != NULL ? strstr(file->bytes, "<svg") : NULL;
    const char *head_end = start != NULL ? strchr(start, '>') : NULL;
    const char *rest, *found;
    fleck_text mended = { 0 };

    if (head_end == NULL)
        return;
    head_end++;
    fleck_text_add_bytes(&mended, file->bytes, (size_t)(head_end - file->bytes));
    if (plot->caption != NULL && plot->caption[0] != '\0') {
        fleck_text_add(&mended, "\n<desc>");
        add_escaped(&mended, plot->caption);
        fleck_text_add(&mended, "</desc>");
    }
    for (rest = head_end; (found = strstr(rest, group)) != NULL;) {
        const char *const number = found + strlen(group);

        fleck_text_add_bytes(&mended, rest, (size_t)(found - rest));
        fleck_text_add(&mended, "<g id=\"plot");
        rest = number + strspn(number, "0123456789");
    }
    fleck_text_add(&mended, rest);
    fleck_text_clear(file);
    *file = mended;
}

/* Say the resolution, which cairo does not: without it a page takes the plot for a large one. */
static void mend_png(fleck_text *file)
{
    /* 11811 pixels per metre, 300 ppi, with its checksum; PNG (ISO/IEC 15948), 11.3.5.3 */
    static const char resolution[] = "\0\0\0\x09pHYs\0\0\x2e\x23\0\0\x2e\x23\x01\x78\xa5\x3f\x76";
    enum { AFTER_HEADER = 33 };
    fleck_text mended = { 0 };

    if (file->length < AFTER_HEADER)
        return;
    fleck_text_add_bytes(&mended, file->bytes, AFTER_HEADER);
    fleck_text_add_bytes(&mended, resolution, sizeof resolution - 1);
    fleck_text_add_bytes(&mended, file->bytes + AFTER_HEADER, file->length - AFTER_HEADER);
    fleck_text_clear(file);
    *file = mended;
}

static fleck_status draw_file(const plot_layout *layout, fleck_plot_format format, fleck_text *file,
                              fleck_error *err)
{
    cairo_surface_t *const surface = make_surface(layout, format, file);
    cairo_t *const cairo = cairo_create(surface);
    cairo_status_t drawn;
    fleck_status status;

    if (format == FLECK_PLOT_PNG)
        cairo_scale(cairo, PNG_PPI / 72, PNG_PPI / 72);
    status = plot_draw(layout, cairo, err);
    if (status == FLECK_OK && format == FLECK_PLOT_PNG) {
        drawn = cairo_surface_write_to_png_stream(surface, take_bytes, file);
    } else {
        cairo_show_page(cairo);
        cairo_surface_finish(surface);
        drawn = cairo_surface_status(surface);
    }
    cairo_destroy(cairo);
    cairo_surface_destroy(surface);
    if (status == FLECK_OK && (drawn != CAIRO_STATUS_SUCCESS || file->failed))
        status =
            fleck_fail(err, FLECK_NO_RESOURCE, "the plot cannot be drawn (%s); free some memory",
                       cairo_status_to_string(drawn));
    return status;
}

fleck_status fleck_plot_render(const fleck_plot *plot, fleck_plot_format format,
                               unsigned char **bytes, size_t *size, fleck_error *err)
{
    plot_layout layout = { 0 };
    fleck_text file = { 0 };
    fleck_status status;

    *bytes = NULL;
    *size = 0;
    if (plot->error.status != FLECK_OK)
        return fleck_fail(err, plot->error.status, "%s", plot->error.message);
    if ((status = plot_layout_make(plot, &layout, err)) != FLECK_OK)
        goto done;
    if ((status = draw_file(&layout, format, &file, err)) != FLECK_OK)
        goto done;
    if (format == FLECK_PLOT_SVG)
        mend_svg(plot, &file);
    else if (format == FLECK_PLOT_PNG)
        mend_png(&file);
    if (file.failed || file.bytes == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the plot; free some memory");
        goto done;
    }
    *bytes = (unsigned char *)file.bytes;
    *size = file.length;
    file = (fleck_text){ 0 };
done:
    fleck_text_clear(&file);
    plot_layout_clear(&layout);
    return status;
}
