/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * TIFF through libtiff: this file opens a page, judges what it is and brings packed lines; taking
 * the samples apart is tiff_samples.c's.
 *
 * Strips are read line by line, so that one strip of a whole gigapixel needs no memory. Tiles are
 * read a row of tiles at a time, and PackBits strips whole, since many programs let its runs cross
 * lines. Where the samples stand in planes, each plane has a libtiff handle of its own: jumping
 * between planes with one handle would decode a strip anew for each line.
 */
#include "io/scan_reader.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <tiffio.h>

#include "core/memory.h"
#include "io/ifd.h"
#include "io/tiff_samples.h"

enum { MAX_PAGES = 10000, MAX_PLANES = 5 };

/* One open handle; the data that libtiff passes back to the callbacks. */
struct plane {
    TIFF *tiff;
    const fleck_byte_source *source;
    uint64_t offset;
    /* the header with the wanted page's directory as the first: libtiff never walks the others */
    uint8_t header[16];
    size_t header_bytes;
    uint16_t sample; /* which sample it brings, 0 when all stand together */
    uint8_t *lines;  /* one packed line, or all of a band */
    bool decoding;   /* from here on warnings count too */
    bool damaged;
    char message[128];
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
    size_t block_width_px;
    size_t blocks_across;
    size_t block_bytes;
    size_t block_row_bytes;
    bool tiled;
    bool started;
    uint64_t memory_limit;
};

static tmsize_t on_read(thandle_t handle, void *bytes, tmsize_t count)
{
    struct plane *plane = handle;
    const size_t got = fleck_byte_source_read(plane->source, plane->offset, bytes, (size_t)count);

    for (size_t i = 0; i < got && plane->offset + i < plane->header_bytes; i++)
        ((uint8_t *)bytes)[i] = plane->header[plane->offset + i];
    plane->offset += got;
    return (tmsize_t)got;
}

static tmsize_t on_write(thandle_t handle, void *bytes, tmsize_t count)
{
    (void)handle;
    (void)bytes;
    (void)count;
    return 0;
}

static toff_t on_seek(thandle_t handle, toff_t offset, int whence)
{
    struct plane *plane = handle;

    if (whence == SEEK_CUR)
        offset += plane->offset;
    else if (whence == SEEK_END)
        offset += fleck_byte_source_size(plane->source);
    plane->offset = offset;
    return offset;
}

static int on_close(thandle_t handle)
{
    (void)handle;
    return 0;
}

static toff_t on_size(thandle_t handle)
{
    return fleck_byte_source_size(((struct plane *)handle)->source);
}

/* Keep the first message: those after it are its consequences. */
static void keep_message(struct plane *plane, const char *format, va_list arguments)
{
    if (plane->message[0] == '\0')
        vsnprintf(plane->message, sizeof plane->message, format, arguments);
}

static int on_error(TIFF *tiff, void *data, const char *module, const char *format, va_list arguments)
{
    struct plane *plane = data;

    (void)tiff;
    (void)module;
    keep_message(plane, format, arguments);
    plane->damaged = plane->decoding;
    return 1;
}

/*
 * While pixels are decoded libtiff only warns where libjpeg or the fax decoder go on with made-up
 * ones. Two of its warnings are harmless: old LZW, and JPEG strips that go on below the last row.
 */
static int on_warning(TIFF *tiff, void *data, const char *module, const char *format,
                      va_list arguments)
{
    struct plane *plane = data;

    (void)tiff;
    (void)module;
    if (plane->decoding && strncmp(format, "Old-style LZW", 13) != 0 &&
        strncmp(format, "JPEG strip size exceeds", 23) != 0) {
        keep_message(plane, format, arguments);
        plane->damaged = true;
    }
    return 1;
}

static fleck_status fail_damaged(const struct plane *plane, fleck_error *err)
{
    return fleck_fail(err, FLECK_BAD_INPUT,
                      "is a damaged TIFF (%s); copy it from its source or scan it again",
                      plane->message[0] != '\0' ? plane->message : "a part cannot be read");
}

