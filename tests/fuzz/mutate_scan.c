/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A PNG whose checksums are wrong is refused before anything is made of it: mend those of most PNGs
 * after libFuzzer has changed some bytes. TIFF and JPEG have none and stay as they are.
 */
#include <stdint.h>
#include <string.h>

#include <zlib.h>

size_t LLVMFuzzerMutate(uint8_t *bytes, size_t size, size_t most);
size_t LLVMFuzzerCustomMutator(uint8_t *bytes, size_t size, size_t most, unsigned seed);

static const uint8_t mark[8] = { 0x89, 'P', 'N', 'G', '\r', '\n', 0x1a, '\n' };

static void mend_checksums(uint8_t *bytes, size_t size)
{
    for (size_t at = sizeof mark; size - at >= 12;) {
        const size_t length = (size_t)bytes[at] << 24 | (size_t)bytes[at + 1] << 16 |
                              (size_t)bytes[at + 2] << 8 | bytes[at + 3];
        uint32_t sum;

        if (length > size - at - 12)
            return;
        sum = (uint32_t)crc32(0, bytes + at + 4, (uInt)length + 4);
        for (size_t i = 0; i < 4; i++)
            bytes[at + 8 + length + i] = (uint8_t)(sum >> (24 - 8 * i));
        at += 12 + length;
    }
}

size_t LLVMFuzzerCustomMutator(uint8_t *bytes, size_t size, size_t most, unsigned seed)
{
    size = LLVMFuzzerMutate(bytes, size, most);
    if (seed % 8 != 0 && size >= sizeof mark && memcmp(bytes, mark, sizeof mark) == 0)
        mend_checksums(bytes, size);
    return size;
}
