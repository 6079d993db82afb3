/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Where the pictures of a run stand. */
#include <errno.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/memory.h"
#include "core/text.h"
#include "fleck/overlay.h"
#include "io/whole_file.h"
#include "report/overlay_draw.h"
#include "report/overlay_thumb.h"

#define SHEET "contact-sheet"

static const char *const folders[] = {
    [FLECK_OVERLAY_LINES] = "pictures",
    [FLECK_OVERLAY_PLAIN] = "pictures/plain",
    [FLECK_OVERLAY_THUMB] = "pictures/thumbs",
    [FLECK_OVERLAY_CELL] = "pictures/cells",
};

char *fleck_overlay_path(const char *run_folder, const char *id, fleck_overlay_file file)
{
    fleck_text path = { 0 };
    char *name;

    if (file == FLECK_OVERLAY_SHEET) {
        fleck_text_add_format(&path, "%s/pictures/" SHEET ".png", run_folder);
    } else {
        name = fleck_id_to_file_name(id);
        /* a letter is never encoded otherwise, so this is no other id's name */
        if (name != NULL && strcmp(name, SHEET) == 0)
            fleck_text_add_format(&path, "%s/%s/%%63%s.png", run_folder, folders[file], name + 1);
        else if (name != NULL)
            fleck_text_add_format(&path, "%s/%s/%s.png", run_folder, folders[file], name);
        fleck_free(name);
    }
    if (path.failed)
        fleck_text_clear(&path);
    return path.bytes;
}

static fleck_status make_folders(const char *run_folder, fleck_error *err)
{
    for (size_t i = 0; i < sizeof folders / sizeof *folders; i++) {
        fleck_text path = { 0 };
        int code;

        fleck_text_add_format(&path, "%s/%s", run_folder, folders[i]);
        if (path.failed)
            return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a path; free some memory");
        code = mkdir(path.bytes, 0777) == 0 || errno == EEXIST ? 0 : errno;
        fleck_text_clear(&path);
        if (code != 0)
            return fleck_fail(err, FLECK_NO_RESOURCE,
                              "the folder %s cannot be made; check the folder of the run",
                              folders[i]);
    }
    return FLECK_OK;
}

fleck_status fleck_overlay_write(const fleck_patch_view *view, const fleck_overlay_options *options,
                                 const char *run_folder, fleck_error *err)
{
    enum { FILES = FLECK_OVERLAY_CELL + 1 };
    const char *const id = view->record->id != NULL ? view->record->id : "";
    overlay_kinds kinds = { 0 };
    fleck_overlay_place place;
    char *paths[FILES];
    fleck_status status = fleck_overlay_get_place(view->geometry, options, &place, err);

    for (size_t i = 0; i < FILES; i++) {
        paths[i] = fleck_overlay_path(run_folder, id, (fleck_overlay_file)i);
        if (paths[i] == NULL && status == FLECK_OK)
            status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a path; free some memory");
    }
    if (status == FLECK_OK)
        status = make_folders(run_folder, err);
    if (status == FLECK_OK) {
        const overlay_thumb thumbs[OVERLAY_THUMBS] = {
            { FLECK_OVERLAY_THUMB_PX, paths[FLECK_OVERLAY_THUMB] },
            { FLECK_OVERLAY_CELL_PX, paths[FLECK_OVERLAY_CELL] },
        };

        status = overlay_thumbs_write(view, thumbs, err);
    }
    if (status == FLECK_OK)
        status = overlay_kinds_find(view, &kinds, err);
    if (status == FLECK_OK)
        status = overlay_draw(view, &kinds, &place, false, paths[FLECK_OVERLAY_PLAIN], err);
    if (status == FLECK_OK)
        status = overlay_draw(view, &kinds, &place, true, paths[FLECK_OVERLAY_LINES], err);
    overlay_kinds_clear(&kinds);
    for (size_t i = 0; i < FILES; i++)
        fleck_free(paths[i]);
    return status;
}

fleck_status fleck_overlay_copy(const char *from_run, const char *to_run, const char *id, bool *copied,
                                fleck_error *err)
{
    enum { FILES = FLECK_OVERLAY_CELL + 1 };
    fleck_error why = { 0 };
    fleck_status status = FLECK_OK;

    *copied = false;
    for (size_t i = 0; status == FLECK_OK && i < FILES; i++) {
        char *const from = fleck_overlay_path(from_run, id, (fleck_overlay_file)i);
        char *const to = fleck_overlay_path(to_run, id, (fleck_overlay_file)i);

        if (from == NULL || to == NULL) {
            status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a path; free some memory");
        } else if (i > 0 || access(from, F_OK) == 0) {
            if (i == 0)
                status = make_folders(to_run, err);
            if (status == FLECK_OK) {
                status = fleck_whole_file_copy(from, to, &why);
                if (status == FLECK_BAD_INPUT)
                    status = fleck_fail(err, status, "%s %s", from, why.message);
                else if (status != FLECK_OK && err != NULL)
                    *err = why;
            }
            *copied = true;
        }
        fleck_free(from);
        fleck_free(to);
        if (!*copied)
            break;
    }
    return status;
}
