/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One picture measured as a file, from memory and from rows: the same records but for where it came from. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "fleck/fleck.h"
#include "io/sha256.h"
#include "support/check.h"

static const char file[] = "test_sources.png";

enum { MOST_BYTES = 1 << 20 };

static struct {
    unsigned char *bytes; /* of the file */
    size_t size;
    unsigned char *samples; /* all of it, row after row */
    size_t row_bytes;
    fleck_scan_info info;
} picture;

static int draw(void **state)
{
    fleck_phantom_options options = fleck_phantom_options_default();
    fleck_phantom *phantom = NULL;
    fleck_scan *scan = NULL;
    FILE *stream;

    (void)state;
    options.width_mm = 8;
    options.height_mm = 6;
    options.bits = 16;
    assert_int_equal(fleck_phantom_new(&options, &phantom, NULL), FLECK_OK);
    assert_int_equal(fleck_phantom_write(phantom, file, NULL), FLECK_OK);
    fleck_phantom_free(phantom);
    stream = fopen(file, "rb");
    assert_non_null(stream);
    picture.bytes = malloc(MOST_BYTES);
    picture.size = fread(picture.bytes, 1, MOST_BYTES, stream);
    assert_true(picture.size > 1000 && picture.size < MOST_BYTES);
    fclose(stream);
    assert_int_equal(fleck_scan_open(file, 1, &scan, NULL), FLECK_OK);
    picture.info = *fleck_scan_get_info(scan);
    picture.row_bytes = fleck_scan_row_bytes(scan);
    picture.samples = malloc(picture.row_bytes * picture.info.height_px);
    for (size_t y = 0; y < picture.info.height_px; y++)
        assert_int_equal(fleck_scan_read_row(scan, picture.samples + y * picture.row_bytes, NULL), FLECK_OK);
    fleck_scan_close(scan);
    return 0;
}

static int forget(void **state)
{
    (void)state;
    free(picture.bytes);
    free(picture.samples);
    return remove(file);
}

/* ---- a device with rows ---- */

struct device {
    size_t next_row, starts, fail_at_row; /* 0: never */
    fleck_status failure;
    const char *message;
};

static fleck_status give_row(void *context, size_t y_px, void *row, fleck_error *err)
{
    struct device *const device = context;

    assert_int_equal(y_px, device->next_row);
    assert_true(y_px < picture.info.height_px);
    assert_non_null(err);
    if (device->fail_at_row > 0 && y_px == device->fail_at_row)
        return device->message != NULL ? fleck_fail(err, device->failure, "%s", device->message)
                                       : device->failure;
    memcpy(row, picture.samples + y_px * picture.row_bytes, picture.row_bytes);
    device->next_row++;
    return FLECK_OK;
}

static fleck_status start(void *context, fleck_error *err)
{
    struct device *const device = context;

    (void)err;
    device->next_row = 0;
    device->starts++;
    return FLECK_OK;
}

static fleck_row_source rows_of(struct device *device, bool again)
{
    fleck_row_source source = fleck_row_source_default();

    source.context = device;
    source.width_px = picture.info.width_px;
    source.height_px = picture.info.height_px;
    source.sample_bytes = picture.info.sample_bytes;
    source.channels = picture.info.channels;
    source.ppi_x = picture.info.ppi_x;
    source.ppi_y = picture.info.ppi_y;
    source.srgb = picture.info.srgb;
    source.gamma = picture.info.gamma;
    source.read_row = give_row;
    source.start = again ? start : NULL;
    return source;
}

/* ---- measuring ---- */

struct told {
    size_t records, failures, notes;
    char *text[4]; /* records as JSON, without what tells where they come from */
    char sha256[65];
    char format[8];
    char failure[512];
};

static void on_record(void *context, const fleck_record *record)
{
    struct told *const told = context;
    fleck_record bare = *record;
    char *json;

    snprintf(told->sha256, sizeof told->sha256, "%s", record->source.sha256);
    snprintf(told->format, sizeof told->format, "%s", record->source.format);
    bare.source.path = bare.source.sha256 = bare.source.format = NULL;
    json = fleck_record_to_json(&bare);
    assert_non_null(json);
    assert_true(told->records < 4);
    told->text[told->records++] = json;
}

