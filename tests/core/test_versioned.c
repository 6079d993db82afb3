/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Structs that callers fill, given by programs built with other versions of the headers. */
#include <stdio.h>
#include <string.h>

#include "core/versioned.h"
#include "fleck/fleck.h"
#include "support/check.h"

/* What a caller fills in the second version of some struct, and in the third, where it has grown. */
struct second {
    size_t struct_bytes;
    double cutoff_mm;
};

struct third {
    size_t struct_bytes;
    double cutoff_mm;
    double margin_mm;
};

static const struct third defaults = { .cutoff_mm = 0.1, .margin_mm = 2 };

static void a_shorter_struct_gets_the_defaults_of_what_it_lacks(void **state)
{
    struct {
        struct second options;
        unsigned char behind[sizeof(struct third)];
    } program;
    struct third known = defaults;
    fleck_error err = { 0 };

    (void)state;
    memset(&program, 0x5a, sizeof program);
    fleck_versioned_init(&program.options, sizeof program.options, &defaults, sizeof defaults);
    for (size_t i = 0; i < sizeof program.behind; i++)
        assert_int_equal(program.behind[i], 0x5a); /* nothing is written behind the program's struct */
    check_near("the default", program.options.cutoff_mm, 0.1, 0);
    program.options.cutoff_mm = 0.3;
    assert_int_equal(fleck_versioned_take(&program.options, &known, sizeof known, "options", &err), FLECK_OK);
    check_near("as given", known.cutoff_mm, 0.3, 0);
    check_near("not known to the program", known.margin_mm, 2, 0);
    assert_int_equal(known.struct_bytes, sizeof known);
}

static void a_struct_of_no_size_or_of_a_newer_version_is_refused(void **state)
{
    struct third given = defaults, known;
    const size_t sizes[] = { 0, 1, sizeof(size_t), sizeof given - 1, sizeof given + sizeof(double) };

    (void)state;
    for (size_t i = 0; i < sizeof sizes / sizeof *sizes; i++) {
        fleck_error err = { 0 };

        known = defaults;
        given.struct_bytes = sizes[i];
        given.cutoff_mm = 7;
        assert_int_equal(fleck_versioned_take(&given, &known, sizeof known, "options", &err), FLECK_BAD_CALL);
        assert_non_null(strstr(err.message, "options"));
        check_near("untouched", known.cutoff_mm, 0.1, 0);
    }
}

/* A newer program's default function finds zeros where this library knows no member. */
static void a_longer_struct_is_filled_to_its_end(void **state)
{
    struct third newer;

    (void)state;
    memset(&newer, 0x5a, sizeof newer);
    fleck_versioned_init(&newer, sizeof newer, &(struct second){ .cutoff_mm = 0.1 }, sizeof(struct second));
    assert_int_equal(newer.struct_bytes, sizeof newer);
    check_near("known", newer.cutoff_mm, 0.1, 0);
    check_near("not known", newer.margin_mm, 0, 0);
}

/* ---- the structs themselves ---- */

#define STRUCT(name) { #name, sizeof(name), (void (*)(void *, size_t))(void (*)(void))name##_init }

static void every_struct_that_grows_says_its_size_and_is_never_overrun(void **state)
{
    static const struct {
        const char *name;
        size_t bytes;
        void (*init)(void *out, size_t struct_bytes);
    } structs[] = {
        STRUCT(fleck_compare_options),      STRUCT(fleck_contact_options),
        STRUCT(fleck_edition_options),      STRUCT(fleck_gather_observer),
        STRUCT(fleck_gather_options),       STRUCT(fleck_locate_options),
        STRUCT(fleck_measure_observer),     STRUCT(fleck_measure_options),
        STRUCT(fleck_memory_hooks),         STRUCT(fleck_overlay_options),
        STRUCT(fleck_pattern_options),      STRUCT(fleck_phantom_options),
        STRUCT(fleck_phantom_sheet_options), STRUCT(fleck_plan_area_options),
        STRUCT(fleck_plan_options),         STRUCT(fleck_random_set_options),
        STRUCT(fleck_relate_options),       STRUCT(fleck_report_options),
        STRUCT(fleck_run_plots_options),    STRUCT(fleck_size_options),
    };
    unsigned char whole[1024], part[1024];

    (void)state;
    for (size_t i = 0; i < sizeof structs / sizeof *structs; i++) {
        const size_t shorter = structs[i].bytes - sizeof(size_t);
        size_t says;

        assert_true(structs[i].bytes < sizeof whole);
        memset(part, 0x5a, sizeof part);
        structs[i].init(whole, structs[i].bytes);
        structs[i].init(part, shorter);
        memcpy(&says, whole, sizeof says);
        assert_int_equal(says, structs[i].bytes);
        memcpy(&says, part, sizeof says);
        assert_int_equal(says, shorter);
        for (size_t at = shorter; at < sizeof part; at++)
            assert_int_equal(part[at], 0x5a);
    }
}

