/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Plans as a person reads them on a terminal. */
#ifndef FLECK_CLI_PLAN_ACCOUNT_H
#define FLECK_CLI_PLAN_ACCOUNT_H

#include <stdio.h>

#include "fleck/plan.h"

/* Both return an exit code: EXIT_MACHINE when there was no memory for the table. */
int cli_print_plan(FILE *out, const fleck_plan *plan);
int cli_print_areas(FILE *out, const fleck_plan_areas *areas);

#endif
