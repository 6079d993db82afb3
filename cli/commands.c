/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "commands.h"

const cli_command *const cli_commands[] = {
    &cli_command_measure,
    &cli_command_gather,
    &cli_command_locate,
    &cli_command_calibrate,
    &cli_command_compare,
    &cli_command_phantom,
    &cli_command_relate,
    &cli_command_edition,
    &cli_command_plan,
    &cli_command_contact,
    &cli_command_plot,
    &cli_command_report,
    &cli_command_describe,
};

const size_t cli_command_count = sizeof cli_commands / sizeof *cli_commands;

const char cli_program_summary[] = "measures speckled prints from scans";

const char cli_program_text[] =
    "fleck COMMAND --help tells more about each; fleck --version names the version.";

const char cli_exit_text[] =
    "The exit code is 0 when all was done, 1 when some input could not be used (the rest was), 2 when "
    "the call was wrong and nothing was done, 3 when the machine failed (disk, memory).";
