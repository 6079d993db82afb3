/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report/overlay_text.h"

#include <math.h>
#include <stdint.h>
#include <string.h>

#include "core/utf8.h"
#include "report/plot_number.h"

char *overlay_clean_text(const char *text)
{
    fleck_text clean = { 0 };

    fleck_text_add(&clean, "");
    for (size_t left = strlen(text); left > 0;) {
        uint32_t character = 0;
        size_t length = fleck_utf8_next(text, left, &character);

        if (length == 0 || character == 0xfffe || character == 0xffff)
            fleck_text_add(&clean, "\xef\xbf\xbd");
        else if (character < 0x20 || (character >= 0x7f && character < 0xa0))
            fleck_text_add(&clean, " ");
        else
            fleck_text_add_bytes(&clean, text, length);
        if (length == 0)
            length = 1;
        text += length;
        left -= length;
    }
    if (clean.failed)
        fleck_text_clear(&clean);
    return clean.bytes;
}

void overlay_show(cairo_t *cairo, const plot_fonts *fonts, const char *text, double size_px,
                  double x, double y)
{
    cairo_set_font_face(cairo, fonts->face[plot_font_family(fonts, text)]);
    cairo_set_font_size(cairo, size_px);
    cairo_move_to(cairo, x, y);
    cairo_show_text(cairo, text);
}

double overlay_bar_mm(double most_mm)
{
    const double power = pow(10, floor(log10(most_mm)));
    const double first = most_mm / power;

    return power * (first >= 5 ? 5 : first >= 2 ? 2 : 1);
}

void overlay_show_bar(cairo_t *cairo, const plot_fonts *fonts, double mm, double px_per_mm,
                      double size_px, double x, double y)
{
    const double thick = round(fmax(2, 0.18 * size_px)), high = round(0.7 * size_px);
    const double end = round(mm * px_per_mm);
    fleck_text words = { 0 };

    x = round(x);
    y = round(y);
    plot_number_add(&words, mm, 2);
    fleck_text_add(&words, " mm");
    cairo_rectangle(cairo, x, y - thick, end, thick);
    cairo_rectangle(cairo, x, y - high, thick, high);
    cairo_rectangle(cairo, x + end - thick, y - high, thick, high);
    cairo_fill(cairo);
    if (!words.failed)
        overlay_show(cairo, fonts, words.bytes, size_px, x + end + 0.5 * size_px, y);
    fleck_text_clear(&words);
}
