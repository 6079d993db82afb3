/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The commands, each in its own cmd_NAME.c. */
#ifndef FLECK_CLI_COMMANDS_H
#define FLECK_CLI_COMMANDS_H

#include "options.h"

extern const cli_command cli_command_measure;
extern const cli_command cli_command_locate;
extern const cli_command cli_command_calibrate;
extern const cli_command cli_command_compare;
extern const cli_command cli_command_phantom;
extern const cli_command cli_command_phantom_sheet; /* of fleck phantom, not of fleck */
extern const cli_command cli_command_relate;
extern const cli_command cli_command_edition;
extern const cli_command cli_command_plan;
extern const cli_command cli_command_contact;
extern const cli_command cli_command_plot;
extern const cli_command cli_command_describe;

#endif
