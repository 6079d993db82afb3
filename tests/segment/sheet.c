/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "segment/sheet.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "fleck/tone.h"
#include "io/picture.h"
#include "support/check.h"

#define DEGREE (3.14159265358979323846 / 180)

void sheet_init(test_sheet *sheet, double width_mm, double height_mm, double ppi)
{
    static const float paper[3] = { 0.85f, 0.83f, 0.78f }, ink[3] = { 0.1f, 0.1f, 0.2f };

    sheet->pixel_mm = 25.4 / ppi;
    sheet->width_px = (size_t)(width_mm / sheet->pixel_mm);
    sheet->height_px = (size_t)(height_mm / sheet->pixel_mm);
    sheet->tone = malloc(sheet->width_px * sheet->height_px * 3 * sizeof *sheet->tone);
    assert_non_null(sheet->tone);
    sheet->seed = 1;
    sheet_set_paper(sheet, paper, ink);
}

void sheet_set_paper(test_sheet *sheet, const float paper[3], const float ink[3])
{
    memcpy(sheet->paper, paper, sizeof sheet->paper);
    memcpy(sheet->ink, ink, sizeof sheet->ink);
    for (size_t i = 0; i < sheet->width_px * sheet->height_px * 3; i++)
        sheet->tone[i] = paper[i % 3];
}

void sheet_clear(test_sheet *sheet)
{
    free(sheet->tone);
    sheet->tone = NULL;
}

/* Nearly normal, with variance 1: four numbers of 16 bits, added. Drawing must be quick. */
static double gauss(uint64_t *seed)
{
    const uint64_t bits = test_random(seed);
    const uint64_t sum =
        (bits & 0xffff) + (bits >> 16 & 0xffff) + (bits >> 32 & 0xffff) + (bits >> 48);

    return ((double)sum / 65536 - 2) * sqrt(3);
}

/* Whether a point, in the patch's own directions from its centre, lies in its shape. */
static bool in_shape(const sheet_place *place, sheet_shape shape, double u, double v)
{
    double a = place->width_mm / 2, b = place->height_mm / 2;

    if (shape == SHEET_ELLIPSE)
        return u * u / (a * a) + v * v / (b * b) <= 1;
    if (shape == SHEET_RAGGED) { /* a brush's edge: in and out by up to 0.6 mm */
        a += 0.3 * sin(2.1 * v) + 0.3 * sin(5.3 * v + 1);
        b += 0.3 * sin(1.7 * u + 2) + 0.3 * sin(4.9 * u);
    }
    return fabs(u) <= a && fabs(v) <= b;
}

/* Ink the pixels of the shape that lie within a disc. */
static void draw_disc(test_sheet *sheet, const sheet_place *place, sheet_shape shape, double x,
                      double y, double radius)
{
    const double cosine = cos(place->tilt_deg * DEGREE), sine = sin(place->tilt_deg * DEGREE);
    const double pixel = sheet->pixel_mm;

    for (double row = fmax(0, floor((y - radius) / pixel));
         row <= (y + radius) / pixel && row < (double)sheet->height_px; row++) {
        for (double column = fmax(0, floor((x - radius) / pixel));
             column <= (x + radius) / pixel && column < (double)sheet->width_px; column++) {
            const double px = (column + 0.5) * pixel, py = (row + 0.5) * pixel;
            const double dx = px - place->x_mm, dy = py - place->y_mm;

            if (hypot(px - x, py - y) <= radius &&
                in_shape(place, shape, dx * cosine - dy * sine, dx * sine + dy * cosine))
                memcpy(sheet->tone + ((size_t)row * sheet->width_px + (size_t)column) * 3,
                       sheet->ink, sizeof sheet->ink);
        }
    }
}

void sheet_patch(test_sheet *sheet, const sheet_place *place, sheet_shape shape, double coverage,
                 double diameter_mm)
{
    const double reach = hypot(place->width_mm, place->height_mm) / 2 + diameter_mm;
    double count;

    if (coverage >= 1) {
        draw_disc(sheet, place, shape, place->x_mm, place->y_mm, reach);
        return;
    }
    /* coverage of a Boolean model: 1 - exp(-centres per area * area of a disc) */
    count = -log(1 - coverage) * 16 * reach * reach / (180 * DEGREE * diameter_mm * diameter_mm);
    for (double i = 0; i < count; i++)
        draw_disc(sheet, place, shape, place->x_mm + (2 * test_uniform(&sheet->seed) - 1) * reach,
                  place->y_mm + (2 * test_uniform(&sheet->seed) - 1) * reach, diameter_mm / 2);
}

