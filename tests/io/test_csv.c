/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "io/csv.h"

static fleck_csv *read_text(const char *text, size_t size)
{
    fleck_error err = { 0 };
    fleck_csv *csv;

    if (fleck_csv_read_memory(text, size, &csv, &err) != FLECK_OK) {
        print_error("%s\n", err.message);
        fail();
    }
    return csv;
}

/* All cells in one line: '|' between cells, '/' after rows, '~' for a line end inside a cell. */
static void flatten(const fleck_csv *csv, fleck_text *text)
{
    for (size_t row = 0; row < fleck_csv_row_count(csv); row++) {
        for (size_t column = 0; column < fleck_csv_cell_count(csv, row); column++) {
            if (column > 0)
                fleck_text_add(text, "|");
            fleck_text_add(text, fleck_csv_cell(csv, row, column));
        }
        fleck_text_add(text, "/");
    }
    for (char *c = text->bytes; *c != '\0'; c++) {
        if (*c == '\n' || *c == '\r')
            *c = '~';
    }
}

static void tables_are_read_as_the_standard_says(void **state)
{
    static const struct {
        const char *source, *text, *cells;
    } cases[] = {
        { "RFC 4180, 2.1: records on lines", "aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n",
          "aaa|bbb|ccc/zzz|yyy|xxx/" },
        { "RFC 4180, 2.2: last line without an end", "aaa,bbb,ccc\r\nzzz,yyy,xxx",
          "aaa|bbb|ccc/zzz|yyy|xxx/" },
        { "RFC 4180, 2.3: a header", "field_name,field_name\r\naaa,bbb\r\n",
          "field_name|field_name/aaa|bbb/" },
        { "RFC 4180, 2.4: blanks belong to the cell", " a, b ,c\n", " a| b |c/" },
        { "RFC 4180, 2.5: quoted or not", "\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx",
          "aaa|bbb|ccc/zzz|yyy|xxx/" },
        { "RFC 4180, 2.6: a line end in quotes", "\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx",
          "aaa|b~~bb|ccc/zzz|yyy|xxx/" },
        { "RFC 4180, 2.7: a doubled quote", "\"aaa\",\"b\"\"bb\",\"ccc\"", "aaa|b\"bb|ccc/" },
        { "a quoted cell that is a quote", "a,\"\"\"\"\n", "a|\"/" },
        { "quoted and empty", "\"\"\nx\n\"\"\n", "/x//" },
        { "empty cells", "a,b,c\n,,\n", "a|b|c/||/" },
        { "an empty cell before all others", ",b\n", "|b/" },
        { "LF", "a,b\nc,d\n", "a|b/c|d/" },
        { "CR alone", "a,b\rc,d\r", "a|b/c|d/" },
        { "all three, and CR LF is one", "a\r\nb\nc\rd", "a/b/c/d/" },
        { "a byte-order mark", "\xef\xbb\xbf\"a\",b\n1,2\n", "a|b/1|2/" },
        { "a second byte-order mark is text", "\xef\xbb\xbf\xef\xbb\xbf" "a\n", "\xef\xbb\xbf" "a/" },
        { "blank lines at all places", "\n \na,b\n\n\r\n\t\nc,d\n\n", "a|b/c|d/" },
        { "rows of another length", "a,b\n1\n1,2,3\n", "a|b/1/1|2|3/" },
        { "semicolons", "a;b\n1,5;2\n", "a|b/1,5|2/" },
        { "tabs", "a\tb\n1,5\t2;3\n", "a|b/1,5|2;3/" },
        { "the most frequent one in the header counts", "a;b;c,d\n1;2;3,4\n", "a|b|c,d/1|2|3,4/" },
        { "not those in quotes", "\"x;y;z\",b\n1,2\n", "x;y;z|b/1|2/" },
        { "not those of later lines", "a,b\n1;2;3;4,5\n", "a|b/1;2;3;4|5/" },
        { "not those of blank lines before it", "\t\t\t\t\na,b\n", "a|b/" },
        { "comma before semicolon before tab", "a,b;c\td\n", "a|b;c\td/" },
        { "semicolon before tab", "a;b\tc\n", "a|b\tc/" },
        { "one column", "a\n1\n", "a/1/" },
        { "beyond ASCII", "gr\xc3\xb6\xc3\x9f" "e;\xe5\xa2\xa8\n", "gr\xc3\xb6\xc3\x9f" "e|\xe5\xa2\xa8/" },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_csv *csv = read_text(cases[i].text, strlen(cases[i].text));
        fleck_text cells = { 0 };

        flatten(csv, &cells);
        if (strcmp(cells.bytes, cases[i].cells) != 0) {
            print_error("%s\n", cases[i].source);
            assert_string_equal(cells.bytes, cases[i].cells);
        }
        fleck_text_clear(&cells);
        fleck_csv_free(csv);
    }
}

