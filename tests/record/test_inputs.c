/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/text.h"
#include "fleck/inputs.h"

static const char png[] = "\x89PNG\r\n\x1a\n", jpeg[] = "\xff\xd8\xff\xe0";

/* Every test works in a folder of its own, and what it made is removed afterwards. */
static struct {
    char folder[32];
    char *made[256];
    size_t count;
} place;

static int begin(void **state)
{
    (void)state;
    memcpy(place.folder, "/tmp/fleck-in-XXXXXX", sizeof "/tmp/fleck-in-XXXXXX");
    place.count = 0;
    return mkdtemp(place.folder) != NULL ? chdir(place.folder) : -1;
}

static int end(void **state)
{
    (void)state;
    while (place.count > 0) {
        char *path = place.made[--place.count];

        if (unlink(path) != 0)
            (void)rmdir(path);
        free(path);
    }
    if (chdir("/") != 0)
        return -1;
    return rmdir(place.folder); /* fails when a test left something */
}

static void remember(const char *path)
{
    assert_true(place.count < sizeof place.made / sizeof *place.made);
    place.made[place.count++] = strdup(path);
}

static void make_folder(const char *path)
{
    assert_int_equal(mkdir(path, 0700), 0);
    remember(path);
}

static void make_link(const char *to, const char *path)
{
    assert_int_equal(symlink(to, path), 0);
    remember(path);
}

static void make_bytes(const char *path, const void *bytes, size_t size)
{
    FILE *file = fopen(path, "wb");

    assert_non_null(file);
    remember(path);
    assert_int_equal(fwrite(bytes, 1, size, file), size);
    assert_int_equal(fclose(file), 0);
}

static void make_file(const char *path, const char *text)
{
    make_bytes(path, text, strlen(text));
}

static void make_scan(const char *path)
{
    make_bytes(path, png, sizeof png);
}

static void gather(const char *const *names, size_t count, fleck_inputs *inputs)
{
    fleck_error err = { 0 };

    assert_int_equal(fleck_inputs_gather(names, count, inputs, &err), FLECK_OK);
}

/* The list as text: "ID < PATH @ X Y W H [CELL|...] ! FAILURE", then "? NAME: MESSAGE". */
static fleck_text describe(const fleck_inputs *inputs)
{
    fleck_text text = { 0 };

    fleck_text_add(&text, "");
    for (size_t i = 0; i < inputs->count; i++) {
        const fleck_input *one = &inputs->items[i];

        fleck_text_add_format(&text, "%s < %s", one->id, one->path);
        if (one->has_region)
            fleck_text_add_format(&text, " @ %g %g %g %g", one->region.x_mm, one->region.y_mm,
                                  one->region.width_mm, one->region.height_mm);
        for (size_t k = 0; k < inputs->column_count; k++)
            fleck_text_add_format(&text, "%s%s", k == 0 ? " [" : "|", one->cells[k]);
        if (inputs->column_count > 0)
            fleck_text_add(&text, "]");
        if (one->failure != NULL)
            fleck_text_add_format(&text, " ! %s", one->failure);
        fleck_text_add(&text, "\n");
    }
    for (size_t i = 0; i < inputs->failure_count; i++)
        fleck_text_add_format(&text, "? %s: %s\n", inputs->failures[i].path,
                              inputs->failures[i].message);
    assert_false(text.failed);
    return text;
}

#define check_list(expected, ...)                                                       \
    do {                                                                                \
        const char *const names_[] = { __VA_ARGS__ };                                   \
        check_list_of(expected, names_, sizeof names_ / sizeof *names_);                \
    } while (0)

static void check_list_of(const char *expected, const char *const *names, size_t count)
{
    fleck_inputs inputs;
    fleck_text text;

    gather(names, count, &inputs);
    text = describe(&inputs);
    assert_string_equal(text.bytes, expected);
    fleck_text_clear(&text);
    fleck_inputs_clear(&inputs);
}

