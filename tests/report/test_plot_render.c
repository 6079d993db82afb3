/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The files of plots: whole, well-formed, the same each time, drawn where they were laid out. */
#include <expat.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "report/plot_examples.h"
#include "report/plot_layout.h"
#include "report/png_surface.h"
#include "support/check.h"

typedef struct file {
    unsigned char *bytes;
    size_t size;
} file;

static file render(const fleck_plot *plot, fleck_plot_format format)
{
    file drawn = { 0 };
    fleck_error err = { 0 };

    if (fleck_plot_render(plot, format, &drawn.bytes, &drawn.size, &err) != FLECK_OK)
        fail_msg("%s", err.message);
    return drawn;
}

static fleck_plot example(const char *name, fleck_plot_size size)
{
    fleck_plot plot = { .size = size };

    for (size_t i = 0; i < plot_example_count; i++) {
        if (strcmp(plot_examples[i].name, name) == 0)
            plot_examples[i].fill(&plot);
    }
    assert_true(plot.series_count > 0);
    return plot;
}

static void the_same_plot_gives_the_same_bytes(void **state)
{
    (void)state;
    for (size_t i = 0; i < plot_example_count; i += 3) {
        for (int format = FLECK_PLOT_SVG; format <= FLECK_PLOT_PNG; format++) {
            fleck_plot first = { 0 }, second = { 0 };
            file a, b;

            plot_examples[i].fill(&first);
            a = render(&first, (fleck_plot_format)format);
            fleck_plot_clear(&first);
            plot_examples[i].fill(&second);
            b = render(&second, (fleck_plot_format)format);
            fleck_plot_clear(&second);
            assert_int_equal(a.size, b.size);
            assert_memory_equal(a.bytes, b.bytes, a.size);
            free(a.bytes);
            free(b.bytes);
        }
    }
}

/* What an SVG says of itself. */
typedef struct parsed {
    size_t elements, depth;
    bool in_description;
    char description[1000];
} parsed;

static void XMLCALL begin(void *data, const XML_Char *name, const XML_Char **attributes)
{
    parsed *const svg = data;

    (void)attributes;
    if (svg->depth++ == 0)
        assert_string_equal(name, "svg");
    svg->elements++;
    svg->in_description = strcmp(name, "desc") == 0;
}

static void XMLCALL end(void *data, const XML_Char *name)
{
    parsed *const svg = data;

    (void)name;
    svg->depth--;
    svg->in_description = false;
}

static void XMLCALL text(void *data, const XML_Char *characters, int length)
{
    parsed *const svg = data;

    if (svg->in_description && strlen(svg->description) + (size_t)length < sizeof svg->description)
        strncat(svg->description, characters, (size_t)length);
}

static void svg_is_well_formed_and_holds_the_caption(void **state)
{
    (void)state;
    for (size_t i = 0; i < plot_example_count; i++) {
        fleck_plot plot = { 0 };
        XML_Parser parser = XML_ParserCreate(NULL);
        parsed svg = { 0 };
        file drawn;

        plot_examples[i].fill(&plot);
        drawn = render(&plot, FLECK_PLOT_SVG);
        XML_SetUserData(parser, &svg);
        XML_SetElementHandler(parser, begin, end);
        XML_SetCharacterDataHandler(parser, text);
        if (XML_Parse(parser, (const char *)drawn.bytes, (int)drawn.size, XML_TRUE) !=
            XML_STATUS_OK)
            fail_msg("%s: line %lu: %s", plot_examples[i].name, XML_GetCurrentLineNumber(parser),
                     XML_ErrorString(XML_GetErrorCode(parser)));
        assert_true(svg.elements > 20);
        assert_string_equal(svg.description, plot.caption != NULL ? plot.caption : "");
        XML_ParserFree(parser);
        free(drawn.bytes);
        fleck_plot_clear(&plot);
    }
}

static bool holds(const file *drawn, const char *part)
{
    const size_t length = strlen(part);

    for (size_t i = 0; i + length <= drawn->size; i++) {
        if (memcmp(drawn->bytes + i, part, length) == 0)
            return true;
    }
    return false;
}

static void pdf_holds_its_font_and_no_date_of_today(void **state)
{
    fleck_plot plot = example("spectrum", FLECK_PLOT_PAGE);
    const file drawn = render(&plot, FLECK_PLOT_PDF);

    (void)state;
    assert_memory_equal(drawn.bytes, "%PDF-1.", 7);
    assert_true(holds(&drawn, "20000101000000Z"));
    assert_true(holds(&drawn, "/FontFile2"));
    assert_true(holds(&drawn, "%%EOF"));
    free(drawn.bytes);
    fleck_plot_clear(&plot);
}

