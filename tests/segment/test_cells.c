/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Shapes on the grid against slow twins written from the definitions. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "segment/locate_parts.h"
#include "support/check.h"

enum { COLUMNS = 23, ROWS = 17, CELLS = COLUMNS * ROWS };

static void fill_random(uint8_t *mask, double share, uint64_t seed)
{
    for (size_t i = 0; i < CELLS; i++)
        mask[i] = test_uniform(&seed) < share;
}

/* What lies within the radius of a cell of the kind wanted becomes of that kind. */
static void spread_slowly(const uint8_t *mask, double radius, uint8_t wanted, uint8_t *out)
{
    for (int i = 0; i < CELLS; i++) {
        out[i] = mask[i];
        for (int j = 0; j < CELLS; j++) {
            const double dx = i % COLUMNS - j % COLUMNS, dy = i / COLUMNS - j / COLUMNS;

            if (mask[j] == wanted && dx * dx + dy * dy <= radius * radius + 1e-6)
                out[i] = wanted;
        }
    }
}

static void growing_and_shrinking_are_as_defined(void **state)
{
    static const double shares[] = { 0, 0.002, 0.02, 0.3, 0.97, 1 };
    static const double radii[] = { 1, 1.5, 2, 4.2, 40 };
    fleck_cells cells;
    fleck_error err = { 0 };

    (void)state;
    assert_int_equal(fleck_cells_init(&cells, COLUMNS, ROWS, &err), FLECK_OK);
    for (size_t s = 0; s < sizeof shares / sizeof *shares; s++) {
        for (size_t r = 0; r < sizeof radii / sizeof *radii; r++) {
            uint8_t mask[CELLS], grown[CELLS], shrunk[CELLS], expected[CELLS];

            fill_random(mask, shares[s], 10 * s + r);
            memcpy(grown, mask, CELLS);
            memcpy(shrunk, mask, CELLS);
            fleck_cells_grow(&cells, grown, radii[r]);
            spread_slowly(mask, radii[r], 1, expected);
            assert_memory_equal(grown, expected, CELLS);
            fleck_cells_shrink(&cells, shrunk, radii[r]);
            spread_slowly(mask, radii[r], 0, expected);
            assert_memory_equal(shrunk, expected, CELLS);
        }
    }
    fleck_cells_clear(&cells);
}

static void one_cell_and_one_row_are_grids_too(void **state)
{
    uint8_t lone[1] = { 1 }, row[5] = { 0, 0, 1, 0, 0 };
    const uint8_t grown[5] = { 0, 1, 1, 1, 0 };
    fleck_cells cells;
    fleck_error err = { 0 };

    (void)state;
    assert_int_equal(fleck_cells_init(&cells, 1, 1, &err), FLECK_OK);
    fleck_cells_shrink(&cells, lone, 3); /* beyond the grid nothing is known */
    assert_int_equal(lone[0], 1);
    fleck_cells_clear(&cells);
    assert_int_equal(fleck_cells_init(&cells, 5, 1, &err), FLECK_OK);
    fleck_cells_grow(&cells, row, 1);
    assert_memory_equal(row, grown, 5);
    fleck_cells_clear(&cells);
}

static void components_are_4_connected_and_counted(void **state)
{
    static const char picture[] = "##.#"
                                  "#..#"
                                  ".#.#" /* touches a corner only */
                                  "...#";
    uint8_t mask[16];
    uint32_t label[16];
    fleck_shape *shapes = NULL;
    size_t count = 0;
    fleck_cells cells;
    fleck_error err = { 0 };

    (void)state;
    for (size_t i = 0; i < 16; i++)
        mask[i] = picture[i] == '#';
    assert_int_equal(fleck_cells_init(&cells, 4, 4, &err), FLECK_OK);
    assert_int_equal(fleck_cells_label(&cells, mask, label, &shapes, &count, &err), FLECK_OK);
    assert_int_equal(count, 3);
    assert_int_equal(shapes[0].area, 3);
    assert_int_equal(shapes[0].right, 2);
    assert_int_equal(shapes[1].area, 4);
    assert_int_equal(shapes[1].left, 3);
    assert_int_equal(shapes[1].bottom, 4);
    assert_int_equal(shapes[2].area, 1);
    assert_int_equal(label[9], 3);
    assert_int_equal(label[2], 0);
    free(shapes);
    fleck_cells_clear(&cells);
}

/* A turned rectangle drawn on the grid comes back. */
static void a_box_is_fitted_to_a_turned_rectangle(void **state)
{
    enum { SIDE = 120 };
    static const double degrees[] = { 0, 3, -7 };

    (void)state;
    for (size_t k = 0; k < sizeof degrees / sizeof *degrees; k++) {
        const double angle = degrees[k] * 3.14159265358979 / 180, c = cos(angle), s = sin(angle);
        uint8_t *const inside = calloc(SIDE * SIDE, 1);
        const fleck_window window = { 1000, 500, SIDE, SIDE, inside };
        fleck_turned_box box, inner;
        double in, out;
        fleck_error err = { 0 };

        assert_non_null(inside);
        for (int i = 0; i < SIDE * SIDE; i++) {
            const double dx = i % SIDE + 0.5 - 62, dy = i / SIDE + 0.5 - 58;

            inside[i] = fabs(dx * c - dy * s) <= 40 && fabs(dx * s + dy * c) <= 25;
        }
        assert_int_equal(fleck_fit_box(&window, NAN, &box, &in, &out, &err), FLECK_OK);
        check_near("x", box.x, 1062, 0.75);
        check_near("y", box.y, 558, 0.75);
        check_near("half of the width", box.half_u, 40, 0.75);
        check_near("half of the height", box.half_v, 25, 0.75);
        check_near("angle", box.angle, angle, 0.6 * 3.14159 / 180);
        assert_true(in > 0.98 && out < 0.02);
        assert_int_equal(fleck_fit_inner(&window, angle, &inner, &err), FLECK_OK);
        check_near("half of the inner width", inner.half_u, 39.5, 1);
        check_near("half of the inner height", inner.half_v, 24.5, 1);
        free(inside);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(growing_and_shrinking_are_as_defined),
        cmocka_unit_test(one_cell_and_one_row_are_grids_too),
        cmocka_unit_test(components_are_4_connected_and_counted),
        cmocka_unit_test(a_box_is_fitted_to_a_turned_rectangle),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
