/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Random sequential addition: sizes drawn first, placed from the largest down, each where it first
 * fits. Sizes stay as drawn; none is given up because it is hard to place, which would bend their
 * law. Neighbours are found through a grid of cells. Source: Widom (1966).
 */
#include "phantom/separate.h"

#include <math.h>
#include <stdlib.h>

#include "core/memory.h"
#include "core/text.h"
#include "phantom/closed_forms.h"
#include "phantom/dice.h"
#include "phantom/size_law.h"

/* Normal numbers beyond it are drawn again: 6e-5 of the discs; keeps the frame below narrow. */
static const double separate_z = 4;
/*
 * Frame beyond the largest disc, so that no disc that crosses the window's border is seen: four
 * standard deviations of the largest softness.
 */
static const double separate_frame_mm = 2;

/*
 * A window with a grid of cells; each lists the discs whose bounding box meets it. Opposite borders
 * of the window are one (a torus): at a free border discs would find more room than in the middle.
 */
struct crowd {
    const fleck_dot *dots; /* placed so far */
    fleck_window window;
    double width_mm, height_mm;
    size_t columns, rows;
    size_t *first; /* per cell: 1 + index into links, 0 for none */
    struct link {
        size_t dot;
        size_t next; /* 1 + index, 0 at the end */
    } * links;
    size_t link_count, link_capacity;
};

/* Cells along one axis from the first one on, counted past the border where they wrap round. */
struct stretch {
    size_t first, count;
};

static struct stretch stretch_of(double from, double to, double length, size_t cells)
{
    const double cell = length / (double)cells;
    const double first = floor(from / cell), last = floor(to / cell);

    if (last - first + 1 >= (double)cells)
        return (struct stretch){ 0, cells };
    return (struct stretch){ (size_t)(first < 0 ? first + (double)cells : first),
                             (size_t)(last - first) + 1 };
}

static struct stretch columns_of(const struct crowd *crowd, double x, double reach)
{
    const double from = x - crowd->window.left;

    return stretch_of(from - reach, from + reach, crowd->width_mm, crowd->columns);
}

static struct stretch rows_of(const struct crowd *crowd, double y, double reach)
{
    const double from = y - crowd->window.top;

    return stretch_of(from - reach, from + reach, crowd->height_mm, crowd->rows);
}

static size_t *cell_at(const struct crowd *crowd, size_t column, size_t row)
{
    return &crowd->first[row % crowd->rows * crowd->columns + column % crowd->columns];
}

/* Distance along an axis that closes on itself. */
static double way_round(double a, double b, double length)
{
    const double way = fabs(a - b);

    return fmin(way, length - way);
}

static bool has_room(const struct crowd *crowd, double x, double y, double radius, double gap)
{
    const struct stretch columns = columns_of(crowd, x, radius + gap);
    const struct stretch rows = rows_of(crowd, y, radius + gap);

    for (size_t row = 0; row < rows.count; row++) {
        for (size_t column = 0; column < columns.count; column++) {
            size_t at = *cell_at(crowd, columns.first + column, rows.first + row);

            for (; at != 0; at = crowd->links[at - 1].next) {
                const fleck_dot *other = &crowd->dots[crowd->links[at - 1].dot];
                const double least = radius + other->diameter_mm / 2 + gap;
                const double dx = way_round(other->x_mm, x, crowd->width_mm);
                const double dy = way_round(other->y_mm, y, crowd->height_mm);

                if (dx * dx + dy * dy <= least * least)
                    return false;
            }
        }
    }
    return true;
}

static fleck_status enter(struct crowd *crowd, size_t dot, fleck_error *err)
{
    const fleck_dot *one = &crowd->dots[dot];
    const struct stretch columns = columns_of(crowd, one->x_mm, one->diameter_mm / 2);
    const struct stretch rows = rows_of(crowd, one->y_mm, one->diameter_mm / 2);

    for (size_t row = 0; row < rows.count; row++) {
        for (size_t column = 0; column < columns.count; column++) {
            size_t *first = cell_at(crowd, columns.first + column, rows.first + row);
            struct link *links =
                fleck_grow(crowd->links, &crowd->link_capacity, crowd->link_count, sizeof *links);

            if (links == NULL)
                return fleck_fail(err, FLECK_NO_RESOURCE,
                                  "no memory to place the dots; give a smaller picture");
            crowd->links = links;
            links[crowd->link_count] = (struct link){ dot, *first };
            *first = ++crowd->link_count;
        }
    }
    return FLECK_OK;
}

