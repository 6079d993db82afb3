/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report/plot_examples.h"

#include <math.h>
#include <string.h>

#include "support/check.h"

#define PI 3.14159265358979323846

/* Standard normal. Source: Box & Muller (1958). */
static double normal(uint64_t *state)
{
    const double u = 1 - test_uniform(state), v = test_uniform(state);

    return sqrt(-2 * log(u)) * cos(2 * PI * v);
}

static void sizes(fleck_plot *plot)
{
    enum { N = 1240 };
    static double diameter[N], weight[N];
    uint64_t state = 1;

    for (size_t i = 0; i < N; i++) {
        do
            diameter[i] = 0.24 * exp(0.55 * normal(&state));
        while (diameter[i] < 0.1);
        weight[i] = 1 + 0.05 * diameter[i];
    }
    fleck_plot_fill_sizes(plot, &(fleck_plot_sizes){ .what = "dots",
                                                     .count = N,
                                                     .diameter_mm = diameter,
                                                     .weight = weight,
                                                     .cutoff_mm = 0.1,
                                                     .lognormal_median_mm = 0.262,
                                                     .lognormal_gsd = 1.58 });
    fleck_plot_add_caption(plot, "Threshold otsu, 600 ppi.");
}

static void spacing(fleck_plot *plot)
{
    enum { N = 811 };
    static double distance[N];
    uint64_t state = 2;
    double sum = 0;

    for (size_t i = 0; i < N; i++) {
        distance[i] = sqrt(0.02 - 0.18 * log(1 - test_uniform(&state)));
        sum += distance[i];
    }
    fleck_plot_fill_spacing(
        plot, &(fleck_plot_spacing){ .count = N, .distance_mm = distance, .mean_mm = sum / N });
}

static void spectrum(fleck_plot *plot)
{
    enum { N = 128 };
    static double frequency[N], ink[N], tone[N];
    uint64_t state = 3;

    for (size_t i = 0; i < N; i++) {
        const double f = 0.0923 * (double)(i + 1), z = log(f * 0.85) / 0.25;

        frequency[i] = f;
        ink[i] = (0.02 / (1 + pow(f, 2.6)) + 0.05 * exp(-z * z / 2)) *
                 exp(0.25 / sqrt((double)(i + 1)) * normal(&state));
        tone[i] = 0.3 * ink[i] * exp(-f * f / 20) + 2e-6;
    }
    fleck_plot_fill_spectrum(plot, &(fleck_plot_spectrum){ .count = N,
                                                           .frequency_per_mm = frequency,
                                                           .ink_power_mm2 = ink,
                                                           .tone_power_mm2 = tone,
                                                           .tiles = 49,
                                                           .tile_px = 256,
                                                           .dominant_spacing_mm = 0.85 });
}

static void chords(fleck_plot *plot)
{
    enum { N = 19 };
    static double from[N + 1], ink[N], bare[N];

    for (size_t i = 0; i <= N; i++)
        from[i] = 0.04 * pow(10, 0.1 * (double)i);
    for (size_t i = 0; i < N; i++) {
        const double a = log(from[i] / 0.2) / 0.6, b = log(from[i] / 0.45) / 0.75;

        ink[i] = 0.155 * exp(-a * a / 2);
        bare[i] = 0.122 * exp(-b * b / 2);
    }
    fleck_plot_fill_chords(plot, &(fleck_plot_chords){ .ink = { N, from, ink, 48211, 0.262 },
                                                       .bare = { N, from, bare, 48019, 0.587 } });
}

static void covariance(fleck_plot *plot)
{
    enum { N = 60 };
    static double lag[N], c[N], model[N];
    uint64_t state = 4;

    for (size_t i = 0; i < N; i++) {
        lag[i] = 0.05 * (double)i;
        model[i] = 0.0961 + 0.2139 * exp(-lag[i] / 0.28);
        c[i] = model[i] - 0.02 * sin(lag[i] * 5) * exp(-lag[i]) * (i > 0) + 0.001 * normal(&state);
    }
    fleck_plot_fill_covariance(
        plot, &(fleck_plot_covariance){
                  .count = N, .lag_mm = lag, .probability = c, .model = model, .coverage = 0.31 });
}

