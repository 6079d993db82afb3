/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "commands.h"
#include "fleck/memory.h"
#include "formula_warning.h"
#include "interrupt.h"
#include "measure_pictures.h"
#include "summary.h"
#include "text_width.h"

enum option_id {
    PPI,
    PIXEL,
    CHANNEL,
    INK,
    THRESHOLD,
    CALIBRATION,
    CUTOFF,
    REGION,
    TILT,
    MARGIN,
    MASK,
    TILE,
    SEED,
    SIMULATIONS,
    SPLIT,
    PHASE,
    PAGE,
    JOBS,
    MEMORY,
    RESUME,
    SLICE,
    RUN,
    PICTURES,
    PICTURE_SCALE,
    SHEET_BY,
    JSON,
    QUIET
};

static const cli_option options[] = {
    { "run", 'o', "RUN", "write the run to this folder: patches.csv, records, dots", RUN },
    { "pictures", '\0', NULL,
      "with -o: draw each patch with the outlines of its dots, and all of them on a contact sheet",
      PICTURES },
    { "picture-scale", '\0', "X",
      "picture pixels per scan pixel (default: chosen from the patch; 3 below 2000 pixels)",
      PICTURE_SCALE },
    { "sheet-by", '\0', "COLUMN", "order the contact sheet by this column of the manifest", SHEET_BY },
    { "json", '\0', NULL, "print the record as JSON; an array for several patches", JSON },
    { "ppi", '\0', "N[,M]", "pixels per inch, along x and y, instead of what the file says", PPI },
    { "pixel", '\0', "UM[,UM]", "size of a pixel in micrometres, for a microscope picture", PIXEL },
    { "channel", '\0', "NAME",
      "auto, luminance, red, green or blue (auto: where ink and paper differ most, the same for all "
      "patches of the call)",
      CHANNEL },
    { "ink", '\0', "TONE", "dark (default), or light for pale pigment on dark paper", INK },
    { "threshold", '\0', "HOW",
      "otsu (default: each patch's own), pooled (one from all patches of the call), local[:MM] (in "
      "windows of MM, for cockled paper), or fixed:R at reflectance R",
      THRESHOLD },
    { "calibration", '\0', "FILE", "calibration of the scanner, made by fleck calibrate", CALIBRATION },
    { "cutoff", '\0', "MM", "diameter from which a dot counts (default 0.1)", CUTOFF },
    { "region", '\0', "X,Y,W,H",
      "measure this box, in mm from the scan's top left; given several times, each box is a patch of "
      "its own, called NAME-1, NAME-2 and so on",
      REGION },
    { "tilt", '\0', "DEG", "turn the region about its centre, anticlockwise", TILT },
    { "margin", '\0', "MM", "keep this much off on all sides of region and mask", MARGIN },
    { "mask", '\0', "FILE",
      "measure only where this picture, of the scan's size in pixels, is white", MASK },
    { "tile", '\0', "PX", "side of the spectrum's tiles in pixels (default: about 10.8 mm)", TILE },
    { "seed", '\0', "N", "of what is drawn by chance, intervals and simulations (default 1)", SEED },
    { "simulations", '\0', "N",
      "simulated patches for the verdict clustered, random or regular (default 99; 0: no verdict)",
      SIMULATIONS },
    { "split", '\0', NULL,
      "also part dots that touch, where they narrow: the group split beside the unsplit numbers", SPLIT },
    { "phase", '\0', "WHICH",
      "what of a run has a table of single sizes and shapes: ink (default: dots/ID.csv), or both "
      "(flecks/ID.csv of bare paper too)",
      PHASE },
    { "page", '\0', "N", "page of a TIFF with several", PAGE },
    { "jobs", '\0', "N", "threads (default: one for each core); never changes a number", JOBS },
    { "memory", '\0', "SIZE",
      "for pixels and dots, such as 500M; what is more goes into temporary files. Never changes a "
      "number (default: a quarter of the machine's)", MEMORY },
    { "slice", '\0', "I/N",
      "with -o: measure only slice I of N, to be put together by fleck gather", SLICE },
    { "resume", '\0', NULL, "go on with an interrupted run in the folder of -o", RESUME },
    { "quiet", 'q', NULL, "no progress and no table; warnings stay", QUIET },
};

