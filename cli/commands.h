/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The commands, each in its own cmd_NAME.c, and the list of them for help, man pages and completions. */
#ifndef FLECK_CLI_COMMANDS_H
#define FLECK_CLI_COMMANDS_H

#include "options.h"

extern const cli_command cli_command_measure;
extern const cli_command cli_command_gather;
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
extern const cli_command cli_command_report;
extern const cli_command cli_command_describe;

/* Those of fleck, in the order of a job: in commands.c. */
extern const cli_command *const cli_commands[];
extern const size_t cli_command_count;

/* What `fleck` does, to be read after its name, and what stands below the list of its commands. */
extern const char cli_program_summary[];
extern const char cli_program_text[];
/* What the exit codes mean. */
extern const char cli_exit_text[];

#endif
