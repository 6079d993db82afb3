/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "plan_scans.h"

#include <stdlib.h>
#include <string.h>

#include "fleck/measure.h"
#include "fleck/memory.h"
#include "options.h"

static void on_record(void *context, const fleck_record *record)
{
    cli_plan_scans *const scans = context;
    char *text = fleck_record_to_json(record); /* a record is copied by writing and reading it */
    fleck_record *grown =
        text != NULL ? realloc(scans->records, (scans->count + 1) * sizeof *grown) : NULL;

    if (grown != NULL) {
        scans->records = grown;
        if (fleck_record_from_json(text, strlen(text), &grown[scans->count], NULL) == FLECK_OK)
            scans->count++;
        else
            scans->out_of_memory = true;
    } else
        scans->out_of_memory = true;
    fleck_free(text);
}

static void on_failure(void *context, const char *path, const char *message)
{
    cli_plan_scans *const scans = context;

    scans->failed++;
    cli_say(path, message);
}

fleck_status cli_plan_scans_measure(const char *const *names, size_t count, cli_plan_scans *scans,
                                    fleck_error *err)
{
    const fleck_measure_options measure = fleck_measure_options_default();
    fleck_measure_observer observer = fleck_measure_observer_default();
    fleck_inputs inputs = { 0 };
    fleck_measure_summary summary;
    fleck_status status = fleck_inputs_gather(names, count, &inputs, err);

    observer.context = scans;
    observer.record = on_record;
    observer.failure = on_failure;
    if (status == FLECK_OK)
        status = fleck_measure(&inputs, &measure, NULL, &observer, &summary, err);
    if (status == FLECK_OK && scans->out_of_memory)
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the records; free some memory");
    if (status == FLECK_OK && scans->count == 0)
        status = fleck_fail(err, FLECK_BAD_INPUT, "nothing could be measured; give other scans");
    fleck_inputs_clear(&inputs);
    return status;
}

void cli_plan_scans_clear(cli_plan_scans *scans)
{
    for (size_t i = 0; i < scans->count; i++)
        fleck_record_clear(&scans->records[i]);
    free(scans->records);
    *scans = (cli_plan_scans){ 0 };
}
