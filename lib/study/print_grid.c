/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "study/print_grid.h"

#include <math.h>
#include <string.h>
#include <sys/stat.h>

#include "core/memory.h"
#include "core/text.h"
#include "fleck/calibration.h"
#include "fleck/scan.h"
#include "fleck/tone.h"
#include "study/study_table.h"

/* A finer grid shows no more of dots from 0.1 mm on, and is slower. Common practice, no source. */
static const double finest_cell_mm = 0.15, cell_px = 3;

enum { MOST_CELLS = 320 };

/* The part of a scan that becomes a grid. */
typedef struct scan_part {
    double left_mm, top_mm, cell_mm;
    size_t width, height; /* in cells */
    double pixel_x_mm, pixel_y_mm;
    size_t first_x_px, end_x_px, first_y_px, end_y_px;
} scan_part;

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to register prints; free some memory");
}

double fleck_print_grid_cell_mm(const fleck_study *study, const size_t *rows, size_t count)
{
    double cell_mm = finest_cell_mm;

    for (size_t i = 0; i < count; i++) {
        const fleck_study_row *const row = &study->rows[rows[i]];
        const double coarser = fmin(row->ppi_x, row->ppi_y);

        if (coarser > 0)
            cell_mm = fmax(cell_mm, cell_px * 25.4 / coarser);
    }
    return cell_mm;
}

/*
 * A path of a record as it can be opened now: as it stands there, or from the folder above the run. NULL
 * without memory.
 */
static char *find_file(const fleck_study *study, size_t row, const char *path)
{
    struct stat about;
    char *above;

    if (*path == '/' || stat(path, &about) == 0)
        return fleck_copy_text(path);
    above = fleck_study_join(fleck_study_run_path(study, fleck_study_run_of(study, row)), "..", path, "");
    if (above != NULL && stat(above, &about) != 0) {
        fleck_free(above);
        return fleck_copy_text(path);
    }
    return above;
}

/* Half the sides of the upright box that lies wholly inside a turned region, given the box around it. */
static bool inner_box(double tilt_deg, double *half_x_mm, double *half_y_mm)
{
    const double turn = tilt_deg * acos(-1) / 180, c = fabs(cos(turn)), s = fabs(sin(turn));
    const double w = (*half_x_mm * c - *half_y_mm * s) / (c * c - s * s);
    const double h = (*half_y_mm * c - *half_x_mm * s) / (c * c - s * s);
    const double part = fmin(w / (w * c + h * s), h / (w * s + h * c));

    *half_x_mm = part * w;
    *half_y_mm = part * h;
    return w > 0 && h > 0; /* not near 45 degrees, where the box does not tell the region */
}

static size_t pixel_from(double mm, double pixel_mm, size_t count_px)
{
    const double px = floor(mm / pixel_mm);

    return px <= 0 ? 0 : px >= (double)count_px ? count_px : (size_t)px;
}

