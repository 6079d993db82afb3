/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Masks that merge late, wind or nest, and calls that must be refused. */
#include "fleck/segment.h"

#include <stdlib.h>
#include <string.h>

#include "segment/mask.h"
#include "support/check.h"

/* ---- shapes by a rule for each pixel ---- */

static size_t smaller(size_t a, size_t b)
{
    return a < b ? a : b;
}

static bool nothing(size_t x, size_t y, size_t w, size_t h)
{
    (void)x, (void)y, (void)w, (void)h;
    return false;
}

static bool everything(size_t x, size_t y, size_t w, size_t h)
{
    (void)x, (void)y, (void)w, (void)h;
    return true;
}

static bool checkerboard(size_t x, size_t y, size_t w, size_t h)
{
    (void)w, (void)h;
    return (x + y) % 2 == 0;
}

static bool lone_pixels(size_t x, size_t y, size_t w, size_t h)
{
    (void)w, (void)h;
    return x % 3 == 1 && y % 2 == 1;
}

static bool comb_up(size_t x, size_t y, size_t w, size_t h)
{
    (void)w;
    return x % 2 == 0 || y == h - 1;
}

static bool comb_down(size_t x, size_t y, size_t w, size_t h)
{
    (void)w, (void)h;
    return x % 2 == 0 || y == 0;
}

static bool combs_in_one_another(size_t x, size_t y, size_t w, size_t h)
{
    (void)w;
    return y == 0 ? true : y == h - 1 ? false : x % 4 < 2;
}

static bool tree(size_t x, size_t y, size_t w, size_t h)
{
    /* stems join in pairs, pairs in pairs, from the top down */
    (void)w, (void)h;
    return x % 2 == 0 ||
           (y > 0 && x % ((size_t)2 << smaller(y, 40)) < ((size_t)1 << smaller(y, 40)));
}

static bool nested_u(size_t x, size_t y, size_t w, size_t h)
{
    return smaller(smaller(x, w - 1 - x), h - 1 - y) % 2 == 0;
}

static bool nested_u_upside_down(size_t x, size_t y, size_t w, size_t h)
{
    (void)h;
    return smaller(smaller(x, w - 1 - x), y) % 2 == 0;
}

static bool rings(size_t x, size_t y, size_t w, size_t h)
{
    return smaller(smaller(x, w - 1 - x), smaller(y, h - 1 - y)) % 2 == 0;
}

static bool rings_in_bare(size_t x, size_t y, size_t w, size_t h)
{
    return !rings(x, y, w, h);
}

static bool falling_lines(size_t x, size_t y, size_t w, size_t h)
{
    (void)w, (void)h;
    return (x + 3 * h - y) % 3 == 0;
}

static bool rising_lines(size_t x, size_t y, size_t w, size_t h)
{
    (void)w, (void)h;
    return (x + y) % 3 == 0;
}

static bool zigzag(size_t x, size_t y, size_t w, size_t h)
{
    (void)w, (void)h;
    return x % 4 == 2 ? y % 6 < 3 : x % 4 == 0 ? y % 6 >= 3 : y % 3 == 0;
}

static struct mask shape(bool (*is_ink)(size_t, size_t, size_t, size_t), size_t w, size_t h)
{
    struct mask mask = mask_new(w, h);

    for (size_t y = 0; y < h; y++)
        for (size_t x = 0; x < w; x++)
            mask.ink[y * w + x] = is_ink(x, y, w, h);
    return mask;
}

/* A path of one pixel that winds inwards, one pixel of paper beside it. */
static struct mask spiral(size_t w, size_t h)
{
    static const long dx[4] = { 1, 0, -1, 0 }, dy[4] = { 0, 1, 0, -1 };
    struct mask mask = mask_new(w, h);
    long x = 0, y = 0, blocked = 0;
    size_t turn = 0;

