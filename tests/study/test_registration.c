/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Registration of drawn prints: discs at known places, laid over each other with a known shift and turn. */
#include "support/check.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "study/registration.h"

enum { SIDE = 120, FINE = 4, DISCS = 260 };

static const double cell_mm = 0.15, pi = 3.14159265358979323846;

typedef struct disc {
    double x_mm, y_mm, r_mm;
} disc;

/* Discs on a plate that is 4 mm wider than the patch all round; the patch's middle is at 0. */
static void throw_discs(uint64_t seed, disc discs[DISCS])
{
    const double half_mm = SIDE * cell_mm / 2 + 4;

    for (size_t i = 0; i < DISCS; i++) {
        discs[i].x_mm = (2 * test_uniform(&seed) - 1) * half_mm;
        discs[i].y_mm = (2 * test_uniform(&seed) - 1) * half_mm;
        discs[i].r_mm = 0.2 + 0.4 * test_uniform(&seed);
    }
}

/* A print of them: moved and turned, each disc left out with the chance `lost`. */
static void print_discs(const disc discs[DISCS], double shift_x_mm, double shift_y_mm,
                        double turn_deg, double lost, uint64_t seed, fleck_ink_grid *grid)
{
    const size_t fine = (size_t)SIDE * FINE;
    const double step_mm = cell_mm / FINE, c = cos(turn_deg * pi / 180), s = sin(turn_deg * pi / 180);
    unsigned char *const ink = calloc(fine * fine, 1);
    double *const shares = calloc((size_t)SIDE * SIDE, sizeof *shares);

    assert_non_null(ink);
    assert_non_null(shares);
    for (size_t i = 0; i < DISCS; i++) {
        const double x_mm = c * discs[i].x_mm - s * discs[i].y_mm + shift_x_mm;
        const double y_mm = s * discs[i].x_mm + c * discs[i].y_mm + shift_y_mm;
        const double half_mm = SIDE * cell_mm / 2, r_mm = discs[i].r_mm;

        if (test_uniform(&seed) < lost)
            continue;
        for (long y = lround((y_mm - r_mm + half_mm) / step_mm); y <= (y_mm + r_mm + half_mm) / step_mm; y++) {
            for (long x = lround((x_mm - r_mm + half_mm) / step_mm); x <= (x_mm + r_mm + half_mm) / step_mm;
                 x++) {
                const double dx = ((double)x + 0.5) * step_mm - half_mm - x_mm;
                const double dy = ((double)y + 0.5) * step_mm - half_mm - y_mm;

                if (x >= 0 && y >= 0 && x < (long)fine && y < (long)fine && dx * dx + dy * dy < r_mm * r_mm)
                    ink[(size_t)y * fine + (size_t)x] = 1;
            }
        }
    }
    for (size_t y = 0; y < fine; y++) {
        for (size_t x = 0; x < fine; x++)
            shares[y / FINE * SIDE + x / FINE] += ink[y * fine + x] / (double)(FINE * FINE);
    }
    assert_int_equal(fleck_ink_grid_from(shares, SIDE, SIDE, cell_mm, grid, NULL), FLECK_OK);
    free(ink);
    free(shares);
}

static fleck_registration lay(const fleck_ink_grid *a, const fleck_ink_grid *b)
{
    fleck_registration out;

    assert_int_equal(fleck_register(a, b, &out, NULL), FLECK_OK);
    return out;
}

static void a_print_lies_on_itself(void **state)
{
    disc discs[DISCS];
    fleck_ink_grid grid;
    fleck_registration out;

    (void)state;
    throw_discs(1, discs);
    print_discs(discs, 0, 0, 0, 0, 1, &grid);
    out = lay(&grid, &grid);
    check_near("itself", out.correlation, 1, 1e-12);
    check_near("itself", out.shift_x_mm, 0, 0);
    check_near("itself", out.turn_deg, 0, 0);
    fleck_ink_grid_clear(&grid);
}

static void a_moved_and_turned_print_is_found_again(void **state)
{
    static const struct {
        double x_mm, y_mm, turn_deg;
    } moves[] = { { 0.6, -1.05, 0 }, { 1.9, 1.9, 0.4 }, { -0.37, 0.52, -0.8 }, { 0.075, 0.075, 0.21 } };
    disc discs[DISCS];

    (void)state;
    throw_discs(2, discs);
    for (size_t i = 0; i < sizeof moves / sizeof *moves; i++) {
        fleck_ink_grid still, moved;
        fleck_registration out;

        print_discs(discs, 0, 0, 0, 0, 1, &still);
        print_discs(discs, moves[i].x_mm, moves[i].y_mm, moves[i].turn_deg, 0, 1, &moved);
        out = lay(&still, &moved);
        check_near("as drawn", out.shift_x_mm, moves[i].x_mm, 0.06);
        check_near("as drawn", out.shift_y_mm, moves[i].y_mm, 0.06);
        check_near("as drawn", out.turn_deg, moves[i].turn_deg, 0.2);
        assert_true(out.correlation > 0.9);
        fleck_ink_grid_clear(&still);
        fleck_ink_grid_clear(&moved);
    }
}