static void a_folder_gives_its_scans_by_content_in_byte_order(void **state)
{
    (void)state;
    make_folder("d");
    make_folder("d/sub");
    make_folder("d/.hidden");
    make_bytes("d/b.txt", png, sizeof png);
    make_bytes("d/B.tif", "II*\0more", 8);
    make_bytes("d/big-tiff", "II+\0", 4);
    make_bytes("d/motorola", "MM\0*", 4);
    make_bytes("d/motorola-big", "MM\0+", 4);
    make_bytes("d/sub/c.jpg", jpeg, sizeof jpeg);
    make_bytes("d/sub/three", jpeg, 3);
    make_scan("d/sub.png");
    make_scan("d/.d.png");
    make_scan("d/.hidden/e.png");
    make_file("d/text.png", "not a scan");
    make_file("d/short.png", "\x89PN");
    make_file("d/empty.png", "");
    make_file("d/list.csv", "scan\nB.tif\n");
    check_list("B < d/B.tif\nb < d/b.txt\nbig-tiff < d/big-tiff\nmotorola < d/motorola\n"
               "motorola-big < d/motorola-big\nsub < d/sub.png\nc < d/sub/c.jpg\n"
               "three < d/sub/three\n",
               "d");
}

static void pictures_that_fleck_drew_are_no_scans(void **state)
{
    (void)state;
    make_folder("d");
    make_folder("d/pictures");
    make_folder("d/run");
    make_folder("d/run/pictures");
    make_folder("d/run/plots");
    make_folder("d/run/records");
    make_file("d/run/run.json", "{}");
    make_scan("d/run/pictures/1.png");
    make_scan("d/run/plots/sizes.png");
    make_scan("d/run/own.png");
    make_scan("d/pictures/a.png");
    make_file("d/layout.csv", "scan\nsheet.png\n");
    make_scan("d/layout-preview.png");
    make_scan("d/b-preview.png");
    make_scan("d/-preview.png");
    check_list("-preview < d/-preview.png\nb-preview < d/b-preview.png\na < d/pictures/a.png\n"
               "own < d/run/own.png\n",
               "d");
    /* who names them means them */
    check_list("1 < d/run/pictures/1.png\n", "d/run/pictures");
}

static void a_folder_is_joined_with_one_slash(void **state)
{
    (void)state;
    make_folder("d");
    make_scan("d/a.png");
    check_list("a < d/a.png\n", "d//");
    check_list("a < ./d/a.png\n", "./d/");
    check_list("a < ./d/a.png\n", ".");
    make_file("d/list.csv", "scan\na.png\n./a.jpg\n/x//b.png\n sub//c.png \n");
    check_list("a.png < d/a.png [a.png]\na.jpg < d/./a.jpg [./a.jpg]\n"
               "b < /x//b.png [/x//b.png]\nc < d/sub//c.png [ sub//c.png ]\n",
               "d///list.csv");
}

static void links_to_files_count_and_links_to_folders_do_not(void **state)
{
    (void)state;
    make_folder("d");
    make_folder("else");
    make_scan("d/a.png");
    make_link("a.png", "d/b.png");
    make_link("nowhere.png", "d/c.png");
    make_link(".", "d/round");
    make_link("../else", "d/away");
    make_scan("else/x.png");
    make_link("d", "named");
    check_list("a < d/a.png\nb < d/b.png\n", "d");
    check_list("a < named/a.png\nb < named/b.png\n", "named");
}

static void folders_are_walked_down_to_a_bound(void **state)
{
    char path[256] = "d", expected[1024];

    (void)state;
    make_folder(path);
    for (int depth = 1; depth <= 65; depth++) {
        strcat(path, "/1");
        make_folder(path);
        if (depth == 64) {
            snprintf(expected, sizeof expected,
                     "a < %s/a.png\n? %s/1: lies more than 64 folders deep; name it by itself\n",
                     path, path);
            strcat(path, "/a.png");
            make_scan(path);
            path[strlen(path) - strlen("/a.png")] = '\0';
        }
    }
    check_list(expected, "d");
}

