/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>

#include "stats/noncentral_t.h"

/* 30-digit arithmetic (mpmath 1.2): the regularised incomplete beta function. */
static const struct {
    double t, df, two_sided;
} central[] = {
    { 1e-09, 1, 0.999999999363380228 },
    { 0.5, 4.3, 0.64158838090076773 },
    { 1.9, 10.687704557997934, 0.0847311637315375351 },
    { 2.5, 31, 0.0179202268133862205 },
    { 6, 80, 5.46156296296957529e-8 },
    { 40, 2, 0.000624414672184740637 },
    { 2.5, 400, 0.0128188667634315773 },
};

/* 30-digit arithmetic (mpmath 1.2): quadrature of the normal tail over the density of the spread.
 */
static const struct {
    double t, df, delta, above;
} noncentral[] = {
    { 2.5, 10, 2, 0.351975041130091083 },  { 0.3, 2, 4, 0.999890053230048644 },
    { 30, 4.7, 20, 0.194854229923153527 }, { -0.3, 398, 1, 0.903154642227527926 },
    { 5, 1, 0, 0.0628329581890011838 },    { 0, 1, 1, 0.841344746068542949 },
    { -2, 10, -3, 0.168485838588043399 },  { 6, 5000, 4, 0.0229608946103590068 },
};

static void the_two_tails_of_t_hold_for_every_number_of_degrees(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof central / sizeof *central; i++) {
        check_ratio("mpmath", fleck_t_two_sided(central[i].t, central[i].df), central[i].two_sided,
                    1e-12);
        check_ratio("either sign", fleck_t_two_sided(-central[i].t, central[i].df),
                    central[i].two_sided, 1e-12);
        check_ratio("half of it lies above", fleck_t_above(central[i].t, central[i].df),
                    central[i].two_sided / 2, 1e-12);
        check_ratio("and half below", fleck_t_above(-central[i].t, central[i].df),
                    1 - central[i].two_sided / 2, 1e-12);
        check_near("and back", fleck_t_two_sided_quantile(central[i].two_sided, central[i].df),
                   central[i].t, 1e-9);
    }
}

static void the_shifted_t_meets_the_integral(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof noncentral / sizeof *noncentral; i++) {
        const double t = noncentral[i].t, df = noncentral[i].df, delta = noncentral[i].delta;

        check_near("mpmath", fleck_noncentral_t_above(t, df, delta), noncentral[i].above, 1e-12);
        check_near("the other side", fleck_noncentral_t_below(t, df, delta),
                   1 - noncentral[i].above, 1e-12);
        check_near("mirrored", fleck_noncentral_t_below(-t, df, -delta), noncentral[i].above,
                   1e-12);
    }
}

static void without_a_shift_it_is_the_plain_t(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof central / sizeof *central; i++)
        check_near("delta 0", 2 * fleck_noncentral_t_above(central[i].t, central[i].df, 0),
                   central[i].two_sided, 1e-12);
}

static void the_shift_is_found_from_the_chance(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof noncentral / sizeof *noncentral; i++)
        check_near("and back",
                   fleck_noncentral_t_delta(noncentral[i].t, noncentral[i].df, noncentral[i].above),
                   noncentral[i].delta, 1e-8);
    check_near("far out",
               fleck_noncentral_t_above(-500, 9, fleck_noncentral_t_delta(-500, 9, 0.025)), 0.025,
               1e-8);
}

static void what_is_no_number_stays_none(void **state)
{
    (void)state;
    check_near("t", fleck_t_two_sided(NAN, 3), NAN, 0);
    check_near("df", fleck_t_two_sided(1, NAN), NAN, 0);
    check_near("beyond all", fleck_t_two_sided(INFINITY, 3), 0, 0);
    check_near("p of 0", fleck_t_two_sided_quantile(0, 3), NAN, 0);
    check_near("t", fleck_noncentral_t_above(NAN, 3, 0), NAN, 0);
    check_near("t", fleck_noncentral_t_delta(INFINITY, 3, 0.5), NAN, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_two_tails_of_t_hold_for_every_number_of_degrees),
        cmocka_unit_test(the_shifted_t_meets_the_integral),
        cmocka_unit_test(without_a_shift_it_is_the_plain_t),
        cmocka_unit_test(the_shift_is_found_from_the_chance),
        cmocka_unit_test(what_is_no_number_stays_none),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
