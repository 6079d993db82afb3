/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>
#include <string.h>

#include "commands.h"
#include "fleck/file.h"
#include "fleck/memory.h"
#include "fleck/report.h"
#include "study_call.h"

enum { MOST_TOLERANCES = 64, TOLERANCE_BYTES = 4096 };

enum option_id { OUT, BY, ORDER, REFERENCE, PRINT, RESCAN, EDITION_SIZE, TOLERANCE, TITLE };

static const cli_option options[] = {
    { "out", 'o', "FILE.html", "the page (default: RUN/report.html)", OUT },
    { "by", '\0', "COLUMN", "compare the groups that this column makes", BY },
    { "order", '\0', "COLUMN", "judge an edition in the order of this column of numbers", ORDER },
    { "reference", '\0', "ID|RUN", "with --order: approved patch of this run, or a run of approved prints",
      REFERENCE },
    { "print", '\0', "COLUMN", "column that names the print (default: as fleck edition takes it)", PRINT },
    { "rescan", '\0', "COLUMN", "column that tells scans of the same print apart", RESCAN },
    { "edition-size", '\0', "N", "with --order: how many prints of an edition of N to look at",
      EDITION_SIZE },
    { "tolerance", '\0', "KEY=X|X%",
      "how far a measure may lie off and still be the same; several with commas, or the option again",
      TOLERANCE },
    { "title", '\0', "TEXT", "heading of the page", TITLE },
    CLI_STUDY_MEASURES_ROW,
    CLI_STUDY_UNIT_ROW,
    CLI_STUDY_MIXED_ROW,
    CLI_STUDY_SEED_ROW,
};

struct call {
    cli_study_call study;
    fleck_report_options options;
    const char *out;
    fleck_report_tolerance tolerances[MOST_TOLERANCES];
    char texts[TOLERANCE_BYTES]; /* of the measures' names in them */
    size_t texts_used;
};

/* One "KEY=X" or "KEY=X%" of `length` bytes. */
static bool add_tolerance(struct call *call, const char *word, size_t length, char why[256])
{
    const char *const equals = memchr(word, '=', length);
    const size_t key_bytes = equals != NULL ? (size_t)(equals - word) : 0;
    const size_t number_bytes = equals != NULL ? length - key_bytes - 1 : 0;
    fleck_report_tolerance *next;
    char number[64];

    if (key_bytes == 0 || number_bytes == 0 || number_bytes >= sizeof number ||
        call->options.tolerance_count == MOST_TOLERANCES ||
        call->texts_used + key_bytes + 1 > sizeof call->texts) {
        snprintf(why, 256, "is no tolerance; write one such as ink.coverage=5%% or dots.d50_mm=0.02");
        return false;
    }
    next = &call->tolerances[call->options.tolerance_count];
    memcpy(number, equals + 1, number_bytes);
    number[number_bytes] = '\0';
    next->percent = number[number_bytes - 1] == '%';
    if (next->percent)
        number[number_bytes - 1] = '\0';
    if (!cli_number(number, &next->amount) || !(next->amount > 0)) {
        snprintf(why, 256, "has no number above 0; write one such as ink.coverage=5%% or dots.d50_mm=0.02");
        return false;
    }
    next->measure = call->texts + call->texts_used;
    memcpy(call->texts + call->texts_used, word, key_bytes);
    call->texts_used += key_bytes;
    call->texts[call->texts_used++] = '\0';
    call->options.tolerance_count++;
    return true;
}

