/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * All of libfleck.
 *
 * Threads: functions keep no state between calls, but for fleck_set_memory_hooks. They can be called from
 * several threads at once as long as no two work on the same object and no two write the same file or folder.
 * What else holds is said where it does.
 *
 * Memory: who gives an argument keeps it, unless it says otherwise; "borrowed" tells until when it must stay.
 * Outputs of a call that fails are empty, or to be ended all the same where that is said.
 *
 * Errors: functions that can fail return a fleck_status and fill *err, which may be NULL. Numbers that cannot be
 * given are NAN, and no error.
 */
#ifndef FLECK_FLECK_H
#define FLECK_FLECK_H

#include "fleck/calibration.h"
#include "fleck/compare.h"
#include "fleck/contact.h"
#include "fleck/edition.h"
#include "fleck/error.h"
#include "fleck/file.h"
#include "fleck/gather.h"
#include "fleck/geometry.h"
#include "fleck/inputs.h"
#include "fleck/locate.h"
#include "fleck/measure.h"
#include "fleck/memory.h"
#include "fleck/overlay.h"
#include "fleck/pattern.h"
#include "fleck/phantom.h"
#include "fleck/phantom_sheet.h"
#include "fleck/plan.h"
#include "fleck/plot.h"
#include "fleck/plots.h"
#include "fleck/print_noise.h"
#include "fleck/random_set.h"
#include "fleck/record.h"
#include "fleck/relate.h"
#include "fleck/report.h"
#include "fleck/run_plots.h"
#include "fleck/scan.h"
#include "fleck/segment.h"
#include "fleck/shape.h"
#include "fleck/size_distribution.h"
#include "fleck/study.h"
#include "fleck/texture.h"
#include "fleck/tone.h"
#include "fleck/version.h"

#endif
