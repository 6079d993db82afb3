/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <unistd.h>

#include "overlay_patches.h"

/* Single pixels, diagonal chains, rings and blots, one pixel apart or less, up to the border. */
static void put_speckle(struct patch *patch, uint64_t seed)
{
    const size_t width = patch->geometry.width_px, height = patch->geometry.height_px;

    for (size_t i = 0; i < width * height; i++)
        patch->ink[i] = test_uniform(&seed) < 0.08;
    for (size_t i = 0; i < width * height / 500; i++)
        put_disc(patch, test_uniform(&seed) * (double)width, test_uniform(&seed) * (double)height,
                 1 + 4 * test_uniform(&seed));
}

static bool is_colour(const uint8_t *rgb, int red, int green, int blue)
{
    return rgb[0] == red && rgb[1] == green && rgb[2] == blue;
}

/* Okabe & Ito's colours, as docs/pictures.md names them. */
#define IS_COUNTED(rgb) is_colour(rgb, 0, 114, 178)
#define IS_MERGED(rgb) is_colour(rgb, 0, 158, 115)
#define IS_INNER(rgb) is_colour(rgb, 240, 228, 66)
#define IS_EDGE(rgb) is_colour(rgb, 213, 94, 0)
#define IS_SMALL(rgb) is_colour(rgb, 204, 0, 140)
#define IS_GAP(rgb) is_colour(rgb, 255, 255, 255)
#define IS_AREA(rgb) is_colour(rgb, 0, 0, 0)

static bool is_line(const uint8_t *rgb)
{
    return IS_COUNTED(rgb) || IS_MERGED(rgb) || IS_EDGE(rgb) || IS_SMALL(rgb) || IS_GAP(rgb) ||
           IS_AREA(rgb);
}

/* First picture pixel of a scan pixel: docs/pictures.md, "Scale". */
static size_t start_of(size_t scan, size_t scan_px, size_t picture_px)
{
    return scan * picture_px / scan_px;
}

static void draw(const struct patch *patch, double scale, bool lines, const char *name,
                 struct picture *picture, fleck_overlay_place *place)
{
    fleck_overlay_options options = fleck_overlay_options_default();
    fleck_error err = { 0 };

    options.scale = scale;
    assert_int_equal(fleck_overlay_get_place(&patch->geometry, &options, place, &err), FLECK_OK);
    assert_int_equal(fleck_overlay_draw(&patch->view, &options, lines, in_folder(name), &err),
                     FLECK_OK);
    read_picture(in_folder(name), picture);
    assert_int_equal(picture->width, place->picture_width_px);
    assert_true(picture->height > place->top_px + place->height_px);
}

/* ---- lines on edges ---- */

/* Picture pixels of the patch that can be reached from (x, y) without crossing a line. */
static size_t flood(const struct picture *picture, const fleck_overlay_place *place, size_t x,
                    size_t y, uint8_t *reached)
{
    const size_t width = place->width_px, height = place->height_px;
    size_t *const stack = malloc(8 * width * height * sizeof *stack);
    size_t depth = 0, count = 0;

    memset(reached, 0, width * height);
    stack[depth++] = y * width + x;
    while (depth > 0) {
        const size_t at = stack[--depth];
        const size_t ax = at % width, ay = at / width;

        if (reached[at] || is_line(pixel(picture, place->left_px + ax, place->top_px + ay)))
            continue;
        reached[at] = 1;
        count++;
        for (size_t j = ay > 0 ? ay - 1 : 0; j <= ay + 1 && j < height; j++) {
            for (size_t i = ax > 0 ? ax - 1 : 0; i <= ax + 1 && i < width; i++) {
                if (!reached[j * width + i])
                    stack[depth++] = j * width + i;
            }
        }
    }
    free(stack);
    return count;
}

