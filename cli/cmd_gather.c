/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>

#include "commands.h"
#include "fleck/gather.h"
#include "summary.h"

enum option_id { RUN, QUIET };

static const cli_option options[] = {
    { "run", 'o', "RUN", "folder for the whole run; required", RUN },
    { "quiet", 'q', NULL, "say nothing but what is wrong", QUIET },
};

struct call {
    const char *run;
    bool quiet;
    cli_doubts doubts;
};

static bool set_option(void *context, int id, const char *value, char why[256])
{
    struct call *const call = context;

    (void)why;
    switch ((enum option_id)id) {
    case RUN:
        call->run = value;
        return true;
    case QUIET:
        call->quiet = true;
        return true;
    }
    return false;
}

static void on_record(void *context, const fleck_inputs *columns, const fleck_input *input,
                      const fleck_record *record)
{
    struct call *const call = context;

    (void)columns;
    (void)input;
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

static int gather(struct call *call, const char *const *runs, size_t count)
{
    fleck_gather_observer observer = fleck_gather_observer_default();
    fleck_gather_summary summary;
    fleck_error err = { 0 };
    fleck_status status;

    observer.context = call;
    observer.record = on_record;
    observer.failure = on_failure;
    observer.warning = on_warning;
    status = fleck_gather(runs, count, call->run, &observer, &summary, &err);
    cli_doubts_print(&call->doubts, stderr);
    cli_doubts_clear(&call->doubts);
    if (status != FLECK_OK)
        return cli_say_failure(call->run, status, &err);
    if (!call->quiet)
        cli_say_parts(call->run, "%zu slices, %zu measured, %zu failed; the table is patches.csv",
                      summary.slices, summary.measured, summary.failed);
    return summary.failed > 0 ? EXIT_INPUT : EXIT_DONE;
}

static int run(const cli_command *command, int count, char **words)
{
    struct call call = { 0 };
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
    .text = "Each RUN is a folder of fleck measure --slice I/N -o RUN; all N slices of one list are needed, in "
            "any order. The folder of -o then holds what one machine would have written. Pictures stay "
            "with their slices.",
    .options = options,
    .option_count = sizeof options / sizeof *options,
    .run = run,
};
