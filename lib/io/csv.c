/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One pass over the bytes, a cell at a time. The buffer is as long as the longest row allowed, so
 * that the header lies in it whole and tells the separator before the first cell is cut. A table is
 * three flat arrays (text, where cells begin, where rows begin): a file of nothing but separators
 * takes a few bytes per cell, not a block of memory each.
 */
#include "io/csv.h"

#include <errno.h>
#include <fcntl.h>
#include <stdint.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/memory.h"
#include "core/utf8.h"

static const char no_memory[] = "no memory for the table; free some memory or split the file";
static const char too_large[] = "is larger than 256 MiB; split it";

struct row {
    uint32_t first_cell;
    uint32_t line;
};

struct fleck_csv {
    char separator;
    char *text; /* the cells one after the other, each with a NUL at its end */
    size_t text_bytes, text_capacity;
    uint32_t *cells; /* where in text each begins */
    size_t cell_count, cell_capacity;
    struct row *rows;
    size_t row_count, row_capacity;
};

enum { END = -1, FAILED = -2 };

struct reader {
    const char *bytes; /* what is at hand: the caller's memory, or the buffer */
    size_t at, end;
    char *buffer; /* NULL when the caller's memory is read */
    int descriptor;
    size_t file_bytes; /* read from the file so far */
    size_t line;       /* of the next byte, from 1 */
    bool after_cr;
    size_t row_line;
    size_t row_bytes;
    fleck_csv *csv;
    fleck_error *err;
    fleck_status status;
};

static void fill(struct reader *r)
{
    r->at = 0;
    r->end = 0;
    while (r->end < FLECK_CSV_ROW_BYTES) {
        const ssize_t got = read(r->descriptor, r->buffer + r->end, FLECK_CSV_ROW_BYTES - r->end);

        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0)
            r->status =
                fleck_fail(r->err, FLECK_BAD_INPUT, "cannot be read to its end; check the disk");
        if (got <= 0)
            break;
        r->end += (size_t)got;
    }
    r->file_bytes += r->end;
    if (r->status == FLECK_OK && r->file_bytes > FLECK_CSV_FILE_BYTES)
        r->status = fleck_fail(r->err, FLECK_BAD_INPUT, "%s", too_large);
}

static int peek(struct reader *r)
{
    if (r->at == r->end && r->buffer != NULL && r->status == FLECK_OK)
        fill(r);
    if (r->status != FLECK_OK)
        return FAILED;
    return r->at < r->end ? (unsigned char)r->bytes[r->at] : END;
}

static int take(struct reader *r)
{
    const int c = peek(r);

    if (c < 0)
        return c;
    r->at++;
    if (c == '\0') {
        r->status = fleck_fail(r->err, FLECK_BAD_INPUT,
                               "has a NUL byte in line %zu, so it is no text; save it as CSV UTF-8",
                               r->line);
        return FAILED;
    }
    if (++r->row_bytes > FLECK_CSV_ROW_BYTES) {
        r->status = fleck_fail(r->err, FLECK_BAD_INPUT,
                               "has a row of more than 1 MiB in line %zu; check that it is a table",
                               r->row_line);
        return FAILED;
    }
    /* CR, LF and CRLF end one line each */
    if (c == '\r' || (c == '\n' && !r->after_cr))
        r->line++;
    r->after_cr = c == '\r';
    return c;
}

static bool add_byte(struct reader *r, char c)
{
    fleck_csv *csv = r->csv;

    if (csv->text_bytes == csv->text_capacity) {
        char *text = fleck_grow(csv->text, &csv->text_capacity, csv->text_bytes, 1);

        if (text == NULL) {
            r->status = fleck_fail(r->err, FLECK_NO_RESOURCE, "%s", no_memory);
            return false;
        }
        csv->text = text;
    }
    csv->text[csv->text_bytes++] = c;
    return true;
}

static bool begin_cell(struct reader *r)
{
    fleck_csv *csv = r->csv;
    uint32_t *cells = fleck_grow(csv->cells, &csv->cell_capacity, csv->cell_count, sizeof *cells);

    if (cells == NULL) {
        r->status = fleck_fail(r->err, FLECK_NO_RESOURCE, "%s", no_memory);
        return false;
    }
    csv->cells = cells;
    cells[csv->cell_count++] = (uint32_t)csv->text_bytes;
    return true;
}

