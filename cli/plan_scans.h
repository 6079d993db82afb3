/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Scans that stand for a pilot and are measured on the way. */
#ifndef FLECK_CLI_PLAN_SCANS_H
#define FLECK_CLI_PLAN_SCANS_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/record.h"

/* Start from {0}. */
typedef struct cli_plan_scans {
    fleck_record *records;
    size_t count;
    size_t failed; /* each has been said on stderr */
    bool out_of_memory;
} cli_plan_scans;

/*
 * Measure scans, folders or manifests with the default options.
 * Errors: as fleck_measure, and FLECK_BAD_INPUT when nothing could be measured; to be cleared in
 * any case.
 */
fleck_status cli_plan_scans_measure(const char *const *names, size_t count, cli_plan_scans *scans,
                                    fleck_error *err);
void cli_plan_scans_clear(cli_plan_scans *scans);

#endif
