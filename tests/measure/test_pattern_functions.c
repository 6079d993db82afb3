/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/pattern.h"

#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "support/check.h"

static const double pi = 3.14159265358979323846;

enum { MOST_POINTS = 4000, MOST_DISTANCES = 64, CELLS = 1024 };

/* See tests/data/points/README.md; a lattice unit is 1 over `lattice`. */
static const struct {
    const char *name;
    size_t n;
    double left, top, width, height, lattice;
} published[] = {
    { "cells", 42, 0, 0, 1, 1, 1000 },         { "redwood", 62, 0, -1, 1, 1, 1000 },
    { "japanesepines", 65, 0, 0, 1, 1, 1000 }, { "swedishpines", 71, 0, 0, 96, 100, 10 },
    { "bei", 3604, 0, 0, 1000, 500, 10 },
};
enum { PATTERNS = sizeof published / sizeof *published };

static struct {
    fleck_point_mm points[MOST_POINTS];
    size_t n;
} pattern;

static FILE *open_data(const char *name)
{
    char path[512];
    FILE *file;

    snprintf(path, sizeof path, "%s/points/%s", FLECK_TEST_DATA, name);
    file = fopen(path, "r");
    assert_non_null(file);
    return file;
}

/* In whole lattice units, where ties of distances are exact. */
static void read_points(size_t which)
{
    char line[256];
    FILE *file;

    snprintf(line, sizeof line, "%s_nn.csv", published[which].name);
    file = open_data(line);
    assert_non_null(fgets(line, sizeof line, file));
    for (pattern.n = 0; fgets(line, sizeof line, file) != NULL; pattern.n++) {
        double x, y;

        assert_true(pattern.n < MOST_POINTS);
        assert_int_equal(sscanf(line, "%lf,%lf", &x, &y), 2);
        pattern.points[pattern.n].x_mm =
            round((x - published[which].left) * published[which].lattice);
        pattern.points[pattern.n].y_mm =
            round((y - published[which].top) * published[which].lattice);
    }
    fclose(file);
    assert_int_equal(pattern.n, published[which].n);
}

/* A function by the letter it has in functions.csv, in published units. */
static void find(char function, size_t which, const double *r, size_t count, double *out)
{
    const double unit = published[which].lattice;
    const double w = published[which].width * unit, h = published[which].height * unit;
    double r_mm[MOST_DISTANCES];
    fleck_error err = { FLECK_OK, "" };
    fleck_status status;

    for (size_t i = 0; i < count; i++)
        r_mm[i] = r[i] * unit;
    if (function == 'g')
        status = fleck_pattern_pair_correlation(pattern.points, pattern.n, w, h, 0, r_mm, count,
                                                out, &err);
    else if (function == 'G')
        status = fleck_pattern_nearest_g(pattern.points, pattern.n, w, h, r_mm, count, out, &err);
    else if (function == 'F')
        status =
            fleck_pattern_empty_f(pattern.points, pattern.n, w, h, CELLS, r_mm, count, out, &err);
    else
        status = fleck_pattern_ripley_k(pattern.points, pattern.n, w, h, r_mm, count, out, &err);
    if (status != FLECK_OK)
        fail_msg("%s", err.message);
    for (size_t i = 0; i < count && function == 'K'; i++)
        out[i] /= unit * unit;
    for (size_t i = 0; i < count && function == 'L'; i++)
        out[i] = sqrt(out[i] / pi) / unit;
}

static void published_points_have_their_functions(void **state)
{
    static const struct {
        char function;
        double tolerance; /* of F the grid's: the reference has cells of 1 / 3501 */
    } functions[] = { { 'K', 1e-9 }, { 'L', 1e-9 }, { 'g', 1e-9 }, { 'G', 1e-9 }, { 'F', 1e-3 } };

    (void)state;
    for (size_t p = 0; p < PATTERNS; p++) {
        read_points(p);
        for (size_t f = 0; f < sizeof functions / sizeof *functions; f++) {
            FILE *const file = open_data("functions.csv");
            double r[MOST_DISTANCES], expected[MOST_DISTANCES], actual[MOST_DISTANCES];
            char line[256], name[32], function;
            size_t count = 0;

            while (fgets(line, sizeof line, file) != NULL) {
                assert_true(count < MOST_DISTANCES);
                if (sscanf(line, "%31[a-z],%c,%lf,%lf", name, &function, &r[count],
                           &expected[count]) == 4 &&
                    strcmp(name, published[p].name) == 0 && function == functions[f].function)
                    count++;
            }
            fclose(file);
            assert_int_equal(count, 8);
            find(functions[f].function, p, r, count, actual);
            for (size_t i = 0; i < count; i++) {
                const double scale = fmax(fabs(expected[i]), 1);

                check_near(published[p].name, actual[i], expected[i],
                           functions[f].tolerance * scale);
            }
        }
    }
}