/* Measuring a tile with options, and its cutoff as the record has it; or the call's failure. */
static void keep_cutoff(void *context, const fleck_record *record)
{
    *(double *)context = record->settings.cutoff_mm;
}

static fleck_status measure(const fleck_measure_options *options, double *cutoff_mm, fleck_error *err)
{
    fleck_measure_observer observer = fleck_measure_observer_default();
    fleck_measure_summary summary;
    fleck_inputs inputs = { 0 };
    fleck_status status;

    observer.context = cutoff_mm;
    observer.record = keep_cutoff;
    /* and an observer of the time when it could not stop the call yet: what stands there is not looked at */
    observer.struct_bytes = offsetof(fleck_measure_observer, stop);
    observer.stop = (bool (*)(void *))(void (*)(void))keep_cutoff;
    status = fleck_inputs_gather((const char *const[]){ "test_versioned.png" }, 1, &inputs, err);
    if (status == FLECK_OK)
        status = fleck_measure(&inputs, options, NULL, &observer, &summary, err);
    fleck_inputs_clear(&inputs);
    return status;
}

static void a_program_of_an_older_version_measures_as_it_did(void **state)
{
    fleck_phantom_options tile = fleck_phantom_options_default();
    fleck_measure_options options = fleck_measure_options_default();
    fleck_phantom *phantom = NULL;
    fleck_error err = { 0 };
    double cutoff_mm = 0;

    (void)state;
    tile.width_mm = tile.height_mm = 4;
    assert_int_equal(fleck_phantom_new(&tile, &phantom, &err), FLECK_OK);
    assert_int_equal(fleck_phantom_write(phantom, "test_versioned.png", &err), FLECK_OK);
    fleck_phantom_free(phantom);

    options.cutoff_mm = 0.2;
    options.simulations = 0;
    assert_int_equal(measure(&options, &cutoff_mm, &err), FLECK_OK);
    check_near("as a whole", cutoff_mm, 0.2, 0);
    /* known to the program up to the simulations; behind is what happens to lie there */
    memset((unsigned char *)&options + offsetof(fleck_measure_options, split), 0xff,
           sizeof options - offsetof(fleck_measure_options, split));
    options.struct_bytes = offsetof(fleck_measure_options, split);
    options.cutoff_mm = 0.3;
    assert_int_equal(measure(&options, &cutoff_mm, &err), FLECK_OK);
    check_near("its beginning", cutoff_mm, 0.3, 0);

    options = fleck_measure_options_default();
    options.struct_bytes = 0;
    assert_int_equal(measure(&options, &cutoff_mm, &err), FLECK_BAD_CALL);
    options.struct_bytes = sizeof options + sizeof(size_t);
    assert_int_equal(measure(&options, &cutoff_mm, &err), FLECK_BAD_CALL);
    remove("test_versioned.png");
}