static fleck_status place_window(const fleck_record *record, const fleck_scan_info *info,
                                 double cell_mm, scan_part *out, fleck_error *err)
{
    double half_x_mm = record->region.width_mm / 2, half_y_mm = record->region.height_mm / 2;
    const double centre_x_mm = record->region.x_mm + half_x_mm;
    const double centre_y_mm = record->region.y_mm + half_y_mm;
    const bool upright = record->settings.tilt_deg == 0 || isnan(record->settings.tilt_deg);

    if ((!upright && !inner_box(record->settings.tilt_deg, &half_x_mm, &half_y_mm)) ||
        !(2 * fmin(half_x_mm, half_y_mm) >= FLECK_REGISTER_LEAST_MM))
        return fleck_fail(err, FLECK_BAD_INPUT, "is too small to be laid over another print; measure "
                                                "%g mm by %g mm or more",
                          FLECK_REGISTER_LEAST_MM, FLECK_REGISTER_LEAST_MM);
    if (!(record->source.ppi_x > 0) || !(record->source.ppi_y > 0) ||
        record->source.width_px != (double)info->width_px ||
        record->source.height_px != (double)info->height_px)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "was measured from a scan of another size than the one that is there; measure "
                          "again");
    out->cell_mm = cell_mm;
    out->width = (size_t)fmin(floor(2 * half_x_mm / cell_mm), MOST_CELLS);
    out->height = (size_t)fmin(floor(2 * half_y_mm / cell_mm), MOST_CELLS);
    out->left_mm = centre_x_mm - (double)out->width * cell_mm / 2;
    out->top_mm = centre_y_mm - (double)out->height * cell_mm / 2;
    out->pixel_x_mm = 25.4 / record->source.ppi_x;
    out->pixel_y_mm = 25.4 / record->source.ppi_y;
    out->first_x_px = pixel_from(out->left_mm, out->pixel_x_mm, info->width_px);
    out->end_x_px = pixel_from(out->left_mm + (double)out->width * cell_mm + out->pixel_x_mm,
                               out->pixel_x_mm, info->width_px);
    out->first_y_px = pixel_from(out->top_mm, out->pixel_y_mm, info->height_px);
    out->end_y_px = pixel_from(out->top_mm + (double)out->height * cell_mm + out->pixel_y_mm,
                               out->pixel_y_mm, info->height_px);
    return out->end_x_px > out->first_x_px
               ? FLECK_OK
               : fleck_fail(err, FLECK_BAD_INPUT, "lies outside its scan; measure again");
}

/* The cell that a pixel's centre lies in; `count` for none. */
static size_t cell_of(size_t px, double pixel_mm, double start_mm, double cell_mm, size_t count)
{
    const double cell = floor((((double)px + 0.5) * pixel_mm - start_mm) / cell_mm);

    return cell >= 0 && cell < (double)count ? (size_t)cell : count;
}

static fleck_channel channel_of(const fleck_record *record)
{
    for (int channel = 0; record->settings.channel_used != NULL && channel < FLECK_CHANNELS; channel++) {
        if (strcmp(record->settings.channel_used, fleck_channel_name((fleck_channel)channel)) == 0)
            return (fleck_channel)channel;
    }
    return FLECK_CHANNEL_LUMINANCE; /* of a scan of one channel */
}

/* Count ink and pixels of each cell, row by row of the scan; shares takes ink, pixels the others. */
static fleck_status count_ink(fleck_scan *scan, const fleck_tone *tone, const fleck_record *record,
                              const scan_part *window, double *shares, uint32_t *pixels,
                              fleck_error *err)
{
    const fleck_scan_info *const info = fleck_scan_get_info(scan);
    const size_t count_px = window->end_x_px - window->first_x_px;
    const size_t pixel_bytes = (info->channels + info->has_alpha) * info->sample_bytes;
    const double k = floor(65535 * record->threshold.threshold_reflectance);
    const bool light = record->settings.ink != NULL && strcmp(record->settings.ink, "light") == 0;
    unsigned char *const row = fleck_alloc_array(fleck_scan_row_bytes(scan), 1);
    uint16_t *const q = fleck_alloc_array(count_px, sizeof *q);
    fleck_status status = row != NULL && q != NULL ? FLECK_OK : no_memory(err);

    for (size_t y = 0; status == FLECK_OK && y < window->end_y_px; y++) {
        const size_t cell_y = cell_of(y, window->pixel_y_mm, window->top_mm, window->cell_mm,
                                      window->height);

        status = fleck_scan_read_row(scan, row, err);
        if (status != FLECK_OK || y < window->first_y_px || cell_y == window->height)
            continue;
        fleck_tone_row_at(tone, channel_of(record), row + window->first_x_px * pixel_bytes, count_px,
                          window->first_x_px, y, q);
        for (size_t x = 0; x < count_px; x++) {
            const size_t cell_x = cell_of(window->first_x_px + x, window->pixel_x_mm, window->left_mm,
                                          window->cell_mm, window->width);

            if (cell_x == window->width)
                continue;
            shares[cell_y * window->width + cell_x] += ((double)q[x] <= k) != light;
            pixels[cell_y * window->width + cell_x]++;
        }
    }
    fleck_free(row);
    fleck_free(q);
    return status;
}

