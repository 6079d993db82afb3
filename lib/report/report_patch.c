/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One patch, folded: its thumbnail and main numbers above, pictures, plots and intervals within. */
#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "fleck/overlay.h"
#include "report/plot_number.h"
#include "report/report_html.h"
#include "report/report_parts.h"
#include "report/report_picture.h"

enum { THUMB_QUALITY = 70 };

/* The most telling first: a large run shows fewer. */
static const struct {
    fleck_run_plot kind;
    const char *alt;
} plots[] = {
    { FLECK_RUN_SIZES, "Dot sizes" },
    { FLECK_RUN_SPECTRUM, "Power spectrum" },
    { FLECK_RUN_SPACING, "Distances to the nearest dot" },
    { FLECK_RUN_PATTERN, "Order of the dots" },
    { FLECK_RUN_CHORDS, "Chord lengths" },
    { FLECK_RUN_COVARIANCE, "Covariance" },
};

static cairo_surface_t *read_picture(const report_data *report, size_t row, fleck_overlay_file file)
{
    char *const path = fleck_overlay_path(report->run, fleck_study_id(report->study, row), file);
    cairo_surface_t *const picture = path != NULL ? picture_read(path) : NULL;

    fleck_free(path);
    return picture;
}

static picture_box whole(cairo_surface_t *picture)
{
    return (picture_box){ .width = (size_t)cairo_image_surface_get_width(picture),
                          .height = (size_t)cairo_image_surface_get_height(picture) };
}

/* ---- the patch within its picture ---- */

/*
 * Where the patch lies in its picture, by the scale that gives a picture so wide: the legend below it
 * is told in words here. The whole picture where none does.
 */
static picture_box patch_box(const fleck_record *record, cairo_surface_t *picture, bool *exact)
{
    const picture_box all = whole(picture);
    const double x_mm = 25.4 / record->source.ppi_x, y_mm = 25.4 / record->source.ppi_y;
    const double wide = round(record->region.width_mm / x_mm);
    const double high = round(record->region.height_mm / y_mm);
    fleck_geometry geometry;
    fleck_overlay_options options = fleck_overlay_options_default();
    fleck_overlay_place place;

    *exact = false;
    if (!(wide >= 1) || !(high >= 1) || wide > 1e6 || high > 1e6 || !(x_mm > 0) || !(y_mm > 0))
        return all;
    geometry = (fleck_geometry){ (size_t)wide, (size_t)high, x_mm, y_mm };
    for (int attempt = 0; attempt < 2; attempt++) {
        if (fleck_overlay_get_place(&geometry, &options, &place, NULL) == FLECK_OK &&
            place.picture_width_px == all.width && place.top_px + place.height_px <= all.height) {
            *exact = true;
            return (picture_box){ place.left_px, place.top_px, place.width_px, place.height_px };
        }
        /* another scale was asked for: a margin is the 80th part of the patch, or 10 to 40 px */
        for (double margin = 10; margin <= 40; margin++) {
            fleck_overlay_options other = options;

            other.scale = ((double)all.width - 2 * margin) / wide * fmin(x_mm, y_mm) / x_mm;
            if (fleck_overlay_options_check(&other, NULL) == FLECK_OK &&
                fleck_overlay_get_place(&geometry, &other, &place, NULL) == FLECK_OK &&
                place.picture_width_px == all.width && (double)place.left_px == margin) {
                options = other;
                break;
            }
        }
    }
    return all;
}

/* The middle of a box, at most so many pixels wide and high. */
static picture_box middle(picture_box box, size_t most_px)
{
    picture_box part = box;

    if (part.width > most_px) {
        part.x += (part.width - most_px) / 2;
        part.width = most_px;
    }
    if (part.height > most_px) {
        part.y += (part.height - most_px) / 2;
        part.height = most_px;
    }
    return part;
}

