/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Saying what columns there are when one is asked for that is not. */
#include <stdint.h>
#include <string.h>

#include "core/text.h"
#include "study/study_table.h"

enum { LONGEST_WORD = 64, MOST_LISTED = 12 };

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

/* The column nearest to a name, by about one slip in three letters; NULL when none is near. */
static const char *nearest(const fleck_study *study, const char *name)
{
    const char *best = NULL;
    size_t best_distance = strlen(name) / 3 + 2;

    for (size_t i = 0; i < study->column_count; i++) {
        const size_t d = distance(name, study->columns[i].name);

        if (d < best_distance) {
            best_distance = d;
            best = study->columns[i].name;
        }
    }
    return best;
}

/* "a, b, c": the columns of the user's own. */
static void list_factors(const fleck_study *study, char *list, size_t size)
{
    size_t used = 0, listed = 0;

    list[0] = '\0';
    for (size_t i = 0; i < study->column_count; i++) {
        const char *const name = study->columns[i].name;
        const size_t length = strlen(name);

        if (study->columns[i].is_measure || strcmp(name, "id") == 0 ||
            strcmp(name, "speckle") == 0 || strcmp(name, "warnings") == 0)
            continue;
        if (listed == MOST_LISTED || used + length + 8 > size) {
            memcpy(list + used, " ...", 5);
            return;
        }
        if (listed > 0) {
            memcpy(list + used, ", ", 2);
            used += 2;
        }
        memcpy(list + used, name, length + 1);
        used += length;
        listed++;
    }
}

fleck_status fleck_study_need_column(const fleck_study *study, const char *name, const char *kind,
                                     size_t *column, fleck_error *err)
{
    const char *near;
    char list[256];

    *column = fleck_study_find_column(study, name);
    if (*column != FLECK_STUDY_NONE)
        return FLECK_OK;
    if (fleck_key_find(name) != NULL && fleck_key_find(name)->measure != 0)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "%s: this run does not have the measure; measure again with this version "
                          "of fleck",
                          name);
    near = nearest(study, name);
    if (near != NULL)
        return fleck_fail(err, FLECK_BAD_CALL, "%.100s: no such %s; did you mean %.100s?", name,
                          kind, near);
    if (strcmp(kind, "measure") == 0)
        return fleck_fail(err, FLECK_BAD_CALL, "%.100s: no such measure; fleck describe lists them",
                          name);
    list_factors(study, list, sizeof list);
    if (list[0] == '\0')
        return fleck_fail(err, FLECK_BAD_CALL,
                          "%.100s: no such %s; the run has none, measure from a manifest with one",
                          name, kind);
    return fleck_fail(err, FLECK_BAD_CALL, "%.100s: no such %s; there are %s", name, kind, list);
}