static void rows_know_their_line(void **state)
{
    static const char text[] = "\r\na,b\r\n\r\n\"x\ny\rz\",2\n3,4\r\r5,6";
    static const size_t lines[] = { 2, 4, 7, 9 };
    fleck_csv *csv = read_text(text, sizeof text - 1);

    (void)state;
    assert_int_equal(fleck_csv_row_count(csv), sizeof lines / sizeof *lines);
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++)
        assert_int_equal(fleck_csv_line(csv, i), lines[i]);
    fleck_csv_free(csv);
}

static void a_cell_that_is_not_there_is_empty(void **state)
{
    fleck_csv *csv = read_text("a,b\n1\n", 6);

    (void)state;
    assert_string_equal(fleck_csv_cell(csv, 1, 0), "1");
    assert_string_equal(fleck_csv_cell(csv, 1, 1), "");
    assert_string_equal(fleck_csv_cell(csv, 1, SIZE_MAX), "");
    fleck_csv_free(csv);
}

static void columns_are_found_by_their_trimmed_name(void **state)
{
    static const char text[] = "scans, scan ,\tpatch,scan\n";
    fleck_csv *csv = read_text(text, sizeof text - 1);
    size_t column = 99;

    (void)state;
    assert_true(fleck_csv_find_column(csv, "scan", &column));
    assert_int_equal(column, 1);
    assert_true(fleck_csv_find_column(csv, "patch", &column));
    assert_int_equal(column, 2);
    assert_false(fleck_csv_find_column(csv, "sca", &column));
    assert_false(fleck_csv_find_column(csv, "region", &column));
    assert_int_equal(column, 2);
    fleck_csv_free(csv);
}

static void decimal_commas_are_numbers_where_the_separator_allows_it(void **state)
{
    static const struct {
        const char *header, *cell;
        double value; /* NAN when it is no number */
    } cases[] = {
        { "a;b\n", "2,5", 2.5 },       { "a;b\n", " -0,25 ", -0.25 }, { "a\tb\n", "1,5e2", 150 },
        { "a;b\n", "2.5", 2.5 },       { "a;b\n", "7", 7 },           { "a;b\n", "1,2,3", NAN },
        { "a;b\n", "1.234,5", NAN },   { "a;b\n", "1,234.5", NAN },   { "a;b\n", ",", NAN },
        { "a;b\n", "", NAN },          { "a,b\n", "2,5", NAN },       { "a,b\n", "2.5", 2.5 },
        { "a;b\n", "inf", NAN },       { "a\n", "2,5", NAN },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_csv *csv = read_text(cases[i].header, strlen(cases[i].header));
        double value = NAN;

        assert_int_equal(fleck_csv_number(csv, cases[i].cell, &value), !isnan(cases[i].value));
        check_near(cases[i].cell, value, cases[i].value, 0);
        fleck_csv_free(csv);
    }
}

static void a_number_of_many_digits_ends_nowhere_but_in_false(void **state)
{
    fleck_csv *csv = read_text("a;b\n", 4);
    char digits[301];
    double value = 5;

    (void)state;
    memset(digits, '1', 300);
    digits[1] = ',';
    digits[300] = '\0';
    assert_false(fleck_csv_number(csv, digits, &value));
    assert_true(value == 5);
    fleck_csv_free(csv);
}

static void check_refused(const char *text, size_t size, const char *message)
{
    fleck_error err = { 0 };
    fleck_csv *csv = (fleck_csv *)&err;

    assert_int_equal(fleck_csv_read_memory(text, size, &csv, &err), FLECK_BAD_INPUT);
    assert_null(csv);
    assert_string_equal(err.message, message);
}

