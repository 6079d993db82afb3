/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Small runs for the tests of study commands, made in a folder of their own. */
#ifndef FLECK_TESTS_RUN_FILES_H
#define FLECK_TESTS_RUN_FILES_H

#include "fleck/record.h"

/* Make a temporary folder and go there; for cmocka's setup of a group. */
int runs_begin(void **state);

/* Remove the folder and all in it. */
int runs_end(void **state);

/* Write a file below the folder; folders above it are made. */
void run_put(const char *path, const char *text);

/*
 * Write a run of its patches.csv, and a record for each id in its first column.
 *
 * change    called with each record before it is written, NULL: all are measured the same way
 */
void run_put_all(const char *run, const char *table,
                 void (*change)(fleck_record *record, const char *id));

#endif
