/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>
#include <string.h>

#include "calibration_account.h"
#include "commands.h"
#include "fleck/calibration.h"
#include "fleck/measure.h"
#include "summary.h"

enum option_id {
    OUT,
    LENGTH,
    SCAN,
    STEPS,
    STEPS_SCAN,
    STRIP,
    EVENNESS,
    PAPER,
    INK,
    BLANK,
    BLUR_EDGE,
    CUTOFF,
    PPI,
    PAGE,
    QUIET
};

static const cli_option options[] = {
    { "out", 'o', "CAL.json", "calibration file to write; without it the account is all", OUT },
    { "scan", '\0', "SCAN", "the scan that lengths and steps refer to", SCAN },
    { "length", '\0', "MM:X1,Y1,X2,Y2",
      "two points of the scan, in pixels, that lie MM apart; several, along x and along y",
      LENGTH },
    { "steps", '\0', "STEPS.csv",
      "grey scale: columns density (or reflectance) and, if need be, x,y,width,height in mm and "
      "scan",
      STEPS },
    { "steps-scan", '\0', "SCAN", "scan of the grey scale, where it is not that of --scan",
      STEPS_SCAN },
    { "strip", '\0', "X1,Y1,X2,Y2",
      "line in mm along which steps without boxes lie, from the outer edge of the first to that of "
      "the "
      "last (default: the whole scan is the strip)",
      STRIP },
    { "evenness", '\0', "SCAN", "blank sheet scanned full size: evenness of the light", EVENNESS },
    { "paper", '\0', "SCAN[:X,Y,W,H]", "blank paper, in a box in mm: its white", PAPER },
    { "ink", '\0', "SCAN[:X,Y,W,H]", "solid ink, in a box in mm: its black", INK },
    { "blank", '\0', "SCAN[:X,Y,W,H]",
      "blank paper measured like a patch, several: false dots and limit of detection (default: the "
      "paper cut into 3 x 3)",
      BLANK },
    { "blur-edge", '\0', "SCAN[:X,Y,W,H]",
      "straight hard edge (razor blade, foil, laser print) in a box in mm, several: the scanner's own blur",
      BLUR_EDGE },
    { "cutoff", '\0', "MM", "diameter from which a false dot counts (default 0.1)", CUTOFF },
    { "ppi", '\0', "N[,M]", "for boxes in mm, where neither a length nor the scan tells it", PPI },
    { "page", '\0', "N", "page of TIFFs with several", PAGE },
    { "quiet", 'q', NULL, "no account; warnings stay", QUIET },
};

/* A list that grows as options come. */
struct marks {
    fleck_length_mark *items;
    size_t count;
};

struct areas {
    fleck_scan_area *items;
    size_t count;
};

struct call {
    const char *out, *scan, *steps, *steps_scan;
    struct marks lengths;
    struct areas evenness, paper, ink, blank, blur_edges;
    bool has_strip;
    double strip_mm[4];
    double cutoff_mm;
    double ppi_x, ppi_y;
    size_t page;
    bool quiet;
    char **copies; /* scan names cut off in front of a box */
    size_t copy_count;
};

enum { MOST_ITEMS = 100000 };

static bool append(void **items, size_t *count, const void *item, size_t size, char why[256])
{
    char *moved;

    if (*count >= MOST_ITEMS) {
        snprintf(why, 256, "is one too many; give fewer than %d", MOST_ITEMS);
        return false;
    }
    moved = realloc(*items, (*count + 1) * size);
    if (moved == NULL) {
        snprintf(why, 256, "cannot be kept; free some memory");
        return false;
    }
    memcpy(moved + *count * size, item, size);
    *items = moved;
    ++*count;
    return true;
}

