/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A hard edge drawn as a scanner of known blur would give it. */
#include "calibrate/target_scan.h"

static const double normal_10_to_90 = 2.5631031310892007; /* of a normal distribution, in sd */

enum { SIDE_PX = 300 };

/* A line through the middle of the scan, ink to its left as seen along it. */
struct edge {
    double angle_deg, sd_px;       /* of the Gaussian blur; that of pixels is added to it */
    double bare_sd_px;             /* of the lighter half, 0: the same */
    double bend_px;                /* farthest off at the middle */
    double ink, bare, red_bare;
    double second_px; /* a second edge, so far behind the first; 0: none */
    double shift_px;  /* off the middle, into the ink */
};

static double soft_step(double away_px, double sd_px)
{
    return sd_px > 0 ? 0.5 * erfc(-away_px / (sd_px * sqrt(2))) : away_px > 0;
}

static double share_bare(const struct edge *edge, double x_px, double y_px)
{
    const double angle = edge->angle_deg * 3.14159265358979323846 / 180;
    const double x = x_px - 0.5 * SIDE_PX, y = 0.5 * SIDE_PX - y_px; /* upward */
    const double along = (x * cos(angle) + y * sin(angle)) / (0.5 * SIDE_PX);
    const double away = x * sin(angle) - y * cos(angle) + edge->bend_px * (along * along - 1) +
                        edge->shift_px;
    const double sd = away > 0 && edge->bare_sd_px > 0 ? edge->bare_sd_px : edge->sd_px;
    const double second =
        edge->second_px > 0 ? soft_step(away - edge->second_px, edge->sd_px) : 0;

    return soft_step(away, sd) - second;
}

/* Mean over a pixel by 4 x 4 points. */
static double edge_at(const void *context, size_t x, size_t y, unsigned c)
{
    const struct edge *const edge = context;
    double sum = 0;

    for (int i = 0; i < 16; i++)
        sum += share_bare(edge, (double)x + (i % 4 + 0.5) / 4, (double)y + (i / 4 + 0.5) / 4) / 16;
    return edge->ink + ((c == 0 && edge->red_bare > 0 ? edge->red_bare : edge->bare) - edge->ink) * sum;
}

static target scan_of(const struct edge *edge)
{
    return (target){ .width_px = SIDE_PX, .height_px = SIDE_PX, .channels = 1, .bits = 16,
                     .ppi = 1270, .noise = 0.002, .reflectance = edge_at, .context = edge };
}

/* Width by the calibration of one edge with a pixel of 0.02 mm. */
static double calibrated_mm(const struct edge *edge, fleck_warnings *warnings)
{
    const target scan = scan_of(edge);
    const fleck_scan_area area = { .path = draw("edge.tif", &scan), .page = 1 };
    fleck_calibration cal;
    double width_mm;

    fleck_calibration_init(&cal);
    check_ok(fleck_calibrate_blur(&cal, &area, 1, warnings, err));
    width_mm = fleck_calibration_edge_width_mm(&cal, FLECK_CHANNEL_LUMINANCE);
    assert_int_equal(cal.blur.edge_count, 1);
    check_near("angle", cal.blur.edges[0].angle_deg, edge->angle_deg, 0.1);
    fleck_calibration_clear(&cal);
    return width_mm;
}

static void a_hard_edge_has_the_width_of_the_blur_at_any_angle(void **state)
{
    static const double angles[] = { 3, 22.5, 60, 88, 101, 171 };
    static const double sds_px[] = { 0.5, 0.8, 2.5, 5 };

    (void)state;
    for (size_t s = 0; s < COUNT(sds_px); s++)
        for (size_t i = 0; i < COUNT(angles); i++) {
            const struct edge edge = { .angle_deg = angles[i], .sd_px = sds_px[s], .ink = 0.05,
                                       .bare = 0.85 };
            /* a pixel blurs too: its variance is a twelfth of its square */
            const double sd_mm = 0.02 * sqrt(sds_px[s] * sds_px[s] + 1.0 / 12);
            const bool one_way = fabs(cos(angles[i] * 3.14159265358979323846 / 90)) > 0.6;
            fleck_warnings warnings = { 0 };
            char text[64];

            snprintf(text, sizeof text, "%g px at %g degrees", sds_px[s], angles[i]);
            check_ratio(text, calibrated_mm(&edge, &warnings), normal_10_to_90 * sd_mm, 0.012);
            assert_int_equal(fleck_warnings_has(&warnings, "blur-edge-one-direction"), one_way);
            assert_int_equal(warnings.count, one_way + 1); /* the tone curve is assumed */
            fleck_warnings_clear(&warnings);
        }
}

