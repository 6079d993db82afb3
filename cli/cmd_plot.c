/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>
#include <string.h>

#include "commands.h"
#include "fleck/run_plots.h"
#include "study_call.h"

enum option_id { FOLDER, FORMAT, SIZE, PATCH, PLOTS, BY, ORDER };

static const cli_option options[] = {
    { "out", 'o', "FOLDER", "folder for the files (default: RUN/plots)", FOLDER },
    { "format", '\0', "svg,pdf,png", "one or several (default: svg)", FORMAT },
    { "size", '\0', "column|page", "85 or 170 mm wide (default: column)", SIZE },
    { "patch", '\0', "ID", "plots of this patch only; give it again for more", PATCH },
    { "plots", '\0', "NAME,...",
      "sizes, spacing, spectrum, chords, covariance, pattern; none: only those of --by and --order "
      "(default: all)",
      PLOTS },
    { "by", '\0', "COLUMN", "also each measure in the groups that this column makes", BY },
    { "order", '\0', "COLUMN", "also a control chart of each measure along this column", ORDER },
    CLI_STUDY_MEASURES_ROW,
    CLI_STUDY_MIXED_ROW,
};

struct call {
    fleck_run_plots_options options;
    cli_study_call study;
    const char **patches; /* room for all words of the call */
};

static bool set_formats(fleck_run_plots_options *plots, const char *value, char why[256])
{
    plots->svg = plots->pdf = plots->png = false;
    for (const char *word = value;; word++) {
        const size_t length = strcspn(word, ",");

        if (length == 3 && strncmp(word, "svg", 3) == 0)
            plots->svg = true;
        else if (length == 3 && strncmp(word, "pdf", 3) == 0)
            plots->pdf = true;
        else if (length == 3 && strncmp(word, "png", 3) == 0)
            plots->png = true;
        else
            break;
        word += length;
        if (*word == '\0')
            return true;
    }
    snprintf(why, 256, "names another format; give svg, pdf, png or several with commas");
    return false;
}

static bool set_plots(fleck_run_plots_options *plots, const char *value, char why[256])
{
    cli_list names = { 0 };
    bool known = true;

    memset(plots->wanted, 0, sizeof plots->wanted);
    if (strcmp(value, "none") == 0)
        return true;
    if (!cli_list_split(value, &names, why))
        return false;
    for (size_t i = 0; known && i < names.count; i++) {
        fleck_run_plot plot;

        known = fleck_run_plot_from_name(names.items[i], &plot);
        if (known)
            plots->wanted[plot] = true;
    }
    cli_list_clear(&names);
    if (!known)
        snprintf(why, 256,
                 "names another plot; give sizes, spacing, spectrum, chords, covariance, pattern or none");
    return known;
}

static bool set_option(void *context, int id, const char *value, char why[256])
{
    struct call *const call = context;
    fleck_run_plots_options *const o = &call->options;

    if (id >= CLI_STUDY_FIRST)
        return cli_study_set(&call->study, id, value, why);
    switch ((enum option_id)id) {
    case FOLDER:
        o->folder = value;
        return true;
    case FORMAT:
        return set_formats(o, value, why);
    case SIZE:
        o->size = strcmp(value, "page") == 0 ? FLECK_PLOT_PAGE : FLECK_PLOT_COLUMN;
        if (strcmp(value, "page") == 0 || strcmp(value, "column") == 0)
            return true;
        snprintf(why, 256, "is no size; give column or page");
        return false;
    case PATCH:
        call->patches[o->patch_count++] = value;
        return true;
    case PLOTS:
        return set_plots(o, value, why);
    case BY:
        o->by = value;
        return true;
    case ORDER:
        o->order = value;
        return true;
    }
    return false;
}

static int draw(struct call *call, const char *run)
{
    fleck_run_plots_summary summary;
    fleck_error err = { 0 };
    fleck_status status;

    call->options.patches = call->patches;
    call->options.measures = call->study.measures.items;
    call->options.measure_count = call->study.measures.count;
    call->options.mixed = call->study.mixed;
    status = fleck_run_plots_write(run, &call->options, &summary, &err);
    if (status != FLECK_OK)
        return cli_study_say_failure(status, &err);
    fputs("fleck: ", stderr);
    if (call->options.folder != NULL) {
        cli_print_path(stderr, call->options.folder);
    } else {
        cli_print_path(stderr, run);
        fputs("/plots", stderr);
    }
    fprintf(stderr, ": %zu %s", summary.files, summary.files == 1 ? "file" : "files");
    if (summary.without_data > 0)
        fprintf(stderr, "; %zu %s nothing to show and were left out", summary.without_data,
                summary.without_data == 1 ? "plot had" : "plots had");
    fputc('\n', stderr);
    return EXIT_DONE;
}

static int run(const cli_command *command, int count, char **words)
{
    struct call call = { .options = fleck_run_plots_options_default(),
                         .study = cli_study_call_default() };
    const char **names = calloc((size_t)count + 1, sizeof *names);
    size_t name_count = 0;
    int code;

    call.patches = calloc((size_t)count + 1, sizeof *call.patches);
    if (names == NULL || call.patches == NULL) {
        fputs("fleck: plot: no memory for the call; free some memory\n", stderr);
        code = EXIT_MACHINE;
    } else {
        code = cli_parse(command, count, words, set_option, &call, names, &name_count);
        if (code < 0 && name_count != 1) {
            fputs("fleck: plot: no run is named, or several; give one, such as: fleck plot run --by paste_pct\n", stderr);
            code = EXIT_CALL;
        }
        if (code < 0)
            code = draw(&call, names[0]);
    }
    cli_study_call_clear(&call.study);
    free(call.patches);
    free(names);
    return code;
}

const cli_command cli_command_plot = {
    .name = "plot",
    .arguments = "RUN [-o FOLDER] [options]",
    .summary = "draw the plots of a run as SVG, PDF or PNG",
    .text = "RUN is a folder that fleck measure -o has made. Each patch gives ID-sizes.svg, "
            "ID-spacing.svg and so on; --by gives MEASURE@COLUMN-groups.svg, and -fit.svg where the "
            "column holds numbers; --order gives MEASURE@COLUMN-chart.svg.",
    .options = options,
    .option_count = sizeof options / sizeof *options,
    .run = run,
};
