/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>

#include "fleck/version.h"

int main(void)
{
    printf("fleck %s\n", fleck_version());
    return 0;
}