static void a_name_without_patches_is_a_failure(void **state)
{
    static const struct {
        const char *text, *message;
    } manifests[] = {
        { "", "is empty; give a table whose first line names its columns" },
        { "scan,note\n", "has a header but no rows; add a row for each patch" },
        { "scan,note\n,\n , \n", "has a header but no rows; add a row for each patch" },
        { "file, Scan ,force\na.png,b,c\n",
          "has no column \"scan\" (its columns: file, Scan, force); call the column of the files "
          "\"scan\"" },
        { "scan,,note\na.png,,\n", "has no name over its column 2; name the column or remove it" },
        { "scan,note, \na.png,,\n", "has no name over its column 3; name the column or remove it" },
        { "scan,id\na.png,P1\n",
          "has a column \"id\", which is fleck's own name; rename it, or call it patch" },
        { "scan,note,force, note\na.png,,,\n", "has two columns \"note\"; rename one of them" },
        { "scan,scan\na.png,b.png\n", "has two columns \"scan\"; rename one of them" },
        { "scan,note\na.png,\"x\n", "has a quote in line 2 that is never closed; close it" },
        { "scan,note\na.png,gr\xfcn\n",
          "is not UTF-8 in line 2 (Latin-1 from an old spreadsheet?); save it as CSV UTF-8" },
    };

    (void)state;
    make_folder("empty");
    make_folder("empty/sub");
    make_file("empty/notes.txt", "none here");
    check_list("? empty: holds no PNG, TIFF or JPEG scan; name the folder that does\n", "empty");
    check_list("? empty: holds no PNG, TIFF or JPEG scan; name the folder that does\n", "empty/",
               "empty");
    check_list("? nowhere: does not exist; check the name, and put one with spaces between quotes\n",
               "nowhere", "nowhere");
    check_list("? empty/notes.txt/a.png: does not exist; check the name, and put one with spaces between "
               "quotes\n",
               "empty/notes.txt/a.png");
    check_list("? : does not exist; check the name, and put one with spaces between "
               "quotes\n", "");
    check_list_of("", NULL, 0);
    make_scan("a.png");
    for (size_t i = 0; i < sizeof manifests / sizeof *manifests; i++) {
        char expected[256];

        make_file("m.csv", manifests[i].text);
        snprintf(expected, sizeof expected, "? m.csv: %s\n", manifests[i].message);
        check_list(expected, "m.csv");
        /* and what else is named is measured all the same */
        snprintf(expected, sizeof expected, "a < a.png\n? m.csv: %s\n", manifests[i].message);
        check_list(expected, "m.csv", "a.png");
        unlink("m.csv");
    }
}

static void what_may_not_be_read_is_a_failure(void **state)
{
    (void)state;
    if (geteuid() == 0)
        skip(); /* nothing is closed to root */
    make_folder("d");
    make_scan("d/a.png");
    make_scan("d/b.png");
    make_folder("d/c");
    assert_int_equal(chmod("d/b.png", 0), 0);
    assert_int_equal(chmod("d/c", 0), 0);
    check_list("a < d/a.png\n? d/b.png: cannot be opened; check its permissions\n"
               "? d/c: cannot be opened; check its permissions\n",
               "d");
}

static void a_manifest_carries_its_cells_untouched(void **state)
{
    (void)state;
    make_folder("m");
    make_file("m/list.CSV", "\xef\xbb\xbfpatch; scan ;region;paste_pct;note\r\n"
                            "P1;../s/a.png;0 0 10,5 20;2,50;\"with; and \"\"quotes\"\"\"\r\n"
                            ";;;;\r\n"
                            " P 2 ;b.png; 1,5\t-2  3 4.5 ;;\r\n"
                            ";c.d.png;;0;x\r\n");
    check_list("P1 < m/../s/a.png @ 0 0 10.5 20 [P1|../s/a.png|0 0 10,5 20|2,50|with; and "
               "\"quotes\"]\n"
               "P 2 < m/b.png @ 1.5 -2 3 4.5 [ P 2 |b.png| 1,5\t-2  3 4.5 ||]\n"
               "c.d < m/c.d.png [|c.d.png||0|x]\n",
               "m/list.CSV");
}

