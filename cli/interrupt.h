/* SPDX-License-Identifier: GPL-3.0-or-later */
/* SIGINT, SIGTERM and SIGHUP as a wish to stop; the second one ends the program at once. */
#ifndef FLECK_CLI_INTERRUPT_H
#define FLECK_CLI_INTERRUPT_H

/* Take the signals from here on, those aside that the caller of the program wants ignored. */
void cli_interrupt_begin(void);

/* The signal that came, 0 while none has. Any thread may ask. */
int cli_interrupted(void);

/* "SIGINT" and so on. */
const char *cli_signal_name(int number);

#endif