static void check_outline(const struct patch *patch, const struct picture *picture,
                          const fleck_overlay_place *place, const fleck_blob *dot)
{
    const size_t width = place->width_px, height = place->height_px;
    uint8_t *const reached = malloc(width * height);
    const size_t found = flood(
        picture, place, start_of(dot->component.first_x_px, patch->geometry.width_px, width),
        start_of(dot->component.first_y_px, patch->geometry.height_px, height), reached);
    size_t own = 0;

    for (size_t r = 0; r < dot->run_count; r++) {
        const fleck_blob_run *const run = &dot->runs[r];

        for (size_t y = start_of(run->y_px, patch->geometry.height_px, height);
             y < start_of(run->y_px + 1, patch->geometry.height_px, height); y++) {
            for (size_t x = start_of(run->start_px, patch->geometry.width_px, width);
                 x < start_of(run->end_px, patch->geometry.width_px, width); x++) {
                assert_true(reached[y * width + x]);
                own++;
            }
        }
    }
    assert_int_equal(found, own);
    free(reached);
}

static const struct {
    double scale, pixel_x_mm, pixel_y_mm;
} on_edges[] = {
    { 2, 0.04, 0.04 }, { 3, 0.04, 0.04 },     { 2.3, 0.04, 0.04 },
    { 5, 0.04, 0.04 }, { 9.7, 0.04, 0.04 },   { 3, 0.08, 0.04 },
    { 2, 0.04, 0.1 },  { 8, 0.0423, 0.0423 },
};

static void each_counted_dots_outline_encloses_exactly_its_pixels(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof on_edges / sizeof *on_edges; i++) {
        struct patch patch;
        struct picture picture;
        fleck_overlay_place place;

        begin_patch(&patch, 63, 57, on_edges[i].pixel_x_mm, on_edges[i].pixel_y_mm);
        put_speckle(&patch, 11 + i);
        finish_patch(&patch, "speckle");
        assert_true(patch.dot_count > 10);
        draw(&patch, on_edges[i].scale, true, "edges.png", &picture, &place);
        assert_true(place.on_edges);
        for (size_t k = 0; k < patch.dot_count; k++)
            check_outline(&patch, &picture, &place, &patch.dots[k]);
        free(picture.rgb);
        end_patch(&patch);
    }
}

static void the_same_holds_within_a_mask(void **state)
{
    struct patch patch;
    struct picture picture;
    fleck_overlay_place place;

    (void)state;
    begin_patch(&patch, 50, 40, 0.04, 0.04);
    put_speckle(&patch, 5);
    assert_int_equal(fleck_mask_new(50, 40, &patch.mask, NULL), FLECK_OK);
    for (size_t y = 0; y < 40; y++)
        fleck_mask_add_run(patch.mask, y, y / 3, y < 35 ? 30 + y / 2 : 30);
    finish_patch(&patch, "mask");
    draw(&patch, 4, true, "mask.png", &picture, &place);
    for (size_t k = 0; k < patch.dot_count; k++)
        check_outline(&patch, &picture, &place, &patch.dots[k]);
    free(picture.rgb);
    end_patch(&patch);
}

/* A picture pixel's scan pixel, or -1 beyond the patch. */
static ptrdiff_t scan_at(ptrdiff_t at, size_t scan_px, size_t picture_px)
{
    if (at < 0 || (size_t)at >= picture_px)
        return -1;
    for (size_t scan = 0;; scan++) {
        if (start_of(scan + 1, scan_px, picture_px) > (size_t)at)
            return (ptrdiff_t)scan;
    }
}

static bool is_inside(const struct patch *patch, const fleck_overlay_place *place, ptrdiff_t x,
                      ptrdiff_t y)
{
    const ptrdiff_t i = scan_at(x, patch->geometry.width_px, place->width_px);
    const ptrdiff_t j = scan_at(y, patch->geometry.height_px, place->height_px);

    return i >= 0 && j >= 0 &&
           (patch->mask == NULL || fleck_mask_has(patch->mask, (size_t)i, (size_t)j));
}

