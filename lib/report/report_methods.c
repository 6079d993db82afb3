/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How it was measured, in words for a thesis; how to cite; and where each number comes from. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "fleck/version.h"
#include "report/plot_number.h"
#include "report/report_html.h"
#include "report/report_parts.h"

typedef const char *(*text_getter)(const fleck_record *record);
typedef double (*number_getter)(const fleck_record *record);

static const char *get_channel(const fleck_record *record)
{
    return record->settings.channel_used;
}

static const char *get_tone(const fleck_record *record)
{
    return record->settings.tone_from;
}

static const char *get_threshold(const fleck_record *record)
{
    return record->settings.threshold;
}

static const char *get_ink(const fleck_record *record)
{
    return record->settings.ink;
}

static double get_ppi(const fleck_record *record)
{
    return record->source.ppi_x;
}

static double get_area(const fleck_record *record)
{
    return record->region.area_mm2;
}

static double get_cutoff(const fleck_record *record)
{
    return record->settings.cutoff_mm;
}

static double get_tile(const fleck_record *record)
{
    return record->spectrum_tile_px;
}

static double get_simulations(const fleck_record *record)
{
    return record->settings.simulations;
}

static double get_seed(const fleck_record *record)
{
    return record->settings.seed;
}

/* Each text that occurs, in order of appearance: "grey" or "red, green". */
static void add_texts(fleck_text *text, const report_data *report, text_getter get)
{
    size_t shown = 0;

    for (size_t row = 0; row < report->count; row++) {
        const char *const value = get(&report->records[row]);
        bool seen = value == NULL;

        for (size_t before = 0; before < row && !seen; before++) {
            const char *const other = get(&report->records[before]);

            seen = other != NULL && strcmp(other, value) == 0;
        }
        if (seen)
            continue;
        fleck_text_add(text, shown++ > 0 ? ", " : "");
        html_add(text, value);
    }
    if (shown == 0)
        fleck_text_add(text, "unknown");
}

/* "1200" or "600 to 1200". */
static void add_range(fleck_text *text, const report_data *report, number_getter get, int digits)
{
    double least = NAN, greatest = NAN;

    for (size_t row = 0; row < report->count; row++) {
        least = fmin(least, get(&report->records[row]));
        greatest = fmax(greatest, get(&report->records[row]));
    }
    plot_number_add(text, least, digits);
    if (greatest > least * 1.001) {
        fleck_text_add(text, " to ");
        plot_number_add(text, greatest, digits);
    }
}

static bool any_calibration(const report_data *report, bool *all)
{
    size_t with = 0;

    for (size_t row = 0; row < report->count; row++)
        with += report->records[row].settings.calibration != NULL;
    *all = with == report->count;
    return with > 0;
}