static void a_faulty_row_fails_alone_and_with_its_line(void **state)
{
    (void)state;
    make_file("m.csv", "scan,patch,region,note\n"
                       "a.png,P1,,x\n"
                       "b.png,P2\n"
                       "c.png,P3,,x,y\n"
                       "\n"
                       "d.png\n"
                       ",P4,,x\n"
                       ",,,x\n"
                       "e.png,P5,1 2 3,x\n"
                       "f.png,P6,1 2 3 4 5,x\n"
                       "g.png,P7,1 2 3 0,x\n"
                       "h.png,P8,1 2 -3 4,x\n"
                       "i.png,P9,\"1,2,3,4\",x\n"
                       "j.png,P10,\"0,5 0 1 1\",x\n"
                       "k.png,P11,1 2 3 nan,x\n"
                       "l.png,P12,1 2 3 4,x\n");
#define CELLS(found) \
    "of the manifest has " found " where the header has 4; put in what is missing, or quote cells that " \
    "hold the separator\n"
#define REGION(text) \
    "of the manifest has the region \"" text "\"; write X Y W H in mm with blanks between, W and H above 0\n"
    check_list("P1 < a.png [a.png|P1||x]\n"
               "P2 < b.png [b.png|P2||] ! line 3 " CELLS("2 cells")
               "P3 < c.png [c.png|P3||x] ! line 4 " CELLS("5 cells")
               "d < d.png [d.png|||] ! line 6 " CELLS("1 cell")
               "P4 < m.csv [|P4||x] ! line 7 of the manifest names no scan; fill in its column "
               "\"scan\"\n"
               "line 8 < m.csv [|||x] ! line 8 of the manifest names no scan; fill in its column "
               "\"scan\"\n"
               "P5 < e.png [e.png|P5|1 2 3|x] ! line 9 " REGION("1 2 3")
               "P6 < f.png [f.png|P6|1 2 3 4 5|x] ! line 10 " REGION("1 2 3 4 5")
               "P7 < g.png [g.png|P7|1 2 3 0|x] ! line 11 " REGION("1 2 3 0")
               "P8 < h.png [h.png|P8|1 2 -3 4|x] ! line 12 " REGION("1 2 -3 4")
               "P9 < i.png [i.png|P9|1,2,3,4|x] ! line 13 " REGION("1,2,3,4")
               "P10 < j.png [j.png|P10|0,5 0 1 1|x] ! line 14 " REGION("0,5 0 1 1")
               "P11 < k.png [k.png|P11|1 2 3 nan|x] ! line 15 " REGION("1 2 3 nan")
               "P12 < l.png @ 1 2 3 4 [l.png|P12|1 2 3 4|x]\n",
               "m.csv");
}

static void columns_of_several_manifests_are_joined(void **state)
{
    (void)state;
    make_folder("a");
    make_folder("b");
    make_file("a/m.csv", "scan,force,note\n1.png,5,x\n");
    make_file("b/m.csv", "water;note;scan\n80;y;2.png\n");
    make_scan("c.png");
    check_list("1 < a/1.png [1.png|5|x|]\n"
               "2 < b/2.png [2.png||y|80]\n"
               "c < c.png [|||]\n",
               "c.png", "b/m.csv", "a/m.csv");
}

static void equal_names_get_the_folders_that_tell_them_apart(void **state)
{
    static const struct {
        const char *sentence, *manifest, *expected;
    } cases[] = {
        { "one folder is enough", "scan\nx/day1/a.png\nx/day2/a.png\nx/day2/b.png\n",
          "x/day1/a.png day1/a\nx/day2/a.png day2/a\nx/day2/b.png b\n" },
        { "two are needed", "scan\nx/1/a.png\ny/1/a.png\ny/2/a.png\n",
          "x/1/a.png x/1/a\ny/1/a.png y/1/a\ny/2/a.png y/2/a\n" },
        { "one lies above the others", "scan\na.png\n1/a.png\nx/1/a.png\n",
          "a.png a\n1/a.png 1/a\nx/1/a.png x/1/a\n" },
        { "whole names, not letters", "scan\n11/a.png\n21/a.png\n1/a.png\n",
          "11/a.png 11/a\n21/a.png 21/a\n1/a.png 1/a\n" },
        { "doubled slashes and dots are no folders", "scan\nx//./1/./a.png\ny/1//a.png\n",
          "x//./1/./a.png x/1/a\ny/1//a.png y/1/a\n" },
        { "the root is a folder", "scan\n/x/a.png\nx/a.png\n", "/x/a.png /x/a\nx/a.png x/a\n" },
        { "and can be the only one", "scan\n/a.png\na.png\n", "/a.png /a\na.png a\n" },
        { "patches of scans in two folders", "scan,patch\n1/s.png,P\n2/s.png,P\n",
          "1/s.png 1/P\n2/s.png 2/P\n" },
        { "also when the scans' names differ", "scan,patch\n1/s.png,P\n2/t.png,P\n",
          "1/s.png 1/P\n2/t.png 2/P\n" },
        { "patches of two scans in one folder", "scan,patch\n1/s.png,P\n1/t.png,P\n1/t.png,Q\n",
          "1/s.png s/P\n1/t.png t/P\n1/t.png Q\n" },
        { "both at once", "scan,patch\n1/s.png,P\n1/t.png,P\n2/s.png,P\n",
          "1/s.png 1/s/P\n1/t.png 1/t/P\n2/s.png 2/s/P\n" },
        { "scans that differ in their ending", "scan\na.png\na.tif\nb.png\n",
          "a.png a.png\na.tif a.tif\nb.png b\n" },
        { "the same with patches", "scan,patch\na.png,P\na.tif,P\n", "a.png a.png/P\na.tif a.tif/P\n" },
        { "a patch called like another scan", "scan,patch\nx.png,a\na.png,\n",
          "x.png x/a\na.png a\n" },
        { "a dot at the start is no ending", "scan\n.png\na.\n", ".png .png\na. a\n" },
        { "a folder in the place of a scan", "scan\nx/a.b//\n/\n", "x/a.b// a\n/ /\n" },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        static const char *const names[] = { "m.csv" };
        fleck_text text = { 0 };
        fleck_inputs inputs;

        make_file("m.csv", cases[i].manifest);
        gather(names, 1, &inputs);
        for (size_t k = 0; k < inputs.count; k++) {
            assert_null(inputs.items[k].failure);
            fleck_text_add_format(&text, "%s %s\n", inputs.items[k].path, inputs.items[k].id);
        }
        if (strcmp(text.bytes, cases[i].expected) != 0)
            print_error("%s\n", cases[i].sentence);
        assert_string_equal(text.bytes, cases[i].expected);
        fleck_text_clear(&text);
        fleck_inputs_clear(&inputs);
        unlink("m.csv");
    }
}

