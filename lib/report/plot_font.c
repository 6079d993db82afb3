/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report/plot_font.h"

#include <stdint.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"
#include "core/utf8.h"

#define ELLIPSIS "\xe2\x80\xa6"
#define MEASURED_AT 100.0

/* Cairo takes one font for a text. Prints come from Japan often enough to look for its fonts. */
static const char *const families[PLOT_FAMILIES] = { "DejaVu Sans", "Noto Sans CJK JP", "IPAGothic",
                                                     "Noto Sans" };

cairo_font_options_t *plot_font_options(void)
{
    cairo_font_options_t *const options = cairo_font_options_create();

    /* hinting fits letters to pixels, which would make widths depend on the format */
    cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
    cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
    cairo_font_options_set_antialias(options, CAIRO_ANTIALIAS_GRAY);
    return options;
}

fleck_status plot_fonts_init(plot_fonts *fonts, fleck_error *err)
{
    cairo_font_options_t *const options = plot_font_options();
    cairo_matrix_t size, identity;
    fleck_status status = FLECK_OK;

    *fonts = (plot_fonts){ 0 };
    cairo_matrix_init_scale(&size, MEASURED_AT, MEASURED_AT);
    cairo_matrix_init_identity(&identity);
    for (size_t i = 0; i < PLOT_FAMILIES; i++) {
        fonts->face[i] = cairo_toy_font_face_create(families[i], CAIRO_FONT_SLANT_NORMAL,
                                                    CAIRO_FONT_WEIGHT_NORMAL);
        fonts->at_100[i] = cairo_scaled_font_create(fonts->face[i], &size, &identity, options);
        if (cairo_scaled_font_status(fonts->at_100[i]) != CAIRO_STATUS_SUCCESS)
            status = FLECK_NO_RESOURCE;
    }
    cairo_font_options_destroy(options);
    if (status != FLECK_OK)
        fleck_fail(err, status, "no font can be opened for the plot; install DejaVu Sans");
    return status;
}

void plot_fonts_clear(plot_fonts *fonts)
{
    for (size_t i = 0; i < PLOT_FAMILIES; i++) {
        cairo_scaled_font_destroy(fonts->at_100[i]);
        cairo_font_face_destroy(fonts->face[i]);
    }
    *fonts = (plot_fonts){ 0 };
}

bool plot_fonts_failed(const plot_fonts *fonts)
{
    for (size_t i = 0; i < PLOT_FAMILIES; i++) {
        if (cairo_scaled_font_status(fonts->at_100[i]) != CAIRO_STATUS_SUCCESS)
            return true;
    }
    return false;
}

static bool has_all(cairo_scaled_font_t *font, const char *text)
{
    cairo_glyph_t *glyphs = NULL;
    int count = 0;
    bool all = true;

    if (cairo_scaled_font_text_to_glyphs(font, 0, 0, text, -1, &glyphs, &count, NULL, NULL, NULL) !=
        CAIRO_STATUS_SUCCESS)
        return false;
    for (int i = 0; i < count; i++)
        all = all && glyphs[i].index != 0;
    cairo_glyph_free(glyphs);
    return all;
}

size_t plot_font_family(const plot_fonts *fonts, const char *text)
{
    bool ascii = true;

    for (const char *c = text; *c != '\0'; c++)
        ascii = ascii && (*c & 0x80) == 0;
    for (size_t i = 0; !ascii && i < PLOT_FAMILIES; i++) {
        if (has_all(fonts->at_100[i], text))
            return i;
    }
    return 0;
}

double plot_text_width(const plot_fonts *fonts, const char *text, double size_pt)
{
    cairo_text_extents_t extents = { 0 };

    cairo_scaled_font_text_extents(fonts->at_100[plot_font_family(fonts, text)], text, &extents);
    return extents.x_advance * size_pt / MEASURED_AT;
}

/* Whether a place in a text is a character's start, and none that joins the one before it. */
static bool may_cut(const char *at)
{
    uint32_t character = 0;

    if ((*at & 0xc0) == 0x80)
        return false;
    if (*at == '\0' || fleck_utf8_next(at, strlen(at), &character) == 0)
        return true;
    return !(character >= 0x300 && character <= 0x36f) && character != 0x200d &&
           !(character >= 0xfe00 && character <= 0xfe0f);
}

