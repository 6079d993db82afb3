/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/run_table.h"

#include "io/csv.h"

void fleck_run_table_header(fleck_text *text, const fleck_inputs *inputs)
{
    size_t count;
    const fleck_key *keys = fleck_keys(&count);

    fleck_csv_add_cell(text, "id");
    for (size_t i = 0; i < inputs->column_count; i++)
        fleck_csv_add_cell(text, inputs->columns[i]);
    for (size_t i = 0; i < count; i++) {
        if (keys[i].measure)
            fleck_csv_add_cell(text, keys[i].key);
    }
    fleck_csv_add_cell(text, "speckle");
    fleck_csv_add_cell(text, "warnings");
    fleck_csv_end_row(text);
}

void fleck_run_table_row(fleck_text *text, const fleck_inputs *inputs, const fleck_input *input,
                         const fleck_record *record)
{
    size_t count;
    const fleck_key *keys = fleck_keys(&count);
    fleck_text codes = { 0 };

    fleck_csv_add_cell(text, record->id);
    for (size_t i = 0; i < inputs->column_count; i++)
        fleck_csv_add_cell(text, input->cells != NULL ? input->cells[i] : "");
    for (size_t i = 0; i < count; i++) {
        if (!keys[i].measure)
            continue;
        if (keys[i].kind == FLECK_KEY_TEXT) {
            const char *const value = fleck_record_text(record, &keys[i]);

            fleck_csv_add_cell(text, value != NULL ? value : "");
        } else {
            fleck_csv_add_number(text, fleck_record_number(record, &keys[i]));
        }
    }
    fleck_csv_add_cell(text, record->speckle != NULL ? record->speckle : "");
    for (size_t i = 0; i < record->warnings.count; i++)
        fleck_text_add_format(&codes, "%s%s", i > 0 ? " " : "", record->warnings.items[i].code);
    fleck_csv_add_cell(text, codes.length > 0 ? codes.bytes : "");
    fleck_csv_end_row(text);
    text->failed = text->failed || codes.failed;
    fleck_text_clear(&codes);
}