struct call {
    fleck_measure_options options;
    const char *run_folder;
    cli_pictures pictures;
    fleck_box_mm *regions; /* all of --region, with room for one per word */
    size_t region_count;
    size_t slice, slice_of; /* 0: all */
    bool json, quiet;

    /* while it runs */
    size_t patch_count;
    int id_width;
    size_t printed;
    bool terminal;
    bool line_open; /* a progress line stands on the terminal */
    struct timespec started, last_said;
    cli_doubts doubts;
    bool out_of_memory;
};

/* "I/N" */
static bool set_slice(struct call *call, const char *value, char why[256])
{
    const char *const bar = strchr(value, '/');
    char first[24] = "";

    if (bar != NULL && (size_t)(bar - value) < sizeof first) {
        memcpy(first, value, (size_t)(bar - value));
        if (cli_count(first, &call->slice) && cli_count(bar + 1, &call->slice_of) && call->slice >= 1 &&
            call->slice <= call->slice_of)
            return true;
    }
    snprintf(why, 256, "is no slice; write one such as 2/5, the second of five");
    return false;
}

static bool set_resolution(struct call *call, const char *value, double scale, char why[256])
{
    double numbers[2];

    if (call->options.ppi_x > 0) {
        snprintf(why, 256, "comes after another resolution; give --ppi or --pixel, once");
        return false;
    }
    if (!cli_pair(value, scale > 0 ? "micrometres such as 5.3" : "pixels per inch such as 600",
                  numbers, why))
        return false;
    call->options.ppi_x = scale > 0 ? scale / numbers[0] : numbers[0];
    call->options.ppi_y = scale > 0 ? scale / numbers[1] : numbers[1];
    return true;
}

static bool set_channel(struct call *call, const char *value, char why[256])
{
    for (int channel = FLECK_CHANNEL_LUMINANCE; channel <= FLECK_CHANNEL_AUTO; channel++) {
        if (strcmp(value, fleck_channel_name((fleck_channel)channel)) == 0) {
            call->options.channel = (fleck_channel)channel;
            return true;
        }
    }
    snprintf(why, 256, "is no channel; give auto, luminance, red, green or blue");
    return false;
}

static bool set_threshold(struct call *call, const char *value, char why[256])
{
    if (strcmp(value, "otsu") == 0) {
        call->options.threshold = FLECK_THRESHOLD_OTSU;
        return true;
    }
    if (strcmp(value, "pooled") == 0) {
        call->options.threshold = FLECK_THRESHOLD_POOLED;
        return true;
    }
    if (strcmp(value, "local") == 0 ||
        (strncmp(value, "local:", 6) == 0 && cli_number(value + 6, &call->options.window_mm))) {
        call->options.threshold = FLECK_THRESHOLD_LOCAL;
        return true;
    }
    if (strncmp(value, "fixed:", 6) == 0 && cli_number(value + 6, &call->options.fixed_reflectance)) {
        call->options.threshold = FLECK_THRESHOLD_FIXED;
        return true;
    }
    snprintf(why, 256,
             "is no threshold; give otsu, pooled, local or local:MM, or fixed:R with a reflectance R such as fixed:0.4");
    return false;
}

static bool set_number(double *into, const char *value, char why[256])
{
    if (cli_number(value, into))
        return true;
    snprintf(why, 256, "is no number; give one in mm, with a point for the decimals");
    return false;
}

static bool set_count(size_t *into, const char *value, size_t least, char why[256])
{
    if (cli_count(value, into) && *into >= least)
        return true;
    snprintf(why, 256, "is no count; give a whole number of %zu or more", least);
    return false;
}

