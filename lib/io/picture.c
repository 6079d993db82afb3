/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Both formats are written in one pass through one stream, so that a picture needs the memory of
 * one row only. libpng leaves by longjmp on an error, which stays inside write_png; libtiff gets a
 * handler of its own for each file, so that nothing is printed and nothing global changes.
 * Sources: PNG (ISO/IEC 15948), TIFF 6.0.
 */
#include "io/picture.h"

#include <math.h>
#include <png.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>
#include <sys/types.h>
#include <tiffio.h>

#include "core/memory.h"
#include "io/whole_file.h"

enum {
    MAX_SIDE_PX = 1000000, /* libpng's own limit */
    MAX_PPI = 1000000
};

bool fleck_picture_format_from_name(const char *path, fleck_picture_format *format)
{
    static const struct {
        const char *ending;
        fleck_picture_format format;
    } endings[] = {
        { ".png", FLECK_PICTURE_PNG },
        { ".tif", FLECK_PICTURE_TIFF },
        { ".tiff", FLECK_PICTURE_TIFF },
    };
    const size_t length = strlen(path);

    for (size_t i = 0; i < sizeof endings / sizeof *endings; i++) {
        const size_t tail = strlen(endings[i].ending);

        if (length > tail && strcasecmp(path + length - tail, endings[i].ending) == 0) {
            *format = endings[i].format;
            return true;
        }
    }
    return false;
}

static fleck_status check(const fleck_picture *picture, fleck_error *err)
{
    if (picture->width_px < 1 || picture->width_px > MAX_SIDE_PX || picture->height_px < 1 ||
        picture->height_px > MAX_SIDE_PX)
        return fleck_fail(
            err, FLECK_BAD_CALL,
            "a picture of %zu x %zu pixels cannot be written; give sides from 1 to %d",
            picture->width_px, picture->height_px, MAX_SIDE_PX);
    if (picture->channels != 1 && picture->channels != 3)
        return fleck_fail(err, FLECK_BAD_CALL, "channels is %u; give 1 or 3", picture->channels);
    if (picture->bits != 8 && picture->bits != 16)
        return fleck_fail(err, FLECK_BAD_CALL, "bits is %u; give 8 or 16", picture->bits);
    if (picture->palette_count > 0 &&
        (picture->palette_count > 256 || picture->format != FLECK_PICTURE_PNG ||
         picture->channels != 1 || picture->bits != 8))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a palette does not fit this picture; give up to 256 colours of a PNG of "
                          "1 channel and 8 bits");
    if (!(picture->ppi_x >= 0 && picture->ppi_x <= MAX_PPI && picture->ppi_y >= 0 &&
          picture->ppi_y <= MAX_PPI) ||
        (picture->ppi_x > 0) != (picture->ppi_y > 0))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "the resolution is out of range; give 0 or up to %d ppi for both axes",
                          MAX_PPI);
    return FLECK_OK;
}

/* ---- PNG ---- */

/* First cause of a failure; libpng and libtiff speak to it through their handlers. */
struct fault {
    char message[256];
};

static void keep(struct fault *fault, const char *message)
{
    if (fault->message[0] == '\0')
        snprintf(fault->message, sizeof fault->message, "%s", message);
}

static void png_failed(png_structp png, png_const_charp message)
{
    keep(png_get_error_ptr(png), message);
    png_longjmp(png, 1);
}

static void png_warned(png_structp png, png_const_charp message)
{
    (void)png;
    (void)message;
}

static void png_put(png_structp png, png_bytep bytes, size_t count)
{
    if (fwrite(bytes, 1, count, png_get_io_ptr(png)) != count)
        png_error(png, "the disk refuses more bytes");
}

static void png_flush_nothing(png_structp png)
{
    (void)png;
}

static bool little_endian(void)
{
    const uint16_t one = 1;

    return *(const uint8_t *)&one == 1;
}

static int png_colour_type(const fleck_picture *picture)
{
    if (picture->palette_count > 0)
        return PNG_COLOR_TYPE_PALETTE;
    return picture->channels == 1 ? PNG_COLOR_TYPE_GRAY : PNG_COLOR_TYPE_RGB;
}

static void set_png_palette(png_structp png, png_infop info, const fleck_picture *picture)
{
    png_color colours[256];

    for (size_t i = 0; i < picture->palette_count; i++)
        colours[i] = (png_color){ picture->palette[i][0], picture->palette[i][1],
                                  picture->palette[i][2] };
    png_set_PLTE(png, info, colours, (int)picture->palette_count);
}

