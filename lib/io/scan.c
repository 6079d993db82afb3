/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One interface over the formats: tells them apart, judges what the file claims, and applies the
 * orientation tag. Upright and mirrored images stream row by row; all others (and interlaced ones)
 * are held in memory, since their first row needs the file's last.
 */
#include "fleck/scan.h"

#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "io/scan_blocks.h"
#include "io/scan_reader.h"

struct fleck_scan {
    fleck_byte_source *source;
    const fleck_scan_kind *kind;
    void *reader;
    fleck_scan_stored stored;
    fleck_scan_info info; /* after the orientation */
    size_t pixel_bytes;
    size_t stored_row_bytes;
    size_t row_bytes;
    size_t next_row;
    uint8_t *held;       /* the stored image when it does not stream, once it was asked for */
    fleck_error failure; /* of an earlier row, status FLECK_OK when there was none */
};

/*
 * 256 MiB is a bare A2 page at 600 ppi. Beyond, a file whose pixels are 512 times its size is no scan:
 * paper has noise, and deflate reaches 1032 to 1 only where nothing but one tone is drawn.
 */
static const uint64_t FREE_BYTES = (uint64_t)256 << 20;
static const uint64_t LARGEST_RATIO = 512;
static const uint64_t LARGEST_HELD = (uint64_t)4 << 30;

static uint64_t limit_of(uint64_t free_bytes, uint64_t file_bytes)
{
    if (file_bytes >= (LARGEST_HELD - free_bytes) / LARGEST_RATIO)
        return LARGEST_HELD;
    return free_bytes + file_bytes * LARGEST_RATIO;
}

uint64_t fleck_scan_memory_limit(uint64_t file_bytes)
{
    return limit_of(FREE_BYTES, file_bytes);
}

uint64_t fleck_scan_band_limit(uint64_t file_bytes)
{
    return limit_of((uint64_t)16 << 20, file_bytes);
}

double fleck_scan_ppi(double resolution, double unit)
{
    const double ppi = unit == 2 ? resolution : unit == 3 ? resolution * 2.54 : 0;

    return isfinite(ppi) && ppi >= 1 && ppi <= 1e6 ? ppi : 0;
}

const char *fleck_scan_format_name(fleck_scan_format format)
{
    switch (format) {
    case FLECK_SCAN_PNG:
        return "png";
    case FLECK_SCAN_TIFF:
        return "tiff";
    case FLECK_SCAN_JPEG:
        return "jpeg";
    case FLECK_SCAN_ROWS:
        return "rows";
    }
    return "";
}

static fleck_status choose_kind(fleck_scan *scan, fleck_error *err)
{
    static const struct {
        size_t count;
        const char *bytes;
        const fleck_scan_kind *kind;
    } marks[] = {
        { 8, "\x89PNG\r\n\x1a\n", &fleck_scan_png },
        { 4, "II*\0", &fleck_scan_tiff },
        { 4, "MM\0*", &fleck_scan_tiff },
        { 4, "II+\0", &fleck_scan_tiff },
        { 4, "MM\0+", &fleck_scan_tiff },
        { 3, "\xff\xd8\xff", &fleck_scan_jpeg },
    };
    uint8_t start[8];
    const size_t got = fleck_byte_source_read(scan->source, 0, start, sizeof start);

    if (fleck_byte_source_size(scan->source) == 0)
        return fleck_fail(err, FLECK_BAD_INPUT, "is empty, it has no bytes; copy or scan it again");
    for (size_t i = 0; i < sizeof marks / sizeof marks[0]; i++) {
        if (got >= marks[i].count && memcmp(start, marks[i].bytes, marks[i].count) == 0) {
            scan->kind = marks[i].kind;
            return FLECK_OK;
        }
    }
    return fleck_fail(err, FLECK_BAD_INPUT,
                      "is not a PNG, TIFF or JPEG image; save the scan as one of these");
}

/* Whether what the file claims can be true, and every size derived from it fits. */
static fleck_status check_size(fleck_scan *scan, fleck_error *err)
{
    const fleck_scan_info *info = &scan->stored.info;
    const uint64_t file_bytes = fleck_byte_source_size(scan->source);
    const size_t samples = (size_t)info->channels + (info->has_alpha ? 1 : 0);
    const bool held = scan->stored.at_once || scan->stored.orientation > 2;
    size_t row_bytes, bytes;

    if (info->width_px == 0 || info->height_px == 0)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "has no pixels, its size is %zu x %zu; save or scan it again",
                          info->width_px, info->height_px);
    scan->pixel_bytes = samples * info->sample_bytes;
    if (info->width_px > FLECK_SCAN_SIDE_LIMIT || info->height_px > FLECK_SCAN_SIDE_LIMIT ||
        !size_mul(info->width_px, scan->pixel_bytes, &row_bytes) ||
        !size_mul(row_bytes, info->height_px, &bytes) || row_bytes > fleck_scan_band_limit(file_bytes) ||
        /* fewer bits than 8 take a byte each here, but not in the file */
        (double)bytes / (info->sample_bytes * 8) * info->bits >
            (double)FREE_BYTES + (double)LARGEST_RATIO * (double)file_bytes)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "claims %zu x %zu pixels, which its %llu bytes cannot hold; it is "
                          "damaged, copy or scan it again",
                          info->width_px, info->height_px, (unsigned long long)file_bytes);
    if (held && bytes > LARGEST_HELD)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "is %s and would need %zu MiB of memory, more than %llu; save it %s",
                          scan->stored.at_once ? "interlaced" : "turned by its orientation tag",
                          bytes >> 20, (unsigned long long)(LARGEST_HELD >> 20),
                          scan->stored.at_once ? "without interlacing" : "upright");
    scan->stored_row_bytes = row_bytes;
    return FLECK_OK;
}

