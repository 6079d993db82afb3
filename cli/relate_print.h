/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What relate found, for people. */
#ifndef FLECK_CLI_RELATE_PRINT_H
#define FLECK_CLI_RELATE_PRINT_H

#include "fleck/relate.h"

/* Print it on stdout; returns an exit code. */
int cli_print_relate(const fleck_relate *result);

#endif