/* The patch without and with lines, one over the other once the script runs. */
static bool add_pair(fleck_text *text, cairo_surface_t *plain, cairo_surface_t *lines, picture_box box,
                     size_t most_px, int quality, const char *id, const char *what, const char *caption)
{
    fleck_text alt = { 0 };
    bool added;

    fleck_text_add(text, "<figure class=\"look\" data-zoom><div class=\"frame\"><div class=\"pair\">");
    fleck_text_add_format(&alt, "Scan of patch %s%s", id, what);
    added = !alt.failed &&
            (plain == NULL ||
             picture_add(text, plain, box, most_px, quality, true, alt.bytes, " class=\"under\" loading=\"lazy\""));
    fleck_text_clear(&alt);
    fleck_text_add_format(&alt, "The same%s with the outlines of its dots", what);
    added = added && !alt.failed &&
            picture_add(text, lines, box, most_px, quality, false, alt.bytes, " class=\"over\" loading=\"lazy\"");
    fleck_text_clear(&alt);
    fleck_text_add(text, "</div></div>");
    if (plain != NULL) {
        fleck_text_add(text, "<label class=\"slider scripted\">Outlines <input type=\"range\" min=\"0\" "
                             "max=\"100\" value=\"100\" aria-label=\"How much of the picture shows outlines, "
                             "patch ");
        html_add(text, id);
        html_add(text, what);
        fleck_text_add(text, "\"></label>");
    }
    fleck_text_add(text, "<figcaption>");
    html_add(text, caption);
    fleck_text_add(text, "</figcaption></figure>\n");
    return added;
}

static void add_caption(fleck_text *caption, const fleck_record *record, const char *start, double width_mm)
{
    fleck_text_add(caption, start);
    fleck_text_add(caption, ", ");
    plot_number_add(caption, width_mm, 3);
    fleck_text_add(caption, " mm wide; threshold at reflectance ");
    plot_number_add(caption, record->threshold.threshold_reflectance, 3);
}

/* What the outlines mean, as in the legend below the picture itself. */
static void add_legend(fleck_text *text, const fleck_record *record)
{
    const bool light = record->settings.ink != NULL && strcmp(record->settings.ink, "light") == 0;

    fleck_text_add_format(text,
                          "<ul class=\"legend%s\"><li><i class=\"counted\"></i>counted dot</li>"
                          "<li><i class=\"waist\"></i>counted, with a waist: several that merged, mostly</li>"
                          "<li><i class=\"cut\"></i>cut by the edge: not in sizes and numbers per area</li>"
                          "<li><i class=\"below\"></i>below the cutoff: not counted</li></ul>\n",
                          light ? " light" : "");
}

static bool add_pictures(fleck_text *text, const report_data *report, size_t row, const report_level *level)
{
    const fleck_record *const record = &report->records[row];
    cairo_surface_t *const lines = read_picture(report, row, FLECK_OVERLAY_LINES);
    cairo_surface_t *plain = lines != NULL ? read_picture(report, row, FLECK_OVERLAY_PLAIN) : NULL;
    const char *const id = fleck_study_id(report->study, row);
    fleck_text caption = { 0 };
    picture_box box;
    bool exact, added = true;

    if (lines == NULL)
        return false;
    if (plain != NULL && (whole(plain).width != whole(lines).width ||
                          whole(plain).height != whole(lines).height)) {
        cairo_surface_destroy(plain);
        plain = NULL;
    }
    box = patch_box(record, lines, &exact);
    fleck_text_add(text, "<div class=\"looks\">\n");
    add_caption(&caption, record, "The whole patch", record->region.width_mm);
    added = !caption.failed && add_pair(text, plain, lines, box, level->overlay_px, level->quality, id, "",
                                        caption.bytes);
    fleck_text_clear(&caption);
    if (added && exact && level->detail_px > 0 && box.width > level->overlay_px + level->overlay_px / 3) {
        const picture_box part = middle(box, level->detail_px);

        add_caption(&caption, record, "Its middle, enlarged",
                    record->region.width_mm * (double)part.width / (double)box.width);
        added = !caption.failed && add_pair(text, plain, lines, part, level->detail_px, level->quality, id,
                                            ", its middle", caption.bytes);
        fleck_text_clear(&caption);
    }
    fleck_text_add(text, "</div>\n");
    add_legend(text, record);
    if (!added)
        text->failed = true;
    cairo_surface_destroy(lines);
    cairo_surface_destroy(plain);
    return true;
}

