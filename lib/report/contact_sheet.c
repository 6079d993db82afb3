/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The sizes of all patches are read first; they give one size of cell and one scale, and then patch
 * after patch is drawn, so that memory holds the sheet and one patch.
 */
#include <cairo.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"
#include "fleck/overlay.h"
#include "fleck/tone.h"
#include "io/picture.h"
#include "report/contact_cell.h"
#include "report/overlay_text.h"
#include "report/plot_number.h"
#include "study/study_table.h"

enum {
    WIDTH_PX = 2400,
    LEAST_WIDTH_PX = 700, /* for the texts below */
    GAP_PX = 18,
    LEAST_LABEL_PX = 56, /* room for a label under a narrow strip */
    CODES = 256
};

struct shown {
    const fleck_contact_patch *patch;
    size_t index; /* among the patches given */
    double value; /* of the factor, NAN without one */
    double width_mm, height_mm;
};

struct sheet {
    const char *run_folder, *column;
    struct shown *shown;
    size_t count, columns, rows;
    double cell_width_mm, cell_height_mm, px_per_mm;
    size_t cell_width_px, cell_height_px, pitch_x_px, pitch_y_px, width_px, height_px;
    double font_px, note_px;
    double decoded[CODES];
    plot_fonts fonts;
    cairo_surface_t *surface;
    cairo_t *cairo;
    fleck_text note;
};

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the contact sheet; free some memory");
}

static const char *factor_of(const struct shown *one)
{
    return one->patch->factor != NULL ? one->patch->factor : "";
}

static int by_index(const struct shown *one, const struct shown *other)
{
    return one->index < other->index ? -1 : one->index > other->index;
}

static int by_number(const void *a, const void *b)
{
    const struct shown *const one = a, *const other = b;

    if (isnan(one->value) != isnan(other->value))
        return isnan(one->value) ? 1 : -1;
    if (one->value < other->value || one->value > other->value)
        return one->value < other->value ? -1 : 1;
    return by_index(one, other);
}

static int by_text(const void *a, const void *b)
{
    const struct shown *const one = a, *const other = b;
    const char *const text = factor_of(one), *const other_text = factor_of(other);
    int order;

    if ((*text == '\0') != (*other_text == '\0'))
        return *text == '\0' ? 1 : -1;
    order = strcmp(text, other_text);
    return order != 0 ? order : by_index(one, other);
}

static void put_in_order(struct sheet *sheet)
{
    bool numbers = true;

    if (sheet->column == NULL || sheet->count == 0)
        return;
    for (size_t i = 0; i < sheet->count; i++) {
        const char *const factor = factor_of(&sheet->shown[i]);

        if (factor[strspn(factor, " \t")] != '\0')
            numbers = numbers && fleck_study_comma_number(factor, &sheet->shown[i].value);
    }
    qsort(sheet->shown, sheet->count, sizeof *sheet->shown, numbers ? by_number : by_text);
}

static fleck_status read_cell(const struct sheet *sheet, const struct shown *one, bool pixels,
                              bool *found, contact_cell *cell, fleck_error *err)
{
    char *const path = fleck_overlay_path(sheet->run_folder, one->patch->id, FLECK_OVERLAY_CELL);
    fleck_error why = { 0 };
    fleck_status status;

    *cell = (contact_cell){ 0 };
    if (path == NULL)
        return no_memory(err);
    status = contact_cell_read(path, pixels, found, cell, &why);
    if (status != FLECK_OK)
        fleck_fail(err, status, "%s: %s", strrchr(path, '/') + 1, why.message);
    fleck_free(path);
    return status;
}

/* Leave out the patches without a picture, note the size of the others, and keep as many as fit. */
static fleck_status find_pictures(struct sheet *sheet, fleck_contact_summary *summary,
                                  fleck_error *err)
{
    size_t kept = 0;

    for (size_t i = 0; i < sheet->count; i++) {
        struct shown one = sheet->shown[i];
        contact_cell cell;
        bool found = false;
        const fleck_status status = read_cell(sheet, &one, false, &found, &cell, err);

        if (status != FLECK_OK)
            return status;
        if (!found) {
            summary->without_picture++;
        } else if (kept == FLECK_CONTACT_MOST_PATCHES) {
            summary->too_many++;
        } else {
            one.width_mm = cell.width_mm;
            one.height_mm = cell.height_mm;
            sheet->shown[kept++] = one;
        }
    }
    sheet->count = kept;
    summary->shown = kept;
    return FLECK_OK;
}

