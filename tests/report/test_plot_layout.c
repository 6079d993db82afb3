/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Nothing that is written on a plot lies on something else or beyond the page, whatever it says. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "report/plot_examples.h"
#include "report/plot_layout.h"
#include "report/plot_swarm.h"
#include "support/check.h"

static void for_each_layout(void (*check)(const plot_layout *layout, const char *name))
{
    for (size_t i = 0; i < plot_example_count; i++) {
        for (int size = FLECK_PLOT_COLUMN; size <= FLECK_PLOT_PAGE; size++) {
            fleck_plot plot = { .size = (fleck_plot_size)size };
            plot_layout layout;
            fleck_error err = { 0 };

            plot_examples[i].fill(&plot);
            assert_int_equal(plot.error.status, FLECK_OK);
            assert_int_equal(plot_layout_make(&plot, &layout, &err), FLECK_OK);
            check(&layout, plot_examples[i].name);
            plot_layout_clear(&layout);
            fleck_plot_clear(&plot);
        }
    }
}

/* What letters cover, without the room for accents that only few lines need. */
static plot_box letters(const plot_text *text)
{
    const double up = 0.76 * text->size_pt, down = 0.2 * text->size_pt;

    if (text->upward)
        return (plot_box){ text->x_pt - up, text->y_pt - text->width_pt, text->x_pt + down,
                           text->y_pt };
    return (plot_box){ text->x_pt, text->y_pt - up, text->x_pt + text->width_pt,
                       text->y_pt + down };
}

static void check_texts(const plot_layout *layout, const char *name)
{
    for (size_t a = 0; a < layout->text_count; a++) {
        const plot_box box = plot_text_box(&layout->texts[a]);

        if (box.left < 0 || box.top < 0 || box.right > layout->width_pt ||
            box.bottom > layout->height_pt)
            fail_msg("%s: \"%s\" lies beyond the page", name, layout->texts[a].string);
        for (size_t b = a + 1; b < layout->text_count; b++) {
            if (plot_boxes_meet(letters(&layout->texts[a]), letters(&layout->texts[b])))
                fail_msg("%s: \"%s\" lies on \"%s\"", name, layout->texts[a].string,
                         layout->texts[b].string);
        }
    }
}

static void no_text_lies_on_another_or_beyond_the_page(void **state)
{
    (void)state;
    for_each_layout(check_texts);
}

/* Texts in the panel are notes alone, and what says that there are no data. */
static void check_panel(const plot_layout *layout, const char *name)
{
    const plot_box *const panel = &layout->panel;

    assert_true(panel->left > 0 && panel->top > 0);
    assert_true(panel->right < layout->width_pt && panel->bottom < layout->height_pt);
    /* the data keep most of the page's width, however long the labels are */
    assert_true(panel->right - panel->left > 0.5 * layout->width_pt);
    for (size_t i = 0; i < layout->text_count; i++) {
        const plot_text *const text = &layout->texts[i];

        if (!text->rimmed && strcmp(text->string, "no data") != 0 &&
            plot_boxes_meet(letters(text), *panel))
            fail_msg("%s: \"%s\" lies on the data", name, text->string);
        /* labels of rules along stay beside the panel, however crowded they are */
        if (text->x_pt > panel->right &&
            (text->y_pt < panel->top || text->y_pt > panel->bottom + 4))
            fail_msg("%s: \"%s\" has left the panel's side", name, text->string);
    }
    for (size_t i = 0; i < layout->key_count; i++) {
        assert_true(layout->keys[i].x_pt >= 0);
        assert_true(layout->keys[i].y_pt + layout->small_pt / 2 < panel->top);
    }
}

static void labels_leave_room_for_the_data(void **state)
{
    (void)state;
    for_each_layout(check_panel);
}

static bool has_text(const plot_layout *layout, const char *part)
{
    for (size_t i = 0; i < layout->text_count; i++) {
        if (strstr(layout->texts[i].string, part) != NULL)
            return true;
    }
    return false;
}

