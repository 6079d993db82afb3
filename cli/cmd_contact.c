/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "commands.h"
#include "fleck/contact.h"
#include "study_call.h"
#include "table.h"

enum option_id {
    LOAD,
    BANDS,
    ACROSS,
    PPI,
    PIXEL,
    REGION,
    THRESHOLD,
    INK,
    CHANNEL,
    CALIBRATION,
    PAGE
};

static const cli_option options[] = {
    { "load", '\0', "KG", "weight on the pad in kg, as a scale under the board shows it", LOAD },
    { "bands", '\0', "N", "stripes of equal width (default 5)", BANDS },
    { "across", '\0', "x|y",
      "where the stripes lie: x (default) side by side from left to right, for a stroke that ran "
      "up or "
      "down the scan; y one below the other, for a stroke that ran from side to side",
      ACROSS },
    { "region", '\0', "X,Y,W,H", "the trace's box, in mm from the scan's top left", REGION },
    { "threshold", '\0', "HOW", "otsu (default), local[:MM], or fixed:R at reflectance R",
      THRESHOLD },
    { "ink", '\0', "TONE", "dark (default), or light for a pale trace on dark paper", INK },
    { "channel", '\0', "NAME", "auto (default), luminance, red, green or blue", CHANNEL },
    { "calibration", '\0', "FILE", "calibration of the scanner, made by fleck calibrate",
      CALIBRATION },
    { "ppi", '\0', "N[,M]", "pixels per inch, along x and y, instead of what the file says", PPI },
    { "pixel", '\0', "UM[,UM]", "size of a pixel in micrometres", PIXEL },
    { "page", '\0', "N", "page of a TIFF with several", PAGE },
    CLI_STUDY_JSON_ROW,
    CLI_STUDY_OUT_ROW,
};

struct call {
    cli_study_call study;
    fleck_contact_options options;
    fleck_measure_options measure;
};

static bool set_threshold(fleck_measure_options *measure, const char *value, char why[256])
{
    if (strcmp(value, "otsu") == 0) {
        measure->threshold = FLECK_THRESHOLD_OTSU;
        return true;
    }
    if (strcmp(value, "local") == 0 ||
        (strncmp(value, "local:", 6) == 0 && cli_number(value + 6, &measure->window_mm))) {
        measure->threshold = FLECK_THRESHOLD_LOCAL;
        return true;
    }
    if (strncmp(value, "fixed:", 6) == 0 && cli_number(value + 6, &measure->fixed_reflectance)) {
        measure->threshold = FLECK_THRESHOLD_FIXED;
        return true;
    }
    snprintf(why, 256, "is no threshold for a trace; give otsu, local, local:MM or fixed:R");
    return false;
}

static bool set_channel(fleck_measure_options *measure, const char *value, char why[256])
{
    for (int channel = FLECK_CHANNEL_LUMINANCE; channel <= FLECK_CHANNEL_AUTO; channel++) {
        if (strcmp(value, fleck_channel_name((fleck_channel)channel)) == 0) {
            measure->channel = (fleck_channel)channel;
            return true;
        }
    }
    snprintf(why, 256, "is no channel; give auto, luminance, red, green or blue");
    return false;
}

static bool set_resolution(fleck_measure_options *measure, const char *value, bool pixel,
                           char why[256])
{
    double numbers[2];

    if (measure->ppi_x > 0) {
        snprintf(why, 256, "comes after another resolution; give --ppi or --pixel, once");
        return false;
    }
    if (!cli_pair(value, pixel ? "micrometres such as 42.3" : "pixels per inch such as 600",
                  numbers, why))
        return false;
    measure->ppi_x = pixel ? 25400 / numbers[0] : numbers[0];
    measure->ppi_y = pixel ? 25400 / numbers[1] : numbers[1];
    return true;
}

static bool set_option(void *context, int id, const char *value, char why[256])
{
    struct call *const call = context;
    fleck_measure_options *const measure = &call->measure;
    double box[4];

    if (id >= CLI_STUDY_FIRST)
        return cli_study_set(&call->study, id, value, why);
    switch ((enum option_id)id) {
    case LOAD:
        if (cli_number(value, &call->options.load_kg) && call->options.load_kg > 0)
            return true;
        snprintf(why, 256, "is no weight; give kg above 0, with a point for the decimals");
        return false;
    case BANDS:
        if (cli_count(value, &call->options.bands) && call->options.bands >= 1 &&
            call->options.bands <= FLECK_CONTACT_BANDS)
            return true;
        snprintf(why, 256, "is no number of bands; give 1 to %d", FLECK_CONTACT_BANDS);
        return false;
    case ACROSS:
        call->options.across_y = strcmp(value, "y") == 0;
        if (call->options.across_y || strcmp(value, "x") == 0)
            return true;
        snprintf(why, 256, "is neither x nor y; give one of them");
        return false;
    case PPI:
        return set_resolution(measure, value, false, why);
    case PIXEL:
        return set_resolution(measure, value, true, why);
    case REGION:
        measure->has_region = true;
        if (cli_numbers(value, box, 4)) {
            measure->region = (fleck_box_mm){ box[0], box[1], box[2], box[3] };
            return true;
        }
        snprintf(why, 256, "is no region; give four numbers X,Y,W,H in mm");
        return false;
    case THRESHOLD:
        return set_threshold(measure, value, why);
    case INK:
        measure->ink = strcmp(value, "light") == 0 ? FLECK_INK_LIGHT : FLECK_INK_DARK;
        if (strcmp(value, "light") == 0 || strcmp(value, "dark") == 0)
            return true;
        snprintf(why, 256, "is neither dark nor light; give one of them");
        return false;
    case CHANNEL:
        return set_channel(measure, value, why);
    case CALIBRATION:
        measure->calibration_path = value;
        return true;
    case PAGE:
        if (cli_count(value, &measure->page) && measure->page >= 1)
            return true;
        snprintf(why, 256, "is no page; give a whole number of 1 or more");
        return false;
    }
    return false;
}

