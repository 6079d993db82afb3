/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A scan whose rows the caller of the library hands over. */
#include <math.h>

#include "core/memory.h"
#include "core/versioned.h"
#include "io/scan_reader.h"

struct reader {
    fleck_row_source source;
    size_t next_row;
};

void fleck_row_source_init(fleck_row_source *source, size_t struct_bytes)
{
    const fleck_row_source defaults = { .sample_bytes = 1, .channels = 1 };

    fleck_versioned_init(source, struct_bytes, &defaults, sizeof defaults);
}

static bool is_ppi(double ppi)
{
    return ppi >= 1 && ppi <= 1e6;
}

static fleck_status check(const fleck_row_source *source, fleck_error *err)
{
    size_t bytes;

    if (source->read_row == NULL)
        return fleck_fail(err, FLECK_BAD_CALL, "the source has no function that reads a row; give one");
    if (source->width_px == 0 || source->width_px > FLECK_SCAN_SIDE_LIMIT || source->height_px == 0 ||
        source->height_px > FLECK_SCAN_SIDE_LIMIT)
        return fleck_fail(err, FLECK_BAD_CALL, "%zu x %zu pixels make no scan; give sides of 1 to %u",
                          source->width_px, source->height_px, FLECK_SCAN_SIDE_LIMIT);
    if (source->sample_bytes != 1 && source->sample_bytes != 2)
        return fleck_fail(err, FLECK_BAD_CALL, "a sample has %u bytes; give 1 or 2", source->sample_bytes);
    if (source->channels != 1 && source->channels != 3)
        return fleck_fail(err, FLECK_BAD_CALL, "a pixel has %u colours; give 1 for grey or 3 for RGB",
                          source->channels);
    if (!(source->ppi_x == 0 && source->ppi_y == 0) && !(is_ppi(source->ppi_x) && is_ppi(source->ppi_y)))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a resolution of %g x %g ppi makes no sense; give 1 to 1000000, or 0 for both",
                          source->ppi_x, source->ppi_y);
    if (!(source->gamma >= 0 && isfinite(source->gamma)))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a gamma of %g makes no sense; give an exponent such as 0.45455, or 0",
                          source->gamma);
    if ((source->icc != NULL) != (source->icc_bytes > 0) || source->icc_bytes > FLECK_SCAN_ICC_LIMIT)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a profile of %zu bytes cannot be used; give at most %d, or no profile",
                          source->icc_bytes, FLECK_SCAN_ICC_LIMIT);
    if (!size_mul(source->width_px, 4 * sizeof(uint16_t), &bytes) ||
        !size_mul(bytes, source->height_px, &bytes))
        return fleck_fail(err, FLECK_BAD_CALL, "%zu x %zu pixels are too many; hand over a part at a time",
                          source->width_px, source->height_px);
    return FLECK_OK;
}

fleck_status fleck_scan_rows_take(const fleck_row_source *source, fleck_row_source *known,
                                  fleck_error *err)
{
    fleck_status status;

    *known = fleck_row_source_default();
    status = fleck_versioned_take(source, known, sizeof *known, "members of the source", err);
    return status == FLECK_OK ? check(known, err) : status;
}

/* A failure of the caller's as the library hands it on: of a kind that a scan has, and never mute. */
static fleck_status hand_on(fleck_status status, fleck_error *why, const char *what, fleck_error *err)
{
    if (status == FLECK_OK)
        return FLECK_OK;
    if (status != FLECK_NO_RESOURCE)
        status = FLECK_BAD_INPUT;
    if (why->message[0] == '\0')
        return fleck_fail(err, status, "its source gives no %s and does not say why; look into the source", what);
    return fleck_fail(err, status, "%s", why->message);
}

fleck_status fleck_scan_rows_open(const fleck_row_source *source, fleck_scan_stored *stored,
                                  void **reader, fleck_error *err)
{
    fleck_row_source known;
    fleck_error why = { 0 };
    struct reader *one;
    fleck_status status = fleck_scan_rows_take(source, &known, err);

    if (status == FLECK_OK && known.start != NULL)
        status = hand_on(known.start(known.context, &why), &why, "beginning", err);
    if (status != FLECK_OK)
        return status;
    one = fleck_alloc_zeroed(1, sizeof *one);
    if (one == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to open a scan; free some memory");
    one->source = known;
    *stored = (fleck_scan_stored){
        .info = { .format = FLECK_SCAN_ROWS,
                  .width_px = known.width_px,
                  .height_px = known.height_px,
                  .bits = 8 * known.sample_bytes,
                  .sample_bytes = known.sample_bytes,
                  .channels = known.channels,
                  .has_alpha = known.has_alpha,
                  .ppi_x = known.ppi_x,
                  .ppi_y = known.ppi_y,
                  .icc = known.icc,
                  .icc_bytes = known.icc_bytes,
                  .srgb = known.srgb,
                  .gamma = known.gamma,
                  .page = 1,
                  .pages = 1 },
        .orientation = 1,
    };
    *reader = one;
    return FLECK_OK;
}

static fleck_status read_row(void *reader, void *row, fleck_error *err)
{
    struct reader *const one = reader;
    fleck_error why = { 0 };

    return hand_on(one->source.read_row(one->source.context, one->next_row++, row, &why), &why, "row", err);
}

static void close_reader(void *reader)
{
    fleck_free(reader);
}

const fleck_scan_kind fleck_scan_rows = { .read_row = read_row, .close = close_reader };