static void what_is_not_shown_is_told(void **state)
{
    static const struct {
        const char *words;
        fleck_plot_scale scale;
        double greatest; /* 0: from the data */
        double x[3];
        const char *told; /* NULL: nothing */
    } cases[] = {
        { "all are shown", FLECK_PLOT_LINEAR, 0, { -1, 0, 1 }, NULL },
        { "one is missing", FLECK_PLOT_LINEAR, 0, { -1, NAN, 1 }, "1 missing value is not shown." },
        { "two are endless",
          FLECK_PLOT_LOG,
          0,
          { INFINITY, -INFINITY, 1 },
          "2 missing values are not shown." },
        { "one is negative",
          FLECK_PLOT_LOG,
          0,
          { -1, 2, 1 },
          "1 value that is not above 0 is not" },
        { "one is 0, one negative",
          FLECK_PLOT_LOG,
          0,
          { -1, 0, 1 },
          "2 values that are not above 0 are not" },
        { "one is too large", FLECK_PLOT_LINEAR, 4, { 1, 2, 5 }, "1 value lies outside the axes." },
        { "two are too large",
          FLECK_PLOT_LINEAR,
          4,
          { 1, 6, 5 },
          "2 values lie outside the axes." },
    };
    static const double y[] = { 1, 2, 3 };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_plot plot = { 0 };
        plot_layout layout;
        char words[64] = "";

        fleck_plot_set_x(
            &plot, &(fleck_plot_axis){ .scale = cases[i].scale, .greatest = cases[i].greatest });
        fleck_plot_add(&plot, &(fleck_plot_series){
                                  .kind = FLECK_PLOT_POINTS, .count = 3, .x = cases[i].x, .y = y });
        assert_int_equal(plot_layout_make(&plot, &layout, NULL), FLECK_OK);
        if (cases[i].told != NULL) {
            /* the line may end within a longer sentence */
            strncat(words, cases[i].told, 30);
            assert_true(has_text(&layout, words));
        } else {
            assert_false(has_text(&layout, "shown"));
            assert_false(has_text(&layout, "outside"));
        }
        plot_layout_clear(&layout);
        fleck_plot_clear(&plot);
    }
}

static void names_whose_words_do_not_fit_stand_upright(void **state)
{
    static const char *const level[] = { "thin paste, little water", "thick paste, much water" };
    static const char *const upright[] = { "Reisst\xc3\xa4rke-2.5", "Weizenst\xc3\xa4rke-2.5",
                                           "Tapioka-2.5", "konzentration-3.0",
                                           "konzentration-3.5" };
    static const struct {
        const char *const *names;
        size_t count;
        bool upright;
    } cases[] = { { level, 2, false }, { upright, 5, true }, { upright, 2, false } };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_plot plot = { 0 };
        plot_layout layout;
        size_t upward = 0;

        fleck_plot_set_x(&plot, &(fleck_plot_axis){ .scale = FLECK_PLOT_NAMES,
                                                    .name_count = cases[i].count,
                                                    .names = cases[i].names });
        assert_int_equal(plot_layout_make(&plot, &layout, NULL), FLECK_OK);
        for (size_t t = 0; t < layout.text_count; t++)
            upward += layout.texts[t].upward;
        assert_int_equal(upward, cases[i].upright ? cases[i].count : 0);
        plot_layout_clear(&layout);
        fleck_plot_clear(&plot);
    }
}

static void long_names_keep_both_ends(void **state)
{
    static const struct {
        const char *text, *start, *end;
    } cases[] = {
        { "paste of two and a half per cent, series of the first of May, proof 17", "paste", "17" },
        { "\xc3\xa4\xc3\xb6\xc3\xbc\xc3\xa4\xc3\xb6\xc3\xbc\xc3\xa4\xc3\xb6\xc3\xbc\xc3\xa4"
          "\xc3\xb6\xc3\xbc\xc3\xa4\xc3\xb6\xc3\xbc\xc3\xa4\xc3\xb6\xc3\xbc",
          "\xc3\xa4\xc3\xb6", "\xc3\xb6\xc3\xbc" },
    };
    plot_fonts fonts;

    (void)state;
    assert_int_equal(plot_fonts_init(&fonts, NULL), FLECK_OK);
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char *const cut = plot_text_shorten(&fonts, cases[i].text, 8, 60);
        const size_t length = strlen(cut), end = strlen(cases[i].end);

        assert_true(plot_text_width(&fonts, cut, 8) <= 60);
        assert_true(plot_text_width(&fonts, cut, 8) > 45);
        assert_non_null(strstr(cut, "\xe2\x80\xa6"));
        assert_memory_equal(cut, cases[i].start, strlen(cases[i].start));
        assert_string_equal(cut + length - end, cases[i].end);
        free(cut);
    }
    plot_fonts_clear(&fonts);
}

