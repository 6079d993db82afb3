/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The labeller against another program, a real picture and what must hold for every mask. */
#include "fleck/segment.h"

#include <stdlib.h>

#include <leptonica/allheaders.h>

#include "segment/heather.h"
#include "segment/mask.h"
#include "support/check.h"

static void test_heather_has_the_components_scipy_counts(void **state)
{
    (void)state;
    for (size_t i = 0; i < HEATHER_IMAGES; i++) {
        const struct heather *const image = &heather_images[i];
        struct mask mask = heather_read(image), framed = mask_framed(&mask);
        struct components found[2];
        uint64_t area[2] = { 0, 0 }, largest[2] = { 0, 0 };

        assert_int_equal(mask.width_px, image->width_px);
        assert_int_equal(mask.height_px, image->height_px);
        mask_label(&mask, found);
        for (int phase = 0; phase < 2; phase++) {
            for (size_t j = 0; j < found[phase].count; j++) {
                const uint64_t area_px = found[phase].items[j].area_px;

                area[phase] += area_px;
                largest[phase] = area_px > largest[phase] ? area_px : largest[phase];
            }
        }
        assert_int_equal(area[FLECK_PHASE_INK], image->ink_px);
        check_near(image->name, (double)area[FLECK_PHASE_INK] / (double)(area[0] + area[1]),
                   image->coverage, 1e-15);
        assert_int_equal(found[FLECK_PHASE_INK].count, image->ink_components_8);
        assert_int_equal(found[FLECK_PHASE_BARE].count, image->bare_components_4);
        assert_int_equal(largest[FLECK_PHASE_INK], image->largest_ink_8_px);
        assert_int_equal(largest[FLECK_PHASE_BARE], image->largest_bare_4_px);
        components_free(&found[0]);
        components_free(&found[1]);

        /* Euler number of ink: dots less the flecks they enclose */
        mask_label(&framed, found);
        assert_int_equal((long)found[FLECK_PHASE_INK].count - (long)found[FLECK_PHASE_BARE].count +
                             1,
                         image->euler_8_framed);
        components_free(&found[0]);
        components_free(&found[1]);
        mask_free(&mask);
        mask_free(&framed);
    }
}

/* ---- leptonica ---- */

static PIX *pix_of(const struct mask *mask, fleck_phase phase)
{
    PIX *const pix = pixCreate((l_int32)mask->width_px, (l_int32)mask->height_px, 1);

    assert_non_null(pix);
    for (size_t y = 0; y < mask->height_px; y++)
        for (size_t x = 0; x < mask->width_px; x++)
            if (mask->ink[y * mask->width_px + x] == (phase == FLECK_PHASE_INK))
                pixSetPixel(pix, (l_int32)x, (l_int32)y, 1);
    return pix;
}

static const fleck_component *find_component(const struct components *list, uint32_t x, uint32_t y)
{
    for (size_t i = 0; i < list->count; i++) {
        if (list->items[i].first_x_px == x && list->items[i].first_y_px == y)
            return &list->items[i];
    }
    return NULL;
}

static void check_against_leptonica(const struct mask *mask, fleck_phase phase,
                                    const struct components *found)
{
    PIX *pix = pix_of(mask, phase);
    PIXA *pixa = NULL;
    BOXA *boxa = pixConnComp(pix, &pixa, phase == FLECK_PHASE_INK ? 8 : 4);

    assert_int_equal(found->count, boxa == NULL ? 0 : boxaGetCount(boxa));
    for (l_int32 i = 0; i < (l_int32)found->count; i++) {
        PIX *one = pixaGetPix(pixa, i, L_CLONE);
        l_int32 x, y, w, h, area;
        l_uint32 bit = 0;
        l_float32 cx, cy;
        uint32_t first = 0;
        const fleck_component *ours;

        boxaGetBoxGeometry(boxa, i, &x, &y, &w, &h);
        while (pixGetPixel(one, (l_int32)first, 0, &bit) == 0 && bit == 0)
            first++;
        ours = find_component(found, (uint32_t)x + first, (uint32_t)y);
        assert_non_null(ours);
        pixCountPixels(one, &area, NULL);
        pixCentroid(one, NULL, NULL, &cx, &cy);
        assert_int_equal(ours->area_px, area);
        assert_int_equal(ours->min_x_px, x);
        assert_int_equal(ours->min_y_px, y);
        assert_int_equal(ours->max_x_px, x + w - 1);
        assert_int_equal(ours->max_y_px, y + h - 1);
        check_near("pixCentroid of leptonica, in floats",
                   (double)ours->sum_x_px / (double)ours->area_px, (double)x + (double)cx, 1e-3);
        check_near("pixCentroid of leptonica, in floats",
                   (double)ours->sum_y_px / (double)ours->area_px, (double)y + (double)cy, 1e-3);
        pixDestroy(&one);
    }
    boxaDestroy(&boxa);
    pixaDestroy(&pixa);
    pixDestroy(&pix);
}