static void order(fleck_plot *plot)
{
    enum { N = 50 };
    static double r[N], l[N], lo[N], hi[N];

    for (size_t i = 0; i < N; i++) {
        r[i] = 0.04 * (double)(i + 1);
        hi[i] = 0.012 + 0.004 * r[i];
        lo[i] = -0.014 - 0.004 * r[i];
        l[i] = -0.12 * exp(-pow((r[i] - 0.3) / 0.25, 2)) + 0.01 * sin(6 * r[i]);
    }
    fleck_plot_fill_order(plot, &(fleck_plot_order){ .count = N,
                                                     .points = 811,
                                                     .simulations = 199,
                                                     .r_mm = r,
                                                     .l_minus_r_mm = l,
                                                     .lo_mm = lo,
                                                     .hi_mm = hi });
}

static void groups_of(fleck_plot *plot, size_t groups, const char *const *names, const char *by)
{
    enum { N = 60 };
    static double value[N];
    static size_t group[N];
    uint64_t state = 5;

    for (size_t i = 0; i < N; i++) {
        group[i] = i % groups;
        value[i] = 0.22 + 0.03 * (double)group[i] / (double)groups + 0.012 * normal(&state);
    }
    fleck_plot_fill_groups(plot, &(fleck_plot_groups){ .label = "median dot diameter",
                                                       .unit = "mm",
                                                       .by = by,
                                                       .count = N,
                                                       .value = value,
                                                       .group = group,
                                                       .groups = groups,
                                                       .names = names });
}

static void three_groups(fleck_plot *plot)
{
    static const char *const names[] = { "2 %", "2.5 %", "3 %" };

    groups_of(plot, 3, names, "concentration of paste");
}

static void worded_groups(fleck_plot *plot)
{
    static const char *const names[] = { "thin paste, little water", "thin paste, much water",
                                         "thick paste, little water", "thick paste, much water" };

    groups_of(plot, 4, names, NULL);
}

static void upright_groups(fleck_plot *plot)
{
    static const char *const names[] = { "konzentration-2.0", "konzentration-2.5", "Kleister",
                                         "Reisstärke",        "Weizenstärke",      "Tapioka",
                                         "konzentration-3.0", "konzentration-3.5" };

    groups_of(plot, 8, names, "Kleister");
}

/* Names of 300 characters that differ at their ends alone. */
static void long_groups(fleck_plot *plot)
{
    static char text[6][620];
    const char *names[6];

    for (size_t i = 0; i < 6; i++) {
        for (size_t c = 0; c < 299; c++)
            strcpy(text[i] + 2 * c, c % 9 == 8 && i % 2 == 0 ? " _" : "\xc3\xa4");
        strcat(text[i], (const char *const[]){ "1", "2", "3", "4", "5", "6" }[i]);
        names[i] = text[i];
    }
    groups_of(plot, 6, names, text[1]);
}

static void many_groups(fleck_plot *plot)
{
    static char text[60][32];
    const char *names[60];

    for (size_t i = 0; i < 60; i++) {
        memcpy(text[i], "patch 00", 9);
        text[i][6] = (char)('0' + i / 10);
        text[i][7] = (char)('0' + i % 10);
        names[i] = text[i];
    }
    groups_of(plot, 60, names, NULL);
}

static void crowded_group(fleck_plot *plot)
{
    enum { N = 900 };
    static double value[N];
    static size_t group[N];
    static const char *const names[] = { "many", "one", "none", "two" };
    uint64_t state = 6;

    for (size_t i = 0; i < N; i++) {
        value[i] = 3 + 0.1 * normal(&state);
        group[i] = i == 0 ? 1 : i < 3 ? 3 : 0;
    }
    value[N - 1] = NAN;
    fleck_plot_fill_groups(plot, &(fleck_plot_groups){ .label = "spacing",
                                                       .unit = "mm",
                                                       .by = "edition",
                                                       .one = "print",
                                                       .several = "prints",
                                                       .count = N,
                                                       .value = value,
                                                       .group = group,
                                                       .groups = 4,
                                                       .names = names });
}

