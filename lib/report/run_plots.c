/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <errno.h>
#include <string.h>
#include <sys/stat.h>

#include "core/memory.h"
#include "core/text.h"
#include "core/versioned.h"
#include "fleck/file.h"
#include "fleck/inputs.h"
#include "report/run_plots.h"
#include "study/study_table.h"

/* Longer names get a folded one: file systems take 255 bytes, and an ending follows. */
enum { MOST_NAME_BYTES = 200 };

struct writer {
    const fleck_study *study;
    const fleck_run_plots_options *options;
    const char *folder;
    fleck_run_plots_summary *summary;
};

void fleck_run_plots_options_init(fleck_run_plots_options *options, size_t struct_bytes)
{
    fleck_run_plots_options defaults = { .svg = true, .size = FLECK_PLOT_COLUMN };

    for (size_t i = 0; i < FLECK_RUN_PLOTS; i++)
        defaults.wanted[i] = true;
    fleck_versioned_init(options, struct_bytes, &defaults, sizeof defaults);
}

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a plot; free some memory");
}

/* Write a filled plot as NAME-WHAT in each format, and clear it. */
static fleck_status write_plot(const struct writer *writer, fleck_plot *plot, const char *name,
                               const char *what, fleck_error *err)
{
    static const char *const endings[] = { [FLECK_PLOT_SVG] = "svg",
                                           [FLECK_PLOT_PDF] = "pdf",
                                           [FLECK_PLOT_PNG] = "png" };
    const bool wanted[] = { [FLECK_PLOT_SVG] = writer->options->svg,
                            [FLECK_PLOT_PDF] = writer->options->pdf,
                            [FLECK_PLOT_PNG] = writer->options->png };
    fleck_status status = FLECK_OK;

    for (int format = FLECK_PLOT_SVG; status == FLECK_OK && format <= FLECK_PLOT_PNG; format++) {
        unsigned char *bytes = NULL;
        size_t size = 0;
        fleck_text path = { 0 };
        fleck_error inner = { 0 };

        if (!wanted[format])
            continue;
        fleck_text_add_format(&path, "%s/%s-%s.%s", writer->folder, name, what, endings[format]);
        status = path.failed ? no_memory(err)
                             : fleck_plot_render(plot, (fleck_plot_format)format, &bytes, &size, err);
        if (status == FLECK_OK && (status = fleck_file_write(path.bytes, bytes, size, &inner)) != FLECK_OK)
            fleck_study_fail_at(err, status, path.bytes, inner.message);
        if (status == FLECK_OK)
            writer->summary->files++;
        fleck_free(bytes);
        fleck_text_clear(&path);
    }
    fleck_plot_clear(plot);
    return status;
}

static fleck_status write_patch(const struct writer *writer, size_t row, fleck_error *err)
{
    char *const name = fleck_id_to_file_name(fleck_study_id(writer->study, row));
    run_patch patch;
    fleck_status status = run_patch_read(writer->study, row, &patch, err);

    if (status == FLECK_OK && name == NULL)
        status = no_memory(err);
    for (int kind = 0; status == FLECK_OK && kind < FLECK_RUN_PLOTS; kind++) {
        fleck_plot plot = { .size = writer->options->size };

        if (!writer->options->wanted[kind])
            continue;
        if (run_plot_fill_patch(&plot, (fleck_run_plot)kind, &patch))
            status = write_plot(writer, &plot, name, fleck_run_plot_name((fleck_run_plot)kind), err);
        else
            writer->summary->without_data++;
    }
    run_patch_clear(&patch);
    fleck_free(name);
    return status;
}

static fleck_status write_patches(const struct writer *writer, fleck_error *err)
{
    const size_t rows = fleck_study_row_count(writer->study);
    fleck_status status = FLECK_OK;

    for (size_t row = 0; status == FLECK_OK && row < rows; row++) {
        bool wanted = writer->options->patch_count == 0;

        for (size_t i = 0; i < writer->options->patch_count; i++)
            wanted = wanted || strcmp(writer->options->patches[i], fleck_study_id(writer->study, row)) == 0;
        if (wanted)
            status = write_patch(writer, row, err);
    }
    return status;
}

/* MEASURE@COLUMN; an id's file never holds '@', so that no patch can have that name. */
static char *study_name(const char *measure, const char *column)
{
    char *const first = fleck_id_to_file_name(measure);
    char *const second = fleck_id_to_file_name(column);
    fleck_text name = { 0 };

    if (first != NULL && second != NULL)
        fleck_text_add_format(&name, "%s@%s", first, second);
    if (name.length > MOST_NAME_BYTES) {
        char *const folded = fleck_id_to_file_name(name.bytes);

        fleck_text_clear(&name);
        if (folded != NULL)
            fleck_text_add_format(&name, "@%s", folded);
        fleck_free(folded);
    }
    fleck_free(first);
    fleck_free(second);
    if (name.failed)
        fleck_text_clear(&name);
    return name.bytes;
}

