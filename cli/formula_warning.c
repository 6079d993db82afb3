/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "formula_warning.h"

#include <string.h>

#include "options.h"

/*
 * What spreadsheets take for the beginning of a formula, numbers such as -5, +5,5 or 1e-3 and dashes for
 * "nothing" aside. Source: OWASP, "CSV Injection".
 */
static bool is_formula(const char *cell)
{
    const char *rest = cell + 1;

    if (*cell == '\0' || strchr("=+-@\t\r", *cell) == NULL)
        return false;
    if (*cell == '-' && rest[strspn(rest, "- ")] == '\0')
        return false;
    if (*cell != '+' && *cell != '-')
        return true;
    rest += strspn(rest, "0123456789.,");
    if (rest > cell + 1 && (*rest == 'e' || *rest == 'E')) {
        rest++;
        rest += *rest == '+' || *rest == '-';
        rest += strspn(rest, "0123456789");
    }
    return rest == cell + 1 || *rest != '\0';
}

static void say(const char *column, const char *cell)
{
    fputs("fleck: column ", stderr);
    cli_print_path(stderr, column);
    fputs(": holds ", stderr);
    cli_print_path(stderr, cell);
    fputs(", which a spreadsheet takes for a formula; import this column of patches.csv as text\n",
          stderr);
}

void cli_warn_of_formulas(const fleck_inputs *inputs)
{
    for (size_t i = 0; i < inputs->count; i++) {
        if (is_formula(inputs->items[i].id)) {
            say("id", inputs->items[i].id);
            break;
        }
    }
    for (size_t column = 0; column < inputs->column_count; column++) {
        const char *found = is_formula(inputs->columns[column]) ? inputs->columns[column] : NULL;

        for (size_t i = 0; found == NULL && i < inputs->count; i++) {
            const char *const cell =
                inputs->items[i].cells != NULL ? inputs->items[i].cells[column] : "";

            if (is_formula(cell))
                found = cell;
        }
        if (found != NULL)
            say(inputs->columns[column], found);
    }
}