static fleck_status write_png(FILE *stream, const fleck_picture *picture, void *samples,
                              fleck_picture_row row, void *context, fleck_error *err)
{
    struct fault fault = { "" };
    png_structp png = NULL;
    png_infop info = NULL;
    volatile fleck_status status = FLECK_OK;

    png = png_create_write_struct(PNG_LIBPNG_VER_STRING, &fault, png_failed, png_warned);
    if (png != NULL)
        info = png_create_info_struct(png);
    if (info == NULL) {
        png_destroy_write_struct(&png, NULL);
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to write a PNG; free some memory");
    }
    if (setjmp(png_jmpbuf(png)) != 0) {
        png_destroy_write_struct(&png, &info);
        return fleck_fail(err, FLECK_NO_RESOURCE,
                          "the PNG cannot be written (%s); make room and "
                          "try again",
                          fault.message);
    }
    png_set_write_fn(png, stream, png_put, png_flush_nothing);
    png_set_IHDR(png, info, (png_uint_32)picture->width_px, (png_uint_32)picture->height_px,
                 (int)picture->bits, png_colour_type(picture), PNG_INTERLACE_NONE,
                 PNG_COMPRESSION_TYPE_DEFAULT, PNG_FILTER_TYPE_DEFAULT);
    if (picture->palette_count > 0)
        set_png_palette(png, info, picture);
    if (picture->srgb)
        png_set_sRGB_gAMA_and_cHRM(png, info, PNG_sRGB_INTENT_RELATIVE);
    if (picture->ppi_x > 0)
        png_set_pHYs(png, info, (png_uint_32)lround(picture->ppi_x / 0.0254),
                     (png_uint_32)lround(picture->ppi_y / 0.0254), PNG_RESOLUTION_METER);
    png_write_info(png, info);
    if (picture->bits == 16 && little_endian())
        png_set_swap(png);
    for (size_t y = 0; status == FLECK_OK && y < picture->height_px; y++) {
        status = row(context, y, samples, err);
        if (status == FLECK_OK)
            png_write_row(png, samples);
    }
    if (status == FLECK_OK)
        png_write_end(png, info);
    png_destroy_write_struct(&png, &info);
    return status;
}

/* ---- TIFF ---- */

static int tiff_failed(TIFF *tiff, void *context, const char *module, const char *format,
                       va_list arguments)
{
    char message[256];

    (void)tiff;
    (void)module;
    vsnprintf(message, sizeof message, format, arguments);
    keep(context, message);
    return 1;
}

static int tiff_warned(TIFF *tiff, void *context, const char *module, const char *format,
                       va_list arguments)
{
    (void)tiff;
    (void)context;
    (void)module;
    (void)format;
    (void)arguments;
    return 1;
}

static tmsize_t tiff_get(thandle_t stream, void *bytes, tmsize_t count)
{
    return (tmsize_t)fread(bytes, 1, (size_t)count, stream);
}

static tmsize_t tiff_put(thandle_t stream, void *bytes, tmsize_t count)
{
    return (tmsize_t)fwrite(bytes, 1, (size_t)count, stream);
}

static toff_t tiff_seek(thandle_t stream, toff_t offset, int from)
{
    if (fseeko(stream, (off_t)offset, from) != 0)
        return (toff_t)-1;
    return (toff_t)ftello(stream);
}

static int tiff_close_nothing(thandle_t stream)
{
    (void)stream;
    return 0;
}

static toff_t tiff_size(thandle_t stream)
{
    const off_t here = ftello(stream);
    off_t end;

    if (here < 0 || fseeko(stream, 0, SEEK_END) != 0)
        return 0;
    end = ftello(stream);
    (void)fseeko(stream, here, SEEK_SET);
    return end < 0 ? 0 : (toff_t)end;
}

static int tiff_map_nothing(thandle_t stream, void **base, toff_t *size)
{
    (void)stream;
    (void)base;
    (void)size;
    return 0;
}

static void tiff_unmap_nothing(thandle_t stream, void *base, toff_t size)
{
    (void)stream;
    (void)base;
    (void)size;
}

