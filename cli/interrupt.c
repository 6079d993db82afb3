/* SPDX-License-Identifier: GPL-3.0-or-later */
#define _DEFAULT_SOURCE
#include "interrupt.h"

#include <signal.h>
#include <stdatomic.h>
#include <stddef.h>

static atomic_int caught; /* lock-free, so that a handler may write it */

static const struct {
    int number;
    const char *name;
} signals[] = { { SIGINT, "SIGINT" }, { SIGTERM, "SIGTERM" }, { SIGHUP, "SIGHUP" } };

static void note(int number)
{
    atomic_store(&caught, number);
}

void cli_interrupt_begin(void)
{
    for (size_t i = 0; i < sizeof signals / sizeof *signals; i++) {
        struct sigaction before, action = { .sa_handler = note };

        sigemptyset(&action.sa_mask);
        action.sa_flags = (int)(SA_RESTART | SA_RESETHAND);
        if (sigaction(signals[i].number, NULL, &before) == 0 && before.sa_handler != SIG_IGN)
            (void)sigaction(signals[i].number, &action, NULL);
    }
}

int cli_interrupted(void)
{
    return atomic_load(&caught);
}

const char *cli_signal_name(int number)
{
    for (size_t i = 0; i < sizeof signals / sizeof *signals; i++) {
        if (signals[i].number == number)
            return signals[i].name;
    }
    return "a signal";
}
