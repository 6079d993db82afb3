/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * PNG through libpng. libpng leaves by longjmp; the one setjmp stands in run(), and the steps it
 * runs own nothing, so that nothing is lost on the way out.
 */
#include "io/scan_reader.h"

#include <setjmp.h>
#include <string.h>

#include <png.h>

#include "core/memory.h"
#include "io/exif.h"

struct reader {
    fleck_byte_cursor cursor;
    png_structp png;
    png_infop info;
    fleck_scan_stored *stored; /* while the header is read */
    size_t width_px;
    size_t height_px;
    size_t next_row;
    size_t row_bytes; /* of the whole image in step_read_all */
    bool started;
    bool no_memory;
    bool profile_unread;
    uint8_t palette[256][4];
    size_t palette_colours;
    size_t palette_samples; /* 3, or 4 with alpha; 0 when there is no palette */
    char message[128];
};

static void on_error(png_structp png, png_const_charp message)
{
    struct reader *reader = png_get_error_ptr(png);
    const size_t length = strnlen(message, sizeof reader->message - 1);

    memcpy(reader->message, message, length);
    reader->message[length] = '\0';
    png_longjmp(png, 1);
}

/*
 * Chunks that are wrong but not needed for the pixels; those with a wrong checksum are errors. A
 * profile for another kind of pixels than the file's is as good as none.
 */
static void on_warning(png_structp png, png_const_charp message)
{
    struct reader *reader = png_get_error_ptr(png);

    if (strncmp(message, "iCCP", 4) == 0 && strstr(message, "not permitted") == NULL)
        reader->profile_unread = true;
}

static png_voidp on_malloc(png_structp png, png_alloc_size_t bytes)
{
    struct reader *reader = png_get_mem_ptr(png);
    void *memory = fleck_alloc_array(bytes, 1);

    if (memory == NULL)
        reader->no_memory = true;
    return memory;
}

static void on_free(png_structp png, png_voidp memory)
{
    (void)png;
    fleck_free(memory);
}

static void on_read(png_structp png, png_bytep bytes, size_t count)
{
    struct reader *reader = png_get_io_ptr(png);

    if (!fleck_byte_cursor_take(&reader->cursor, bytes, count))
        png_error(png, "the file ends too early");
}

static fleck_status run(struct reader *reader, void (*step)(struct reader *, void *),
                        void *argument, fleck_error *err)
{
    if (setjmp(png_jmpbuf(reader->png)) == 0) {
        step(reader, argument);
        return FLECK_OK;
    }
    if (reader->no_memory)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to read a PNG; free some memory");
    return fleck_fail(err, FLECK_BAD_INPUT,
                      "is a damaged PNG (%s); copy it from its source or scan it again",
                      reader->message);
}

static void set_limits(struct reader *reader)
{
    /* texts may unpack to any size, and nothing of them is used */
    static const png_byte unread[] = "tEXt\0zTXt\0iTXt\0sPLT\0hIST\0pCAL\0sCAL\0oFFs\0bKGD";

    png_set_user_limits(reader->png, FLECK_SCAN_SIDE_LIMIT, FLECK_SCAN_SIDE_LIMIT);
    png_set_chunk_malloc_max(reader->png, FLECK_SCAN_ICC_LIMIT);
    png_set_keep_unknown_chunks(reader->png, PNG_HANDLE_CHUNK_NEVER, unread,
                                (int)(sizeof unread / 5));
    /* a damaged profile or resolution must not pass for a missing one */
    png_set_crc_action(reader->png, PNG_CRC_ERROR_QUIT, PNG_CRC_ERROR_QUIT);
}

static void read_colour_chunks(struct reader *reader, fleck_scan_info *info)
{
    png_charp name;
    png_bytep profile;
    png_uint_32 profile_bytes;
    png_fixed_point gamma;
    int how, intent;

    if (png_get_iCCP(reader->png, reader->info, &name, &how, &profile, &profile_bytes) != 0) {
        info->icc = profile;
        info->icc_bytes = profile_bytes;
    }
    info->srgb = png_get_sRGB(reader->png, reader->info, &intent) != 0;
    if (png_get_gAMA_fixed(reader->png, reader->info, &gamma) != 0)
        info->gamma = gamma / 100000.0;
}

