/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * JPEG through libjpeg, with its defaults (slow integer DCT, smooth upsampling), which are those of
 * every common decoder. What libjpeg only warns of, a file that ends early or data that do not fit,
 * is an error here: it would go on with made-up pixels. libjpeg leaves by longjmp; the one setjmp
 * stands in run(), and the steps it runs own nothing.
 */
#include "io/scan_reader.h"

#include <limits.h>
#include <setjmp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <jpeglib.h>
#include <jerror.h>

#include "core/memory.h"
#include "io/exif.h"

/* Each scan of a progressive file costs a pass over the image; encoders make some 10 of them. */
enum { MAX_SCANS = 500 };

/* A profile takes 16 MiB at most in the 255 parts it may have; libjpeg holds all parts in memory. */
enum { MAX_HEADER_BYTES = 32 << 20 };

struct reader {
    struct jpeg_decompress_struct jpeg; /* first: its address is the reader's in callbacks */
    struct jpeg_error_mgr errors;
    struct jpeg_source_mgr input;
    struct jpeg_progress_mgr progress;
    jmp_buf leave;
    const fleck_byte_source *source;
    uint64_t offset;           /* of the next block to read */
    fleck_scan_stored *stored; /* while the header is read */
    JOCTET *profile;
    bool started;
    bool too_many_scans;
    bool long_header;
    JOCTET buffer[32768];
};

static void on_error(j_common_ptr jpeg)
{
    longjmp(((struct reader *)jpeg)->leave, 1);
}

static void on_message(j_common_ptr jpeg, int level)
{
    if (level >= 0 || jpeg->err->msg_code == JWRN_JFIF_MAJOR ||
        jpeg->err->msg_code == JWRN_ADOBE_XFORM)
        return; /* tracing, and a version number that changes no pixel */
    on_error(jpeg);
}

static void on_output(j_common_ptr jpeg)
{
    (void)jpeg;
}

static void on_progress(j_common_ptr jpeg)
{
    struct reader *reader = (struct reader *)jpeg;

    if (reader->jpeg.input_scan_number > MAX_SCANS) {
        reader->too_many_scans = true;
        on_error(jpeg);
    }
}

static void on_source(j_decompress_ptr jpeg)
{
    (void)jpeg;
}

static boolean on_fill(j_decompress_ptr jpeg)
{
    struct reader *reader = (struct reader *)jpeg;
    const size_t got = fleck_byte_source_read(reader->source, reader->offset, reader->buffer,
                                              sizeof reader->buffer);

    if (reader->stored != NULL && reader->offset > MAX_HEADER_BYTES) {
        reader->long_header = true;
        on_error((j_common_ptr)jpeg);
    }
    if (got == 0)
        ERREXIT(jpeg, JERR_INPUT_EOF);
    reader->offset += got;
    reader->input.next_input_byte = reader->buffer;
    reader->input.bytes_in_buffer = got;
    return TRUE;
}

static void on_skip(j_decompress_ptr jpeg, long count)
{
    struct reader *reader = (struct reader *)jpeg;
    const size_t skipped = count > 0 ? (size_t)count : 0;

    if (skipped <= reader->input.bytes_in_buffer) {
        reader->input.next_input_byte += skipped;
        reader->input.bytes_in_buffer -= skipped;
    } else {
        reader->offset += skipped - reader->input.bytes_in_buffer;
        reader->input.bytes_in_buffer = 0;
    }
}

static fleck_status report(struct reader *reader, fleck_error *err)
{
    char message[JMSG_LENGTH_MAX];

    if (reader->too_many_scans)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "is a JPEG of more than %d passes, which no encoder makes; save it again",
                          MAX_SCANS);
    if (reader->long_header)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "is a JPEG with more than %d MiB before its pixels; save it again without "
                          "what else it holds",
                          MAX_HEADER_BYTES >> 20);
    switch (reader->errors.msg_code) {
    case JERR_OUT_OF_MEMORY:
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to read a JPEG; free some memory");
    case JERR_NO_BACKING_STORE:
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "is a progressive JPEG too large to be held in memory; save it without "
                          "progressive display, or as PNG or TIFF");
    case JERR_EMPTY_IMAGE:
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "has no pixels, one side of its size is 0; save or scan it again");
    case JERR_IMAGE_TOO_BIG:
        return fleck_fail(
            err, FLECK_BAD_INPUT,
            "is a JPEG with a side of more than %d pixels, which is not read; save it "
            "as PNG or TIFF",
            reader->errors.msg_parm.i[0]);
    case JERR_BAD_PRECISION:
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "is a JPEG of %d bits per sample, which is not read; save it as PNG or "
                          "TIFF",
                          reader->errors.msg_parm.i[0]);
    case JERR_SOF_UNSUPPORTED:
        return fleck_fail(
            err, FLECK_BAD_INPUT,
            "is a JPEG of a kind that is not read (process 0x%02x); save it as PNG or "
            "TIFF",
            (unsigned)reader->errors.msg_parm.i[0]);
    default:
        reader->errors.format_message((j_common_ptr)&reader->jpeg, message);
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "is a damaged JPEG (%s); copy it from its source or scan it again",
                          message);
    }
}

