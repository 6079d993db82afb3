/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "fleck/record.h"

static void fill(fleck_record *record)
{
    size_t count;
    const fleck_key *keys = fleck_keys(&count);
    uint64_t seed = 11;

    fleck_record_init(record);
    for (size_t i = 0; i < count; i++) {
        if (keys[i].kind == FLECK_KEY_TEXT) {
            char *text = fleck_copy_text(i % 3 == 0 ? "a \"quoted\" <b> \\ text\tå" : "plain");

            memcpy((char *)record + keys[i].offset, &text, sizeof text);
        } else if (i % 5 != 0) { /* some stay missing */
            const double value = keys[i].kind == FLECK_KEY_WHOLE ? (double)(test_random(&seed) >> 40)
                                                                 : test_uniform(&seed) * 1e-3;

            memcpy((char *)record + keys[i].offset, &value, sizeof value);
        }
    }
    record->spectrum.rings = 3;
    record->spectrum.frequency_per_mm = fleck_alloc_array(3, sizeof(double));
    record->spectrum.tone_power_mm2 = fleck_alloc_array(3, sizeof(double));
    record->spectrum.samples = fleck_alloc_array(3, sizeof(uint64_t));
    for (size_t i = 0; i < 3; i++) {
        record->spectrum.frequency_per_mm[i] = 0.1 * (double)(i + 1);
        record->spectrum.tone_power_mm2[i] = 1e-9 / (double)(i + 3);
        record->spectrum.samples[i] = 8 * (i + 1);
    }
    record->covariance.radial.values = fleck_alloc_array(3, sizeof(double));
    record->covariance.radial.count = 3;
    record->covariance.radial.values[0] = 0.25;
    record->covariance.radial.values[1] = NAN;
    record->covariance.radial.values[2] = 1.0 / 3;
    assert_int_equal(fleck_warnings_add(&record->warnings, NULL, "no-dots", "none \"there\""), FLECK_OK);
}

static void a_record_survives_the_way_to_json_and_back(void **state)
{
    fleck_record record, back;
    char *json, *again;

    (void)state;
    fill(&record);
    json = fleck_record_to_json(&record);
    assert_non_null(json);
    assert_int_equal(fleck_record_from_json(json, strlen(json), &back, NULL), FLECK_OK);
    again = fleck_record_to_json(&back);
    assert_non_null(again);
    assert_string_equal(json, again);
    assert_null(back.spectrum.ink_power_mm2);
    assert_int_equal(back.spectrum.samples[2], 24);
    assert_int_equal(back.covariance.radial.count, 3);
    assert_true(isnan(back.covariance.radial.values[1]));
    assert_null(back.covariance.along_x.values);
    assert_string_equal(back.warnings.items[0].message, "none \"there\"");
    free(json);
    free(again);
    fleck_record_clear(&record);
    fleck_record_clear(&back);
}

static void missing_numbers_are_null_and_never_nan_or_0(void **state)
{
    fleck_record record;
    char *json;

    (void)state;
    fleck_record_init(&record);
    json = fleck_record_to_json(&record);
    assert_non_null(strstr(json, "\"d50_mm\":\tnull"));
    assert_null(strstr(json, "\tnan"));
    assert_null(strstr(json, "\t0,"));
    free(json);
    fleck_record_clear(&record);
}

static void damaged_records_are_refused_with_a_reason(void **state)
{
    static const struct {
        const char *text, *reason;
    } cases[] = {
        { "", "not JSON" },
        { "{", "not JSON" },
        { "[]", "no record" },
        { "{\"schema\":\"other\",\"version\":1}", "no record" },
        { "{\"schema\":\"fleck-record\"}", "no record" },
        { "{\"schema\":\"fleck-record\",\"version\":2}", "newer version" },
        { "{\"schema\":\"fleck-record\",\"version\":1,\"id\":5}", "id is no text" },
        { "{\"schema\":\"fleck-record\",\"version\":1,\"dots\":{\"d50_mm\":\"x\"}}", "d50_mm is no number" },
        { "{\"schema\":\"fleck-record\",\"version\":1,\"spectrum\":{\"samples\":[1],\"frequency_per_mm\":[1,2]}}",
          "wrong length" },
        { "{\"schema\":\"fleck-record\",\"version\":1,\"spectrum\":{\"samples\":[-1]}}", "no count" },
        { "{\"schema\":\"fleck-record\",\"version\":1,\"warnings\":[{\"code\":\"x\"}]}", "no message" },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_record record;
        fleck_error err = { 0 };

        assert_int_equal(fleck_record_from_json(cases[i].text, strlen(cases[i].text), &record, &err),
                         FLECK_BAD_INPUT);
        if (strstr(err.message, cases[i].reason) == NULL)
            fail_msg("\"%s\" does not say \"%s\"", err.message, cases[i].reason);
        fleck_record_clear(&record);
    }
}

static void each_key_stands_once_and_says_what_it_is(void **state)
{
    size_t count;
    const fleck_key *keys = fleck_keys(&count);

    (void)state;
    assert_true(count > 50);
    for (size_t i = 0; i < count; i++) {
        assert_ptr_equal(fleck_key_find(keys[i].key), &keys[i]);
        assert_true(strlen(keys[i].label) > 0);
        assert_true(strlen(keys[i].definition) > 5);
        assert_true(strlen(keys[i].source) > 0);
        assert_true(keys[i].offset < sizeof(fleck_record));
        for (size_t j = 0; j < i; j++)
            assert_true(keys[j].offset != keys[i].offset);
        /* every key with a unit says so at its end */
        if (strcmp(keys[i].unit, "mm") == 0)
            assert_non_null(strstr(keys[i].key, "_mm"));
        if (strcmp(keys[i].unit, "mm2") == 0)
            assert_non_null(strstr(keys[i].key, "_mm2"));
        if (strcmp(keys[i].unit, "1/cm2") == 0)
            assert_non_null(strstr(keys[i].key, "per_cm2"));
    }
    assert_null(fleck_key_find("dots.nothing"));
}

static void each_measure_says_what_moves_it_and_when_to_doubt_it(void **state)
{
    size_t count;
    const fleck_key *keys = fleck_keys(&count);

    (void)state;
    for (size_t i = 0; i < count; i++) {
        const bool measure = keys[i].measure && keys[i].kind != FLECK_KEY_TEXT;

        if ((fleck_key_moves(&keys[i]) != NULL) != measure)
            fail_msg("%s is %s a measure", keys[i].key, measure ? "" : "not");
        assert_int_equal(fleck_key_beware(&keys[i]) != NULL, measure);
    }
    assert_string_equal(fleck_key_moves(fleck_key_find("flecks.at_edge")),
                        fleck_key_moves(fleck_key_find("dots.at_edge")));
    assert_string_not_equal(fleck_key_moves(fleck_key_find("split.per_cm2")),
                            fleck_key_moves(fleck_key_find("dots.per_cm2")));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_record_survives_the_way_to_json_and_back),
        cmocka_unit_test(missing_numbers_are_null_and_never_nan_or_0),
        cmocka_unit_test(damaged_records_are_refused_with_a_reason),
        cmocka_unit_test(each_key_stands_once_and_says_what_it_is),
        cmocka_unit_test(each_measure_says_what_moves_it_and_when_to_doubt_it),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
