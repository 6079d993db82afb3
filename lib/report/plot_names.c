/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Names below an axis: level in up to three lines where their words fit, else upright, and where
 * even these would meet only each second, third ... of them.
 */
#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "report/plot_layout.h"

#define UPRIGHT_LONGEST_PT 80.0
#define WIDE_SLOT_PT 60.0 /* from which words may be broken */

enum { NAME_LINES = 3 };

static double longest_word(const plot_layout *layout, const char *name)
{
    double longest = 0;

    while (*name != '\0' && longest < layout->width_pt) {
        const size_t length = strcspn(name, " \n");
        char *const word = fleck_alloc_array(length + 1, 1);

        if (word == NULL)
            return INFINITY;
        memcpy(word, name, length);
        word[length] = '\0';
        longest = fmax(longest, plot_text_width(&layout->fonts, word, layout->small_pt));
        fleck_free(word);
        name += length;
        name += strspn(name, " \n");
    }
    return longest;
}

static bool stand_level(const plot_layout *layout, double slot_pt)
{
    const fleck_plot_axis *const axis = &layout->plot->x;

    if (slot_pt >= WIDE_SLOT_PT)
        return true;
    for (size_t i = 0; i < axis->name_count; i++) {
        if (longest_word(layout, axis->names[i]) > slot_pt)
            return false;
    }
    return true;
}

static double place_level(plot_layout *layout, double top, double slot_pt)
{
    const fleck_plot_axis *const axis = &layout->plot->x;
    const double line_pt = 1.15 * layout->small_pt;
    size_t most = 1;

    for (size_t i = 0; i < axis->name_count && !layout->failed; i++) {
        const double x = plot_scale_place(&layout->ranges.x, (double)i);
        plot_lines lines;

        if (plot_text_wrap(&layout->fonts, axis->names[i], layout->small_pt, slot_pt, NAME_LINES,
                           &lines, NULL) != FLECK_OK)
            layout->failed = true;
        for (size_t l = 0; l < lines.count; l++) {
            plot_layout_add_text(layout, lines.line[l], layout->small_pt, x,
                                 top + 0.76 * layout->small_pt + (double)l * line_pt, 0.5, false);
            lines.line[l] = NULL;
        }
        most = lines.count > most ? lines.count : most;
        plot_lines_clear(&lines);
    }
    return top + (double)(most - 1) * line_pt + (0.76 + PLOT_DESCENT) * layout->small_pt +
           PLOT_GAP_PT / 2;
}

static double place_upright(plot_layout *layout, double top)
{
    const fleck_plot_axis *const axis = &layout->plot->x;
    double longest = 0;

    for (size_t i = 0; i < axis->name_count && !layout->failed; i += layout->names_apart) {
        const double x = plot_scale_place(&layout->ranges.x, (double)i);
        const plot_text *const text = plot_layout_add_text(
            layout,
            plot_text_shorten(&layout->fonts, axis->names[i], layout->small_pt, UPRIGHT_LONGEST_PT),
            layout->small_pt, x + 0.365 * layout->small_pt, top, 1, true);

        if (text != NULL)
            longest = fmax(longest, text->width_pt);
    }
    return top + longest + PLOT_GAP_PT;
}

double plot_layout_names(plot_layout *layout)
{
    const double top = layout->panel.bottom + PLOT_TICK_PT + PLOT_GAP_PT;
    const double places = fmax(1, (double)layout->plot->x.name_count);
    const double slot_pt = (layout->panel.right - layout->panel.left) / places;

    layout->names_apart = 1;
    if (stand_level(layout, slot_pt - 2 * PLOT_GAP_PT))
        return place_level(layout, top, slot_pt - 2 * PLOT_GAP_PT);
    layout->names_apart = (size_t)ceil(fmax(1, 1.25 * layout->small_pt / slot_pt));
    return place_upright(layout, top);
}
