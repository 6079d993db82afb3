/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The layout drawn over the reduced sheet, to check by eye. Outlines are blue, vermilion with a
 * question mark where something is in doubt (colours that the colour-blind tell apart), dashed grey
 * for what was left out. Names are drawn by strokes of our own on a white plate, so that no font is
 * needed and they read over any ink.
 * Source: Okabe & Ito (2008), Color Universal Design, for the colours.
 */
#include <cairo.h>
#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "fleck/locate.h"
#include "fleck/tone.h"
#include "io/picture.h"

#define DEGREE (3.14159265358979323846 / 180)
#define OUTLINE_MM 0.3
#define NAME_MM 3.2 /* height of the characters, less in small patches */

/* Strokes on a grid of 4 x 6: two digits a point, a blank lifts the pen. */
static const struct {
    char character;
    const char *strokes;
} glyphs[] = {
    { '0', "103041453616050110" },
    { '1', "112026 1636" },
    { '2', "01103041420646" },
    { '3', "01103041423323 334445361605" },
    { '4', "36300444" },
    { '5', "400002324345361605" },
    { '6', "4130100105163645443303" },
    { '7', "004016" },
    { '8', "13020110304142331304051636454433" },
    { '9', "0516364541301001021343" },
    { 'r', "0206 03122233" },
    { 'c', "4332120305163645" },
    { '-', "0333" },
    { '?', "01103041422324 2626" },
    { 'x', "0246 4206" },
};

struct preview {
    const fleck_layout *layout;
    cairo_surface_t *surface;
    cairo_t *cairo;
    double per_mm; /* pixels */
};

static const char *strokes_of(char character)
{
    for (size_t i = 0; i < sizeof glyphs / sizeof *glyphs; i++) {
        if (glyphs[i].character == character)
            return glyphs[i].strokes;
    }
    return "";
}

/* A text's strokes from (0, 0) at its upper left, one unit the height of a character. */
static void draw_strokes(cairo_t *cairo, const char *text)
{
    for (; *text != '\0'; text++) {
        bool down = false;

        for (const char *s = strokes_of(*text); *s != '\0';) {
            if (*s == ' ') {
                down = false;
                s++;
                continue;
            }
            if (down)
                cairo_line_to(cairo, (s[0] - '0') / 6.0, (s[1] - '0') / 6.0);
            else
                cairo_move_to(cairo, (s[0] - '0') / 6.0, (s[1] - '0') / 6.0);
            down = true;
            s += 2;
        }
        cairo_translate(cairo, 1, 0);
    }
    cairo_set_line_width(cairo, 0.15);
    cairo_stroke(cairo);
}

static void set_colour(cairo_t *cairo, const fleck_located *located, bool left_out)
{
    if (left_out)
        cairo_set_source_rgb(cairo, 0.35, 0.35, 0.35);
    else if (located->doubts != 0)
        cairo_set_source_rgb(cairo, 0.835, 0.369, 0);
    else
        cairo_set_source_rgb(cairo, 0, 0.447, 0.698);
}

static void draw_located(const struct preview *preview, const fleck_located *located, bool left_out)
{
    cairo_t *const cairo = preview->cairo;
    const fleck_box_mm *const box = &located->box;
    const double dashes[2] = { 1.5, 1 };
    const double smaller = fmin(box->width_mm, box->height_mm);
    double height = fmin(NAME_MM, smaller / 6);
    char name[sizeof located->id + 2];

    if (left_out) {
        strcpy(name, "x");
    } else {
        strcpy(name, located->id);
        if (located->doubts != 0)
            strcat(name, "?");
    }
    height = fmin(height, 0.8 * box->width_mm / (double)(strlen(name) + 1));
    height = fmax(height, 10 / preview->per_mm); /* legible comes before small */
    cairo_save(cairo);
    cairo_scale(cairo, preview->per_mm, preview->per_mm);
    cairo_translate(cairo, box->x_mm + box->width_mm / 2, box->y_mm + box->height_mm / 2);
    cairo_rotate(cairo, -located->tilt_deg * DEGREE); /* cairo turns clockwise as seen */
    cairo_translate(cairo, -box->width_mm / 2, -box->height_mm / 2);

    /* a pale line below keeps the outline visible over dark ink */
    cairo_rectangle(cairo, 0, 0, box->width_mm, box->height_mm);
    cairo_set_source_rgba(cairo, 1, 1, 1, 0.85);
    cairo_set_line_width(cairo, 2.2 * fmax(OUTLINE_MM, 1.5 / preview->per_mm));
    cairo_stroke_preserve(cairo);
    set_colour(cairo, located, left_out);
    cairo_set_line_width(cairo, fmax(OUTLINE_MM, 1.5 / preview->per_mm));
    if (left_out)
        cairo_set_dash(cairo, dashes, 2, 0);
    cairo_stroke(cairo);
    cairo_set_dash(cairo, dashes, 0, 0);

    cairo_translate(cairo, 0.5 * height, 0.5 * height);
    cairo_scale(cairo, height, height);
    cairo_rectangle(cairo, -0.25, -0.25, (double)strlen(name) + 0.17, 1.5);
    cairo_set_source_rgba(cairo, 1, 1, 1, 0.92);
    cairo_fill(cairo);
    set_colour(cairo, located, left_out);
    draw_strokes(cairo, name);
    cairo_restore(cairo);
}

