/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Texts are drawn in greys; the samples of lines in the palette's own colours, on a swatch of paper
 * and ink as the lines lie in the patch. Laid out once without drawing, which gives the height.
 */
#include "report/overlay_footer.h"

#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"
#include "report/overlay_lines.h"
#include "report/overlay_palette.h"
#include "report/overlay_text.h"
#include "report/plot_number.h"

enum {
    MOST_WIDTH_PX = 4000, /* wider pictures stay white at the right */
    LEAST_FONT_PX = 14,
    MOST_FONT_PX = 40,
    MOST_LINES = 6 /* of one entry */
};
#define COLUMNS_PER_FONT 70 /* width of the picture over the size of its font */
#define SWATCH 3.2          /* width of a sample in font sizes */

struct footer {
    const fleck_patch_view *view;
    const fleck_overlay_place *place;
    cairo_t *cairo; /* NULL: only laid out */
    plot_fonts fonts;
    double font_px, width_px, left_px, right_px, y;
    bool light;
    uint8_t palette[OVERLAY_COLOURS][3];
};

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the picture's legend; free some memory");
}

static void set_place(const struct footer *footer, unsigned at)
{
    cairo_set_source_rgb(footer->cairo, footer->palette[at][0] / 255.0,
                         footer->palette[at][1] / 255.0, footer->palette[at][2] / 255.0);
}

static void fill(const struct footer *footer, unsigned place, double x, double y, double width,
                 double height)
{
    set_place(footer, place);
    cairo_rectangle(footer->cairo, x, y, width, height);
    cairo_fill(footer->cairo);
}

/* Paper above, ink below, the line of a class between them as it lies in the patch. */
static void sample(const struct footer *footer, unsigned class, double x, double y)
{
    const double width = round(SWATCH * footer->font_px), height = round(1.1 * footer->font_px);
    const double thick = fmax(2, round(footer->font_px / 9));
    const double edge = round(height / 2);
    const unsigned paper = footer->light ? OVERLAY_GREYS / 5 : OVERLAY_WHITE - 4;
    const unsigned ink = footer->light ? OVERLAY_WHITE - 8 : OVERLAY_GREYS / 4;
    const unsigned ground = overlay_ground(footer->light);
    const overlay_style style = overlay_style_of(class);
    const bool gaps = style == OVERLAY_DOTTED || style == OVERLAY_DASHED;
    const bool on_edges = footer->place->on_edges || class == OVERLAY_BARE;
    const double on = gaps ? (style == OVERLAY_DOTTED ? 1 : 3) * thick : width;
    double line;

    cairo_save(footer->cairo);
    cairo_set_antialias(footer->cairo, CAIRO_ANTIALIAS_NONE);
    x = round(x);
    y = round(y);
    line = y + edge - (on_edges ? thick : 0);
    fill(footer, class == OVERLAY_BARE ? ground : paper, x, y, width, edge);
    fill(footer, class == OVERLAY_BARE ? paper : ink, x, y + edge, width, height - edge);
    if (gaps)
        fill(footer, ground, x, line, width, thick);
    for (double at = 0; at < width; at += 2 * on)
        fill(footer, overlay_colour(class), x + at, line, fmin(on, width - at), thick);
    if (style == OVERLAY_DOUBLE)
        fill(footer, OVERLAY_INNER, x, y + edge + thick, width, thick);
    cairo_restore(footer->cairo);
}

/* A text of several lines, with the sample of a class before it (OVERLAY_CLASSES: none). */
static fleck_status entry(struct footer *footer, unsigned class, double size_px, const char *text,
                          fleck_error *err)
{
    const double indent = class < OVERLAY_CLASSES ? (SWATCH + 0.7) * size_px : 0;
    plot_lines lines;
    const fleck_status status =
        plot_text_wrap(&footer->fonts, text, size_px,
                       footer->right_px - footer->left_px - indent, MOST_LINES, &lines, err);

    if (status == FLECK_OK && footer->cairo != NULL && class < OVERLAY_CLASSES)
        sample(footer, class, footer->left_px, footer->y + 0.22 * size_px);
    for (size_t i = 0; status == FLECK_OK && i < lines.count; i++) {
        footer->y += PLOT_LINE * size_px;
        if (footer->cairo != NULL) {
            set_place(footer, 0);
            overlay_show(footer->cairo, &footer->fonts, lines.line[i], size_px,
                         footer->left_px + indent, footer->y - PLOT_DESCENT * size_px);
        }
    }
    footer->y += 0.25 * size_px;
    plot_lines_clear(&lines);
    return status;
}

/* The entry of a text that was put together; clears it. */
static fleck_status built(struct footer *footer, unsigned class, fleck_text *text, fleck_error *err)
{
    const fleck_status status =
        text->failed ? no_memory(err) : entry(footer, class, footer->font_px, text->bytes, err);

    fleck_text_clear(text);
    return status;
}

