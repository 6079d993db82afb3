/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * TIFF through libtiff: finds the page and brings its packed lines. What may be read is judged in
 * tiff_layout.c, libtiff itself is fenced in tiff_handle.c, samples are taken apart in
 * tiff_samples.c.
 *
 * Strips are read line by line, so that one strip of a whole gigapixel needs no memory. Tiles are
 * read a row of tiles at a time, and PackBits strips whole, since many programs let its runs cross
 * lines. Where the samples stand in planes, each plane has a libtiff handle of its own: jumping
 * between planes with one handle would decode a strip anew for each line.
 */
#include "io/scan_reader.h"

#include <math.h>

#include <tiffio.h>

#include "core/memory.h"
#include "io/ifd.h"
#include "io/tiff_handle.h"
#include "io/tiff_layout.h"
#include "io/tiff_samples.h"

enum { MAX_PAGES = 10000, MAX_PLANES = 5 };

/* Where lines come from: all samples of a pixel together, or one of them. */
struct plane {
    fleck_tiff_handle handle;
    uint16_t sample; /* which sample it brings, 0 when all stand together */
    uint8_t *lines;  /* one packed line, or all of a band */
};

struct reader {
    struct plane planes[MAX_PLANES];
    size_t plane_count;
    fleck_tiff_layout layout;
    size_t width_px;
    size_t height_px;
    size_t next_row;
    bool direct; /* a packed line is a finished row */
    /* a band is a row of tiles, or one PackBits strip; band_rows is 0 when lines come singly */
    size_t band_rows;
    size_t band; /* of the band that was read last */
    size_t alone_rows; /* of strips or tiles */
    size_t block_width_px;
    size_t blocks_across;
    size_t block_bytes;
    size_t block_row_bytes;
    bool tiled;
    bool started;
    uint64_t memory_limit, band_limit;
};

/*
 * Find the directory of a page and count all pages. A chain that leads out of the file or back to
 * where it was ends there: what came before can still be read.
 */
static fleck_status find_page(const fleck_ifd_file *file, size_t page, uint64_t *directory,
                              size_t *pages, fleck_error *err)
{
    uint64_t *seen = NULL;
    uint64_t *more;
    size_t capacity = 0;
    uint64_t at = file->first;
    uint64_t next;
    size_t count = 0;
    fleck_status status = FLECK_OK;

    while (at != 0 && fleck_ifd_next(file, at, &next)) {
        bool again = false;

        for (size_t i = 0; i < count && !again; i++)
            again = seen[i] == at;
        if (again)
            break;
        if (count == MAX_PAGES) {
            status =
                fleck_fail(err, FLECK_BAD_INPUT, "has more than %d pages; split it", MAX_PAGES);
            break;
        }
        more = fleck_grow(seen, &capacity, count, sizeof *seen);
        if (more == NULL) {
            status =
                fleck_fail(err, FLECK_NO_RESOURCE, "no memory to read a TIFF; free some memory");
            break;
        }
        seen = more;
        seen[count++] = at;
        at = next;
    }
    *pages = count;
    if (status == FLECK_OK && count == 0)
        status = fleck_fail(err, FLECK_BAD_INPUT,
                            "is a damaged TIFF (it ends before its first directory); copy it from "
                            "its source or scan it again");
    else if (status == FLECK_OK && page > count)
        status = fleck_fail(err, FLECK_BAD_INPUT, "has %zu page%s; there is no page %zu", count,
                            count == 1 ? "" : "s", page);
    if (status == FLECK_OK)
        *directory = seen[page - 1];
    fleck_free(seen);
    return status;
}

/* libtiff's own words for a size of nothing are about strips. */
static fleck_status check_sides(const fleck_ifd_file *file, uint64_t directory, fleck_error *err)
{
    double width = 1;
    double height = 1;

    fleck_ifd_number(file, directory, TIFFTAG_IMAGEWIDTH, &width);
    fleck_ifd_number(file, directory, TIFFTAG_IMAGELENGTH, &height);
    if (width > 0 && height > 0)
        return FLECK_OK;
    return fleck_fail(err, FLECK_BAD_INPUT,
                      "has no pixels, its size is %.0f x %.0f; save or scan it again", width,
                      height);
}