static void add_thesis_text(fleck_text *text, const report_data *report)
{
    bool all_calibrated;
    const bool calibrated = any_calibration(report, &all_calibrated);

    fleck_text_add(text, "<p>");
    report_add_count(text, report->count, "patch", "patches");
    fleck_text_add(text, " of ");
    add_range(text, report, get_area, 3);
    fleck_text_add(text, " mm\xc2\xb2 ");
    fleck_text_add(text, report->count == 1 ? "was" : "were");
    fleck_text_add(text, " measured from scans at ");
    add_range(text, report, get_ppi, 4);
    fleck_text_add(text, " ppi with fleck ");
    html_add(text, report->program_version != NULL ? report->program_version : "of unknown version");
    fleck_text_add(text, ". Code values were turned into linear reflectance (tone curve: ");
    add_texts(text, report, get_tone);
    fleck_text_add(text, calibrated ? all_calibrated ? ", with a calibration" : ", some with a calibration"
                                    : ", no calibration: reflectance is relative to the scanner\xe2\x80\x99s white");
    fleck_text_add(text, "), taken from the channel ");
    add_texts(text, report, get_channel);
    fleck_text_add(text, ". Ink (");
    add_texts(text, report, get_ink);
    fleck_text_add(text, " on its paper) was told from bare paper at a threshold (");
    add_texts(text, report, get_threshold);
    fleck_text_add(text, "; Otsu 1979 unless fixed). A dot is an 8-connected component of ink, and it was counted "
                         "from an equivalent diameter (ISO 9276-6) of ");
    add_range(text, report, get_cutoff, 3);
    fleck_text_add(text, " mm on. Coverage is the share of ink pixels; its standard error comes from the integral "
                         "range (Matheron 1971; Kanit et al. 2003). Sizes and numbers of dots are corrected for the "
                         "border: dots that touch it are left out, all others are weighted by the inverse of their "
                         "chance to lie wholly inside (Miles 1974; Lantu\xc3\xa9joul 1978). Their intervals come from a "
                         "bootstrap of tiles (K\xc3\xbcnsch 1989). Distances to the nearest dot are corrected after "
                         "Hanisch (1984). Mean chords are mean intercepts along rows and columns (ASTM E1245). "
                         "Spectra were averaged over tiles of ");
    add_range(text, report, get_tile, 4);
    fleck_text_add(text, " pixels with half overlap and a Hann window. Whether dots cluster or keep apart was told "
                         "from L(r) (Ripley 1976; Besag 1977) against ");
    add_range(text, report, get_simulations, 4);
    fleck_text_add(text, " simulations with the patch\xe2\x80\x99s own dots (seed ");
    add_range(text, report, get_seed, 9);
    fleck_text_add(text, ").</p>\n");
    if (report->compared) {
        fleck_text_add(text, "<p>Groups by ");
        report_add_factor(text, report->options->by);
        fleck_text_add(text, " were compared with the ");
        html_add(text, report->compare.unit != NULL ? report->compare.unit : "patch");
        fleck_text_add_format(text,
                              " as the unit of replication: differences of means with intervals after Welch (1947), "
                              "permutation tests (Pitman 1937; seed %llu), corrected over the measures after Holm "
                              "(1979). Groups are called the same only where two one-sided tests (Schuirmann 1987) "
                              "put the difference within a tolerance given beforehand.",
                              (unsigned long long)report->compare.seed);
        if (report->related)
            fleck_text_add(text, " Straight lines were fitted by least squares.");
        fleck_text_add(text, "</p>\n");
    }
    if (report->edited) {
        fleck_text_add(text, "<p>The edition was judged print by print in the order of ");
        report_add_factor(text, report->edition.order);
        fleck_text_add(text, ": drift after Mann (1945) and Kendall, steps after Pettitt (1979), single prints after "
                             "Grubbs (1950), charts of individuals and moving ranges; corrected over the measures "
                             "after Holm (1979). It is called reproducible only where two one-sided tests (Schuirmann "
                             "1987) put the mean within the tolerance and no print lies outside.</p>\n");
    }
}

static void add_definitions(fleck_text *text, const report_data *report)
{
    fleck_text_add(text, "<h3>What each measure means</h3>\n<dl>\n");
    for (size_t i = 0; i < report->measure_count; i++) {
        const fleck_key *const key = fleck_key_find(report->measures[i]);

        if (key == NULL)
            continue;
        fleck_text_add(text, "<dt>");
        html_add_capital(text, key->label);
        fleck_text_add(text, " <code>");
        html_add(text, key->key);
        fleck_text_add(text, "</code></dt><dd>");
        html_add_capital(text, key->definition);
        fleck_text_add(text, ". <span class=\"small\">Source: ");
        html_add(text, key->source);
        fleck_text_add(text, ".</span></dd>\n");
    }
    fleck_text_add(text, "</dl>\n");
}

void report_add_methods(fleck_text *text, const report_data *report)
{
    fleck_text_add(text, "<section id=\"methods\" aria-labelledby=\"methods-title\">\n"
                         "<h2 id=\"methods-title\">How it was measured</h2>\n<div class=\"thesis\">\n");
    add_thesis_text(text, report);
    fleck_text_add(text, "</div>\n");
    add_definitions(text, report);
    fleck_text_add(text, "<h3>How to cite</h3>\n<p>fleck, version ");
    html_add(text, report->program_version != NULL ? report->program_version : "unknown");
    fleck_text_add(text, ": a program that measures speckled prints from scans (GPL-3.0-or-later). Give the version "
                         "and the sources above, and keep the run\xe2\x80\x99s folder: its records hold every number and "
                         "setting.</p>\n</section>\n");
}

static void add_hash(fleck_text *text, const char *hash)
{
    if (hash == NULL) {
        fleck_text_add(text, "\xe2\x80\x93");
        return;
    }
    fleck_text_add(text, "<code class=\"hash\">");
    html_add(text, hash);
    fleck_text_add(text, "</code>");
}