static fleck_status threshold_entry(struct footer *footer, fleck_error *err)
{
    const fleck_record *const record = footer->view->record;
    const char *const method = record->threshold.method != NULL ? record->threshold.method : "";
    const char *const asked = record->settings.threshold != NULL ? record->settings.threshold : "";
    const char *const side = footer->light ? "lighter" : "darker";
    fleck_text text = { 0 };

    if (record->speckle != NULL && strcmp(record->speckle, "present") != 0) {
        fleck_text_add_format(&text, "No speckle was found: the patch is %s, and no dots are measured.",
                              record->speckle);
    } else if (strcmp(method, "local") == 0) {
        fleck_text_add_format(&text, "Ink is what is %s than Otsu's threshold of its surroundings", side);
        if (strncmp(asked, "local:", 6) == 0)
            fleck_text_add_format(&text, ", found in windows of %s mm", asked + 6);
        fleck_text_add(&text, ".");
    } else if (isfinite(record->threshold.threshold_reflectance)) {
        fleck_text_add_format(&text, "Ink is what is %s than a reflectance of ", side);
        plot_number_add(&text, record->threshold.threshold_reflectance, 3);
        fleck_text_add(&text, strcmp(method, "pooled") == 0
                                  ? ", found by Otsu's method from all patches of the run together."
                              : strcmp(method, "fixed") == 0 ? ", as the call fixed it."
                                                             : ", found by Otsu's method in this patch.");
    } else {
        fleck_text_add(&text, "There is no threshold.");
    }
    return built(footer, OVERLAY_CLASSES, &text, err);
}

/* "1 dot" or "2 dots", with a word before it. */
static void add_dots(fleck_text *text, size_t count, const char *word)
{
    fleck_text_add_format(text, "%zu %sdot%s", count, word, count == 1 ? "" : "s");
}

static fleck_status legend(struct footer *footer, const overlay_kinds *kinds, fleck_error *err)
{
    const fleck_record *const record = footer->view->record;
    const double small = record->dots.below_cutoff;
    fleck_text text = { 0 };
    fleck_status status = FLECK_OK;

    if (kinds->count[OVERLAY_COUNTED] > 0) {
        fleck_text_add_format(&text, "%zu of ", kinds->count[OVERLAY_COUNTED]);
        add_dots(&text, footer->view->dot_count, "counted ");
        status = built(footer, OVERLAY_COUNTED, &text, err);
    }
    if (status == FLECK_OK && kinds->count[OVERLAY_MERGED] > 0) {
        add_dots(&text, kinds->count[OVERLAY_MERGED], "counted ");
        fleck_text_add(&text, " with a waist, as of several that merged (--split parts them)");
        status = built(footer, OVERLAY_MERGED, &text, err);
    }
    if (status == FLECK_OK && kinds->count[OVERLAY_EDGE] > 0) {
        add_dots(&text, kinds->count[OVERLAY_EDGE], "counted ");
        fleck_text_add(&text, " that the edge cuts: left out of sizes and numbers per area");
        status = built(footer, OVERLAY_EDGE, &text, err);
    }
    if (status == FLECK_OK && (small > 0 || kinds->without_runs)) {
        add_dots(&text, small > 0 ? (size_t)small : 0, "");
        fleck_text_add(&text, " below the cutoff of ");
        plot_number_add(&text, record->settings.cutoff_mm, 4);
        fleck_text_add(&text, " mm, not counted");
        if (kinds->without_runs)
            fleck_text_add(&text, "; so drawn, too, a counted dot too large to be followed");
        status = built(footer, OVERLAY_SMALL, &text, err);
    }
    if (status == FLECK_OK) {
        fleck_text_add(&text, "border of the measured area of ");
        plot_number_add(&text, record->region.area_mm2, 4);
        fleck_text_add(&text, " mm\xc2\xb2");
        if (footer->view->mask != NULL)
            fleck_text_add(&text, "; what lies beyond is faded");
        status = built(footer, OVERLAY_BARE, &text, err);
    }
    return status;
}

static void scale_bar(struct footer *footer)
{
    const double px_per_mm = footer->place->scale_x / footer->view->geometry->pixel_x_mm;
    const double most_px = 0.3 * (footer->right_px - footer->left_px);

    footer->y += 1.1 * footer->font_px;
    if (footer->cairo != NULL) {
        set_place(footer, 0);
        overlay_show_bar(footer->cairo, &footer->fonts, overlay_bar_mm(most_px / px_per_mm),
                         px_per_mm, footer->font_px, footer->left_px, footer->y);
    }
    footer->y += 0.5 * footer->font_px;
}