/* What takes memory before libtiff has judged it. */
static fleck_status check_tags(const fleck_ifd_file *file, uint64_t directory, fleck_error *err)
{
    unsigned tag;

    if (!fleck_ifd_too_large(file, directory, &tag))
        return FLECK_OK;
    return fleck_fail(err, FLECK_BAD_INPUT,
                      "claims more in its tag %u than a scan can need; it is damaged, or save it again "
                      "without layers and previews",
                      tag);
}

static double read_ppi(TIFF *tiff, const fleck_ifd_file *file, uint64_t directory, uint32_t tag)
{
    const double unit = fleck_tiff_short_tag(tiff, TIFFTAG_RESOLUTIONUNIT, RESUNIT_INCH);
    double number;
    float rounded;

    if (fleck_ifd_number(file, directory, tag, &number))
        return fleck_scan_ppi(number, unit);
    /* stored as a float or double */
    return TIFFGetField(tiff, tag, &rounded) ? fleck_scan_ppi((double)rounded, unit) : 0;
}

static fleck_status read_profile(TIFF *tiff, const fleck_ifd_file *file, uint64_t directory,
                                 fleck_scan_info *info, fleck_error *err)
{
    uint32_t bytes = 0;
    void *profile = NULL;

    if (!TIFFGetField(tiff, TIFFTAG_ICCPROFILE, &bytes, &profile)) {
        /* libtiff passes over a tag it cannot read: that would be another tone curve, unnoticed */
        if (fleck_ifd_has(file, directory, TIFFTAG_ICCPROFILE))
            return fleck_fail(err, FLECK_BAD_INPUT,
                              "has a damaged colour profile; copy it from its source or scan it "
                              "again");
        return FLECK_OK;
    }
    if (bytes > FLECK_SCAN_ICC_LIMIT)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "has a colour profile larger than %d MiB; save it without",
                          FLECK_SCAN_ICC_LIMIT >> 20);
    info->icc = profile;
    info->icc_bytes = bytes;
    return FLECK_OK;
}

/* In planes, a handle for each sample that is used; the first is open already. */
static fleck_status open_planes(struct reader *reader, const fleck_ifd_file *file,
                                uint64_t directory, fleck_error *err)
{
    const fleck_tiff_layout *layout = &reader->layout;
    const size_t count = layout->planar ? layout->colours + (layout->alpha_at != 0) : 1;
    fleck_status status = FLECK_OK;

    for (size_t i = 1; status == FLECK_OK && i < count; i++) {
        struct plane *plane = &reader->planes[i];

        plane->sample = (uint16_t)(i < layout->colours ? i : layout->alpha_at);
        status = fleck_tiff_handle_open(&plane->handle, file, directory, reader->memory_limit, err);
    }
    reader->plane_count = count;
    return status;
}

static void close_reader(void *reader)
{
    struct reader *const one = reader;

    if (one == NULL)
        return;
    for (size_t i = 0; i < MAX_PLANES; i++) {
        fleck_tiff_handle_close(&one->planes[i].handle);
        fleck_free(one->planes[i].lines);
    }
    fleck_free(one);
}

static fleck_status read_info(struct reader *reader, const fleck_ifd_file *file, uint64_t directory,
                              fleck_scan_stored *stored, fleck_error *err)
{
    TIFF *tiff = reader->planes[0].handle.tiff;
    const fleck_tiff_layout *layout = &reader->layout;
    fleck_scan_info *info = &stored->info;
    double photometric = NAN;
    uint32_t width = 0;
    uint32_t height = 0;
    fleck_status status;

    fleck_ifd_number(file, directory, TIFFTAG_PHOTOMETRIC, &photometric);
    status = fleck_tiff_layout_read(tiff, photometric, &reader->layout, err);
    if (status != FLECK_OK)
        return status;
    TIFFGetField(tiff, TIFFTAG_IMAGEWIDTH, &width);
    TIFFGetField(tiff, TIFFTAG_IMAGELENGTH, &height);
    info->width_px = reader->width_px = width;
    info->height_px = reader->height_px = height;
    info->bits = layout->bits;
    info->sample_bytes = layout->bits == 16 ? 2 : 1;
    info->channels = layout->palette[0] != NULL ? 3 : layout->colours;
    info->has_alpha = layout->alpha_at != 0;
    info->ppi_x = read_ppi(tiff, file, directory, TIFFTAG_XRESOLUTION);
    info->ppi_y = read_ppi(tiff, file, directory, TIFFTAG_YRESOLUTION);
    stored->orientation = fleck_tiff_short_tag(tiff, TIFFTAG_ORIENTATION, 1);
    return read_profile(tiff, file, directory, info, err);
}