static bool set_option(void *context, int id, const char *value, char why[256])
{
    struct call *const call = context;
    double box[4];
    size_t count = 0;

    switch ((enum option_id)id) {
    case PPI:
        return set_resolution(call, value, 0, why);
    case PIXEL:
        return set_resolution(call, value, 25400, why);
    case CHANNEL:
        return set_channel(call, value, why);
    case INK:
        call->options.ink = strcmp(value, "light") == 0 ? FLECK_INK_LIGHT : FLECK_INK_DARK;
        if (strcmp(value, "light") == 0 || strcmp(value, "dark") == 0)
            return true;
        snprintf(why, 256, "is neither dark nor light; give one of them");
        return false;
    case THRESHOLD:
        return set_threshold(call, value, why);
    case CALIBRATION:
        call->options.calibration_path = value;
        return true;
    case CUTOFF:
        return set_number(&call->options.cutoff_mm, value, why);
    case REGION:
        if (!cli_numbers(value, box, 4)) {
            snprintf(why, 256, "is no region; give four numbers X,Y,W,H in mm");
            return false;
        }
        call->options.has_region = true;
        call->options.region = (fleck_box_mm){ box[0], box[1], box[2], box[3] };
        call->regions[call->region_count++] = call->options.region;
        return true;
    case TILT:
        if (cli_number(value, &call->options.tilt_deg))
            return true;
        snprintf(why, 256, "is no number; give degrees, with a point for the decimals");
        return false;
    case MARGIN:
        return set_number(&call->options.margin_mm, value, why);
    case MASK:
        call->options.mask_path = value;
        if (*value != '\0')
            return true;
        snprintf(why, 256, "is no file; give its name");
        return false;
    case TILE:
        return set_count(&call->options.tile_px, value, 1, why);
    case SEED:
        return set_count(&call->options.seed, value, 0, why);
    case SIMULATIONS:
        return set_count(&call->options.simulations, value, 0, why);
    case SPLIT:
        call->options.split = true;
        return true;
    case PHASE:
        call->options.flecks_table = strcmp(value, "both") == 0;
        if (call->options.flecks_table || strcmp(value, "ink") == 0)
            return true;
        snprintf(why, 256, "is no choice of tables; give ink or both");
        return false;
    case PAGE:
        return set_count(&call->options.page, value, 1, why);
    case JOBS:
        if (!set_count(&count, value, 1, why))
            return false;
        call->options.jobs = count <= 1024 ? (unsigned)count : 1025; /* the library says what is wrong */
        return true;
    case MEMORY:
        if (cli_bytes(value, &call->options.memory_bytes))
            return true;
        snprintf(why, 256, "is no size; give bytes, or a number with K, M or G such as 500M");
        return false;
    case RESUME:
        call->options.resume = true;
        return true;
    case SLICE:
        return set_slice(call, value, why);
    case RUN:
        call->run_folder = value;
        if (*value != '\0')
            return true;
        snprintf(why, 256, "is no folder; give its name");
        return false;
    case PICTURES:
        call->pictures.wanted = true;
        return true;
    case PICTURE_SCALE:
        if (cli_number(value, &call->pictures.options.scale) && call->pictures.options.scale > 0)
            return true;
        snprintf(why, 256, "is no scale; give picture pixels per scan pixel, such as 3 or 0.5");
        return false;
    case SHEET_BY:
        call->pictures.sheet_by = value;
        return true;
    case JSON:
        call->json = true;
        return true;
    case QUIET:
        call->quiet = true;
        return true;
    }
    return false;
}

static double seconds_since(const struct timespec *start)
{
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)(now.tv_sec - start->tv_sec) + 1e-9 * (double)(now.tv_nsec - start->tv_nsec);
}

static void close_line(struct call *call)
{
    if (call->line_open)
        fputs("\r\033[K", stderr);
    call->line_open = false;
}

static void on_record(void *context, const fleck_record *record)
{
    struct call *const call = context;

    cli_pictures_record(&call->pictures, record);
    close_line(call);
    if (call->json) {
        char *const text = fleck_record_to_json(record);

        if (text == NULL) {
            call->out_of_memory = true;
            return;
        }
        if (call->patch_count > 1)
            fputs(call->printed == 0 ? "[\n" : ",\n", stdout);
        if (call->patch_count > 1)
            text[strlen(text) - 1] = '\0'; /* the comma comes before the newline */
        fputs(text, stdout);
        fleck_free(text);
    } else if (!call->quiet) {
        if (call->patch_count == 1) {
            cli_print_summary(stdout, record);
        } else {
            if (call->printed == 0)
                cli_print_table_head(stdout, call->id_width);
            cli_print_table_row(stdout, call->id_width, record);
        }
    }
    call->printed++;
    cli_doubts_note(&call->doubts, record);
}