static void faults_are_named_with_their_line(void **state)
{
    static const struct {
        const char *text;
        size_t size; /* 0: up to the NUL */
        const char *message;
    } cases[] = {
        { "a,b\n1,\"2\n3,4\n", 0, "has a quote in line 2 that is never closed; close it" },
        { "a,b\n\"1\n2\",\"", 0, "has a quote in line 3 that is never closed; close it" },
        { "a,b\n1,2\n1,5\"\n", 0,
          "has a quote inside a cell in line 3; put the whole cell in quotes and double those in it" },
        { "a,b\r\n \"1\",2\r\n", 0,
          "has a quote inside a cell in line 2; put the whole cell in quotes and double those in it" },
        { "a,b\r1,\"2\"x\r", 0,
          "has text after a closing quote in line 2; put the whole cell in quotes and double those "
          "in it" },
        { "a,b\n1,gr\xfcn\n", 0,
          "is not UTF-8 in line 2 (Latin-1 from an old spreadsheet?); save it as CSV UTF-8" },
        { "a,b\n1,\"x\r\ny\n\rgr\xfcn\"\n", 0,
          "is not UTF-8 in line 5 (Latin-1 from an old spreadsheet?); save it as CSV UTF-8" },
        { "a,\xc3", 0,
          "is not UTF-8 in line 1 (Latin-1 from an old spreadsheet?); save it as CSV UTF-8" },
        { "a,b\n1,\0\n", 8, "has a NUL byte in line 2, so it is no text; save it as CSV UTF-8" },
        { "\xff\xfe" "a\0", 4, "is UTF-16 text; save it as CSV UTF-8" },
        { "\xfe\xff\0a", 4, "is UTF-16 text; save it as CSV UTF-8" },
        { "", 0, "is empty; give a table whose first line names its columns" },
        { "\xef\xbb\xbf\r\n \n", 0, "is empty; give a table whose first line names its columns" },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const size_t size = cases[i].size > 0 ? cases[i].size : strlen(cases[i].text);

        check_refused(cases[i].text, size, cases[i].message);
    }
}

/* head, then `count` times `middle`, then tail */
static fleck_text repeat(const char *head, const char *middle, size_t count, const char *tail)
{
    fleck_text text = { 0 };

    fleck_text_add(&text, head);
    for (size_t i = 0; i < count; i++)
        fleck_text_add(&text, middle);
    fleck_text_add(&text, tail);
    assert_false(text.failed);
    return text;
}

static void what_lies_at_a_limit_is_read_and_above_it_refused(void **state)
{
    static const struct {
        const char *head, *middle;
        size_t count; /* the largest that is read */
        const char *tail, *message;
    } cases[] = {
        { "a,b\n1,", "x", FLECK_CSV_CELL_BYTES, "\n",
          "has a cell of more than 64 KiB in line 2; shorten it, or close its quote" },
        { "a,b\n1,\"\n", "x", FLECK_CSV_CELL_BYTES - 1, "\"\n",
          "has a cell of more than 64 KiB in line 2; shorten it, or close its quote" },
        { "a\n\n", ",", FLECK_CSV_COLUMNS - 1, "\n",
          "has more than 4096 cells in line 3; check that it is a table" },
        /* two bytes of the file, one of the cell */
        { "a\n\"", "\"\"", FLECK_CSV_CELL_BYTES, "\"\n",
          "has a cell of more than 64 KiB in line 2; shorten it, or close its quote" },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_text text =
            repeat(cases[i].head, cases[i].middle, cases[i].count, cases[i].tail);

        fleck_csv_free(read_text(text.bytes, text.length));
        fleck_text_clear(&text);
        text = repeat(cases[i].head, cases[i].middle, cases[i].count + 1, cases[i].tail);
        check_refused(text.bytes, text.length, cases[i].message);
        fleck_text_clear(&text);
    }
}