static void test_random_masks_have_the_components_leptonica_finds(void **state)
{
    static const double coverages[] = { 0.0, 0.1, 0.35, 0.41, 0.5, 0.6, 0.9, 1.0 };
    static const size_t widths[] = { 1, 2, 63, 64, 65, 100 };
    uint64_t random = 11;

    (void)state;
    for (size_t trial = 0; trial < 96; trial++) {
        const size_t width = widths[trial / 8 % 6], height = 1 + test_random(&random) % 80;
        struct mask mask =
            trial < 48 ? mask_random(width, height, coverages[trial % 8], &random)
                       : mask_speckle(width, height, 2.5, 0.1 + 0.1 * (double)(trial % 8), &random);
        struct components found[2];

        mask_label(&mask, found);
        for (int phase = 0; phase < 2; phase++) {
            check_against_leptonica(&mask, (fleck_phase)phase, &found[phase]);
            components_free(&found[phase]);
        }
        mask_free(&mask);
    }
}

/* ---- what must hold for every mask ---- */

static int by_area(const void *left, const void *right)
{
    const fleck_component *const a = left, *const b = right;

    return (a->area_px > b->area_px) - (a->area_px < b->area_px);
}

static void test_a_turned_or_mirrored_mask_has_the_same_areas(void **state)
{
    uint64_t random = 5;

    (void)state;
    for (int trial = 0; trial < 20; trial++) {
        struct mask masks[3];
        struct components found[3][2];

        masks[0] = trial % 2 == 0 ? mask_random(71, 53, 0.3 + 0.02 * trial, &random)
                                  : mask_speckle(71, 53, 3.0, 0.03 * trial, &random);
        masks[1] = mask_turned(&masks[0]);
        masks[2] = mask_mirrored(&masks[0]);
        for (int i = 0; i < 3; i++)
            mask_label(&masks[i], found[i]);
        for (int phase = 0; phase < 2; phase++) {
            for (int i = 0; i < 3; i++)
                qsort(found[i][phase].items, found[i][phase].count, sizeof(fleck_component),
                      by_area);
            for (int i = 1; i < 3; i++) {
                assert_int_equal(found[i][phase].count, found[0][phase].count);
                for (size_t j = 0; j < found[0][phase].count; j++)
                    assert_int_equal(found[i][phase].items[j].area_px,
                                     found[0][phase].items[j].area_px);
            }
        }
        for (int i = 0; i < 3; i++) {
            components_free(&found[i][0]);
            components_free(&found[i][1]);
            mask_free(&masks[i]);
        }
    }
}

/*
 * Euler number of 8-connected ink from squares of 2 x 2 pixels: (Q1 - Q3 - 2 QD) / 4 with Q1
 * squares of one ink pixel, Q3 of three, QD of two on a diagonal. Source: Gray (1971), IEEE Trans.
 * Comput. C-20.
 */
static long euler_8(const struct mask *framed)
{
    long sum = 0;

    for (size_t y = 0; y + 1 < framed->height_px; y++) {
        for (size_t x = 0; x + 1 < framed->width_px; x++) {
            const uint8_t *const at = framed->ink + y * framed->width_px + x;
            const uint8_t *const below = at + framed->width_px;
            const int ink = at[0] + at[1] + below[0] + below[1];

            if (ink == 1)
                sum++;
            else if (ink == 3)
                sum--;
            else if (ink == 2 && at[0] == below[1])
                sum -= 2;
        }
    }
    assert_int_equal(sum % 4, 0);
    return sum / 4;
}

static void test_dots_less_enclosed_flecks_are_the_euler_number(void **state)
{
    uint64_t random = 9;

    (void)state;
    for (int trial = 0; trial < 60; trial++) {
        struct mask mask = mask_random(1 + test_random(&random) % 90, 1 + test_random(&random) % 90,
                                       test_uniform(&random), &random);
        struct mask framed = mask_framed(&mask);
        struct components found[2];
        uint64_t pixels = 0;

        mask_label(&framed, found);
        assert_int_equal((long)found[FLECK_PHASE_INK].count - (long)found[FLECK_PHASE_BARE].count +
                             1,
                         euler_8(&framed));
        for (int phase = 0; phase < 2; phase++) {
            for (size_t i = 0; i < found[phase].count; i++)
                pixels += found[phase].items[i].area_px;
            components_free(&found[phase]);
        }
        assert_int_equal(pixels, framed.width_px * framed.height_px);
        mask_free(&mask);
        mask_free(&framed);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_heather_has_the_components_scipy_counts),
        cmocka_unit_test(test_random_masks_have_the_components_leptonica_finds),
        cmocka_unit_test(test_a_turned_or_mirrored_mask_has_the_same_areas),
        cmocka_unit_test(test_dots_less_enclosed_flecks_are_the_euler_number),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
