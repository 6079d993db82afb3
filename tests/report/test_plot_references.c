/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Plots of each kind against pictures of them that were looked at and kept: the PNG as it is, and the
 * PDF as poppler draws it. References hold one value for each cell of the picture, so that another
 * version of a font or library makes no difference and a curve left out or moved does.
 *
 * `test_plot_references --renew` draws them anew; look at them before they are committed.
 */
#include <cairo.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "report/plot_examples.h"
#include "support/check.h"

enum { CELL_PX = 4 }; /* a third of a millimetre */

/* Cells in which the darkness differs by more than `far` are wrong; so many are let pass. */
static const double far = 0.2, share_let_pass = 0.0008;

static const char *const shown[] = { "sizes", "spacing", "spectrum", "chords", "covariance", "order",
                                     "three-groups", "factor", "chart" };

enum { SHOWN = sizeof shown / sizeof *shown };

/* Mean lightness of cells, 0 to 255. */
typedef struct cells {
    size_t width, height;
    uint8_t *lightness;
} cells;

static cells average(const uint8_t *grey, size_t width, size_t height, size_t pitch)
{
    cells made = { width / CELL_PX, height / CELL_PX, NULL };

    made.lightness = malloc(made.width * made.height);
    assert_non_null(made.lightness);
    for (size_t y = 0; y < made.height; y++) {
        for (size_t x = 0; x < made.width; x++) {
            unsigned sum = 0;

            for (size_t i = 0; i < CELL_PX * CELL_PX; i++)
                sum += grey[(y * CELL_PX + i / CELL_PX) * pitch + x * CELL_PX + i % CELL_PX];
            made.lightness[y * made.width + x] = (uint8_t)(sum / (CELL_PX * CELL_PX));
        }
    }
    return made;
}

typedef struct source {
    const unsigned char *bytes;
    size_t size, read;
} source;

static cairo_status_t read_source(void *closure, unsigned char *into, unsigned count)
{
    source *const from = closure;

    if (from->size - from->read < count)
        return CAIRO_STATUS_READ_ERROR;
    memcpy(into, from->bytes + from->read, count);
    from->read += count;
    return CAIRO_STATUS_SUCCESS;
}

/* Grey of a PNG of opaque colours: its green. */
static cells cells_of_png(const unsigned char *bytes, size_t size)
{
    source from = { bytes, size, 0 };
    cairo_surface_t *const picture = cairo_image_surface_create_from_png_stream(read_source, &from);
    const size_t width = (size_t)cairo_image_surface_get_width(picture);
    const size_t height = (size_t)cairo_image_surface_get_height(picture);
    const size_t stride = (size_t)cairo_image_surface_get_stride(picture);
    const unsigned char *const pixels = cairo_image_surface_get_data(picture);
    uint8_t *const grey = malloc(width * height);
    cells made;

    assert_int_equal(cairo_surface_status(picture), CAIRO_STATUS_SUCCESS);
    assert_non_null(grey);
    for (size_t y = 0; y < height; y++) {
        for (size_t x = 0; x < width; x++) {
            uint32_t pixel;

            memcpy(&pixel, pixels + y * stride + 4 * x, sizeof pixel);
            grey[y * width + x] = (uint8_t)(pixel >> 8);
        }
    }
    made = average(grey, width, height, width);
    free(grey);
    cairo_surface_destroy(picture);
    return made;
}

/* A PDF as pdftoppm draws it, at the 300 ppi of the PNG. */
static cells cells_of_pdf(const unsigned char *bytes, size_t size)
{
    char path[] = "/tmp/fleck-plot-XXXXXX", command[128];
    const int file = mkstemp(path);
    size_t width = 0, height = 0;
    uint8_t *grey;
    FILE *pipe;
    cells made;

    assert_true(file >= 0);
    pipe = fdopen(file, "wb");
    assert_non_null(pipe);
    assert_int_equal(fwrite(bytes, 1, size, pipe), size);
    fclose(pipe);
    snprintf(command, sizeof command, "pdftoppm -r 300 -gray %s", path);
    pipe = popen(command, "r");
    assert_non_null(pipe);
    assert_int_equal(fscanf(pipe, "P5 %zu %zu 255", &width, &height), 2);
    (void)fgetc(pipe);
    assert_in_range(width, 500, 5000);
    assert_in_range(height, 300, 5000);
    grey = malloc(width * height);
    assert_non_null(grey);
    assert_int_equal(fread(grey, 1, width * height, pipe), width * height);
    assert_int_equal(pclose(pipe), 0);
    remove(path);
    made = average(grey, width, height, width);
    free(grey);
    return made;
}

static void fill(const char *name, fleck_plot *plot)
{
    *plot = (fleck_plot){ .size = FLECK_PLOT_COLUMN };
    for (size_t i = 0; i < plot_example_count; i++) {
        if (strcmp(plot_examples[i].name, name) == 0)
            plot_examples[i].fill(plot);
    }
    plot->size = FLECK_PLOT_COLUMN;
    assert_true(plot->series_count > 0);
}

static cells draw(const fleck_plot *plot, fleck_plot_format format)
{
    unsigned char *bytes;
    fleck_error err = { 0 };
    size_t size;
    cells made;

    if (fleck_plot_render(plot, format, &bytes, &size, &err) != FLECK_OK)
        fail_msg("%s", err.message);
    made = format == FLECK_PLOT_PDF ? cells_of_pdf(bytes, size) : cells_of_png(bytes, size);
    free(bytes);
    return made;
}

static void reference_path(const char *name, char path[512])
{
    snprintf(path, 512, "%s/../report/references/%s.png", FLECK_TEST_DATA, name);
}