static void a_row_at_its_limit_is_read_and_above_it_refused(void **state)
{
    const char *message = "has a row of more than 1 MiB in line 2; check that it is a table";

    (void)state;
    for (size_t more = 0; more < 2; more++) {
        /* 1024 cells of 1023 bytes, each with its separator or line end, are 1 MiB */
        fleck_text text = { 0 };

        fleck_text_add(&text, "a,b\n");
        for (size_t i = 0; i < 1024; i++) {
            for (size_t k = 0; k < 1023 + (i == 500 ? more : 0); k++)
                fleck_text_add(&text, "x");
            fleck_text_add(&text, i < 1023 ? "," : "\n");
        }
        assert_false(text.failed);
        if (more == 0)
            fleck_csv_free(read_text(text.bytes, text.length));
        else
            check_refused(text.bytes, text.length, message);
        fleck_text_clear(&text);
    }
}

static void make_folder(char folder[32])
{
    memcpy(folder, "/tmp/fleck-csv-XXXXXX", sizeof "/tmp/fleck-csv-XXXXXX");
    assert_non_null(mkdtemp(folder));
}

static void a_file_reads_like_its_bytes(void **state)
{
    uint64_t seed = 11;
    char folder[32], path[64];
    fleck_text text = { 0 };
    fleck_error err = { 0 };

    (void)state;
    make_folder(folder);
    snprintf(path, sizeof path, "%s/a.csv", folder);
    /* longer than the buffer, and everything that looks one byte ahead falls on its border once */
    fleck_text_add(&text, "\xef\xbb\xbf" "a;b\r\n");
    while (text.length < 3 * FLECK_CSV_ROW_BYTES) {
        static const char *const rows[] = { "\"\"\"\";1\r\n", "\"\r\n\";2\r", "x;\xc3\xb6\r\n",
                                            "\r\n\r\n", "y;\n" };

        fleck_text_add(&text, rows[test_random(&seed) % 5]);
    }
    for (size_t shift = 0; shift < 6; shift++) {
        FILE *file = fopen(path, "wb");
        fleck_text from_file = { 0 }, from_memory = { 0 };
        fleck_csv *csv;

        assert_non_null(file);
        assert_int_equal(fwrite(text.bytes, 1, text.length, file), text.length);
        assert_int_equal(fclose(file), 0);
        assert_int_equal(fleck_csv_read(path, &csv, &err), FLECK_OK);
        flatten(csv, &from_file);
        fleck_csv_free(csv);
        csv = read_text(text.bytes, text.length);
        flatten(csv, &from_memory);
        fleck_csv_free(csv);
        assert_true(from_file.length > FLECK_CSV_ROW_BYTES);
        assert_int_equal(from_file.length, from_memory.length);
        assert_memory_equal(from_file.bytes, from_memory.bytes, from_file.length);
        fleck_text_clear(&from_file);
        fleck_text_clear(&from_memory);
        /* one byte more before the table moves everything to another place in the buffer */
        fleck_text_add(&text, "\n");
        assert_false(text.failed);
        memmove(text.bytes + 4, text.bytes + 3, text.length - 4);
        text.bytes[3] = '\n';
    }
    fleck_text_clear(&text);
    unlink(path);
    rmdir(folder);
}

static void check_file_refused(const char *path, const char *message)
{
    fleck_error err = { 0 };
    fleck_csv *csv;

    assert_int_equal(fleck_csv_read(path, &csv, &err), FLECK_BAD_INPUT);
    assert_null(csv);
    assert_string_equal(err.message, message);
}

static void what_is_no_file_to_read_is_refused(void **state)
{
    char folder[32], path[64];
    FILE *file;

    (void)state;
    make_folder(folder);
    snprintf(path, sizeof path, "%s/a.csv", folder);
    check_file_refused(folder, "is a folder; name the CSV file in it");
    check_file_refused(path, "cannot be opened; check the name and permissions");
    file = fopen(path, "wb");
    assert_non_null(file);
    assert_int_equal(ftruncate(fileno(file), (off_t)FLECK_CSV_FILE_BYTES + 1), 0);
    assert_int_equal(fclose(file), 0);
    check_file_refused(path, "is larger than 256 MiB; split it");
    unlink(path);
    rmdir(folder);
}

