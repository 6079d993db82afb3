/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A PNG in memory as cairo reads it. */
#ifndef FLECK_TESTS_PNG_SURFACE_H
#define FLECK_TESTS_PNG_SURFACE_H

#include <cairo.h>
#include <stddef.h>

/* The caller ends it with cairo_surface_destroy(); its status says whether it could be read. */
cairo_surface_t *png_surface(const unsigned char *bytes, size_t size);

#endif
