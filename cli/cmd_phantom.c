/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>
#include <string.h>

#include "commands.h"
#include "fleck/phantom.h"
#include "phantom_output.h"

enum option_id {
    OUT,
    DOTS,
    WIDTH,
    HEIGHT,
    PPI,
    COVERAGE,
    DIAMETER,
    GSD,
    HALF_RANGE,
    GAP,
    INSIDE,
    PITCH,
    ANGLE,
    CORRELATION,
    HARD,
    SOFTNESS,
    NOISE,
    FIBRE,
    FIBRE_LENGTH,
    INK,
    PAPER,
    BITS,
    SEED
};

static const cli_option options[] = {
    { "out", 'o', "PICTURE", "file to write: .png, .tif or .tiff; the truth goes beside it", OUT },
    { "dots", '\0', "FILE.csv", "write place and diameter of each dot", DOTS },
    { "width", '\0', "MM", "width of the picture", WIDTH },
    { "height", '\0', "MM", "height of the picture", HEIGHT },
    { "ppi", '\0', "N", "pixels per inch", PPI },
    { "coverage", '\0', "SHARE", "expected share of ink, 0 to 1", COVERAGE },
    { "diameter", '\0', "MM", "median diameter of the discs", DIAMETER },
    { "gsd", '\0', "G", "geometric standard deviation of lognormal diameters; 1: all the same", GSD },
    { "half-range", '\0', "MM", "diameters evenly from median - MM to median + MM", HALF_RANGE },
    { "gap", '\0', "MM", "separate: least distance between two discs", GAP },
    { "inside", '\0', NULL, "separate: no disc is cut by the border", INSIDE },
    { "pitch", '\0', "MM", "square, hexagonal: distance of centres (default: from coverage)", PITCH },
    { "angle", '\0', "DEG", "square, hexagonal: turn of the lattice, anticlockwise", ANGLE },
    { "correlation", '\0', "MM", "field: correlation length", CORRELATION },
    { "hard", '\0', NULL, "no anti-aliasing: each pixel is ink or paper", HARD },
    { "softness", '\0', "MM", "standard deviation of a Gaussian blur of the edges", SOFTNESS },
    { "noise", '\0', "R", "standard deviation of white noise in reflectance", NOISE },
    { "fibre", '\0', "R", "texture of the bare paper: standard deviation in reflectance", FIBRE },
    { "fibre-length", '\0', "MM", "correlation length of that texture", FIBRE_LENGTH },
    { "ink", '\0', "R", "reflectance of the ink", INK },
    { "paper", '\0', "R", "reflectance of the paper", PAPER },
    { "bits", '\0', "8|16", "bits per pixel", BITS },
    { "seed", '\0', "N", "seed of the random numbers; the same seed draws the same picture", SEED },
};

struct call {
    fleck_phantom_options options;
    const char *out, *dots;
};

static bool set_option(void *context, int id, const char *value, char why[256])
{
    struct call *const call = context;
    fleck_phantom_options *const o = &call->options;
    double *number = NULL;
    size_t count;

    switch ((enum option_id)id) {
    case OUT:
        call->out = value;
        return true;
    case DOTS:
        call->dots = value;
        return true;
    case INSIDE:
        o->keep_inside = true;
        return true;
    case HARD:
        o->antialias = false;
        return true;
    case BITS:
    case SEED:
        if (!cli_count(value, &count) || (id == BITS && count != 8 && count != 16)) {
            snprintf(why, 256, id == BITS ? "is neither 8 nor 16; give one of them"
                                          : "is no whole number; give one of 0 or more");
            return false;
        }
        if (id == BITS)
            o->bits = (unsigned)count;
        else
            o->seed = count;
        return true;
    case GSD:
        o->sizes = FLECK_PHANTOM_LOGNORMAL;
        number = &o->gsd;
        break;
    case HALF_RANGE:
        o->sizes = FLECK_PHANTOM_UNIFORM;
        number = &o->diameter_half_range_mm;
        break;
    case WIDTH:
        number = &o->width_mm;
        break;
    case HEIGHT:
        number = &o->height_mm;
        break;
    case PPI:
        number = &o->ppi;
        break;
    case COVERAGE:
        number = &o->coverage;
        break;
    case DIAMETER:
        number = &o->diameter_mm;
        break;
    case GAP:
        number = &o->gap_mm;
        break;
    case PITCH:
        number = &o->pitch_mm;
        break;
    case ANGLE:
        number = &o->angle_deg;
        break;
    case CORRELATION:
        number = &o->correlation_mm;
        break;
    case SOFTNESS:
        number = &o->softness_mm;
        break;
    case NOISE:
        number = &o->noise;
        break;
    case FIBRE:
        number = &o->fibre;
        break;
    case FIBRE_LENGTH:
        number = &o->fibre_length_mm;
        break;
    case INK:
        number = &o->ink_reflectance;
        break;
    case PAPER:
        number = &o->paper_reflectance;
        break;
    }
    if (number != NULL && cli_number(value, number))
        return true;
    snprintf(why, 256, "is no number; give one with a point for the decimals");
    return false;
}

