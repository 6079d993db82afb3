/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "pages.h"

/* Inside '...' and between the colons of a specification. */
static void print_quoted(FILE *out, const char *text)
{
    for (const char *c = text; *c != '\0'; c++) {
        if (*c == ':' || *c == '[' || *c == ']' || *c == '\\')
            fputc('\\', out);
        fputs(*c == '\'' ? "'\\''" : (char[]){ *c, '\0' }, out);
    }
}

static void print_action(FILE *out, cli_value_kind kind, const char *words, bool list)
{
    switch (kind) {
    case CLI_VALUE_FOLDER:
        fputs("_files -/", out);
        break;
    case CLI_VALUE_FILE:
        fputs("_files", out);
        break;
    case CLI_VALUE_WORDS:
        fputs(list ? "_values -s , value " : "(", out);
        for (const char *c = words; *c != '\0'; c++) {
            if (*c == ':')
                fputc('\\', out);
            fputc(*c, out);
        }
        fputs(list ? "" : ")", out);
        break;
    case CLI_VALUE_OTHER:
        fputc(' ', out);
        break;
    }
}

static void print_command(FILE *out, const cli_command *command)
{
    char words[8192], clause[128];
    cli_value_kind kind;
    bool list;

    fprintf(out, "    '%s')\n        _arguments", command->name);
    for (size_t i = 0; i < command->option_count; i++) {
        const cli_option *const option = &command->options[i];

        cli_short_help(option->help, clause);
        for (int form = option->letter != '\0' ? 0 : 1; form < 2; form++) {
            fputs(" \\\n            '*", out);
            if (form == 0)
                fprintf(out, "-%c", option->letter);
            else
                fprintf(out, "--%s", option->name);
            if (option->value != NULL)
                fputs(form == 0 ? "+" : "=", out);
            fputc('[', out);
            print_quoted(out, clause);
            fputc(']', out);
            if (option->value != NULL) {
                kind = cli_value_offer(option->value, option->help, words, &list);
                fputc(':', out);
                print_quoted(out, option->value);
                fputc(':', out);
                print_action(out, kind, words, list);
            }
            fputc('\'', out);
        }
    }
    fputs(" \\\n            '(- *)'{-h,--help}'[print the help]' \\\n            '*: :", out);
    kind = cli_argument_offer(command, words);
    print_action(out, kind, words, false);
    fputs("'\n        ;;\n", out);
}

void cli_print_zsh_completion(FILE *out)
{
    fputs("#compdef fleck\n"
          "# zsh completion for fleck, written when fleck is built from the tables of its --help\n"
          "_fleck() {\n"
          "    local -a commands=(\n",
          out);
    for (size_t i = 0; i < cli_command_count; i++) {
        fprintf(out, "        '%s:", cli_commands[i]->name);
        print_quoted(out, cli_commands[i]->summary);
        fputs("'\n", out);
    }
    fputs("    )\n"
          "    if (( CURRENT == 2 )); then\n"
          "        _describe -t commands command commands\n"
          "        return\n"
          "    fi\n"
          "    local command=$words[2]\n"
          "    shift words\n"
          "    (( CURRENT-- ))\n",
          out);
    for (size_t i = cli_command_count; cli_page_command(i) != NULL; i++) {
        const char *const name = cli_page_command(i)->name;

        fprintf(out,
                "    if (( CURRENT > 2 )) && [[ \"$command $words[2]\" == '%s' ]]; then\n"
                "        command='%s'\n"
                "        shift words\n"
                "        (( CURRENT-- ))\n"
                "    fi\n",
                name, name);
    }
    fputs("    case $command in\n", out);
    for (size_t i = 0; cli_page_command(i) != NULL; i++)
        print_command(out, cli_page_command(i));
    fputs("    esac\n"
          "}\n"
          "if [ \"$funcstack[1]\" = _fleck ]; then\n"
          "    _fleck \"$@\"\n"
          "else\n"
          "    compdef _fleck fleck\n"
          "fi\n",
          out);
}
