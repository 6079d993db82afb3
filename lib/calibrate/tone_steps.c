/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A grey scale of known densities gives points (code, reflectance); the curve goes through all of
 * them, so that its fit is told by leaving each one out in turn. Source: ISO 14524 for the curve,
 * ISO 5-4 for density; leaving one out: Stone (1974), J. R. Stat. Soc. B 36.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "calibrate/calibration.h"
#include "calibrate/calibration_names.h"
#include "calibrate/step_codes.h"
#include "core/memory.h"
#include "io/csv.h"

enum { LEAST_STEPS = 4, MOST_STEPS = 300 };

/* Common practice, no source: a step with more pixels than this at an end of the code range has a
   mean that the end has shifted. */
static const double clipped_share = 0.05;

static const double misfit_density = 0.05;

/* A row of the table of steps. */
struct row {
    double reflectance;
    char *scan; /* as it is opened, NULL: the target's */
    fleck_box_mm box;
    fleck_code_sums sums;
    bool measured;
    size_t index;
};

struct table {
    struct row *rows;
    size_t count;
    bool has_boxes;
};

static void clear_table(struct table *table)
{
    for (size_t i = 0; i < table->count; i++)
        fleck_free(table->rows[i].scan);
    fleck_free(table->rows);
    *table = (struct table){ 0 };
}

/* A name in a table's cell, seen from the table's folder. */
static char *path_from(const char *table_path, const char *name)
{
    const char *const slash = strrchr(table_path, '/');
    const size_t folder = slash != NULL && name[0] != '/' ? (size_t)(slash - table_path) + 1 : 0;
    const size_t length = strlen(name);
    char *path = fleck_alloc_array(folder + length + 1, 1);

    if (path != NULL) {
        memcpy(path, table_path, folder);
        memcpy(path + folder, name, length + 1);
    }
    return path;
}

/* Columns of the table; SIZE_MAX when there is none. */
struct columns {
    size_t density, reflectance, scan, box[4];
};

static fleck_status find_columns(const fleck_csv *csv, struct columns *columns, fleck_error *err)
{
    static const char *const box_names[4] = { "x", "y", "width", "height" };
    size_t boxes = 0;

    *columns = (struct columns){ SIZE_MAX, SIZE_MAX, SIZE_MAX, { 0 } };
    (void)fleck_csv_find_column(csv, "density", &columns->density);
    (void)fleck_csv_find_column(csv, "reflectance", &columns->reflectance);
    (void)fleck_csv_find_column(csv, "scan", &columns->scan);
    for (size_t i = 0; i < 4; i++) {
        columns->box[i] = SIZE_MAX;
        boxes += fleck_csv_find_column(csv, box_names[i], &columns->box[i]);
    }
    if ((columns->density == SIZE_MAX) == (columns->reflectance == SIZE_MAX))
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "the table of steps has %s; give one column density, or reflectance",
                          columns->density == SIZE_MAX ? "neither density nor reflectance"
                                                       : "both density and reflectance");
    if (boxes != 0 && boxes != 4)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "the table of steps has %zu of the columns x, y, width, height; give all "
                          "four, in mm, or none",
                          boxes);
    return FLECK_OK;
}

static fleck_status read_row(const fleck_csv *csv, size_t at, const struct columns *columns,
                             const char *path, struct row *row, fleck_error *err)
{
    const bool by_density = columns->density != SIZE_MAX;
    const char *const cell =
        fleck_csv_cell(csv, at, by_density ? columns->density : columns->reflectance);
    double box[4] = { 0 };
    double value;

    if (!fleck_csv_number(csv, cell, &value))
        return fleck_fail(err, FLECK_BAD_INPUT, "line %zu: the %s is no number; correct it",
                          fleck_csv_line(csv, at), by_density ? "density" : "reflectance");
    row->reflectance = by_density ? pow(10, -value) : value;
    if (!(row->reflectance >= 1e-6 && row->reflectance <= 1.2))
        return fleck_fail(err, FLECK_BAD_INPUT, "line %zu: a %s of %g is none that paper has; %s",
                          fleck_csv_line(csv, at), by_density ? "density" : "reflectance", value,
                          by_density ? "give one from -0.07 to 6" : "give a share from 0 to 1");
    for (size_t i = 0; i < 4 && columns->box[i] != SIZE_MAX; i++) {
        if (!fleck_csv_number(csv, fleck_csv_cell(csv, at, columns->box[i]), &box[i]))
            return fleck_fail(err, FLECK_BAD_INPUT,
                              "line %zu: x, y, width or height is no number; give the box in mm",
                              fleck_csv_line(csv, at));
    }
    row->box = (fleck_box_mm){ box[0], box[1], box[2], box[3] };
    if (columns->scan != SIZE_MAX && *fleck_csv_cell(csv, at, columns->scan) != '\0') {
        row->scan = path_from(path, fleck_csv_cell(csv, at, columns->scan));
        if (row->scan == NULL)
            return fleck_calibration_no_memory(err);
    }
    return FLECK_OK;
}

