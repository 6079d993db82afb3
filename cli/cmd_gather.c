/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>
#include <string.h>

#include "commands.h"
#include "fleck/gather.h"
#include "fleck/overlay.h"
#include "measure_pictures.h"
#include "summary.h"

enum option_id { RUN, RESUME, SHEET_BY, QUIET };

static const cli_option options[] = {
    { "run", 'o', "RUN", "folder for the whole run; required", RUN },
    { "sheet-by", '\0', "COLUMN",
      "order the contact sheet by this column of the manifest, when there are pictures", SHEET_BY },
    { "resume", '\0', NULL, "go on with an interrupted gathering in the folder of -o", RESUME },
    { "quiet", 'q', NULL, "say nothing but what is wrong", QUIET },
};

struct call {
    const char *run;
    bool resume, quiet;
    cli_pictures pictures;
    size_t with_pictures; /* patches */
    int picture_code;     /* exit code */
    int said;             /* exit code of what was said already, -1 as long as nothing was */
    cli_doubts doubts;
};

static bool set_option(void *context, int id, const char *value, char why[256])
{
    struct call *const call = context;

    switch ((enum option_id)id) {
    case RUN:
        call->run = value;
        if (*value != '\0')
            return true;
        snprintf(why, 256, "is no folder; give its name");
        return false;
    case RESUME:
        call->resume = true;
        return true;
    case SHEET_BY:
        call->pictures.sheet_by = value;
        return true;
    case QUIET:
        call->quiet = true;
        return true;
    }
    return false;
}

static fleck_status on_begin(void *context, const fleck_inputs *whole, fleck_error *err)
{
    struct call *const call = context;

    call->pictures.wanted = true; /* where there are any */
    call->said = cli_pictures_begin(&call->pictures, call->run, whole);
    if (call->said == EXIT_MACHINE)
        return fleck_fail(err, FLECK_NO_RESOURCE,
                          "no memory for the list of patches; free some memory");
    return call->said < 0 ? FLECK_OK
                          : fleck_fail(err, FLECK_BAD_CALL,
                                       "the contact sheet has no such order; choose another");
}

static fleck_status on_copy(void *context, const char *slice, const fleck_input *input,
                            const fleck_record *record, fleck_error *err)
{
    struct call *const call = context;
    bool copied;
    const fleck_status status = fleck_overlay_copy(slice, call->run, input->id, &copied, err);

    (void)record;
    call->with_pictures += copied;
    return status;
}

static void on_record(void *context, const fleck_record *record)
{
    struct call *const call = context;

    cli_pictures_record(&call->pictures, record);
    cli_doubts_note(&call->doubts, record);
}

static void on_failure(void *context, const char *path, const char *message)
{
    (void)context;
    cli_say(path, message);
}

static void on_warning(void *context, const char *path, const char *code, const char *message)
{
    (void)context;
    cli_print_warning(stderr, path, code, message);
    fputc('\n', stderr);
}

/* The list is there no longer when the call is over. */
static void on_end(void *context)
{
    struct call *const call = context;

    if (call->with_pictures > 0) {
        call->picture_code = cli_pictures_end(&call->pictures);
    } else if (call->pictures.sheet_by != NULL) {
        fputs("fleck: --sheet-by: no slice has pictures to order; measure slices with --pictures\n",
              stderr);
        call->picture_code = EXIT_INPUT;
    }
}

static int gather(struct call *call, const char *const *runs, size_t count)
{
    fleck_gather_options gather_options = fleck_gather_options_default();
    fleck_gather_observer observer = fleck_gather_observer_default();
    fleck_gather_summary summary;
    fleck_error err = { 0 };
    fleck_status status;
    int code;

    gather_options.resume = call->resume;
    observer.context = call;
    observer.begin = on_begin;
    observer.record = on_record;
    observer.failure = on_failure;
    observer.warning = on_warning;
    observer.copy = on_copy;
    observer.end = on_end;
    call->said = -1;
    status = fleck_gather(runs, count, &gather_options, call->run, &observer, &summary, &err);
    cli_doubts_print(&call->doubts, stderr);
    if (status != FLECK_OK)
        code = call->said >= 0 ? call->said : cli_say_failure(call->run, status, &err);
    else if (call->picture_code == EXIT_DONE && summary.failed > 0)
        code = EXIT_INPUT;
    else
        code = call->picture_code;
    if (status == FLECK_OK && !call->quiet)
        cli_say_parts(call->run, "%zu slices, %zu measured, %zu failed; the table is patches.csv",
                      summary.slices, summary.measured, summary.failed);
    if (status == FLECK_NO_RESOURCE && call->said < 0)
        cli_say(call->run, "what is in the folder is whole; go on with --resume");
    cli_doubts_clear(&call->doubts);
    cli_pictures_clear(&call->pictures);
    return code;
}

static int run(const cli_command *command, int count, char **words)
{
    struct call call = { .pictures = cli_pictures_default() };
    const char **runs = calloc((size_t)count + 1, sizeof *runs);
    size_t run_count = 0;
    int code;

    if (runs == NULL) {
        fputs("fleck: gather: no memory for the call; free some memory\n", stderr);
        return EXIT_MACHINE;
    }
    code = cli_parse(command, count, words, set_option, &call, runs, &run_count);
    if (code < 0 && call.run == NULL) {
        fputs("fleck: gather: no folder for the whole run; name one with -o RUN\n", stderr);
        code = EXIT_CALL;
    }
    if (code < 0 && run_count == 0) {
        fputs("fleck: gather: nothing to gather; name the folders of all slices\n", stderr);
        code = EXIT_CALL;
    }
    if (code < 0)
        code = gather(&call, runs, run_count);
    free(runs);
    return code;
}

const cli_command cli_command_gather = {
    .name = "gather",
    .arguments = "RUN ... -o RUN",
    .summary = "put together a run that was measured in slices",
    .text = "Each RUN is a folder of fleck measure --slice I/N -o RUN; all N slices of one list "
            "are needed, in "
            "any order. The folder of -o then holds what one machine would have written, with the "
            "pictures if "
            "the slices have some.",
    .options = options,
    .option_count = sizeof options / sizeof *options,
    .run = run,
};
