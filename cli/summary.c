/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "summary.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "options.h"

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

static void print_dots(FILE *out, const char *name, const fleck_sizes *sizes, double cutoff_mm,
                       const char *in_doubt)
{
    char a[48], b[48], c[48];

    if (isnan(sizes->counted)) {
        fprintf(out, "  %-16s -\n", name);
        return;
    }
    fprintf(out, "  %-16s %.0f of %g mm and more (%s), %.0f at the edge, %.0f smaller\n", name,
            sizes->counted, cutoff_mm, number(a, sizes->per_cm2, 1, " per cm2"), sizes->at_edge,
            sizes->below_cutoff);
    if (isnan(sizes->d50_mm))
        fprintf(out, "  %-16s -\n", "  median size");
    else
        fprintf(out, "  %-16s %s (a tenth below %s, a tenth above %s)%s\n", "  median size",
                number(a, sizes->d50_mm, 3, " mm"), number(b, sizes->d10_mm, 3, " mm"),
                number(c, sizes->d90_mm, 3, " mm"), in_doubt);
}

void cli_print_summary(FILE *out, const fleck_record *record)
{
    char a[48], b[48], c[48];

    fprintf(out, "%s\n", record->id);
    fprintf(out, "  %-16s %s, %.0f x %.0f pixels, %g x %g ppi\n", "scan", record->source.path,
            record->source.width_px, record->source.height_px, record->source.ppi_x,
            record->source.ppi_y);
    fprintf(out, "  %-16s %s x %s\n", "measured", number(a, record->region.width_mm, 2, " mm"),
            number(b, record->region.height_mm, 2, " mm"));
    fprintf(out, "  %-16s %s\n", "speckle", record->speckle);
    fprintf(out, "  %-16s %s%s%s\n", "coverage", number(a, 100 * record->ink.coverage, 2, " %"),
            doubt(record, "threshold-in-noise", " - in doubt: the threshold lies within the noise"),
            doubt(record, "below-detection-limit", " - not above what blank paper gives"));
    print_dots(out, "dots", &record->dots, record->settings.cutoff_mm,
               fleck_warnings_has(&record->warnings, "dots-span")
                   ? " - one dot spans the patch: these mean nothing"
                   : doubt(record, "dots-merge", " - dots merge"));
    fprintf(out, "  %-16s %s from centre to nearest centre (median %s)\n", "dot spacing",
            number(a, record->spacing.nn_mean_mm, 3, " mm"),
            number(b, record->spacing.nn_median_mm, 3, " mm"));
    fprintf(out, "  %-16s %s mean diameter, %s (of overlapping discs that give this pattern; fit p %s)%s\n",
            "grains", number(a, record->grain.mean_diameter_mm, 3, " mm"),
            number(b, record->grain.per_cm2, 0, " per cm2"), number(c, record->grain.fit_p, 2, ""),
            doubt(record, "grain-misfit", " - does not fit"));
    print_dots(out, "bare flecks", &record->flecks, record->settings.cutoff_mm, "");
    fprintf(out, "  %-16s ink %s, bare paper %s\n", "mean chord",
            number(a, record->ink.mean_chord_mm, 3, " mm"),
            number(b, record->flecks_mean_chord_mm, 3, " mm"));
    fprintf(out, "  %-16s mean reflectance %s, density %s\n", "tone",
            number(a, record->tone.mean_reflectance, 3, ""), number(b, record->tone.density, 3, ""));
    fprintf(out, "  %-16s %s at %s (ink %s, ", "threshold", record->settings.threshold,
            number(a, record->threshold.threshold_reflectance, 4, ""),
            number(b, record->threshold.ink_reflectance, 3, ""));
    fprintf(out, "bare %s, separability %s), channel %s\n",
            number(a, record->threshold.bare_reflectance, 3, ""),
            number(b, record->threshold.separability, 3, ""), record->settings.channel_used);
    fprintf(out, "  %-16s %s tiles of %s px\n", "spectrum", number(a, record->spectrum_tiles, 0, ""),
            number(c, record->spectrum_tile_px, 0, ""));
}

void cli_print_table_head(FILE *out, int id_width)
{
    fprintf(out, "%-*s  coverage   dots  per cm2  median dot   spacing  bare chord\n", id_width,
            "patch");
    fprintf(out, "%-*s         %%                          mm        mm          mm\n", id_width, "");
}

void cli_print_table_row(FILE *out, int id_width, const fleck_record *record)
{
    char cells[6][48];

    fprintf(out, "%-*s  %8s %6s %8s %11s %9s %11s\n", id_width, record->id,
            number(cells[0], 100 * record->ink.coverage, 2, ""),
            number(cells[1], record->dots.counted, 0, ""),
            number(cells[2], record->dots.per_cm2, 1, ""),
            number(cells[3], record->dots.d50_mm, 3, ""),
            number(cells[4], record->spacing.nn_mean_mm, 3, ""),
            number(cells[5], record->flecks_mean_chord_mm, 3, ""));
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