/* Whether a place is where the layout has put something. */
static bool is_foreseen(const plot_layout *layout, double x, double y)
{
    const plot_box *const panel = &layout->panel;

    /* ticks and markers reach beyond the panel; rules go up to their labels */
    if (x > panel->left - 4 && x < panel->right + 4 && y > panel->top - 4 && y < panel->bottom + 4)
        return true;
    for (size_t s = 0; s < layout->plot->series_count; s++) {
        const fleck_plot_series *const series = &layout->plot->series[s];

        if (series->kind == FLECK_PLOT_RULE_X && y >= layout->rule_top_pt[s] - 0.5 &&
            y <= panel->top && fabs(x - plot_scale_place(&layout->ranges.x, series->at)) < 1)
            return true;
    }
    for (size_t i = 0; i < layout->key_count; i++) {
        if (x > layout->keys[i].x_pt - 1 && x < layout->keys[i].x_pt + PLOT_KEY_PT + 1 &&
            fabs(y - layout->keys[i].y_pt) < layout->small_pt)
            return true;
    }
    for (size_t i = 0; i < layout->text_count; i++) {
        const plot_box box = plot_text_box(&layout->texts[i]);

        if (x > box.left - 0.5 && x < box.right + 0.5 && y > box.top - 0.5 && y < box.bottom + 0.5)
            return true;
    }
    return false;
}

static void png_has_300_ppi_and_ink_only_where_it_was_laid_out(void **state)
{
    static const char *const names[] = { "sizes", "long-groups", "chart", "wordy" };
    static const unsigned char resolution[] = { 'p',  'H', 'Y', 's',  0,    0, 0x2e,
                                                0x23, 0,   0,   0x2e, 0x23, 1 };

    (void)state;
    for (size_t n = 0; n < sizeof names / sizeof *names; n++) {
        fleck_plot plot = example(names[n], FLECK_PLOT_COLUMN);
        plot_layout layout;
        file drawn = render(&plot, FLECK_PLOT_PNG);
        cairo_surface_t *const surface = png_surface((const unsigned char *)drawn.bytes, drawn.size);
        const int width = cairo_image_surface_get_width(surface);
        const int height = cairo_image_surface_get_height(surface);
        const size_t stride = (size_t)cairo_image_surface_get_stride(surface);
        const unsigned char *const pixels = cairo_image_surface_get_data(surface);
        size_t inked = 0;

        assert_int_equal(cairo_surface_status(surface), CAIRO_STATUS_SUCCESS);
        assert_memory_equal(drawn.bytes + 37, resolution, sizeof resolution);
        assert_int_equal(plot_layout_make(&plot, &layout, NULL), FLECK_OK);
        assert_int_equal(width, 1004); /* 85 mm */
        assert_int_equal(height, (int)ceil(layout.height_pt * 300 / 72));
        for (int y = 0; y < height; y++) {
            for (int x = 0; x < width; x++) {
                /* green */
                if (pixels[(size_t)y * stride + 4 * (size_t)x + 1] > 128)
                    continue;
                inked++;
                if (!is_foreseen(&layout, (x + 0.5) * 72 / 300, (y + 0.5) * 72 / 300))
                    fail_msg("%s: ink at %d, %d, where nothing was laid out", names[n], x, y);
            }
        }
        assert_true(inked > 5000);
        cairo_surface_destroy(surface);
        plot_layout_clear(&layout);
        free(drawn.bytes);
        fleck_plot_clear(&plot);
    }
}

static void what_lacks_its_arrays_is_refused(void **state)
{
    static const double values[] = { 1, 2 };
    static const fleck_plot_series lacking[] = {
        { .kind = FLECK_PLOT_LINE, .count = 2, .x = values },
        { .kind = FLECK_PLOT_POINTS, .count = 2, .y = values },
        { .kind = FLECK_PLOT_BARS, .count = 2, .x = values, .y = values },
        { .kind = FLECK_PLOT_INTERVALS, .count = 2, .x = values, .y = values },
        { .kind = FLECK_PLOT_BAND, .count = 2, .x = values, .lo = values },
        { .kind = FLECK_PLOT_NOTES, .count = 2, .x = values, .y = values },
        { .kind = (fleck_plot_kind)99, .count = 0 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof lacking / sizeof *lacking; i++) {
        fleck_plot plot = { 0 };
        unsigned char *bytes = (unsigned char *)1;
        size_t size = 1;
        fleck_error err = { 0 };

        fleck_plot_add(&plot, &lacking[i]);
        assert_int_equal(fleck_plot_render(&plot, FLECK_PLOT_SVG, &bytes, &size, &err),
                         FLECK_BAD_CALL);
        assert_null(bytes);
        assert_int_equal(size, 0);
        assert_non_null(strchr(err.message, ';'));
        fleck_plot_clear(&plot);
        /* after clearing it can be used again */
        assert_int_equal(fleck_plot_render(&plot, FLECK_PLOT_SVG, &bytes, &size, &err), FLECK_OK);
        free(bytes);
    }
}

static void names_on_the_y_axis_are_refused(void **state)
{
    fleck_plot plot = { 0 };
    unsigned char *bytes;
    size_t size;

    (void)state;
    fleck_plot_set_y(&plot, &(fleck_plot_axis){ .scale = FLECK_PLOT_NAMES });
    assert_int_equal(fleck_plot_render(&plot, FLECK_PLOT_SVG, &bytes, &size, NULL), FLECK_BAD_CALL);
    fleck_plot_clear(&plot);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_same_plot_gives_the_same_bytes),
        cmocka_unit_test(svg_is_well_formed_and_holds_the_caption),
        cmocka_unit_test(pdf_holds_its_font_and_no_date_of_today),
        cmocka_unit_test(png_has_300_ppi_and_ink_only_where_it_was_laid_out),
        cmocka_unit_test(what_lacks_its_arrays_is_refused),
        cmocka_unit_test(names_on_the_y_axis_are_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
