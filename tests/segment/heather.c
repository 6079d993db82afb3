/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "segment/heather.h"

#include <stdio.h>

#include <leptonica/allheaders.h>

#include "support/check.h"

/* Source: numpy, scipy and scikit-image, see tests/data/heather/README.md. */
const struct heather heather_images[HEATHER_IMAGES] = {
    { "fine", 778, 1570, 601525, 0.4924639366004617, 57, 16, 123185, 560379, 18244, 18523,
      65.4418364294068, 67.44471944950635, 49 },
    { "medium", 256, 512, 64499, 0.49208831787109375, 56, 13, 13199, 60238, 5922, 5949,
      21.733299637772724, 22.432145564821834, 49 },
    { "coarse", 100, 200, 10011, 0.50055, 58, 13, 1999, 8994, 2415, 2280, 8.529073482428116,
      8.510330138445154, 51 },
};

struct mask heather_read(const struct heather *image)
{
    char path[1024];
    struct mask mask;
    PIX *pix;

    snprintf(path, sizeof path, "%s/heather/heather_%s.png", FLECK_TEST_DATA, image->name);
    pix = pixRead(path);
    if (pix == NULL)
        fail_msg("cannot read %s", path);
    assert_int_equal(pixGetDepth(pix), 1);
    mask = mask_new((size_t)pixGetWidth(pix), (size_t)pixGetHeight(pix));
    for (size_t y = 0; y < mask.height_px; y++) {
        for (size_t x = 0; x < mask.width_px; x++) {
            l_uint32 black; /* leptonica's 1 is black */

            pixGetPixel(pix, (l_int32)x, (l_int32)y, &black);
            mask.ink[y * mask.width_px + x] = (uint8_t)black;
        }
    }
    pixDestroy(&pix);
    return mask;
}
