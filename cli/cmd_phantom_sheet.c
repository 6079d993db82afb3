/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>
#include <string.h>

#include "commands.h"
#include "fleck/memory.h"
#include "fleck/phantom_sheet.h"
#include "phantom_output.h"

enum option_id {
    OUT,
    PATCHES,
    GRID,
    COVERAGE_TO, /* its numbers also tell whether a grid's end was given */
    DIAMETER_TO,
    KIND,
    GSD,
    HALF_RANGE,
    RAGGED,
    CLAIM,
    NO_PATCHES,
    NO_RULERS,
    NO_STEPS,
    NO_CROSSES,
    NO_WRITING,
    BLANK,
    SOLID,
    STEPS,
    HARD,
    GAMMA,
    CHUNK,
    BITS,
    SEED,
    STEPS_OUT,
    DOTS,
    NUMBER /* from here on: plain numbers, see number_at */
};

enum number {
    PATCH_SIZE = NUMBER,
    GAP,
    COVERAGE_FROM,
    DIAMETER,
    PATCH_TILT,
    CORRELATION,
    INK,
    WIDTH,
    HEIGHT,
    PPI,
    TILT,
    DENSITY_FROM,
    DENSITY_TO,
    PAPER,
    FIBRE,
    FIBRE_LENGTH,
    SOFTNESS,
    LIGHT,
    NOISE
};

static const cli_option options[] = {
    { "out", 'o', "SHEET", "file to write: .png, .tif or .tiff; the truth goes beside it", OUT },
    { "patches", '\0', "TABLE.csv", "patches by a table, see below", PATCHES },
    { "grid", '\0', "RxC", "patches in R rows and C columns (default 4x6)", GRID },
    { "patch-size", '\0', "MM", "grid: side of a patch", PATCH_SIZE },
    { "gap", '\0', "MM", "grid: between two patches", GAP },
    { "coverage-from", '\0', "SHARE", "grid: expected share of ink of the first patch", COVERAGE_FROM },
    { "coverage-to", '\0', "SHARE", "grid: of the last one", COVERAGE_TO },
    { "patch-tilt", '\0', "DEG", "grid: each patch is turned by up to so much", PATCH_TILT },
    { "ragged", '\0', NULL, "grid: edges of whole dots, not cut straight", RAGGED },
    { "kind", '\0', "KIND", "discs, separate, square, hexagonal, field or plain (default discs)", KIND },
    { "diameter", '\0', "MM", "median diameter of the discs", DIAMETER },
    { "diameter-to", '\0', "MM", "grid: that of the last patch, if it should change", DIAMETER_TO },
    { "gsd", '\0', "G", "geometric standard deviation of lognormal diameters", GSD },
    { "half-range", '\0', "MM", "diameters evenly from median - MM to median + MM", HALF_RANGE },
    { "correlation", '\0', "MM", "field: correlation length", CORRELATION },
    { "ink", '\0', "R", "reflectance of the ink", INK },
    { "width", '\0', "MM", "width of the sheet (default: as its patches need)", WIDTH },
    { "height", '\0', "MM", "height of the sheet", HEIGHT },
    { "ppi", '\0', "N", "pixels per inch", PPI },
    { "claim", '\0', "N", "pixels per inch as the file says; 0: nothing (default: the true ones)", CLAIM },
    { "tilt", '\0', "DEG", "turn of the whole sheet, anticlockwise", TILT },
    { "steps", '\0', "N", "steps of the grey scale (default 12)", STEPS },
    { "density-from", '\0', "D", "density of its first step", DENSITY_FROM },
    { "density-to", '\0', "D", "density of its last step", DENSITY_TO },
    { "steps-out", '\0', "FILE.csv", "write densities and boxes of the steps, for fleck calibrate",
      STEPS_OUT },
    { "no-patches", '\0', NULL, "leave out the patches; the sheet keeps its size", NO_PATCHES },
    { "no-rulers", '\0', NULL, "leave out the rulers", NO_RULERS },
    { "no-steps", '\0', NULL, "leave out the grey scale", NO_STEPS },
    { "no-crosses", '\0', NULL, "leave out the crosses in the corners", NO_CROSSES },
    { "no-writing", '\0', NULL, "leave out the pencil strokes", NO_WRITING },
    { "blank", '\0', NULL, "leave out all of these: bare paper", BLANK },
    { "solid", '\0', NULL, "each patch is solid ink", SOLID },
    { "paper", '\0', "R", "reflectance of the paper", PAPER },
    { "fibre", '\0', "R", "texture of the bare paper: standard deviation in reflectance", FIBRE },
    { "fibre-length", '\0', "MM", "correlation length of that texture", FIBRE_LENGTH },
    { "softness", '\0', "MM", "standard deviation of the scanner's blur", SOFTNESS },
    { "light", '\0', "SHARE", "uneven light, from 1 - SHARE to 1 + SHARE over the sheet", LIGHT },
    { "noise", '\0', "R", "standard deviation of white noise in reflectance", NOISE },
    { "gamma", '\0', "G", "code by the power 1/G of the reflectance, not by the sRGB curve", GAMMA },
    { "chunk", '\0', "srgb|none", "what the PNG says of its curve (default srgb; with --gamma none)",
      CHUNK },
    { "hard", '\0', NULL, "no anti-aliasing: each pixel is one thing", HARD },
    { "bits", '\0', "8|16", "bits per pixel", BITS },
    { "dots", '\0', "FILE.csv", "write patch, place and diameter of each dot", DOTS },
    { "seed", '\0', "N", "seed of the random numbers; the same seed draws the same sheet", SEED },
};

