/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What relate finds, in plain words. */
#ifndef FLECK_STUDY_RELATE_SENTENCE_H
#define FLECK_STUDY_RELATE_SENTENCE_H

#include <stdbool.h>

#include "fleck/relate.h"

/*
 * "each 1 % more paste: dots 0.05 mm smaller (95 % interval 0.03 to 0.07; p < 0.001, 18 patches)".
 *
 * effect    all but its sentence filled
 * bends     its factor stands in the fit by a power above 1
 *
 * Freed with fleck_free(); NULL without memory.
 */
char *fleck_relate_effect_sentence(const fleck_relate *result, const fleck_relate_measure *measure,
                                   const fleck_relate_effect *effect, bool bends);

/* The same for the recipe, all but its sentence filled. */
char *fleck_relate_recipe_sentence(const fleck_relate *result);

#endif