/* ---- numbers ---- */

struct line {
    const char *key;
    double lo, hi; /* NAN: no interval */
};

static void add_line(fleck_text *text, const fleck_record *record, const struct line *line)
{
    const fleck_key *const key = fleck_key_find(line->key);
    const double value = key != NULL ? fleck_record_number(record, key) : NAN;
    const bool has_interval = isfinite(line->hi - line->lo) && line->hi > line->lo;
    const double reach = has_interval ? (line->hi - line->lo) / 2 : NAN;
    const char *const unit = report_unit(line->key);

    if (!isfinite(value))
        return;
    fleck_text_add(text, "<tr><th scope=\"row\">");
    html_add_capital(text, report_label(line->key));
    fleck_text_add(text, "</th><td>");
    report_add_rounded(text, value, reach);
    if (unit[0] != '\0') {
        fleck_text_add(text, " ");
        html_add(text, unit);
    }
    fleck_text_add(text, "</td><td>");
    if (has_interval) {
        report_add_rounded(text, line->lo, reach);
        fleck_text_add(text, " to ");
        report_add_rounded(text, line->hi, reach);
    }
    fleck_text_add(text, "</td></tr>\n");
}

static void add_numbers(fleck_text *text, const report_data *report, size_t row)
{
    const fleck_record *const record = &report->records[row];
    const fleck_size_intervals *const sizes = &record->dots_sizes.intervals;
    const double se = 1.96 * record->ink.coverage_se;
    const struct line lines[] = {
        { "ink.coverage", record->ink.coverage - se, record->ink.coverage + se },
        { "tone.mean_reflectance", NAN, NAN },
        { "dots.counted", NAN, NAN },
        { "dots.per_cm2", sizes->per_cm2.lo, sizes->per_cm2.hi },
        { "dots.d10_mm", sizes->d10_mm.lo, sizes->d10_mm.hi },
        { "dots.d50_mm", sizes->d50_mm.lo, sizes->d50_mm.hi },
        { "dots.d90_mm", sizes->d90_mm.lo, sizes->d90_mm.hi },
        { "dots.mean_circularity", NAN, NAN },
        { "dots.mean_edge_width_mm", NAN, NAN },
        { "grain.mean_diameter_mm", NAN, NAN },
        { "spacing.nn_mean_mm", NAN, NAN },
        { "spacing.gap_mean_mm", NAN, NAN },
        { "flecks.mean_chord_mm", NAN, NAN },
        { "spectrum.dominant_spacing_mm", NAN, NAN },
        { "sampling.evenness", NAN, NAN },
    };

    fleck_text_add(text, "<div class=\"wide\"><table class=\"numbers\"><caption>Main measures</caption>\n<thead><tr>"
                         "<th scope=\"col\">Measure</th><th scope=\"col\">Value</th>"
                         "<th scope=\"col\">95 % interval, from within the patch</th></tr></thead>\n<tbody>\n");
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++)
        add_line(text, record, &lines[i]);
    if (record->pattern.order != NULL) {
        fleck_text_add(text, "<tr><th scope=\"row\">Order of the dots</th><td>");
        html_add(text, record->pattern.order);
        fleck_text_add(text, "</td><td>p = ");
        report_add_p(text, record->pattern.order_p);
        fleck_text_add(text, "</td></tr>\n");
    }
    fleck_text_add(text, "</tbody></table></div>\n");
}

static void add_warnings(fleck_text *text, const fleck_record *record)
{
    if (record->warnings.count == 0)
        return;
    fleck_text_add(text, "<ul class=\"doubts\" aria-label=\"Warnings\">\n");
    for (size_t i = 0; i < record->warnings.count; i++) {
        fleck_text_add(text, "<li>");
        html_add_capital(text, record->warnings.items[i].message);
        fleck_text_add(text, "</li>\n");
    }
    fleck_text_add(text, "</ul>\n");
}