/* Lay out, and draw when there is what to draw on. */
static fleck_status compose(struct footer *footer, const overlay_kinds *kinds, bool lines,
                            fleck_error *err)
{
    const char *const id = footer->view->record->id;
    char *const title = overlay_clean_text(id != NULL ? id : "");
    cairo_t *const cairo = footer->cairo;
    fleck_status status = title != NULL ? FLECK_OK : no_memory(err);

    footer->y = 0;
    scale_bar(footer);
    if (status == FLECK_OK)
        status = entry(footer, OVERLAY_CLASSES, 1.25 * footer->font_px, title, err);
    if (status == FLECK_OK)
        status = threshold_entry(footer, err);
    if (!lines)
        footer->cairo = NULL;
    if (status == FLECK_OK)
        status = legend(footer, kinds, err);
    footer->cairo = cairo;
    footer->y += 0.5 * footer->font_px;
    fleck_free(title);
    return status;
}

/* The place in the palette of a colour on the surface. */
static uint8_t find_place(const struct footer *footer, uint32_t colour)
{
    const unsigned red = colour >> 16 & 255, green = colour >> 8 & 255, blue = colour & 255;

    if (red == green && green == blue)
        return (uint8_t)((red * OVERLAY_WHITE + 127) / 255);
    for (unsigned i = OVERLAY_GREYS; i < OVERLAY_COLOURS; i++) {
        if (footer->palette[i][0] == red && footer->palette[i][1] == green &&
            footer->palette[i][2] == blue)
            return (uint8_t)i;
    }
    return OVERLAY_WHITE;
}

static fleck_status draw(struct footer *footer, const overlay_kinds *kinds, bool lines,
                         overlay_footer *out, fleck_error *err)
{
    cairo_surface_t *const surface =
        cairo_image_surface_create(CAIRO_FORMAT_RGB24, (int)out->width_px, (int)out->height_px);
    cairo_font_options_t *const options = plot_font_options();
    fleck_status status = FLECK_OK;

    footer->cairo = cairo_create(surface);
    cairo_set_font_options(footer->cairo, options);
    cairo_set_source_rgb(footer->cairo, 1, 1, 1);
    cairo_paint(footer->cairo);
    out->places = fleck_alloc_array(out->width_px, out->height_px);
    if (out->places == NULL || cairo_status(footer->cairo) != CAIRO_STATUS_SUCCESS)
        status = no_memory(err);
    if (status == FLECK_OK)
        status = compose(footer, kinds, lines, err);
    if (status == FLECK_OK && cairo_status(footer->cairo) != CAIRO_STATUS_SUCCESS)
        status = no_memory(err);
    cairo_surface_flush(surface);
    for (size_t y = 0; status == FLECK_OK && y < out->height_px; y++) {
        const unsigned char *const from =
            cairo_image_surface_get_data(surface) +
            y * (size_t)cairo_image_surface_get_stride(surface);
        const uint32_t *const row = (const uint32_t *)(const void *)from;

        for (size_t x = 0; x < out->width_px; x++)
            out->places[y * out->width_px + x] = find_place(footer, row[x]);
    }
    cairo_destroy(footer->cairo);
    cairo_surface_destroy(surface);
    cairo_font_options_destroy(options);
    return status;
}

fleck_status overlay_footer_make(const fleck_patch_view *view, const overlay_kinds *kinds,
                                 const fleck_overlay_place *place, bool lines,
                                 overlay_footer *out, fleck_error *err)
{
    struct footer footer = {
        .view = view,
        .place = place,
        .left_px = (double)place->left_px,
        .light = overlay_is_light(view->record),
    };
    fleck_status status;

    *out = (overlay_footer){ .width_px = place->picture_width_px };
    if (out->width_px > MOST_WIDTH_PX)
        out->width_px = MOST_WIDTH_PX;
    footer.width_px = (double)out->width_px;
    footer.right_px = footer.width_px - footer.left_px;
    footer.font_px = round(footer.width_px / COLUMNS_PER_FONT);
    footer.font_px = fmax(LEAST_FONT_PX, fmin(MOST_FONT_PX, footer.font_px));
    overlay_palette_fill(footer.light, footer.palette);
    status = plot_fonts_init(&footer.fonts, err);
    if (status == FLECK_OK)
        status = compose(&footer, kinds, lines, err);
    out->height_px = (size_t)ceil(footer.y);
    if (status == FLECK_OK)
        status = draw(&footer, kinds, lines, out, err);
    if (status == FLECK_OK && plot_fonts_failed(&footer.fonts))
        status = no_memory(err);
    plot_fonts_clear(&footer.fonts);
    return status;
}

void overlay_footer_clear(overlay_footer *footer)
{
    fleck_free(footer->places);
    *footer = (overlay_footer){ 0 };
}