static fleck_status open_plane(struct plane *plane, uint64_t memory_limit, fleck_error *err)
{
    TIFFOpenOptions *options = TIFFOpenOptionsAlloc();

    if (options == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to read a TIFF; free some memory");
    TIFFOpenOptionsSetMaxSingleMemAlloc(options, (tmsize_t)memory_limit);
    TIFFOpenOptionsSetErrorHandlerExtR(options, on_error, plane);
    TIFFOpenOptionsSetWarningHandlerExtR(options, on_warning, plane);
    plane->tiff = TIFFClientOpenExt("scan", "rm", plane, on_read, on_write, on_seek, on_close,
                                    on_size, NULL, NULL, options);
    TIFFOpenOptionsFree(options);
    return plane->tiff != NULL ? FLECK_OK : fail_damaged(plane, err);
}

/*
 * Find the directory of a page and count all pages. A chain that leads out of the file or back to
 * where it was ends there: what came before can still be read.
 */
static fleck_status find_page(const fleck_ifd_file *file, size_t page, uint64_t *directory,
                              size_t *pages, fleck_error *err)
{
    uint64_t *seen = fleck_alloc_array(MAX_PAGES, sizeof *seen);
    uint64_t at = file->first;
    uint64_t next;
    size_t count = 0;
    fleck_status status = FLECK_OK;

    if (seen == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to read a TIFF; free some memory");
    while (at != 0 && fleck_ifd_next(file, at, &next)) {
        bool again = false;

        for (size_t i = 0; i < count && !again; i++)
            again = seen[i] == at;
        if (again)
            break;
        if (count == MAX_PAGES) {
            status = fleck_fail(err, FLECK_BAD_INPUT, "has more than %d pages; split it", MAX_PAGES);
            break;
        }
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
    free(seen);
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
                      "has no pixels, its size is %.0f x %.0f; save or scan it again", width, height);
}

static void write_header(const fleck_ifd_file *file, uint64_t directory, struct plane *plane)
{
    const size_t begin = file->big_tiff ? 8 : 4;
    const size_t count = file->big_tiff ? 8 : 4;

    fleck_byte_source_read(file->source, 0, plane->header, begin);
    for (size_t i = 0; i < count; i++)
        plane->header[begin + (file->big_endian ? count - 1 - i : i)] = (uint8_t)(directory >> 8 * i);
    plane->header_bytes = begin + count;
}

static unsigned short_tag(TIFF *tiff, uint32_t tag, unsigned otherwise)
{
    uint16_t value;

    return TIFFGetFieldDefaulted(tiff, tag, &value) ? value : otherwise;
}

static fleck_status check_compression(TIFF *tiff, fleck_error *err)
{
    static const struct {
        unsigned code;
        const char *name;
        bool read;
    } known[] = {
        { COMPRESSION_NONE, "none", true },
        { COMPRESSION_LZW, "LZW", true },
        { COMPRESSION_ADOBE_DEFLATE, "Deflate", true },
        { COMPRESSION_DEFLATE, "Deflate", true },
        { COMPRESSION_PACKBITS, "PackBits", true },
        { COMPRESSION_JPEG, "JPEG", true },
        { COMPRESSION_CCITTRLE, "CCITT RLE", true },
        { COMPRESSION_CCITTFAX3, "CCITT group 3", true },
        { COMPRESSION_CCITTFAX4, "CCITT group 4", true },
        { COMPRESSION_OJPEG, "old-style JPEG", false },
        { COMPRESSION_JBIG, "JBIG", false },
        { COMPRESSION_JP2000, "JPEG 2000", false },
        { COMPRESSION_LZMA, "LZMA", false },
        { COMPRESSION_ZSTD, "Zstandard", false },
        { COMPRESSION_WEBP, "WebP", false },
        { COMPRESSION_LERC, "LERC", false },
    };
    const unsigned code = short_tag(tiff, TIFFTAG_COMPRESSION, COMPRESSION_NONE);
    const char *name = "an unknown method";

    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
        if (known[i].code == code) {
            if (known[i].read && TIFFIsCODECConfigured((uint16_t)code))
                return FLECK_OK;
            name = known[i].name;
        }
    }
    return fleck_fail(err, FLECK_BAD_INPUT,
                      "is compressed by %s (code %u), which is not read; save it with LZW, Deflate "
                      "or no compression",
                      name, code);
}

static fleck_status check_samples(TIFF *tiff, unsigned bits, fleck_error *err)
{
    switch (short_tag(tiff, TIFFTAG_SAMPLEFORMAT, SAMPLEFORMAT_UINT)) {
    case SAMPLEFORMAT_UINT:
    case SAMPLEFORMAT_VOID:
        break;
    case SAMPLEFORMAT_IEEEFP:
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "holds floating-point numbers, not code values; save it with 8 or 16 "
                          "bits per sample");
    default:
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "holds signed or complex numbers, not code values; save it with 8 or 16 "
                          "bits per sample");
    }
    if (bits != 1 && bits != 2 && bits != 4 && bits != 8 && bits != 16)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "has %u bits per sample; save it with 8 or 16 bits per sample", bits);
    return FLECK_OK;
}