static void read_place_chunks(struct reader *reader, fleck_scan_stored *stored)
{
    fleck_exif exif = { .orientation = 1 };
    png_uint_32 exif_bytes, x, y;
    png_bytep exif_data;
    int unit;

    if (png_get_eXIf_1(reader->png, reader->info, &exif_bytes, &exif_data) != 0)
        exif = fleck_exif_read(exif_data, exif_bytes);
    stored->orientation = exif.orientation;
    if (png_get_pHYs(reader->png, reader->info, &x, &y, &unit) != 0 &&
        unit == PNG_RESOLUTION_METER) {
        stored->info.ppi_x = fleck_scan_ppi(x * 0.0254, 2);
        stored->info.ppi_y = fleck_scan_ppi(y * 0.0254, 2);
    }
    if (stored->info.ppi_x == 0 && stored->info.ppi_y == 0) {
        stored->info.ppi_x = exif.ppi_x;
        stored->info.ppi_y = exif.ppi_y;
    }
}

static void read_palette(struct reader *reader)
{
    png_colorp colours;
    png_bytep alpha;
    png_color_16p unused;
    int count, alpha_count;

    if (png_get_PLTE(reader->png, reader->info, &colours, &count) == 0)
        png_error(reader->png, "it has no palette");
    if (png_get_tRNS(reader->png, reader->info, &alpha, &alpha_count, &unused) == 0)
        alpha_count = 0;
    reader->palette_colours = (size_t)count;
    reader->palette_samples = alpha_count > 0 ? 4 : 3;
    for (int i = 0; i < count; i++) {
        reader->palette[i][0] = colours[i].red;
        reader->palette[i][1] = colours[i].green;
        reader->palette[i][2] = colours[i].blue;
        reader->palette[i][3] = i < alpha_count ? alpha[i] : 255;
    }
}

static void step_read_header(struct reader *reader, void *unused)
{
    fleck_scan_stored *stored = reader->stored;
    fleck_scan_info *info = &stored->info;
    png_uint_32 width, height;
    int bits, colour, interlace;

    (void)unused;
    set_limits(reader);
    png_read_info(reader->png, reader->info);
    if (reader->profile_unread && !png_get_valid(reader->png, reader->info, PNG_INFO_iCCP))
        png_error(reader->png, "its colour profile is damaged or larger than 64 MiB");
    png_get_IHDR(reader->png, reader->info, &width, &height, &bits, &colour, &interlace, NULL,
                 NULL);
    info->width_px = reader->width_px = width;
    info->height_px = reader->height_px = height;
    info->bits = (unsigned)bits;
    info->sample_bytes = bits == 16 ? 2 : 1;
    info->channels = (colour & PNG_COLOR_MASK_COLOR) != 0 ? 3 : 1;
    info->has_alpha = (colour & PNG_COLOR_MASK_ALPHA) != 0 ||
                      png_get_valid(reader->png, reader->info, PNG_INFO_tRNS) != 0;
    stored->at_once = interlace != PNG_INTERLACE_NONE;
    read_colour_chunks(reader, info);
    read_place_chunks(reader, stored);
    if (colour == PNG_COLOR_TYPE_PALETTE) {
        read_palette(reader);
        info->has_alpha = reader->palette_samples == 4;
    }
}

/* libpng allocates its rows here, so this waits until the size was judged. */
static void start(struct reader *reader)
{
    const uint16_t one = 1;
    const int bits = png_get_bit_depth(reader->png, reader->info);

    if (reader->palette_samples > 0)
        png_set_packing(reader->png); /* indices; expanded here, libpng would not check them */
    else if (bits < 8)
        png_set_expand_gray_1_2_4_to_8(reader->png);
    if (reader->palette_samples == 0 &&
        png_get_valid(reader->png, reader->info, PNG_INFO_tRNS) != 0)
        png_set_tRNS_to_alpha(reader->png);
    if (bits == 16 && *(const uint8_t *)&one == 1)
        png_set_swap(reader->png);
    png_set_interlace_handling(reader->png);
    png_read_update_info(reader->png, reader->info);
    reader->started = true;
}

/* In place, from the right: the indices stand at the row's beginning. */
static void expand_palette(struct reader *reader, uint8_t *row)
{
    const size_t samples = reader->palette_samples;

    for (size_t x = reader->width_px; x-- > 0;) {
        const size_t index = row[x];

        if (index >= reader->palette_colours)
            png_error(reader->png, "a pixel has a colour that is not in the palette");
        memcpy(row + x * samples, reader->palette[index], samples);
    }
}

static void step_read_row(struct reader *reader, void *row)
{
    if (!reader->started)
        start(reader);
    png_read_row(reader->png, row, NULL);
    if (reader->palette_samples > 0)
        expand_palette(reader, row);
    /* the checksum of the last rows stands behind them: they count only when it is right */
    if (++reader->next_row == reader->height_px)
        png_read_end(reader->png, NULL);
}