static void a_black_line_runs_round_the_measured_area(void **state)
{
    (void)state;
    for (int masked = 0; masked < 2; masked++) {
        struct patch patch;
        struct picture picture;
        fleck_overlay_place place;

        begin_patch(&patch, 20, 15, 0.04, 0.04);
        if (masked) {
            assert_int_equal(fleck_mask_new(20, 15, &patch.mask, NULL), FLECK_OK);
            for (size_t y = 2; y < 15; y++)
                fleck_mask_add_run(patch.mask, y, 14 - y, 18);
        }
        finish_patch(&patch, "area");
        draw(&patch, 3, true, "area.png", &picture, &place);
        for (ptrdiff_t y = -5; y < (ptrdiff_t)place.height_px + 5; y++) {
            for (ptrdiff_t x = -5; x < (ptrdiff_t)place.width_px + 5; x++) {
                const uint8_t *const seen = pixel(&picture, (size_t)((ptrdiff_t)place.left_px + x),
                                                  (size_t)((ptrdiff_t)place.top_px + y));
                bool near = false;

                for (ptrdiff_t j = -1; j <= 1; j++) {
                    for (ptrdiff_t i = -1; i <= 1; i++)
                        near = near || is_inside(&patch, &place, x + i, y + j);
                }
                assert_int_equal(IS_AREA(seen), near && !is_inside(&patch, &place, x, y));
            }
        }
        free(picture.rgb);
        end_patch(&patch);
    }
}

/* How many picture pixels of the patch and its rim pass a test. */
#define COUNT(picture, place, test, count)                                                        \
    do {                                                                                          \
        (count) = 0;                                                                              \
        for (size_t cy = (place).top_px - 4; cy < (place).top_px + (place).height_px + 4; cy++) { \
            for (size_t cx = 2; cx < (place).left_px + (place).width_px + 4; cx++)                \
                (count) += test(pixel(&(picture), cx, cy)) ? 1 : 0;                               \
        }                                                                                         \
    } while (0)

static void each_kind_of_dot_has_its_own_line(void **state)
{
    struct patch patch;
    struct picture picture;
    fleck_overlay_place place;
    size_t counted, merged, inner, edge, small;

    (void)state;
    begin_patch(&patch, 100, 60, 0.04, 0.04);
    put_disc(&patch, 20, 20, 9);
    put_disc(&patch, 50, 30, 8); /* a waist: two discs that touch */
    put_disc(&patch, 65, 30, 8);
    put_disc(&patch, 99, 50, 6);
    patch.ink[5 * 100 + 80] = 1;
    finish_patch(&patch, "kinds");
    assert_int_equal(patch.dot_count, 3);
    draw(&patch, 3, true, "kinds.png", &picture, &place);
    COUNT(picture, place, IS_COUNTED, counted);
    COUNT(picture, place, IS_MERGED, merged);
    COUNT(picture, place, IS_INNER, inner);
    COUNT(picture, place, IS_EDGE, edge);
    COUNT(picture, place, IS_SMALL, small);
    /* outlines of pixel discs are as long as those of their boxes: 19 and 32 x 17 scan pixels, and a
       corner for each */
    assert_int_equal(counted, 4 * 3 * 19 + 4);
    assert_true(merged > 2 * 3 * (31 + 17) && inner > merged / 2 && inner < merged);
    assert_true(edge > 30 && edge < 2 * 3 * (7 + 13)); /* dashes */
    assert_int_equal(small, (4 * 3 + 4) / 2);          /* dots */
    free(picture.rgb);
    end_patch(&patch);
}

static void the_scale_bar_is_as_long_as_it_says(void **state)
{
    static const struct {
        double scale, pixel_mm;
        size_t width, bar_px; /* bar: the longest of 1, 2, 5 ... mm below 0.3 of the width */
    } cases[] = {
        { 3, 0.04, 200, 150 }, /* 640 less two margins of 10: 186 pixels, 75 a mm: 2 mm */
        { 1, 0.04, 20, 125 }, /* 186 pixels, 25 a mm: 5 mm */
        { 8, 0.001, 1, 160 }, /* 186 pixels, 8000 a mm: 0.02 mm, wider than the patch */
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct patch patch;
        struct picture picture;
        fleck_overlay_place place;
        size_t longest = 0;

        begin_patch(&patch, cases[i].width, 30, cases[i].pixel_mm, cases[i].pixel_mm);
        finish_patch(&patch, "bar");
        draw(&patch, cases[i].scale, false, "bar.png", &picture, &place);
        for (size_t y = place.height_px + 2 * place.top_px; y < picture.height; y++) {
            size_t run = 0;

            for (size_t x = 0; x < picture.width; x++) {
                run = IS_AREA(pixel(&picture, x, y)) ? run + 1 : 0;
                longest = run > longest ? run : longest;
            }
        }
        check_near("0.3 of the width in mm, rounded down", (double)longest, (double)cases[i].bar_px, 0);
        free(picture.rgb);
        end_patch(&patch);
    }
}

