/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The version number lives here only; CMake and the records read it from this file. */
#ifndef FLECK_VERSION_H
#define FLECK_VERSION_H

#include "fleck/export.h"

#ifdef __cplusplus
extern "C" {
#endif

#define FLECK_VERSION "0.1.0"

/* Version of the library that is running, such as "0.1.0"; static storage. Thread-safe. */
FLECK_API const char *fleck_version(void);

#ifdef __cplusplus
}
#endif

#endif
