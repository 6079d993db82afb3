/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "table.h"

#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "options.h"
#include "text_width.h"

enum {
    GAP = 2,         /* blanks between columns */
    LEAST_WRAP = 20, /* a sentence in fewer columns cannot be read */
    LEAST_LEFT = 8
};

struct row {
    bool gap_before;
    char **cells; /* of all columns; NULL: empty */
};

struct cli_table {
    const cli_column *columns;
    size_t column_count;
    struct row *rows;
    size_t row_count, row_capacity;
    size_t next; /* column of the next cell; column_count: a new row */
    bool gap, failed;
};

/* Columns that stand beside each other, and their widths. */
struct block {
    size_t *columns;
    size_t count;
    size_t *width; /* of all columns of the table */
};

/* What stands of a cell in the line at hand, and what follows. */
struct part {
    const char *text;
    size_t length;
    const char *rest;
};

cli_table *cli_table_new(const cli_column *columns, size_t count)
{
    cli_table *table = calloc(1, sizeof *table);

    if (table == NULL)
        return NULL;
    table->columns = columns;
    table->column_count = count;
    table->next = count;
    return table;
}

static bool add_row(cli_table *table)
{
    struct row *row;

    if (table->row_count == table->row_capacity) {
        const size_t capacity = table->row_capacity > 0 ? 2 * table->row_capacity : 32;
        struct row *grown = realloc(table->rows, capacity * sizeof *grown);

        if (grown == NULL)
            return false;
        table->rows = grown;
        table->row_capacity = capacity;
    }
    row = &table->rows[table->row_count];
    row->cells = calloc(table->column_count, sizeof *row->cells);
    row->gap_before = table->gap;
    if (row->cells == NULL)
        return false;
    table->gap = false;
    table->next = 0;
    table->row_count++;
    return true;
}

/* Take over a cell's text; NULL: there was no memory for it. */
static void add_owned(cli_table *table, char *text)
{
    if (table == NULL || text == NULL || (table->next == table->column_count && !add_row(table))) {
        if (table != NULL)
            table->failed = true;
        free(text);
        return;
    }
    table->rows[table->row_count - 1].cells[table->next++] = text;
}

static char *copy(const char *text)
{
    char *made = malloc(strlen(text) + 1);

    if (made != NULL)
        memcpy(made, text, strlen(text) + 1);
    return made;
}

void cli_table_add(cli_table *table, const char *text)
{
    add_owned(table, copy(text != NULL && *text != '\0' ? text : "-"));
}

void cli_table_add_blank(cli_table *table)
{
    add_owned(table, copy(""));
}

void cli_table_add_format(cli_table *table, const char *format, ...)
{
    char text[512];
    va_list arguments;

    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    cli_table_add(table, text);
}

void cli_table_add_rounded(cli_table *table, double value, double uncertainty)
{
    char text[CLI_NUMBER_BYTES];

    cli_table_add(table, cli_number_rounded(text, value, uncertainty));
}

void cli_table_add_decimals(cli_table *table, double value, int decimals)
{
    char text[CLI_NUMBER_BYTES];

    cli_table_add(table, cli_number_decimals(text, value, decimals));
}

void cli_table_add_p(cli_table *table, double p)
{
    char text[CLI_NUMBER_BYTES];

    cli_table_add(table, cli_number_p(text, p));
}

void cli_table_add_gap(cli_table *table)
{
    if (table == NULL)
        return;
    table->gap = true;
    table->next = table->column_count;
}

/* Width of the widest line of a text, and of its widest word. */
static void measure_text(const char *text, size_t *line, size_t *word)
{
    while (*text != '\0') {
        const size_t length = strcspn(text, "\n");
        const size_t width = cli_text_width(text, length);
        const char *at = text, *const end = text + length;

        *line = width > *line ? width : *line;
        while (at < end) {
            const size_t letters = strcspn(at, " \n");
            const size_t wide = cli_text_width(at, letters);

            *word = wide > *word ? wide : *word;
            at += letters + 1;
        }
        text += length + (text[length] == '\n');
    }
}