static int backwards(const void *a, const void *b)
{
    const fleck_point_mm *const p = a, *const q = b;

    return p->y_mm != q->y_mm ? (p->y_mm < q->y_mm ? 1 : -1)
                              : (p->x_mm < q->x_mm) - (p->x_mm > q->x_mm);
}

static void the_order_of_the_points_changes_no_digit(void **state)
{
    static const double r[] = { 0.011, 0.037, 0.052, 0.11, 0.2 };
    static const char functions[] = "KgGF";
    double before[4][5], after[4][5];

    (void)state;
    read_points(1);
    for (size_t f = 0; f < 4; f++)
        find(functions[f], 1, r, 5, before[f]);
    qsort(pattern.points, pattern.n, sizeof *pattern.points, backwards);
    for (size_t f = 0; f < 4; f++)
        find(functions[f], 1, r, 5, after[f]);
    assert_memory_equal(before, after, sizeof before);
}

/* Two points 3 mm apart in x, 4 mm in y, in 10 x 20 mm: the weight is 200 / (7 * 16). */
static void two_points_are_worked_by_hand(void **state)
{
    static const fleck_point_mm points[] = { { 4, 8 }, { 7, 12 } };
    static const double r[] = { 2.5, 4.9, 5, 5.5 };
    const double k = 200 / 2.0 * 2 * 200 / (7 * 16.0);
    double out[4];

    (void)state;
    assert_int_equal(fleck_pattern_ripley_k(points, 2, 10, 20, r, 4, out, NULL), FLECK_OK);
    check_near("no pair yet", out[1], 0, 0);
    check_near("one pair", out[2], k, 1e-12 * k);
    check_near("one pair", out[3], k, 1e-12 * k);
    assert_int_equal(fleck_pattern_pair_correlation(points, 2, 10, 20, 1, r, 4, out, NULL),
                     FLECK_OK);
    check_near("outside the kernel", out[0], 0, 0);
    check_near("its top", out[2], 0.75 * k / (2 * pi * 5), 1e-12);
    check_near("half-way", out[3], 0.75 * 0.75 * k / (2 * pi * 5.5), 1e-12);
    /* the first is 4 mm from the border, the second 3: neither sees its neighbour */
    assert_int_equal(fleck_pattern_nearest_g(points, 2, 10, 20, r, 4, out, NULL), FLECK_OK);
    check_near("not known", out[3], 0, 0);
    assert_int_equal(fleck_pattern_nearest_g(points, 2, 100, 100, r, 4, out, NULL), FLECK_OK);
    check_near("of points, the second sees its own", out[3], 1, 0);
}

/* From one place, the middle, the point is 1 mm away, and the border 5. */
static void one_cell_is_one_place(void **state)
{
    static const fleck_point_mm point = { 5, 6 };
    static const double r[] = { 0.9, 1, 8 };
    double out[3];

    (void)state;
    assert_int_equal(fleck_pattern_empty_f(&point, 1, 10, 10, 1, r, 3, out, NULL), FLECK_OK);
    check_near("empty", out[0], 0, 0);
    check_near("reached", out[1], 1, 0);
    check_near("beyond", out[2], 1, 0);
}

static double slow_nearest(double x, double y)
{
    double best = INFINITY;

    for (size_t i = 0; i < pattern.n; i++)
        best = fmin(best, hypot(pattern.points[i].x_mm - x, pattern.points[i].y_mm - y));
    return best;
}