struct call {
    fleck_phantom_sheet_options sheet;
    fleck_phantom_grid grid;
    const char *out, *table, *steps_out, *dots, *grid_option; /* the last: one that a table forbids */
    bool has_diameter_to, has_claim, has_chunk;
};

/* Where the number of an option goes. */
static double *number_at(struct call *call, int id)
{
    switch ((enum number)id) {
    case PATCH_SIZE:
        return &call->grid.patch_mm;
    case GAP:
        return &call->grid.gap_mm;
    case COVERAGE_FROM:
        return &call->grid.coverage_from;
    case DIAMETER:
        return &call->grid.diameter_from_mm;
    case PATCH_TILT:
        return &call->grid.tilt_deg;
    case CORRELATION:
        return &call->grid.speckle.correlation_mm;
    case INK:
        return &call->grid.speckle.ink_reflectance;
    case WIDTH:
        return &call->sheet.width_mm;
    case HEIGHT:
        return &call->sheet.height_mm;
    case PPI:
        return &call->sheet.ppi;
    case TILT:
        return &call->sheet.tilt_deg;
    case DENSITY_FROM:
        return &call->sheet.density_from;
    case DENSITY_TO:
        return &call->sheet.density_to;
    case PAPER:
        return &call->sheet.paper_reflectance;
    case FIBRE:
        return &call->sheet.fibre;
    case FIBRE_LENGTH:
        return &call->sheet.fibre_length_mm;
    case SOFTNESS:
        return &call->sheet.softness_mm;
    case LIGHT:
        return &call->sheet.light;
    case NOISE:
        return &call->sheet.noise;
    }
    return NULL;
}

static bool set_number(double *number, const char *value, char why[256])
{
    if (number != NULL && cli_number(value, number))
        return true;
    snprintf(why, 256, "is no number; give one with a point for the decimals");
    return false;
}

static bool set_grid(fleck_phantom_grid *grid, const char *value, char why[256])
{
    const char *const times = strpbrk(value, "xX");
    char rows[16];

    if (times != NULL && (size_t)(times - value) < sizeof rows) {
        memcpy(rows, value, (size_t)(times - value));
        rows[times - value] = '\0';
        if (cli_count(rows, &grid->rows) && cli_count(times + 1, &grid->columns) &&
            grid->rows > 0 && grid->columns > 0)
            return true;
    }
    snprintf(why, 256, "is no grid; give rows and columns such as 4x6");
    return false;
}

static bool set_kind(fleck_phantom_options *speckle, const char *value, char why[256])
{
    for (int kind = 0; kind < FLECK_PHANTOM_KINDS; kind++) {
        if (strcmp(value, fleck_phantom_kind_name((fleck_phantom_kind)kind)) == 0) {
            speckle->kind = (fleck_phantom_kind)kind;
            return true;
        }
    }
    snprintf(why, 256, "is no kind; give discs, separate, square, hexagonal, field or plain");
    return false;
}