static void rows_that_nothing_tells_apart_fail_each(void **state)
{
    (void)state;
    make_scan("a.png");
    make_file("m.csv", "scan,patch\na.png,P\nb.png,\na.png,P\nb.png,\nc.png,P3\na.png,P\n");
    check_list(
        "P < a.png [a.png|P] ! id \"P\" stands twice (lines 2 and 4); give each row its own patch\n"
        "b < b.png [b.png|] ! id \"b\" stands twice (lines 3 and 5); give each row its own patch\n"
        "P < a.png [a.png|P] ! id \"P\" stands twice (lines 2 and 4); give each row its own patch\n"
        "b < b.png [b.png|] ! id \"b\" stands twice (lines 3 and 5); give each row its own patch\n"
        "P3 < c.png [c.png|P3]\n"
        "P < a.png [a.png|P] ! id \"P\" stands twice (lines 2 and 7); give each row its own patch\n",
        "m.csv");
    make_file("n.csv", "scan\na.png\n");
    check_list("a < a.png [] ! id \"a\" stands twice (the scan named by itself and line 2 of n.csv); "
               "give each row its own patch\n"
               "a < a.png [a.png] ! id \"a\" stands twice (the scan named by itself and line 2 of "
               "n.csv); give each row its own patch\n",
               "n.csv", "a.png");
    /* a word of the user's own may look like a made one */
    make_file("o.csv", "scan,patch\nx/a.png,\ny/a.png,\ns.png,x/a\n");
    check_list("x/a < x/a.png [x/a.png|] ! id \"x/a\" stands twice (lines 2 and 4); give each row its "
               "own patch\n"
               "y/a < y/a.png [y/a.png|]\n"
               "x/a < s.png [s.png|x/a] ! id \"x/a\" stands twice (lines 2 and 4); give each row its "
               "own patch\n",
               "o.csv");
}

static void a_file_named_twice_is_taken_once(void **state)
{
    char absolute[64], expected[128];

    (void)state;
    make_folder("d");
    make_scan("d/a.png");
    make_scan("d/b.png");
    make_file("m.csv", "scan\nc.png\n");
    snprintf(absolute, sizeof absolute, "%s/d/a.png", place.folder);
    check_list("a < d/a.png\n", "d/a.png", "d/a.png");
    check_list("a < ./d/a.png\nb < d/b.png\n", "d", "d/a.png", "./d/a.png", "d/../d/a.png");
    check_list("c < ./c.png [c.png]\n", "m.csv", "./m.csv");
    snprintf(expected, sizeof expected, "a < %s\nb < d/b.png\n", absolute);
    check_list(expected, "d", absolute);
}

