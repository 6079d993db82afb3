/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A rectangle along rows and columns is a box and nothing more. A turned one, or a part of a mask,
 * is drawn into a mask of its box, which then is cut down to what is inside; if that is a whole box
 * again, the mask goes.
 */
#include "record/patch_area.h"

#include <math.h>

#include "calibrate/scan_area.h"
#include "segment/mask_distance.h"
#include "segment/mask_words.h"
#include "segment/tilted_box.h"

/* What is asked for, on one scan. */
struct request {
    const fleck_scan_info *info;
    double pixel_x_mm, pixel_y_mm;
    double margin_mm;
    fleck_box_mm region;     /* as asked for */
    fleck_tilted_box inside; /* without the margin, quarter turns done */
};

const fleck_box_mm *fleck_patch_region(const fleck_input *input,
                                       const fleck_measure_options *options)
{
    if (input->has_region)
        return &input->region;
    return options->has_region ? &options->region : NULL;
}

double fleck_patch_tilt_deg(const fleck_input *input, const fleck_measure_options *options)
{
    if (input->has_region)
        return input->tilt_deg;
    return options->has_region ? options->tilt_deg : 0;
}

static bool cover_box(const struct request *request, double left_mm, double right_mm, double top_mm,
                      double bottom_mm, fleck_patch_box *box)
{
    const fleck_scan_info *const info = request->info;

    return fleck_span_to_pixels(left_mm, right_mm, request->pixel_x_mm, info->width_px,
                                &box->left_px, &box->width_px) &&
           fleck_span_to_pixels(top_mm, bottom_mm, request->pixel_y_mm, info->height_px,
                                &box->top_px, &box->height_px);
}

static bool cover_tilted(const struct request *request, const fleck_tilted_box *tilted,
                         fleck_patch_box *box)
{
    const fleck_box_mm bounds = fleck_tilted_box_bounds(tilted);

    return tilted->box.width_mm > 0 && tilted->box.height_mm > 0 &&
           cover_box(request, bounds.x_mm, bounds.x_mm + bounds.width_mm, bounds.y_mm,
                     bounds.y_mm + bounds.height_mm, box);
}

/* The box of the region less its margin. */
static fleck_status find_box(struct request *request, double tilt_deg, fleck_patch_box *box,
                             fleck_error *err)
{
    const fleck_box_mm *const region = &request->region;
    const double margin_mm = request->margin_mm;
    fleck_box_mm *const inside = &request->inside.box;
    bool left_over = false;

    request->inside = fleck_tilted_box_upright(*region, tilt_deg);
    if (!cover_tilted(request, &request->inside, box))
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "region %g,%g,%g,%g mm%s is empty or reaches outside the scan, which is "
                          "%.4g x %.4g mm; give a region inside it",
                          region->x_mm, region->y_mm, region->width_mm, region->height_mm,
                          tilt_deg != 0 ? ", tilted," : "",
                          (double)request->info->width_px * request->pixel_x_mm,
                          (double)request->info->height_px * request->pixel_y_mm);
    if (!(margin_mm > 0))
        return FLECK_OK;
    /* without a tilt from both sides, as the definition has it, which can differ by a rounding */
    if (request->inside.tilt_deg == 0)
        left_over = cover_box(request, inside->x_mm + margin_mm,
                              inside->x_mm + inside->width_mm - margin_mm, inside->y_mm + margin_mm,
                              inside->y_mm + inside->height_mm - margin_mm, box);
    *inside = (fleck_box_mm){ inside->x_mm + margin_mm, inside->y_mm + margin_mm,
                              inside->width_mm - 2 * margin_mm, inside->height_mm - 2 * margin_mm };
    if (request->inside.tilt_deg != 0)
        left_over = cover_tilted(request, &request->inside, box);
    if (!left_over)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "a margin of %g mm leaves nothing of %.4g x %.4g mm; give a smaller "
                          "--margin",
                          margin_mm, region->width_mm, region->height_mm);
    return FLECK_OK;
}

/* Pixels that a margin can reach over, and one more. */
static size_t reach_px(double margin_mm, double pixel_mm, size_t limit_px)
{
    const double reach = ceil(margin_mm / pixel_mm) + 1;

    return reach < (double)limit_px ? (size_t)reach : limit_px;
}