static int by_size(const void *a, const void *b)
{
    const double one = *(const double *)a, other = *(const double *)b;

    return one < other ? -1 : one > other;
}

/* The smallest that is at least half the median; sorts the sizes. */
static double common_size(double *sizes, size_t count)
{
    size_t at = 0;

    qsort(sizes, count, sizeof *sizes, by_size);
    while (sizes[at] < 0.5 * sizes[count / 2])
        at++;
    return sizes[at];
}

static bool find_cell_size(struct sheet *sheet)
{
    double *const sizes = fleck_alloc_array(sheet->count, sizeof *sizes);

    if (sizes == NULL)
        return false;
    for (size_t i = 0; i < sheet->count; i++)
        sizes[i] = sheet->shown[i].width_mm;
    sheet->cell_width_mm = common_size(sizes, sheet->count);
    for (size_t i = 0; i < sheet->count; i++)
        sizes[i] = sheet->shown[i].height_mm;
    sheet->cell_height_mm = common_size(sizes, sheet->count);
    fleck_free(sizes);
    return true;
}

/* Half again as many columns as rows, as a screen is; cells as large as the pictures are kept. */
static void lay_out(struct sheet *sheet)
{
    const double longer_mm = fmax(sheet->cell_width_mm, sheet->cell_height_mm);
    double side_px;

    sheet->columns = (size_t)ceil(sqrt(1.5 * (double)sheet->count));
    if (sheet->columns > sheet->count)
        sheet->columns = sheet->count;
    sheet->rows = (sheet->count + sheet->columns - 1) / sheet->columns;
    side_px = floor((double)(WIDTH_PX - GAP_PX) / (double)sheet->columns) - GAP_PX;
    side_px = fmin(side_px, FLECK_OVERLAY_CELL_PX);
    sheet->px_per_mm = side_px / longer_mm;
    sheet->cell_width_px = (size_t)fmax(1, round(sheet->cell_width_mm * sheet->px_per_mm));
    sheet->cell_height_px = (size_t)fmax(1, round(sheet->cell_height_mm * sheet->px_per_mm));
    sheet->font_px = fmin(18, fmax(10, round(side_px / 13)));
    sheet->pitch_x_px = GAP_PX + (sheet->cell_width_px > LEAST_LABEL_PX ? sheet->cell_width_px
                                                                          : LEAST_LABEL_PX);
    sheet->pitch_y_px = GAP_PX + sheet->cell_height_px +
                        (size_t)ceil(sheet->font_px * PLOT_LINE * (sheet->column != NULL ? 2 : 1));
    sheet->width_px = GAP_PX + sheet->columns * sheet->pitch_x_px;
    if (sheet->width_px < LEAST_WIDTH_PX)
        sheet->width_px = LEAST_WIDTH_PX;
    sheet->note_px = sheet->width_px > 1400 ? 20 : 15;
}

static void write_note(struct sheet *sheet, const fleck_contact_summary *summary)
{
    fleck_text *const note = &sheet->note;

    fleck_text_add(note, "All patches are to one scale.");
    for (size_t i = 0; i < sheet->count; i++) {
        if (sheet->shown[i].width_mm > 1.01 * sheet->cell_width_mm ||
            sheet->shown[i].height_mm > 1.01 * sheet->cell_height_mm) {
            fleck_text_add(note, " Larger ones are cropped from their middle to ");
            plot_number_add(note, sheet->cell_width_mm, 3);
            fleck_text_add(note, " x ");
            plot_number_add(note, sheet->cell_height_mm, 3);
            fleck_text_add(note, " mm.");
            break;
        }
    }
    if (sheet->column != NULL)
        fleck_text_add_format(note, " They stand in the order of %s, line by line.", sheet->column);
    if (summary->without_picture > 0)
        fleck_text_add_format(note, " %zu left out: no pictures were made when they were measured.",
                              summary->without_picture);
    if (summary->too_many > 0)
        fleck_text_add_format(note, " %zu more do not fit on a sheet of %d.", summary->too_many,
                              FLECK_CONTACT_MOST_PATCHES);
}