static bool add_length(struct call *call, const char *value, char why[256])
{
    const char *const colon = strchr(value, ':');
    char mm[64];
    double ends[4];
    fleck_length_mark mark = { 0 };
    void *items = call->lengths.items;
    bool added;

    if (colon == NULL || (size_t)(colon - value) >= sizeof mm) {
        snprintf(why, 256, "is no length; give MM:X1,Y1,X2,Y2 such as 50:100,200,1281,200");
        return false;
    }
    memcpy(mm, value, (size_t)(colon - value));
    mm[colon - value] = '\0';
    if (!cli_number(mm, &mark.length_mm) || !cli_numbers(colon + 1, ends, 4)) {
        snprintf(why, 256, "is no length; give MM:X1,Y1,X2,Y2 such as 50:100,200,1281,200");
        return false;
    }
    mark.x1_px = ends[0];
    mark.y1_px = ends[1];
    mark.x2_px = ends[2];
    mark.y2_px = ends[3];
    added = append(&items, &call->lengths.count, &mark, sizeof mark, why);
    call->lengths.items = items;
    return added;
}

/* SCAN or SCAN:X,Y,W,H; what stands behind the last colon is a box when it is four numbers. */
static bool add_area(struct call *call, struct areas *areas, bool several, const char *value,
                     char why[256])
{
    const char *const colon = strrchr(value, ':');
    fleck_scan_area area = { .path = value };
    double box[4];
    void *items = areas->items;
    bool added;

    if (*value == '\0' || colon == value || (areas->count > 0 && !several)) {
        snprintf(why, 256,
                 *value == '\0' || colon == value ? "is no scan; give its name" : "is given twice; give one");
        return false;
    }
    if (colon != NULL && cli_numbers(colon + 1, box, 4)) {
        char *const copy = malloc((size_t)(colon - value) + 1);
        void *copies = call->copies;

        if (copy == NULL) {
            snprintf(why, 256, "cannot be kept; free some memory");
            return false;
        }
        memcpy(copy, value, (size_t)(colon - value));
        copy[colon - value] = '\0';
        added = append(&copies, &call->copy_count, &copy, sizeof copy, why);
        call->copies = copies;
        if (!added) {
            free(copy);
            return false;
        }
        area.path = copy;
        area.has_box = true;
        area.box = (fleck_box_mm){ box[0], box[1], box[2], box[3] };
    }
    added = append(&items, &areas->count, &area, sizeof area, why);
    areas->items = items;
    return added;
}

static bool set_text(const char **into, const char *value, char why[256])
{
    *into = value;
    if (*value != '\0')
        return true;
    snprintf(why, 256, "is no name of a file; give one");
    return false;
}

static bool set_ppi(struct call *call, const char *value, char why[256])
{
    double ppi[2];

    if (!cli_pair(value, "pixels per inch such as 600", ppi, why))
        return false;
    call->ppi_x = ppi[0];
    call->ppi_y = ppi[1];
    return true;
}

static bool set_option(void *context, int id, const char *value, char why[256])
{
    struct call *const call = context;

    switch ((enum option_id)id) {
    case OUT:
        return set_text(&call->out, value, why);
    case LENGTH:
        return add_length(call, value, why);
    case SCAN:
        return set_text(&call->scan, value, why);
    case STEPS:
        return set_text(&call->steps, value, why);
    case STEPS_SCAN:
        return set_text(&call->steps_scan, value, why);
    case STRIP:
        call->has_strip = true;
        if (cli_numbers(value, call->strip_mm, 4))
            return true;
        snprintf(why, 256, "is no line; give four numbers X1,Y1,X2,Y2 in mm");
        return false;
    case EVENNESS:
        return add_area(call, &call->evenness, false, value, why);
    case PAPER:
        return add_area(call, &call->paper, false, value, why);
    case INK:
        return add_area(call, &call->ink, false, value, why);
    case BLANK:
        return add_area(call, &call->blank, true, value, why);
    case BLUR_EDGE:
        return add_area(call, &call->blur_edges, true, value, why);
    case CUTOFF:
        if (cli_number(value, &call->cutoff_mm) && call->cutoff_mm > 0 && call->cutoff_mm < 1000)
            return true;
        snprintf(why, 256, "is no diameter; give one in mm, above 0");
        return false;
    case PPI:
        return set_ppi(call, value, why);
    case PAGE:
        if (cli_count(value, &call->page) && call->page > 0)
            return true;
        snprintf(why, 256, "is no page; give a whole number of 1 or more");
        return false;
    case QUIET:
        call->quiet = true;
        return true;
    }
    return false;
}