static void factor(fleck_plot *plot)
{
    enum { N = 27 };
    static double x[N], y[N];
    uint64_t state = 7;

    for (size_t i = 0; i < N; i++) {
        x[i] = 2 + 0.25 * (double)(i % 9);
        y[i] = 0.62 - 0.07 * x[i] + 0.02 * normal(&state);
    }
    fleck_plot_fill_factor(plot, &(fleck_plot_factor){ .x_label = "concentration of paste",
                                                       .x_unit = "%",
                                                       .y_label = "coverage",
                                                       .count = N,
                                                       .x = x,
                                                       .y = y });
}

static void chart(fleck_plot *plot)
{
    enum { N = 40 };
    static double value[N];
    uint64_t state = 8;

    for (size_t i = 0; i < N; i++)
        value[i] = 0.312 + 0.006 * normal(&state);
    value[7] = 0.339;
    value[8] = 0.338;
    value[31] = 0.285;
    fleck_plot_fill_chart(plot, &(fleck_plot_chart){ .label = "coverage",
                                                     .order = "print",
                                                     .count = N,
                                                     .value = value,
                                                     .centre = 0.312,
                                                     .lcl = 0.293,
                                                     .ucl = 0.331 });
}

static void close_limits(fleck_plot *plot)
{
    static const double value[] = { 12, 12.001, 11.999, 12.0005, 15, NAN, 12 };
    static const char *const ids[] = { "a", "b", "c", "d", "a proof with a rather long name, 5",
                                       "f", "g" };

    fleck_plot_fill_chart(plot, &(fleck_plot_chart){ .label = "dots",
                                                     .unit = "1/cm\xc2\xb2",
                                                     .order = "proof",
                                                     .count = 7,
                                                     .value = value,
                                                     .ids = ids,
                                                     .centre = 12,
                                                     .lcl = 11.99,
                                                     .ucl = 12.01 });
}

static void nothing(fleck_plot *plot)
{
    fleck_plot_fill_sizes(
        plot,
        &(fleck_plot_sizes){ .cutoff_mm = NAN, .lognormal_median_mm = NAN, .lognormal_gsd = NAN });
}

static void axes(fleck_plot *plot, fleck_plot_scale x, fleck_plot_scale y)
{
    fleck_plot_set_x(plot, &(fleck_plot_axis){ .label = "x", .scale = x });
    fleck_plot_set_y(plot, &(fleck_plot_axis){ .label = "y", .scale = y });
}

static void points(fleck_plot *plot, const double *x, const double *y, size_t count)
{
    fleck_plot_add(
        plot, &(fleck_plot_series){ .kind = FLECK_PLOT_POINTS, .count = count, .x = x, .y = y });
}

static void one_point(fleck_plot *plot)
{
    static const double x[] = { 3 }, y[] = { 0.25 };

    axes(plot, FLECK_PLOT_LINEAR, FLECK_PLOT_LOG);
    points(plot, x, y, 1);
}

static void constant(fleck_plot *plot)
{
    static const double x[] = { 1, 2, 3, 4 }, y[] = { 0.3, 0.3, 0.3, 0.3 };

    axes(plot, FLECK_PLOT_LINEAR, FLECK_PLOT_LINEAR);
    points(plot, x, y, 4);
}

static void unusable(fleck_plot *plot)
{
    static const double x[] = { -1, 0, 1, 10, 100, NAN, INFINITY }, y[] = { 1, 1, 2, 3, 4, 5, 6 };

    axes(plot, FLECK_PLOT_LOG, FLECK_PLOT_LINEAR);
    points(plot, x, y, 7);
}

static void huge(fleck_plot *plot)
{
    static const double x[] = { -1e300, 0, 1e300 }, y[] = { 1e-300, 1, 1e300 };

    axes(plot, FLECK_PLOT_LINEAR, FLECK_PLOT_LOG);
    points(plot, x, y, 3);
}

static void tiny(fleck_plot *plot)
{
    static const double x[] = { 1000000001, 1000000002, 1000000004 };
    static const double y[] = { 2e-9, 3e-9, 4.5e-9 };

    axes(plot, FLECK_PLOT_LINEAR, FLECK_PLOT_LINEAR);
    points(plot, x, y, 3);
}