/* A narrow window with all points in a corner: rings of cells must reach the far end. */
static void crowded_points_have_the_places_of_the_definition(void **state)
{
    enum { COLUMNS = 128, ROWS = 8, STEPS = 40 };
    const double w = 32, h = 2;
    double r[STEPS], found[STEPS];
    uint64_t random = 5;

    (void)state;
    pattern.n = 50;
    for (size_t i = 0; i < pattern.n; i++)
        pattern.points[i] =
            (fleck_point_mm){ 3 * test_uniform(&random), h * test_uniform(&random) };
    for (size_t k = 0; k < STEPS; k++)
        r[k] = 0.03 * ((double)k + 1);
    assert_int_equal(
        fleck_pattern_empty_f(pattern.points, pattern.n, w, h, COLUMNS, r, STEPS, found, NULL),
        FLECK_OK);
    /* the estimate written from its definition: a product over all distances that were seen */
    for (size_t k = 0; k < STEPS; k++) {
        static double seen[COLUMNS * ROWS], border[COLUMNS * ROWS];
        double none = 1;

        for (size_t i = 0; i < COLUMNS * ROWS; i++) {
            const double x = ((double)(i % COLUMNS) + 0.5) * w / COLUMNS;
            const double y = ((double)(i / COLUMNS) + 0.5) * h / ROWS;

            seen[i] = slow_nearest(x, y);
            border[i] = fmin(fmin(x, w - x), fmin(y, h - y));
        }
        for (size_t i = 0; i < COLUMNS * ROWS; i++) {
            double at_risk = 0, found_here = 0;
            bool first = true;

            if (seen[i] > border[i] || seen[i] > r[k])
                continue;
            for (size_t j = 0; j < COLUMNS * ROWS; j++) {
                at_risk += fmin(seen[j], border[j]) >= seen[i];
                found_here += seen[j] == seen[i] && seen[j] <= border[j];
                first = first && (j >= i || seen[j] != seen[i] || seen[j] > border[j]);
            }
            if (first)
                none *= 1 - found_here / at_risk;
        }
        check_near("product limit", found[k], 1 - none, 1e-4);
        if (k > 0)
            assert_true(found[k] >= found[k - 1]);
    }
}

static void too_few_points_have_none(void **state)
{
    static const fleck_point_mm point = { 1, 1 };
    static const double r[] = { 0.1, 0.2 };
    double out[2];

    (void)state;
    for (size_t n = 0; n < 2; n++) {
        assert_int_equal(fleck_pattern_ripley_k(&point, n, 2, 2, r, 2, out, NULL), FLECK_OK);
        check_near("K", out[1], NAN, 0);
        assert_int_equal(fleck_pattern_pair_correlation(&point, n, 2, 2, 0.1, r, 2, out, NULL),
                         FLECK_OK);
        check_near("g", out[1], NAN, 0);
        assert_int_equal(fleck_pattern_nearest_g(&point, n, 2, 2, r, 2, out, NULL), FLECK_OK);
        check_near("G", out[1], NAN, 0);
    }
    assert_int_equal(fleck_pattern_empty_f(&point, 0, 2, 2, 16, r, 2, out, NULL), FLECK_OK);
    check_near("F", out[1], NAN, 0);
}

static void calls_that_make_no_sense_are_refused(void **state)
{
    static const fleck_point_mm points[] = { { 1, 1 }, { 3, 1 } };
    static const double r[] = { 0.1, 0.2 }, falling[] = { 0.2, 0.1 }, nought[] = { 0, 1 };
    double out[2];
    fleck_error err = { FLECK_OK, "" };

    (void)state;
    assert_int_equal(fleck_pattern_ripley_k(points, 2, 2, 2, r, 2, out, &err), FLECK_BAD_CALL);
    assert_non_null(strstr(err.message, "outside the window"));
    assert_int_equal(fleck_pattern_ripley_k(points, 1, 0, 2, r, 2, out, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_pattern_ripley_k(points, 1, 2, NAN, r, 2, out, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_pattern_ripley_k(points, 1, 2, 2, falling, 2, out, &err),
                     FLECK_BAD_CALL);
    assert_int_equal(fleck_pattern_nearest_g(points, 1, 2, 2, nought, 2, out, &err),
                     FLECK_BAD_CALL);
    assert_int_equal(fleck_pattern_ripley_k(points, 2, 4, 0.2, r, 2, out, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_pattern_ripley_k(points, 2, 4, 1, nought + 1, 1, out, &err),
                     FLECK_BAD_CALL);
    assert_int_equal(fleck_pattern_pair_correlation(points, 2, 4, 1, 0.9, r, 2, out, &err),
                     FLECK_BAD_CALL);
    assert_int_equal(fleck_pattern_pair_correlation(points, 2, 4, 1, -1, r, 2, out, &err),
                     FLECK_BAD_CALL);
    assert_int_equal(fleck_pattern_empty_f(points, 2, 4, 1, 0, r, 2, out, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_pattern_empty_f(points, 2, 4, 1, 4097, r, 2, out, &err), FLECK_BAD_CALL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(published_points_have_their_functions),
        cmocka_unit_test(the_order_of_the_points_changes_no_digit),
        cmocka_unit_test(two_points_are_worked_by_hand),
        cmocka_unit_test(one_cell_is_one_place),
        cmocka_unit_test(crowded_points_have_the_places_of_the_definition),
        cmocka_unit_test(too_few_points_have_none),
        cmocka_unit_test(calls_that_make_no_sense_are_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
