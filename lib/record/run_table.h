/* SPDX-License-Identifier: GPL-3.0-or-later */
/* patches.csv: a row for each patch that was measured. */
#ifndef FLECK_RECORD_RUN_TABLE_H
#define FLECK_RECORD_RUN_TABLE_H

#include "core/text.h"
#include "fleck/inputs.h"
#include "fleck/record.h"

void fleck_run_table_header(fleck_text *text, const fleck_inputs *inputs);
void fleck_run_table_row(fleck_text *text, const fleck_inputs *inputs, const fleck_input *input,
                         const fleck_record *record);

#endif