static bool set_tiff_tags(TIFF *tiff, const fleck_picture *picture)
{
    bool good =
        TIFFSetField(tiff, TIFFTAG_IMAGEWIDTH, (uint32_t)picture->width_px) &&
        TIFFSetField(tiff, TIFFTAG_IMAGELENGTH, (uint32_t)picture->height_px) &&
        TIFFSetField(tiff, TIFFTAG_BITSPERSAMPLE, (int)picture->bits) &&
        TIFFSetField(tiff, TIFFTAG_SAMPLESPERPIXEL, (int)picture->channels) &&
        TIFFSetField(tiff, TIFFTAG_ORIENTATION, (int)ORIENTATION_TOPLEFT) &&
        TIFFSetField(tiff, TIFFTAG_PLANARCONFIG, (int)PLANARCONFIG_CONTIG) &&
        TIFFSetField(tiff, TIFFTAG_PHOTOMETRIC,
                     (int)(picture->channels == 1 ? PHOTOMETRIC_MINISBLACK : PHOTOMETRIC_RGB)) &&
        TIFFSetField(tiff, TIFFTAG_COMPRESSION, (int)COMPRESSION_ADOBE_DEFLATE) &&
        TIFFSetField(tiff, TIFFTAG_PREDICTOR, (int)PREDICTOR_HORIZONTAL) &&
        TIFFSetField(tiff, TIFFTAG_ROWSPERSTRIP, TIFFDefaultStripSize(tiff, 0));

    if (picture->ppi_x > 0)
        good = good && TIFFSetField(tiff, TIFFTAG_RESOLUTIONUNIT, (int)RESUNIT_INCH) &&
               TIFFSetField(tiff, TIFFTAG_XRESOLUTION, picture->ppi_x) &&
               TIFFSetField(tiff, TIFFTAG_YRESOLUTION, picture->ppi_y);
    return good;
}

static fleck_status write_tiff(FILE *stream, const fleck_picture *picture, void *samples,
                               fleck_picture_row row, void *context, fleck_error *err)
{
    /* a classic TIFF ends at 4 GiB; deflate may add a little, so the big form starts well below */
    const double bytes = (double)picture->width_px * (double)picture->height_px *
                         (double)(picture->channels * (picture->bits / 8));
    const char *mode = bytes > 3.5e9 ? "w8" : "w";
    struct fault fault = { "" };
    TIFFOpenOptions *handlers = TIFFOpenOptionsAlloc();
    TIFF *tiff = NULL;
    bool good = true;
    fleck_status status = FLECK_OK;

    if (handlers != NULL) {
        TIFFOpenOptionsSetErrorHandlerExtR(handlers, tiff_failed, &fault);
        TIFFOpenOptionsSetWarningHandlerExtR(handlers, tiff_warned, &fault);
        tiff = TIFFClientOpenExt("picture", mode, stream, tiff_get, tiff_put, tiff_seek,
                                 tiff_close_nothing, tiff_size, tiff_map_nothing,
                                 tiff_unmap_nothing, handlers);
        TIFFOpenOptionsFree(handlers);
    }
    if (tiff == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to write a TIFF; free some memory");
    good = set_tiff_tags(tiff, picture);
    for (size_t y = 0; good && status == FLECK_OK && y < picture->height_px; y++) {
        status = row(context, y, samples, err);
        if (status == FLECK_OK)
            good = TIFFWriteScanline(tiff, samples, (uint32_t)y, 0) == 1;
    }
    if (good && status == FLECK_OK)
        good = TIFFWriteDirectory(tiff) == 1;
    TIFFClose(tiff);
    /* a late failure of the last write shows only in the handler */
    if (status == FLECK_OK && (!good || fault.message[0] != '\0'))
        status =
            fleck_fail(err, FLECK_NO_RESOURCE,
                       "the TIFF cannot be written (%s); make room and try again", fault.message);
    return status;
}

/* ---- both ---- */

fleck_status fleck_picture_write(const char *path, const fleck_picture *picture,
                                 fleck_picture_row row, void *context, fleck_error *err)
{
    fleck_whole_file *file = NULL;
    void *samples = NULL;
    fleck_status status;

    if ((status = check(picture, err)) != FLECK_OK)
        goto done;
    samples = fleck_alloc_array(picture->width_px, (size_t)picture->channels * (picture->bits / 8));
    if (samples == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for one row; free some memory");
        goto done;
    }
    if ((status = fleck_whole_file_begin(path, &file, err)) != FLECK_OK)
        goto done;
    if (picture->format == FLECK_PICTURE_PNG)
        status = write_png(fleck_whole_file_stream(file), picture, samples, row, context, err);
    else
        status = write_tiff(fleck_whole_file_stream(file), picture, samples, row, context, err);
    if (status == FLECK_OK) {
        status = fleck_whole_file_commit(file, err);
        file = NULL; /* gone in any case */
    }
done:
    fleck_whole_file_abandon(file);
    fleck_free(samples);
    return status;
}

struct in_memory {
    const unsigned char *samples;
    size_t row_bytes;
};

static fleck_status copy_row(void *context, size_t y, void *samples, fleck_error *err)
{
    const struct in_memory *memory = context;

    (void)err;
    memcpy(samples, memory->samples + y * memory->row_bytes, memory->row_bytes);
    return FLECK_OK;
}

fleck_status fleck_picture_write_samples(const char *path, const fleck_picture *picture,
                                         const void *samples, fleck_error *err)
{
    struct in_memory memory = {
        .samples = samples,
        .row_bytes = picture->width_px * picture->channels * (picture->bits / 8),
    };

    return fleck_picture_write(path, picture, copy_row, &memory, err);
}
