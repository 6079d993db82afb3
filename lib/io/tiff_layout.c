/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "io/tiff_layout.h"

#include <math.h>

#include "io/tiff_handle.h"

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
    const unsigned code = fleck_tiff_short_tag(tiff, TIFFTAG_COMPRESSION, COMPRESSION_NONE);
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
    switch (fleck_tiff_short_tag(tiff, TIFFTAG_SAMPLEFORMAT, SAMPLEFORMAT_UINT)) {
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

/* Find the colour samples and what is to be done with them. */
static fleck_status read_colours(TIFF *tiff, double photometric, fleck_tiff_layout *layout,
                                 fleck_error *err)
{
    const unsigned compression = fleck_tiff_short_tag(tiff, TIFFTAG_COMPRESSION, COMPRESSION_NONE);

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
        if (fleck_tiff_short_tag(tiff, TIFFTAG_INKSET, INKSET_CMYK) != INKSET_CMYK)
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

fleck_status fleck_tiff_layout_read(TIFF *tiff, double photometric, fleck_tiff_layout *layout,
                                    fleck_error *err)
{
    fleck_status status;

    *layout = (fleck_tiff_layout){ 0 };
    layout->bits = fleck_tiff_short_tag(tiff, TIFFTAG_BITSPERSAMPLE, 1);
    layout->samples = fleck_tiff_short_tag(tiff, TIFFTAG_SAMPLESPERPIXEL, 1);
    layout->planar = layout->samples > 1 &&
                     fleck_tiff_short_tag(tiff, TIFFTAG_PLANARCONFIG, PLANARCONFIG_CONTIG) ==
                         PLANARCONFIG_SEPARATE;
    status = check_samples(tiff, layout->bits, err);
    if (status == FLECK_OK)
        status = check_compression(tiff, err);
    if (status == FLECK_OK)
        status = read_colours(tiff, photometric, layout, err);
    if (status == FLECK_OK)
        read_alpha(tiff, layout);
    return status;
}