static bool set_count(struct call *call, int id, const char *value, char why[256])
{
    size_t count;

    if (!cli_count(value, &count) || (id == BITS && count != 8 && count != 16)) {
        snprintf(why, 256, id == BITS ? "is neither 8 nor 16; give one of them"
                                      : "is no whole number; give one of 0 or more");
        return false;
    }
    if (id == BITS)
        call->sheet.bits = (unsigned)count;
    else if (id == STEPS)
        call->sheet.steps = count;
    else
        call->sheet.seed = call->grid.speckle.seed = count;
    return true;
}

static bool set_option(void *context, int id, const char *value, char why[256])
{
    static const int of_grid[] = { GRID, PATCH_SIZE, GAP, COVERAGE_TO, DIAMETER_TO, PATCH_TILT, RAGGED };
    struct call *const call = context;
    fleck_phantom_sheet_options *const sheet = &call->sheet;

    for (size_t i = 0; i < sizeof of_grid / sizeof *of_grid; i++) {
        for (size_t k = 0; id == of_grid[i] && k < sizeof options / sizeof *options; k++) {
            if (options[k].id == id)
                call->grid_option = options[k].name;
        }
    }
    switch (id) {
    case OUT:
    case PATCHES:
    case STEPS_OUT:
    case DOTS:
        *(id == OUT         ? &call->out
          : id == PATCHES   ? &call->table
          : id == STEPS_OUT ? &call->steps_out
                            : &call->dots) = value;
        if (*value != '\0')
            return true;
        snprintf(why, 256, "is no file; give its name");
        return false;
    case GRID:
        return set_grid(&call->grid, value, why);
    case COVERAGE_TO:
        return set_number(&call->grid.coverage_to, value, why);
    case DIAMETER_TO:
        call->has_diameter_to = true;
        return set_number(&call->grid.diameter_to_mm, value, why);
    case KIND:
        return set_kind(&call->grid.speckle, value, why);
    case GSD:
        call->grid.speckle.sizes = FLECK_PHANTOM_LOGNORMAL;
        return set_number(&call->grid.speckle.gsd, value, why);
    case HALF_RANGE:
        call->grid.speckle.sizes = FLECK_PHANTOM_UNIFORM;
        return set_number(&call->grid.speckle.diameter_half_range_mm, value, why);
    case RAGGED:
        call->grid.ragged = true;
        return true;
    case CLAIM:
        call->has_claim = true;
        return set_number(&sheet->claimed_ppi, value, why);
    case NO_PATCHES:
        sheet->patches = false;
        return true;
    case NO_RULERS:
        sheet->rulers = false;
        return true;
    case NO_STEPS:
        sheet->steps = 0;
        return true;
    case NO_CROSSES:
        sheet->crosses = false;
        return true;
    case NO_WRITING:
        sheet->writing = false;
        return true;
    case BLANK:
        sheet->patches = sheet->rulers = sheet->crosses = sheet->writing = false;
        sheet->steps = 0;
        return true;
    case SOLID:
        sheet->solid = true;
        return true;
    case HARD:
        sheet->antialias = false;
        return true;
    case GAMMA:
        sheet->curve = FLECK_PHANTOM_GAMMA;
        return set_number(&sheet->gamma, value, why);
    case CHUNK:
        call->has_chunk = true;
        sheet->srgb_chunk = strcmp(value, "srgb") == 0;
        if (sheet->srgb_chunk || strcmp(value, "none") == 0)
            return true;
        snprintf(why, 256, "is neither srgb nor none; give one of them");
        return false;
    case BITS:
    case SEED:
    case STEPS:
        return set_count(call, id, value, why);
    default:
        return set_number(number_at(call, id), value, why);
    }
}