static int larger_first(const void *a, const void *b)
{
    const double first = ((const fleck_dot *)a)->diameter_mm;
    const double second = ((const fleck_dot *)b)->diameter_mm;

    return (first < second) - (first > second); /* equal ones are alike until they are placed */
}

static fleck_status no_room(const fleck_phantom_options *options, fleck_error *err)
{
    char coverage[FLECK_NUMBER_TEXT_BYTES], gap[FLECK_NUMBER_TEXT_BYTES];

    return fleck_fail(err, FLECK_BAD_CALL,
                      "coverage %s with gap_mm %s leaves no room for separate dots; give a lower "
                      "coverage or a smaller gap",
                      fleck_text_from_number(options->coverage, coverage),
                      fleck_text_from_number(options->gap_mm, gap));
}

static fleck_status find_place(const fleck_phantom_options *options, const struct crowd *crowd,
                               fleck_dot *dot, fleck_dice *dice, fleck_error *err)
{
    enum { TRIES = 20000 }; /* common practice, no source: below 1e-4 of free area it is full */
    const double radius = dot->diameter_mm / 2;
    const double border = options->keep_inside ? radius : 0;
    const double width = crowd->width_mm - 2 * border;
    const double height = crowd->height_mm - 2 * border;

    if (width <= 0 || height <= 0)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "diameter_mm gives a dot that does not fit into the picture; give "
                          "smaller dots or a larger picture");
    for (int i = 0; i < TRIES; i++) {
        dot->x_mm = crowd->window.left + border + width * fleck_dice_uniform(dice);
        dot->y_mm = crowd->window.top + border + height * fleck_dice_uniform(dice);
        if (has_room(crowd, dot->x_mm, dot->y_mm, radius, options->gap_mm))
            return FLECK_OK;
    }
    return no_room(options, err);
}

fleck_status fleck_place_separate(const fleck_phantom_options *options, const fleck_window *picture,
                                  const fleck_window *window, fleck_dots *out, fleck_error *err)
{
    const fleck_size_law law = fleck_size_law_of(options);
    const double frame_mm =
        options->keep_inside ? 0 : separate_frame_mm + fleck_size_law_largest(&law, separate_z) / 2;
    struct crowd crowd = { .window = { picture->left - frame_mm, picture->top - frame_mm,
                                       picture->right + frame_mm, picture->bottom + frame_mm } };
    double wanted, cell_mm;
    fleck_dice dice = fleck_dice_at(options->seed, FLECK_DICE_SEPARATE, 0, 0);
    fleck_dot *dots = NULL;
    size_t count;
    fleck_status status;

    crowd.width_mm = crowd.window.right - crowd.window.left;
    crowd.height_mm = crowd.window.bottom - crowd.window.top;
    wanted = round(fleck_disc_intensity(options) * crowd.width_mm * crowd.height_mm);
    if ((status = fleck_dots_check_number(wanted, err)) != FLECK_OK)
        goto done;
    count = (size_t)wanted;
    cell_mm = sqrt(crowd.width_mm * crowd.height_mm / fmax(wanted, 1)); /* for one disc each */
    crowd.columns = (size_t)(crowd.width_mm / cell_mm) + 1;
    crowd.rows = (size_t)(crowd.height_mm / cell_mm) + 1;
    dots = fleck_alloc_array(count, sizeof *dots);
    crowd.first = fleck_alloc_zeroed(crowd.columns * crowd.rows, sizeof *crowd.first);
    if (dots == NULL || crowd.first == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE,
                            "no memory to place the dots; give a smaller picture");
        goto done;
    }
    crowd.dots = dots;
    for (size_t i = 0; i < count; i++)
        dots[i] = (fleck_dot){ 0, 0, fleck_size_law_draw(&law, separate_z, &dice) };
    qsort(dots, count, sizeof *dots, larger_first);
    for (size_t i = 0; status == FLECK_OK && i < count; i++) {
        status = find_place(options, &crowd, &dots[i], &dice, err);
        if (status == FLECK_OK)
            status = enter(&crowd, i, err);
        if (status == FLECK_OK &&
            fleck_window_touches(window, dots[i].x_mm, dots[i].y_mm, dots[i].diameter_mm / 2))
            status = fleck_dots_keep(out, dots[i].x_mm, dots[i].y_mm, dots[i].diameter_mm, err);
    }
done:
    fleck_free(dots);
    fleck_free(crowd.first);
    fleck_free(crowd.links);
    return status;
}