/* ---- plots ---- */

static fleck_status add_plots(fleck_text *text, const report_data *report, size_t row, size_t most,
                              fleck_error *err)
{
    const char *const id = fleck_study_id(report->study, row);
    run_patch patch;
    size_t shown = 0;
    fleck_status status;

    if (most == 0)
        return FLECK_OK;
    status = run_patch_read(report->study, row, &patch, err);
    fleck_text_add(text, "<div class=\"plots\">\n");
    for (size_t i = 0; status == FLECK_OK && i < sizeof plots / sizeof *plots && shown < most; i++) {
        fleck_plot plot = { .size = FLECK_PLOT_COLUMN };
        fleck_text alt = { 0 };

        fleck_text_add_format(&alt, "%s of patch %s", plots[i].alt, id);
        if (alt.failed)
            status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a plot; free some memory");
        else if (run_plot_fill_patch(&plot, plots[i].kind, &patch)) {
            status = report_add_plot(text, &plot, alt.bytes, err);
            shown++;
        }
        fleck_plot_clear(&plot);
        fleck_text_clear(&alt);
    }
    fleck_text_add(text, "</div>\n");
    run_patch_clear(&patch);
    return status;
}

/* ---- the whole ---- */

static void add_summary(fleck_text *text, const report_data *report, size_t row, const report_level *level)
{
    const fleck_record *const record = &report->records[row];
    const bool speckled = record->speckle != NULL && strcmp(record->speckle, "present") == 0;
    cairo_surface_t *const thumb = read_picture(report, row, FLECK_OVERLAY_THUMB);

    fleck_text_add(text, "<summary>");
    if (thumb != NULL && !picture_add(text, thumb, whole(thumb), level->thumb_px, THUMB_QUALITY, true, "",
                                      " class=\"thumb\" loading=\"lazy\""))
        text->failed = true;
    cairo_surface_destroy(thumb);
    fleck_text_add(text, "<span class=\"about\"><h3>");
    html_add_name(text, fleck_study_id(report->study, row));
    fleck_text_add(text, "</h3><span class=\"factors\">");
    for (size_t i = 0; i < report->factor_count; i++) {
        fleck_text_add(text, i > 0 ? " \xc2\xb7 " : "");
        report_add_factor(text, fleck_study_column_name(report->study, report->factors[i]));
        fleck_text_add(text, " ");
        html_add_name(text, fleck_study_text(report->study, row, report->factors[i]));
    }
    fleck_text_add(text, "</span><span class=\"key\">");
    if (!speckled) {
        fleck_text_add(text, "no speckle: ");
        html_add(text, record->speckle != NULL ? record->speckle : "unknown");
    } else {
        fleck_text_add(text, "ink covers ");
        plot_number_add(text, 100 * record->ink.coverage, 3);
        fleck_text_add(text, " %, dots ");
        plot_number_add(text, record->dots.d50_mm, 3);
        fleck_text_add(text, " mm");
    }
    if (record->warnings.count > 0) {
        fleck_text_add(text, " \xc2\xb7 ");
        report_add_count(text, record->warnings.count, "warning", "warnings");
    }
    fleck_text_add(text, "</span></span></summary>\n");
}

fleck_status report_add_patch(fleck_text *text, const report_data *report, size_t row,
                              const report_level *level, bool *pictured, fleck_error *err)
{
    fleck_status status;

    *pictured = false;
    fleck_text_add_format(text, "<details class=\"patch\" id=\"patch-%zu\">", row + 1);
    add_summary(text, report, row, level);
    fleck_text_add(text, "<div class=\"inside\">\n");
    add_warnings(text, &report->records[row]);
    if (level->overlay_px > 0)
        *pictured = add_pictures(text, report, row, level);
    add_numbers(text, report, row);
    status = add_plots(text, report, row, level->plots, err);
    fleck_text_add(text, "</div></details>\n");
    return status;
}
