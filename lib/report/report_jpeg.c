/* SPDX-License-Identifier: GPL-3.0-or-later */
/* libjpeg ends the process on an error unless its handler is replaced: fenced in here. */
#include <setjmp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <jpeglib.h>

#include "core/memory.h"
#include "report/report_picture.h"

struct handler {
    struct jpeg_error_mgr manager; /* first: libjpeg hands out a pointer to it */
    jmp_buf back;
};

static void leave(j_common_ptr codec)
{
    struct handler *const handler = (struct handler *)(void *)codec->err;

    longjmp(handler->back, 1);
}

static void say_nothing(j_common_ptr codec)
{
    (void)codec;
}

bool jpeg_encode(const unsigned char *samples, size_t width, size_t height, int channels, int quality,
                 unsigned char **bytes, size_t *size)
{
    struct jpeg_compress_struct codec;
    struct handler handler;
    unsigned char *made = NULL; /* libjpeg's */
    unsigned long length = 0;

    *bytes = NULL;
    *size = 0;
    codec.err = jpeg_std_error(&handler.manager);
    handler.manager.error_exit = leave;
    handler.manager.output_message = say_nothing;
    if (setjmp(handler.back) != 0) {
        /* memory has run out; libjpeg may have moved its buffer without saying so */
        jpeg_destroy_compress(&codec);
        return false;
    }
    jpeg_create_compress(&codec);
    jpeg_mem_dest(&codec, &made, &length);
    codec.image_width = (JDIMENSION)width;
    codec.image_height = (JDIMENSION)height;
    codec.input_components = channels;
    codec.in_color_space = channels == 1 ? JCS_GRAYSCALE : JCS_RGB;
    jpeg_set_defaults(&codec);
    jpeg_set_quality(&codec, quality, TRUE);
    codec.optimize_coding = TRUE;
    /* halved colour would wash out lines of one pixel */
    codec.comp_info[0].h_samp_factor = 1;
    codec.comp_info[0].v_samp_factor = 1;
    jpeg_start_compress(&codec, TRUE);
    while (codec.next_scanline < codec.image_height) {
        JSAMPROW row = (JSAMPROW)(samples + (size_t)codec.next_scanline * width * (size_t)channels);

        jpeg_write_scanlines(&codec, &row, 1);
    }
    jpeg_finish_compress(&codec);
    jpeg_destroy_compress(&codec);
    *bytes = fleck_alloc_array(length, 1);
    if (*bytes != NULL) {
        memcpy(*bytes, made, length);
        *size = length;
    }
    free(made);
    return *bytes != NULL;
}
