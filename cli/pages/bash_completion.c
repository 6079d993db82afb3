/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Plain bash: nothing of the package bash-completion is called, so the file may also be sourced alone. */
#include "pages.h"

static void print_offer(FILE *out, cli_value_kind kind, const char *words, bool list)
{
    switch (kind) {
    case CLI_VALUE_FOLDER:
        fputs("_fleck_offer folders", out);
        break;
    case CLI_VALUE_FILE:
        fputs("_fleck_offer files", out);
        break;
    case CLI_VALUE_WORDS:
        fprintf(out, "_fleck_offer %s '%s'", list ? "list" : "words", words);
        break;
    case CLI_VALUE_OTHER:
        fputs(":", out);
        break;
    }
}

static void print_values(FILE *out, const cli_command *command)
{
    char words[8192];
    cli_value_kind kind;
    bool list;

    for (size_t i = 0; i < command->option_count; i++) {
        const cli_option *const option = &command->options[i];

        if (option->value == NULL)
            continue;
        fputs("    ", out);
        if (option->letter != '\0')
            fprintf(out, "'%s -%c'|", command->name, option->letter);
        fprintf(out, "'%s --%s') ", command->name, option->name);
        kind = cli_value_offer(option->value, option->help, words, &list);
        print_offer(out, kind, words, list);
        fputs("; return ;;\n", out);
    }
}

static void print_options(FILE *out, const cli_command *command)
{
    fprintf(out, "    '%s') options='", command->name);
    for (size_t i = 0; i < command->option_count; i++)
        fprintf(out, "--%s ", command->options[i].name);
    fputs("--help' ;;\n", out);
}

static void print_arguments(FILE *out, const cli_command *command)
{
    char words[8192];
    const cli_value_kind kind = cli_argument_offer(command, words);

    fprintf(out, "    '%s') ", command->name);
    print_offer(out, kind, words, false);
    fputs(" ;;\n", out);
}

void cli_print_bash_completion(FILE *out)
{
    fputs("# bash completion for fleck, written when fleck is built from the tables of its --help\n"
          "_fleck_offer()\n"
          "{\n"
          "    local head=\n"
          "    case $1 in\n"
          "    words) mapfile -t COMPREPLY < <(compgen -W \"$2\" -- \"$cur\") ;;\n"
          "    list)\n"
          "        case $cur in *,*) head=${cur%,*}, ;; esac\n"
          "        mapfile -t COMPREPLY < <(compgen -P \"$head\" -W \"$2\" -- \"${cur##*,}\")\n"
          "        compopt -o nospace 2>/dev/null ;;\n"
          "    files)\n"
          "        compopt -o filenames 2>/dev/null\n"
          "        mapfile -t COMPREPLY < <(compgen -f -- \"$cur\") ;;\n"
          "    folders)\n"
          "        compopt -o filenames 2>/dev/null\n"
          "        mapfile -t COMPREPLY < <(compgen -d -- \"$cur\") ;;\n"
          "    esac\n"
          "}\n\n"
          "_fleck()\n"
          "{\n"
          "    local cur=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD - 1]}\n"
          "    local command=${COMP_WORDS[1]} options=--help\n"
          "    COMPREPLY=()\n"
          "    if [ \"$COMP_CWORD\" -eq 1 ]; then\n"
          "        _fleck_offer words '",
          out);
    for (size_t i = 0; i < cli_command_count; i++)
        fprintf(out, "%s ", cli_commands[i]->name);
    fputs("--help --version'\n"
          "        return\n"
          "    fi\n",
          out);
    for (size_t i = cli_command_count; cli_page_command(i) != NULL; i++) {
        const char *const name = cli_page_command(i)->name;

        fprintf(out,
                "    [ \"$COMP_CWORD\" -gt 2 ] && [ \"$command ${COMP_WORDS[2]}\" = '%s' ] && command='%s'\n",
                name, name);
    }
    fputs("    # bash takes --option=value for three words\n"
          "    if [ \"$cur\" = = ]; then\n"
          "        cur=\n"
          "    elif [ \"$before\" = = ]; then\n"
          "        before=${COMP_WORDS[COMP_CWORD - 2]}\n"
          "    fi\n"
          "    case \"$command $before\" in\n",
          out);
    for (size_t i = 0; cli_page_command(i) != NULL; i++)
        print_values(out, cli_page_command(i));
    fputs("    esac\n"
          "    case $cur in\n"
          "    -*)\n"
          "        case $command in\n",
          out);
    for (size_t i = 0; cli_page_command(i) != NULL; i++) {
        fputs("    ", out);
        print_options(out, cli_page_command(i));
    }
    fputs("        esac\n"
          "        _fleck_offer words \"$options\"\n"
          "        return ;;\n"
          "    esac\n"
          "    case $command in\n",
          out);
    for (size_t i = 0; cli_page_command(i) != NULL; i++)
        print_arguments(out, cli_page_command(i));
    fputs("    esac\n"
          "}\n"
          "complete -F _fleck fleck\n",
          out);
}
