/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "phantom_output.h"

#include <stdlib.h>
#include <string.h>

#include "fleck/file.h"
#include "fleck/memory.h"
#include "options.h"

int phantom_write_text(const char *path, char *text)
{
    fleck_error err = { 0 };
    fleck_status status;

    if (text == NULL) {
        cli_say(path, "no memory for its text; free some memory");
        return EXIT_MACHINE;
    }
    status = fleck_file_write(path, text, strlen(text), &err);
    fleck_free(text);
    return status == FLECK_OK ? EXIT_DONE : cli_say_failure(path, status, &err);
}

int phantom_write_truth(const char *picture, char *truth)
{
    static const char ending[] = ".truth.json";
    const char *const slash = strrchr(picture, '/');
    const char *const dot = strrchr(picture, '.');
    const size_t stem = dot != NULL && (slash == NULL || dot > slash) ? (size_t)(dot - picture)
                                                                      : strlen(picture);
    char *const path = malloc(stem + sizeof ending);
    int code;

    if (path == NULL) {
        fleck_free(truth);
        cli_say(picture, "no memory for the name of its truth; free some memory");
        return EXIT_MACHINE;
    }
    memcpy(path, picture, stem);
    memcpy(path + stem, ending, sizeof ending);
    code = phantom_write_text(path, truth);
    free(path);
    return code;
}