static void drop_blanks(char *text)
{
    for (char *from = text, *to = text;; from++) {
        if (*from != ' ' && *from != '\n')
            *to++ = *from;
        if (*from == '\0')
            return;
    }
}

static void texts_are_wrapped_at_blanks_without_loss(void **state)
{
    static const char text[] = "ink and bare,\nthe two phases after thresholding: "
                               "Donaudampfschifffahrtsgesellschaftskapitaenspatent  ends";
    plot_fonts fonts;
    plot_lines lines;
    char joined[300] = "", plain[300] = "";

    (void)state;
    assert_int_equal(plot_fonts_init(&fonts, NULL), FLECK_OK);
    assert_int_equal(plot_text_wrap(&fonts, text, 8, 90, 20, &lines, NULL), FLECK_OK);
    assert_string_equal(lines.line[0], "ink and bare,");
    for (size_t i = 0; i < lines.count; i++) {
        assert_true(plot_text_width(&fonts, lines.line[i], 8) <= 90);
        strcat(joined, lines.line[i]);
    }
    drop_blanks(joined);
    strcpy(plain, text);
    drop_blanks(plain);
    assert_string_equal(joined, plain);
    plot_lines_clear(&lines);

    assert_int_equal(plot_text_wrap(&fonts, text, 8, 90, 2, &lines, NULL), FLECK_OK);
    assert_int_equal(lines.count, 2);
    assert_non_null(strstr(lines.line[1], "\xe2\x80\xa6"));
    plot_lines_clear(&lines);
    assert_int_equal(plot_text_wrap(&fonts, " ", 8, 90, 2, &lines, NULL), FLECK_OK);
    assert_int_equal(lines.count, 0);
    plot_lines_clear(&lines);
    plot_fonts_clear(&fonts);
}

static void points_at_one_place_stand_beside_each_other(void **state)
{
    enum { N = 200 };
    double x[N], y[N];
    int column[N];
    uint64_t seed = 3;

    (void)state;
    for (size_t i = 0; i < N; i++) {
        x[i] = (double)(i % 2);
        y[i] = 100 * test_uniform(&seed);
    }
    y[7] = NAN;
    assert_true(plot_swarm(x, y, N, 2, 30, column));
    for (size_t a = 0; a < N; a++) {
        for (size_t b = 0; b < a; b++) {
            if (x[a] == x[b] && column[a] == column[b] && fabs(y[a] - y[b]) < 2)
                fail_msg("points %zu and %zu touch", a, b);
        }
        assert_in_range(column[a] + 30, 20, 40);
    }

    /* no farther from the middle than they must */
    for (size_t i = 0; i < 6; i++) {
        x[i] = 0;
        y[i] = i < 3 ? 10 : 20 * (double)i;
    }
    assert_true(plot_swarm(x, y, 6, 2, 30, column));
    assert_int_equal(column[0], 0);
    assert_int_equal(column[1], 1);
    assert_int_equal(column[2], -1);
    for (size_t i = 3; i < 6; i++)
        assert_int_equal(column[i], 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_text_lies_on_another_or_beyond_the_page),
        cmocka_unit_test(labels_leave_room_for_the_data),
        cmocka_unit_test(what_is_not_shown_is_told),
        cmocka_unit_test(names_whose_words_do_not_fit_stand_upright),
        cmocka_unit_test(long_names_keep_both_ends),
        cmocka_unit_test(texts_are_wrapped_at_blanks_without_loss),
        cmocka_unit_test(points_at_one_place_stand_beside_each_other),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
