/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <string.h>

#include "pages.h"

static void print_quoted(FILE *out, const char *text)
{
    fputc('\'', out);
    for (const char *c = text; *c != '\0'; c++) {
        if (*c == '\'' || *c == '\\')
            fputc('\\', out);
        fputc(*c, out);
    }
    fputc('\'', out);
}

static void print_action(FILE *out, cli_value_kind kind, const char *words, bool list)
{
    switch (kind) {
    case CLI_VALUE_FOLDER:
        fputs(" -x -a '(__fish_complete_directories)'", out);
        break;
    case CLI_VALUE_FILE:
        fputs(" -r -F", out);
        break;
    case CLI_VALUE_WORDS:
        fprintf(out, list ? " -x -a '(__fish_complete_list , \"string split \\\" \\\" \\\"%s\\\"\")'"
                          : " -x -a '%s'", words);
        break;
    case CLI_VALUE_OTHER:
        fputs(" -x", out);
        break;
    }
}

/* Which command the words of the line belong to: "phantom sheet" is not "phantom". */
static void print_condition(FILE *out, const cli_command *command)
{
    const char *const blank = strchr(command->name, ' ');

    fputs("complete -c fleck -n '", out);
    if (blank != NULL) {
        fprintf(out, "__fish_seen_subcommand_from %.*s; and __fish_seen_subcommand_from %s",
                (int)(blank - command->name), command->name, blank + 1);
    } else {
        fprintf(out, "__fish_seen_subcommand_from %s", command->name);
        for (size_t i = cli_command_count; cli_page_command(i) != NULL; i++) {
            const char *const name = cli_page_command(i)->name;
            const size_t own = strlen(command->name);

            if (strncmp(name, command->name, own) == 0 && name[own] == ' ')
                fprintf(out, "; and not __fish_seen_subcommand_from %s", name + own + 1);
        }
    }
    fputc('\'', out);
}

static void print_command(FILE *out, const cli_command *command)
{
    char words[8192], clause[128];
    cli_value_kind kind;
    bool list;

    for (size_t i = 0; i < command->option_count; i++) {
        const cli_option *const option = &command->options[i];

        print_condition(out, command);
        if (option->letter != '\0')
            fprintf(out, " -s %c", option->letter);
        fprintf(out, " -l %s", option->name);
        if (option->value != NULL) {
            kind = cli_value_offer(option->value, option->help, words, &list);
            print_action(out, kind, words, list);
        }
        cli_short_help(option->help, clause);
        fputs(" -d ", out);
        print_quoted(out, clause);
        fputc('\n', out);
    }
    print_condition(out, command);
    fputs(" -s h -l help -d 'print the help'\n", out);
    kind = cli_argument_offer(command, words);
    if (kind != CLI_VALUE_OTHER) {
        print_condition(out, command);
        if (kind == CLI_VALUE_FILE)
            fputs(" -F", out);
        else if (kind == CLI_VALUE_FOLDER)
            fputs(" -a '(__fish_complete_directories)'", out);
        else
            fprintf(out, " -a '%s'", words);
        fputc('\n', out);
    }
}

void cli_print_fish_completion(FILE *out)
{
    fputs("# fish completion for fleck, written when fleck is built from the tables of its --help\n"
          "complete -c fleck -f\n"
          "complete -c fleck -n __fish_use_subcommand -s h -l help -d 'print the help'\n"
          "complete -c fleck -n __fish_use_subcommand -l version -d 'print the version'\n",
          out);
    for (size_t i = 0; i < cli_command_count; i++) {
        fprintf(out, "complete -c fleck -n __fish_use_subcommand -a %s -d ", cli_commands[i]->name);
        print_quoted(out, cli_commands[i]->summary);
        fputc('\n', out);
    }
    for (size_t i = 0; cli_page_command(i) != NULL; i++)
        print_command(out, cli_page_command(i));
}