static fleck_status read_table(const char *path, struct table *table, fleck_error *err)
{
    fleck_csv *csv = NULL;
    struct columns columns;
    fleck_status status = fleck_csv_read(path, &csv, err);
    size_t count;

    if (status != FLECK_OK)
        return status;
    count = fleck_csv_row_count(csv) - 1;
    status = find_columns(csv, &columns, err);
    if (status == FLECK_OK && (count < LEAST_STEPS || count > MOST_STEPS))
        status =
            fleck_fail(err, FLECK_BAD_INPUT,
                       "the table has %zu steps; a curve needs %d or more, and no more than %d",
                       count, LEAST_STEPS, MOST_STEPS);
    if (status == FLECK_OK) {
        table->rows = fleck_alloc_zeroed(count, sizeof *table->rows);
        table->count = table->rows != NULL ? count : 0;
        table->has_boxes = columns.box[0] != SIZE_MAX;
        if (table->rows == NULL)
            status = fleck_calibration_no_memory(err);
    }
    for (size_t i = 0; status == FLECK_OK && i < count; i++) {
        table->rows[i].index = i;
        status = read_row(csv, i + 1, &columns, path, &table->rows[i], err);
    }
    fleck_csv_free(csv);
    return status;
}

/* The scan's name stands in the message, since the path of the call is the table's. */
static fleck_status name_scan(const char *path, fleck_status status, const fleck_error *inner,
                              fleck_error *err)
{
    return fleck_fail(err, status, "scan %s: %s", path, inner->message);
}

static const char *scan_of(const struct row *row, const fleck_tone_target *target)
{
    return row->scan != NULL ? row->scan : target->scan.path;
}

/* All steps of one scan at a time; without boxes there is only one scan. */
static fleck_status measure_scan(fleck_calibration *calibration, struct table *table, size_t start,
                                 const fleck_tone_target *target, fleck_warnings *warnings,
                                 fleck_error *err)
{
    const char *const path = scan_of(&table->rows[start], target);
    const fleck_scan_area scan = { .path = path, .page = target->scan.page };
    fleck_box_mm *boxes = fleck_alloc_array(table->count, sizeof *boxes);
    fleck_code_sums *sums = fleck_alloc_array(table->count, sizeof *sums);
    fleck_error inner = { 0 };
    size_t count = 0, at = 0;
    fleck_status status = FLECK_OK;

    if (boxes == NULL || sums == NULL) {
        status = fleck_calibration_no_memory(err);
        goto done;
    }
    for (size_t i = start; i < table->count; i++) {
        if (strcmp(scan_of(&table->rows[i], target), path) == 0)
            boxes[count++] = table->rows[i].box;
    }
    if (table->has_boxes)
        status = fleck_codes_of_boxes(calibration, &scan, boxes, count, sums, warnings, &inner);
    else
        status =
            fleck_codes_of_strip(calibration, &scan, target->has_strip ? target->strip_mm : NULL,
                                 count, sums, warnings, &inner);
    if (status != FLECK_OK) {
        status = name_scan(path, status, &inner, err);
        goto done;
    }
    for (size_t i = start; i < table->count; i++) {
        if (strcmp(scan_of(&table->rows[i], target), path) == 0) {
            table->rows[i].sums = sums[at++];
            table->rows[i].measured = true;
        }
    }
done:
    fleck_free(boxes);
    fleck_free(sums);
    return status;
}

