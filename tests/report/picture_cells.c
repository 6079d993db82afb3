/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report/picture_cells.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "report/png_surface.h"
#include "support/check.h"

enum { CELL_PX = 4 }; /* of a plot a third of a millimetre */

/* Cells in which the darkness differs by more than `far` are wrong; so many are let pass. */
static const double far = 0.2, share_let_pass = 0.0008;

static picture_cells average(const uint8_t *grey, size_t width, size_t height, size_t pitch)
{
    picture_cells made = { width / CELL_PX, height / CELL_PX, NULL };

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

picture_cells picture_cells_of_png(const unsigned char *bytes, size_t size)
{
    cairo_surface_t *const picture = png_surface(bytes, size);
    const size_t width = (size_t)cairo_image_surface_get_width(picture);
    const size_t height = (size_t)cairo_image_surface_get_height(picture);
    const size_t stride = (size_t)cairo_image_surface_get_stride(picture);
    const unsigned char *const pixels = cairo_image_surface_get_data(picture);
    uint8_t *const grey = malloc(width * height);
    picture_cells made;

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

picture_cells picture_cells_of_png_file(const char *path)
{
    enum { MOST_BYTES = 1 << 24 };
    unsigned char *const bytes = malloc(MOST_BYTES);
    FILE *const file = fopen(path, "rb");
    picture_cells made;

    assert_non_null(bytes);
    assert_non_null(file);
    made = picture_cells_of_png(bytes, fread(bytes, 1, MOST_BYTES, file));
    fclose(file);
    free(bytes);
    return made;
}

picture_cells picture_cells_of_pdf(const unsigned char *bytes, size_t size)
{
    char path[] = "/tmp/fleck-plot-XXXXXX", command[128];
    const int file = mkstemp(path);
    size_t width = 0, height = 0;
    uint8_t *grey;
    FILE *pipe;
    picture_cells made;

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

static void reference_path(const char *name, char path[512])
{
    snprintf(path, 512, "%s/../report/references/%s.png", FLECK_TEST_DATA, name);
}

/* References are grey pictures with a pixel for each cell. */
static picture_cells read_reference(const char *name)
{
    char path[512];
    cairo_surface_t *picture;
    picture_cells made;

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
static void range_around(const picture_cells *picture, size_t x, size_t y, int *least, int *most)
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
static double share_unlike(const picture_cells *one, const picture_cells *other)
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
static double difference(const picture_cells *one, const picture_cells *other)
{
    const double gone = share_unlike(one, other), new = share_unlike(other, one);

    return gone > new ? gone : new;
}

double picture_cells_off(picture_cells cells, const char *name)
{
    picture_cells reference = read_reference(name);
    const double off = difference(&cells, &reference) / share_let_pass;

    free(reference.lightness);
    free(cells.lightness);
    return off;
}

void check_picture_cells(picture_cells cells, const char *name)
{
    const size_t width = cells.width, height = cells.height;
    const double off = picture_cells_off(cells, name);

    if (off > 1)
        fail_msg("%s (%zu x %zu cells): %.1f times as much is not as kept as is let pass", name, width,
                 height, off);
}

bool picture_cells_keep(picture_cells cells, const char *name)
{
    cairo_surface_t *const picture =
        cairo_image_surface_create(CAIRO_FORMAT_RGB24, (int)cells.width, (int)cells.height);
    uint8_t *const pixels = cairo_image_surface_get_data(picture);
    const size_t stride = (size_t)cairo_image_surface_get_stride(picture);
    char path[512];
    bool kept;

    for (size_t i = 0; i < cells.width * cells.height; i++) {
        const uint32_t pixel = cells.lightness[i] * UINT32_C(0x010101);

        memcpy(pixels + i / cells.width * stride + 4 * (i % cells.width), &pixel, sizeof pixel);
    }
    cairo_surface_mark_dirty(picture);
    reference_path(name, path);
    kept = cairo_surface_write_to_png(picture, path) == CAIRO_STATUS_SUCCESS;
    cairo_surface_destroy(picture);
    free(cells.lightness);
    return kept;
}