    mask.ink[0] = 1;
    while (blocked < 2) {
        const long x1 = x + dx[turn], y1 = y + dy[turn], x2 = x1 + dx[turn], y2 = y1 + dy[turn];
        const bool inside = x1 >= 0 && y1 >= 0 && x1 < (long)w && y1 < (long)h;
        const bool beyond = x2 >= 0 && y2 >= 0 && x2 < (long)w && y2 < (long)h;

        if (!inside || mask.ink[y1 * (long)w + x1] || (beyond && mask.ink[y2 * (long)w + x2])) {
            turn = (turn + 1) % 4;
            blocked++;
            continue;
        }
        x = x1;
        y = y1;
        mask.ink[y * (long)w + x] = 1;
        blocked = 0;
    }
    return mask;
}

/* ---- the checks ---- */

static void check_against_flood(const char *name, const struct mask *mask)
{
    struct components found[2];

    mask_label(mask, found);
    for (int phase = 0; phase < 2; phase++) {
        struct components twin = mask_flood(mask, (fleck_phase)phase);

        components_check(name, &found[phase], &twin);
        components_free(&twin);
        components_free(&found[phase]);
    }
}

static void test_shapes_have_the_components_a_flood_fill_finds(void **state)
{
    static const struct {
        const char *name;
        bool (*is_ink)(size_t, size_t, size_t, size_t);
    } shapes[] = {
        { "empty", nothing },
        { "full", everything },
        { "checkerboard", checkerboard },
        { "lone pixels", lone_pixels },
        { "comb, teeth up", comb_up },
        { "comb, teeth down", comb_down },
        { "combs in one another", combs_in_one_another },
        { "tree", tree },
        { "nested U", nested_u },
        { "nested U upside down", nested_u_upside_down },
        { "rings", rings },
        { "rings in bare paper", rings_in_bare },
        { "falling lines", falling_lines },
        { "rising lines", rising_lines },
        { "zigzag", zigzag },
    };
    static const size_t sides[] = { 1, 2, 3, 7, 16, 63, 64, 65 };
    enum { SIDES = sizeof sides / sizeof *sides };

    (void)state;
    for (size_t i = 0; i < SIDES * SIDES; i++) {
        const size_t w = sides[i % SIDES], h = sides[i / SIDES];
        struct mask wound = spiral(w, h), turned = mask_turned(&wound);

        check_against_flood("spiral", &wound);
        check_against_flood("spiral, turned", &turned);
        mask_free(&wound);
        mask_free(&turned);
        for (size_t j = 0; j < sizeof shapes / sizeof *shapes; j++) {
            struct mask mask = shape(shapes[j].is_ink, w, h);

            check_against_flood(shapes[j].name, &mask);
            mask_free(&mask);
        }
    }
}

static void test_random_masks_have_the_components_a_flood_fill_finds(void **state)
{
    static const double coverages[] = { 0.05, 0.2, 0.35, 0.41, 0.5, 0.59, 0.8, 0.95 };
    static const size_t widths[] = { 1, 2, 3, 5, 63, 64, 65, 130 };
    uint64_t random = 3;

    (void)state;
    for (size_t trial = 0; trial < 640; trial++) {
        struct mask mask = mask_random(widths[trial / 8 % 8], 1 + test_random(&random) % 70,
                                       coverages[trial % 8], &random);

        check_against_flood("random", &mask);
        mask_free(&mask);
    }
}