/* What is missing in the call, NULL when nothing is. */
static const char *find_gap(const struct call *call)
{
    if (call->lengths.count == 0 && call->steps == NULL && call->evenness.count == 0 &&
        call->paper.count == 0 && call->blur_edges.count == 0)
        return call->ink.count > 0 || call->blank.count > 0
                   ? "ink and blank paper are seen against the paper; give --paper too"
                   : "nothing is to be calibrated; give --length, --steps, --evenness, --paper or "
                     "--blur-edge";
    if (call->lengths.count > 0 && call->scan == NULL)
        return "lengths are pixels of a scan; name it with --scan";
    if (call->steps == NULL && (call->has_strip || call->steps_scan != NULL))
        return "there are no steps; give their densities with --steps STEPS.csv";
    if (call->paper.count == 0 && (call->ink.count > 0 || call->blank.count > 0))
        return "ink and blank paper are seen against the paper; give --paper too";
    if (call->ink.count == 0 && call->blank.count > 0)
        return "false dots need a threshold half-way between paper and ink; give --ink too";
    return NULL;
}

static void print_warnings(const fleck_warnings *warnings, size_t *said, const char *path)
{
    for (; *said < warnings->count; ++*said) {
        cli_print_warning(stderr, path, warnings->items[*said].code,
                          warnings->items[*said].message);
        fputc('\n', stderr);
    }
}

/* The blank value; from the paper where nothing else is given, and then it may fail. */
static fleck_status add_blank(const struct call *call, fleck_calibration *calibration,
                              fleck_warnings *warnings, const char **path, fleck_error *err)
{
    const bool asked = call->blank.count > 0;
    const struct areas *const areas = asked ? &call->blank : &call->paper;
    fleck_status status;

    *path = areas->items[0].path;
    status = fleck_calibrate_blank(calibration, areas->items, areas->count, call->cutoff_mm,
                                   warnings, err);
    if (status != FLECK_BAD_INPUT || asked)
        return status;
    return fleck_warnings_add(warnings, err, "no-blank-value",
                              "false dots on the paper were not counted: %s", err->message);
}

/* Adds all parts; *path is the file that the last of them was about. */
static fleck_status calibrate(const struct call *call, fleck_calibration *calibration,
                              const char **path, fleck_warnings *warnings, size_t *said,
                              fleck_error *err)
{
    fleck_status status = FLECK_OK;

    if (call->lengths.count > 0) {
        const fleck_scan_area scan = { .path = call->scan, .page = call->page };

        *path = call->scan;
        status = fleck_calibrate_length(calibration, call->lengths.items, call->lengths.count,
                                        &scan, warnings, err);
        print_warnings(warnings, said, *path);
    }
    if (status == FLECK_OK && call->steps != NULL) {
        fleck_tone_target target = {
            .steps_csv = call->steps,
            .scan = { .path = call->steps_scan != NULL ? call->steps_scan : call->scan,
                      .page = call->page },
            .has_strip = call->has_strip,
        };

        memcpy(target.strip_mm, call->strip_mm, sizeof target.strip_mm);
        *path = call->steps;
        status = fleck_calibrate_tone(calibration, &target, warnings, err);
        print_warnings(warnings, said, *path);
    }
    if (status == FLECK_OK && call->evenness.count > 0) {
        *path = call->evenness.items[0].path;
        status = fleck_calibrate_evenness(calibration, &call->evenness.items[0], warnings, err);
        print_warnings(warnings, said, *path);
    }
    if (status == FLECK_OK && call->blur_edges.count > 0) {
        *path = call->blur_edges.items[0].path;
        status = fleck_calibrate_blur(calibration, call->blur_edges.items, call->blur_edges.count,
                                      warnings, err);
        print_warnings(warnings, said, *path);
    }
    if (status == FLECK_OK && call->paper.count > 0) {
        *path = call->paper.items[0].path;
        status = fleck_calibrate_paper(calibration, &call->paper.items[0], warnings, err);
        print_warnings(warnings, said, *path);
    }
    if (status == FLECK_OK && call->ink.count > 0) {
        *path = call->ink.items[0].path;
        status = fleck_calibrate_ink(calibration, &call->ink.items[0], &call->paper.items[0],
                                     warnings, err);
        print_warnings(warnings, said, *path);
    }
    if (status == FLECK_OK && call->ink.count > 0) {
        status = add_blank(call, calibration, warnings, path, err);
        print_warnings(warnings, said, *path);
    }
    return status;
}