static fleck_status write_groups(const struct writer *writer, size_t by, const run_groups *groups,
                                 const char *measure, fleck_error *err)
{
    const size_t column = fleck_study_find_column(writer->study, measure);
    char *const name = study_name(measure, writer->options->by);
    fleck_plot plot = { .size = writer->options->size };
    fleck_status status = name != NULL ? FLECK_OK : no_memory(err);

    if (column == FLECK_STUDY_NONE) { /* of the usual measures: an older run may not have it */
        writer->summary->without_data++;
    } else if (status == FLECK_OK) {
        if (run_plot_fill_groups(&plot, writer->study, by, groups, column))
            status = write_plot(writer, &plot, name, "groups", err);
        else
            writer->summary->without_data++;
        if (status == FLECK_OK && groups->numeric && groups->count >= 3) {
            if (run_plot_fill_factor(&plot, writer->study, by, column))
                status = write_plot(writer, &plot, name, "fit", err);
            else
                writer->summary->without_data++;
        }
    }
    fleck_plot_clear(&plot);
    fleck_free(name);
    return status;
}

static fleck_status write_by(const struct writer *writer, fleck_error *err)
{
    const fleck_run_plots_options *const options = writer->options;
    size_t count = options->measure_count, by;
    const char *const *measures = count > 0 ? options->measures : fleck_study_default_measures(&count);
    run_groups groups = { 0 };
    fleck_status status = fleck_study_need_column(writer->study, options->by, "column", &by, err);

    if (status == FLECK_OK)
        status = run_groups_find(writer->study, by, &groups, err);
    for (size_t i = 0; status == FLECK_OK && i < count; i++)
        status = write_groups(writer, by, &groups, measures[i], err);
    run_groups_clear(&groups);
    return status;
}

static fleck_status write_charts(const struct writer *writer, fleck_error *err)
{
    fleck_edition_options options = fleck_edition_options_default();
    fleck_edition edition = { 0 };
    fleck_status status;

    options.order = writer->options->order;
    options.measures = writer->options->measures;
    options.measure_count = writer->options->measure_count;
    options.mixed = writer->options->mixed;
    options.pattern = false;
    status = fleck_edition_judge(writer->study, &options, &edition, err);
    for (size_t i = 0; status == FLECK_OK && i < edition.measure_count; i++) {
        char *const name = study_name(edition.measures[i].measure, options.order);
        fleck_plot plot = { .size = writer->options->size };

        if (name == NULL)
            status = no_memory(err);
        else if (run_plot_fill_chart(&plot, writer->study, &edition, &edition.measures[i], NULL))
            status = write_plot(writer, &plot, name, "chart", err);
        else
            writer->summary->without_data++;
        fleck_plot_clear(&plot);
        fleck_free(name);
    }
    fleck_edition_clear(&edition);
    return status;
}

/* All that is named must be there before the first file is written. */
static fleck_status check(const fleck_study *study, const fleck_run_plots_options *options,
                          fleck_error *err)
{
    fleck_status status = FLECK_OK;
    size_t column;

    for (size_t i = 0; i < options->patch_count; i++) {
        bool there = false;

        for (size_t row = 0; row < fleck_study_row_count(study); row++)
            there = there || strcmp(fleck_study_id(study, row), options->patches[i]) == 0;
        if (!there)
            return fleck_fail(err, FLECK_BAD_CALL,
                              "%s: no patch of that id in the run; its ids stand in patches.csv",
                              options->patches[i]);
    }
    for (size_t i = 0; status == FLECK_OK && i < options->measure_count; i++)
        status = fleck_study_need_column(study, options->measures[i], "measure", &column, err);
    if (status == FLECK_OK && options->by != NULL)
        status = fleck_study_need_column(study, options->by, "column", &column, err);
    if (status == FLECK_OK && options->order != NULL)
        status = fleck_study_need_column(study, options->order, "column", &column, err);
    return status;
}

fleck_status fleck_run_plots_write(const char *run, const fleck_run_plots_options *options,
                                   fleck_run_plots_summary *summary, fleck_error *err)
{
    fleck_run_plots_options known = fleck_run_plots_options_default();
    fleck_study *study = NULL;
    fleck_text folder = { 0 };
    struct writer writer = { .options = &known, .summary = summary };
    fleck_status status;

    *summary = (fleck_run_plots_summary){ 0 };
    if ((status = fleck_versioned_take(options, &known, sizeof known, "plot options", err)) != FLECK_OK)
        return status;
    options = &known;
    if (!options->svg && !options->pdf && !options->png)
        return fleck_fail(err, FLECK_BAD_CALL, "no format for plots; give svg, pdf or png");
    if ((status = fleck_study_read(&run, 1, &study, err)) != FLECK_OK ||
        (status = check(study, options, err)) != FLECK_OK)
        goto done;
    if (options->folder != NULL)
        fleck_text_add(&folder, options->folder);
    else
        fleck_text_add_format(&folder, "%s/plots", run);
    if (folder.failed || folder.bytes == NULL) {
        status = no_memory(err);
        goto done;
    }
    if (mkdir(folder.bytes, 0777) != 0 && errno != EEXIST) {
        status = fleck_study_fail_at(err, FLECK_NO_RESOURCE, folder.bytes,
                                     "cannot be made; check the path and its permissions");
        goto done;
    }
    writer.study = study;
    writer.folder = folder.bytes;
    status = write_patches(&writer, err);
    if (status == FLECK_OK && options->by != NULL)
        status = write_by(&writer, err);
    if (status == FLECK_OK && options->order != NULL)
        status = write_charts(&writer, err);
done:
    fleck_text_clear(&folder);
    fleck_study_free(study);
    return status;
}
