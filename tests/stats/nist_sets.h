/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Data of the NIST Statistical Reference Datasets for linear regression (Norris, Longley), and how
 * those of Wampler are made (y from the description of the sets, from memory: the noise of Wampler3 is
 * orthogonal to every polynomial of degree 5 and gives the certified residual deviation, which was
 * checked in exact arithmetic).
 */
#ifndef FLECK_TESTS_NIST_SETS_H
#define FLECK_TESTS_NIST_SETS_H

enum { NORRIS_ROWS = 36, LONGLEY_ROWS = 16, LONGLEY_FACTORS = 6, WAMPLER_ROWS = 21 };

static const double norris_y[NORRIS_ROWS] = {
    0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1,
    668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0,
    998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2,
};

static const double norris_x[NORRIS_ROWS] = {
    0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5,
    666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2,
    999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5,
};

static const double longley_y[LONGLEY_ROWS] = {
    60323, 61122, 60171, 61187, 63221, 63639, 64989, 63761, 66019, 67857, 68169, 66513, 68655,
    69564, 69331, 70551,
};

/* Price deflator, national product, unemployed, armed forces, population, year: one after the other. */
static const double longley_x[LONGLEY_FACTORS * LONGLEY_ROWS] = {
    83, 88.5, 88.2, 89.5, 96.2, 98.1, 99, 100, 101.2, 104.6, 108.4, 110.8, 112.6, 114.2, 115.7,
    116.9, 234289, 259426, 258054, 284599, 328975, 346999, 365385, 363112, 397469, 419180,
    442769, 444546, 482704, 502601, 518173, 554894, 2356, 2325, 3682, 3351, 2099, 1932, 1870,
    3578, 2904, 2822, 2936, 4681, 3813, 3931, 4806, 4007, 1590, 1456, 1616, 1650, 3099, 3594,
    3547, 3350, 3048, 2857, 2798, 2637, 2552, 2514, 2572, 2827, 107608, 108632, 109773, 110929,
    112075, 113270, 115094, 116219, 117388, 118734, 120445, 121950, 123366, 125368, 127852,
    130081, 1947, 1948, 1949, 1950, 1951, 1952, 1953, 1954, 1955, 1956, 1957, 1958, 1959, 1960,
    1961, 1962,
};

static const double wampler_noise[WAMPLER_ROWS] = {
    759, -2048, 2048, -2048, 2523, -2048, 2048, -2048, 1838, -2048, 2048, -2048, 1838, -2048,
    2048, -2048, 2523, -2048, 2048, -2048, 759,
};

#endif