static void add_part(cli_table *table, const fleck_contact_part *part)
{
    cli_table_add_decimals(table, part->area_mm2, CLI_DECIMALS_UNKNOWN);
    cli_table_add_decimals(table, part->contact_mm2, CLI_DECIMALS_UNKNOWN);
    cli_table_add_decimals(table, 100 * part->contact_fraction, 1);
    cli_table_add_decimals(table, part->load_kg, CLI_DECIMALS_UNKNOWN);
    cli_table_add_decimals(table, part->mean_pressure_kpa, CLI_DECIMALS_UNKNOWN);
}

static int print_contact(const fleck_contact *contact)
{
    const cli_column columns[] = {
        { contact->across_y ? "from top to bottom\nmm" : "from left to right\nmm", CLI_LEFT },
        { "area\nmm2", CLI_RIGHT },
        { "contact\nmm2", CLI_RIGHT },
        { "contact\n%", CLI_RIGHT },
        { "load\nkg", CLI_RIGHT },
        { "mean pressure\nkPa", CLI_RIGHT },
    };
    cli_table *table = cli_table_new(columns, sizeof columns / sizeof *columns);
    size_t count;
    const char *const *cautions = fleck_contact_cautions(&count);
    int code;

    cli_print_path(stdout, contact->path);
    fputc('\n', stdout);
    for (size_t i = 0; i < contact->band_count && contact->band_count > 1; i++) {
        cli_table_add_format(table, "%.1f to %.1f", contact->bands[i].from_mm,
                             contact->bands[i].to_mm);
        add_part(table, &contact->bands[i]);
    }
    cli_table_add_gap(table);
    cli_table_add(table, "whole");
    add_part(table, &contact->whole);
    code = cli_table_print(table, stdout, 2);
    cli_table_free(table);
    fputc('\n', stdout);
    for (size_t i = 0; i < count; i++)
        cli_print_note(stdout, "  ", cautions[i]);
    return code;
}

static int run(const cli_command *command, int count, char **words)
{
    struct call call = { .study = cli_study_call_default(),
                         .options = fleck_contact_options_default(),
                         .measure = fleck_measure_options_default() };
    const char **names = calloc((size_t)count + 1, sizeof *names);
    fleck_contact contact = { 0 };
    fleck_error err = { 0 };
    size_t name_count = 0;
    fleck_status status;
    int code;

    if (names == NULL) {
        cli_say("contact", "no memory for the call; free some memory");
        return EXIT_MACHINE;
    }
    code = cli_parse(command, count, words, set_option, &call, names, &name_count);
    if (code >= 0)
        goto done;
    code = EXIT_CALL;
    if (name_count != 1) {
        cli_say("contact",
                "one scan of a trace is wanted; give it, such as: fleck contact trace.png "
                "--load 5");
        goto done;
    }
    if (isnan(call.options.load_kg)) {
        cli_say("contact",
                "the load is missing; give the weight on the pad in kg, such as --load 5");
        goto done;
    }
    call.options.measure = &call.measure;
    status = fleck_contact_measure(names[0], &call.options, &contact, &err);
    if (status != FLECK_OK) {
        code = cli_say_failure(names[0], status, &err);
        goto done;
    }
    code = call.study.json ? EXIT_DONE : print_contact(&contact);
    cli_study_warn(contact.path, &contact.warnings);
    if (code == EXIT_DONE)
        code = cli_study_finish(&call.study, "contact", fleck_contact_to_json(&contact),
                                fleck_contact_to_csv(&contact));
done:
    fleck_contact_clear(&contact);
    cli_study_call_clear(&call.study);
    free(names);
    return code;
}

const cli_command cli_command_contact = {
    .name = "contact",
    .arguments = "SCAN --load KG [options]",
    .summary = "contact area and mean pressure from a trace of carbon paper",
    .text =
        "Lay carbon paper, ink side down, on plain paper, rub once with the baren under a known "
        "weight, and scan the trace. Inked is where there was contact. Mean pressure is the weight "
        "times 9.80665 m/s2 over the contact area; in a band it rests on the same part of the "
        "weight "
        "for each band.",
    .options = options,
    .option_count = sizeof options / sizeof *options,
    .run = run,
};
