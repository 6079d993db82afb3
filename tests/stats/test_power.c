/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>

#include "stats/power.h"

/*
 * 30-digit arithmetic (mpmath 1.2): quadrature of both tails over the density of the spread, and
 * root searches on it. R 4.2.2, power.t.test(strict = TRUE), gives the same to 1e-10; SciPy's nct
 * is off by up to 7e-8 here.
 */
static const char source[] = "mpmath, as R's power.t.test(strict)";

static void power_is_that_of_the_noncentral_t(void **state)
{
    (void)state;
    check_near(source, fleck_power_two_groups(20, 1, 0.05), 0.868953027723989, 1e-11);
    check_near(source, fleck_power_two_groups(3, 2, 0.05), 0.462640811891307, 1e-11);
    check_near("either sign", fleck_power_two_groups(3, -2, 0.05), 0.462640811891307, 1e-11);
    check_near("no difference: the level itself", fleck_power_two_groups(7, 0, 0.05), 0.05, 1e-11);
    check_near("all of it", fleck_power_two_groups(50, 100, 0.05), 1, 1e-12);
}

static void group_sizes_and_effects_are_found_back(void **state)
{
    static const struct {
        double group_size, effect, power;
    } cases[] = {
        { 22.0210884263790573, 1, 0.9 },
        { 63.7656101911427131, 0.5, 0.8 },
        { 10, 1.32494739257923065, 0.8 },
        { 5, 0.704385337897907707 / 0.3, 0.9 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        check_near(source, fleck_power_group_size(cases[i].effect, 0.05, cases[i].power),
                   cases[i].group_size, 1e-9);
        check_near(source, fleck_power_effect(cases[i].group_size, 0.05, cases[i].power),
                   cases[i].effect, 1e-10);
    }
}

static void what_has_no_answer_gives_none(void **state)
{
    (void)state;
    assert_true(isinf(fleck_power_group_size(0, 0.05, 0.8)));
    check_near("a huge effect: two patches each", fleck_power_group_size(1000, 0.05, 0.8), 2, 0);
    check_near("power below the level", fleck_power_group_size(1, 0.05, 0.04), NAN, 0);
    check_near("power 1", fleck_power_effect(5, 0.05, 1), NAN, 0);
    check_near("one patch", fleck_power_effect(1, 0.05, 0.8), NAN, 0);
    check_near("one patch", fleck_power_two_groups(1, 2, 0.05), NAN, 0);
    check_near("no number", fleck_power_two_groups(5, NAN, 0.05), NAN, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(power_is_that_of_the_noncentral_t),
        cmocka_unit_test(group_sizes_and_effects_are_found_back),
        cmocka_unit_test(what_has_no_answer_gives_none),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
