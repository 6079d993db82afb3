/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The language is man(7) as both groff and mandoc read it: one sentence to a line, as typesetters need
 * it to set the space behind a full stop.
 */
#include <string.h>

#include "fleck/version.h"
#include "pages.h"

enum { LINE = 70 }; /* and some more for what a hyphen or quote becomes */

static void print_char(FILE *out, char c)
{
    switch (c) {
    case '\\':
        fputs("\\e", out);
        break;
    case '-':
        fputs("\\-", out); /* a minus, so that options can be copied */
        break;
    case '\'':
        fputs("\\(aq", out);
        break;
    case '`':
        fputs("\\(ga", out);
        break;
    case '^':
        fputs("\\(ha", out);
        break;
    case '~':
        fputs("\\(ti", out);
        break;
    default:
        fputc(c, out);
    }
}

static void print_word(FILE *out, const char *word, size_t length)
{
    for (size_t i = 0; i < length; i++)
        print_char(out, word[i]);
}

/* A line that begins with a point would be a request. */
static void begin_word(FILE *out, const char *word, size_t length, bool at_line_start)
{
    if (at_line_start && *word == '.')
        fputs("\\&", out);
    print_word(out, word, length);
}

/* Filled text: '\n' breaks a line, "\n\n" a paragraph. */
static void print_text(FILE *out, const char *text)
{
    size_t column = 0;

    while (*text != '\0') {
        const size_t length = strcspn(text, " \n");
        const char *const stop = text + length;

        if (length > 0) {
            const bool wraps = column > 0 && column + length + 1 > LINE;

            if (wraps)
                fputc('\n', out);
            else if (column > 0)
                fputc(' ', out);
            begin_word(out, text, length, wraps || column == 0);
            column = (wraps || column == 0 ? 0 : column + 1) + length;
        }
        if (stop[0] == '\n' && stop[1] == '\n') {
            fputs("\n.PP\n", out);
            column = 0;
            text = stop + 2;
        } else if (stop[0] == '\n' && stop[1] != '\0') {
            fputs("\n.br\n", out);
            column = 0;
            text = stop + 1;
        } else {
            if (column > 0 && length > 0 && strchr(".!?", stop[-1]) != NULL && stop[0] == ' ') {
                fputc('\n', out);
                column = 0;
            }
            text = *stop != '\0' ? stop + 1 : stop;
        }
    }
    if (column > 0)
        fputc('\n', out);
}

static void print_title(FILE *out, const char *name, const char *date)
{
    fputs(".\\\" Written when fleck is built, from the tables of its --help.\n.TH ", out);
    for (const char *c = name; *c != '\0'; c++)
        print_char(out, *c >= 'a' && *c <= 'z' ? (char)(*c - 'a' + 'A') : *c);
    fprintf(out, " 1 \"%s\" \"fleck %s\" \"fleck\"\n", date, fleck_version());
}

static void print_option(FILE *out, char letter, const char *name, const char *value, const char *help)
{
    fputs(".TP\n", out);
    if (letter != '\0')
        fprintf(out, "\\fB\\-%c\\fR, ", letter);
    fputs("\\fB\\-\\-", out);
    print_word(out, name, strlen(name));
    fputs("\\fR", out);
    if (value != NULL) {
        fputs(" \\fI", out);
        print_word(out, value, strlen(value));
        fputs("\\fR", out);
    }
    fputc('\n', out);
    print_text(out, help);
}

static void print_end(FILE *out, const cli_command *this_one)
{
    const char *separator = "";

    fputs(".SH EXIT STATUS\n", out);
    print_text(out, cli_exit_text);
    fputs(".SH SEE ALSO\n", out);
    if (this_one != NULL) {
        fputs(".BR fleck (1)", out);
        separator = ",\n";
    }
    for (size_t i = 0; cli_page_command(i) != NULL; i++) {
        char name[64];

        if (cli_page_command(i) == this_one)
            continue;
        cli_page_name(cli_page_command(i), name);
        fprintf(out, "%s.BR fleck\\-", separator);
        print_word(out, name, strlen(name));
        fputs(" (1)", out);
        separator = ",\n";
    }
    fputc('\n', out);
}

void cli_page_name(const cli_command *command, char name[64])
{
    snprintf(name, 64, "%s", command->name);
    for (char *c = name; *c != '\0'; c++)
        if (*c == ' ')
            *c = '-';
}

void cli_print_man_page(FILE *out, const cli_command *command, const char *date)
{
    char page[64], name[80];

    cli_page_name(command, page);
    snprintf(name, sizeof name, "fleck-%s", page);
    print_title(out, name, date);
    fputs(".SH NAME\n", out);
    print_word(out, name, strlen(name));
    fputs(" \\- ", out);
    print_word(out, command->summary, strlen(command->summary));
    fprintf(out, "\n.SH SYNOPSIS\n\\fBfleck %s\\fR ", command->name);
    print_word(out, command->arguments, strlen(command->arguments));
    fputc('\n', out);
    if (command->text != NULL) {
        fputs(".SH DESCRIPTION\n", out);
        print_text(out, command->text);
    }
    fputs(".SH OPTIONS\n", out);
    for (size_t i = 0; i < command->option_count; i++)
        print_option(out, command->options[i].letter, command->options[i].name,
                     command->options[i].value, command->options[i].help);
    print_option(out, 'h', "help", NULL, "print this text");
    print_end(out, command);
}

void cli_print_man_page_of_all(FILE *out, const char *date)
{
    print_title(out, "fleck", date);
    fputs(".SH NAME\nfleck \\- ", out);
    print_word(out, cli_program_summary, strlen(cli_program_summary));
    fputs("\n.SH SYNOPSIS\n\\fBfleck\\fR \\fICOMMAND\\fR [arguments and options]\n.SH COMMANDS\n", out);
    for (size_t i = 0; cli_page_command(i) != NULL; i++) {
        fprintf(out, ".TP\n\\fBfleck %s\\fR\n", cli_page_command(i)->name);
        print_text(out, cli_page_command(i)->summary);
    }
    fputs(".PP\n", out);
    print_text(out, cli_program_text);
    print_end(out, NULL);
}
