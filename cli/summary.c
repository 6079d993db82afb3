/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "summary.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "bars.h"
#include "number_text.h"
#include "options.h"
#include "text_width.h"

struct cli_doubt {
    char code[64];
    char message[512];
    char path[512]; /* of the first patch */
    size_t patches;
    bool differ; /* the other patches' messages hold other figures */
};

/* "0.312 mm", or "-" for a number that cannot be given */
static const char *number(char buffer[48], double value, int decimals, const char *unit)
{
    if (isnan(value))
        return "-";
    snprintf(buffer, 48, "%.*f%s", decimals, value, unit);
    return buffer;
}

/* What to say right beside a number that a warning of the record puts in doubt; "" without it. */
static const char *doubt(const fleck_record *record, const char *code, const char *words)
{
    return fleck_warnings_has(&record->warnings, code) ? words : "";
}

/* " (95 % 0.352 to 0.391 UNIT)", "" when there is no interval */
static const char *interval(char buffer[96], const fleck_interval *ends, const char *unit)
{
    char lo[CLI_NUMBER_BYTES], hi[CLI_NUMBER_BYTES];
    const double half = (ends->hi - ends->lo) / 2;

    buffer[0] = '\0';
    if (isfinite(half))
        snprintf(buffer, 96, " (95 %% %s to %s%s)", cli_number_rounded(lo, ends->lo, half),
                 cli_number_rounded(hi, ends->hi, half), unit);
    return buffer;
}

/* A figure at the digits that its interval leaves it, at most `decimals`. */
static const char *figure(char buffer[48], double value, const fleck_interval *ends, int decimals,
                          const char *unit)
{
    char digits[CLI_NUMBER_BYTES];
    const int left = cli_decimals((ends->hi - ends->lo) / 2);

    if (isnan(value))
        return "-";
    snprintf(buffer, 48, "%.30s%s",
             cli_number_decimals(digits, value, left < decimals ? left : decimals), unit);
    return buffer;
}

/* "sizes  0.100 mm .:+#*-. 1.26 mm", each class a character */
static void print_sizes(FILE *out, const fleck_record_sizes *sizes, double cutoff_mm, bool draw)
{
    static const double step = 1.2589254117941673; /* a class of R10 */
    const fleck_series *const from_mm = &sizes->class_from_mm;
    char profile[CLI_BAR_BYTES];

    if (from_mm->count == 0)
        return;
    cli_profile(profile, sizes->class_number_share.values, sizes->class_number_share.count, draw);
    fprintf(out, "  %-16s %.3g mm |%s| %.3g mm\n", "  sizes", fmax(cutoff_mm, from_mm->values[0]),
            profile, from_mm->values[from_mm->count - 1] * step);
}

static void print_dots(FILE *out, const char *name, const fleck_sizes *sizes,
                       const fleck_record_sizes *more, double cutoff_mm, const char *in_doubt,
                       bool draw)
{
    char a[48], b[48], c[48], d[96];

    if (isnan(sizes->counted)) {
        fprintf(out, "  %-16s -\n", name);
        return;
    }
    fprintf(out, "  %-16s %.0f of %g mm and more, %.0f at the edge, %.0f smaller\n", name,
            sizes->counted, cutoff_mm, sizes->at_edge, sizes->below_cutoff);
    if (!(sizes->counted > 0))
        return;
    fprintf(out, "  %-16s %s%s\n", "  per cm2",
            figure(a, sizes->per_cm2, &more->intervals.per_cm2, 1, ""),
            interval(d, &more->intervals.per_cm2, ""));
    if (isnan(sizes->d50_mm)) {
        fprintf(out, "  %-16s -\n", "  median size");
        return;
    }
    fprintf(out, "  %-16s %s%s; a tenth below %s, a tenth above %s%s\n", "  median size",
            figure(a, sizes->d50_mm, &more->intervals.d50_mm, 3, " mm"),
            interval(d, &more->intervals.d50_mm, ""),
            figure(b, sizes->d10_mm, &more->intervals.d10_mm, 3, " mm"),
            figure(c, sizes->d90_mm, &more->intervals.d90_mm, 3, " mm"), in_doubt);
    print_sizes(out, more, cutoff_mm, draw);
}