void sheet_grid(test_sheet *sheet, size_t rows, size_t columns, double size_mm, double pitch_mm,
                double tilt_deg, const double *coverages, size_t coverage_count,
                sheet_place *places)
{
    const double cosine = cos(tilt_deg * DEGREE), sine = sin(tilt_deg * DEGREE);
    const double middle_x = (double)sheet->width_px * sheet->pixel_mm / 2;
    const double middle_y = (double)sheet->height_px * sheet->pixel_mm / 2;

    for (size_t i = 0; i < rows * columns; i++) {
        const double u = ((double)(i % columns) - ((double)columns - 1) / 2) * pitch_mm;
        const double v = ((double)(i / columns) - ((double)rows - 1) / 2) * pitch_mm;

        places[i] = (sheet_place){ middle_x + u * cosine + v * sine,
                                   middle_y - u * sine + v * cosine, size_mm, size_mm, tilt_deg };
        if (coverages[i % coverage_count] > 0)
            sheet_patch(sheet, &places[i], SHEET_BOX, coverages[i % coverage_count], 0.35);
    }
}

void sheet_line(test_sheet *sheet, double x1, double y1, double x2, double y2, double thick_mm,
                float tone)
{
    const double pixel = sheet->pixel_mm, length = hypot(x2 - x1, y2 - y1);
    const double steps = ceil(length / pixel * 2) + 1, half = thick_mm / 2 / pixel;

    for (double i = 0; i <= steps; i++) {
        const double x = (x1 + (x2 - x1) * i / steps) / pixel,
                     y = (y1 + (y2 - y1) * i / steps) / pixel;

        for (double row = floor(y - half + 0.5); row < y + half || row <= y - half + 0.5; row++) {
            for (double column = floor(x - half + 0.5);
                 column < x + half || column <= x - half + 0.5; column++) {
                if (row >= 0 && column >= 0 && row < (double)sheet->height_px &&
                    column < (double)sheet->width_px) {
                    for (unsigned c = 0; c < 3; c++)
                        sheet->tone[((size_t)row * sheet->width_px + (size_t)column) * 3 + c] =
                            tone;
                }
            }
        }
    }
}

void sheet_fill(test_sheet *sheet, double x, double y, double width, double height, float tone)
{
    for (size_t row = 0; row < sheet->height_px; row++) {
        for (size_t column = 0; column < sheet->width_px; column++) {
            const double px = ((double)column + 0.5) * sheet->pixel_mm - x;
            const double py = ((double)row + 0.5) * sheet->pixel_mm - y;

            if (px >= 0 && px < width && py >= 0 && py < height) {
                for (unsigned c = 0; c < 3; c++)
                    sheet->tone[(row * sheet->width_px + column) * 3 + c] = tone;
            }
        }
    }
}

void sheet_cross(test_sheet *sheet, double x, double y)
{
    sheet_line(sheet, x - 4, y, x + 4, y, 0.25, 0.05f);
    sheet_line(sheet, x, y - 4, x, y + 4, 0.25, 0.05f);
    for (int i = 0; i < 36; i++)
        sheet_line(sheet, x + 2 * cos(10 * i * DEGREE), y + 2 * sin(10 * i * DEGREE),
                   x + 2 * cos(10 * (i + 1) * DEGREE), y + 2 * sin(10 * (i + 1) * DEGREE), 0.25,
                   0.05f);
}

/* Loops and strokes like a pencil's, up to so high. */
void sheet_scribble(test_sheet *sheet, double x, double y, double width, double height)
{
    double from_x = x, from_y = y + height / 2, tall = 0.6;

    for (int i = 1; i <= (int)(width / 0.1); i++) {
        const double turn = i * 0.1 / (0.55 * height) * 360 * DEGREE;
        const double to_x = x + 0.1 * i + 0.25 * height * sin(turn);
        const double to_y = y + height / 2 - tall * height / 2 * cos(turn);

        if (i % 20 == 0)
            tall = 0.45 + 0.55 * test_uniform(&sheet->seed);
        if (i % 90 < 80) /* words */
            sheet_line(sheet, from_x, from_y, to_x, to_y, 0.4, 0.15f);
        from_x = to_x;
        from_y = to_y;
    }
}