static double mean_code(const fleck_code_sums *sums)
{
    return (double)(sums->sum[0] + sums->sum[1] + sums->sum[2]) / (double)sums->pixels;
}

/* A whole scan may show the strip from its other end: the lightest step tells. */
static fleck_status turn_strip(struct table *table, fleck_warnings *warnings, fleck_error *err)
{
    const struct row *light = &table->rows[0], *dark = light;

    for (size_t i = 1; i < table->count; i++) {
        if (table->rows[i].reflectance > light->reflectance)
            light = &table->rows[i];
        if (table->rows[i].reflectance < dark->reflectance)
            dark = &table->rows[i];
    }
    if (mean_code(&light->sums) >= mean_code(&dark->sums))
        return FLECK_OK;
    for (size_t i = 0; i < table->count / 2; i++) {
        const fleck_code_sums swap = table->rows[i].sums;

        table->rows[i].sums = table->rows[table->count - 1 - i].sums;
        table->rows[table->count - 1 - i].sums = swap;
    }
    return fleck_warnings_add(
        warnings, err, "steps-reversed",
        "the strip was read from its other end, where the scan is light; name "
        "the line with --strip if the scan is a negative");
}

static fleck_status measure_steps(fleck_calibration *calibration, struct table *table,
                                  const fleck_tone_target *target, fleck_warnings *warnings,
                                  fleck_error *err)
{
    fleck_status status = FLECK_OK;

    for (size_t i = 0; i < table->count; i++) {
        if (scan_of(&table->rows[i], target) == NULL)
            return fleck_fail(err, FLECK_BAD_CALL,
                              "step %zu names no scan; give --scan, or a column scan", i + 1);
        if (!table->has_boxes &&
            strcmp(scan_of(&table->rows[i], target), scan_of(&table->rows[0], target)) != 0)
            return fleck_fail(err, FLECK_BAD_INPUT,
                              "steps on several scans need boxes; add columns x, y, width, height");
    }
    for (size_t i = 0; status == FLECK_OK && i < table->count; i++) {
        if (!table->rows[i].measured)
            status = measure_scan(calibration, table, i, target, warnings, err);
    }
    if (status == FLECK_OK && !table->has_boxes && !target->has_strip)
        status = turn_strip(table, warnings, err);
    return status;
}

static int by_falling_reflectance(const void *a, const void *b)
{
    const struct row *const left = a, *const right = b;

    if (left->reflectance != right->reflectance)
        return left->reflectance > right->reflectance ? -1 : 1;
    return left->index < right->index ? -1 : 1;
}

/* The steps from light to dark; rows of the same reflectance become one step. */
static fleck_status make_steps(const struct table *table, unsigned channels, double full,
                               fleck_calibration_tone *tone, fleck_error *err)
{
    tone->steps = fleck_alloc_zeroed(table->count, sizeof *tone->steps);
    if (tone->steps == NULL)
        return fleck_calibration_no_memory(err);
    for (size_t i = 0, next; i < table->count; i = next) {
        fleck_tone_step *const step = &tone->steps[tone->step_count++];
        fleck_code_sums sums = table->rows[i].sums;

        for (next = i + 1;
             next < table->count && table->rows[next].reflectance == table->rows[i].reflectance;
             next++) {
            sums.pixels += table->rows[next].sums.pixels;
            for (unsigned c = 0; c < channels; c++) {
                sums.sum[c] += table->rows[next].sums.sum[c];
                sums.square[c] += table->rows[next].sums.square[c];
                sums.dark[c] += table->rows[next].sums.dark[c];
                sums.light[c] += table->rows[next].sums.light[c];
            }
        }
        step->reflectance = table->rows[i].reflectance;
        step->density = fleck_tone_density(step->reflectance);
        for (unsigned c = 0; c < channels; c++) {
            const double n = (double)sums.pixels;
            const double mean = (double)sums.sum[c] / n;
            const double variance = (double)sums.square[c] / n - mean * mean;

            step->code[c] = mean / full;
            step->code_sd[c] = variance > 0 ? sqrt(variance) / full : 0;
            step->residual_density[c] = NAN;
            if ((double)sums.dark[c] > clipped_share * n)
                step->clipped[c] = FLECK_CLIP_DARK;
            else if ((double)sums.light[c] > clipped_share * n)
                step->clipped[c] = FLECK_CLIP_LIGHT;
        }
    }
    return FLECK_OK;
}

