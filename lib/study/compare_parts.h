/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Inside a comparison: which patches stand for what, and the steps that fill in the result. */
#ifndef FLECK_STUDY_COMPARE_PARTS_H
#define FLECK_STUDY_COMPARE_PARTS_H

#include "fleck/compare.h"

/*
 * Patches are averaged in up to three steps: scans to a print, prints to a unit, units to what one
 * pair has of one group. What comes out are the nodes, the replicates.
 */
typedef struct compare_plan {
    const fleck_study *study;
    size_t groups;
    size_t *group_of_row; /* FLECK_STUDY_NONE: left out */
    size_t print_count, unit_count, node_count;
    size_t *print_of_row; /* FLECK_STUDY_NONE: left out */
    size_t *unit_of_print, *node_of_unit;
    size_t round_count;
    size_t *round_of_row; /* scans of one print that are told apart; NULL without rescans */
    size_t *group_of_node;
    /* rows that count and nodes that have some, in an order that does not depend on how the table
     * was sorted */
    size_t *rows_in_order, *nodes_in_order;
    size_t row_count, nodes_used;
    size_t pairs; /* paired: node = pair * groups + group; else 0 */
} compare_plan;

/*
 * Sort out groups, units and pairs; fills in groups, by, unit, paired and rescan of the result.
 * Ended with compare_plan_clear, on failure too.
 */
fleck_status compare_plan_make(const fleck_study *study, const fleck_compare_options *options,
                               compare_plan *plan, fleck_compare *result, fleck_error *err);
void compare_plan_clear(compare_plan *plan);

/*
 * The weight of each patch in its node's mean, when only some patches have a value.
 * present, weight    one entry for each row; weight is 0 for rows that do not count
 */
fleck_status compare_plan_weights(const compare_plan *plan, const bool *present, double *weight,
                                  fleck_error *err);

/*
 * Means of the nodes, NAN where no patch of it has a value.
 * values    of each row, NAN for missing
 * weight    out: of each row, see compare_plan_weights
 */
fleck_status compare_plan_average(const compare_plan *plan, const double *values, double *weight,
                                  double *means, fleck_error *err);

/* The node of a row that counts. */
size_t compare_plan_node(const compare_plan *plan, size_t row);

/* Make the groups: fills in group_of_row, groups of the plan and of the result. */
fleck_status compare_groups_make(const fleck_compare_options *options, compare_plan *plan,
                                 fleck_compare *result, fleck_error *err);

/* One measure at work: values of rows and of nodes, and room for those of two groups. */
typedef struct compare_bench {
    double *value, *se, *weight; /* by row; se: within the patch, NAN when not known */
    double *mean;                /* by node */
    double *a, *b, *difference;  /* values of two groups, or of pairs */
    size_t *group;
    double *p; /* of one pair of groups, by measure */
    size_t n_a, n_b;
} compare_bench;

/* The numbers of one measure for two groups, which are set in out; p_holm and the verdict come
 * later. */
fleck_status compare_pair(const compare_plan *plan, const fleck_compare_options *options,
                          compare_bench *bench, const fleck_compared_measure *measure,
                          fleck_comparison *out, fleck_error *err);

/* Fill in the comparisons of all measures, but no sentences. */
fleck_status compare_measures(const compare_plan *plan, const fleck_compare_options *options,
                              fleck_compare *result, fleck_error *err);

/* Fill in sizes[]; where dots cannot be read there is a warning instead. */
fleck_status compare_sizes(const compare_plan *plan, const fleck_compare_options *options,
                           fleck_compare *result, fleck_error *err);

/* Warn of what the numbers of all comparisons do not say by themselves. */
fleck_status compare_warn(const compare_plan *plan, fleck_compare *result, fleck_error *err);

/* What the numbers of patches count: "patches", "replicates" or "pairs". */
const char *compare_replicates(const fleck_compare *result, const fleck_comparison *one);

/* Make the sentences. */
fleck_status compare_say(fleck_compare *result, fleck_error *err);

#endif
