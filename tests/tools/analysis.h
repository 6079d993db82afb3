/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Included before each source by the tools that follow its paths (run.sh). They see one file at a time, so
 * that they cannot know that a failing line fails: fleck_fail returns the status it is given.
 */
#define _DEFAULT_SOURCE /* as those sources do that need it, before any header of the system */
#include "calibrate/calibration.h"
#include "fleck/error.h"
#include "record/input_parts.h"
#include "record/patch_parts.h"
#include "study/edition_parts.h"
#undef _DEFAULT_SOURCE /* the sources define it once more */

#define fleck_fail(err, status, ...) ((void)fleck_fail(err, status, __VA_ARGS__), (status))
#define fleck_calibration_no_memory(err) ((void)fleck_calibration_no_memory(err), FLECK_NO_RESOURCE)
#define fleck_edition_no_memory(err) ((void)fleck_edition_no_memory(err), FLECK_NO_RESOURCE)
#define fleck_inputs_no_memory(err) ((void)fleck_inputs_no_memory(err), FLECK_NO_RESOURCE)
#define fleck_patch_no_memory(err) ((void)fleck_patch_no_memory(err), FLECK_NO_RESOURCE)