static fleck_status warn_clipped(const fleck_calibration *calibration,
                                 const fleck_calibration_tone *tone, unsigned c, fleck_clip end,
                                 fleck_warnings *warnings, fleck_error *err)
{
    double least = INFINITY, most = -INFINITY;
    size_t count = 0;

    for (size_t i = 0; i < tone->step_count; i++) {
        if (tone->steps[i].clipped[c] != end)
            continue;
        least = fmin(least, tone->steps[i].density);
        most = fmax(most, tone->steps[i].density);
        count++;
    }
    if (count == 0)
        return FLECK_OK;
    return fleck_warnings_add(
        warnings, err, "step-clipped",
        "%zu step%s of density %.3g to %.3g (%s) %s at the %s end of the codes and no part of the "
        "curve; scan %s if such tones matter",
        count, count > 1 ? "s" : "", least, most, fleck_colour_name(calibration->channels, c),
        count > 1 ? "are" : "is", end == FLECK_CLIP_DARK ? "dark" : "light",
        end == FLECK_CLIP_DARK ? "lighter" : "darker");
}

static fleck_status check_rising(const fleck_calibration_tone *tone, unsigned c, const size_t *used,
                                 size_t count, const char *colour, fleck_error *err)
{
    const fleck_tone_step *const lightest = &tone->steps[used[0]];
    const fleck_tone_step *const darkest = &tone->steps[used[count - 1]];

    if (lightest->code[c] == darkest->code[c])
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "the lightest and the darkest step have the same code %.4g (%s); check "
                          "where the steps lie",
                          lightest->code[c], colour);
    if (lightest->code[c] < darkest->code[c])
        return fleck_fail(
            err, FLECK_BAD_INPUT,
            "light steps have lower codes than dark ones (%s): the scan is a negative, "
            "or the steps run the other way; invert the scan or turn the strip round",
            colour);
    for (size_t i = 1; i < count; i++) {
        const fleck_tone_step *const light = &tone->steps[used[i - 1]];
        const fleck_tone_step *const dark = &tone->steps[used[i]];

        if (!(light->code[c] > dark->code[c]))
            return fleck_fail(
                err, FLECK_BAD_INPUT,
                "the step of density %.4g has the code %.5g and the lighter one of "
                "%.4g has %.5g (%s): codes must rise with lightness; check both steps "
                "or leave one out",
                dark->density, dark->code[c], light->density, light->code[c], colour);
    }
    return FLECK_OK;
}

/* Density by the curve without point `left_out`, at that point's code. */
static double density_without(const fleck_tone_curve *curve, size_t left_out,
                              fleck_tone_curve *others)
{
    others->count = 0;
    for (size_t i = 0; i < curve->count; i++) {
        if (i == left_out)
            continue;
        others->code[others->count] = curve->code[i];
        others->reflectance[others->count++] = curve->reflectance[i];
    }
    return fleck_tone_density(fleck_tone_curve_at(others, curve->code[left_out]));
}