/* Calibrations and masks are few: each file once. */
static bool is_new_file(const report_data *report, size_t row, bool mask)
{
    const fleck_record *const record = &report->records[row];
    const char *const hash = mask ? record->settings.mask_sha256 : record->settings.calibration_sha256;
    const char *const path = mask ? record->settings.mask : record->settings.calibration;

    if (path == NULL)
        return false;
    for (size_t before = 0; before < row; before++) {
        const fleck_record *const other = &report->records[before];
        const char *const other_hash = mask ? other->settings.mask_sha256 : other->settings.calibration_sha256;
        const char *const other_path = mask ? other->settings.mask : other->settings.calibration;

        if (other_path != NULL && strcmp(other_path, path) == 0 && (hash == NULL) == (other_hash == NULL) &&
            (hash == NULL || strcmp(hash, other_hash) == 0))
            return false;
    }
    return true;
}

static void add_files(fleck_text *text, const report_data *report, bool mask)
{
    size_t shown = 0;

    for (size_t row = 0; row < report->count; row++) {
        const fleck_record *const record = &report->records[row];

        if (!is_new_file(report, row, mask))
            continue;
        fleck_text_add(text, shown++ > 0 ? "<br>" : "");
        html_add_name(text, mask ? record->settings.mask : record->settings.calibration);
        fleck_text_add(text, " ");
        add_hash(text, mask ? record->settings.mask_sha256 : record->settings.calibration_sha256);
    }
    if (shown == 0)
        fleck_text_add(text, "none");
}

void report_add_provenance(fleck_text *text, const report_data *report)
{
    fleck_text_add(text, "<section id=\"provenance\" aria-labelledby=\"provenance-title\">\n"
                         "<h2 id=\"provenance-title\">Where the numbers come from</h2>\n<dl class=\"facts\">\n"
                         "<dt>Measured by</dt><dd>fleck ");
    html_add(text, report->program_version != NULL ? report->program_version : "(version unknown)");
    if (report->started != NULL && report->finished != NULL) {
        fleck_text_add(text, ", ");
        html_add(text, report->started);
        fleck_text_add(text, " to ");
        html_add(text, report->finished);
    }
    fleck_text_add(text, "</dd>\n<dt>Report by</dt><dd>fleck ");
    html_add(text, fleck_version());
    fleck_text_add(text, "</dd>\n<dt>Calibration</dt><dd>");
    add_files(text, report, false);
    fleck_text_add(text, "</dd>\n<dt>Mask</dt><dd>");
    add_files(text, report, true);
    fleck_text_add(text, "</dd>\n</dl>\n<details><summary>Scans and their SHA-256</summary>\n"
                         "<div class=\"wide\"><table class=\"numbers files\"><caption>Each patch and the scan it was "
                         "taken from</caption>\n<thead><tr><th scope=\"col\">Patch</th><th scope=\"col\">Scan</th>"
                         "<th scope=\"col\">Region, mm</th><th scope=\"col\">Resolution</th>"
                         "<th scope=\"col\">SHA-256</th></tr></thead>\n<tbody>\n");
    for (size_t row = 0; row < report->count; row++) {
        const fleck_record *const record = &report->records[row];

        fleck_text_add(text, "<tr><th scope=\"row\">");
        html_add_name(text, fleck_study_id(report->study, row));
        fleck_text_add(text, "</th><td>");
        html_add_name(text, record->source.path != NULL ? record->source.path : "unknown");
        fleck_text_add(text, "</td><td>");
        plot_number_add(text, record->region.width_mm, 4);
        fleck_text_add(text, " \xc3\x97 ");
        plot_number_add(text, record->region.height_mm, 4);
        fleck_text_add(text, " from ");
        plot_number_add(text, record->region.x_mm, 4);
        fleck_text_add(text, ", ");
        plot_number_add(text, record->region.y_mm, 4);
        fleck_text_add(text, "</td><td>");
        plot_number_add(text, record->source.ppi_x, 4);
        fleck_text_add(text, " ppi (");
        html_add(text, record->source.ppi_from != NULL ? record->source.ppi_from : "unknown");
        fleck_text_add(text, ")</td><td>");
        add_hash(text, record->source.sha256);
        fleck_text_add(text, "</td></tr>\n");
    }
    fleck_text_add(text, "</tbody></table></div></details>\n</section>\n");
}