static bool begin_row(struct reader *r)
{
    fleck_csv *csv = r->csv;
    struct row *rows = fleck_grow(csv->rows, &csv->row_capacity, csv->row_count, sizeof *rows);

    if (rows == NULL) {
        r->status = fleck_fail(r->err, FLECK_NO_RESOURCE, "%s", no_memory);
        return false;
    }
    csv->rows = rows;
    r->row_line = r->line;
    r->row_bytes = 0;
    rows[csv->row_count++] =
        (struct row){ .first_cell = (uint32_t)csv->cell_count, .line = (uint32_t)r->line };
    return true;
}

/* The last cell is whole: is it UTF-8? */
static bool end_cell(struct reader *r, size_t line)
{
    const char *cell;
    size_t bytes, valid;

    if (!add_byte(r, '\0')) /* first, so that there is a text even when the first cell is empty */
        return false;
    cell = r->csv->text + r->csv->cells[r->csv->cell_count - 1];
    bytes = strlen(cell);
    valid = fleck_utf8_valid(cell, bytes);
    if (valid < bytes) {
        for (size_t i = 0; i < valid; i++) {
            if (cell[i] == '\r' || (cell[i] == '\n' && (i == 0 || cell[i - 1] != '\r')))
                line++;
        }
        r->status = fleck_fail(
            r->err, FLECK_BAD_INPUT,
            "is not UTF-8 in line %zu (Latin-1 from an old spreadsheet?); save it as CSV UTF-8",
            line);
        return false;
    }
    return true;
}

/* A byte of a cell that began in `line`. */
static bool add_to_cell(struct reader *r, int c, size_t line)
{
    const size_t begin = r->csv->cells[r->csv->cell_count - 1];

    if (r->csv->text_bytes - begin == FLECK_CSV_CELL_BYTES) {
        r->status = fleck_fail(
            r->err, FLECK_BAD_INPUT,
            "has a cell of more than 64 KiB in line %zu; shorten it, or close its quote", line);
        return false;
    }
    return add_byte(r, (char)c);
}

/* Both read a cell and return what stood behind it: separator, CR, LF, END, or FAILED. */
static int read_plain(struct reader *r)
{
    const size_t line = r->line;
    int c;

    while ((c = take(r)) >= 0 && c != r->csv->separator && c != '\r' && c != '\n') {
        if (c == '"') {
            r->status = fleck_fail(r->err, FLECK_BAD_INPUT,
                                   "has a quote inside a cell in line %zu; put the whole cell in "
                                   "quotes and double those in it",
                                   line);
            return FAILED;
        }
        if (!add_to_cell(r, c, line))
            return FAILED;
    }
    return c;
}

static int read_quoted(struct reader *r)
{
    const size_t line = r->line;
    int c;

    (void)take(r); /* the quote that opens it */
    for (;;) {
        c = take(r);
        if (c == '"') {
            if (peek(r) != '"')
                break;
            take(r);
        }
        if (c == END)
            r->status = fleck_fail(r->err, FLECK_BAD_INPUT,
                                   "has a quote in line %zu that is never closed; close it", line);
        if (c < 0 || !add_to_cell(r, c, line))
            return FAILED;
    }
    c = take(r);
    if (c >= 0 && c != r->csv->separator && c != '\r' && c != '\n') {
        r->status = fleck_fail(r->err, FLECK_BAD_INPUT,
                               "has text after a closing quote in line %zu; put the whole cell in "
                               "quotes and double those in it",
                               r->line);
        return FAILED;
    }
    return c;
}

