/* SPDX-License-Identifier: GPL-3.0-or-later */
/* FLECK_API marks what libfleck shows to its users; everything else stays hidden in the library. */
#ifndef FLECK_EXPORT_H
#define FLECK_EXPORT_H

#if defined(__GNUC__)
#define FLECK_API __attribute__((visibility("default")))
#define FLECK_PRINTF(format_at, first_at) __attribute__((format(printf, format_at, first_at)))
#else
#define FLECK_API
#define FLECK_PRINTF(format_at, first_at)
#endif

#endif
