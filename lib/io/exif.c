/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "io/exif.h"

#include <string.h>

#include "io/ifd.h"
#include "io/scan_reader.h"

enum { TAG_ORIENTATION = 274, TAG_X_RESOLUTION = 282, TAG_Y_RESOLUTION = 283, TAG_UNIT = 296 };

fleck_exif fleck_exif_read(const void *bytes, size_t size)
{
    static const char mark[6] = "Exif\0";
    fleck_exif exif = { .orientation = 1 };
    fleck_byte_source *source;
    fleck_ifd_file file;
    double number;
    double unit = 2; /* inch, the default of the standard */

    if (size >= sizeof mark && memcmp(bytes, mark, sizeof mark) == 0) {
        bytes = (const char *)bytes + sizeof mark;
        size -= sizeof mark;
    }
    if (fleck_byte_source_open_memory(bytes, size, &source, NULL) != FLECK_OK)
        return exif;
    if (fleck_ifd_open(source, &file)) {
        if (fleck_ifd_number(&file, file.first, TAG_ORIENTATION, &number) && number >= 1 &&
            number <= 8)
            exif.orientation = (unsigned)number;
        fleck_ifd_number(&file, file.first, TAG_UNIT, &unit);
        if (fleck_ifd_number(&file, file.first, TAG_X_RESOLUTION, &number))
            exif.ppi_x = fleck_scan_ppi(number, unit);
        if (fleck_ifd_number(&file, file.first, TAG_Y_RESOLUTION, &number))
            exif.ppi_y = fleck_scan_ppi(number, unit);
    }
    fleck_byte_source_close(source);
    return exif;
}