/* Each edge lacks one thing. */
static void what_is_wrong_with_an_edge_is_said(void **state)
{
    static const struct {
        const char *code;
        double tolerance; /* of the width all the same */
        size_t width_px;  /* of the box; 0: all */
        double noise;
        struct edge edge;
    } cases[] = {
        { "blur-edge-short", 0.05, 40, 0.002, { .angle_deg = 35, .sd_px = 1, .ink = 0.05, .bare = 0.85 } },
        { "blur-edge-crooked", 0.05, 0, 0.002,
          { .angle_deg = 35, .sd_px = 1, .ink = 0.05, .bare = 0.85, .bend_px = 5 } },
        { "blur-edge-one-sided", 2, 0, 0.002,
          { .angle_deg = 35, .sd_px = 1, .bare_sd_px = 4, .ink = 0.05, .bare = 0.85 } },
        { "blur-edge-noisy", 0.3, 0, 0.04, { .angle_deg = 35, .sd_px = 1, .ink = 0.05, .bare = 0.5 } },
        { "blur-edge-clipped", 0.2, 0, 0.002, { .angle_deg = 35, .sd_px = 1, .ink = 0.05, .bare = 1.1 } },
        { "blur-edge-in-line", 0.25, 0, 0.002, { .angle_deg = 45, .sd_px = 0.5, .ink = 0.05, .bare = 0.85 } },
        { "blur-edge-in-line", 0.25, 0, 0.002, { .angle_deg = 0.2, .sd_px = 0.5, .ink = 0.05, .bare = 0.85 } },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        const struct edge *const edge = &cases[i].edge;
        target scan = scan_of(edge);
        fleck_scan_area area = { .page = 1, .has_box = cases[i].width_px > 0,
                                 .box = { 2.6, 2.6, 0.8, 0.8 } };
        fleck_warnings warnings = { 0 };
        fleck_calibration cal;

        scan.noise = cases[i].noise;
        area.path = draw("doubt.tif", &scan);
        fleck_calibration_init(&cal);
        check_ok(fleck_calibrate_blur(&cal, &area, 1, &warnings, err));
        if (!fleck_warnings_has(&warnings, cases[i].code))
            fail_msg("case %zu does not say %s", i, cases[i].code);
        assert_int_equal(warnings.count, 2 + (edge->angle_deg < 1));
        check_ratio(cases[i].code, cal.blur.edge_width_mm[0],
                    normal_10_to_90 * 0.02 * sqrt(edge->sd_px * edge->sd_px + 1.0 / 12),
                    cases[i].tolerance);
        fleck_calibration_clear(&cal);
        fleck_warnings_clear(&warnings);
    }
}

#define WHOLE { 0, 0, 0, 0 }

static void a_box_without_one_straight_edge_is_refused(void **state)
{
    static const struct {
        const char *says;
        struct edge edge;
        fleck_box_mm box; /* width 0: all */
    } cases[] = {
        { "shows no edge", { .sd_px = 1, .ink = 0.8, .bare = 0.8 }, WHOLE },
        { "shows no edge", { .angle_deg = 35, .sd_px = 1, .ink = 0.78, .bare = 0.8 }, WHOLE },
        { "no straight line", { .angle_deg = 35, .sd_px = 1, .ink = 0.05, .bare = 0.85, .second_px = 60 }, WHOLE },
        { "no straight line", { .angle_deg = 35, .sd_px = 1, .ink = 0.05, .bare = 0.85, .bend_px = 40 }, WHOLE },
        { "too little on one side", { .angle_deg = 90, .sd_px = 3, .ink = 0.05, .bare = 0.85 },
          { 1, 1, 2.3, 3 } },
        { "too soft", { .angle_deg = 90, .sd_px = 12, .ink = 0.05, .bare = 0.85 }, WHOLE },
        { "cut into two tones", { .angle_deg = 0, .sd_px = 0, .ink = 0.05, .bare = 0.85 }, WHOLE },
        { "too small for an edge", { .angle_deg = 35, .sd_px = 1, .ink = 0.05, .bare = 0.85 },
          { 1, 1, 0.2, 3 } },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        const target scan = scan_of(&cases[i].edge);
        const fleck_scan_area area = { .path = draw("bad.tif", &scan), .page = 1,
                                       .has_box = cases[i].box.width_mm > 0, .box = cases[i].box };
        fleck_warnings warnings = { 0 };
        fleck_calibration cal;

        fleck_calibration_init(&cal);
        check_fails(fleck_calibrate_blur(&cal, &area, 1, &warnings, err), FLECK_BAD_INPUT,
                    cases[i].says);
        assert_false(cal.blur.present);
        fleck_calibration_clear(&cal);
        fleck_warnings_clear(&warnings);
    }
    check_fails(fleck_calibrate_blur(&(fleck_calibration){ 0 }, NULL, 0, NULL, err), FLECK_BAD_CALL,
                "hard edges");
}

