/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/version.h"

const char *fleck_version(void)
{
    return FLECK_VERSION;
}
