/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Write, sync, rename, sync the folder: what stands under the final name is complete at every
 * moment, also after a crash of the machine. Source: POSIX.1-2017, rename().
 */
#include "io/whole_file.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/memory.h"

static const char ending[] = ".partXXXXXX"; /* the six are mkstemp's */

struct fleck_whole_file {
    FILE *stream;
    char *path;
    char *temporary;
    mode_t mode; /* permissions of the finished file */
};

/* strerror's text lives in shared storage; this copies it */
static const char *why(int code, char buffer[128])
{
    if (strerror_r(code, buffer, 128) != 0)
        return "unknown reason";
    return buffer;
}

static void end(fleck_whole_file *file)
{
    fleck_free(file->path);
    fleck_free(file->temporary);
    fleck_free(file);
}

/*
 * The permissions a plain new file would get. The process's mask cannot be read without changing it
 * for a moment, which another thread would feel; an empty file made and removed at once tells it.
 * temporary has room for one more character.
 */
static mode_t plain_mode(char *temporary)
{
    const size_t length = strlen(temporary);
    struct stat about;
    mode_t mode = S_IRUSR | S_IWUSR;
    int descriptor;

    memcpy(temporary + length, "m", 2);
    descriptor = open(temporary, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
    if (descriptor >= 0) {
        if (fstat(descriptor, &about) == 0)
            mode = about.st_mode & 0777;
        close(descriptor);
        unlink(temporary);
    }
    temporary[length] = '\0';
    return mode;
}

fleck_status fleck_whole_file_begin(const char *path, fleck_whole_file **out, fleck_error *err)
{
    fleck_whole_file *file;
    char reason[128];
    int descriptor, code;

    *out = NULL;
    file = fleck_alloc_zeroed(1, sizeof *file);
    if (file == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to write a file; free some memory");
    file->path = fleck_copy_text(path);
    file->temporary = fleck_alloc_array(strlen(path) + sizeof ending + 1, 1);
    if (file->path == NULL || file->temporary == NULL) {
        end(file);
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to write a file; free some memory");
    }
    memcpy(file->temporary, path, strlen(path));
    memcpy(file->temporary + strlen(path), ending, sizeof ending);
    /* mkstemp makes it readable by its owner alone until it is whole */
    descriptor = mkstemp(file->temporary);
    if (descriptor >= 0) {
        file->mode = plain_mode(file->temporary);
        file->stream = fdopen(descriptor, "wb");
        if (file->stream != NULL) {
            *out = file;
            return FLECK_OK;
        }
        code = errno;
        close(descriptor);
        unlink(file->temporary);
    } else {
        code = errno;
    }
    end(file);
    return fleck_fail(err, FLECK_NO_RESOURCE,
                      "cannot be written (%s); check the folder and its permissions",
                      why(code, reason));
}

FILE *fleck_whole_file_stream(fleck_whole_file *file)
{
    return file->stream;
}

/* So that the new name itself survives a crash; a folder that cannot be synced is no failure. */
static void sync_folder(const char *path)
{
    char *folder = fleck_copy_text(path);
    char *slash = folder != NULL ? strrchr(folder, '/') : NULL;
    int descriptor;

    if (folder == NULL)
        return;
    if (slash == folder)
        slash[1] = '\0';
    else if (slash != NULL)
        *slash = '\0';
    descriptor = open(slash != NULL ? folder : ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (descriptor >= 0) {
        (void)fsync(descriptor);
        close(descriptor);
    }
    fleck_free(folder);
}

fleck_status fleck_whole_file_commit(fleck_whole_file *file, fleck_error *err)
{
    char reason[128];
    int code = 0;
    if (ferror(file->stream) || fflush(file->stream) != 0)
        code = errno != 0 ? errno : EIO;
    if (code == 0 && fsync(fileno(file->stream)) != 0)
        code = errno;
    /* whole: from here on others may read it */
    if (code == 0 && fchmod(fileno(file->stream), file->mode) != 0)
        code = errno;
    if (fclose(file->stream) != 0 && code == 0)
        code = errno;
    if (code == 0 && rename(file->temporary, file->path) != 0)
        code = errno;
    if (code == 0)
        sync_folder(file->path);
    else
        unlink(file->temporary);
    end(file);
    if (code != 0)
        return fleck_fail(err, FLECK_NO_RESOURCE, "cannot be written (%s); make room and try again",
                          why(code, reason));
    return FLECK_OK;
}

void fleck_whole_file_abandon(fleck_whole_file *file)
{
    if (file == NULL)
        return;
    fclose(file->stream);
    unlink(file->temporary);
    end(file);
}

fleck_status fleck_whole_file_copy(const char *from, const char *to, fleck_error *err)
{
    FILE *const stream = fopen(from, "rb");
    fleck_whole_file *file = NULL;
    struct stat about;
    char bytes[1 << 14];
    size_t count;
    bool damaged;
    fleck_status status;

    /* a folder opens too, and a pipe would not end */
    if (stream == NULL || fstat(fileno(stream), &about) != 0 || !S_ISREG(about.st_mode)) {
        if (stream != NULL)
            fclose(stream);
        return fleck_fail(err, FLECK_BAD_INPUT, "cannot be read; check the name and permissions");
    }
    status = fleck_whole_file_begin(to, &file, err);
    if (status != FLECK_OK) {
        fclose(stream);
        return status;
    }
    while ((count = fread(bytes, 1, sizeof bytes, stream)) > 0)
        (void)fwrite(bytes, 1, count, file->stream); /* errors are told by the commit */
    damaged = ferror(stream) != 0;
    fclose(stream);
    if (!damaged)
        return fleck_whole_file_commit(file, err);
    fleck_whole_file_abandon(file);
    return fleck_fail(err, FLECK_BAD_INPUT, "cannot be read to its end; check the disk it is on");
}

/* NAME.partXXXXXX, or the same with the m of plain_mode */
static bool is_temporary(const char *name)
{
    static const char letters[] =
        "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789";
    const size_t drawn = 6, mark = sizeof ending - 1 - drawn;
    size_t length = strlen(name);
    const char *part = length > mark + drawn ? name + length - mark - drawn : name;

    for (int with_m = 0; with_m < 2; with_m++, part--) {
        if (part <= name)
            return false;
        if (strncmp(part, ending, mark) == 0 && strspn(part + mark, letters) >= drawn &&
            (with_m == 0 || name[length - 1] == 'm'))
            return true;
    }
    return false;
}

void fleck_whole_file_sweep(const char *folder)
{
    DIR *const list = opendir(folder);
    const struct dirent *one;

    while (list != NULL && (one = readdir(list)) != NULL) {
        if (is_temporary(one->d_name))
            (void)unlinkat(dirfd(list), one->d_name, 0);
    }
    if (list != NULL)
        closedir(list);
}

fleck_status fleck_file_write(const char *path, const void *bytes, size_t size,
                                    fleck_error *err)
{
    fleck_whole_file *file;
    const fleck_status status = fleck_whole_file_begin(path, &file, err);

    if (status != FLECK_OK)
        return status;
    /* a short write shows in ferror, which commit checks */
    (void)fwrite(bytes, 1, size, file->stream);
    return fleck_whole_file_commit(file, err);
}
