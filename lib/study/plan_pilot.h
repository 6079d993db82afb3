/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A pilot run as groups of units, and how much units of one group differ. */
#ifndef FLECK_STUDY_PLAN_PILOT_H
#define FLECK_STUDY_PLAN_PILOT_H

#include "fleck/plan.h"

/* Start from {0}. */
typedef struct fleck_plan_pilot {
    const fleck_study *study; /* borrowed; NULL: there is no pilot */
    size_t *group_of_row;
    size_t group_count;
    fleck_study_units units;
    size_t *group_of_unit;
} fleck_plan_pilot;

/*
 * unit_name    out: what the units are, "patch" or a column; the caller's
 * Errors: FLECK_BAD_CALL (no such column), FLECK_NO_RESOURCE; to be cleared in any case.
 */
fleck_status fleck_plan_pilot_read(fleck_plan_pilot *pilot, const fleck_study *study,
                                   const fleck_plan_options *options, char **unit_name,
                                   fleck_error *err);
void fleck_plan_pilot_clear(fleck_plan_pilot *pilot);

/*
 * Mean, sd, sd_df, sd_high and units of a measure's number: sd is that of the units' means within
 * the groups, pooled; the number keeps its NAN where there are not two units in any group. Errors:
 * FLECK_BAD_CALL (a text in the column), FLECK_NO_RESOURCE.
 */
fleck_status fleck_plan_pilot_spread(const fleck_plan_pilot *pilot, size_t column,
                                     fleck_plan_number *number, fleck_error *err);

#endif