static void read_row(struct reader *r)
{
    fleck_csv *csv = r->csv;
    bool quoted = false;
    int after;

    if (!begin_row(r))
        return;
    do {
        const size_t line = r->line;

        if (csv->cell_count - csv->rows[csv->row_count - 1].first_cell == FLECK_CSV_COLUMNS) {
            r->status =
                fleck_fail(r->err, FLECK_BAD_INPUT,
                           "has more than 4096 cells in line %zu; check that it is a table", line);
            return;
        }
        if (!begin_cell(r))
            return;
        quoted = peek(r) == '"';
        after = quoted ? read_quoted(r) : read_plain(r);
        if (after == FAILED || !end_cell(r, line))
            return;
    } while (after == csv->separator);
    /* the LF of a CRLF is left, and passed over as a blank line next */
    if (!quoted && fleck_csv_cell_count(csv, csv->row_count - 1) == 1) {
        const char *cell = fleck_csv_cell(csv, csv->row_count - 1, 0);

        if (cell[strspn(cell, " \t")] == '\0') {
            csv->text_bytes = csv->cells[--csv->cell_count];
            csv->row_count--;
        }
    }
}

/* Decided from the header, which lies at hand whole unless it is too long anyway. */
static char find_separator(const struct reader *r)
{
    static const char candidates[] = { ',', ';', '\t' };
    size_t counts[sizeof candidates] = { 0 };
    size_t best = 0;
    bool quoted = false, begun = false;

    for (size_t i = r->at; i < r->end && i - r->at <= FLECK_CSV_ROW_BYTES; i++) {
        const char c = r->bytes[i];

        if (!quoted && (c == '\r' || c == '\n')) {
            if (begun)
                break;
            memset(counts, 0, sizeof counts);
            continue;
        }
        begun = begun || (c != ' ' && c != '\t');
        quoted = quoted != (c == '"');
        for (size_t k = 0; !quoted && k < sizeof candidates; k++)
            counts[k] += c == candidates[k];
    }
    for (size_t k = 1; k < sizeof candidates; k++) {
        if (counts[k] > counts[best])
            best = k;
    }
    return candidates[best];
}

static void read_table(struct reader *r)
{
    if (peek(r) == FAILED)
        return;
    if (r->end - r->at >= 2 && (memcmp(r->bytes + r->at, "\xff\xfe", 2) == 0 ||
                                memcmp(r->bytes + r->at, "\xfe\xff", 2) == 0)) {
        r->status = fleck_fail(r->err, FLECK_BAD_INPUT, "is UTF-16 text; save it as CSV UTF-8");
        return;
    }
    if (r->end - r->at >= 3 && memcmp(r->bytes + r->at, "\xef\xbb\xbf", 3) == 0)
        r->at += 3;
    r->csv->separator = find_separator(r);
    while (r->status == FLECK_OK && peek(r) != END)
        read_row(r);
    if (r->status == FLECK_OK && r->csv->row_count == 0)
        r->status = fleck_fail(r->err, FLECK_BAD_INPUT,
                               "is empty; give a table whose first line names its columns");
}

/* The reader's bytes or descriptor are set; everything else begins here. */
static fleck_status read_all(struct reader *r, fleck_csv **out, fleck_error *err)
{
    r->err = err;
    r->line = 1;
    r->csv = fleck_alloc_zeroed(1, sizeof *r->csv);
    if (r->csv == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "%s", no_memory);
    read_table(r);
    if (r->status == FLECK_OK)
        *out = r->csv;
    else
        fleck_csv_free(r->csv);
    return r->status;
}

fleck_status fleck_csv_read(const char *path, fleck_csv **out, fleck_error *err)
{
    struct reader r = { 0 };
    struct stat about;
    fleck_status status;

    *out = NULL;
    r.descriptor = open(path, O_RDONLY | O_CLOEXEC);
    if (r.descriptor < 0)
        return fleck_fail(err, FLECK_BAD_INPUT, "cannot be opened; check the name and permissions");
    r.bytes = r.buffer = fleck_alloc_array(FLECK_CSV_ROW_BYTES, 1);
    if (r.buffer == NULL)
        status = fleck_fail(err, FLECK_NO_RESOURCE, "%s", no_memory);
    else if (fstat(r.descriptor, &about) == 0 && S_ISDIR(about.st_mode))
        status = fleck_fail(err, FLECK_BAD_INPUT, "is a folder; name the CSV file in it");
    else if (fstat(r.descriptor, &about) == 0 && about.st_size > FLECK_CSV_FILE_BYTES)
        status = fleck_fail(err, FLECK_BAD_INPUT, "%s", too_large);
    else
        status = read_all(&r, out, err);
    fleck_free(r.buffer);
    close(r.descriptor);
    return status;
}