static void the_order_of_names_changes_nothing(void **state)
{
    static const char *const names[] = { "d", "e/a.png", "m.csv", "e", "n/m.csv", "nowhere" };
    enum { COUNT = sizeof names / sizeof *names };
    fleck_text first = { 0 };
    size_t order[COUNT], permutations = 0;

    (void)state;
    make_folder("d");
    make_folder("e");
    make_folder("n");
    make_folder("d/sub");
    make_scan("d/a.png");
    make_scan("d/sub/a.png");
    make_scan("e/a.png");
    make_file("m.csv", "scan,patch,force\nd/a.png,P1,1\nd/a.png,P1,2\nx.png,,3,\n");
    make_file("n/m.csv", "patch;scan;water\nP1;a.png;80\nP2;b.png;90\n");
    for (size_t code = 0; code < 46656; code++) { /* 6^6 tuples, those without repeats */
        const char *shuffled[COUNT];
        bool used[COUNT] = { false }, whole = true;
        size_t rest = code;
        fleck_inputs inputs;
        fleck_text text;

        for (size_t i = 0; i < COUNT; i++, rest /= COUNT) {
            order[i] = rest % COUNT;
            whole = whole && !used[order[i]];
            used[order[i]] = true;
            shuffled[i] = names[order[i]];
        }
        if (!whole)
            continue;
        permutations++;
        gather(shuffled, COUNT, &inputs);
        text = describe(&inputs);
        for (size_t i = 0; i < inputs.column_count; i++)
            fleck_text_add_format(&text, "%s,", inputs.columns[i]);
        if (first.bytes == NULL)
            fleck_text_add(&first, text.bytes);
        assert_string_equal(text.bytes, first.bytes);
        fleck_text_clear(&text);
        fleck_inputs_clear(&inputs);
    }
    assert_int_equal(permutations, 720);
    assert_non_null(strstr(first.bytes, "sub/a < d/sub/a.png"));
    assert_non_null(strstr(first.bytes, "scan,patch,force,water,"));
    fleck_text_clear(&first);
}

static void a_path_that_is_not_utf8_fails(void **state)
{
    (void)state;
    make_folder("d\xfc");
    make_scan("d\xfc/a.png");
    make_scan("b\xff.png");
    check_list("b? < b\xff.png ! has a path that is not UTF-8; rename the file or its folder\n"
               "a < d\xfc/a.png ! has a path that is not UTF-8; rename the file or its folder\n",
               "b\xff.png", "d\xfc");
}

static void long_texts_leave_messages_whole(void **state)
{
    char manifest[4096] = "scan,patch\n";

    (void)state;
    for (int row = 0; row < 2; row++) {
        strcat(manifest, "a.png,");
        for (int i = 0; i < 500; i++)
            strcat(manifest, "\xc3\xb6");
        strcat(manifest, "x\n");
    }
    make_file("m.csv", manifest);
    {
        static const char *const names[] = { "m.csv" };
        fleck_inputs inputs;

        gather(names, 1, &inputs);
        assert_int_equal(inputs.count, 2);
        assert_memory_equal(inputs.items[0].failure, "id \"...\xc3\xb6\xc3\xb6", 11);
        assert_non_null(strstr(inputs.items[0].failure, "x\" stands twice (lines 2 and 3); give"));
        fleck_inputs_clear(&inputs);
    }
}

static void ten_thousand_rows_are_gathered(void **state)
{
    static const char *const names[] = { "m.csv" };
    fleck_text manifest = { 0 };
    fleck_inputs inputs;

    (void)state;
    fleck_text_add(&manifest, "scan,patch,force\n");
    for (int i = 0; i < 5000; i++)
        fleck_text_add_format(&manifest, "x/%d/a.png,,1\n", i);
    for (int i = 0; i < 4000; i++)
        fleck_text_add_format(&manifest, "x/%d/sheet.png,P%d,1\n", i, i % 7);
    for (int i = 0; i < 1000; i++)
        fleck_text_add(&manifest, "x/twice.png,T,1\n");
    make_file("m.csv", manifest.bytes);
    gather(names, 1, &inputs);
    assert_int_equal(inputs.count, 10000);
    assert_string_equal(inputs.items[77].id, "77/a");
    assert_string_equal(inputs.items[5777].id, "777/P0");
    assert_null(inputs.items[8999].failure);
    assert_non_null(inputs.items[9000].failure);
    fleck_inputs_clear(&inputs);
    fleck_text_clear(&manifest);
}

static void ids_become_safe_file_names(void **state)
{
    static const struct {
        const char *id, *name;
    } cases[] = {
        { "P1", "P1" },
        { "day 1_b-2.x", "day 1_b-2.x" },
        { "day1/a", "day1%2Fa" },
        { "", "%00" },
        { ".", "%2E" },
        { "..", "%2E." },
        { "../../etc", "%2E.%2F..%2Fetc" },
        { "a%2Fb", "a%252Fb" },
        { "a\\b:c*d?e\"f<g>h|i~j", "a%5Cb%3Ac%2Ad%3Fe%22f%3Cg%3Eh%7Ci%7Ej" },
        { "a\nb\x7f", "a%0Ab%7F" },
        { "gr\xc3\xb6\xc3\x9f" "e \xe5\xa2\xa8", "gr\xc3\xb6\xc3\x9f" "e \xe5\xa2\xa8" },
        { "a\xc2\xa0" "b", "a%C2%A0b" },                   /* no-break space */
        { "a\xe2\x80\xae" "b", "a%E2%80%AEb" },            /* right-to-left override */
        { "gr\xfcn", "gr%FCn" },                           /* Latin-1 */
        { "a\xc3", "a%C3" },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char *name = fleck_id_to_file_name(cases[i].id);

        assert_string_equal(name, cases[i].name);
        free(name);
    }
}