static fleck_status open_reader(const fleck_byte_source *source, size_t page,
                                fleck_scan_stored *stored, void **out, fleck_error *err)
{
    struct reader *reader;
    fleck_ifd_file file;
    uint64_t directory = 0;
    fleck_status status;

    if (!fleck_ifd_open(source, &file))
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "is a damaged TIFF (it ends within its header); copy it from its source "
                          "or scan it again");
    stored->info.format = FLECK_SCAN_TIFF;
    stored->info.page = page;
    status = find_page(&file, page, &directory, &stored->info.pages, err);
    if (status == FLECK_OK)
        status = check_sides(&file, directory, err);
    if (status == FLECK_OK)
        status = check_tags(&file, directory, err);
    if (status != FLECK_OK)
        return status;
    reader = fleck_alloc_zeroed(1, sizeof *reader);
    if (reader == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to read a TIFF; free some memory");
    *out = reader; /* from here on the scan closes it */
    reader->memory_limit = fleck_scan_memory_limit(fleck_byte_source_size(source));
    reader->band_limit = fleck_scan_band_limit(fleck_byte_source_size(source));
    status = fleck_tiff_handle_open(&reader->planes[0].handle, &file, directory,
                                    reader->memory_limit, err);
    if (status == FLECK_OK)
        status = read_info(reader, &file, directory, stored, err);
    if (status == FLECK_OK)
        status = open_planes(reader, &file, directory, err);
    return status;
}

/* Decide how lines come, and get room for them, now that the size was judged. */
static fleck_status start(struct reader *reader, fleck_error *err)
{
    TIFF *tiff = reader->planes[0].handle.tiff;
    const unsigned compression = fleck_tiff_short_tag(tiff, TIFFTAG_COMPRESSION, COMPRESSION_NONE);
    const bool packbits = compression == COMPRESSION_PACKBITS;
    uint32_t block_width = 0;
    uint32_t block_rows = 0;
    uint64_t bytes;

    reader->tiled = TIFFIsTiled(tiff) != 0;
    if (reader->tiled) {
        TIFFGetField(tiff, TIFFTAG_TILEWIDTH, &block_width);
        TIFFGetField(tiff, TIFFTAG_TILELENGTH, &block_rows);
        reader->block_bytes = (size_t)TIFFTileSize64(tiff);
        reader->block_row_bytes = (size_t)TIFFTileRowSize64(tiff);
    } else {
        TIFFGetFieldDefaulted(tiff, TIFFTAG_ROWSPERSTRIP, &block_rows);
        if (block_rows > reader->height_px)
            block_rows = (uint32_t)reader->height_px;
        block_width = (uint32_t)reader->width_px;
        reader->block_row_bytes = (size_t)TIFFScanlineSize64(tiff);
        reader->block_bytes =
            packbits ? (size_t)TIFFVStripSize64(tiff, block_rows) : reader->block_row_bytes;
    }
    /* libtiff answers 0 where a size does not fit its own numbers */
    if (block_width == 0 || block_rows == 0 || reader->block_bytes == 0 ||
        reader->block_row_bytes < fleck_tiff_line_bytes(&reader->layout, block_width))
        return fleck_tiff_handle_fail(&reader->planes[0].handle, err);
    reader->block_width_px = block_width;
    reader->blocks_across = (reader->width_px - 1) / block_width + 1;
    reader->band_rows = reader->tiled || packbits ? block_rows : 0;
    reader->band = SIZE_MAX;
    reader->alone_rows = compression == COMPRESSION_NONE && !reader->tiled ? 1 : block_rows;
    if (reader->block_bytes > reader->band_limit / reader->blocks_across)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "has %s too large to be held in memory; save it with smaller ones",
                          reader->tiled ? "tiles" : "strips");
    bytes = (uint64_t)reader->block_bytes * reader->blocks_across;
    for (size_t i = 0; i < reader->plane_count; i++) {
        reader->planes[i].lines = fleck_alloc_zeroed((size_t)bytes, 1);
        if (reader->planes[i].lines == NULL)
            return fleck_fail(err, FLECK_NO_RESOURCE,
                              "no memory for a %s of a TIFF; save it with smaller ones",
                              reader->tiled ? "row of tiles" : "strip");
        reader->planes[i].handle.decoding = true;
        reader->planes[i].handle.message[0] = '\0'; /* of tags that did not matter */
    }
    reader->direct = reader->band_rows == 0 && fleck_tiff_is_plain(&reader->layout) &&
                     reader->block_row_bytes == fleck_tiff_line_bytes(&reader->layout, block_width);
    reader->started = true;
    return FLECK_OK;
}