static void an_endless_line_is_refused_while_it_is_read(void **state)
{
    char wide[1002];
    const struct {
        const char *first, *forever, *message;
    } cases[] = {
        { "", "xxxxxxxxxxxxxxxx",
          "has a cell of more than 64 KiB in line 1; shorten it, or close its quote" },
        { "", wide, "has a row of more than 1 MiB in line 1; check that it is a table" },
        { "", ",", "has more than 4096 cells in line 1; check that it is a table" },
        { "a,b\n\"", "1,2\n",
          "has a cell of more than 64 KiB in line 2; shorten it, or close its quote" },
    };
    char folder[32], path[64];

    (void)state;
    memset(wide, 'x', 1000); /* 4096 such cells do not fit in a row */
    memcpy(wide + 1000, ",", 2);
    make_folder(folder);
    snprintf(path, sizeof path, "%s/pipe", folder);
    assert_int_equal(mkfifo(path, 0600), 0);
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const pid_t child = fork();
        int how;

        assert_true(child >= 0);
        if (child == 0) {
            FILE *pipe = fopen(path, "wb");

            if (pipe != NULL)
                fputs(cases[i].first, pipe);
            /* ends with SIGPIPE when the reader closes its end */
            while (pipe != NULL && fputs(cases[i].forever, pipe) >= 0)
                continue;
            _exit(0);
        }
        check_file_refused(path, cases[i].message);
        assert_int_equal(waitpid(child, &how, 0), child);
    }
    unlink(path);
    rmdir(folder);
}

static void a_header_that_comes_in_pieces_tells_the_separator_as_a_whole(void **state)
{
    char folder[32], path[64], wide[602];
    fleck_error err = { 0 };
    fleck_csv *csv;
    pid_t child;
    int how;

    (void)state;
    memset(wide, 'x', 600);
    memcpy(wide + 600, ",", 2);
    make_folder(folder);
    snprintf(path, sizeof path, "%s/pipe", folder);
    assert_int_equal(mkfifo(path, 0600), 0);
    child = fork();
    assert_true(child >= 0);
    if (child == 0) {
        FILE *pipe = fopen(path, "wb");

        /* a pipe holds 64 KiB, in which commas lead; the semicolons come after that */
        for (int i = 0; pipe != NULL && i < 200; i++)
            fprintf(pipe, "%s%s", wide, i % 2 == 0 ? "y;" : "z");
        for (int i = 0; pipe != NULL && i < 300; i++)
            fputs("w;", pipe);
        _exit(pipe == NULL || fclose(pipe) != 0);
    }
    assert_int_equal(fleck_csv_read(path, &csv, &err), FLECK_OK);
    assert_int_equal(waitpid(child, &how, 0), child);
    assert_int_equal(fleck_csv_separator(csv), ';');
    assert_int_equal(fleck_csv_cell_count(csv, 0), 401);
    fleck_csv_free(csv);
    unlink(path);
    rmdir(folder);
}

static void cells_are_quoted_only_when_they_need_it(void **state)
{
    fleck_text text = { 0 };

    (void)state;
    fleck_csv_add_cell(&text, "plain text");
    fleck_csv_add_cell(&text, "a,b");
    fleck_csv_add_cell(&text, "say \"a\"");
    fleck_csv_add_cell(&text, "two\nlines");
    fleck_csv_add_cell(&text, "a\rb");
    fleck_csv_add_cell(&text, " a");
    fleck_csv_add_cell(&text, "a ");
    fleck_csv_add_cell(&text, "a;b");
    fleck_csv_add_cell(&text, "a\tb");
    fleck_csv_add_cell(&text, "");
    fleck_csv_add_cell(&text, "it's 100%");
    fleck_csv_end_row(&text);
    fleck_csv_add_number(&text, 0.25);
    fleck_csv_add_number(&text, NAN);
    fleck_csv_add_number(&text, -1e-300);
    fleck_csv_end_row(&text);
    fleck_csv_add_number(&text, NAN);
    fleck_csv_end_row(&text);
    fleck_csv_add_cell(&text, "");
    fleck_csv_add_cell(&text, "");
    fleck_csv_end_row(&text);
    assert_false(text.failed);
    assert_string_equal(text.bytes,
                        "plain text,\"a,b\",\"say \"\"a\"\"\",\"two\nlines\",\"a\rb\",\" a\",\"a \","
                        "\"a;b\",\"a\tb\",,it's 100%\n"
                        "0.25,,-1e-300\n"
                        "\"\"\n"
                        ",\n");
    fleck_text_clear(&text);
}