static void apply_orientation(fleck_scan *scan)
{
    fleck_scan_info *info = &scan->info;

    *info = scan->stored.info;
    if (scan->stored.orientation >= 5) {
        info->width_px = scan->stored.info.height_px;
        info->height_px = scan->stored.info.width_px;
        info->ppi_x = scan->stored.info.ppi_y;
        info->ppi_y = scan->stored.info.ppi_x;
    }
    /* cannot overflow: the whole image fits, as was checked */
    scan->row_bytes = info->width_px * scan->pixel_bytes;
}

static fleck_status open_source(fleck_byte_source *source, size_t page, fleck_scan **out,
                                fleck_error *err)
{
    fleck_scan *scan = fleck_alloc_zeroed(1, sizeof *scan);
    fleck_status status;

    if (scan == NULL) {
        fleck_byte_source_close(source);
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to open a scan; free some memory");
    }
    scan->source = source;
    status = choose_kind(scan, err);
    if (status == FLECK_OK)
        status = scan->kind->open(source, page, &scan->stored, &scan->reader, err);
    if (status == FLECK_OK)
        status = check_size(scan, err);
    if (status == FLECK_OK && page > scan->stored.info.pages)
        status = fleck_fail(err, FLECK_BAD_INPUT, "has one page only; ask for page 1");
    if (status != FLECK_OK) {
        fleck_scan_close(scan);
        return status;
    }
    apply_orientation(scan);
    *out = scan;
    return FLECK_OK;
}

fleck_status fleck_scan_open(const char *path, size_t page, fleck_scan **out, fleck_error *err)
{
    fleck_byte_source *source;
    fleck_status status;

    *out = NULL;
    if (page == 0)
        return fleck_fail(err, FLECK_BAD_CALL, "page 0 is asked for; pages count from 1");
    status = fleck_byte_source_open(path, &source, err);
    return status == FLECK_OK ? open_source(source, page, out, err) : status;
}

fleck_status fleck_scan_open_memory(const void *bytes, size_t size, size_t page, fleck_scan **out,
                                    fleck_error *err)
{
    fleck_byte_source *source;
    fleck_status status;

    *out = NULL;
    if (page == 0)
        return fleck_fail(err, FLECK_BAD_CALL, "page 0 is asked for; pages count from 1");
    status = fleck_byte_source_open_memory(bytes, size, &source, err);
    return status == FLECK_OK ? open_source(source, page, out, err) : status;
}