/*
 * Find the colour samples and what is to be done with them. The photometric tag is the file's own,
 * NAN when there is none: libtiff replaces what it finds unlikely.
 */
static fleck_status read_colours(TIFF *tiff, double photometric, fleck_tiff_layout *layout,
                                 fleck_error *err)
{
    const unsigned compression = short_tag(tiff, TIFFTAG_COMPRESSION, COMPRESSION_NONE);

    if (isnan(photometric))
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "does not say what its numbers mean (no photometric tag); save it again "
                          "as grey or RGB");
    switch ((unsigned)photometric) {
    case PHOTOMETRIC_MINISWHITE:
        layout->inverted = true;
        layout->colours = 1;
        break;
    case PHOTOMETRIC_MINISBLACK:
        layout->colours = 1;
        break;
    case PHOTOMETRIC_RGB:
        layout->colours = 3;
        break;
    case PHOTOMETRIC_PALETTE:
        layout->colours = 1;
        if (layout->bits > 8 || layout->samples != 1)
            return fleck_fail(err, FLECK_BAD_INPUT,
                              "has a palette with %u samples of %u bits; save it as RGB",
                              layout->samples, layout->bits);
        if (!TIFFGetField(tiff, TIFFTAG_COLORMAP, &layout->palette[0], &layout->palette[1],
                          &layout->palette[2]))
            return fleck_fail(err, FLECK_BAD_INPUT, "has lost its palette; save or scan it again");
        break;
    case PHOTOMETRIC_SEPARATED:
        layout->colours = 4;
        if (short_tag(tiff, TIFFTAG_INKSET, INKSET_CMYK) != INKSET_CMYK)
            return fleck_fail(err, FLECK_BAD_INPUT,
                              "is separated into inks other than CMYK; save it as grey or RGB");
        break;
    case PHOTOMETRIC_YCBCR:
        layout->colours = 3;
        if (compression != COMPRESSION_JPEG || layout->planar || layout->bits != 8)
            return fleck_fail(err, FLECK_BAD_INPUT,
                              "stores YCbCr without JPEG compression; save it as RGB");
        if (!TIFFSetField(tiff, TIFFTAG_JPEGCOLORMODE, JPEGCOLORMODE_RGB))
            return fleck_fail(err, FLECK_BAD_INPUT, "stores YCbCr; save it as RGB");
        break;
    case PHOTOMETRIC_CIELAB:
    case PHOTOMETRIC_ICCLAB:
    case PHOTOMETRIC_ITULAB:
        return fleck_fail(err, FLECK_BAD_INPUT, "stores CIE Lab colours; save it as RGB");
    default:
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "stores a kind of pixels that is not read (photometric %u); save it as "
                          "grey or RGB",
                          (unsigned)photometric);
    }
    if (layout->samples < layout->colours)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "has %u samples per pixel, too few for its colours; save it again",
                          layout->samples);
    return FLECK_OK;
}

static void read_alpha(TIFF *tiff, fleck_tiff_layout *layout)
{
    uint16_t *kinds = NULL;
    uint16_t count = 0;

    if (!TIFFGetField(tiff, TIFFTAG_EXTRASAMPLES, &count, &kinds))
        return;
    for (unsigned i = 0; i < count && layout->colours + i < layout->samples; i++) {
        if (kinds[i] == EXTRASAMPLE_ASSOCALPHA || kinds[i] == EXTRASAMPLE_UNASSALPHA) {
            layout->alpha_at = layout->colours + i;
            layout->premultiplied = kinds[i] == EXTRASAMPLE_ASSOCALPHA;
            return;
        }
    }
}