/* The middle of a patch, row by row, with a hairline round what is drawn. */
static fleck_status draw_patch(struct sheet *sheet, const struct shown *one, size_t left, size_t top,
                               fleck_error *err)
{
    unsigned char *const pixels = cairo_image_surface_get_data(sheet->surface);
    const size_t stride = (size_t)cairo_image_surface_get_stride(sheet->surface);
    contact_cell cell;
    bool found = false;
    const fleck_status status = read_cell(sheet, one, true, &found, &cell, err);

    if (status == FLECK_OK && found) {
        const double step_x = (double)cell.width_px / (one->width_mm * sheet->px_per_mm);
        const double step_y = (double)cell.height_px / (one->height_mm * sheet->px_per_mm);
        const double x0 =
            0.5 * ((double)cell.width_px - step_x * (double)sheet->cell_width_px);
        const double y0 =
            0.5 * ((double)cell.height_px - step_y * (double)sheet->cell_height_px);

        for (size_t y = 0; y < sheet->cell_height_px; y++) {
            uint32_t *const row = (uint32_t *)(void *)(pixels + (top + y) * stride) + left;

            for (size_t x = 0; x < sheet->cell_width_px; x++) {
                const double from_x = x0 + step_x * (double)x, from_y = y0 + step_y * (double)y;

                row[x] = UINT32_C(0x010101) * contact_cell_mean(&cell, sheet->decoded, from_x, from_y,
                                                                from_x + step_x, from_y + step_y);
            }
        }
    }
    contact_cell_clear(&cell);
    return status;
}

static fleck_status show_label(struct sheet *sheet, const char *text, double x, double y,
                               fleck_error *err)
{
    char *const clean = overlay_clean_text(text);
    char *const fits = clean != NULL ? plot_text_shorten(&sheet->fonts, clean, sheet->font_px,
                                                         (double)(sheet->pitch_x_px - GAP_PX / 2))
                                     : NULL;
    const fleck_status status = fits != NULL ? FLECK_OK : no_memory(err);

    if (fits != NULL)
        overlay_show(sheet->cairo, &sheet->fonts, fits, sheet->font_px, x, y);
    fleck_free(fits);
    fleck_free(clean);
    return status;
}

static fleck_status label(struct sheet *sheet, const struct shown *one, size_t left, size_t top,
                          fleck_error *err)
{
    double y = (double)(top + sheet->cell_height_px) + 1.1 * sheet->font_px;
    fleck_status status;

    cairo_set_source_rgb(sheet->cairo, 0, 0, 0);
    status = show_label(sheet, one->patch->id, (double)left, y, err);
    if (status == FLECK_OK && sheet->column != NULL) {
        fleck_text text = { 0 };

        cairo_set_source_rgb(sheet->cairo, 0.3, 0.3, 0.3);
        y += PLOT_LINE * sheet->font_px;
        fleck_text_add_format(&text, "%s %s", sheet->column,
                              *factor_of(one) != '\0' ? factor_of(one) : "-");
        status = text.failed ? no_memory(err) : show_label(sheet, text.bytes, (double)left, y, err);
        fleck_text_clear(&text);
    }
    cairo_set_source_rgb(sheet->cairo, 0.75, 0.75, 0.75);
    cairo_set_line_width(sheet->cairo, 1);
    cairo_rectangle(sheet->cairo, (double)left - 0.5, (double)top - 0.5,
                    (double)sheet->cell_width_px + 1, (double)sheet->cell_height_px + 1);
    cairo_stroke(sheet->cairo);
    return status;
}

static void place_of(const struct sheet *sheet, size_t i, size_t *left, size_t *top)
{
    *left = GAP_PX + i % sheet->columns * sheet->pitch_x_px;
    *top = GAP_PX + i / sheet->columns * sheet->pitch_y_px;
}

static fleck_status draw(struct sheet *sheet, const plot_lines *note, double note_top,
                         fleck_error *err)
{
    cairo_font_options_t *const options = plot_font_options();
    fleck_status status = FLECK_OK;
    size_t left, top;

    sheet->cairo = cairo_create(sheet->surface);
    cairo_set_font_options(sheet->cairo, options);
    cairo_font_options_destroy(options);
    cairo_set_source_rgb(sheet->cairo, 1, 1, 1);
    cairo_paint(sheet->cairo);
    if (cairo_status(sheet->cairo) != CAIRO_STATUS_SUCCESS)
        return no_memory(err);
    cairo_surface_flush(sheet->surface);
    for (size_t i = 0; status == FLECK_OK && i < sheet->count; i++) {
        place_of(sheet, i, &left, &top);
        status = draw_patch(sheet, &sheet->shown[i], left, top, err);
    }
    cairo_surface_mark_dirty(sheet->surface);
    for (size_t i = 0; status == FLECK_OK && i < sheet->count; i++) {
        place_of(sheet, i, &left, &top);
        status = label(sheet, &sheet->shown[i], left, top, err);
    }
    cairo_set_source_rgb(sheet->cairo, 0, 0, 0);
    overlay_show_bar(sheet->cairo, &sheet->fonts,
                     overlay_bar_mm(fmin(200, (double)sheet->width_px / 4) / sheet->px_per_mm),
                     sheet->px_per_mm, sheet->note_px, GAP_PX, note_top + sheet->note_px);
    for (size_t i = 0; i < note->count; i++)
        overlay_show(sheet->cairo, &sheet->fonts, note->line[i], sheet->note_px, GAP_PX,
                     note_top + ((double)i + 2.1) * PLOT_LINE * sheet->note_px);
    if (status == FLECK_OK &&
        (cairo_status(sheet->cairo) != CAIRO_STATUS_SUCCESS || plot_fonts_failed(&sheet->fonts)))
        status = no_memory(err);
    cairo_surface_flush(sheet->surface);
    return status;
}