static fleck_status read_scan(const fleck_study *study, size_t row, const fleck_record *record,
                              double cell_mm, fleck_ink_grid *grid, fleck_error *err)
{
    char *const path = find_file(study, row, record->source.path);
    char *const calibration_path = record->settings.calibration != NULL
                                       ? find_file(study, row, record->settings.calibration)
                                       : NULL;
    fleck_calibration calibration;
    fleck_warnings warnings = { 0 };
    fleck_scan *scan = NULL;
    fleck_tone *tone = NULL;
    double *shares = NULL;
    uint32_t *pixels = NULL;
    scan_part window = { 0 };
    fleck_status status;

    fleck_calibration_init(&calibration);
    if (path == NULL || (record->settings.calibration != NULL && calibration_path == NULL)) {
        status = no_memory(err);
        goto done;
    }
    if (calibration_path != NULL &&
        (status = fleck_calibration_read(calibration_path, &calibration, err)) != FLECK_OK)
        goto done;
    if ((status = fleck_scan_open(path, (size_t)fmax(record->settings.page, 1), &scan, err)) != FLECK_OK ||
        (status = fleck_tone_new(fleck_scan_get_info(scan),
                                 calibration_path != NULL ? &calibration : NULL, &tone, &warnings,
                                 err)) != FLECK_OK ||
        (status = place_window(record, fleck_scan_get_info(scan), cell_mm, &window, err)) != FLECK_OK)
        goto done;
    shares = fleck_alloc_zeroed(window.width * window.height, sizeof *shares);
    pixels = fleck_alloc_zeroed(window.width * window.height, sizeof *pixels);
    status = shares != NULL && pixels != NULL
                 ? count_ink(scan, tone, record, &window, shares, pixels, err)
                 : no_memory(err);
    for (size_t i = 0; status == FLECK_OK && i < window.width * window.height; i++)
        shares[i] = pixels[i] > 0 ? shares[i] / pixels[i] : 0;
    if (status == FLECK_OK)
        status = fleck_ink_grid_from(shares, window.width, window.height, cell_mm, grid, err);
done:
    fleck_free(shares);
    fleck_free(pixels);
    fleck_tone_free(tone);
    fleck_scan_close(scan);
    fleck_warnings_clear(&warnings);
    fleck_calibration_clear(&calibration);
    fleck_free(calibration_path);
    fleck_free(path);
    return status;
}

fleck_status fleck_print_grid_read(const fleck_study *study, size_t row, double cell_mm,
                                   fleck_ink_grid *grid, fleck_error *err)
{
    fleck_record record;
    fleck_error inner = { 0 };
    fleck_status status;

    *grid = (fleck_ink_grid){ 0 };
    status = fleck_study_read_record(study, row, &record, &inner);
    if (status == FLECK_OK && record.settings.mask != NULL)
        status = fleck_fail(&inner, FLECK_BAD_INPUT,
                            "was measured under a mask, whose outline all prints share; measure a region "
                            "without one");
    else if (status == FLECK_OK &&
             (record.source.path == NULL || isnan(record.threshold.threshold_reflectance)))
        status = fleck_fail(&inner, FLECK_BAD_INPUT,
                            "has no threshold, so that nothing tells its ink; measure again");
    if (status == FLECK_OK)
        status = read_scan(study, row, &record, cell_mm, grid, &inner);
    if (status != FLECK_OK)
        fleck_fail(err, status, "%.100s: %s", fleck_study_id(study, row), inner.message);
    fleck_record_clear(&record);
    return status;
}