static void what_is_written_reads_back_the_same(void **state)
{
    static const char *const pieces[] = { "a", "1.5", ",", ";", "\t", "\"", "\n", "\r", " ",
                                          "\xc3\xb6", "\xef\xbb\xbf", "\xf0\xa3\x8e\xb4", "=" };
    enum { PIECES = sizeof pieces / sizeof *pieces };
    uint64_t seed = 3;

    (void)state;
    for (int round = 0; round < 3000; round++) {
        const size_t rows = 1 + test_random(&seed) % 4, columns = 1 + test_random(&seed) % 4;
        char cells[16][40] = { { 0 } };
        fleck_text text = { 0 };
        fleck_csv *csv;

        for (size_t i = 0; i < rows * columns; i++) {
            for (uint64_t k = test_random(&seed) % 6; k > 0; k--)
                strcat(cells[i], pieces[test_random(&seed) % PIECES]);
            fleck_csv_add_cell(&text, cells[i]);
            if (i % columns == columns - 1)
                fleck_csv_end_row(&text);
        }
        assert_false(text.failed);
        csv = read_text(text.bytes, text.length);
        assert_int_equal(fleck_csv_row_count(csv), rows);
        for (size_t i = 0; i < rows * columns; i++) {
            assert_int_equal(fleck_csv_cell_count(csv, i / columns), columns);
            assert_string_equal(fleck_csv_cell(csv, i / columns, i % columns), cells[i]);
        }
        assert_int_equal(fleck_csv_separator(csv), ',');
        fleck_csv_free(csv);
        fleck_text_clear(&text);
    }
}

static void any_bytes_end_in_a_table_or_a_message(void **state)
{
    static const char bytes[] = "a1,;\t\"\"\"\n\r \xc3\xb6\xff";
    uint64_t seed = 5;

    (void)state;
    for (int round = 0; round < 20000; round++) {
        const size_t size = test_random(&seed) % 24;
        char *text = malloc(size + 1); /* its own block, so that a sanitizer sees its end */
        fleck_error err = { 0 };
        fleck_csv *csv;
        fleck_status status;

        assert_non_null(text);
        for (size_t i = 0; i < size; i++)
            text[i] = bytes[test_random(&seed) % (sizeof bytes - 1)];
        text = realloc(text, size > 0 ? size : 1);
        assert_non_null(text);
        status = fleck_csv_read_memory(text, size, &csv, &err);
        assert_true(status == FLECK_OK ? csv != NULL && fleck_csv_row_count(csv) > 0
                                       : status == FLECK_BAD_INPUT && err.message[0] != '\0');
        fleck_csv_free(csv);
        free(text);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tables_are_read_as_the_standard_says),
        cmocka_unit_test(rows_know_their_line),
        cmocka_unit_test(a_cell_that_is_not_there_is_empty),
        cmocka_unit_test(columns_are_found_by_their_trimmed_name),
        cmocka_unit_test(decimal_commas_are_numbers_where_the_separator_allows_it),
        cmocka_unit_test(a_number_of_many_digits_ends_nowhere_but_in_false),
        cmocka_unit_test(faults_are_named_with_their_line),
        cmocka_unit_test(what_lies_at_a_limit_is_read_and_above_it_refused),
        cmocka_unit_test(a_row_at_its_limit_is_read_and_above_it_refused),
        cmocka_unit_test(a_file_reads_like_its_bytes),
        cmocka_unit_test(what_is_no_file_to_read_is_refused),
        cmocka_unit_test(an_endless_line_is_refused_while_it_is_read),
        cmocka_unit_test(a_header_that_comes_in_pieces_tells_the_separator_as_a_whole),
        cmocka_unit_test(cells_are_quoted_only_when_they_need_it),
        cmocka_unit_test(what_is_written_reads_back_the_same),
        cmocka_unit_test(any_bytes_end_in_a_table_or_a_message),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