static int draw(struct call *call)
{
    fleck_phantom_patch *patches = NULL;
    fleck_phantom_sheet *sheet = NULL;
    size_t count = 0;
    fleck_error err = { 0 };
    fleck_status status;
    int code;

    if (call->table != NULL) {
        call->grid.speckle.coverage = call->grid.coverage_from;
        call->grid.speckle.diameter_mm = call->grid.diameter_from_mm;
        status = fleck_phantom_patches_from_csv(call->table, &call->grid.speckle, &patches, &count,
                                                &err);
    } else {
        status = fleck_phantom_patches_from_grid(&call->grid, &patches, &count, &err);
    }
    if (status == FLECK_OK)
        status = fleck_phantom_sheet_new(&call->sheet, patches, count, &sheet, &err);
    fleck_free(patches);
    if (status != FLECK_OK)
        return cli_say_failure(call->table != NULL ? call->table : call->out, status, &err);
    status = fleck_phantom_sheet_write(sheet, call->out, &err);
    code = status == FLECK_OK
               ? phantom_write_truth(call->out, fleck_phantom_sheet_truth_json(sheet))
               : cli_say_failure(call->out, status, &err);
    if (code == EXIT_DONE && call->steps_out != NULL)
        code = phantom_write_text(call->steps_out, fleck_phantom_sheet_steps_csv(sheet));
    if (code == EXIT_DONE && call->dots != NULL)
        code = phantom_write_text(call->dots, fleck_phantom_sheet_dots_csv(sheet));
    fleck_phantom_sheet_free(sheet);
    return code;
}

static int run(const cli_command *command, int count, char **words)
{
    struct call call = { .sheet = fleck_phantom_sheet_options_default(),
                         .grid = fleck_phantom_grid_default() };
    const char **names = calloc((size_t)count + 1, sizeof *names);
    size_t name_count = 0;
    int code;

    if (names == NULL) {
        fputs("fleck: phantom sheet: no memory for the call; free some memory\n", stderr);
        return EXIT_MACHINE;
    }
    code = cli_parse(command, count, words, set_option, &call, names, &name_count);
    free(names);
    if (code >= 0)
        return code;
    if (name_count != 0 || call.out == NULL) {
        fputs("fleck: phantom sheet: give a picture to write and nothing but options, such as: fleck "
              "phantom sheet -o sheet.png\n",
              stderr);
        return EXIT_CALL;
    }
    if (call.table != NULL && call.grid_option != NULL) {
        fprintf(stderr,
                "fleck: phantom sheet: --%s belongs to a grid and --patches gives a table; leave out "
                "one of them\n",
                call.grid_option);
        return EXIT_CALL;
    }
    if (call.steps_out != NULL && call.sheet.steps == 0) {
        fputs("fleck: phantom sheet: --steps-out, but the sheet has no grey scale; leave out one of them\n",
              stderr);
        return EXIT_CALL;
    }
    if (!call.has_diameter_to)
        call.grid.diameter_to_mm = call.grid.diameter_from_mm;
    if (!call.has_claim)
        call.sheet.claimed_ppi = call.sheet.ppi;
    if (!call.has_chunk)
        call.sheet.srgb_chunk = call.sheet.curve == FLECK_PHANTOM_SRGB;
    return draw(&call);
}

const cli_command cli_command_phantom_sheet = {
    .name = "phantom sheet",
    .arguments = "-o SHEET [options]",
    .summary = "draw a whole test sheet whose true numbers are known",
    .text = "A sheet has patches, rulers along its left and lower edges, a grey scale, crosses in its corners "
            "and pencil strokes like writing, on paper with a texture, seen by a scanner with its blur, "
            "light, noise and curve. SHEET.truth.json says where all lies and how much ink each patch "
            "has.\n"
            "\n"
            "TABLE.csv has the columns patch, x_mm, y_mm, width_mm, height_mm and, where patches differ "
            "from what the options say, tilt_deg, kind, coverage, diameter_mm, gsd, half_range_mm, "
            "gap_mm, pitch_mm, angle_deg, correlation_mm, ink, seed, edge (straight or ragged), note. A "
            "patch is the rectangle of that corner and size, from the sheet's top left, turned "
            "anticlockwise about its own centre. Keep patches 18 mm from the left, 14 from the top, 12 "
            "from the right and 34 from the bottom, where the other things lie.",
    .options = options,
    .option_count = sizeof options / sizeof *options,
    .run = run,
};