static fleck_status on_patch(void *context, const fleck_patch_view *view, fleck_error *err)
{
    struct call *const call = context;

    return cli_pictures_patch(&call->pictures, view, err);
}

static void on_failure(void *context, const char *path, const char *message)
{
    close_line(context);
    cli_say(path, message);
}

static void on_warning(void *context, const char *path, const char *code, const char *message)
{
    close_line(context);
    fflush(stdout);
    cli_print_warning(stderr, path, code, message);
    fputc('\n', stderr);
}

static void on_progress(void *context, size_t done, size_t count)
{
    struct call *const call = context;
    const double so_far = seconds_since(&call->started);
    const double pause = call->terminal ? 0.2 : 10; /* seconds between two messages */
    const double rate = so_far > 0 ? (double)done / so_far : 0;

    if (call->quiet || count < 2 || done == count || seconds_since(&call->last_said) < pause)
        return;
    clock_gettime(CLOCK_MONOTONIC, &call->last_said);
    close_line(call);
    fprintf(stderr, "%s%zu of %zu patches, %.1f per second, about %.0f s left%s",
            call->terminal ? "" : "fleck: ", done, count, rate,
            rate > 0 ? ceil((double)(count - done) / rate) : 0, call->terminal ? "" : "\n");
    call->line_open = call->terminal;
}

static bool on_stop(void *context)
{
    (void)context;
    return cli_interrupted() != 0;
}

/* Stopped by a signal: the exit code is the shell's for one. */
static int say_stopped(const struct call *call)
{
    const char *const name = cli_signal_name(cli_interrupted());

    fputs("fleck: ", stderr);
    cli_print_path(stderr, call->run_folder != NULL ? call->run_folder : "measure");
    if (call->run_folder != NULL)
        fprintf(stderr, ": stopped by %s; what is in the folder is whole, go on with --resume\n", name);
    else
        fprintf(stderr, ": stopped by %s; call it again, with -o RUN to be able to go on\n", name);
    return 128 + cli_interrupted();
}

static int longest_id(const fleck_inputs *inputs)
{
    size_t longest = 5;

    for (size_t i = 0; i < inputs->count; i++) {
        const char *const id = inputs->items[i].id;
        const size_t length = cli_text_width(id, strlen(id));

        if (length > longest)
            longest = length < 40 ? length : 40;
    }
    return (int)longest;
}

static int measure(struct call *call, const fleck_inputs *inputs)
{
    fleck_measure_observer observer = fleck_measure_observer_default();
    fleck_measure_summary summary;
    fleck_error err = { 0 };
    fleck_status status;
    int code;

    observer.context = call;
    observer.record = on_record;
    observer.failure = on_failure;
    observer.patch = call->pictures.wanted ? on_patch : NULL;
    observer.warning = on_warning;
    observer.progress = on_progress;
    observer.stop = on_stop;
    call->patch_count = inputs->count;
    call->id_width = longest_id(inputs);
    call->terminal = isatty(STDERR_FILENO) == 1;
    clock_gettime(CLOCK_MONOTONIC, &call->started);
    call->last_said = call->started;
    if (call->run_folder != NULL)
        cli_warn_of_formulas(inputs);
    cli_interrupt_begin();
    status = fleck_measure(inputs, &call->options, call->run_folder, &observer, &summary, &err);
    close_line(call);
    fflush(stdout); /* before what goes to stderr, for those who read both in one place */
    if (status == FLECK_OK && call->json && call->patch_count > 1)
        fputs(call->printed > 0 ? "\n]\n" : "[]\n", stdout);
    cli_doubts_print(&call->doubts, stderr);
    if (status == FLECK_NO_RESOURCE && cli_interrupted() != 0)
        return say_stopped(call);
    if (status != FLECK_OK) {
        cli_say(call->run_folder != NULL ? call->run_folder : "measure", err.message);
        if (status == FLECK_NO_RESOURCE && call->run_folder != NULL)
            cli_say(call->run_folder, "what is in the folder is whole; go on with --resume");
        return cli_exit_code(status);
    }
    code = cli_pictures_end(&call->pictures);
    if (call->run_folder != NULL && !call->quiet)
        cli_say_parts(call->run_folder, "%zu measured, %zu failed; the table is patches.csv",
                      summary.measured, summary.failed);
    if (fflush(stdout) != 0 || ferror(stdout) || call->out_of_memory) {
        fputs("fleck: stdout: cannot be written; make room and try again\n", stderr);
        return EXIT_MACHINE;
    }
    return code == EXIT_DONE && summary.failed > 0 ? EXIT_INPUT : code;
}