fleck_status fleck_csv_read_memory(const void *bytes, size_t size, fleck_csv **out,
                                   fleck_error *err)
{
    struct reader r = { .bytes = bytes, .end = size, .descriptor = -1 };

    *out = NULL;
    if (size > FLECK_CSV_FILE_BYTES)
        return fleck_fail(err, FLECK_BAD_INPUT, "%s", too_large);
    return read_all(&r, out, err);
}

void fleck_csv_free(fleck_csv *csv)
{
    if (csv == NULL)
        return;
    fleck_free(csv->text);
    fleck_free(csv->cells);
    fleck_free(csv->rows);
    fleck_free(csv);
}

char fleck_csv_separator(const fleck_csv *csv)
{
    return csv->separator;
}

size_t fleck_csv_row_count(const fleck_csv *csv)
{
    return csv->row_count;
}

size_t fleck_csv_cell_count(const fleck_csv *csv, size_t row)
{
    const size_t end = row + 1 < csv->row_count ? csv->rows[row + 1].first_cell : csv->cell_count;

    return end - csv->rows[row].first_cell;
}

const char *fleck_csv_cell(const fleck_csv *csv, size_t row, size_t column)
{
    if (column >= fleck_csv_cell_count(csv, row))
        return "";
    return csv->text + csv->cells[csv->rows[row].first_cell + column];
}

size_t fleck_csv_line(const fleck_csv *csv, size_t row)
{
    return csv->rows[row].line;
}

bool fleck_csv_find_column(const fleck_csv *csv, const char *name, size_t *column)
{
    const size_t count = fleck_csv_cell_count(csv, 0), length = strlen(name);

    for (size_t i = 0; i < count; i++) {
        const char *cell = fleck_csv_cell(csv, 0, i);

        cell += strspn(cell, " \t");
        if (strncmp(cell, name, length) == 0 &&
            cell[length + strspn(cell + length, " \t")] == '\0') {
            *column = i;
            return true;
        }
    }
    return false;
}

bool fleck_csv_number(const fleck_csv *csv, const char *cell, double *value)
{
    char buffer[128]; /* no number in a table needs more digits */
    const char *comma = strchr(cell, ',');
    const size_t length = strlen(cell);

    if (comma == NULL)
        return fleck_text_to_number(cell, value);
    if (csv->separator == ',' || length >= sizeof buffer)
        return false;
    memcpy(buffer, cell, length + 1);
    buffer[comma - cell] = '.';
    return fleck_text_to_number(buffer, value);
}

static bool needs_quotes(const char *cell)
{
    const size_t length = strlen(cell);

    /* any separator at all: what stands in the header decides which one the reader takes */
    if (cell[strcspn(cell, ",;\t\"\r\n")] != '\0')
        return true;
    /* a byte-order mark at the start of the file would be taken for the file's own */
    if (strncmp(cell, "\xef\xbb\xbf", 3) == 0)
        return true;
    return length > 0 && (cell[0] == ' ' || cell[length - 1] == ' ');
}

/* A cell leaves its separator behind, and the end of the row takes the last one back. */
void fleck_csv_add_cell(fleck_text *text, const char *cell)
{
    if (!needs_quotes(cell)) {
        fleck_text_add(text, cell);
    } else {
        fleck_text_add(text, "\"");
        for (const char *c = cell; *c != '\0';) {
            const size_t length = strcspn(c, "\"");

            fleck_text_add_bytes(text, c, length);
            c += length;
            if (*c == '"') {
                fleck_text_add(text, "\"\"");
                c++;
            }
        }
        fleck_text_add(text, "\"");
    }
    fleck_text_add(text, ",");
}

void fleck_csv_add_number(fleck_text *text, double value)
{
    fleck_text_add_number(text, value);
    fleck_text_add(text, ",");
}

void fleck_csv_end_row(fleck_text *text)
{
    if (text->failed || text->length == 0 || text->bytes[text->length - 1] != ',')
        return;
    text->length--;
    /* a row of one empty cell would be a blank line, which readers pass over */
    if (text->length == 0 || text->bytes[text->length - 1] == '\n')
        fleck_text_add(text, "\"\"");
    fleck_text_add(text, "\n");
}