static void on_failure(void *context, const char *path, const char *message)
{
    struct told *const told = context;

    assert_string_equal(path, "tile");
    told->failures++;
    snprintf(told->failure, sizeof told->failure, "%s", message);
}

static void on_note(void *context, const char *path, const char *message)
{
    struct told *const told = context;

    assert_true(strcmp(path, "tile") == 0 || strcmp(path, file) == 0);
    assert_non_null(strstr(message, "memory"));
    told->notes++;
}

static fleck_status measure(const fleck_inputs *inputs, size_t memory_bytes, struct told *told,
                            fleck_error *err)
{
    fleck_measure_options options = fleck_measure_options_default();
    fleck_measure_observer observer = fleck_measure_observer_default();
    fleck_measure_summary summary;

    *told = (struct told){ 0 };
    options.simulations = 19;
    options.jobs = 2;
    options.memory_bytes = memory_bytes;
    observer.context = told;
    observer.record = on_record;
    observer.failure = on_failure;
    observer.note = on_note;
    return fleck_measure(inputs, &options, NULL, &observer, &summary, err);
}

static void told_clear(struct told *told)
{
    for (size_t i = 0; i < told->records; i++)
        fleck_free(told->text[i]);
}

/* Two patches of the scan, each with and without room in memory. */
static void files_memory_and_rows_give_the_same_records(void **state)
{
    enum { FILES, MEMORY, AGAIN, ONCE, WAYS };
    static const char *const formats[WAYS] = { "png", "png", "rows", "rows" };
    static const fleck_box_mm regions[] = { { 0.5, 0.5, 4, 5 }, { 3, 0, 5, 5.5 } };
    char of_file[FLECK_SHA256_TEXT_BYTES], of_samples[FLECK_SHA256_TEXT_BYTES];
    struct told expected = { 0 };

    (void)state;
    fleck_sha256_bytes(picture.bytes, picture.size, of_file);
    fleck_sha256_bytes(picture.samples, picture.row_bytes * picture.info.height_px, of_samples);
    for (int trial = 0; trial < 2 * WAYS; trial++) {
        const int way = trial / 2;
        const bool roomy = trial % 2 == 0;
        struct device device = { 0 };
        const fleck_row_source source = rows_of(&device, way == AGAIN);
        struct told told;
        fleck_inputs inputs = { 0 };
        fleck_error err = { 0 };

        if (way == FILES) {
            assert_int_equal(fleck_inputs_gather((const char *const[]){ file }, 1, &inputs, &err), FLECK_OK);
            memcpy(inputs.items[0].id, "tile", sizeof "tile"); /* shorter than test_sources */
        } else if (way == MEMORY) {
            assert_int_equal(fleck_inputs_add_memory(&inputs, "tile", picture.bytes, picture.size, &err),
                             FLECK_OK);
        } else {
            assert_int_equal(fleck_inputs_add_rows(&inputs, "tile", &source, &err), FLECK_OK);
        }
        assert_int_equal(fleck_inputs_split_regions(&inputs, regions, 2, 0, &err), FLECK_OK);
        assert_int_equal(measure(&inputs, roomy ? (size_t)1 << 26 : 1, &told, &err), FLECK_OK);
        assert_int_equal(told.records, 2);
        assert_int_equal(told.failures, 0);
        assert_string_equal(told.format, formats[way]);
        assert_string_equal(told.sha256, way >= AGAIN ? of_samples : of_file);
        /* one note when pixels are decoded twice, one more when rows are put aside */
        assert_int_equal(told.notes, roomy ? 0 : way == ONCE ? 2 : 1);
        if (way == AGAIN)
            assert_int_equal(device.starts, roomy ? 2 : 3);
        if (way == ONCE)
            assert_int_equal(device.next_row, picture.info.height_px);
        if (trial == 0)
            expected = told;
        for (size_t i = 0; i < 2; i++)
            assert_string_equal(told.text[i], expected.text[i]);
        if (trial > 0)
            told_clear(&told);
        fleck_inputs_clear(&inputs);
    }
    told_clear(&expected);
}

