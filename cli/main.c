/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <string.h>

#include "commands.h"
#include "fleck/version.h"

static const cli_command *const commands[] = {
    &cli_command_measure,
    &cli_command_locate,
    &cli_command_calibrate,
    &cli_command_compare,
    &cli_command_phantom,
    &cli_command_relate,
    &cli_command_edition,
    &cli_command_plan,
    &cli_command_contact,
    &cli_command_plot,
    &cli_command_describe,
};

enum { COMMAND_COUNT = sizeof commands / sizeof *commands };

static void print_help(FILE *out)
{
    fputs("fleck measures speckled prints from scans.\n\n", out);
    for (size_t i = 0; i < COMMAND_COUNT; i++)
        fprintf(out, "  fleck %-9s %s\n", commands[i]->name, commands[i]->summary);
    fputs("\nfleck COMMAND --help tells more about each; fleck --version names the version.\n", out);
}

int main(int count, char **words)
{
    const char *names[COMMAND_COUNT];
    const char *nearest;

    if (count < 2) {
        print_help(stderr);
        return EXIT_CALL;
    }
    if (strcmp(words[1], "--help") == 0 || strcmp(words[1], "-h") == 0 ||
        strcmp(words[1], "help") == 0) {
        print_help(stdout);
        return EXIT_DONE;
    }
    if (strcmp(words[1], "--version") == 0) {
        printf("fleck %s\n", fleck_version());
        return EXIT_DONE;
    }
    for (size_t i = 0; i < COMMAND_COUNT; i++) {
        names[i] = commands[i]->name;
        if (strcmp(words[1], names[i]) == 0)
            return commands[i]->run(commands[i], count - 2, words + 2);
    }
    nearest = cli_nearest(words[1], names, COMMAND_COUNT);
    if (nearest != NULL)
        fprintf(stderr, "fleck: %s: no such command; did you mean fleck %s?\n", words[1], nearest);
    else
        fprintf(stderr, "fleck: %s: no such command; fleck --help lists them\n", words[1]);
    return EXIT_CALL;
}
