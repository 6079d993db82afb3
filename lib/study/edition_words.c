/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "study/edition_words.h"

#include <math.h>
#include <string.h>

#include "fleck/record.h"
#include "study/relate_words.h"

/* A sentence names no more stretches of prints than these. */
enum { MOST_STRETCHES = 6 };

const char *fleck_edition_label(const char *measure)
{
    const fleck_key *const key = fleck_key_find(measure);

    return key != NULL ? key->label : measure;
}

void fleck_edition_add_range(fleck_text *text, const fleck_edition *edition, size_t first, size_t last)
{
    if (first == last)
        fleck_text_add_format(text, "print %s", edition->prints[first].name);
    else
        fleck_text_add_format(text, "prints %s to %s", edition->prints[first].name,
                              edition->prints[last].name);
}

static bool has(const fleck_edition_list *list, size_t print)
{
    for (size_t i = 0; i < list->count; i++) {
        if (list->items[i] == print)
            return true;
    }
    return false;
}

/* The next stretch of prints in the list from `from` on; false when there is none. */
static bool next_stretch(const fleck_edition *edition, const fleck_edition_list *list, size_t from,
                         size_t *first, size_t *last)
{
    for (*first = from; *first < edition->print_count && !has(list, *first);)
        ++*first;
    if (*first == edition->print_count)
        return false;
    for (*last = *first; *last + 1 < edition->print_count && has(list, *last + 1);)
        ++*last;
    if (*last == *first + 1) /* two are named one by one */
        *last = *first;
    return true;
}

void fleck_edition_add_list(fleck_text *text, const fleck_edition *edition,
                            const fleck_edition_list *list)
{
    size_t first, last, named = 0, stretches = 0;

    fleck_text_add(text, list->count == 1 ? "print" : "prints");
    for (size_t from = 0; next_stretch(edition, list, from, &first, &last); from = last + 1) {
        const size_t here = last - first + 1;

        if (stretches == MOST_STRETCHES) {
            fleck_text_add_format(text, " and %zu more", list->count - named);
            return;
        }
        fleck_text_add(text, stretches == 0                  ? " "
                             : named + here == list->count ? " and "
                                                           : ", ");
        fleck_text_add(text, edition->prints[first].name);
        if (here > 1)
            fleck_text_add_format(text, " to %s", edition->prints[last].name);
        named += here;
        stretches++;
    }
}

void fleck_edition_add_value(fleck_text *text, const char *measure, double value, double uncertainty)
{
    const fleck_key *const key = fleck_key_find(measure);

    fleck_words_add_rounded(text, value, uncertainty);
    if (key == NULL || key->unit[0] == '\0')
        return;
    if (strncmp(key->unit, "1/", 2) == 0)
        fleck_text_add_format(text, " per %s", key->unit + 2);
    else
        fleck_text_add_format(text, " %s", key->unit);
}

/* "0.4 % (0.0010)" of the level before: two digits, which is what such fits carry. */
static void add_amount(fleck_text *text, const fleck_edition_measure *measure, double amount)
{
    const double size = fabs(amount);

    if (measure->change_before != 0) {
        const double percent = 100 * size / fabs(measure->change_before);

        fleck_words_add_rounded(text, percent, percent / 5);
        fleck_text_add(text, " % (");
    }
    fleck_edition_add_value(text, measure->measure, size, size / 5);
    if (measure->change_before != 0)
        fleck_text_add(text, ")");
}

void fleck_edition_add_change(fleck_text *text, const fleck_edition *edition,
                              const fleck_edition_measure *measure)
{
    const char *const label = fleck_edition_label(measure->measure);
    const size_t first = measure->change_first, last = edition->print_count - 1;
    const double step = measure->change_after - measure->change_before;

    if (strcmp(measure->change, "outlier") == 0) {
        fleck_edition_add_list(text, edition, &measure->outliers);
        fleck_text_add_format(text, " %s apart from the others in %s",
                              measure->outliers.count == 1 ? "stands" : "stand", label);
    } else if (strcmp(measure->change, "step") == 0) {
        fleck_edition_add_range(text, edition, first, last);
        fleck_text_add_format(text, " have shifted: %s is ", label);
        add_amount(text, measure, step);
        fleck_text_add(text, step > 0 ? " higher than before" : " lower than before");
    } else {
        const bool all = strcmp(measure->change, "drift") == 0;

        if (all) {
            fleck_text_add_format(text, "the whole edition drifts: %s ", label);
        } else {
            fleck_edition_add_range(text, edition, first, last);
            fleck_text_add_format(text, " have drifted: from %s on %s ", edition->prints[first].name,
                                  label);
        }
        fleck_text_add(text, measure->change_slope > 0 ? "rises by " : "falls by ");
        add_amount(text, measure, measure->change_slope);
        fleck_text_add(text, " a print");
        if (all) {
            fleck_text_add(text, ", in all by ");
            add_amount(text, measure, step);
        }
    }
}
