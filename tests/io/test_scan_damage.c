/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Files cut off and bits turned over. Run under the sanitizers this also looks for overruns. */
#include "io/scan_files.h"

/* Open bytes, read all rows. FLECK_OK and the hash of the pixels, or the failure. */
static fleck_status read_bytes(const uint8_t *bytes, size_t size, size_t page, uint64_t *hash,
                               size_t *width_px, size_t *height_px)
{
    fleck_error err = { 0 };
    fleck_scan *scan;
    fleck_status status = fleck_scan_open_memory(bytes, size, page, &scan, &err);

    if (status == FLECK_OK) {
        const fleck_scan_info *info = fleck_scan_get_info(scan);

        *width_px = info->width_px;
        *height_px = info->height_px;
        /* a bit in the size makes images of many rows; they are only opened */
        status = info->width_px * info->height_px > 100000 ? FLECK_BAD_INPUT
                                                           : hash_rows(scan, hash, &err);
    }
    if (status != FLECK_OK && status != FLECK_BAD_INPUT)
        fail_msg("%s", err.message);
    fleck_scan_close(scan);
    return status;
}

static void a_scan_cut_off_is_an_error_or_whole(void **state)
{
    static scan_case cases[MAX_CASES];
    const size_t count = read_cases(cases);
    size_t refused = 0;
    size_t accepted = 0;

    (void)state;
    for (size_t i = 0; i < count; i++) {
        size_t size, width, height;
        uint8_t *bytes = read_file(cases[i].file, &size);
        uint64_t hash;

        for (size_t length = 0; length < size; length += 10) {
            /* a block of just that size, so that a read past the end is seen */
            uint8_t *cut = malloc(length > 0 ? length : 1);

            assert_non_null(cut);
            memcpy(cut, bytes, length);
            if (read_bytes(cut, length, cases[i].page, &hash, &width, &height) != FLECK_OK) {
                refused++;
            } else {
                accepted++;
                if (hash != cases[i].hash)
                    fail_msg("%s cut off at %zu: made-up pixels", cases[i].file, length);
            }
            free(cut);
        }
        free(bytes);
    }
    /* accepted are TIFFs whose last bytes are those of another page or of a tag not used */
    assert_true(refused > 10000);
    assert_true(accepted * 50 < refused);
}

static void a_turned_bit_is_an_error_or_an_image(void **state)
{
    static scan_case cases[MAX_CASES];
    const size_t count = read_cases(cases);
    uint64_t random = 1;

    (void)state;
    for (size_t i = 0; i < count; i++) {
        size_t size, width, height;
        uint8_t *bytes = read_file(cases[i].file, &size);
        uint64_t hash;

        for (size_t n = 0; n < 50; n++) {
            /* every other one among the first bytes, where the header stands */
            const size_t range = n % 2 == 0 && size > 100 ? 100 : size;
            const uint64_t bit = test_random(&random) % (range * 8);

            bytes[bit / 8] ^= (uint8_t)(1u << bit % 8);
            /* every part of a PNG has a checksum: a wrong image cannot pass */
            if (read_bytes(bytes, size, cases[i].page, &hash, &width, &height) == FLECK_OK &&
                memcmp(bytes, "\x89PNG", 4) == 0 && hash != cases[i].hash)
                fail_msg("%s with bit %llu turned: made-up pixels", cases[i].file,
                         (unsigned long long)bit);
            bytes[bit / 8] ^= (uint8_t)(1u << bit % 8);
        }
        free(bytes);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_scan_cut_off_is_an_error_or_whole),
        cmocka_unit_test(a_turned_bit_is_an_error_or_an_image),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
