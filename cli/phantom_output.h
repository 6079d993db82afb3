/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What drawing a tile and drawing a sheet have in common: the files beside the picture. */
#ifndef FLECK_CLI_PHANTOM_OUTPUT_H
#define FLECK_CLI_PHANTOM_OUTPUT_H

/* Write a text the library made (NULL: it had no memory), and free it. Returns the exit code. */
int phantom_write_text(const char *path, char *text);

/* Write a truth beside its picture: "folder/name.truth.json" for "folder/name.png". Frees it too. */
int phantom_write_truth(const char *picture, char *truth);

#endif
