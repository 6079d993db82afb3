/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "options.h"

#include <ctype.h>
#include <errno.h>
#include <math.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "text_width.h"

enum { LONGEST_WORD = 64 };

/* Edit distance (Levenshtein 1966); words above LONGEST_WORD count as far. */
static size_t distance(const char *a, const char *b)
{
    size_t row[LONGEST_WORD + 1];
    const size_t la = strlen(a), lb = strlen(b);

    if (la > LONGEST_WORD || lb > LONGEST_WORD)
        return SIZE_MAX;
    for (size_t j = 0; j <= lb; j++)
        row[j] = j;
    for (size_t i = 1; i <= la; i++) {
        size_t diagonal = row[0];

        row[0] = i;
        for (size_t j = 1; j <= lb; j++) {
            const size_t change = diagonal + (a[i - 1] != b[j - 1]);
            const size_t shorter = (row[j] < row[j - 1] ? row[j] : row[j - 1]) + 1;

            diagonal = row[j];
            row[j] = change < shorter ? change : shorter;
        }
    }
    return row[lb];
}

const char *cli_nearest(const char *word, const char *const *candidates, size_t count)
{
    const char *best = NULL;
    size_t best_distance = strlen(word) / 3 + 2; /* about one slip in three letters */

    for (size_t i = 0; i < count; i++) {
        const size_t d = distance(word, candidates[i]);

        if (d < best_distance) {
            best_distance = d;
            best = candidates[i];
        }
    }
    return best;
}

bool cli_number(const char *text, double *value)
{
    char *end;
    double number;

    /* strtod would take blanks, "inf", "nan" and hexadecimal */
    if (*text == '\0' || strspn(text, "+-0123456789.eE") != strlen(text))
        return false;
    number = strtod(text, &end);
    if (end == text || *end != '\0' || !isfinite(number))
        return false;
    *value = number;
    return true;
}

bool cli_numbers(const char *text, double *values, size_t wanted)
{
    char copy[256];
    char *at = copy;

    if (strlen(text) >= sizeof copy)
        return false;
    memcpy(copy, text, strlen(text) + 1);
    for (size_t i = 0; i < wanted; i++) {
        char *comma = strchr(at, ',');

        if ((comma == NULL) != (i + 1 == wanted))
            return false;
        if (comma != NULL)
            *comma = '\0';
        if (!cli_number(at, &values[i]))
            return false;
        if (comma != NULL)
            at = comma + 1;
    }
    return true;
}

bool cli_pair(const char *text, const char *example, double pair[2], char why[256])
{
    if (!cli_numbers(text, pair, 2)) {
        if (!cli_number(text, &pair[0])) {
            snprintf(why, 256, "is no number; give one, or two with a comma for x and y");
            return false;
        }
        pair[1] = pair[0];
    }
    if (pair[0] > 0 && pair[1] > 0)
        return true;
    snprintf(why, 256, "must be above 0; give %s", example);
    return false;
}

bool cli_count(const char *text, size_t *value)
{
    char *end;
    unsigned long long number;

    if (!isdigit((unsigned char)*text))
        return false;
    errno = 0;
    number = strtoull(text, &end, 10);
    if (errno != 0 || *end != '\0' || number > SIZE_MAX)
        return false;
    *value = (size_t)number;
    return true;
}

bool cli_bytes(const char *text, size_t *value)
{
    static const char endings[] = "KMGT";
    char digits[32];
    const size_t length = strlen(text);
    const char *ending = length > 0 ? strchr(endings, toupper((unsigned char)text[length - 1])) : NULL;
    size_t number;

    if (length == 0 || length >= sizeof digits)
        return false;
    memcpy(digits, text, length + 1);
    if (ending != NULL)
        digits[length - 1] = '\0';
    if (!cli_count(digits, &number))
        return false;
    for (const char *e = endings; ending != NULL && e <= ending; e++) {
        if (number > SIZE_MAX / 1024)
            return false;
        number *= 1024;
    }
    *value = number;
    return number > 0;
}

void cli_print_path(FILE *out, const char *path)
{
    cli_text_print(out, path, strlen(path));
}

void cli_say(const char *path, const char *message)
{
    fputs("fleck: ", stderr);
    cli_print_path(stderr, path);
    fprintf(stderr, ": %s\n", message);
}

void cli_say_parts(const char *path, const char *format, ...)
{
    va_list parts;

    fputs("fleck: ", stderr);
    cli_print_path(stderr, path);
    fputs(": ", stderr);
    va_start(parts, format);
    vfprintf(stderr, format, parts);
    va_end(parts);
    fputc('\n', stderr);
}

int cli_exit_code(fleck_status status)
{
    switch (status) {
    case FLECK_OK:
        return EXIT_DONE;
    case FLECK_BAD_INPUT:
        return EXIT_INPUT;
    case FLECK_BAD_CALL:
        return EXIT_CALL;
    case FLECK_NO_RESOURCE:
        return EXIT_MACHINE;
    }
    return EXIT_MACHINE;
}

int cli_say_failure(const char *path, fleck_status status, const fleck_error *err)
{
    cli_say(path, err->message);
    return cli_exit_code(status);
}