static fleck_status run(struct reader *reader, void (*step)(struct reader *, void *),
                        void *argument, fleck_error *err)
{
    if (setjmp(reader->leave) == 0) {
        step(reader, argument);
        return FLECK_OK;
    }
    return report(reader, err);
}

/*
 * Quality from 1 to 100 whose luminance table is nearest to the file's.
 * Source: ITU-T T.81 (1992), Annex K, table K.1, scaled as the Independent JPEG Group's library
 * does.
 */
static unsigned estimate_quality(const JQUANT_TBL *table)
{
    static const unsigned char annex_k1[DCTSIZE2] = {
        16, 11, 10, 16, 24,  40,  51,  61,  12, 12, 14, 19, 26,  58,  60,  55, //
        14, 13, 16, 24, 40,  57,  69,  56,  14, 17, 22, 29, 51,  87,  80,  62, //
        18, 22, 37, 56, 68,  109, 103, 77,  24, 35, 55, 64, 81,  104, 113, 92, //
        49, 64, 78, 87, 103, 121, 120, 101, 72, 92, 95, 98, 112, 100, 103, 99,
    };
    long least = LONG_MAX;
    unsigned best = 0;

    for (int quality = 1; table != NULL && quality <= 100; quality++) {
        const int percent = quality < 50 ? 5000 / quality : 200 - 2 * quality;
        long apart = 0;

        for (size_t i = 0; i < DCTSIZE2; i++) {
            const int scaled = (annex_k1[i] * percent + 50) / 100;

            apart += labs((long)table->quantval[i] - (scaled < 1     ? 1
                                                      : scaled > 255 ? 255
                                                                     : scaled));
        }
        if (apart < least) {
            least = apart;
            best = (unsigned)quality;
        }
    }
    return best;
}

static void read_place(struct reader *reader, fleck_scan_stored *stored)
{
    const struct jpeg_decompress_struct *jpeg = &reader->jpeg;
    fleck_exif exif = { .orientation = 1 };

    for (jpeg_saved_marker_ptr marker = jpeg->marker_list; marker != NULL; marker = marker->next) {
        if (marker->marker == JPEG_APP0 + 1 && marker->data_length > 6 &&
            memcmp(marker->data, "Exif\0", 6) == 0) {
            exif = fleck_exif_read(marker->data, marker->data_length);
            break;
        }
    }
    stored->orientation = exif.orientation;
    if (jpeg->saw_JFIF_marker) {
        /* JFIF counts its units from 0 (none), TIFF and Exif from 1 */
        stored->info.ppi_x = fleck_scan_ppi(jpeg->X_density, jpeg->density_unit + 1);
        stored->info.ppi_y = fleck_scan_ppi(jpeg->Y_density, jpeg->density_unit + 1);
    }
    if (stored->info.ppi_x == 0 && stored->info.ppi_y == 0) {
        stored->info.ppi_x = exif.ppi_x;
        stored->info.ppi_y = exif.ppi_y;
    }
}