/* The sheet's cells as pixels of the size asked for, coded with the sRGB curve. */
static fleck_status paint_sheet(struct preview *preview, int size, fleck_error *err)
{
    const fleck_sheet_map *const map = &preview->layout->map;
    uint8_t *const code = fleck_alloc_array(65536, 1);
    unsigned char *const pixels = cairo_image_surface_get_data(preview->surface);
    const size_t stride = (size_t)cairo_image_surface_get_stride(preview->surface);

    if (code == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the preview; free some memory");
    for (size_t q = 0; q < 65536; q++)
        code[q] = (uint8_t)(255 * fleck_tone_srgb_encode((double)q / 65535) + 0.5);
    for (size_t y = 0; y < map->rows * (size_t)size; y++) {
        uint32_t *const row = (uint32_t *)(void *)(pixels + y * stride);

        for (size_t x = 0; x < map->columns * (size_t)size; x++) {
            const uint16_t *const cell =
                map->reflectance +
                (y / (size_t)size * map->columns + x / (size_t)size) * map->channels;
            const bool colour = map->channels == 3;

            row[x] = (uint32_t)code[cell[0]] << 16 | (uint32_t)code[cell[colour ? 1 : 0]] << 8 |
                     code[cell[colour ? 2 : 0]];
        }
    }
    fleck_free(code);
    return FLECK_OK;
}

static fleck_status give_row(void *context, size_t y, void *samples, fleck_error *err)
{
    const struct preview *const preview = context;
    const unsigned char *const pixels = cairo_image_surface_get_data(preview->surface);
    const size_t stride = (size_t)cairo_image_surface_get_stride(preview->surface);
    const uint32_t *const row = (const uint32_t *)(const void *)(pixels + y * stride);
    const size_t width = (size_t)cairo_image_surface_get_width(preview->surface);
    uint8_t *const rgb = samples;

    (void)err;
    for (size_t x = 0; x < width; x++) {
        rgb[3 * x] = (uint8_t)(row[x] >> 16);
        rgb[3 * x + 1] = (uint8_t)(row[x] >> 8);
        rgb[3 * x + 2] = (uint8_t)row[x];
    }
    return FLECK_OK;
}

fleck_status fleck_layout_write_preview(const fleck_layout *layout, const char *path,
                                        fleck_error *err)
{
    enum { LONGER_PX = 2400, LONGEST_PX = 32000, LARGEST_CELL_PX = 12 };
    const fleck_sheet_map *const map = &layout->map;
    const size_t longer = map->columns > map->rows ? map->columns : map->rows;
    const size_t fits = longer > 0 ? LONGER_PX / longer : 1;
    const int size = fits < 1 ? 1 : fits > LARGEST_CELL_PX ? LARGEST_CELL_PX : (int)fits;
    struct preview preview = { .layout = layout, .per_mm = size / map->cell_mm };
    fleck_picture picture = { .format = FLECK_PICTURE_PNG, .channels = 3, .bits = 8, .srgb = true };
    fleck_status status;

    if (longer == 0 || longer > LONGEST_PX)
        return fleck_fail(err, FLECK_NO_RESOURCE,
                          "a preview of %zu x %zu pixels cannot be drawn; do without --preview",
                          map->columns, map->rows);
    preview.surface = cairo_image_surface_create(CAIRO_FORMAT_RGB24, (int)map->columns * size,
                                                 (int)map->rows * size);
    if (cairo_surface_status(preview.surface) != CAIRO_STATUS_SUCCESS) {
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the preview; free some memory");
        goto done;
    }
    cairo_surface_flush(preview.surface);
    if ((status = paint_sheet(&preview, size, err)) != FLECK_OK)
        goto done;
    cairo_surface_mark_dirty(preview.surface);
    preview.cairo = cairo_create(preview.surface);
    cairo_set_line_join(preview.cairo, CAIRO_LINE_JOIN_ROUND);
    cairo_set_line_cap(preview.cairo, CAIRO_LINE_CAP_ROUND);
    for (size_t i = 0; i < layout->left_out_count; i++)
        draw_located(&preview, &layout->left_out[i], true);
    for (size_t i = 0; i < layout->count; i++)
        draw_located(&preview, &layout->patches[i], false);
    if (cairo_status(preview.cairo) != CAIRO_STATUS_SUCCESS) {
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the preview; free some memory");
        goto done;
    }
    cairo_surface_flush(preview.surface);
    picture.width_px = map->columns * (size_t)size;
    picture.height_px = map->rows * (size_t)size;
    picture.ppi_x = picture.ppi_y = fmax(1, 25.4 * preview.per_mm);
    status = fleck_picture_write(path, &picture, give_row, &preview, err);
done:
    cairo_destroy(preview.cairo);
    cairo_surface_destroy(preview.surface);
    return status;
}