/* The part of the scan's mask that lies in the box, the margin taken off. */
static fleck_status crop_shrunk(const struct request *request, const fleck_mask *whole,
                                const fleck_patch_box *box, fleck_mask **out, fleck_error *err)
{
    const double px = request->pixel_x_mm, py = request->pixel_y_mm;
    const size_t reach_x = reach_px(request->margin_mm, px, whole->width_px);
    const size_t reach_y = reach_px(request->margin_mm, py, whole->height_px);
    const size_t left = box->left_px > reach_x ? box->left_px - reach_x : 0;
    const size_t top = box->top_px > reach_y ? box->top_px - reach_y : 0;
    const size_t right = box->left_px + box->width_px, bottom = box->top_px + box->height_px;
    fleck_mask *around = NULL, *shrunk = NULL;
    fleck_status status;

    if (!(request->margin_mm > 0))
        return fleck_mask_crop(whole, box->left_px, box->top_px, box->width_px, box->height_px, out,
                               err);
    *out = NULL;
    status = fleck_mask_crop(
        whole, left, top,
        (whole->width_px - right > reach_x ? right + reach_x : whole->width_px) - left,
        (whole->height_px - bottom > reach_y ? bottom + reach_y : whole->height_px) - top, &around,
        err);
    if (status == FLECK_OK)
        status = fleck_mask_shrink(around, px, py, request->margin_mm, &shrunk, err);
    if (status == FLECK_OK)
        status = fleck_mask_crop(shrunk, box->left_px - left, box->top_px - top, box->width_px,
                                 box->height_px, out, err);
    fleck_mask_free(around);
    fleck_mask_free(shrunk);
    return status;
}

/* Draw what of the box is inside. */
static fleck_status draw(const struct request *request, const fleck_mask *whole,
                         fleck_patch_area *area, fleck_error *err)
{
    const fleck_patch_box *const box = &area->box;
    fleck_mask *part = NULL;
    fleck_status status = fleck_mask_new(box->width_px, box->height_px, &area->mask, err);

    if (status != FLECK_OK)
        return status;
    if (request->inside.tilt_deg != 0)
        fleck_tilted_box_draw(&request->inside, box->left_px, box->top_px, request->pixel_x_mm,
                              request->pixel_y_mm, area->mask);
    else
        for (size_t y = 0; y < box->height_px; y++)
            fleck_mask_add_run(area->mask, y, 0, box->width_px);
    if (whole == NULL)
        return FLECK_OK;
    status = crop_shrunk(request, whole, box, &part, err);
    if (status == FLECK_OK)
        fleck_mask_keep(area->mask, part);
    fleck_mask_free(part);
    return status;
}

/* Cut the box down to the pixels inside, and drop a mask that is all of it. */
static fleck_status tighten(fleck_patch_area *area, fleck_error *err)
{
    fleck_mask *const loose = area->mask;
    size_t left, top, width, height;
    fleck_status status = FLECK_OK;

    if (!fleck_mask_extent(loose, &left, &top, &width, &height))
        return fleck_fail(
            err, FLECK_BAD_INPUT,
            "region, margin and mask leave no pixel to measure; check that the mask is "
            "white where the region lies");
    if (width < area->box.width_px || height < area->box.height_px) {
        status = fleck_mask_crop(loose, left, top, width, height, &area->mask, err);
        fleck_mask_free(loose);
        area->box =
            (fleck_patch_box){ area->box.left_px + left, area->box.top_px + top, width, height };
    }
    if (status == FLECK_OK && fleck_mask_unless_full(area->mask) == NULL) {
        fleck_mask_free(area->mask);
        area->mask = NULL;
    }
    return status;
}

fleck_status fleck_patch_area_find(const fleck_input *input, const fleck_measure_options *options,
                                   const fleck_scan_info *info, const fleck_scan_mask *scan_mask,
                                   double pixel_x_mm, double pixel_y_mm, fleck_patch_area *out,
                                   fleck_error *err)
{
    const fleck_box_mm *const asked = fleck_patch_region(input, options);
    const fleck_mask *const whole = scan_mask != NULL ? scan_mask->mask : NULL;
    struct request request = {
        .info = info,
        .pixel_x_mm = pixel_x_mm,
        .pixel_y_mm = pixel_y_mm,
        .margin_mm = options->margin_mm,
        .region = { 0, 0, (double)info->width_px * pixel_x_mm,
                    (double)info->height_px * pixel_y_mm },
    };
    fleck_status status;

    *out = (fleck_patch_area){ .mask = NULL };
    if (asked != NULL)
        request.region = *asked;
    if (whole != NULL && (whole->width_px != info->width_px || whole->height_px != info->height_px))
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "is %zu x %zu pixels, the mask %zu x %zu; give a mask of the scan's size",
                          info->width_px, info->height_px, whole->width_px, whole->height_px);
    status = find_box(&request, fleck_patch_tilt_deg(input, options), &out->box, err);
    if (status != FLECK_OK || (request.inside.tilt_deg == 0 && whole == NULL))
        return status;
    status = draw(&request, whole, out, err);
    return status == FLECK_OK ? tighten(out, err) : status;
}

void fleck_patch_area_clear(fleck_patch_area *area)
{
    if (area == NULL)
        return;
    fleck_mask_free(area->mask);
    area->mask = NULL;
}