static int draw(const struct call *call)
{
    fleck_phantom *phantom = NULL;
    fleck_error err = { 0 };
    fleck_status status;
    int code;

    status = fleck_phantom_new(&call->options, &phantom, &err);
    if (status == FLECK_OK)
        status = fleck_phantom_write(phantom, call->out, &err);
    code = status == FLECK_OK ? phantom_write_truth(call->out, fleck_phantom_truth_json(phantom))
                              : cli_say_failure(call->out, status, &err);
    if (code == EXIT_DONE && call->dots != NULL)
        code = phantom_write_text(call->dots, fleck_phantom_dots_csv(phantom));
    fleck_phantom_free(phantom);
    return code;
}

static bool set_kind(fleck_phantom_options *phantom, const char *name)
{
    const char *names[FLECK_PHANTOM_KINDS];
    const char *nearest;

    if (strcmp(name, "sheet") == 0) {
        fputs("fleck: phantom: sheet is a word of its own; write it first, as in: fleck phantom sheet -o "
              "sheet.png\n",
              stderr);
        return false;
    }
    for (int kind = 0; kind < FLECK_PHANTOM_KINDS; kind++) {
        names[kind] = fleck_phantom_kind_name((fleck_phantom_kind)kind);
        if (strcmp(name, names[kind]) == 0) {
            phantom->kind = (fleck_phantom_kind)kind;
            return true;
        }
    }
    nearest = cli_nearest(name, names, FLECK_PHANTOM_KINDS);
    if (nearest != NULL)
        cli_say_parts(name, "no such kind of phantom; did you mean %s?", nearest);
    else
        cli_say(name, "no such kind of phantom; fleck phantom --help lists them");
    return false;
}

static int run(const cli_command *command, int count, char **words)
{
    struct call call = { .options = fleck_phantom_options_default() };
    const char **names = calloc((size_t)count + 1, sizeof *names);
    size_t name_count = 0;
    int code;

    if (count > 0 && strcmp(words[0], "sheet") == 0) {
        free(names);
        return cli_command_phantom_sheet.run(&cli_command_phantom_sheet, count - 1, words + 1);
    }
    if (names == NULL) {
        fputs("fleck: phantom: no memory for the call; free some memory\n", stderr);
        return EXIT_MACHINE;
    }
    code = cli_parse(command, count, words, set_option, &call, names, &name_count);
    if (code < 0 && (name_count != 1 || call.out == NULL)) {
        fputs("fleck: phantom: give one kind and a picture to write, such as: fleck phantom discs -o "
              "tile.png\n",
              stderr);
        code = EXIT_CALL;
    }
    if (code < 0)
        code = set_kind(&call.options, names[0]) ? draw(&call) : EXIT_CALL;
    free(names);
    return code;
}

const cli_command cli_command_phantom = {
    .name = "phantom",
    .arguments = "KIND -o PICTURE [options]",
    .summary = "draw a synthetic speckle whose true numbers are known",
    .text = "Kinds: discs (random places, overlaps allowed), separate (random, never touching), square and "
            "hexagonal (lattices of discs), field (a random field cut at a level), plain (paper alone, or "
            "solid ink with --coverage 1).\n"
            "\n"
            "PICTURE.truth.json says what was drawn and which numbers a measurement should find.\n"
            "\n"
            "fleck phantom sheet draws a whole test sheet; fleck phantom sheet --help tells more.",
    .options = options,
    .option_count = sizeof options / sizeof *options,
    .run = run,
};
