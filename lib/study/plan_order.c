/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/plan.h"

#include <string.h>

#include "core/memory.h"
#include "core/random.h"
#include "io/csv.h"

/* What is noted while printing. A factor of the same name takes the column's place. */
static const char *const notes[] = {
    "paste_pct",          "water_ml",         "force_kg",      "block_moisture_pct",
    "paper_moisture_pct", "air_humidity_pct", "temperature_c",
};

/* Names that mean something to a manifest or to the table of a run. */
static const char *const taken[] = {
    "id", "scan", "patch", "region", "tilt_deg", "order", "block", "speckle", "warnings",
};

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the order; free some memory");
}

static bool is_in(const char *name, const char *const *names, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        if (strcmp(name, names[i]) == 0)
            return true;
    }
    return false;
}

static fleck_status check_factor(const fleck_plan_factor *factors, size_t at, fleck_error *err)
{
    const fleck_plan_factor *const factor = &factors[at];

    if (factor->name[0] == '\0')
        return fleck_fail(err, FLECK_BAD_CALL, "a factor has no name; give such as paste_pct=2,3");
    if (is_in(factor->name, taken, sizeof taken / sizeof *taken) ||
        fleck_key_find(factor->name) != NULL)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "%.100s: is a column of its own in a run; give the factor another name",
                          factor->name);
    for (size_t i = 0; i < at; i++) {
        if (strcmp(factors[i].name, factor->name) == 0)
            return fleck_fail(err, FLECK_BAD_CALL,
                              "%.100s: the factor is given twice; name it once", factor->name);
    }
    if (factor->level_count < 2)
        return fleck_fail(
            err, FLECK_BAD_CALL,
            "%.100s: has one level, so nothing could be told of it; give two or more, "
            "such as %.100s=2,3",
            factor->name, factor->name);
    for (size_t i = 0; i < factor->level_count; i++) {
        if (is_in(factor->levels[i], factor->levels, i))
            return fleck_fail(err, FLECK_BAD_CALL,
                              "%.100s: has the level %.100s twice; name it once and give --repeats",
                              factor->name, factor->levels[i]);
    }
    return FLECK_OK;
}

/* Number of prints in a block, 0 when there are too many. */
static size_t count_combinations(const fleck_plan_factor *factors, size_t factor_count,
                                 size_t repeats)
{
    size_t count = 1;

    for (size_t i = 0; i < factor_count; i++) {
        if (!size_mul(count, factors[i].level_count, &count) || count > FLECK_PLAN_PRINTS)
            return 0;
    }
    return repeats <= FLECK_PLAN_PRINTS / count ? count : 0;
}

static void shuffle(fleck_plan_print *prints, size_t count, uint64_t *state)
{
    for (size_t left = count; left > 1; left--) {
        const size_t at = (size_t)(fleck_random_uniform(state) * (double)left);
        const fleck_plan_print other = prints[at];

        prints[at] = prints[left - 1];
        prints[left - 1] = other;
    }
}

fleck_status fleck_plan_order_make(const fleck_plan_factor *factors, size_t factor_count,
                                   size_t repeats, uint64_t seed, fleck_plan_order *out,
                                   fleck_error *err)
{
    uint64_t state = seed;
    size_t combinations;

    *out = (fleck_plan_order){
        .factors = factors, .factor_count = factor_count, .repeats = repeats, .seed = seed
    };
    if (factor_count == 0)
        return fleck_fail(
            err, FLECK_BAD_CALL,
            "no factor is named; give one with its levels, such as paste_pct=2,2.5,3");
    for (size_t i = 0; i < factor_count; i++) {
        const fleck_status status = check_factor(factors, i, err);

        if (status != FLECK_OK)
            return status;
    }
    if (repeats < 1)
        return fleck_fail(err, FLECK_BAD_CALL, "0 repeats: nothing is printed; give 1 or more");
    combinations = count_combinations(factors, factor_count, repeats);
    if (combinations == 0)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "there are more than %d prints; give fewer levels or repeats",
                          FLECK_PLAN_PRINTS);
    out->prints = fleck_alloc_zeroed(combinations * repeats, sizeof *out->prints);
    out->storage = fleck_alloc_array(combinations * repeats * factor_count, sizeof *out->storage);
    if (out->prints == NULL || out->storage == NULL) {
        fleck_plan_order_clear(out);
        return no_memory(err);
    }
    for (size_t block = 0; block < repeats; block++) {
        fleck_plan_print *const prints = out->prints + block * combinations;

        for (size_t i = 0; i < combinations; i++) {
            size_t rest = i;

            prints[i].block = block;
            prints[i].level = out->storage + (block * combinations + i) * factor_count;
            for (size_t f = factor_count; f-- > 0; rest /= factors[f].level_count)
                prints[i].level[f] = rest % factors[f].level_count;
        }
        shuffle(prints, combinations, &state);
    }
    out->print_count = combinations * repeats;
    return FLECK_OK;
}

void fleck_plan_order_clear(fleck_plan_order *order)
{
    if (order == NULL)
        return;
    fleck_free(order->prints);
    fleck_free(order->storage);
    *order = (fleck_plan_order){ 0 };
}

static bool is_factor(const fleck_plan_order *order, const char *name)
{
    for (size_t i = 0; i < order->factor_count; i++) {
        if (strcmp(order->factors[i].name, name) == 0)
            return true;
    }
    return false;
}

char *fleck_plan_order_to_csv(const fleck_plan_order *order)
{
    enum { NOTES = sizeof notes / sizeof *notes };
    fleck_text text = { 0 };
    int digits = 1;

    for (size_t n = order->print_count; n >= 10; n /= 10)
        digits++;
    fleck_text_add(&text, "order,block,");
    for (size_t i = 0; i < order->factor_count; i++)
        fleck_csv_add_cell(&text, order->factors[i].name);
    fleck_csv_add_cell(&text, "scan");
    fleck_csv_add_cell(&text, "patch");
    for (size_t i = 0; i < NOTES; i++) {
        if (!is_factor(order, notes[i]))
            fleck_csv_add_cell(&text, notes[i]);
    }
    fleck_csv_end_row(&text);
    for (size_t p = 0; p < order->print_count; p++) {
        const fleck_plan_print *const print = &order->prints[p];

        fleck_csv_add_number(&text, (double)(p + 1));
        fleck_csv_add_number(&text, (double)(print->block + 1));
        for (size_t i = 0; i < order->factor_count; i++)
            fleck_csv_add_cell(&text, order->factors[i].levels[print->level[i]]);
        fleck_csv_add_cell(&text, "");
        fleck_text_add_format(&text, "p%0*zu,", digits, p + 1);
        for (size_t i = 0; i < NOTES; i++) {
            if (!is_factor(order, notes[i]))
                fleck_csv_add_cell(&text, "");
        }
        fleck_csv_end_row(&text);
    }
    if (text.failed)
        fleck_text_clear(&text);
    return text.bytes;
}