static void long_ids_are_cut_and_end_in_a_hash(void **state)
{
    char id[400], other[400];
    char *name, *other_name;

    (void)state;
    memset(id, 'x', 150);
    id[150] = '\0';
    name = fleck_id_to_file_name(id);
    assert_string_equal(name, id);
    free(name);
    id[150] = 'x';
    id[151] = '\0';
    name = fleck_id_to_file_name(id);
    assert_int_equal(strlen(name), 150);
    id[117] = '\0';
    assert_memory_equal(name, id, 117);
    /* from sha256sum of GNU coreutils */
    assert_string_equal(name + 117, "~8EB827E6964DB1E28CAAFB07B408D441");
    free(name);
    /* two that differ at the end alone, and a cut that would fall within a character */
    for (size_t i = 0; i < 199; i++)
        memcpy(id + 2 * i, "\xc3\xb6", 2);
    memcpy(other, id, 396);
    memcpy(id + 396, "a", 2);
    memcpy(other + 396, "b", 2);
    name = fleck_id_to_file_name(id);
    other_name = fleck_id_to_file_name(other);
    assert_string_not_equal(name, other_name);
    assert_int_equal(strlen(name), 116 + 33);
    assert_int_equal(name[116], '~');
    assert_memory_equal(name, other_name, 117);
    free(name);
    free(other_name);
}

