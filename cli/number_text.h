/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Numbers with no more digits than their uncertainty leaves them. */
#ifndef FLECK_CLI_NUMBER_TEXT_H
#define FLECK_CLI_NUMBER_TEXT_H

enum { CLI_NUMBER_BYTES = 48, CLI_DECIMALS_UNKNOWN = 100 };

/*
 * Decimal places at which an uncertainty (a standard error, half an interval) has two significant
 * digits: 3 for 0.012, -1 for 120. CLI_DECIMALS_UNKNOWN where it is 0, not finite or NAN.
 */
int cli_decimals(double uncertainty);

/*
 * A number at these decimal places, "-" for NAN. Negative places round to tens, hundreds and so on;
 * CLI_DECIMALS_UNKNOWN gives four significant digits.
 */
const char *cli_number_decimals(char text[CLI_NUMBER_BYTES], double value, int decimals);

/* A number at the decimal places of its uncertainty. */
const char *cli_number_rounded(char text[CLI_NUMBER_BYTES], double value, double uncertainty);

/* A p-value with two significant digits: "0.032", "< 0.0001", "-" for NAN. */
const char *cli_number_p(char text[CLI_NUMBER_BYTES], double p);

#endif