static void print_coverage(FILE *out, const fleck_record *record, bool draw)
{
    const double coverage = 100 * record->ink.coverage;
    const double half = 1.96 * 100 * record->ink.coverage_se;
    char a[48], b[CLI_NUMBER_BYTES], c[CLI_NUMBER_BYTES], bar[CLI_BAR_BYTES];

    fprintf(out, "  %-16s ", "coverage");
    if (half > 0)
        fprintf(out, "%s %% %s %s (95 %%)", cli_number_rounded(b, coverage, half), draw ? "\u00b1" : "+-",
                cli_number_rounded(c, half, half));
    else
        fputs(number(a, coverage, 2, " %"), out);
    cli_bar(bar, record->ink.coverage, 20, draw);
    if (bar[0] != '\0')
        fprintf(out, "  [%s]", bar);
    fprintf(out, "%s%s%s\n",
            doubt(record, "threshold-in-noise", " - in doubt: the threshold lies within the noise"),
            doubt(record, "below-detection-limit", " - not above what blank paper gives"),
            doubt(record, "slow-variance", " - less sure than that"));
}

/* What the spectrum and the tiles say. */
static void print_texture(FILE *out, const fleck_record *record)
{
    const fleck_spectrum_features *const features = &record->spectrum_features;
    char a[48], b[48], c[48];

    fprintf(out, "  %-16s dominant spacing %s, direction %s, evenness %s (1: even)\n", "texture",
            isnan(features->dominant_spacing_mm) ? "none"
                                                 : number(a, features->dominant_spacing_mm, 2, " mm"),
            isnan(features->direction_deg) ? "none" : number(b, features->direction_deg, 0, " deg"),
            number(c, record->sampling.evenness, 2, ""));
}

void cli_print_summary(FILE *out, const fleck_record *record)
{
    const bool draw = cli_can_draw(out);
    const double cutoff_mm = record->settings.cutoff_mm;
    char a[48], b[48], c[48];

    cli_print_path(out, record->id);
    fprintf(out, "\n  %-16s ", "scan");
    cli_print_path(out, record->source.path);
    fprintf(out, ", %.0f x %.0f pixels, %g x %g ppi\n", record->source.width_px,
            record->source.height_px, record->source.ppi_x, record->source.ppi_y);
    fprintf(out, "  %-16s %s x %s\n", "measured", number(a, record->region.width_mm, 2, " mm"),
            number(b, record->region.height_mm, 2, " mm"));
    fprintf(out, "  %-16s %s\n", "speckle", record->speckle);
    print_coverage(out, record, draw);
    print_dots(out, "dots", &record->dots, &record->dots_sizes, cutoff_mm,
               fleck_warnings_has(&record->warnings, "dots-span")
                   ? " - one dot spans the patch: these mean nothing"
                   : doubt(record, "dots-merge", " - dots merge"),
               draw);
    fprintf(out, "  %-16s circularity %s, edges %s wide, median size by tone %s\n", "  shape",
            number(a, record->dots_shape.mean_circularity, 2, ""),
            number(b, record->dots_shape.mean_edge_width_mm, 3, " mm"),
            number(c, record->dots_shape.tone_d50_mm, 3, " mm"));
    if (record->split.parts >= 0)
        fprintf(out, "  %-16s %.0f parts, median size %s\n", "  split", record->split.parts,
                number(a, record->split.d50_mm, 3, " mm"));
    fprintf(out, "  %-16s %s from centre to nearest centre (median %s), gap %s\n", "dot spacing",
            number(a, record->spacing.nn_mean_mm, 3, " mm"),
            number(b, record->spacing.nn_median_mm, 3, " mm"),
            number(c, record->dots_shape.gap_mean_mm, 3, " mm"));
    fprintf(out, "  %-16s %s for dots of these sizes (p %s)\n", "pattern",
            record->pattern.order != NULL ? record->pattern.order : "cannot be told",
            number(a, record->pattern.order_p, 3, ""));
    fprintf(out, "  %-16s %s mean diameter, %s (of overlapping discs that give this pattern; fit p %s)%s\n",
            "grains", number(a, record->grain.mean_diameter_mm, 3, " mm"),
            number(b, record->grain.per_cm2, 0, " per cm2"), number(c, record->grain.fit_p, 2, ""),
            doubt(record, "grain-misfit", " - does not fit"));
    print_dots(out, "bare flecks", &record->flecks, &record->flecks_sizes, cutoff_mm, "", draw);
    fprintf(out, "  %-16s ink %s, bare paper %s\n", "mean chord",
            number(a, record->ink.mean_chord_mm, 3, " mm"),
            number(b, record->flecks_mean_chord_mm, 3, " mm"));
    print_texture(out, record);
    fprintf(out, "  %-16s mean reflectance %s, density %s\n", "tone",
            number(a, record->tone.mean_reflectance, 3, ""), number(b, record->tone.density, 3, ""));
    fprintf(out, "  %-16s %s at %s (ink %s, ", "threshold", record->settings.threshold,
            number(a, record->threshold.threshold_reflectance, 4, ""),
            number(b, record->threshold.ink_reflectance, 3, ""));
    fprintf(out, "bare %s, separability %s), channel %s\n",
            number(a, record->threshold.bare_reflectance, 3, ""),
            number(b, record->threshold.separability, 3, ""), record->settings.channel_used);
}