static fleck_status read_band(const struct reader *reader, struct plane *plane, size_t band,
                              fleck_error *err)
{
    const uint32_t y = (uint32_t)(band * reader->band_rows);

    for (size_t i = 0; i < reader->blocks_across; i++) {
        const size_t rows_left = reader->height_px - y;
        const size_t rows = rows_left < reader->band_rows ? rows_left : reader->band_rows;
        uint8_t *block = plane->lines + i * reader->block_bytes;
        tmsize_t got, wanted;

        if (reader->tiled) {
            const uint32_t x = (uint32_t)(i * reader->block_width_px);

            wanted = (tmsize_t)reader->block_bytes;
            got = TIFFReadEncodedTile(plane->handle.tiff,
                                      TIFFComputeTile(plane->handle.tiff, x, y, 0, plane->sample),
                                      block, wanted);
        } else {
            wanted = (tmsize_t)(rows * reader->block_row_bytes);
            got = TIFFReadEncodedStrip(plane->handle.tiff,
                                       TIFFComputeStrip(plane->handle.tiff, y, plane->sample),
                                       block, wanted);
        }
        if (got != wanted || plane->handle.damaged)
            return fleck_tiff_handle_fail(&plane->handle, err);
    }
    return FLECK_OK;
}

static fleck_status read_line(const struct reader *reader, struct plane *plane, void *line,
                              fleck_error *err)
{
    if (TIFFReadScanline(plane->handle.tiff, line, (uint32_t)reader->next_row, plane->sample) !=
            1 ||
        plane->handle.damaged)
        return fleck_tiff_handle_fail(&plane->handle, err);
    return FLECK_OK;
}

static fleck_status read_row(void *context, void *row, fleck_error *err)
{
    struct reader *reader = context;
    fleck_status status = reader->started ? FLECK_OK : start(reader, err);
    size_t row_in_band = 0, band = 0;

    if (status == FLECK_OK && reader->direct) {
        status = read_line(reader, &reader->planes[0], row, err);
        reader->next_row++;
        return status;
    }
    if (status == FLECK_OK && reader->band_rows != 0) {
        row_in_band = reader->next_row % reader->band_rows;
        band = reader->next_row / reader->band_rows;
    }
    for (size_t i = 0; status == FLECK_OK && i < reader->plane_count; i++) {
        struct plane *plane = &reader->planes[i];

        if (reader->band_rows == 0)
            status = read_line(reader, plane, plane->lines, err);
        else if (reader->band != band)
            status = read_band(reader, plane, band, err);
    }
    reader->band = band;
    for (size_t i = 0; status == FLECK_OK && i < reader->blocks_across; i++) {
        const size_t offset = i * reader->block_bytes + row_in_band * reader->block_row_bytes;
        const size_t x = i * reader->block_width_px;
        const size_t left = reader->width_px - x;
        const uint8_t *lines[MAX_PLANES];

        for (size_t k = 0; k < reader->plane_count; k++)
            lines[k] = reader->planes[k].lines + offset;
        fleck_tiff_take_samples(&reader->layout, lines,
                                left < reader->block_width_px ? left : reader->block_width_px, x,
                                row);
    }
    reader->next_row++;
    return status;
}

static fleck_status block_rows(void *context, size_t *rows, fleck_error *err)
{
    struct reader *const reader = context;
    const fleck_status status = reader->started ? FLECK_OK : start(reader, err);

    if (status == FLECK_OK)
        *rows = reader->alone_rows;
    return status;
}

static void go_on_at(void *context, size_t row)
{
    struct reader *const reader = context;

    reader->next_row = row;
}

const fleck_scan_kind fleck_scan_tiff = {
    .open = open_reader,
    .read_row = read_row,
    .close = close_reader,
    .block_rows = block_rows,
    .go_on_at = go_on_at,
};
