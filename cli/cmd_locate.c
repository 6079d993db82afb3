/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "commands.h"
#include "fleck/calibration.h"
#include "fleck/file.h"
#include "fleck/locate.h"
#include "fleck/memory.h"

enum option_id { OUT, PREVIEW, GRID, MIN_SIZE, ALL, INK, PPI, CALIBRATION, PAGE };

static const cli_option options[] = {
    { "out", 'o', "LAYOUT.csv", "write the layout here (default: stdout) and a preview beside it",
      OUT },
    { "preview", '\0', "FILE.png", "draw the outlines found here (default: LAYOUT-preview.png)",
      PREVIEW },
    { "grid", '\0', "RxC", "the patches stand in R rows and C columns: name them r1c1, r1c2 ...",
      GRID },
    { "min-size", '\0', "MM", "smallest side of a patch (default 5)", MIN_SIZE },
    { "all", '\0', NULL, "list also what looks like a grey scale, a ruler, writing or a frame",
      ALL },
    { "ink", '\0', "TONE", "dark (default), or light for pale pigment on dark paper", INK },
    { "ppi", '\0', "N[,M]", "pixels per inch, along x and y, instead of what the file says", PPI },
    { "calibration", '\0', "FILE",
      "take the pixel size from this calibration, as fleck measure does", CALIBRATION },
    { "page", '\0', "N", "page of a TIFF with several", PAGE },
};

struct call {
    fleck_locate_options options;
    const char *out, *preview, *calibration;
};

static bool set_grid(fleck_locate_options *o, const char *value, char why[256])
{
    const char *const times = strpbrk(value, "xX");
    char rows[16];

    if (times != NULL && (size_t)(times - value) < sizeof rows) {
        memcpy(rows, value, (size_t)(times - value));
        rows[times - value] = '\0';
        if (cli_count(rows, &o->grid_rows) && cli_count(times + 1, &o->grid_columns) &&
            o->grid_rows > 0 && o->grid_columns > 0)
            return true;
    }
    snprintf(why, 256, "is no grid; give rows and columns such as 4x6");
    return false;
}

static bool set_option(void *context, int id, const char *value, char why[256])
{
    struct call *const call = context;
    fleck_locate_options *const o = &call->options;
    double ppi[2];

    switch ((enum option_id)id) {
    case OUT:
    case PREVIEW:
    case CALIBRATION:
        *(id == OUT ? &call->out : id == PREVIEW ? &call->preview : &call->calibration) = value;
        if (*value != '\0')
            return true;
        snprintf(why, 256, "is no file; give its name");
        return false;
    case GRID:
        return set_grid(o, value, why);
    case MIN_SIZE:
        if (cli_number(value, &o->min_size_mm))
            return true;
        snprintf(why, 256, "is no number; give one in mm, with a point for the decimals");
        return false;
    case ALL:
        o->all = true;
        return true;
    case INK:
        o->ink = strcmp(value, "light") == 0 ? FLECK_INK_LIGHT : FLECK_INK_DARK;
        if (strcmp(value, "light") == 0 || strcmp(value, "dark") == 0)
            return true;
        snprintf(why, 256, "is neither dark nor light; give one of them");
        return false;
    case PPI:
        if (!cli_pair(value, "pixels per inch such as 600", ppi, why))
            return false;
        o->ppi_x = ppi[0];
        o->ppi_y = ppi[1];
        return true;
    case PAGE:
        if (cli_count(value, &o->page) && o->page > 0)
            return true;
        snprintf(why, 256, "is no count; give a whole number of 1 or more");
        return false;
    }
    return false;
}

/*
 * "folder/name-preview.png" for "folder/name.csv"; owned by the caller. Not "folder/name.png": that
 * may well be the sheet.
 */
static char *preview_path(const char *layout)
{
    static const char ending[] = "-preview.png";
    const char *const slash = strrchr(layout, '/');
    const char *const dot = strrchr(layout, '.');
    const size_t stem =
        dot != NULL && (slash == NULL || dot > slash) ? (size_t)(dot - layout) : strlen(layout);
    char *path = malloc(stem + sizeof ending);

    if (path != NULL) {
        memcpy(path, layout, stem);
        memcpy(path + stem, ending, sizeof ending);
    }
    return path;
}

static int write_layout(const struct call *call, const char *sheet, const fleck_layout *layout)
{
    fleck_error err = { 0 };
    char *text = NULL;
    fleck_status status = fleck_layout_csv(layout, sheet, call->out, &text, &err);

    if (status != FLECK_OK)
        return cli_say_failure(call->out != NULL ? call->out : sheet, status, &err);
    if (call->out != NULL) {
        status = fleck_file_write(call->out, text, strlen(text), &err);
    } else if (fputs(text, stdout) < 0 || fflush(stdout) != 0) {
        status = fleck_fail(&err, FLECK_NO_RESOURCE, "cannot be written; make room and try again");
    }
    fleck_free(text);
    return status == FLECK_OK ? EXIT_DONE
                              : cli_say_failure(call->out != NULL ? call->out : "stdout", status, &err);
}