static int compare_texts(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

static void no_two_ids_share_a_file_name(void **state)
{
    static const char *const pieces[] = { "%", "2", "F", "/", ".", "~", "\xc3", "\xb6", "%2F", "0" };
    enum { COUNT = 11111 }; /* all ids of up to four pieces */
    static char *ids[COUNT], *names[COUNT];
    size_t count = 0;

    (void)state;
    for (size_t length = 0, most = 1; length <= 4; length++, most *= 10) {
        for (size_t code = 0; code < most; code++, count++) {
            fleck_text id = { 0 };

            fleck_text_add(&id, "");
            for (size_t i = 0, rest = code; i < length; i++, rest /= 10)
                fleck_text_add(&id, pieces[rest % 10]);
            ids[count] = id.bytes;
        }
    }
    assert_int_equal(count, COUNT);
    qsort(ids, count, sizeof *ids, compare_texts);
    count = 0;
    for (size_t i = 0; i < COUNT; i++) {
        if (i == 0 || strcmp(ids[i - 1], ids[i]) != 0)
            names[count++] = fleck_id_to_file_name(ids[i]);
    }
    assert_true(count > 10000); /* some pieces make the same id, such as "%" "2" "F" and "%2F" */
    qsort(names, count, sizeof *names, compare_texts);
    for (size_t i = 0; i < count; i++) {
        assert_true(names[i][0] != '\0' && names[i][0] != '.' && strchr(names[i], '/') == NULL);
        if (i > 0)
            assert_string_not_equal(names[i - 1], names[i]);
    }
    for (size_t i = 0; i < count; i++)
        free(names[i]);
    for (size_t i = 0; i < COUNT; i++)
        free(ids[i]);
}

#define in_a_folder(test) cmocka_unit_test_setup_teardown(test, begin, end)

/* ---- turned and several regions ---- */

static void a_manifest_turns_its_regions(void **state)
{
    fleck_inputs inputs;

    (void)state;
    make_file("t.csv", "scan;region;tilt_deg\na.png;1 2 3 4;-2,5\nb.png;1 2 3 4;\nc.png;;\n"
                       "d.png;;1\ne.png;1 2 3 4;181\n");
    gather((const char *[]){ "t.csv" }, 1, &inputs);
    assert_int_equal(inputs.count, 5);
    check_near("a decimal comma", inputs.items[0].tilt_deg, -2.5, 0);
    assert_null(inputs.items[0].failure);
    assert_string_equal(inputs.items[0].cells[2], "-2,5");
    check_near("none given", inputs.items[1].tilt_deg, 0, 0);
    assert_null(inputs.items[2].failure);
    assert_non_null(strstr(inputs.items[3].failure, "line 5 of the manifest has a tilt and no region"));
    assert_non_null(strstr(inputs.items[4].failure, "has the tilt \"181\""));
    fleck_inputs_clear(&inputs);
}

static void regions_of_a_call_split_the_patches_without_one(void **state)
{
    static const fleck_box_mm regions[] = { { 1, 2, 3, 4 }, { 5, 6, 7, 8 } };
    static const char *const ids[] = { "a-1", "a-2", "b", "c", "d-1", "d-2" };
    fleck_inputs inputs;
    fleck_error err;

    (void)state;
    make_file("s.csv", "scan,patch,region,paste,tilt_deg\nx.png,a,,2.5,\nx.png,b,9 9 1 1,3,4\n"
                       "x.png,c,9 9,,\nx.png,d,,\"q,\",\n");
    gather((const char *[]){ "s.csv" }, 1, &inputs);
    assert_int_equal(fleck_inputs_split_regions(&inputs, regions, 2, 1.5, &err), FLECK_OK);
    assert_int_equal(inputs.count, 6);
    for (size_t i = 0; i < 6; i++)
        assert_string_equal(inputs.items[i].id, ids[i]);
    check_near("the second region", inputs.items[1].region.x_mm, 5, 0);
    check_near("its tilt", inputs.items[1].tilt_deg, 1.5, 0);
    assert_true(inputs.items[0].has_region);
    assert_string_equal(inputs.items[0].cells[3], "2.5");
    assert_string_equal(inputs.items[1].cells[3], "2.5");
    assert_ptr_not_equal(inputs.items[0].cells, inputs.items[1].cells);
    assert_string_equal(inputs.items[5].cells[3], "q,");
    check_near("a region of its own stays", inputs.items[2].region.x_mm, 9, 0);
    check_near("and its tilt", inputs.items[2].tilt_deg, 4, 0);
    assert_non_null(inputs.items[3].failure);
    fleck_inputs_clear(&inputs);
}

static void numbers_that_make_ids_equal_fail_both(void **state)
{
    static const fleck_box_mm regions[] = { { 0, 0, 1, 1 }, { 1, 0, 1, 1 } };
    fleck_inputs inputs;
    fleck_error err;

    (void)state;
    make_file("e.csv", "scan,patch,region\nx.png,a,\nx.png,a-2,5 5 1 1\nx.png,a-3,5 5 1 1\n");
    gather((const char *[]){ "e.csv" }, 1, &inputs);
    assert_int_equal(fleck_inputs_split_regions(&inputs, regions, 2, 0, &err), FLECK_OK);
    assert_int_equal(inputs.count, 4);
    assert_null(inputs.items[0].failure);
    assert_non_null(strstr(inputs.items[1].failure, "\"a-2\" stands twice"));
    assert_non_null(strstr(inputs.items[2].failure, "\"a-2\" stands twice"));
    assert_null(inputs.items[3].failure);
    fleck_inputs_clear(&inputs);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        in_a_folder(a_folder_gives_its_scans_by_content_in_byte_order),
        in_a_folder(pictures_that_fleck_drew_are_no_scans),
        in_a_folder(a_folder_is_joined_with_one_slash),
        in_a_folder(links_to_files_count_and_links_to_folders_do_not),
        in_a_folder(folders_are_walked_down_to_a_bound),
        in_a_folder(a_name_without_patches_is_a_failure),
        in_a_folder(what_may_not_be_read_is_a_failure),
        in_a_folder(a_manifest_carries_its_cells_untouched),
        in_a_folder(a_faulty_row_fails_alone_and_with_its_line),
        in_a_folder(columns_of_several_manifests_are_joined),
        in_a_folder(equal_names_get_the_folders_that_tell_them_apart),
        in_a_folder(rows_that_nothing_tells_apart_fail_each),
        in_a_folder(a_file_named_twice_is_taken_once),
        in_a_folder(the_order_of_names_changes_nothing),
        in_a_folder(a_path_that_is_not_utf8_fails),
        in_a_folder(long_texts_leave_messages_whole),
        in_a_folder(ten_thousand_rows_are_gathered),
        in_a_folder(a_manifest_turns_its_regions),
        in_a_folder(regions_of_a_call_split_the_patches_without_one),
        in_a_folder(numbers_that_make_ids_equal_fail_both),
        cmocka_unit_test(ids_become_safe_file_names),
        cmocka_unit_test(long_ids_are_cut_and_end_in_a_hash),
        cmocka_unit_test(no_two_ids_share_a_file_name),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
