/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Every step is taken from an open folder (openat), so that a path that grows long, or a folder
 * that is moved meanwhile, changes nothing; links to folders are not followed.
 */
#include "core/memory.h"
#include "record/input_parts.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* One open folder each; deeper than any order of prints. Common practice, no source. */
enum { DEEPEST = 64 };

struct walk {
    fleck_sources *sources;
    fleck_inputs *inputs;
    fleck_error *err;
};

/* The beginnings of the formats fleck reads. Sources: PNG 5.2 (W3C 2003), TIFF 6.0, BigTIFF, JFIF.
 */
static bool is_scan(const char *bytes, size_t size)
{
    static const struct {
        const char *bytes;
        size_t size;
    } beginnings[] = {
        { "\x89PNG", 4 }, { "II*\0", 4 }, { "MM\0*", 4 },
        { "II+\0", 4 },   { "MM\0+", 4 }, { "\xff\xd8\xff", 3 },
    };

    for (size_t i = 0; i < sizeof beginnings / sizeof *beginnings; i++) {
        if (size >= beginnings[i].size &&
            memcmp(bytes, beginnings[i].bytes, beginnings[i].size) == 0)
            return true;
    }
    return false;
}

/* Takes path over. */
static fleck_status look_at_file(struct walk *walk, int folder, const struct stat *about_folder,
                                 const char *name, char *path)
{
    char bytes[4];
    ssize_t got = -1;
    fleck_status status = FLECK_OK;
    const int descriptor = openat(folder, name, O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOCTTY);

    if (descriptor >= 0) {
        do
            got = pread(descriptor, bytes, sizeof bytes, 0);
        while (got < 0 && errno == EINTR);
        close(descriptor);
    }
    if (got < 0) {
        /* it may be a scan: passing it over in silence would lose a patch */
        status = fleck_inputs_fail(walk->inputs, path, "cannot be opened; check its permissions",
                                   walk->err);
    } else if (is_scan(bytes, (size_t)got)) {
        return fleck_sources_add(walk->sources, path, about_folder->st_dev, about_folder->st_ino,
                                 false, walk->err);
    }
    fleck_free(path);
    return status;
}

static bool is_there(int folder, const char *name)
{
    struct stat about;

    return fstatat(folder, name, &about, 0) == 0;
}

/* What fleck drew itself: pictures and plots of a run, and the NAME-preview.png of fleck locate. */
static bool is_own_picture(int folder, const char *name, bool is_folder)
{
    static const char ending[] = "-preview.png";
    const size_t length = strlen(name), mark = sizeof ending - 1;
    char layout[256]; /* no name in a folder is longer */

    if (is_folder)
        return (strcmp(name, "pictures") == 0 || strcmp(name, "plots") == 0) &&
               is_there(folder, "run.json") && is_there(folder, "records");
    if (length <= mark || length >= sizeof layout || strcmp(name + length - mark, ending) != 0)
        return false;
    memcpy(layout, name, length - mark);
    memcpy(layout + length - mark, ".csv", sizeof ".csv");
    return is_there(folder, layout);
}

static fleck_status walk_folder(struct walk *walk, int above, const char *name, const char *path,
                                int depth)
{
    /* the named folder itself may be a link */
    const int flags = O_RDONLY | O_DIRECTORY | O_CLOEXEC | (depth > 0 ? O_NOFOLLOW : 0);
    struct stat about_folder;
    struct dirent *one;
    fleck_status status = FLECK_OK;
    DIR *folder = NULL;
    const int descriptor = openat(above, name, flags);

    if (descriptor < 0 || fstat(descriptor, &about_folder) != 0 ||
        (folder = fdopendir(descriptor)) == NULL) {
        if (descriptor >= 0)
            close(descriptor);
        return fleck_inputs_fail(walk->inputs, path, "cannot be opened; check its permissions",
                                 walk->err);
    }
    while (status == FLECK_OK && (errno = 0, one = readdir(folder)) != NULL) {
        struct stat about;
        char *below;

        if (one->d_name[0] == '.')
            continue;
        if (fstatat(descriptor, one->d_name, &about, AT_SYMLINK_NOFOLLOW) != 0)
            continue; /* gone since */
        if (S_ISLNK(about.st_mode) &&
            (fstatat(descriptor, one->d_name, &about, 0) != 0 || S_ISDIR(about.st_mode)))
            continue;
        if (!S_ISDIR(about.st_mode) && !S_ISREG(about.st_mode))
            continue;
        if (is_own_picture(descriptor, one->d_name, S_ISDIR(about.st_mode)))
            continue;
        below = fleck_path_join(path, strlen(path), one->d_name);
        if (below == NULL) {
            status = fleck_inputs_no_memory(walk->err);
        } else if (S_ISREG(about.st_mode)) {
            status = look_at_file(walk, descriptor, &about_folder, one->d_name, below);
        } else {
            if (depth < DEEPEST)
                status = walk_folder(walk, descriptor, one->d_name, below, depth + 1);
            else
                status = fleck_inputs_fail(walk->inputs, below,
                                           "lies more than 64 folders deep; name it by itself",
                                           walk->err);
            fleck_free(below);
        }
    }
    if (status == FLECK_OK && errno != 0)
        status = fleck_inputs_fail(walk->inputs, path, "cannot be read to its end; check the disk",
                                   walk->err);
    closedir(folder);
    return status;
}

fleck_status fleck_input_folder(const char *path, fleck_sources *sources, fleck_inputs *inputs,
                                fleck_error *err)
{
    const size_t sources_before = sources->count, failures_before = inputs->failure_count;
    struct walk walk = { .sources = sources, .inputs = inputs, .err = err };
    fleck_status status = walk_folder(&walk, AT_FDCWD, path, path, 0);

    if (status == FLECK_OK && sources->count == sources_before &&
        inputs->failure_count == failures_before)
        status = fleck_inputs_fail(
            inputs, path, "holds no PNG, TIFF or JPEG scan; name the folder that does", err);
    return status;
}