static void without_lines_the_picture_is_the_same_but_for_them(void **state)
{
    struct patch patch;
    struct picture drawn, plain;
    fleck_overlay_place place;

    (void)state;
    begin_patch(&patch, 40, 40, 0.04, 0.04);
    put_speckle(&patch, 3);
    finish_patch(&patch, "plain");
    draw(&patch, 3, true, "drawn.png", &drawn, &place);
    draw(&patch, 3, false, "plain.png", &plain, &place);
    assert_int_equal(drawn.width, plain.width);
    assert_int_equal(drawn.height, plain.height);
    for (size_t y = 0; y < place.height_px; y++) {
        for (size_t x = 0; x < place.width_px; x++) {
            const uint8_t *const with = pixel(&drawn, place.left_px + x, place.top_px + y);
            const uint8_t *const without = pixel(&plain, place.left_px + x, place.top_px + y);
            const bool ink = patch.ink[y / 3 * 40 + x / 3] != 0;

            /* reflectance 0.061 and 0.793 by the sRGB curve are 70 and 230 of 255; steps of 4 */
            assert_true(abs(without[0] - (ink ? 70 : 230)) <= 3);
            assert_true(is_colour(without, without[0], without[0], without[0]));
            if (!is_line(with) && !IS_INNER(with))
                assert_memory_equal(with, without, 3);
        }
    }
    free(drawn.rgb);
    free(plain.rgb);
    end_patch(&patch);
}

/* ---- lines of the dots' own pixels ---- */

static void at_scale_1_lines_are_the_outermost_pixels_of_dots(void **state)
{
    struct patch patch;
    struct picture picture;
    fleck_overlay_place place;

    (void)state;
    begin_patch(&patch, 60, 50, 0.04, 0.04);
    for (size_t i = 0; i < 6; i++)
        put_disc(&patch, 10 + 14 * (double)(i % 3), 12 + 22 * (double)(i / 3), 2 + (double)i / 2);
    finish_patch(&patch, "rims");
    draw(&patch, 1, true, "rims.png", &picture, &place);
    assert_false(place.on_edges);
    assert_int_equal(place.width_px, 60);
    for (size_t y = 1; y < 49; y++) {
        for (size_t x = 1; x < 59; x++) {
            size_t around = 0;

            for (size_t i = 0; i < 9; i++)
                around += patch.ink[(y + i / 3 - 1) * 60 + x + i % 3 - 1];
            assert_int_equal(IS_COUNTED(pixel(&picture, place.left_px + x, place.top_px + y)),
                             patch.ink[y * 60 + x] && around < 9);
        }
    }
    free(picture.rgb);
    end_patch(&patch);
}

static void reduced_no_dot_is_lost(void **state)
{
    static const double scales[] = { 0.9, 0.5, 0.3, 0.11 };

    (void)state;
    for (size_t i = 0; i < sizeof scales / sizeof *scales; i++) {
        struct patch patch;
        struct picture picture;
        fleck_overlay_place place;

        begin_patch(&patch, 157, 133, 0.04, 0.04);
        for (size_t k = 0; k < 12; k++) /* so far apart that they do not run together */
            put_disc(&patch, 20 + 37 * (double)(k % 4), 20 + 41 * (double)(k / 4), 1 + (double)k / 4);
        finish_patch(&patch, "reduced");
        assert_int_equal(patch.dot_count, 12);
        draw(&patch, scales[i], true, "reduced.png", &picture, &place);
        assert_int_equal(place.width_px, lround(157 * scales[i]));
        for (size_t k = 0; k < patch.dot_count; k++) {
            const fleck_component *const one = &patch.dots[k].component;

            assert_true(IS_COUNTED(pixel(
                &picture, place.left_px + start_of(one->first_x_px, 157, place.width_px),
                place.top_px + start_of(one->first_y_px, 133, place.height_px))));
        }
        free(picture.rgb);
        end_patch(&patch);
    }
}

