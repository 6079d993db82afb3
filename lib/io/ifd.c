/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sources: TIFF revision 6.0, section 2 "TIFF Structure"; the BigTIFF design by AWare Systems. */
#include "io/ifd.h"

#include <stddef.h>
#include <string.h>

#include "io/scan_reader.h"

enum {
    MAX_ENTRIES = 65535, /* what the 16-bit count of classic TIFF can say; nobody needs more */
    ENTRY_BYTES = 12,
    BIG_ENTRY_BYTES = 20,
    MAX_BLOCKS = 1 << 22,
    MAX_TAG_BYTES = 256 << 20
};

enum { TYPE_BYTE = 1, TYPE_SHORT = 3, TYPE_LONG = 4, TYPE_RATIONAL = 5 };

static uint64_t number_at(const fleck_ifd_file *file, const uint8_t *bytes, size_t count)
{
    uint64_t value = 0;

    for (size_t i = 0; i < count; i++)
        value = value << 8 | bytes[file->big_endian ? i : count - 1 - i];
    return value;
}

static bool read_number(const fleck_ifd_file *file, uint64_t at, size_t count, uint64_t *value)
{
    uint8_t bytes[8];

    if (fleck_byte_source_read(file->source, at, bytes, count) != count)
        return false;
    *value = number_at(file, bytes, count);
    return true;
}

/* Where the entries of a directory begin and how many there are. */
static bool find_entries(const fleck_ifd_file *file, uint64_t at, uint64_t *begin, uint64_t *count)
{
    const size_t count_bytes = file->big_tiff ? 8 : 2;

    if (at >= fleck_byte_source_size(file->source) || !read_number(file, at, count_bytes, count) ||
        *count > MAX_ENTRIES)
        return false;
    *begin = at + count_bytes;
    return true;
}

bool fleck_ifd_open(const fleck_byte_source *source, fleck_ifd_file *file)
{
    uint8_t header[4];

    *file = (fleck_ifd_file){ .source = source };
    if (fleck_byte_source_read(source, 0, header, sizeof header) != sizeof header)
        return false;
    if (memcmp(header, "MM", 2) == 0)
        file->big_endian = true;
    else if (memcmp(header, "II", 2) != 0)
        return false;
    switch (number_at(file, header + 2, 2)) {
    case 42:
        return read_number(file, 4, 4, &file->first);
    case 43:
        file->big_tiff = true;
        return read_number(file, 8, 8, &file->first);
    default:
        return false;
    }
}

bool fleck_ifd_next(const fleck_ifd_file *file, uint64_t at, uint64_t *next)
{
    uint64_t begin, count;

    return find_entries(file, at, &begin, &count) &&
           read_number(file, begin + count * (file->big_tiff ? BIG_ENTRY_BYTES : ENTRY_BYTES),
                       file->big_tiff ? 8 : 4, next);
}

/* Whether an entry is the one that is looked for; context is the caller's. */
typedef bool (*entry_test)(const fleck_ifd_file *file, const uint8_t *entry, void *context);

static bool find_where(const fleck_ifd_file *file, uint64_t at, entry_test is_it, void *context,
                       uint8_t entry[BIG_ENTRY_BYTES])
{
    const size_t entry_bytes = file->big_tiff ? BIG_ENTRY_BYTES : ENTRY_BYTES;
    uint8_t block[64 * BIG_ENTRY_BYTES];
    uint64_t begin, count;

    if (!find_entries(file, at, &begin, &count))
        return false;
    while (count > 0) {
        const size_t wanted = (size_t)(count < 64 ? count : 64);
        const size_t got =
            fleck_byte_source_read(file->source, begin, block, wanted * entry_bytes) / entry_bytes;

        for (size_t i = 0; i < got; i++) {
            if (is_it(file, block + i * entry_bytes, context)) {
                memcpy(entry, block + i * entry_bytes, entry_bytes);
                return true;
            }
        }
        if (got < wanted)
            return false;
        begin += got * entry_bytes;
        count -= got;
    }
    return false;
}

static bool has_tag(const fleck_ifd_file *file, const uint8_t *entry, void *tag)
{
    return number_at(file, entry, 2) == *(const unsigned *)tag;
}

static bool find_entry(const fleck_ifd_file *file, uint64_t at, unsigned tag,
                       uint8_t entry[BIG_ENTRY_BYTES])
{
    return find_where(file, at, has_tag, &tag, entry);
}

static bool is_too_large(const fleck_ifd_file *file, const uint8_t *entry, void *unused)
{
    /* bytes of one value by type; of one that is not known, libtiff reads nothing */
    static const uint8_t value_bytes[] = { 0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8, 4, 0, 0, 8, 8, 8 };
    const uint64_t type = number_at(file, entry + 2, 2);
    const uint64_t count = number_at(file, entry + 4, file->big_tiff ? 8 : 4);
    const unsigned size = type < sizeof value_bytes ? value_bytes[type] : 0;

    (void)unused;
    switch (number_at(file, entry, 2)) {
    case 273: /* StripOffsets, StripByteCounts, TileOffsets, TileByteCounts */
    case 279:
    case 324:
    case 325:
        return count > MAX_BLOCKS;
    case 34675: /* ICC profile */
        return size > 0 && count > FLECK_SCAN_ICC_LIMIT / size;
    default:
        return size > 0 && count > MAX_TAG_BYTES / size;
    }
}

bool fleck_ifd_too_large(const fleck_ifd_file *file, uint64_t at, unsigned *tag)
{
    uint8_t entry[BIG_ENTRY_BYTES];

    if (!find_where(file, at, is_too_large, NULL, entry))
        return false;
    *tag = (unsigned)number_at(file, entry, 2);
    return true;
}

bool fleck_ifd_has(const fleck_ifd_file *file, uint64_t at, unsigned tag)
{
    uint8_t entry[BIG_ENTRY_BYTES];

    return find_entry(file, at, tag, entry);
}

bool fleck_ifd_number(const fleck_ifd_file *file, uint64_t at, unsigned tag, double *value)
{
    uint8_t entry[BIG_ENTRY_BYTES];
    const uint8_t *inside = entry + (file->big_tiff ? 12 : 8); /* small values stand here */
    uint64_t above, below, where;

    if (!find_entry(file, at, tag, entry))
        return false;
    if (number_at(file, entry + 4, file->big_tiff ? 8 : 4) == 0)
        return false;
    switch (number_at(file, entry + 2, 2)) {
    case TYPE_BYTE:
        *value = inside[0];
        return true;
    case TYPE_SHORT:
        *value = (double)number_at(file, inside, 2);
        return true;
    case TYPE_LONG:
        *value = (double)number_at(file, inside, 4);
        return true;
    case TYPE_RATIONAL:
        if (file->big_tiff) {
            above = number_at(file, inside, 4);
            below = number_at(file, inside + 4, 4);
        } else {
            where = number_at(file, inside, 4);
            if (!read_number(file, where, 4, &above) || !read_number(file, where + 4, 4, &below))
                return false;
        }
        if (below == 0)
            return false;
        *value = (double)above / (double)below;
        return true;
    default:
        return false;
    }
}