static fleck_status fit_curve(fleck_calibration_tone *tone, unsigned c, const char *colour,
                              fleck_error *err)
{
    fleck_tone_curve *const curve = &tone->curves[c];
    fleck_tone_curve others = { 0 };
    size_t *used = fleck_alloc_array(tone->step_count, sizeof *used);
    size_t count = 0;
    fleck_status status = FLECK_OK;

    curve->code = fleck_alloc_array(tone->step_count, sizeof *curve->code);
    curve->reflectance = fleck_alloc_array(tone->step_count, sizeof *curve->reflectance);
    others.code = fleck_alloc_array(tone->step_count, sizeof *others.code);
    others.reflectance = fleck_alloc_array(tone->step_count, sizeof *others.reflectance);
    if (used == NULL || curve->code == NULL || curve->reflectance == NULL || others.code == NULL ||
        others.reflectance == NULL) {
        status = fleck_calibration_no_memory(err);
        goto done;
    }
    for (size_t i = 0; i < tone->step_count; i++) {
        if (tone->steps[i].clipped[c] == FLECK_CLIP_NONE)
            used[count++] = i;
    }
    if (count < LEAST_STEPS) {
        status = fleck_fail(err, FLECK_BAD_INPUT,
                            "only %zu different steps can be used (%s), %zu are clipped; a curve "
                            "needs %d or more",
                            count, colour, tone->step_count - count, LEAST_STEPS);
        goto done;
    }
    status = check_rising(tone, c, used, count, colour, err);
    if (status != FLECK_OK)
        goto done;
    curve->count = count;
    for (size_t i = 0; i < count; i++) {
        const fleck_tone_step *const step = &tone->steps[used[count - 1 - i]];

        curve->code[i] = step->code[c];
        curve->reflectance[i] = step->reflectance;
    }
    /* pixels of the end steps themselves, with their noise, are not outside */
    curve->low_code = fmax(0, curve->code[0] - 3 * tone->steps[used[count - 1]].code_sd[c]);
    curve->high_code = fmin(1, curve->code[count - 1] + 3 * tone->steps[used[0]].code_sd[c]);
    for (size_t i = 1; i + 1 < count; i++) {
        fleck_tone_step *const step = &tone->steps[used[count - 1 - i]];

        step->residual_density[c] = density_without(curve, i, &others) - step->density;
    }
done:
    fleck_free(used);
    fleck_free(others.code);
    fleck_free(others.reflectance);
    return status;
}

static fleck_status warn_misfit(const fleck_calibration_tone *tone, unsigned channels,
                                fleck_warnings *warnings, fleck_error *err)
{
    const fleck_tone_step *worst = NULL;
    double most = misfit_density;

    for (size_t i = 0; i < tone->step_count; i++) {
        for (unsigned c = 0; c < channels; c++) {
            /* false for NAN */
            if (fabs(tone->steps[i].residual_density[c]) > most) {
                most = fabs(tone->steps[i].residual_density[c]);
                worst = &tone->steps[i];
            }
        }
    }
    if (worst == NULL)
        return FLECK_OK;
    return fleck_warnings_add(
        warnings, err, "step-misfit",
        "the step of density %.3g is off by %.2g from what its neighbours say; "
        "check it, or take a grey scale with more steps",
        worst->density, most);
}

static void clear_tone(fleck_calibration_tone *tone)
{
    fleck_free(tone->steps);
    for (size_t c = 0; c < FLECK_COLOURS; c++) {
        fleck_free(tone->curves[c].code);
        fleck_free(tone->curves[c].reflectance);
    }
    *tone = (fleck_calibration_tone){ 0 };
}

fleck_status fleck_calibrate_tone(fleck_calibration *calibration, const fleck_tone_target *target,
                                  fleck_warnings *warnings, fleck_error *err)
{
    fleck_calibration_tone tone = { 0 };
    struct table table = { 0 };
    fleck_status status;

    if (calibration->evenness.width_px > 0 || calibration->paper.present)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "evenness and paper rest on the curve; calibrate the tone before them");
    status = read_table(target->steps_csv, &table, err);
    if (status == FLECK_OK)
        status = measure_steps(calibration, &table, target, warnings, err);
    if (status != FLECK_OK)
        goto done;
    qsort(table.rows, table.count, sizeof *table.rows, by_falling_reflectance);
    status =
        make_steps(&table, calibration->channels, calibration->bits == 8 ? 255 : 65535, &tone, err);
    for (unsigned c = 0; status == FLECK_OK && c < calibration->channels; c++) {
        status = fit_curve(&tone, c, fleck_colour_name(calibration->channels, c), err);
        if (status == FLECK_OK)
            status = warn_clipped(calibration, &tone, c, FLECK_CLIP_LIGHT, warnings, err);
        if (status == FLECK_OK)
            status = warn_clipped(calibration, &tone, c, FLECK_CLIP_DARK, warnings, err);
    }
    if (status == FLECK_OK)
        status = warn_misfit(&tone, calibration->channels, warnings, err);
    if (status == FLECK_OK) {
        clear_tone(&calibration->tone);
        calibration->tone = tone;
        tone = (fleck_calibration_tone){ 0 };
    }
done:
    clear_tone(&tone);
    clear_table(&table);
    return status;
}
