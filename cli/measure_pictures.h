/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The pictures of fleck measure: options, drawing while it runs, the contact sheet at its end. */
#ifndef FLECK_CLI_MEASURE_PICTURES_H
#define FLECK_CLI_MEASURE_PICTURES_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/fleck.h"

typedef struct cli_pictures {
    bool wanted;
    fleck_overlay_options options;
    const char *sheet_by;   /* column that orders the contact sheet; NULL: as measured */
    const char *run_folder; /* NULL without one */

    /* while it runs; a slot of each input */
    const fleck_inputs *inputs; /* not looked at by the clear */
    size_t slots;
    bool *measured;
    char **failures; /* what was wrong with its picture */
    size_t next;
} cli_pictures;

cli_pictures cli_pictures_default(void);

/* Check the options against each other and the inputs. Returns -1, or the exit code when all is said. */
int cli_pictures_begin(cli_pictures *pictures, const char *run_folder, const fleck_inputs *inputs);

/* For the members `patch` and `record` of an observer; nothing is done unless pictures are wanted. */
fleck_status cli_pictures_patch(cli_pictures *pictures, const fleck_patch_view *view,
                                fleck_error *err);
void cli_pictures_record(cli_pictures *pictures, const fleck_record *record);

/* Write the contact sheet and say what was wrong. Returns the exit code. */
int cli_pictures_end(cli_pictures *pictures);

void cli_pictures_clear(cli_pictures *pictures);

#endif