enum { TABLE_BAR = 10 };

void cli_print_table_head(FILE *out, int id_width)
{
    fprintf(out, "%-*s  coverage %-*s   dots  per cm2  median dot   spacing  bare chord  sizes\n",
            id_width, "patch", TABLE_BAR, "");
    fprintf(out, "%-*s         %% %-*s                          mm        mm          mm\n",
            id_width, "", TABLE_BAR, "");
}

void cli_print_table_row(FILE *out, int id_width, const fleck_record *record)
{
    const bool draw = cli_can_draw(out);
    const fleck_series *const shares = &record->dots_sizes.class_number_share;
    const int id_room = id_width - (int)cli_text_width(record->id, strlen(record->id));
    char cells[6][48], bar[CLI_BAR_BYTES], profile[CLI_BAR_BYTES];

    cli_bar(bar, record->ink.coverage, TABLE_BAR, draw);
    cli_print_path(out, record->id);
    fprintf(out, "%*s  %8s %s%*s %6s %8s %11s %9s %11s  %s\n", id_room > 0 ? id_room : 0, "",
            number(cells[0], 100 * record->ink.coverage, 2, ""), bar,
            bar[0] == '\0' ? TABLE_BAR : 0, "",
            number(cells[1], record->dots.counted, 0, ""),
            number(cells[2], record->dots.per_cm2, 1, ""),
            number(cells[3], record->dots.d50_mm, 3, ""),
            number(cells[4], record->spacing.nn_mean_mm, 3, ""),
            number(cells[5], record->flecks_mean_chord_mm, 3, ""),
            cli_profile(profile, shares->values, shares->count, draw));
}

void cli_print_warning(FILE *out, const char *path, const char *code, const char *message)
{
    fputs("fleck: ", out);
    cli_print_path(out, path);
    fprintf(out, ": warning %s: %s", code, message);
}

void cli_doubts_note(cli_doubts *doubts, const fleck_record *record)
{
    for (size_t i = 0; i < record->warnings.count; i++) {
        const fleck_warning *const warning = &record->warnings.items[i];
        size_t at = 0;

        if (strcmp(warning->code, "paper-differs") == 0)
            continue; /* said of each such scan, by name */
        while (at < doubts->count && strcmp(doubts->items[at].code, warning->code) != 0)
            at++;
        if (at == doubts->count) {
            if (doubts->count == doubts->capacity) {
                const size_t capacity = doubts->capacity > 0 ? 2 * doubts->capacity : 16;
                struct cli_doubt *items = realloc(doubts->items, capacity * sizeof *items);

                if (items == NULL) {
                    cli_print_warning(stderr, record->source.path, warning->code, warning->message);
                    fputc('\n', stderr);
                    continue;
                }
                doubts->items = items;
                doubts->capacity = capacity;
            }
            doubts->count++;
            doubts->items[at].patches = 0;
            doubts->items[at].differ = false;
            snprintf(doubts->items[at].code, sizeof doubts->items[at].code, "%s", warning->code);
            snprintf(doubts->items[at].message, sizeof doubts->items[at].message, "%s",
                     warning->message);
            snprintf(doubts->items[at].path, sizeof doubts->items[at].path, "%s",
                     record->source.path);
        } else if (strcmp(doubts->items[at].message, warning->message) != 0)
            doubts->items[at].differ = true;
        doubts->items[at].patches++;
    }
}

void cli_doubts_print(const cli_doubts *doubts, FILE *out)
{
    for (size_t i = 0; i < doubts->count; i++) {
        const struct cli_doubt *const doubt = &doubts->items[i];

        cli_print_warning(out, doubt->path, doubt->code, doubt->message);
        if (doubt->patches > 1)
            fprintf(out, doubt->differ ? " (and %zu more, each with its own figures in its record)"
                                       : " (and %zu more)",
                    doubt->patches - 1);
        fputc('\n', out);
    }
}

void cli_doubts_clear(cli_doubts *doubts)
{
    free(doubts->items);
    *doubts = (cli_doubts){ 0 };
}