/* Add two scans that are no files, with a factor, and measure them into a run folder. */
static fleck_measure_summary measure_into(const char *folder, bool resume, fleck_status wanted)
{
    fleck_measure_options options = fleck_measure_options_default();
    fleck_measure_summary summary;
    fleck_inputs inputs = { 0 };
    struct device device = { 0 };
    const fleck_row_source source = rows_of(&device, true);
    fleck_error err = { 0 };

    options.simulations = 0;
    options.resume = resume;
    assert_int_equal(fleck_inputs_add_memory(&inputs, "one", picture.bytes, picture.size, &err), FLECK_OK);
    assert_int_equal(fleck_inputs_set_cell(&inputs, "one", "paste_pct", "2.5", &err), FLECK_OK);
    assert_int_equal(fleck_inputs_add_rows(&inputs, "two", &source, &err), FLECK_OK);
    assert_int_equal(fleck_inputs_set_cell(&inputs, "two", "water", "much", &err), FLECK_OK);
    assert_int_equal(fleck_inputs_set_cell(&inputs, "two", "paste_pct", "9", &err), FLECK_OK);
    assert_int_equal(fleck_inputs_set_cell(&inputs, "two", "paste_pct", "5", &err), FLECK_OK);
    if (fleck_measure(&inputs, &options, folder, NULL, &summary, &err) != wanted)
        fail_msg("%s", err.message);
    fleck_inputs_clear(&inputs);
    return summary;
}

static char *read_text(const char *path)
{
    static char text[1 << 16];
    FILE *const stream = fopen(path, "rb");
    size_t count;

    if (stream == NULL)
        fail_msg("%s cannot be read", path);
    count = fread(text, 1, sizeof text - 1, stream);
    fclose(stream);
    text[count] = '\0';
    return text;
}

static void a_run_of_sources_has_their_factors_and_is_gone_on_with(void **state)
{
    static const char folder[] = "test_sources_run", table[] = "test_sources_run/patches.csv";
    fleck_measure_summary summary;
    char *whole;

    (void)state;
    assert_int_equal(system("rm -rf test_sources_run"), 0);
    summary = measure_into(folder, false, FLECK_OK);
    assert_int_equal(summary.measured, 2);
    whole = strdup(read_text(table));
    assert_non_null(strstr(whole, "id,paste_pct,water,"));
    assert_non_null(strstr(whole, "\none,2.5,,"));
    assert_non_null(strstr(whole, "\ntwo,5,much,"));
    /* a whole run is not written over; without a record it is gone on with, to the same bytes */
    (void)measure_into(folder, false, FLECK_BAD_CALL);
    assert_int_equal(remove("test_sources_run/records/two.json"), 0);
    summary = measure_into(folder, true, FLECK_OK);
    assert_int_equal(summary.measured, 2);
    assert_string_equal(read_text(table), whole);
    assert_non_null(strstr(read_text("test_sources_run/records/two.json"), "\"rows\""));
    free(whole);
    assert_int_equal(system("rm -rf test_sources_run"), 0);
}

