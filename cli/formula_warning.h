/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FLECK_CLI_FORMULA_WARNING_H
#define FLECK_CLI_FORMULA_WARNING_H

#include "fleck/inputs.h"

/*
 * Say on stderr, once for each column, what of patches.csv a spreadsheet would take for a formula: ids,
 * and the manifest's own cells, which are carried untouched. A scan or a manifest from a stranger can
 * hold one that does harm.
 */
void cli_warn_of_formulas(const fleck_inputs *inputs);

#endif