/* ---- odd patches ---- */

static void patches_of_any_shape_can_be_drawn(void **state)
{
    static const struct {
        size_t width, height;
        double inked, pixel_x_mm, pixel_y_mm;
    } shapes[] = {
        { 1, 1, 0, 0.04, 0.04 },   { 1, 1, 1, 0.04, 0.04 },      { 1, 300, 0.5, 0.04, 0.04 },
        { 300, 1, 0.5, 0.4, 0.4 }, { 30, 20, 0, 0.04, 0.04 },    { 30, 20, 1, 0.04, 0.04 },
        { 5, 4, 0.5, 0.001, 0.1 }, { 64, 3, 0.5, 1e-6, 2.3e-6 }, { 3, 64, 0.5, 30, 20 },
    };
    static const double scales[] = { 0, 0.001, 0.5, 1, 1.4, 2, 16 };

    (void)state;
    for (size_t i = 0; i < sizeof shapes / sizeof *shapes; i++) {
        struct patch patch;
        uint64_t seed = i;

        begin_patch(&patch, shapes[i].width, shapes[i].height, shapes[i].pixel_x_mm,
                    shapes[i].pixel_y_mm);
        for (size_t k = 0; k < shapes[i].width * shapes[i].height; k++)
            patch.ink[k] = test_uniform(&seed) < shapes[i].inked;
        finish_patch(&patch, "shape");
        for (size_t k = 0; k < sizeof scales / sizeof *scales; k++) {
            struct picture picture;
            fleck_overlay_place place;

            draw(&patch, scales[k], true, "shape.png", &picture, &place);
            free(picture.rgb);
        }
        end_patch(&patch);
    }
}

static void names_of_any_kind_can_be_shown(void **state)
{
    static const char *const names[] = {
        "",
        "a/b\\c\"d'e<script>",
        "\xe5\x92\x8c\xe7\xb4\x99 \xd9\x86\xd9\x82\xd8\xb7\xd8\xa9 \xf0\x9f\x98\x80",
        "\xff\xfe broken \x80 bytes",
        "line\nbreak\tand\x01 bell",
        "a-very-long-name-without-a-blank-a-very-long-name-without-a-blank-a-very-long-name-without-a-"
        "blank-a-very-long-name-without-a-blank-a-very-long-name-without-a-blank-a-very-long-name-"
        "without-a-blank-a-very-long-name-without-a-blank-a-very-long-name-without-a-blank-a-very-long",
    };

    (void)state;
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        struct patch patch;
        struct picture picture;
        fleck_overlay_place place;

        begin_patch(&patch, 9, 9, 0.04, 0.04);
        put_disc(&patch, 4, 4, 2);
        finish_patch(&patch, names[i]);
        draw(&patch, 3, true, "name.png", &picture, &place);
        free(picture.rgb);
        end_patch(&patch);
    }
}