void cli_print_wrapped(FILE *out, const char *text, int first_indent, int indent)
{
    const int width = 80;
    int column = first_indent;

    while (*text != '\0') {
        const char *const stop = text + strcspn(text, " \n");
        const int length = (int)(stop - text);

        if (column > indent && column + 1 + length > width) {
            fprintf(out, "\n%*s", indent, "");
            column = indent;
        } else if (column > indent) {
            fputc(' ', out);
            column++;
        }
        fwrite(text, 1, (size_t)length, out);
        column += length;
        if (*stop == '\n') {
            fprintf(out, "\n%*s", stop[1] != '\n' && stop[1] != '\0' ? indent : 0, "");
            column = indent;
        }
        text = *stop != '\0' ? stop + 1 : stop;
    }
    fputc('\n', out);
}

void cli_print_help(const cli_command *command, FILE *out)
{
    const int column = 30;

    fprintf(out, "fleck %s %s\n\n", command->name, command->arguments);
    cli_print_wrapped(out, command->summary, 0, 0);
    fputs("\nOptions\n", out);
    for (size_t i = 0; i < command->option_count; i++) {
        const cli_option *const option = &command->options[i];
        int used = fprintf(out, "  %c%c%s --%s", option->letter != '\0' ? '-' : ' ',
                           option->letter != '\0' ? option->letter : ' ',
                           option->letter != '\0' ? "," : " ", option->name);

        if (option->value != NULL)
            used += fprintf(out, " %s", option->value);
        if (used >= column - 1) {
            fputc('\n', out);
            used = 0;
        }
        fprintf(out, "%*s", column - used, "");
        cli_print_wrapped(out, option->help, column, column);
    }
    fprintf(out, "  -h, --help%*sthis text\n", column - 12, "");
    if (command->text != NULL) {
        fputc('\n', out);
        cli_print_wrapped(out, command->text, 0, 0);
    }
}

static int unknown_option(const cli_command *command, const char *word)
{
    const char *names[128];
    const char *nearest;
    size_t count = 0;

    for (size_t i = 0; i < command->option_count && count < 127; i++)
        names[count++] = command->options[i].name;
    names[count++] = "help";
    nearest = cli_nearest(word, names, count);
    fputs("fleck: --", stderr);
    cli_print_path(stderr, word);
    if (nearest != NULL)
        fprintf(stderr, ": no such option of fleck %s; did you mean --%s?\n", command->name, nearest);
    else
        fprintf(stderr, ": no such option; fleck %s --help lists them\n", command->name);
    return EXIT_CALL;
}

static const cli_option *find_option(const cli_command *command, const char *name, size_t length,
                                     char letter)
{
    for (size_t i = 0; i < command->option_count; i++) {
        const cli_option *const option = &command->options[i];

        if (letter != '\0' ? option->letter == letter
                           : strlen(option->name) == length && strncmp(option->name, name, length) == 0)
            return option;
    }
    return NULL;
}

int cli_parse(const cli_command *command, int count, char **words, cli_setter set, void *context,
              const char **positional, size_t *positional_count)
{
    bool options_end = false;

    *positional_count = 0;
    for (int i = 0; i < count; i++) {
        const char *const word = words[i];
        const cli_option *option;
        const char *value = NULL;
        char name[LONGEST_WORD + 1];
        char why[256] = "";
        size_t length;

        if (options_end || word[0] != '-' || word[1] == '\0') {
            positional[(*positional_count)++] = word;
            continue;
        }
        if (strcmp(word, "--") == 0) {
            options_end = true;
            continue;
        }
        if (strcmp(word, "--help") == 0 || strcmp(word, "-h") == 0) {
            cli_print_help(command, stdout);
            return EXIT_DONE;
        }
        if (word[1] == '-') {
            const char *const equals = strchr(word, '=');

            length = equals != NULL ? (size_t)(equals - word) - 2 : strlen(word) - 2;
            if (length > LONGEST_WORD)
                length = LONGEST_WORD;
            memcpy(name, word + 2, length);
            name[length] = '\0';
            option = find_option(command, name, length, '\0');
            if (equals != NULL)
                value = equals + 1;
        } else {
            name[0] = word[1];
            name[1] = '\0';
            option = find_option(command, NULL, 0, word[1]);
            if (word[2] != '\0')
                value = word + 2;
            if (option == NULL) {
                cli_say_parts(word, "no such option; fleck %s --help lists them", command->name);
                return EXIT_CALL;
            }
        }
        if (option == NULL)
            return unknown_option(command, name);
        if (option->value == NULL && value != NULL) {
            fprintf(stderr, "fleck: --%s: takes no value; leave it out\n", option->name);
            return EXIT_CALL;
        }
        if (option->value != NULL && value == NULL) {
            if (i + 1 >= count) {
                fprintf(stderr, "fleck: %s: its value is missing; give %s %s\n", word, word,
                        option->value);
                return EXIT_CALL;
            }
            value = words[++i];
        }
        errno = 0;
        if (!set(context, option->id, value, why)) {
            const bool no_memory = errno == ENOMEM;

            fprintf(stderr, "fleck: --%s ", option->name);
            cli_print_path(stderr, value != NULL ? value : "");
            fputs(": ", stderr);
            cli_print_path(stderr, why); /* it may repeat the value */
            fputc('\n', stderr);
            return no_memory ? EXIT_MACHINE : EXIT_CALL;
        }
    }
    return -1;
}
