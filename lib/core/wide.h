/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Loops for the widest vectors that the machine has. A loop is written once, in plain C; the compiler
 * makes one function of it for each width, and which is called is decided when the program runs.
 * Only for loops that compilers turn into vector code and that count in whole numbers, or treat each
 * element for itself: their results are the same whatever the width.
 */
#ifndef FLECK_CORE_WIDE_H
#define FLECK_CORE_WIDE_H

#include <stdbool.h>

/* Widths, each a superset of those before. */
typedef enum fleck_width {
    FLECK_WIDTH_PLAIN, /* what every processor of the kind has */
    FLECK_WIDTH_256,   /* x86-64 with AVX2, BMI and POPCNT */
    FLECK_WIDTH_512    /* the same with AVX-512 F, BW, DQ and VL */
} fleck_width;

#if defined(__x86_64__) && defined(__GNUC__)
#define FLECK_HAS_WIDTHS 1
#else
#define FLECK_HAS_WIDTHS 0
#endif

/* A build may ask for less: tests of the narrower widths do. */
#ifndef FLECK_MOST_WIDTH
#define FLECK_MOST_WIDTH FLECK_WIDTH_512
#endif

/* The widest that this machine has. */
static inline fleck_width fleck_widest(void)
{
#if FLECK_HAS_WIDTHS
    const bool has_256 = __builtin_cpu_supports("avx2") && __builtin_cpu_supports("bmi") &&
                         __builtin_cpu_supports("popcnt");

    if (FLECK_MOST_WIDTH >= FLECK_WIDTH_512 && has_256 && __builtin_cpu_supports("avx512f") &&
        __builtin_cpu_supports("avx512bw") && __builtin_cpu_supports("avx512dq") &&
        __builtin_cpu_supports("avx512vl"))
        return FLECK_WIDTH_512;
    if (FLECK_MOST_WIDTH >= FLECK_WIDTH_256 && has_256)
        return FLECK_WIDTH_256;
#endif
    return FLECK_WIDTH_PLAIN;
}

/*
 * FLECK_WIDE_BODY name_body(...) { ... } followed by FLECK_WIDE(name, PARAMETERS, ARGUMENTS) defines
 * name_at(width), which gives the function of a width that the machine must have. PARAMETERS are
 * those of the body in brackets, ARGUMENTS their names.
 */
#if FLECK_HAS_WIDTHS
#define FLECK_WIDE_BODY static inline __attribute__((always_inline)) void
#define FLECK_WIDE(name, PARAMETERS, ARGUMENTS)                                                     \
    static void name##_plain PARAMETERS { name##_body ARGUMENTS; }                                  \
    __attribute__((target("avx2,bmi"))) static void name##_256 PARAMETERS                           \
    {                                                                                               \
        name##_body ARGUMENTS;                                                                      \
    }                                                                                               \
    __attribute__((target("bmi,avx512f,avx512bw,avx512dq,avx512vl,prefer-vector-width=512")))       \
    static void name##_512 PARAMETERS                                                               \
    {                                                                                               \
        name##_body ARGUMENTS;                                                                      \
    }                                                                                               \
    typedef void name##_function PARAMETERS;                                                        \
    static name##_function *name##_at(fleck_width width)                                            \
    {                                                                                               \
        return width == FLECK_WIDTH_512   ? name##_512                                              \
               : width == FLECK_WIDTH_256 ? name##_256                                              \
                                          : name##_plain;                                           \
    }
#else
#define FLECK_WIDE_BODY static inline void
#define FLECK_WIDE(name, PARAMETERS, ARGUMENTS)                                                     \
    static void name##_plain PARAMETERS { name##_body ARGUMENTS; }                                  \
    typedef void name##_function PARAMETERS;                                                        \
    static name##_function *name##_at(fleck_width width)                                            \
    {                                                                                               \
        (void)width;                                                                                \
        return name##_plain;                                                                        \
    }
#endif

#endif
