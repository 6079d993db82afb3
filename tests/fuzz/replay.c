/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Gives each file of the folders named to the fuzz target: the seeds as a normal test, where no
 * libFuzzer is at hand. Folders within them are entered.
 */
#include <dirent.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);

static int replay_file(const char *path, size_t size)
{
    FILE *stream = fopen(path, "rb");
    uint8_t *bytes = malloc(size > 0 ? size : 1);
    int count = 0;

    if (stream != NULL && bytes != NULL && fread(bytes, 1, size, stream) == size) {
        LLVMFuzzerTestOneInput(bytes, size);
        count = 1;
    } else {
        fprintf(stderr, "%s cannot be read\n", path);
    }
    free(bytes);
    if (stream != NULL)
        fclose(stream);
    return count;
}

static int replay(const char *path)
{
    struct stat about;
    struct dirent *entry;
    DIR *folder;
    int count = 0;

    if (stat(path, &about) != 0)
        return 0;
    if (!S_ISDIR(about.st_mode))
        return replay_file(path, (size_t)about.st_size);
    folder = opendir(path);
    while (folder != NULL && (entry = readdir(folder)) != NULL) {
        char inside[1024];
        const int length = snprintf(inside, sizeof inside, "%s/%s", path, entry->d_name);

        if (entry->d_name[0] != '.' && length > 0 && (size_t)length < sizeof inside)
            count += replay(inside);
    }
    if (folder != NULL)
        closedir(folder);
    return count;
}

int main(int argc, char **argv)
{
    int count = 0;

    for (int i = 1; i < argc; i++)
        count += replay(argv[i]);
    printf("%d inputs\n", count);
    return count > 0 ? 0 : 1;
}