static void wordy(fleck_plot *plot)
{
    static const double x[] = { 1, 2, 3, 4, 5 }, y[] = { 1, 4, 2, 5, 3 };
    static const char *const texts[] = {
        "<first & \"best\">", "\xe8\x83\xa1\xe9\xba\xbb\xe6\x91\xba\xe3\x82\x8a",
        "not UTF-8: \xff\xfe", "a note whose words are many and fill more than there is room for",
        "last\x01"
    };
    static const char label[] =
        "a label that goes on and on, as labels do that are made from columns of a table in "
        "which someone has told all about how the proofs were printed, and when, and by whom";

    fleck_plot_set_x(plot, &(fleck_plot_axis){ .label = label, .unit = "\xce\xbcm/\xe2\x88\x9as" });
    fleck_plot_set_y(plot, &(fleck_plot_axis){ .label = label, .unit = "kPa" });
    fleck_plot_add(plot, &(fleck_plot_series){
                             .kind = FLECK_PLOT_LINE, .name = label, .count = 5, .x = x, .y = y });
    fleck_plot_add(plot, &(fleck_plot_series){ .kind = FLECK_PLOT_STEPS,
                                               .name = "steps",
                                               .count = 4,
                                               .lo = x,
                                               .hi = x + 1,
                                               .y = y,
                                               .look = FLECK_LOOK_THIRD });
    fleck_plot_add(plot,
                   &(fleck_plot_series){
                       .kind = FLECK_PLOT_NOTES, .count = 5, .x = x, .y = y, .texts = texts });
    for (size_t i = 0; i < 5; i++) {
        fleck_plot_add(plot, &(fleck_plot_series){ .kind = FLECK_PLOT_RULE_X,
                                                   .name = i == 2 ? label : "a rule across",
                                                   .at = 2 + 0.1 * (double)i,
                                                   .look = FLECK_LOOK_QUIET });
        fleck_plot_add(plot, &(fleck_plot_series){ .kind = FLECK_PLOT_RULE_Y,
                                                   .name = i == 3 ? label : "a rule along",
                                                   .at = 3 + 0.01 * (double)i,
                                                   .look = FLECK_LOOK_FOURTH });
    }
    fleck_plot_add_caption(plot, label);
    fleck_plot_add_caption(plot, ".\nA second line, 5 < 6 & 7 > 3.");
}

static void looks(fleck_plot *plot)
{
    static const char *const names[] = { "first", "second", "third", "fourth", "dark", "quiet" };
    double x[20], y[20];

    fleck_plot_set_x(plot, &(fleck_plot_axis){ .label = "time", .unit = "min" });
    fleck_plot_set_y(plot, &(fleck_plot_axis){ .label = "moisture", .unit = "%" });
    for (size_t l = 0; l < 6; l++) {
        for (size_t i = 0; i < 20; i++) {
            x[i] = (double)i;
            y[i] = 10 + 12 * exp(-x[i] / 8) + 2 * (double)l + sin(x[i] / 2 + (double)l);
        }
        fleck_plot_add(plot, &(fleck_plot_series){ .kind = FLECK_PLOT_LINE,
                                                   .name = names[l],
                                                   .count = 20,
                                                   .x = x,
                                                   .y = y,
                                                   .look = (fleck_plot_look)l });
        fleck_plot_add(plot, &(fleck_plot_series){ .kind = FLECK_PLOT_POINTS,
                                                   .name = names[l],
                                                   .count = 20,
                                                   .x = x,
                                                   .y = y,
                                                   .look = (fleck_plot_look)l });
    }
}

const plot_example plot_examples[] = {
    { "sizes", sizes },
    { "spacing", spacing },
    { "spectrum", spectrum },
    { "chords", chords },
    { "covariance", covariance },
    { "order", order },
    { "three-groups", three_groups },
    { "worded-groups", worded_groups },
    { "upright-groups", upright_groups },
    { "long-groups", long_groups },
    { "many-groups", many_groups },
    { "crowded-group", crowded_group },
    { "factor", factor },
    { "chart", chart },
    { "close-limits", close_limits },
    { "nothing", nothing },
    { "one-point", one_point },
    { "constant", constant },
    { "unusable", unusable },
    { "huge", huge },
    { "tiny", tiny },
    { "wordy", wordy },
    { "looks", looks },
};
const size_t plot_example_count = sizeof plot_examples / sizeof *plot_examples;