static bool set_option(void *context, int id, const char *value, char why[256])
{
    struct call *const call = context;

    if (id >= CLI_STUDY_FIRST)
        return cli_study_set(&call->study, id, value, why);
    switch ((enum option_id)id) {
    case OUT:
        call->out = value;
        return true;
    case BY:
        call->options.by = value;
        return true;
    case ORDER:
        call->options.order = value;
        return true;
    case REFERENCE:
        call->options.reference = value;
        return true;
    case PRINT:
        call->options.print = value;
        return true;
    case RESCAN:
        call->options.rescan = value;
        return true;
    case EDITION_SIZE:
        if (cli_count(value, &call->options.edition_size) && call->options.edition_size > 0)
            return true;
        snprintf(why, 256, "is no number of prints; write a whole number above 0");
        return false;
    case TOLERANCE:
        for (const char *word = value;; word++) {
            const size_t length = strcspn(word, ",");

            if (!add_tolerance(call, word, length, why))
                return false;
            word += length;
            if (*word == '\0')
                return true;
        }
    case TITLE:
        call->options.title = value;
        return true;
    }
    return false;
}

static int write_page(const char *path, const char *bytes, size_t size, const fleck_report_summary *summary)
{
    fleck_error err = { 0 };
    const fleck_status status = fleck_file_write(path, bytes, size, &err);

    if (status != FLECK_OK)
        return cli_say_failure(path, status, &err);
    fputs("fleck: ", stderr);
    cli_print_path(stderr, path);
    fprintf(stderr, ": %zu %s, %.1f MB%s\n", summary->patches, summary->patches == 1 ? "patch" : "patches",
            (double)size / 1e6, summary->reduced ? "; pictures were made smaller to keep it small" : "");
    if (summary->with_pictures == 0)
        fputs("fleck: report: no pictures of the dots in it; measure with --pictures to have them\n", stderr);
    return EXIT_DONE;
}

static int make(struct call *call, const char *run)
{
    fleck_report_summary summary;
    fleck_error err = { 0 };
    char *bytes = NULL, *path = NULL;
    size_t size = 0;
    fleck_status status;
    int code;

    call->options.tolerances = call->tolerances;
    call->options.measures = call->study.measures.items;
    call->options.measure_count = call->study.measures.count;
    call->options.unit = call->study.unit;
    call->options.mixed = call->study.mixed;
    call->options.seed = call->study.seed;
    if (call->out == NULL) {
        const size_t room = strlen(run) + sizeof "/report.html";

        path = malloc(room);
        if (path == NULL) {
            fputs("fleck: report: no memory for the call; free some memory\n", stderr);
            return EXIT_MACHINE;
        }
        snprintf(path, room, "%s/report.html", run);
    }
    status = fleck_report_make(run, &call->options, &bytes, &size, &summary, &err);
    code = status == FLECK_OK ? write_page(call->out != NULL ? call->out : path, bytes, size, &summary)
                              : cli_study_say_failure(status, &err);
    fleck_free(bytes);
    free(path);
    return code;
}

static int run(const cli_command *command, int count, char **words)
{
    struct call call = { .study = cli_study_call_default(), .options = fleck_report_options_default() };
    const char **names = calloc((size_t)count + 1, sizeof *names);
    size_t name_count = 0;
    int code;

    if (names == NULL) {
        fputs("fleck: report: no memory for the call; free some memory\n", stderr);
        code = EXIT_MACHINE;
    } else {
        code = cli_parse(command, count, words, set_option, &call, names, &name_count);
        if (code < 0 && name_count != 1) {
            fputs("fleck: report: no run is named, or several; give one, such as: fleck report run --by paste_pct\n", stderr);
            code = EXIT_CALL;
        }
        if (code < 0)
            code = make(&call, names[0]);
    }
    cli_study_call_clear(&call.study);
    free(names);
    return code;
}

const cli_command cli_command_report = {
    .name = "report",
    .arguments = "RUN [-o FILE.html] [options]",
    .summary = "make one self-contained HTML page about a run",
    .text = "RUN is a folder that fleck measure -o has made, best with --pictures. The page answers first "
            "the question that --by (do groups differ?) or --order (is the edition reproducible?) asks, "
            "and says what was measured without them. It loads nothing, so it can be sent as it is.",
    .options = options,
    .option_count = sizeof options / sizeof *options,
    .run = run,
};