static void step_read_all(struct reader *reader, void *rows)
{
    uint8_t *const pixels = rows;
    int passes;

    start(reader);
    passes = png_set_interlace_handling(reader->png);
    for (int pass = 0; pass < passes; pass++) {
        for (size_t y = 0; y < reader->height_px; y++)
            png_read_row(reader->png, pixels + y * reader->row_bytes, NULL);
    }
    png_read_end(reader->png, NULL);
    for (size_t y = 0; reader->palette_samples > 0 && y < reader->height_px; y++)
        expand_palette(reader, pixels + y * reader->row_bytes);
}

static fleck_status read_row(void *reader, void *row, fleck_error *err)
{
    return run(reader, step_read_row, row, err);
}

static fleck_status read_all(void *reader, void *rows, size_t row_bytes, fleck_error *err)
{
    ((struct reader *)reader)->row_bytes = row_bytes;
    return run(reader, step_read_all, rows, err);
}

static void close_reader(void *reader)
{
    struct reader *const one = reader;

    if (one == NULL)
        return;
    if (one->png != NULL)
        png_destroy_read_struct(&one->png, &one->info, NULL);
    fleck_free(one);
}

/* libpng's own word for a size of nothing is only "Invalid IHDR data". */
static fleck_status check_ihdr(const fleck_byte_source *source, fleck_error *err)
{
    uint8_t start_bytes[24];
    unsigned long width, height;

    if (fleck_byte_source_read(source, 0, start_bytes, sizeof start_bytes) != sizeof start_bytes)
        return FLECK_OK; /* libpng will say that it ends too early */
    width = png_get_uint_32(start_bytes + 16);
    height = png_get_uint_32(start_bytes + 20);
    if (width == 0 || height == 0)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "has no pixels, its size is %lu x %lu; save or scan it again", width,
                          height);
    if (width > FLECK_SCAN_SIDE_LIMIT || height > FLECK_SCAN_SIDE_LIMIT)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "claims %lu x %lu pixels, more than a PNG can have; it is damaged, copy "
                          "or scan it again",
                          width, height);
    return FLECK_OK;
}

/*
 * libpng reads to its end also what it then throws away, and takes memory for an Exif chunk before it
 * has read it. What is no chunk is left to it to tell.
 */
static fleck_status check_chunks(const fleck_byte_source *source, fleck_error *err)
{
    enum { MOST_LOOKED_AT = 4096 };
    uint64_t at = 8;

    for (int i = 0; i < MOST_LOOKED_AT; i++) {
        uint8_t head[8];
        unsigned long bytes;

        if (fleck_byte_source_read(source, at, head, sizeof head) != sizeof head ||
            memcmp(head + 4, "IDAT", 4) == 0)
            break;
        bytes = png_get_uint_32(head);
        if (bytes > FLECK_SCAN_ICC_LIMIT && bytes <= PNG_UINT_31_MAX)
            return fleck_fail(err, FLECK_BAD_INPUT,
                              "is a PNG with %lu MiB in one piece before its pixels; save it again "
                              "without what else it holds",
                              bytes >> 20);
        at += bytes + 12u; /* length, name and checksum */
        if (bytes <= PNG_UINT_31_MAX && at > fleck_byte_source_size(source))
            return fleck_fail(err, FLECK_BAD_INPUT,
                              "is a damaged PNG (the file ends too early); copy it from its source or "
                              "scan it again");
    }
    return FLECK_OK;
}

static fleck_status open_reader(const fleck_byte_source *source, size_t page,
                                fleck_scan_stored *stored, void **out, fleck_error *err)
{
    struct reader *reader;
    fleck_status status = check_ihdr(source, err);

    (void)page;
    if (status == FLECK_OK)
        status = check_chunks(source, err);
    if (status != FLECK_OK)
        return status;
    reader = fleck_alloc_zeroed(1, sizeof *reader);
    if (reader != NULL) {
        *out = reader; /* from here on the scan closes it */
        reader->cursor.source = source;
        reader->png = png_create_read_struct_2(PNG_LIBPNG_VER_STRING, reader, on_error, on_warning,
                                               reader, on_malloc, on_free);
        if (reader->png != NULL)
            reader->info = png_create_info_struct(reader->png);
    }
    if (reader == NULL || reader->info == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to read a PNG; free some memory");
    png_set_read_fn(reader->png, reader, on_read);
    stored->info.format = FLECK_SCAN_PNG;
    stored->info.page = stored->info.pages = 1;
    reader->stored = stored;
    status = run(reader, step_read_header, NULL, err);
    reader->stored = NULL;
    return status;
}

const fleck_scan_kind fleck_scan_png = {
    .open = open_reader,
    .read_row = read_row,
    .read_all = read_all,
    .close = close_reader,
};