static void test_components_are_those_counted_by_hand(void **state)
{
    static const struct {
        const char *name, *picture;
        size_t ink, bare, first_ink_area;
    } cases[] = {
        { "corners join ink but part bare paper", "#. .#", 1, 2, 2 },
        { "a chessboard of ink is one dot", "#.# .#. #.#", 1, 4, 5 },
        { "a ring has one fleck in it", "..... .###. .#.#. .###. .....", 1, 2, 8 },
        { "two columns that meet in the last row", "#.# #.# ###", 1, 1, 7 },
        { "three columns that meet at corners only", "#...# .#.#. ..#..", 1, 3, 5 },
        { "two dots one pixel of paper apart", "##.## ##.##", 2, 1, 4 },
        { "one pixel of ink", "#", 1, 0, 1 },
        { "one pixel of paper", ".", 0, 1, 0 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct mask mask = mask_from_text(cases[i].picture);
        struct components found[2];

        mask_label(&mask, found);
        check_near(cases[i].name, (double)found[FLECK_PHASE_INK].count, (double)cases[i].ink, 0.0);
        check_near(cases[i].name, (double)found[FLECK_PHASE_BARE].count, (double)cases[i].bare,
                   0.0);
        if (cases[i].ink > 0)
            check_near(cases[i].name, (double)found[FLECK_PHASE_INK].items[0].area_px,
                       (double)cases[i].first_ink_area, 0.0);
        components_free(&found[0]);
        components_free(&found[1]);
        mask_free(&mask);
    }
}

/* ---- calls ---- */

struct log {
    size_t calls, fail_at; /* fail_at 0: never */
    fleck_phase phase[64];
    fleck_component component[64];
};

static fleck_status write_log(void *context, fleck_phase phase, const fleck_component *component,
                              fleck_error *err)
{
    struct log *const log = context;

    log->calls++;
    if (log->calls == log->fail_at)
        return fleck_fail(err, FLECK_NO_RESOURCE, "the sink is full");
    assert_true(log->calls <= 64);
    log->phase[log->calls - 1] = phase;
    log->component[log->calls - 1] = *component;
    return FLECK_OK;
}

static fleck_status give(const char *picture, struct log *log, fleck_error *err)
{
    struct mask mask = mask_from_text(picture);
    fleck_labeller *labeller;
    fleck_run runs[32];
    fleck_status status =
        fleck_labeller_new(mask.width_px, mask.height_px, NULL, write_log, log, &labeller, err);

    assert_int_equal(status, FLECK_OK);
    for (size_t y = 0; status == FLECK_OK && y < mask.height_px; y++)
        status = fleck_labeller_row(labeller, runs, mask_runs(&mask, y, runs), err);
    if (status == FLECK_OK)
        status = fleck_labeller_finish(labeller, err);
    else
        assert_int_equal(fleck_labeller_row(labeller, NULL, 0, NULL), FLECK_BAD_CALL);
    assert_int_equal(fleck_labeller_finish(labeller, NULL), FLECK_BAD_CALL);
    fleck_labeller_free(labeller);
    mask_free(&mask);
    return status;
}

static void test_components_come_by_last_row_then_ink_first_then_from_the_left(void **state)
{
    /* the dot at the right ends first; the fleck in it ends with the row above its lower rim */
    struct log log = { 0 };
    fleck_error err;

    (void)state;
    assert_int_equal(give("#...### #...#.# #...### ....... #....#.", &log, &err), FLECK_OK);
    assert_int_equal(log.calls, 6);
    assert_int_equal(log.phase[0], FLECK_PHASE_BARE); /* in the ring */
    assert_int_equal(log.component[0].first_x_px, 5);
    assert_int_equal(log.phase[1], FLECK_PHASE_INK);
    assert_int_equal(log.component[1].first_x_px, 0);
    assert_int_equal(log.component[1].area_px, 3);
    assert_int_equal(log.phase[2], FLECK_PHASE_INK);
    assert_int_equal(log.component[2].first_x_px, 4);
    assert_int_equal(log.component[2].area_px, 8);
    assert_int_equal(log.component[3].first_x_px, 0);
    assert_int_equal(log.component[3].first_y_px, 4);
    assert_int_equal(log.component[4].first_x_px, 5);
    assert_int_equal(log.phase[5], FLECK_PHASE_BARE);
}

static void test_a_failing_sink_stops_the_labeller(void **state)
{
    fleck_error err;

    (void)state;
    for (size_t at = 1; at <= 6; at++) {
        struct log log = { .fail_at = at };

        assert_int_equal(give("#...### #...#.# #...### ....... #....#.", &log, &err),
                         FLECK_NO_RESOURCE);
        assert_string_equal(err.message, "the sink is full");
        assert_int_equal(log.calls, at);
    }
}

static void test_rows_that_do_not_fit_are_refused(void **state)
{
    static const struct {
        const char *why;
        fleck_run runs[2];
        size_t count;
    } bad[] = {
        { "touching", { { 0, 2 }, { 2, 3 } }, 2 },
        { "overlapping", { { 0, 3 }, { 2, 4 } }, 2 },
        { "empty", { { 3, 3 } }, 1 },
        { "backwards", { { 4, 5 }, { 1, 2 } }, 2 },
        { "beyond the row", { { 7, 9 } }, 1 },
        { "turned", { { 5, 2 } }, 1 },
    };
    struct log log = { 0 };
    fleck_labeller *labeller;
    fleck_error err;

    (void)state;
    assert_int_equal(fleck_labeller_new(8, 2, NULL, write_log, &log, &labeller, &err), FLECK_OK);
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        if (fleck_labeller_row(labeller, bad[i].runs, bad[i].count, &err) != FLECK_BAD_CALL)
            fail_msg("%s runs were taken", bad[i].why);
    }
    /* none of them counts as a row */
    assert_int_equal(fleck_labeller_row(labeller, NULL, 0, &err), FLECK_OK);
    assert_int_equal(fleck_labeller_finish(labeller, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_labeller_row(labeller, NULL, 0, &err), FLECK_OK);
    assert_int_equal(fleck_labeller_row(labeller, NULL, 0, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_labeller_finish(labeller, &err), FLECK_OK);
    assert_int_equal(log.calls, 1);
    assert_int_equal(log.component[0].area_px, 16);
    fleck_labeller_free(labeller);
    fleck_labeller_free(NULL);
}

static void test_regions_whose_sums_do_not_fit_are_refused(void **state)
{
    static const struct {
        size_t width_px, height_px;
        fleck_status status;
    } cases[] = {
        { 0, 5, FLECK_BAD_CALL },
        { 5, 0, FLECK_BAD_CALL },
        { 2147483648u, 1, FLECK_BAD_CALL },
        { 1, 2147483648u, FLECK_BAD_CALL },
        { 2147483647, 2147483647, FLECK_BAD_CALL },
        { 2642246, 2642246, FLECK_BAD_CALL }, /* 2642246^3 > 2^64 > 2642245^3 */
        { 2642245, 2642245, FLECK_OK },
        { 2147483647, 1, FLECK_OK },
        { 1, 2147483647, FLECK_OK },
    };
    const fleck_run whole = { 0, 2147483647 };
    struct log log = { 0 };
    fleck_labeller *labeller;
    fleck_error err;

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        assert_int_equal(fleck_labeller_new(cases[i].width_px, cases[i].height_px, NULL, write_log,
                                            &log, &labeller, &err),
                         cases[i].status);
        assert_int_equal(labeller != NULL, cases[i].status == FLECK_OK);
        fleck_labeller_free(labeller);
    }
    assert_int_equal(fleck_labeller_new(2147483647, 4, NULL, write_log, &log, &labeller, &err),
                     FLECK_OK);
    for (int y = 0; y < 4; y++)
        assert_int_equal(fleck_labeller_row(labeller, &whole, 1, &err), FLECK_OK);
    assert_int_equal(fleck_labeller_finish(labeller, &err), FLECK_OK);
    assert_int_equal(log.component[0].sum_x_px, 4 * (UINT64_C(2147483647) * 1073741823));
    assert_int_equal(log.component[0].sum_y_px, 6 * UINT64_C(2147483647));
    fleck_labeller_free(labeller);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_components_are_those_counted_by_hand),
        cmocka_unit_test(test_shapes_have_the_components_a_flood_fill_finds),
        cmocka_unit_test(test_random_masks_have_the_components_a_flood_fill_finds),
        cmocka_unit_test(test_components_come_by_last_row_then_ink_first_then_from_the_left),
        cmocka_unit_test(test_a_failing_sink_stops_the_labeller),
        cmocka_unit_test(test_rows_that_do_not_fit_are_refused),
        cmocka_unit_test(test_regions_whose_sums_do_not_fit_are_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