/* Softer along x than along y; red light shows next to nothing of the edge. */
static void two_edges_are_put_together_in_squares_for_each_channel(void **state)
{
    const struct edge upright = { .angle_deg = 87, .sd_px = 2, .ink = 0.05, .bare = 0.85,
                                  .red_bare = 0.06 };
    const struct edge lying = { .angle_deg = 3, .sd_px = 1, .ink = 0.05, .bare = 0.85,
                                .red_bare = 0.06 };
    target scans[2] = { scan_of(&upright), scan_of(&lying) };
    fleck_scan_area areas[2] = { { .page = 1 }, { .page = 1 } };
    fleck_warnings warnings = { 0 };
    fleck_calibration cal;
    double width_mm[2];

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        scans[i].channels = 3;
        areas[i].path = draw(i == 0 ? "upright.tif" : "lying.tif", &scans[i]);
    }
    fleck_calibration_init(&cal);
    check_ok(fleck_calibrate_blur(&cal, areas, 2, &warnings, err));
    assert_false(fleck_warnings_has(&warnings, "blur-edge-one-direction"));
    for (int i = 0; i < 2; i++)
        width_mm[i] = cal.blur.edges[i].edge_width_mm[FLECK_CHANNEL_GREEN];
    check_ratio("upright", width_mm[0], normal_10_to_90 * 0.02 * sqrt(4 + 1.0 / 12), 0.012);
    check_ratio("lying", width_mm[1], normal_10_to_90 * 0.02 * sqrt(1 + 1.0 / 12), 0.012);
    check_ratio("both", fleck_calibration_edge_width_mm(&cal, FLECK_CHANNEL_GREEN),
                sqrt(0.5 * (width_mm[0] * width_mm[0] + width_mm[1] * width_mm[1])), 1e-12);
    check_near("red", fleck_calibration_edge_width_mm(&cal, FLECK_CHANNEL_RED), NAN, 0);
    fleck_calibration_clear(&cal);
    fleck_warnings_clear(&warnings);
}

/* A lid lighter than the paper is not cut off at the paper's white. */
static void the_paper_changes_nothing(void **state)
{
    const struct edge edge = { .angle_deg = 35, .sd_px = 1, .ink = 0.05, .bare = 0.95 };
    const double grey = 0.6;
    const target scan = scan_of(&edge);
    const target sheet = { .width_px = 60, .height_px = 60, .channels = 1, .bits = 16, .ppi = 1270,
                           .reflectance = plain, .context = &grey };
    const fleck_scan_area area = { .path = draw("edge.tif", &scan), .page = 1 };
    const fleck_scan_area paper = { .path = draw("paper.tif", &sheet), .page = 1 };
    fleck_warnings warnings = { 0 };
    fleck_calibration before, after;

    (void)state;
    fleck_calibration_init(&before);
    fleck_calibration_init(&after);
    check_ok(fleck_calibrate_blur(&before, &area, 1, &warnings, err));
    check_ok(fleck_calibrate_paper(&after, &paper, &warnings, err));
    check_ok(fleck_calibrate_blur(&after, &area, 1, &warnings, err));
    assert_true(after.relative_to_paper);
    check_near("same", after.blur.edge_width_mm[0], before.blur.edge_width_mm[0], 0);
    fleck_calibration_clear(&before);
    fleck_calibration_clear(&after);
    fleck_warnings_clear(&warnings);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_hard_edge_has_the_width_of_the_blur_at_any_angle),
        cmocka_unit_test(what_is_wrong_with_an_edge_is_said),
        cmocka_unit_test(a_box_without_one_straight_edge_is_refused),
        cmocka_unit_test(two_edges_are_put_together_in_squares_for_each_channel),
        cmocka_unit_test(the_paper_changes_nothing),
    };

    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