static void step_read_header(struct reader *reader, void *unused)
{
    struct jpeg_decompress_struct *jpeg = &reader->jpeg;
    fleck_scan_info *info = &reader->stored->info;
    unsigned profile_bytes;

    (void)unused;
    jpeg_create_decompress(jpeg);
    jpeg->src = &reader->input;
    jpeg->progress = &reader->progress;
    jpeg->mem->max_memory_to_use =
        (long)fleck_scan_memory_limit(fleck_byte_source_size(reader->source));
    jpeg_save_markers(jpeg, JPEG_APP0 + 1, 0xffff);
    jpeg_save_markers(jpeg, JPEG_APP0 + 2, 0xffff);
    jpeg_read_header(jpeg, TRUE);
    info->width_px = jpeg->image_width;
    info->height_px = jpeg->image_height;
    info->bits = 8;
    info->sample_bytes = 1;
    switch (jpeg->jpeg_color_space) {
    case JCS_GRAYSCALE:
        info->channels = 1;
        jpeg->out_color_space = JCS_GRAYSCALE;
        break;
    case JCS_RGB:
    case JCS_YCbCr:
        info->channels = 3;
        jpeg->out_color_space = JCS_RGB;
        break;
    case JCS_CMYK:
    case JCS_YCCK:
        info->channels = 4;
        jpeg->out_color_space = JCS_CMYK;
        break;
    default:
        break; /* no channels: refused by the caller */
    }
    /* libjpeg checks this number only when it decodes */
    if (jpeg->comp_info[0].quant_tbl_no >= 0 && jpeg->comp_info[0].quant_tbl_no < NUM_QUANT_TBLS)
        info->jpeg_quality =
            estimate_quality(jpeg->quant_tbl_ptrs[jpeg->comp_info[0].quant_tbl_no]);
    for (int i = 1; i < jpeg->num_components; i++) {
        info->jpeg_halved_colour =
            info->jpeg_halved_colour ||
            jpeg->comp_info[i].h_samp_factor < jpeg->comp_info[0].h_samp_factor ||
            jpeg->comp_info[i].v_samp_factor < jpeg->comp_info[0].v_samp_factor;
    }
    read_place(reader, reader->stored);
    if (jpeg_read_icc_profile(jpeg, &reader->profile, &profile_bytes)) {
        info->icc = reader->profile;
        info->icc_bytes = profile_bytes;
    }
}

static void step_read_row(struct reader *reader, void *row)
{
    struct jpeg_decompress_struct *jpeg = &reader->jpeg;
    JSAMPROW rows[1] = { row };

    if (!reader->started) {
        jpeg_start_decompress(jpeg);
        reader->started = true;
    }
    jpeg_read_scanlines(jpeg, rows, 1);
    if (jpeg->out_color_space == JCS_CMYK && jpeg->saw_Adobe_marker) {
        /* Adobe's programs store how much light is left, not how much ink there is */
        for (size_t i = 0; i < (size_t)jpeg->output_width * 4; i++)
            rows[0][i] = (JSAMPLE)(255 - rows[0][i]);
    }
    /* what is left over before the end mark tells of damage further up */
    if (jpeg->output_scanline == jpeg->output_height)
        jpeg_finish_decompress(jpeg);
}

static fleck_status read_row(void *reader, void *row, fleck_error *err)
{
    return run(reader, step_read_row, row, err);
}

static void close_reader(void *reader)
{
    struct reader *const one = reader;

    if (one == NULL)
        return;
    jpeg_destroy_decompress(&one->jpeg);
    fleck_free(one->profile);
    fleck_free(one);
}

static fleck_status open_reader(const fleck_byte_source *source, size_t page,
                                fleck_scan_stored *stored, void **out, fleck_error *err)
{
    struct reader *reader = fleck_alloc_zeroed(1, sizeof *reader);
    fleck_status status;

    (void)page;
    if (reader == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to read a JPEG; free some memory");
    *out = reader; /* from here on the scan closes it */
    reader->jpeg.err = jpeg_std_error(&reader->errors);
    reader->errors.error_exit = on_error;
    reader->errors.emit_message = on_message;
    reader->errors.output_message = on_output;
    reader->input.init_source = on_source;
    reader->input.fill_input_buffer = on_fill;
    reader->input.skip_input_data = on_skip;
    reader->input.resync_to_restart = jpeg_resync_to_restart;
    reader->input.term_source = on_source;
    reader->progress.progress_monitor = on_progress;
    reader->source = source;
    reader->stored = stored;
    stored->info.format = FLECK_SCAN_JPEG;
    stored->info.page = stored->info.pages = 1;
    status = run(reader, step_read_header, NULL, err);
    reader->stored = NULL;
    if (status == FLECK_OK && stored->info.channels == 0)
        status = fleck_fail(err, FLECK_BAD_INPUT,
                            "is a JPEG of %d components, neither grey, RGB nor CMYK; save it as "
                            "PNG or TIFF",
                            reader->jpeg.num_components);
    return status;
}

const fleck_scan_kind fleck_scan_jpeg = {
    .open = open_reader,
    .read_row = read_row,
    .close = close_reader,
};