/* References are grey pictures with a pixel for each cell. */
static cells read_reference(const char *name)
{
    char path[512];
    cairo_surface_t *picture;
    cells made;

    reference_path(name, path);
    picture = cairo_image_surface_create_from_png(path);
    if (cairo_surface_status(picture) != CAIRO_STATUS_SUCCESS)
        fail_msg("%s cannot be read", path);
    made.width = (size_t)cairo_image_surface_get_width(picture);
    made.height = (size_t)cairo_image_surface_get_height(picture);
    made.lightness = malloc(made.width * made.height);
    assert_non_null(made.lightness);
    for (size_t i = 0; i < made.width * made.height; i++) {
        uint32_t pixel;

        memcpy(&pixel,
               cairo_image_surface_get_data(picture) +
                   i / made.width * (size_t)cairo_image_surface_get_stride(picture) +
                   4 * (i % made.width),
               sizeof pixel);
        made.lightness[i] = (uint8_t)(pixel >> 8);
    }
    cairo_surface_destroy(picture);
    return made;
}

/* Lightest and darkest of a cell and its eight neighbours. */
static void range_around(const cells *picture, size_t x, size_t y, int *least, int *most)
{
    *least = 255;
    *most = 0;
    for (size_t v = y > 0 ? y - 1 : 0; v <= y + 1 && v < picture->height; v++) {
        for (size_t u = x > 0 ? x - 1 : 0; u <= x + 1 && u < picture->width; u++) {
            const int value = picture->lightness[v * picture->width + u];

            *least = value < *least ? value : *least;
            *most = value > *most ? value : *most;
        }
    }
}

/* Share of the cells of one picture that nothing in or beside that place of the other is like. */
static double share_unlike(const cells *one, const cells *other)
{
    size_t unlike = 0;

    if (one->width != other->width || one->height != other->height)
        return 1;
    for (size_t y = 0; y < one->height; y++) {
        for (size_t x = 0; x < one->width; x++) {
            const int value = one->lightness[y * one->width + x];
            int least, most;

            range_around(other, x, y, &least, &most);
            unlike += value < least - 255 * far || value > most + 255 * far;
        }
    }
    return (double)unlike / (double)(one->width * one->height);
}

/* Both ways: ink that is new, and ink that is gone. */
static double difference(const cells *one, const cells *other)
{
    const double gone = share_unlike(one, other), new = share_unlike(other, one);

    return gone > new ? gone : new;
}

static void check_like(const char *name, fleck_plot_format format)
{
    const cells reference = read_reference(name);
    fleck_plot plot;
    cells drawn;
    double found;

    fill(name, &plot);
    drawn = draw(&plot, format);
    found = difference(&drawn, &reference);
    if (found > share_let_pass)
        fail_msg("%s: %.2f %% of its cells are not as kept (%zu x %zu, kept %zu x %zu)", name,
                 100 * found, drawn.width, drawn.height, reference.width, reference.height);
    free(drawn.lightness);
    free(reference.lightness);
    fleck_plot_clear(&plot);
}

static void png_of_each_kind_is_as_it_was_looked_at(void **state)
{
    (void)state;
    for (size_t i = 0; i < SHOWN; i++)
        check_like(shown[i], FLECK_PLOT_PNG);
}

static void pdf_of_each_kind_is_the_same_picture(void **state)
{
    (void)state;
    for (size_t i = 0; i < SHOWN; i++)
        check_like(shown[i], FLECK_PLOT_PDF);
}

static void a_series_left_out_is_noticed(void **state)
{
    (void)state;
    for (size_t i = 0; i < SHOWN; i++) {
        const cells reference = read_reference(shown[i]);
        fleck_plot plot;
        size_t gone = 0;
        cells drawn;

        fill(shown[i], &plot);
        while (plot.series[gone].count < 2) /* a rule */
            gone++;
        plot.series[gone].count = 0;
        drawn = draw(&plot, FLECK_PLOT_PNG);
        if (difference(&drawn, &reference) <= share_let_pass)
            fail_msg("%s without a series looks as kept", shown[i]);
        free(drawn.lightness);
        free(reference.lightness);
        fleck_plot_clear(&plot);
    }
}

static int renew(void)
{
    for (size_t i = 0; i < SHOWN; i++) {
        cairo_surface_t *picture;
        fleck_plot plot;
        char path[512];
        cells drawn;

        fill(shown[i], &plot);
        drawn = draw(&plot, FLECK_PLOT_PNG);
        picture = cairo_image_surface_create(CAIRO_FORMAT_RGB24, (int)drawn.width, (int)drawn.height);
        for (size_t j = 0; j < drawn.width * drawn.height; j++) {
            const uint32_t pixel = drawn.lightness[j] * UINT32_C(0x010101);

            memcpy(cairo_image_surface_get_data(picture) +
                       j / drawn.width * (size_t)cairo_image_surface_get_stride(picture) +
                       4 * (j % drawn.width),
                   &pixel, sizeof pixel);
        }
        cairo_surface_mark_dirty(picture);
        reference_path(shown[i], path);
        if (cairo_surface_write_to_png(picture, path) != CAIRO_STATUS_SUCCESS)
            return 1;
        cairo_surface_destroy(picture);
        free(drawn.lightness);
        fleck_plot_clear(&plot);
    }
    return 0;
}

int main(int argc, char **argv)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(png_of_each_kind_is_as_it_was_looked_at),
        cmocka_unit_test(pdf_of_each_kind_is_the_same_picture),
        cmocka_unit_test(a_series_left_out_is_noticed),
    };

    if (argc == 2 && strcmp(argv[1], "--renew") == 0)
        return renew();
    return cmocka_run_group_tests(tests, NULL, NULL);
}
