/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What all tests share: cmocka, comparisons that name their source, and a seeded generator. */
#ifndef FLECK_TESTS_CHECK_H
#define FLECK_TESTS_CHECK_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

/*
 * Fail, printing the source, unless |actual - expected| <= tolerance. NAN equals NAN, nothing else
 * does.
 */
#define check_near(source, actual, expected, tolerance) \
    check_near_at(source, actual, expected, tolerance, __FILE__, __LINE__)
void check_near_at(const char *source, double actual, double expected, double tolerance,
                   const char *file, int line);

/* The same with a tolerance relative to the expected value. */
#define check_ratio(source, actual, expected, tolerance) \
    check_ratio_at(source, actual, expected, tolerance, __FILE__, __LINE__)
void check_ratio_at(const char *source, double actual, double expected, double tolerance,
                    const char *file, int line);

/* Random numbers of the tests: splitmix64 (Steele, Lea & Flood 2014), the same on every machine. */
uint64_t test_random(uint64_t *state);

/* Uniform in [0, 1). */
double test_uniform(uint64_t *state);

#endif