static int make(const struct call *call)
{
    fleck_calibration calibration;
    fleck_warnings warnings = { 0 };
    fleck_error err = { 0 };
    const char *path = "calibrate";
    size_t said = 0;
    fleck_status status;

    fleck_calibration_init(&calibration);
    calibration.asked_ppi_x = call->ppi_x;
    calibration.asked_ppi_y = call->ppi_y;
    status = calibrate(call, &calibration, &path, &warnings, &said, &err);
    if (status == FLECK_OK && call->out != NULL) {
        path = call->out;
        status = fleck_calibration_write(&calibration, call->out, &err);
    }
    if (status != FLECK_OK) {
        cli_say(path, err.message);
    } else if (!call->quiet) {
        cli_print_calibration(stdout, &calibration);
        if (call->out != NULL) {
            fputs("written   ", stdout);
            cli_print_path(stdout, call->out);
            printf(", SHA-256 %s\n", calibration.sha256);
        }
        if (fflush(stdout) != 0 || ferror(stdout)) {
            cli_say("stdout", "cannot be written; make room and try again");
            status = FLECK_NO_RESOURCE;
        }
    }
    fleck_warnings_clear(&warnings);
    fleck_calibration_clear(&calibration);
    return cli_exit_code(status);
}

static void set_pages(const struct areas *areas, size_t page)
{
    for (size_t i = 0; i < areas->count; i++)
        areas->items[i].page = page;
}

static int run(const cli_command *command, int count, char **words)
{
    struct call call = { .cutoff_mm = fleck_measure_options_default().cutoff_mm, .page = 1 };
    const char **names = calloc((size_t)count + 1, sizeof *names);
    const char *gap;
    size_t name_count = 0;
    int code;

    if (names == NULL) {
        cli_say("calibrate", "no memory for the call; free some memory");
        return EXIT_MACHINE;
    }
    code = cli_parse(command, count, words, set_option, &call, names, &name_count);
    if (code < 0 && name_count > 0) {
        cli_say(names[0],
                "what this scan shows is not said; put --scan, --steps-scan, --paper, --ink, "
                "--blank, --blur-edge or --evenness before it");
        code = EXIT_CALL;
    }
    if (code < 0 && (gap = find_gap(&call)) != NULL) {
        cli_say("calibrate", gap);
        code = EXIT_CALL;
    }
    if (code < 0) {
        set_pages(&call.evenness, call.page);
        set_pages(&call.paper, call.page);
        set_pages(&call.ink, call.page);
        set_pages(&call.blank, call.page);
        set_pages(&call.blur_edges, call.page);
        code = make(&call);
    }
    for (size_t i = 0; i < call.copy_count; i++)
        free(call.copies[i]);
    free(call.copies);
    free(call.lengths.items);
    free(call.evenness.items);
    free(call.paper.items);
    free(call.ink.items);
    free(call.blank.items);
    free(call.blur_edges.items);
    free(names);
    return code;
}

const cli_command cli_command_calibrate = {
    .name = "calibrate",
    .arguments = "[-o CAL.json] [options]",
    .summary = "make a calibration file from target scans",
    .text =
        "Give any of the parts; each says how well it fits. All scans must come from the same "
        "setting "
        "of the scanner (bits, colour, ppi), and the calibration holds for that setting alone.\n"
        "\n"
        "A ruler lying along x and along y:\n"
        "  fleck calibrate -o cal.json --scan ruler.tif --length 100:212,300,2574,300 --length "
        "50:212,300,1393.4,300 --length 100:300,212,300,2577\n"
        "A grey scale, blank paper and solid ink:\n"
        "  fleck calibrate -o cal.json --steps steps.csv --steps-scan scale.tif --paper "
        "paper.tif:10,10,40,40 --ink solid.tif:10,10,20,20",
    .options = options,
    .option_count = sizeof options / sizeof *options,
    .run = run,
};