/* Each call looks at the size before all else it is given. */
static void no_call_takes_options_that_do_not_say_their_size(void **state)
{
    const fleck_compare_options compare = { 0 };
    const fleck_contact_options contact = { .load_kg = 1, .bands = 1 };
    const fleck_edition_options edition = { .order = "order" };
    const fleck_locate_options locate = { .page = 1, .min_size_mm = 5 };
    const fleck_measure_options options = { .page = 1, .cutoff_mm = 0.1 };
    const fleck_overlay_options overlay = { 0 };
    const fleck_pattern_options pattern = { .threads = 1 };
    fleck_phantom_options phantom = fleck_phantom_options_default();
    const fleck_phantom_sheet_options sheet = { 0 };
    const fleck_plan_area_options areas = { 0 };
    const fleck_plan_options plan = { 0 };
    const fleck_random_set_options set = { .longest_lag_mm = 1, .threads = 1 };
    const fleck_relate_options relate = { 0 };
    const fleck_report_options report = { 0 };
    const fleck_run_plots_options plots = { .svg = true };
    const fleck_size_options sizes = { 0 };
    const fleck_geometry geometry = { 10, 10, 0.1, 0.1 };
    const fleck_disc_model grains = { 0 };
    union {
        fleck_compare compare;
        fleck_contact contact;
        fleck_edition edition;
        fleck_layout layout;
        fleck_overlay_place place;
        fleck_pattern pattern;
        fleck_plan_areas areas;
        fleck_plan plan;
        fleck_relate relate;
        fleck_report_summary report;
        fleck_run_plots_summary plots;
        fleck_size_distribution sizes;
    } out;
    fleck_phantom *tile;
    fleck_phantom_sheet *drawn;
    fleck_phantom_patch *patches;
    fleck_random_set_maker *maker;
    char *bytes;
    size_t size;

    (void)state;
    phantom.struct_bytes = 0;
    assert_int_equal(fleck_compare_study(NULL, &compare, &out.compare, NULL), FLECK_BAD_CALL);
    assert_int_equal(fleck_contact_measure("none", &contact, &out.contact, NULL), FLECK_BAD_CALL);
    assert_int_equal(fleck_edition_judge(NULL, &edition, &out.edition, NULL), FLECK_BAD_CALL);
    assert_int_equal(fleck_locate("none", &locate, &out.layout, NULL), FLECK_BAD_CALL);
    assert_int_equal(fleck_measure_options_check(&options, NULL), FLECK_BAD_CALL);
    assert_int_equal(fleck_overlay_options_check(&overlay, NULL), FLECK_BAD_CALL);
    assert_int_equal(fleck_overlay_get_place(&geometry, &overlay, &out.place, NULL), FLECK_BAD_CALL);
    assert_int_equal(fleck_pattern_find(NULL, 0, &geometry, NULL, &grains, 0, &pattern, &out.pattern, NULL),
                     FLECK_BAD_CALL);
    assert_int_equal(fleck_phantom_new(&phantom, &tile, NULL), FLECK_BAD_CALL);
    assert_int_equal(fleck_phantom_patches_from_csv("none", &phantom, &patches, &size, NULL), FLECK_BAD_CALL);
    assert_int_equal(fleck_phantom_sheet_new(&sheet, NULL, 0, &drawn, NULL), FLECK_BAD_CALL);
    assert_int_equal(fleck_plan_areas_records(NULL, 0, &areas, &out.areas, NULL), FLECK_BAD_CALL);
    assert_int_equal(fleck_plan_numbers(NULL, &plan, &out.plan, NULL), FLECK_BAD_CALL);
    assert_int_equal(fleck_random_set_maker_new(&geometry, false, &set, &maker, NULL), FLECK_BAD_CALL);
    assert_int_equal(fleck_relate_study(NULL, &relate, &out.relate, NULL), FLECK_BAD_CALL);
    assert_int_equal(fleck_report_make("none", &report, &bytes, &size, &out.report, NULL), FLECK_BAD_CALL);
    assert_int_equal(fleck_run_plots_write("none", &plots, &out.plots, NULL), FLECK_BAD_CALL);
    assert_int_equal(
        fleck_size_distribution_fill(NULL, NULL, 0, &geometry, NULL, 0.1, &sizes, &out.sizes, NULL),
        FLECK_BAD_CALL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_shorter_struct_gets_the_defaults_of_what_it_lacks),
        cmocka_unit_test(a_struct_of_no_size_or_of_a_newer_version_is_refused),
        cmocka_unit_test(a_longer_struct_is_filled_to_its_end),
        cmocka_unit_test(every_struct_that_grows_says_its_size_and_is_never_overrun),
        cmocka_unit_test(no_call_takes_options_that_do_not_say_their_size),
        cmocka_unit_test(a_program_of_an_older_version_measures_as_it_did),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