void sheet_ruler(test_sheet *sheet, double x, double y, double length)
{
    for (int i = 0; i <= (int)length; i++) {
        sheet_line(sheet, x + i, y, x + i,
                   y + (i % 10 == 0  ? 6
                        : i % 5 == 0 ? 4.5
                                     : 3),
                   0.2, 0.03f);
        if (i % 10 == 0)
            sheet_scribble(sheet, x + i, y + 6.5, 1.5, 2.5);
    }
}

void sheet_grey_scale(test_sheet *sheet, double x, double y, size_t steps, double width,
                      double height)
{
    for (size_t i = 0; i < steps; i++)
        sheet_fill(sheet, x + (double)i * width, y, width, height,
                   (float)(0.85 * pow(10, -0.15 * (double)i)));
}

void sheet_write(test_sheet *sheet, double light, double noise, bool grey, const char *path)
{
    const size_t channels = grey ? 1 : 3;
    uint8_t *const samples = malloc(sheet->width_px * sheet->height_px * channels);
    const fleck_picture picture = {
        .format = FLECK_PICTURE_PNG,
        .width_px = sheet->width_px,
        .height_px = sheet->height_px,
        .channels = (unsigned)channels,
        .bits = 8,
        .ppi_x = 25.4 / sheet->pixel_mm,
        .ppi_y = 25.4 / sheet->pixel_mm,
        .srgb = true,
    };
    static uint8_t codes[4096];
    fleck_error err = { 0 };
    double fibre = 0;

    assert_non_null(samples);
    for (size_t i = 0; i < sizeof codes; i++)
        codes[i] = (uint8_t)(255 * fleck_tone_srgb_encode(((double)i + 0.5) / sizeof codes) + 0.5);
    for (size_t i = 0; i < sheet->width_px * sheet->height_px; i++) {
        const double x = (double)(i % sheet->width_px) / (double)sheet->width_px;
        const double y = (double)(i / sheet->width_px) / (double)sheet->height_px;
        const double even = 1 + light * (0.7 * x + 0.3 * y - 0.5);

        /* fibre along x: noise that remembers */
        fibre = 0.9 * fibre + 0.004 * gauss(&sheet->seed);
        for (size_t c = 0; c < channels; c++) {
            const double tone =
                sheet->tone[i * 3 + (grey ? 1 : c)] * (even / (1 + light / 2) + fibre) +
                noise * gauss(&sheet->seed);

            samples[i * channels + c] = codes[(size_t)(4095 * (tone < 0   ? 0
                                                               : tone > 1 ? 1
                                                                          : tone))];
        }
    }
    assert_int_equal(fleck_picture_write_samples(path, &picture, samples, &err), FLECK_OK);
    free(samples);
}

static char scratch_files[4][64];

static void remove_scratch(void)
{
    for (size_t i = 0; i < sizeof scratch_files / sizeof *scratch_files; i++) {
        if (scratch_files[i][0] != '\0')
            (void)remove(scratch_files[i]);
    }
}

const char *sheet_scratch(const char *ending)
{
    static int files;
    char name[64];

    snprintf(name, sizeof name, "fleck-sheet-%ld%s", (long)getpid(), ending);
    for (int i = 0; i < files; i++) {
        if (strcmp(scratch_files[i], name) == 0)
            return scratch_files[i];
    }
    assert_true(files < (int)(sizeof scratch_files / sizeof *scratch_files));
    if (files == 0)
        (void)atexit(remove_scratch);
    strcpy(scratch_files[files], name);
    return scratch_files[files++];
}

void sheet_check(const char *source, const fleck_layout *layout, const sheet_place *places,
                 size_t count)
{
    if (layout->count != count)
        print_error("%s\n", source);
    assert_int_equal(layout->count, count);
    for (size_t i = 0; i < count; i++) {
        const fleck_located *const patch = &layout->patches[i];
        const double shift = hypot(patch->box.x_mm + patch->box.width_mm / 2 - places[i].x_mm,
                                   patch->box.y_mm + patch->box.height_mm / 2 - places[i].y_mm);
        const double wrong_width = fabs(patch->box.width_mm - places[i].width_mm);
        const double wrong_height = fabs(patch->box.height_mm - places[i].height_mm);
        char words[128];

        snprintf(words, sizeof words, "%s: patch %s", source, patch->id);
        check_near(words, shift + wrong_width / 2, 0, 0.4);
        check_near(words, shift + wrong_height / 2, 0, 0.4);
        check_near(words, patch->tilt_deg, places[i].tilt_deg, 0.5);
    }
}