/* A fleck_picture_row. */
static fleck_status give_row(void *context, size_t y, void *samples, fleck_error *err)
{
    const struct sheet *const sheet = context;
    const unsigned char *const from = cairo_image_surface_get_data(sheet->surface) +
                                      y * (size_t)cairo_image_surface_get_stride(sheet->surface);
    const uint32_t *const row = (const uint32_t *)(const void *)from;
    uint8_t *const greys = samples;

    (void)err;
    for (size_t x = 0; x < sheet->width_px; x++)
        greys[x] = (uint8_t)row[x];
    return FLECK_OK;
}

static fleck_status write_sheet(struct sheet *sheet, fleck_error *err)
{
    char *const path = fleck_overlay_path(sheet->run_folder, "", FLECK_OVERLAY_SHEET);
    const double note_top = (double)(GAP_PX + sheet->rows * sheet->pitch_y_px);
    char *const clean = sheet->note.failed ? NULL : overlay_clean_text(sheet->note.bytes);
    plot_lines note = { 0 };
    fleck_picture picture = { .format = FLECK_PICTURE_PNG, .channels = 1, .bits = 8, .srgb = true };
    fleck_status status = path != NULL && clean != NULL ? FLECK_OK : no_memory(err);

    for (size_t i = 0; i < CODES; i++)
        sheet->decoded[i] = fleck_tone_srgb_decode((double)i / 255);
    if (status == FLECK_OK)
        status = plot_text_wrap(&sheet->fonts, clean, sheet->note_px,
                                (double)(sheet->width_px - 2 * GAP_PX), 6, &note, err);
    sheet->height_px =
        (size_t)ceil(note_top + ((double)note.count + 2) * PLOT_LINE * sheet->note_px) + GAP_PX / 2;
    if (status == FLECK_OK) {
        sheet->surface = cairo_image_surface_create(CAIRO_FORMAT_RGB24, (int)sheet->width_px,
                                                    (int)sheet->height_px);
        status = draw(sheet, &note, note_top, err);
    }
    picture.width_px = sheet->width_px;
    picture.height_px = sheet->height_px;
    picture.ppi_x = picture.ppi_y = fmin(25.4 * sheet->px_per_mm, 1e6);
    if (status == FLECK_OK)
        status = fleck_picture_write(path, &picture, give_row, sheet, err);
    plot_lines_clear(&note);
    fleck_free(clean);
    fleck_free(path);
    return status;
}

fleck_status fleck_contact_sheet_write(const char *run_folder, const fleck_contact_patch *patches,
                                       size_t count, const char *column,
                                       fleck_contact_summary *summary, fleck_error *err)
{
    struct sheet sheet = {
        .run_folder = run_folder,
        .column = column,
        .shown = fleck_alloc_array(count + 1, sizeof *sheet.shown),
        .count = count,
    };
    fleck_status status;

    *summary = (fleck_contact_summary){ 0 };
    if (sheet.shown == NULL)
        return no_memory(err);
    for (size_t i = 0; i < count; i++)
        sheet.shown[i] = (struct shown){ .patch = &patches[i], .index = i, .value = NAN };
    put_in_order(&sheet);
    status = find_pictures(&sheet, summary, err);
    if (status == FLECK_OK && sheet.count > 0) {
        status = plot_fonts_init(&sheet.fonts, err);
        if (status == FLECK_OK && !find_cell_size(&sheet))
            status = no_memory(err);
        if (status == FLECK_OK) {
            lay_out(&sheet);
            write_note(&sheet, summary);
            status = write_sheet(&sheet, err);
        }
        plot_fonts_clear(&sheet.fonts);
    }
    cairo_destroy(sheet.cairo);
    cairo_surface_destroy(sheet.surface);
    fleck_text_clear(&sheet.note);
    fleck_free(sheet.shown);
    return status;
}