static void what_cannot_be_drawn_is_named(void **state)
{
    const fleck_geometry long_one = { 2000, 40000, 0.02, 0.02 };
    const fleck_geometry small = { 20, 20, 0.02, 0.02 };
    struct patch patch;
    fleck_overlay_options options = fleck_overlay_options_default();
    fleck_overlay_place place;
    fleck_error err = { 0 };

    (void)state;
    assert_int_equal(fleck_overlay_get_place(&long_one, &options, &place, &err), FLECK_OK);
    assert_int_equal(place.height_px, 8000);
    options.scale = 1;
    assert_int_equal(fleck_overlay_get_place(&long_one, &options, &place, &err), FLECK_BAD_INPUT);
    assert_string_equal(err.message, "its picture would be 40000 pixels long; give a --picture-scale "
                                     "of at most 0.75, or none");
    options.scale = 0.75;
    assert_int_equal(fleck_overlay_get_place(&long_one, &options, &place, &err), FLECK_OK);
    options.scale = 16;
    assert_int_equal(fleck_overlay_get_place(&(fleck_geometry){ 2345, 3, 1, 1 }, &options, &place, &err),
                     FLECK_BAD_INPUT);
    assert_non_null(strstr(err.message, "at most 12.793, or none")); /* not rounded up */
    options.scale = 17;
    assert_int_equal(fleck_overlay_get_place(&small, &options, &place, &err), FLECK_BAD_CALL);
    options.scale = NAN;
    assert_int_equal(fleck_overlay_options_check(&options, &err), FLECK_BAD_CALL);

    /* a row that cannot be read: the failure is handed on and no file is left */
    begin_patch(&patch, 20, 20, 0.04, 0.04);
    finish_patch(&patch, "broken");
    patch.fails_at = 13;
    options.scale = 2;
    assert_int_equal(fleck_overlay_draw(&patch.view, &options, true, in_folder("broken.png"), &err),
                     FLECK_BAD_INPUT);
    assert_string_equal(err.message, "row 13 is broken; mend it");
    assert_int_not_equal(access(in_folder("broken.png"), F_OK), 0);
    end_patch(&patch);
}

static void scale_follows_from_the_size(void **state)
{
    static const struct {
        size_t width, height;
        double scale;
        size_t line;
        bool edges;
    } cases[] = {
        { 10, 10, 16, 4, true },     { 100, 90, 9, 2, true },      { 400, 1999, 3, 1, true },
        { 2000, 10, 2, 1, true },    { 3999, 3000, 2, 1, true },   { 4000, 10, 1, 1, false },
        { 8000, 8000, 1, 1, false }, { 16000, 8, 0.5, 1, false },
    };
    const fleck_overlay_options options = fleck_overlay_options_default();

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const fleck_geometry geometry = { cases[i].width, cases[i].height, 0.02, 0.02 };
        fleck_overlay_place place;

        assert_int_equal(fleck_overlay_get_place(&geometry, &options, &place, NULL), FLECK_OK);
        check_near("docs/pictures.md, Scale", place.scale_x, cases[i].scale, 1e-12);
        assert_int_equal(place.line_px, cases[i].line);
        assert_int_equal(place.on_edges, cases[i].edges);
    }
}

static void each_id_has_files_of_its_own(void **state)
{
    static const struct {
        const char *id;
        fleck_overlay_file file;
        const char *path;
    } cases[] = {
        { "a", FLECK_OVERLAY_LINES, "run/pictures/a.png" },
        { "a", FLECK_OVERLAY_PLAIN, "run/pictures/plain/a.png" },
        { "a", FLECK_OVERLAY_THUMB, "run/pictures/thumbs/a.png" },
        { "a", FLECK_OVERLAY_CELL, "run/pictures/cells/a.png" },
        { "../x", FLECK_OVERLAY_LINES, "run/pictures/%2E.%2Fx.png" },
        { "", FLECK_OVERLAY_SHEET, "run/pictures/contact-sheet.png" },
        { "contact-sheet", FLECK_OVERLAY_LINES, "run/pictures/%63ontact-sheet.png" },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char *const path = fleck_overlay_path("run", cases[i].id, cases[i].file);

        assert_string_equal(path, cases[i].path);
        free(path);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_counted_dots_outline_encloses_exactly_its_pixels),
        cmocka_unit_test(the_same_holds_within_a_mask),
        cmocka_unit_test(a_black_line_runs_round_the_measured_area),
        cmocka_unit_test(each_kind_of_dot_has_its_own_line),
        cmocka_unit_test(the_scale_bar_is_as_long_as_it_says),
        cmocka_unit_test(without_lines_the_picture_is_the_same_but_for_them),
        cmocka_unit_test(at_scale_1_lines_are_the_outermost_pixels_of_dots),
        cmocka_unit_test(reduced_no_dot_is_lost),
        cmocka_unit_test(patches_of_any_shape_can_be_drawn),
        cmocka_unit_test(names_of_any_kind_can_be_shown),
        cmocka_unit_test(what_cannot_be_drawn_is_named),
        cmocka_unit_test(scale_follows_from_the_size),
        cmocka_unit_test(each_id_has_files_of_its_own),
    };

    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