/* Half of the discs shared, at about a quarter covered: the correlation of indicator fields is near 1/2. */
static void prints_that_share_half_their_discs_are_in_between(void **state)
{
    disc discs[DISCS], others[DISCS];
    fleck_ink_grid first, second;
    fleck_registration out;

    (void)state;
    throw_discs(3, discs);
    throw_discs(4, others);
    print_discs(discs, 0, 0, 0, 0, 1, &first);
    memcpy(others, discs, DISCS / 2 * sizeof *others);
    print_discs(others, 0.45, 0.3, 0.3, 0, 1, &second);
    out = lay(&first, &second);
    check_near("half of the discs", out.correlation, 0.5, 3 * out.se + 0.05);
    assert_true(out.correlation > 4 * out.se);
    fleck_ink_grid_clear(&first);
    fleck_ink_grid_clear(&second);
}

/*
 * The largest of thousands of correlations would be some 0.15 here. In 24 pairs the mean must be 0 within
 * its own standard error, and that of a pair must be what the jackknife says.
 */
static void prints_that_share_nothing_come_out_at_nothing(void **state)
{
    enum { PAIRS = 24 };
    double sum = 0, square = 0, claimed = 0;

    (void)state;
    for (uint64_t i = 0; i < PAIRS; i++) {
        disc discs[DISCS];
        fleck_ink_grid first, second;
        fleck_registration out;

        throw_discs(100 + 2 * i, discs);
        print_discs(discs, 0, 0, 0, 0, 1, &first);
        throw_discs(101 + 2 * i, discs);
        print_discs(discs, 0, 0, 0, 0, 1, &second);
        out = lay(&first, &second);
        sum += out.correlation;
        square += out.correlation * out.correlation;
        claimed += out.se * out.se;
        fleck_ink_grid_clear(&first);
        fleck_ink_grid_clear(&second);
    }
    print_message("mean %.4f, sd %.4f, claimed %.4f\n", sum / PAIRS, sqrt(square / PAIRS),
                  sqrt(claimed / PAIRS));
    check_near("nothing shared", sum / PAIRS, 0, 3 * sqrt(square / PAIRS / PAIRS));
    check_ratio("jackknife", sqrt(claimed / PAIRS), sqrt(square / PAIRS), 0.5);
}

/* Light that falls off towards the edges is the same in all prints and is no spot. */
static void uneven_light_alone_is_no_pattern(void **state)
{
    double *const shares = calloc((size_t)SIDE * SIDE, sizeof *shares);
    fleck_ink_grid grid;

    (void)state;
    assert_non_null(shares);
    for (size_t y = 0; y < SIDE; y++) {
        for (size_t x = 0; x < SIDE; x++) {
            const double u = (double)x / SIDE, v = (double)y / SIDE;

            shares[y * SIDE + x] = 0.2 + 0.3 * u - 0.1 * v + 0.2 * u * v - 0.3 * u * u + 0.1 * v * v;
        }
    }
    assert_int_equal(fleck_ink_grid_from(shares, SIDE, SIDE, cell_mm, &grid, NULL), FLECK_OK);
    for (size_t i = 0; i < (size_t)SIDE * SIDE; i++)
        assert_int_equal(grid.cells[i], 0);
    check_near("no ink: no correlation", lay(&grid, &grid).correlation, NAN, 0);
    fleck_ink_grid_clear(&grid);
    free(shares);
}

static void prints_of_different_size_are_laid_centre_on_centre(void **state)
{
    disc discs[DISCS];
    fleck_ink_grid whole, part = { .width = 90, .height = 80, .cell_mm = cell_mm };
    fleck_registration out;

    (void)state;
    throw_discs(5, discs);
    print_discs(discs, 0, 0, 0, 0, 1, &whole);
    part.cells = malloc(part.width * part.height * sizeof *part.cells);
    assert_non_null(part.cells);
    for (size_t y = 0; y < part.height; y++) {
        for (size_t x = 0; x < part.width; x++)
            part.cells[y * part.width + x] = whole.cells[(y + 20) * SIDE + x + 15];
    }
    out = lay(&whole, &part);
    check_near("a part of itself", out.correlation, 1, 1e-9);
    out = lay(&part, &whole);
    check_near("a part of itself", out.correlation, 1, 1e-9);
    fleck_ink_grid_clear(&whole);
    fleck_ink_grid_clear(&part);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_print_lies_on_itself),
        cmocka_unit_test(a_moved_and_turned_print_is_found_again),
        cmocka_unit_test(prints_that_share_half_their_discs_are_in_between),
        cmocka_unit_test(prints_that_share_nothing_come_out_at_nothing),
        cmocka_unit_test(uneven_light_alone_is_no_pattern),
        cmocka_unit_test(prints_of_different_size_are_laid_centre_on_centre),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