/* The first `kept` bytes or fewer and about as many of the end, an ellipsis between them. */
static char *cut_middle(const char *text, size_t length, size_t kept)
{
    fleck_text cut = { 0 };
    size_t head = kept, tail = length - kept;

    while (head > 0 && !may_cut(text + head))
        head--;
    while (tail < length && !may_cut(text + tail))
        tail++;
    while (head > 0 && text[head - 1] == ' ')
        head--;
    while (text[tail] == ' ')
        tail++;
    fleck_text_add_bytes(&cut, text, head);
    fleck_text_add(&cut, ELLIPSIS);
    fleck_text_add(&cut, text + tail);
    if (cut.failed)
        fleck_text_clear(&cut);
    return cut.bytes;
}

char *plot_text_shorten(const plot_fonts *fonts, const char *text, double size_pt, double width_pt)
{
    const size_t length = strlen(text);
    size_t fits = 0, too_many = length / 2 + 1;

    if (plot_text_width(fonts, text, size_pt) <= width_pt)
        return fleck_copy_text(text);
    while (too_many - fits > 1) {
        const size_t middle = fits + (too_many - fits) / 2;
        char *const cut = cut_middle(text, length, middle);
        bool fit;

        if (cut == NULL)
            return NULL;
        fit = plot_text_width(fonts, cut, size_pt) <= width_pt;
        fleck_free(cut);
        if (fit)
            fits = middle;
        else
            too_many = middle;
    }
    return cut_middle(text, length, fits);
}

static bool add_line(plot_lines *lines, size_t *capacity, char *line)
{
    char **const list = fleck_grow(lines->line, capacity, lines->count, sizeof *list);

    if (list == NULL || line == NULL) {
        if (list != NULL)
            lines->line = list;
        fleck_free(line);
        return false;
    }
    lines->line = list;
    lines->line[lines->count++] = line;
    return true;
}

static char *copy_bytes(const char *text, size_t length)
{
    char *const copy = fleck_alloc_array(length + 1, 1);

    if (copy != NULL) {
        memcpy(copy, text, length);
        copy[length] = '\0';
    }
    return copy;
}

/*
 * Bytes of the longest line at the start of a text, which does not begin with a blank; at least one
 * character. *failed: no memory.
 */
static size_t line_length(const plot_fonts *fonts, const char *text, double size_pt,
                          double width_pt, bool *failed)
{
    size_t best = 0, at = 0;
    bool broken_word = false;

    while (text[at] != '\0' && text[at] != '\n') {
        size_t end = at + 1;
        char *line;
        bool fits;

        while (!may_cut(text + end) ||
               (!broken_word && text[end] != ' ' && text[end] != '\n' && text[end] != '\0'))
            end++;
        line = copy_bytes(text, end);
        if (line == NULL) {
            *failed = true;
            return 0;
        }
        fits = plot_text_width(fonts, line, size_pt) <= width_pt;
        fleck_free(line);
        if (!fits && best == 0 && !broken_word) {
            broken_word = true; /* no word fits: break this one */
            continue;
        }
        if (!fits)
            return best > 0 ? best : end;
        best = at = end;
    }
    return best;
}

static char *join_lines(const char *text)
{
    char *const joined = fleck_copy_text(text);

    for (char *c = joined; c != NULL && *c != '\0'; c++) {
        if (*c == '\n')
            *c = ' ';
    }
    return joined;
}

fleck_status plot_text_wrap(const plot_fonts *fonts, const char *text, double size_pt,
                            double width_pt, size_t most, plot_lines *out, fleck_error *err)
{
    size_t capacity = 0;
    bool failed = false;

    *out = (plot_lines){ 0 };
    while (!failed) {
        size_t length;

        text += strspn(text, " ");
        if (*text == '\0')
            return FLECK_OK;
        length = line_length(fonts, text, size_pt, width_pt, &failed);
        if (failed)
            break;
        if (out->count + 1 == most && text[length + strspn(text + length, " \n")] != '\0') {
            char *const rest = join_lines(text);

            failed = rest == NULL ||
                     !add_line(out, &capacity, plot_text_shorten(fonts, rest, size_pt, width_pt));
            fleck_free(rest);
            if (!failed)
                return FLECK_OK;
            break;
        }
        failed = !add_line(out, &capacity, copy_bytes(text, length));
        text += length;
        text += strspn(text, " ");
        if (*text == '\n')
            text++;
    }
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the plot's texts; free some memory");
}

void plot_lines_clear(plot_lines *lines)
{
    for (size_t i = 0; i < lines->count; i++)
        fleck_free(lines->line[i]);
    fleck_free(lines->line);
    *lines = (plot_lines){ 0 };
}