static double read_ppi(TIFF *tiff, const fleck_ifd_file *file, uint64_t directory, uint32_t tag)
{
    const double unit = short_tag(tiff, TIFFTAG_RESOLUTIONUNIT, RESUNIT_INCH);
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

static fleck_status read_layout(struct reader *reader, double photometric, fleck_scan_info *info,
                                fleck_error *err)
{
    TIFF *tiff = reader->planes[0].tiff;
    fleck_tiff_layout *layout = &reader->layout;
    uint32_t width = 0;
    uint32_t height = 0;
    fleck_status status;

    TIFFGetField(tiff, TIFFTAG_IMAGEWIDTH, &width);
    TIFFGetField(tiff, TIFFTAG_IMAGELENGTH, &height);
    info->width_px = reader->width_px = width;
    info->height_px = reader->height_px = height;
    layout->bits = short_tag(tiff, TIFFTAG_BITSPERSAMPLE, 1);
    layout->samples = short_tag(tiff, TIFFTAG_SAMPLESPERPIXEL, 1);
    layout->planar = layout->samples > 1 && short_tag(tiff, TIFFTAG_PLANARCONFIG,
                                                      PLANARCONFIG_CONTIG) == PLANARCONFIG_SEPARATE;
    status = check_samples(tiff, layout->bits, err);
    if (status == FLECK_OK)
        status = check_compression(tiff, err);
    if (status == FLECK_OK)
        status = read_colours(tiff, photometric, layout, err);
    if (status != FLECK_OK)
        return status;
    read_alpha(tiff, layout);
    info->bits = layout->bits;
    info->sample_bytes = layout->bits == 16 ? 2 : 1;
    info->channels = layout->palette[0] != NULL ? 3 : layout->colours;
    info->has_alpha = layout->alpha_at != 0;
    return FLECK_OK;
}

/* In planes, a handle for each sample that is used; the first is open already. */
static fleck_status open_planes(struct reader *reader, fleck_error *err)
{
    const fleck_tiff_layout *layout = &reader->layout;
    const size_t count = layout->planar ? layout->colours + (layout->alpha_at != 0) : 1;
    fleck_status status = FLECK_OK;

    for (size_t i = 1; status == FLECK_OK && i < count; i++) {
        struct plane *plane = &reader->planes[i];

        memcpy(plane->header, reader->planes[0].header, sizeof plane->header);
        plane->header_bytes = reader->planes[0].header_bytes;
        plane->source = reader->planes[0].source;
        plane->sample = (uint16_t)(i < layout->colours ? i : layout->alpha_at);
        status = open_plane(plane, reader->memory_limit, err);
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
        if (one->planes[i].tiff != NULL)
            TIFFClose(one->planes[i].tiff);
        free(one->planes[i].lines);
    }
    free(one);
}

static fleck_status open_reader(const fleck_byte_source *source, size_t page,
                                fleck_scan_stored *stored, void **out, fleck_error *err)
{
    fleck_scan_info *info = &stored->info;
    struct reader *reader;
    fleck_ifd_file file;
    uint64_t directory = 0;
    double photometric = NAN;
    TIFF *tiff;
    fleck_status status;

    if (!fleck_ifd_open(source, &file))
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "is a damaged TIFF (it ends within its header); copy it from its source "
                          "or scan it again");
    status = find_page(&file, page, &directory, &info->pages, err);
    if (status == FLECK_OK)
        status = check_sides(&file, directory, err);
    if (status != FLECK_OK)
        return status;
    reader = fleck_alloc_zeroed(1, sizeof *reader);
    if (reader == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to read a TIFF; free some memory");
    *out = reader; /* from here on the scan closes it */
    reader->memory_limit = fleck_scan_memory_limit(fleck_byte_source_size(source));
    reader->planes[0].source = source;
    write_header(&file, directory, &reader->planes[0]);
    info->format = FLECK_SCAN_TIFF;
    info->page = page;
    status = open_plane(&reader->planes[0], reader->memory_limit, err);
    if (status != FLECK_OK)
        return status;
    tiff = reader->planes[0].tiff;
    fleck_ifd_number(&file, directory, TIFFTAG_PHOTOMETRIC, &photometric);
    status = read_layout(reader, photometric, info, err);
    if (status == FLECK_OK)
        status = read_profile(tiff, &file, directory, info, err);
    if (status == FLECK_OK)
        status = open_planes(reader, err);
    if (status != FLECK_OK)
        return status;
    info->ppi_x = read_ppi(tiff, &file, directory, TIFFTAG_XRESOLUTION);
    info->ppi_y = read_ppi(tiff, &file, directory, TIFFTAG_YRESOLUTION);
    stored->orientation = short_tag(tiff, TIFFTAG_ORIENTATION, 1);
    return FLECK_OK;
}

/* Decide how lines come, and get room for them, now that the size was judged. */
static fleck_status start(struct reader *reader, fleck_error *err)
{
    TIFF *tiff = reader->planes[0].tiff;
    const bool packbits = short_tag(tiff, TIFFTAG_COMPRESSION, COMPRESSION_NONE) ==
                          COMPRESSION_PACKBITS;
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
        reader->block_bytes = packbits ? (size_t)TIFFVStripSize64(tiff, block_rows)
                                       : reader->block_row_bytes;
    }
    /* libtiff answers 0 where a size does not fit its own numbers */
    if (block_width == 0 || block_rows == 0 || reader->block_bytes == 0 ||
        reader->block_row_bytes < fleck_tiff_line_bytes(&reader->layout, block_width))
        return fail_damaged(&reader->planes[0], err);
    reader->block_width_px = block_width;
    reader->blocks_across = (reader->width_px - 1) / block_width + 1;
    reader->band_rows = reader->tiled || packbits ? block_rows : 0;
    if (reader->block_bytes > reader->memory_limit / reader->blocks_across)
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
        reader->planes[i].decoding = true;
    }
    reader->direct = reader->band_rows == 0 && fleck_tiff_is_plain(&reader->layout) &&
                     reader->block_row_bytes == fleck_tiff_line_bytes(&reader->layout, block_width);
    reader->started = true;
    return FLECK_OK;
}