static int write_preview(const struct call *call, const fleck_layout *layout)
{
    const char *const path = call->preview;
    fleck_error err = { 0 };
    fleck_status status;

    if (path == NULL)
        return EXIT_DONE;
    status = fleck_layout_write_preview(layout, path, &err);
    if (status == FLECK_OK && call->out != NULL) {
        fputs("fleck: ", stderr);
        cli_print_path(stderr, call->out);
        fprintf(stderr, ": %zu patches, %zu printed blocks left out; check them in ", layout->count,
                layout->left_out_count);
        cli_print_path(stderr, path);
        fputc('\n', stderr);
    }
    if (status != FLECK_OK)
        (void)cli_say_failure(path, status, &err);
    return status == FLECK_OK ? EXIT_DONE : EXIT_MACHINE;
}

/* A result must not take the place of what was asked about. */
static bool is_same_file(const char *path, const char *input)
{
    struct stat a, b;

    return path != NULL && input != NULL && stat(path, &a) == 0 && stat(input, &b) == 0 &&
           a.st_dev == b.st_dev && a.st_ino == b.st_ino;
}

static bool spares_inputs(const struct call *call, const char *sheet)
{
    const char *const results[] = { call->out, call->preview };

    for (size_t i = 0; i < sizeof results / sizeof *results; i++) {
        if (is_same_file(results[i], sheet) || is_same_file(results[i], call->calibration)) {
            cli_say(results[i], "would be written over, but is an input; give another name");
            return false;
        }
    }
    if (call->out != NULL && call->preview != NULL && strcmp(call->out, call->preview) == 0) {
        cli_say(call->out, "cannot be the layout and its preview; give two names");
        return false;
    }
    return true;
}

static int locate(struct call *call, const char *sheet)
{
    fleck_calibration calibration;
    fleck_layout layout = { 0 };
    fleck_error err = { 0 };
    fleck_status status;
    int code;

    fleck_calibration_init(&calibration);
    if (call->calibration != NULL) {
        status = fleck_calibration_read(call->calibration, &calibration, &err);
        if (status != FLECK_OK) {
            code = cli_say_failure(call->calibration, status, &err);
            goto done;
        }
        call->options.calibration = &calibration;
    }
    status = fleck_locate(sheet, &call->options, &layout, &err);
    for (size_t i = 0; i < layout.warnings.count; i++)
        cli_say(sheet, layout.warnings.items[i].message);
    code =
        status == FLECK_OK ? write_layout(call, sheet, &layout) : cli_say_failure(sheet, status, &err);
    if (code == EXIT_DONE)
        code = write_preview(call, &layout);
done:
    fleck_calibration_clear(&calibration);
    fleck_layout_clear(&layout);
    return code;
}

static int run(const cli_command *command, int count, char **words)
{
    struct call call = { .options = fleck_locate_options_default() };
    const char **names = calloc((size_t)count + 1, sizeof *names);
    size_t name_count = 0;
    char *preview = NULL;
    int code;

    if (names == NULL) {
        fputs("fleck: locate: no memory for the call; free some memory\n", stderr);
        return EXIT_MACHINE;
    }
    code = cli_parse(command, count, words, set_option, &call, names, &name_count);
    if (code < 0 && name_count != 1) {
        fprintf(
            stderr,
            "fleck: locate: %s named; give one scan of a sheet, such as: fleck locate sheet.tif "
            "-o sheet.csv\n",
            name_count == 0 ? "no sheet is" : "several sheets are");
        code = EXIT_CALL;
    }
    if (code < 0 && call.preview == NULL && call.out != NULL) {
        call.preview = preview = preview_path(call.out);
        if (preview == NULL) {
            fputs("fleck: locate: no memory for the call; free some memory\n", stderr);
            code = EXIT_MACHINE;
        }
    }
    if (code < 0)
        code = spares_inputs(&call, names[0]) ? locate(&call, names[0]) : EXIT_CALL;
    free(preview);
    free(names);
    return code;
}

const cli_command cli_command_locate = {
    .name = "locate",
    .arguments = "SHEET [-o LAYOUT.csv] [options]",
    .summary = "find the patches of a test sheet and write them as a manifest",
    .text =
        "The layout is a manifest with the columns scan, patch, region (X Y W H in mm), tilt_deg "
        "and "
        "note; add columns of your own, such as the paste or the force, and give it to fleck "
        "measure. A patch is the box X Y W H turned by tilt_deg anticlockwise about its centre.\n"
        "\n"
        "Look at the preview before measuring: blue outlines are patches, vermilion ones with a "
        "question mark are in doubt (the column note says why), dashed ones were left out as a "
        "grey scale, a ruler, writing or a frame.",
    .options = options,
    .option_count = sizeof options / sizeof *options,
    .run = run,
};