static void cells_are_given_to_patches_that_are_there(void **state)
{
    fleck_inputs inputs = { 0 };
    fleck_error err = { 0 };

    (void)state;
    assert_int_equal(fleck_inputs_add_memory(&inputs, "one", picture.bytes, picture.size, &err), FLECK_OK);
    assert_int_equal(fleck_inputs_set_cell(&inputs, "two", "paste_pct", "2", &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_inputs_set_cell(&inputs, NULL, "paste_pct", "2", &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_inputs_set_cell(&inputs, "one", "", "2", &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_inputs_set_cell(&inputs, "one", "id", "2", &err), FLECK_BAD_CALL);
    assert_int_equal(inputs.column_count, 0);
    assert_int_equal(fleck_inputs_set_cell(&inputs, "one", "note", NULL, &err), FLECK_OK);
    assert_int_equal(inputs.column_count, 1);
    assert_string_equal(inputs.items[0].cells[0], "");
    fleck_inputs_clear(&inputs);
}

static void failures_of_a_source_are_those_of_its_patch(void **state)
{
    static const struct {
        fleck_status given;
        const char *message, *expected;
    } cases[] = {
        { FLECK_BAD_INPUT, "the lamp is off; switch it on", "the lamp is off; switch it on" },
        { FLECK_BAD_CALL, "the lid is open; close it", "the lid is open; close it" },
        { FLECK_BAD_INPUT, NULL, "does not say why" },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        for (int again = 0; again < 2; again++) {
            struct device device = { .fail_at_row = 20, .failure = cases[i].given, .message = cases[i].message };
            const fleck_row_source source = rows_of(&device, again == 1);
            struct told told;
            fleck_inputs inputs = { 0 };
            fleck_error err = { 0 };

            assert_int_equal(fleck_inputs_add_rows(&inputs, "tile", &source, &err), FLECK_OK);
            assert_int_equal(measure(&inputs, 0, &told, &err), FLECK_OK);
            assert_int_equal(told.records, 0);
            assert_int_equal(told.failures, 1);
            assert_non_null(strstr(told.failure, cases[i].expected));
            fleck_inputs_clear(&inputs);
        }
    }
}

static void a_source_without_resources_ends_the_call(void **state)
{
    struct device device = { .fail_at_row = 9, .failure = FLECK_NO_RESOURCE, .message = "no more; wait" };
    const fleck_row_source source = rows_of(&device, false);
    struct told told;
    fleck_inputs inputs = { 0 };
    fleck_error err = { 0 };

    (void)state;
    assert_int_equal(fleck_inputs_add_rows(&inputs, "tile", &source, &err), FLECK_OK);
    assert_int_equal(measure(&inputs, 0, &told, &err), FLECK_NO_RESOURCE);
    assert_string_equal(err.message, "no more; wait");
    fleck_inputs_clear(&inputs);
}

static void damaged_bytes_fail_as_a_damaged_file_does(void **state)
{
    struct told told;
    fleck_inputs inputs = { 0 };
    fleck_error err = { 0 };

    (void)state;
    assert_int_equal(fleck_inputs_add_memory(&inputs, "tile", picture.bytes, picture.size / 2, &err), FLECK_OK);
    assert_int_equal(measure(&inputs, 0, &told, &err), FLECK_OK);
    assert_int_equal(told.failures, 1);
    assert_int_equal(told.records, 0);
    fleck_inputs_clear(&inputs);
    assert_int_equal(fleck_inputs_add_memory(&inputs, "tile", "nonsense", 8, &err), FLECK_OK);
    assert_int_equal(measure(&inputs, 0, &told, &err), FLECK_OK);
    assert_non_null(strstr(told.failure, "is not a PNG"));
    fleck_inputs_clear(&inputs);
}

/* What is wrong about a source, by number; returns false behind the last. */
static bool spoil(int wrong, fleck_row_source *source)
{
    switch (wrong) {
    case 0:
        source->struct_bytes = 0;
        return true;
    case 1:
        source->width_px = 0;
        return true;
    case 2:
        source->height_px = (size_t)1 << 31;
        return true;
    case 3:
        source->sample_bytes = 4;
        return true;
    case 4:
        source->channels = 2;
        return true;
    case 5:
        source->ppi_x = 0;
        return true;
    case 6:
        source->ppi_y = 2e6;
        return true;
    case 7:
        source->gamma = -1;
        return true;
    case 8:
        source->icc_bytes = 10;
        return true;
    case 9:
        source->read_row = NULL;
        return true;
    case 10:
        source->width_px = source->height_px = 0x7fffffff;
        return true;
    default:
        return false;
    }
}

static void ids_are_given_once_and_sources_checked_when_they_join(void **state)
{
    struct device device = { 0 };
    const fleck_row_source good = rows_of(&device, true);
    fleck_row_source source = good;
    fleck_inputs inputs = { 0 };
    fleck_error err = { 0 };
    int wrong = 0;

    (void)state;
    assert_int_equal(fleck_inputs_gather((const char *const[]){ file }, 1, &inputs, &err), FLECK_OK);
    assert_int_equal(fleck_inputs_add_rows(&inputs, "test_sources", &good, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_inputs_add_rows(&inputs, "", &good, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_inputs_add_memory(&inputs, "a", NULL, 8, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_inputs_add_rows(&inputs, "a", &good, &err), FLECK_OK);
    assert_int_equal(fleck_inputs_add_memory(&inputs, "a", "x", 1, &err), FLECK_BAD_CALL);
    for (; spoil(wrong, &source); source = good, wrong++)
        assert_int_equal(fleck_inputs_add_rows(&inputs, "b", &source, &err), FLECK_BAD_CALL);
    assert_int_equal(wrong, 11);
    assert_int_equal(inputs.count, 2);
    assert_int_equal(inputs.source_count, 1);
    assert_int_equal(fleck_inputs_take_slice(&inputs, 1, 1, &err), FLECK_OK);
    assert_int_equal(fleck_inputs_add_rows(&inputs, "b", &good, &err), FLECK_BAD_CALL);
    fleck_inputs_clear(&inputs);
}

/* A scan of rows is a scan like any other, so that a caller can look at it first. */
static void rows_are_read_as_a_scan(void **state)
{
    struct device device = { 0 };
    const fleck_row_source source = rows_of(&device, true);
    unsigned char *const row = malloc(picture.row_bytes);
    fleck_scan *scan = NULL;

    (void)state;
    assert_int_equal(fleck_scan_open_rows(&source, &scan, NULL), FLECK_OK);
    assert_int_equal(fleck_scan_row_bytes(scan), picture.row_bytes);
    assert_int_equal(fleck_scan_get_info(scan)->bits, 16);
    for (size_t y = 0; y < picture.info.height_px; y++) {
        assert_int_equal(fleck_scan_read_row(scan, row, NULL), FLECK_OK);
        assert_memory_equal(row, picture.samples + y * picture.row_bytes, picture.row_bytes);
    }
    assert_int_equal(fleck_scan_read_row(scan, row, NULL), FLECK_BAD_CALL);
    fleck_scan_close(scan);
    free(row);
}

static bool stop_at_row_3(void *context)
{
    return ((const struct device *)context)->next_row >= 3;
}

static void stopping_reaches_a_device_that_is_being_read(void **state)
{
    struct device device = { 0 };
    const fleck_row_source source = rows_of(&device, false);
    const fleck_measure_options options = fleck_measure_options_default();
    fleck_measure_observer observer = fleck_measure_observer_default();
    fleck_measure_summary summary;
    fleck_inputs inputs = { 0 };
    fleck_error err = { 0 };

    (void)state;
    observer.context = &device;
    observer.stop = stop_at_row_3;
    assert_int_equal(fleck_inputs_add_rows(&inputs, "tile", &source, &err), FLECK_OK);
    assert_int_equal(fleck_measure(&inputs, &options, NULL, &observer, &summary, &err), FLECK_NO_RESOURCE);
    assert_int_equal(device.next_row, 3);
    fleck_inputs_clear(&inputs);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(files_memory_and_rows_give_the_same_records),
        cmocka_unit_test(a_run_of_sources_has_their_factors_and_is_gone_on_with),
        cmocka_unit_test(cells_are_given_to_patches_that_are_there),
        cmocka_unit_test(failures_of_a_source_are_those_of_its_patch),
        cmocka_unit_test(a_source_without_resources_ends_the_call),
        cmocka_unit_test(damaged_bytes_fail_as_a_damaged_file_does),
        cmocka_unit_test(ids_are_given_once_and_sources_checked_when_they_join),
        cmocka_unit_test(rows_are_read_as_a_scan),
        cmocka_unit_test(stopping_reaches_a_device_that_is_being_read),
    };

    return cmocka_run_group_tests(tests, draw, forget);
}
