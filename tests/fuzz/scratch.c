/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "scratch.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char folder[SCRATCH_PATH_BYTES];

void scratch_remove(const char *path)
{
    struct stat about;
    struct dirent *entry;
    DIR *opened;

    if (lstat(path, &about) != 0)
        return;
    opened = S_ISDIR(about.st_mode) ? opendir(path) : NULL;
    while (opened != NULL && (entry = readdir(opened)) != NULL) {
        char inside[4 * SCRATCH_PATH_BYTES];
        const int length = snprintf(inside, sizeof inside, "%s/%s", path, entry->d_name);

        if (strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0 && length > 0 &&
            (size_t)length < sizeof inside)
            scratch_remove(inside);
    }
    if (opened != NULL)
        closedir(opened);
    remove(path);
}

static void end(void)
{
    scratch_remove(folder);
}

const char *scratch_folder(void)
{
    const char *const parent = getenv("TMPDIR");

    if (folder[0] != '\0')
        return folder;
    snprintf(folder, sizeof folder, "%.200s/fleck-fuzz-XXXXXX", parent != NULL ? parent : "/tmp");
    if (mkdtemp(folder) == NULL || atexit(end) != 0) {
        perror("a folder for the files of the fuzz target");
        exit(1);
    }
    return folder;
}

void scratch_put(const char *name, const void *bytes, size_t size)
{
    char path[2 * SCRATCH_PATH_BYTES];
    FILE *stream;

    snprintf(path, sizeof path, "%s/%.200s", scratch_folder(), name);
    stream = fopen(path, "wb");
    if (stream == NULL || fwrite(bytes, 1, size, stream) != size || fclose(stream) != 0) {
        perror(path);
        exit(1);
    }
}
