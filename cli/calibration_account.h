/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FLECK_CLI_CALIBRATION_ACCOUNT_H
#define FLECK_CLI_CALIBRATION_ACCOUNT_H

#include <stdio.h>

#include "fleck/calibration.h"

/* Each part of a calibration as a person reads it, and how well it fits. */
void cli_print_calibration(FILE *out, const fleck_calibration *calibration);

#endif