static const char *cell_of(const cli_table *table, size_t row, size_t column)
{
    const char *const cell = table->rows[row].cells[column];

    return cell != NULL ? cell : "";
}

/* Widths that columns want, and the least they can do with. */
static void measure_columns(const cli_table *table, size_t *wanted, size_t *least)
{
    for (size_t column = 0; column < table->column_count; column++) {
        const cli_align align = table->columns[column].align;
        size_t line = 0, word = 0, title = 0, title_word = 0;

        measure_text(table->columns[column].title, &title, &title_word);
        for (size_t row = 0; row < table->row_count; row++)
            measure_text(cell_of(table, row, column), &line, &word);
        wanted[column] = line > title ? line : title;
        least[column] = align == CLI_WRAP ? LEAST_WRAP : word < LEAST_LEFT ? word : LEAST_LEFT;
        if (title > least[column])
            least[column] = title;
        if (align == CLI_RIGHT || least[column] > wanted[column])
            least[column] = wanted[column];
    }
}

static size_t total_width(const struct block *block, const size_t *width)
{
    size_t total = 0;

    for (size_t i = 0; i < block->count; i++)
        total += width[block->columns[i]] + (i > 0 ? GAP : 0);
    return total;
}

/* Take from the widest columns of a kind until the block fits or they are at their least. */
static void narrow(const cli_table *table, cli_align align, const struct block *block,
                   const size_t *least, size_t room)
{
    while (total_width(block, block->width) > room) {
        size_t widest = SIZE_MAX;

        for (size_t i = 0; i < block->count; i++) {
            const size_t column = block->columns[i];

            if (table->columns[column].align == align && block->width[column] > least[column] &&
                (widest == SIZE_MAX || block->width[column] > block->width[widest]))
                widest = column;
        }
        if (widest == SIZE_MAX)
            return;
        block->width[widest]--;
    }
}

/* The next line of a cell, at most `width` wide: up to a line's end, else a blank, else anywhere.
 */
static void take_line(struct part *part, size_t width)
{
    const size_t whole = strcspn(part->rest, "\n");
    size_t fits = cli_text_fitting(part->rest, whole, width);

    if (fits < whole && part->rest[fits] != ' ') {
        size_t blank = fits;

        while (blank > 0 && part->rest[blank] != ' ')
            blank--;
        if (blank > 0)
            fits = blank;
    }
    part->text = part->rest;
    part->length = fits;
    part->rest += fits;
    part->rest += strspn(part->rest, " ");
    part->rest += *part->rest == '\n';
}

/* One line of a block. Nothing is printed behind its last text. */
static void print_line(const cli_table *table, FILE *out, int indent, const struct block *block,
                       const struct part *parts)
{
    size_t owed = (size_t)indent;

    for (size_t i = 0; i < block->count; i++) {
        const size_t column = block->columns[i];
        const size_t used = cli_text_width(parts[i].text, parts[i].length);
        const size_t spare = block->width[column] > used ? block->width[column] - used : 0;
        const bool right = table->columns[column].align == CLI_RIGHT;

        if (right)
            owed += spare;
        if (parts[i].length > 0) {
            fprintf(out, "%*s", (int)owed, "");
            cli_text_print(out, parts[i].text, parts[i].length);
            owed = 0;
        }
        owed += (right ? 0 : spare) + GAP;
    }
    fputc('\n', out);
}

static size_t line_count(const char *text)
{
    size_t lines = 1;

    for (; *text != '\0'; text++)
        lines += *text == '\n';
    return lines;
}

/* Titles stand on one ground: those of fewer lines begin lower. */
static void print_titles(const cli_table *table, FILE *out, int indent, const struct block *block,
                         struct part *parts)
{
    size_t lines = 0;