static fleck_status read_band(const struct reader *reader, struct plane *plane, fleck_error *err)
{
    const uint32_t y = (uint32_t)reader->next_row;

    for (size_t i = 0; i < reader->blocks_across; i++) {
        const size_t rows_left = reader->height_px - reader->next_row;
        const size_t rows = rows_left < reader->band_rows ? rows_left : reader->band_rows;
        uint8_t *block = plane->lines + i * reader->block_bytes;
        tmsize_t got, wanted;

        if (reader->tiled) {
            const uint32_t x = (uint32_t)(i * reader->block_width_px);

            wanted = (tmsize_t)reader->block_bytes;
            got = TIFFReadEncodedTile(plane->tiff,
                                      TIFFComputeTile(plane->tiff, x, y, 0, plane->sample), block,
                                      wanted);
        } else {
            wanted = (tmsize_t)(rows * reader->block_row_bytes);
            got = TIFFReadEncodedStrip(plane->tiff, TIFFComputeStrip(plane->tiff, y, plane->sample),
                                       block, wanted);
        }
        if (got != wanted || plane->damaged)
            return fail_damaged(plane, err);
    }
    return FLECK_OK;
}

static fleck_status read_line(const struct reader *reader, struct plane *plane, void *line,
                              fleck_error *err)
{
    if (TIFFReadScanline(plane->tiff, line, (uint32_t)reader->next_row, plane->sample) != 1 ||
        plane->damaged)
        return fail_damaged(plane, err);
    return FLECK_OK;
}

static fleck_status read_row(void *context, void *row, fleck_error *err)
{
    struct reader *reader = context;
    fleck_status status = reader->started ? FLECK_OK : start(reader, err);
    size_t row_in_band = 0;

    if (status == FLECK_OK && reader->direct) {
        status = read_line(reader, &reader->planes[0], row, err);
        reader->next_row++;
        return status;
    }
    if (reader->band_rows != 0)
        row_in_band = reader->next_row % reader->band_rows;
    for (size_t i = 0; status == FLECK_OK && i < reader->plane_count; i++) {
        struct plane *plane = &reader->planes[i];

        if (reader->band_rows == 0)
            status = read_line(reader, plane, plane->lines, err);
        else if (row_in_band == 0)
            status = read_band(reader, plane, err);
    }
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

const fleck_scan_kind fleck_scan_tiff = { open_reader, read_row, NULL, close_reader };