fleck_status fleck_scan_open_rows(const fleck_row_source *source, fleck_scan **out, fleck_error *err)
{
    fleck_scan *scan = fleck_alloc_zeroed(1, sizeof *scan);
    fleck_status status;

    *out = NULL;
    if (scan == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to open a scan; free some memory");
    scan->kind = &fleck_scan_rows;
    status = fleck_scan_rows_open(source, &scan->stored, &scan->reader, err);
    if (status != FLECK_OK) {
        fleck_scan_close(scan);
        return status;
    }
    scan->pixel_bytes = scan->stored.info.sample_bytes *
                        ((size_t)scan->stored.info.channels + (scan->stored.info.has_alpha ? 1 : 0));
    /* no more than 8 bytes times 2^31 */
    scan->stored_row_bytes = scan->stored.info.width_px * scan->pixel_bytes;
    apply_orientation(scan);
    *out = scan;
    return FLECK_OK;
}

const fleck_scan_info *fleck_scan_get_info(const fleck_scan *scan)
{
    return &scan->info;
}

size_t fleck_scan_row_bytes(const fleck_scan *scan)
{
    return scan->row_bytes;
}

static fleck_status hold_image(fleck_scan *scan, fleck_error *err)
{
    const size_t height = scan->stored.info.height_px;
    fleck_status status = FLECK_OK;

    scan->held = fleck_alloc_array(height, scan->stored_row_bytes);
    if (scan->held == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE,
                          "no memory to hold an image that does not stream; save it upright and "
                          "without interlacing");
    if (scan->stored.at_once)
        return scan->kind->read_all(scan->reader, scan->held, scan->stored_row_bytes, err);
    for (size_t y = 0; status == FLECK_OK && y < height; y++)
        status = scan->kind->read_row(scan->reader, scan->held + y * scan->stored_row_bytes, err);
    return status;
}

static void copy_pixels(uint8_t *to, const uint8_t *from, size_t count, size_t pixel_bytes,
                        ptrdiff_t step)
{
    for (size_t x = 0; x < count; x++, from += step, to += pixel_bytes) {
        switch (pixel_bytes) {
        case 1:
            *to = *from;
            break;
        case 2:
            memcpy(to, from, 2);
            break;
        case 3:
            memcpy(to, from, 3);
            break;
        default:
            memcpy(to, from, pixel_bytes);
        }
    }
}

/* Row y of the upright image. Source: TIFF revision 6.0, "Orientation". */
static void row_from_held(const fleck_scan *scan, size_t y, uint8_t *row)
{
    const size_t right = scan->stored.info.width_px - 1;
    const size_t bottom = scan->stored.info.height_px - 1;
    const ptrdiff_t along = (ptrdiff_t)scan->pixel_bytes;
    const ptrdiff_t down = (ptrdiff_t)scan->stored_row_bytes;
    const size_t count = scan->info.width_px;
    size_t from_x, from_y;
    ptrdiff_t step;

    /* where the row begins in the stored image, and which way it runs there */
    switch (scan->stored.orientation) {
    case 2:
        from_x = right, from_y = y, step = -along;
        break;
    case 3:
        from_x = right, from_y = bottom - y, step = -along;
        break;
    case 4:
        from_x = 0, from_y = bottom - y, step = along;
        break;
    case 5:
        from_x = y, from_y = 0, step = down;
        break;
    case 6:
        from_x = y, from_y = bottom, step = -down;
        break;
    case 7:
        from_x = right - y, from_y = bottom, step = -down;
        break;
    case 8:
        from_x = right - y, from_y = 0, step = down;
        break;
    default:
        from_x = 0, from_y = y, step = along;
        break;
    }
    copy_pixels(row, scan->held + from_y * scan->stored_row_bytes + from_x * scan->pixel_bytes,
                count, scan->pixel_bytes, step);
}

static void mirror(uint8_t *row, size_t count, size_t pixel_bytes)
{
    uint8_t *left = row;
    uint8_t *right = row + (count - 1) * pixel_bytes;

    for (; left < right; left += pixel_bytes, right -= pixel_bytes) {
        for (size_t i = 0; i < pixel_bytes; i++) {
            const uint8_t kept = left[i];

            left[i] = right[i];
            right[i] = kept;
        }
    }
}

static fleck_status read_next(fleck_scan *scan, uint8_t *row, fleck_error *err)
{
    fleck_status status = FLECK_OK;

    if (scan->stored.at_once || scan->stored.orientation > 2) {
        if (scan->held == NULL)
            status = hold_image(scan, err);
        if (status == FLECK_OK)
            row_from_held(scan, scan->next_row, row);
        return status;
    }
    status = scan->kind->read_row(scan->reader, row, err);
    if (status == FLECK_OK && scan->stored.orientation == 2)
        mirror(row, scan->info.width_px, scan->pixel_bytes);
    return status;
}

fleck_status fleck_scan_read_row(fleck_scan *scan, void *row, fleck_error *err)
{
    fleck_status status;

    if (scan->failure.status != FLECK_OK)
        return fleck_fail(err, scan->failure.status, "%s", scan->failure.message);
    if (scan->next_row >= scan->info.height_px)
        return fleck_fail(err, FLECK_BAD_CALL, "all %zu rows were read before; open the scan again",
                          scan->info.height_px);
    status = read_next(scan, row, &scan->failure);
    if (status != FLECK_OK)
        return fleck_fail(err, status, "%s", scan->failure.message);
    scan->next_row++;
    return FLECK_OK;
}

fleck_status fleck_scan_block_rows(fleck_scan *scan, size_t *rows, fleck_error *err)
{
    fleck_status status;

    *rows = 0;
    if (scan->failure.status != FLECK_OK)
        return fleck_fail(err, scan->failure.status, "%s", scan->failure.message);
    if (scan->kind->block_rows == NULL || scan->stored.at_once || scan->stored.orientation > 2)
        return FLECK_OK;
    status = scan->kind->block_rows(scan->reader, rows, &scan->failure);
    return status == FLECK_OK ? FLECK_OK : fleck_fail(err, status, "%s", scan->failure.message);
}

void fleck_scan_go_on_at(fleck_scan *scan, size_t row)
{
    if (row == scan->next_row)
        return;
    scan->kind->go_on_at(scan->reader, row);
    scan->next_row = row;
}

void fleck_scan_close(fleck_scan *scan)
{
    if (scan == NULL)
        return;
    if (scan->kind != NULL)
        scan->kind->close(scan->reader);
    fleck_free(scan->held);
    fleck_byte_source_close(scan->source);
    fleck_free(scan);
}