    for (size_t i = 0; i < block->count; i++) {
        const size_t own = line_count(table->columns[block->columns[i]].title);

        lines = own > lines ? own : lines;
    }
    for (size_t i = 0; i < block->count; i++)
        parts[i].rest = table->columns[block->columns[i]].title;
    for (size_t line = 0; line < lines; line++) {
        for (size_t i = 0; i < block->count; i++) {
            const size_t column = block->columns[i];

            parts[i].length = 0;
            if (line + line_count(table->columns[column].title) >= lines)
                take_line(&parts[i], block->width[column]);
        }
        print_line(table, out, indent, block, parts);
    }
}

static void print_row(const cli_table *table, FILE *out, int indent, const struct block *block,
                      size_t row, struct part *parts)
{
    bool more = true;

    for (size_t i = 0; i < block->count; i++)
        parts[i].rest = cell_of(table, row, block->columns[i]);
    while (more) {
        more = false;
        for (size_t i = 0; i < block->count; i++) {
            take_line(&parts[i], block->width[block->columns[i]]);
            more = more || *parts[i].rest != '\0';
        }
        print_line(table, out, indent, block, parts);
    }
}

/* As many columns from `next` on as fit beside the first one; at least one. Returns how many. */
static size_t fill_block(const cli_table *table, struct block *block, size_t next,
                         const size_t *least, size_t room)
{
    const size_t from = next;

    block->count = 0;
    if (next > 0)
        block->columns[block->count++] = 0;
    while (next < table->column_count) {
        block->columns[block->count++] = next++;
        if (total_width(block, least) > room && block->count > (from > 0 ? 2 : 1)) {
            block->count--;
            next--;
            break;
        }
    }
    return next - from;
}

int cli_table_print(const cli_table *table, FILE *out, int indent)
{
    const size_t room = CLI_TABLE_WIDTH - (size_t)indent;
    size_t *sizes = NULL;
    struct part *parts = NULL;
    struct block block;
    int code = EXIT_MACHINE;

    if (table == NULL || table->failed)
        goto done;
    sizes = calloc(4 * table->column_count + 1, sizeof *sizes);
    parts = calloc(table->column_count + 1, sizeof *parts);
    if (sizes == NULL || parts == NULL)
        goto done;
    block.width = sizes;
    block.columns = sizes + table->column_count;
    {
        size_t *const least = sizes + 2 * table->column_count;
        size_t *const wanted = sizes + 3 * table->column_count;

        measure_columns(table, wanted, least);
        for (size_t next = 0; next < table->column_count;) {
            if (next > 0)
                fputc('\n', out);
            next += fill_block(table, &block, next, least, room);
            memcpy(block.width, wanted, table->column_count * sizeof *wanted);
            narrow(table, CLI_WRAP, &block, least, room);
            narrow(table, CLI_LEFT, &block, least, room);
            print_titles(table, out, indent, &block, parts);
            for (size_t row = 0; row < table->row_count; row++) {
                if (table->rows[row].gap_before)
                    fputc('\n', out);
                print_row(table, out, indent, &block, row, parts);
            }
        }
    }
    code = EXIT_DONE;
done:
    if (code != EXIT_DONE)
        fputs("fleck: table: no memory for it; free some memory\n", stderr);
    free(sizes);
    free(parts);
    return code;
}

void cli_table_free(cli_table *table)
{
    if (table == NULL)
        return;
    for (size_t row = 0; row < table->row_count; row++) {
        for (size_t column = 0; column < table->column_count; column++)
            free(table->rows[row].cells[column]);
        free(table->rows[row].cells);
    }
    free(table->rows);
    free(table);
}

void cli_print_note(FILE *out, const char *first, const char *text)
{
    const size_t indent = cli_text_width(first, strlen(first));
    struct part part = { .rest = text };

    cli_text_print(out, first, strlen(first));
    do {
        if (part.rest != text)
            fprintf(out, "%*s", (int)indent, "");
        take_line(&part, CLI_TABLE_WIDTH - indent);
        cli_text_print(out, part.text, part.length);
        fputc('\n', out);
    } while (*part.rest != '\0');
}