/* Check the options, several regions one by one, and gather the patches. */
static fleck_status prepare(struct call *call, const char *const *names, size_t name_count,
                            fleck_inputs *inputs, fleck_error *err)
{
    fleck_status status = fleck_measure_options_check(&call->options, err);

    for (size_t i = 0; status == FLECK_OK && i + 1 < call->region_count; i++) {
        fleck_measure_options one = call->options;

        one.region = call->regions[i];
        status = fleck_measure_options_check(&one, err);
    }
    if (status == FLECK_OK)
        status = fleck_inputs_gather(names, name_count, inputs, err);
    if (status == FLECK_OK && call->region_count > 1) {
        status = fleck_inputs_split_regions(inputs, call->regions, call->region_count,
                                            call->options.tilt_deg, err);
        call->options.has_region = false; /* each patch has one of its own now */
        call->options.tilt_deg = 0;
    }
    if (status == FLECK_OK && call->slice_of > 0)
        status = fleck_inputs_take_slice(inputs, call->slice, call->slice_of, err);
    return status;
}

static int run(const cli_command *command, int count, char **words)
{
    struct call call = { .options = fleck_measure_options_default(),
                         .pictures = cli_pictures_default() };
    const char **names = calloc((size_t)count + 1, sizeof *names);
    fleck_inputs inputs = { 0 };
    fleck_error err = { 0 };
    size_t name_count = 0;
    fleck_status status;
    int code;

    call.regions = calloc((size_t)count + 1, sizeof *call.regions);
    if (names == NULL || call.regions == NULL) {
        free(names);
        free(call.regions);
        fputs("fleck: measure: no memory for the call; free some memory\n", stderr);
        return EXIT_MACHINE;
    }
    code = cli_parse(command, count, words, set_option, &call, names, &name_count);
    if (code >= 0)
        goto done;
    if (name_count == 0) {
        fputs("fleck: measure: no scan is named; give a scan, a folder or a manifest\n", stderr);
        code = EXIT_CALL;
        goto done;
    }
    if (call.options.resume && call.run_folder == NULL) {
        fputs("fleck: --resume: there is no run to go on with; name its folder with -o RUN\n", stderr);
        code = EXIT_CALL;
        goto done;
    }
    if (call.slice_of > 0 && call.run_folder == NULL) {
        fputs("fleck: --slice: a slice is of use in a folder only; name one with -o RUN\n", stderr);
        code = EXIT_CALL;
        goto done;
    }
    status = prepare(&call, names, name_count, &inputs, &err);
    if (status != FLECK_OK) {
        cli_say("measure", err.message);
        code = cli_exit_code(status);
        goto done;
    }
    code = cli_pictures_begin(&call.pictures, call.run_folder, &inputs);
    if (code < 0)
        code = measure(&call, &inputs);
done:
    cli_pictures_clear(&call.pictures);
    fleck_inputs_clear(&inputs);
    cli_doubts_clear(&call.doubts);
    free(call.regions);
    free(names);
    return code;
}

const cli_command cli_command_measure = {
    .name = "measure",
    .arguments = "SCAN|FOLDER|MANIFEST.csv ... [-o RUN]",
    .summary = "measure coverage, dots, spacing and spectrum of patches",
    .text = "A scan is a PNG, TIFF or JPEG file and, without a region, one patch. A folder stands for all "
            "scans below it. A manifest is a CSV table with a column scan, and if need be patch (a name), "
            "region (X Y W H in mm) and tilt_deg; its other columns are carried into patches.csv.\n"
            "\n"
            "fleck describe tells what each measure means.",
    .options = options,
    .option_count = sizeof options / sizeof *options,
    .run = run,
};
