/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure_pictures.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "options.h"

cli_pictures cli_pictures_default(void)
{
    return (cli_pictures){ .options = fleck_overlay_options_default() };
}

static int unknown_column(const cli_pictures *pictures)
{
    const fleck_inputs *const inputs = pictures->inputs;
    const char *const nearest = cli_nearest(pictures->sheet_by, (const char *const *)inputs->columns,
                                            inputs->column_count);

    fputs("fleck: --sheet-by ", stderr);
    cli_print_path(stderr, pictures->sheet_by);
    if (inputs->column_count == 0) {
        fputs(": there is no manifest; give one with this column, or leave the option out\n", stderr);
    } else {
        fputs(": is no column of the manifest; ", stderr);
        fputs(nearest != NULL ? "did you mean " : "it has ", stderr);
        for (size_t i = 0; nearest == NULL && i < inputs->column_count; i++) {
            fputs(i > 0 ? ", " : "", stderr);
            cli_print_path(stderr, inputs->columns[i]);
        }
        if (nearest != NULL)
            cli_print_path(stderr, nearest);
        fputs(nearest != NULL ? "?\n" : "\n", stderr);
    }
    return EXIT_CALL;
}

static size_t find_column(const cli_pictures *pictures)
{
    size_t at = 0;

    while (at < pictures->inputs->column_count &&
           strcmp(pictures->inputs->columns[at], pictures->sheet_by) != 0)
        at++;
    return at;
}

int cli_pictures_begin(cli_pictures *pictures, const char *run_folder, const fleck_inputs *inputs)
{
    fleck_error err = { 0 };

    pictures->run_folder = run_folder;
    pictures->inputs = inputs;
    if (!pictures->wanted && (pictures->sheet_by != NULL || pictures->options.scale != 0)) {
        fprintf(stderr, "fleck: --%s: no pictures are made; add --pictures\n",
                pictures->sheet_by != NULL ? "sheet-by" : "picture-scale");
        return EXIT_CALL;
    }
    if (!pictures->wanted)
        return -1;
    if (run_folder == NULL) {
        fputs("fleck: --pictures: there is no folder to put them in; name one with -o RUN\n", stderr);
        return EXIT_CALL;
    }
    if (fleck_overlay_options_check(&pictures->options, &err) != FLECK_OK) {
        cli_say("--picture-scale", err.message);
        return EXIT_CALL;
    }
    if (pictures->sheet_by != NULL && find_column(pictures) == inputs->column_count)
        return unknown_column(pictures);
    pictures->slots = inputs->count;
    pictures->measured = calloc(inputs->count + 1, sizeof *pictures->measured);
    pictures->failures = calloc(inputs->count + 1, sizeof *pictures->failures);
    if (pictures->measured != NULL && pictures->failures != NULL)
        return -1;
    fputs("fleck: --pictures: no memory for the list of patches; free some memory\n", stderr);
    return EXIT_MACHINE;
}

/* The input of that id; ids differ among those without a failure. */
static size_t find_input(const cli_pictures *pictures, const char *id, size_t from)
{
    const fleck_inputs *const inputs = pictures->inputs;

    while (from < inputs->count &&
           (inputs->items[from].failure != NULL || strcmp(inputs->items[from].id, id) != 0))
        from++;
    return from;
}

fleck_status cli_pictures_patch(cli_pictures *pictures, const fleck_patch_view *view,
                                fleck_error *err)
{
    fleck_error why = { 0 };
    fleck_status status;
    size_t at;

    if (!pictures->wanted)
        return FLECK_OK;
    status = fleck_overlay_write(view, &pictures->options, pictures->run_folder, &why);
    if (status == FLECK_OK)
        return FLECK_OK;
    if (status == FLECK_NO_RESOURCE)
        return fleck_fail(err, status, "its picture: %s", why.message);
    /* the numbers are good: the patch is measured, and its slot is this thread's alone */
    at = find_input(pictures, view->record->id, 0);
    if (at < pictures->inputs->count && pictures->failures[at] == NULL) {
        pictures->failures[at] = malloc(strlen(why.message) + 1);
        if (pictures->failures[at] != NULL)
            strcpy(pictures->failures[at], why.message);
    }
    return FLECK_OK;
}

void cli_pictures_record(cli_pictures *pictures, const fleck_record *record)
{
    size_t at;

    if (!pictures->wanted)
        return;
    at = find_input(pictures, record->id, pictures->next); /* records come in the inputs' order */
    if (at < pictures->inputs->count) {
        pictures->measured[at] = true;
        pictures->next = at + 1;
    }
}

static fleck_status write_sheet(const cli_pictures *pictures, fleck_contact_summary *summary,
                                fleck_error *err)
{
    const fleck_inputs *const inputs = pictures->inputs;
    const size_t column = pictures->sheet_by != NULL ? find_column(pictures) : 0;
    fleck_contact_patch *const patches = calloc(inputs->count + 1, sizeof *patches);
    size_t count = 0;
    fleck_status status;

    if (patches == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the contact sheet; free some memory");
    for (size_t i = 0; i < inputs->count; i++) {
        const fleck_input *const input = &inputs->items[i];

        if (!pictures->measured[i] || pictures->failures[i] != NULL)
            continue;
        patches[count].id = input->id;
        if (pictures->sheet_by != NULL && input->cells != NULL)
            patches[count].factor = input->cells[column];
        count++;
    }
    status = fleck_contact_sheet_write(pictures->run_folder, patches, count, pictures->sheet_by,
                                       summary, err);
    free(patches);
    return status;
}

int cli_pictures_end(cli_pictures *pictures)
{
    fleck_contact_summary summary;
    fleck_error err = { 0 };
    fleck_status status;
    int code = EXIT_DONE;

    if (!pictures->wanted)
        return EXIT_DONE;
    for (size_t i = 0; i < pictures->inputs->count; i++) {
        if (pictures->failures[i] == NULL)
            continue;
        fputs("fleck: ", stderr);
        cli_print_path(stderr, pictures->inputs->items[i].path);
        fprintf(stderr, ": it is measured, but has no picture: %s\n", pictures->failures[i]);
        code = EXIT_INPUT;
    }
    status = write_sheet(pictures, &summary, &err);
    if (status != FLECK_OK)
        return cli_say_failure("contact-sheet.png", status, &err);
    if (summary.without_picture > 0)
        fprintf(stderr,
                "fleck: contact-sheet.png: %zu patches that were measured without --pictures are left "
                "out; measure anew into another folder to have all\n",
                summary.without_picture);
    if (summary.too_many > 0)
        fprintf(stderr,
                "fleck: contact-sheet.png: %zu patches are left out, as a sheet holds %d; measure "
                "fewer at once to have all\n",
                summary.too_many, FLECK_CONTACT_MOST_PATCHES);
    return code;
}

void cli_pictures_clear(cli_pictures *pictures)
{
    for (size_t i = 0; pictures->failures != NULL && i < pictures->slots; i++)
        free(pictures->failures[i]);
    free(pictures->failures);
    free(pictures->measured);
    *pictures = cli_pictures_default();
}
