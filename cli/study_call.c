/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "study_call.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "fleck/file.h"
#include "fleck/memory.h"
#include "summary.h"

bool cli_list_split(const char *text, cli_list *list, char why[256])
{
    size_t count = 1;
    char *at;

    cli_list_clear(list);
    for (const char *c = text; *c != '\0'; c++)
        count += *c == ',';
    list->items = calloc(count, sizeof *list->items);
    list->storage = malloc(strlen(text) + 1);
    if (list->items == NULL || list->storage == NULL) {
        snprintf(why, 256, "there is no memory for it; free some memory");
        return false;
    }
    at = memcpy(list->storage, text, strlen(text) + 1);
    while (list->count < count) {
        char *const end = at + strcspn(at, ",");
        char *stop = end;

        at += strspn(at, " ");
        while (stop > at && stop[-1] == ' ')
            stop--;
        if (stop <= at) {
            snprintf(why, 256, "has an empty word; give words with commas between, such as a,b");
            return false;
        }
        list->items[list->count++] = at;
        at = end + 1;
        *end = '\0';
        *stop = '\0';
    }
    return true;
}

void cli_list_clear(cli_list *list)
{
    free(list->items);
    free(list->storage);
    *list = (cli_list){ 0 };
}

cli_study_call cli_study_call_default(void)
{
    return (cli_study_call){ .seed = 1 };
}

void cli_study_call_clear(cli_study_call *call)
{
    cli_list_clear(&call->measures);
}

static bool ends_in(const char *text, const char *ending)
{
    const size_t length = strlen(text), tail = strlen(ending);

    return length > tail && strcmp(text + length - tail, ending) == 0;
}

bool cli_study_set(cli_study_call *call, int id, const char *value, char why[256])
{
    size_t number;

    switch ((enum cli_study_option)id) {
    case CLI_STUDY_MEASURES:
        return cli_list_split(value, &call->measures, why);
    case CLI_STUDY_UNIT:
        call->unit = value;
        if (*value != '\0')
            return true;
        snprintf(why, 256, "is no column; give its name");
        return false;
    case CLI_STUDY_SEED:
        if (!cli_count(value, &number)) {
            snprintf(why, 256, "is no whole number; give one of 0 or more");
            return false;
        }
        call->seed = number;
        return true;
    case CLI_STUDY_MIXED:
        call->mixed = true;
        return true;
    case CLI_STUDY_JSON:
        call->json = true;
        return true;
    case CLI_STUDY_OUT:
        call->out = value;
        if (ends_in(value, ".json") || ends_in(value, ".csv"))
            return true;
        snprintf(why, 256, "ends in neither .json nor .csv; give a name that does");
        return false;
    }
    return false;
}

static bool is_same_file(const struct stat *a, const char *path)
{
    struct stat b;

    return stat(path, &b) == 0 && a->st_dev == b.st_dev && a->st_ino == b.st_ino;
}

/* Whether a file of a run would be lost, or put among them. */
static bool is_of_run(const char *out, const char *run)
{
    static const char *const files[] = { "patches.csv", "failures.csv", "run.json" };
    static const char *const folders[] = { "records", "dots", "flecks", "pictures" };
    const char *const slash = strrchr(out, '/');
    struct stat about, above;
    char path[4096], folder[4096];

    snprintf(folder, sizeof folder, "%.*s", slash != NULL ? (int)(slash - out) : 1,
             slash != NULL ? out : ".");
    if (stat(out, &about) == 0) {
        for (size_t i = 0; i < sizeof files / sizeof *files; i++) {
            snprintf(path, sizeof path, "%.3000s/%s", run, files[i]);
            if (is_same_file(&about, path))
                return true;
        }
    }
    if (stat(folder[0] != '\0' ? folder : "/", &above) != 0)
        return false;
    for (size_t i = 0; i < sizeof folders / sizeof *folders; i++) {
        snprintf(path, sizeof path, "%.3000s/%s", run, folders[i]);
        if (is_same_file(&above, path))
            return true;
    }
    return false;
}

int cli_study_say_failure(fleck_status status, const fleck_error *err)
{
    /* messages about a file of the run name it; one about memory belongs to none */
    if (status == FLECK_NO_RESOURCE && strstr(err->message, ": ") == NULL)
        return cli_say_failure("study", status, err);
    fprintf(stderr, "fleck: %s\n", err->message);
    return cli_exit_code(status);
}

int cli_study_open(const cli_study_call *call, const char *command, const char *const *runs,
                   size_t count, size_t least, size_t most, fleck_study **study)
{
    fleck_error err = { 0 };
    fleck_status status;

    *study = NULL;
    if (count == 0) {
        cli_say(command, "no run is named; give a folder that fleck measure -o has made");
        return EXIT_CALL;
    }
    if (count < least || count > most) {
        fprintf(stderr, "fleck: %s: %zu %s named; give ", command, count,
                count == 1 ? "run is" : "runs are");
        if (least == most)
            fprintf(stderr, "%zu\n", least);
        else if (count > most)
            fprintf(stderr, "at most %zu\n", most);
        else
            fprintf(stderr, "at least %zu\n", least);
        return EXIT_CALL;
    }
    for (size_t i = 0; call->out != NULL && i < count; i++) {
        if (is_of_run(call->out, runs[i])) {
            cli_say(call->out, "belongs to the run that is read; give another name with -o");
            return EXIT_CALL;
        }
    }
    status = fleck_study_read(runs, count, study, &err);
    return status == FLECK_OK ? -1 : cli_study_say_failure(status, &err);
}

void cli_study_warn(const char *command, const fleck_warnings *warnings)
{
    fflush(stdout); /* before what goes to stderr, for those who read both in one place */
    for (size_t i = 0; i < warnings->count; i++) {
        cli_print_warning(stderr, command, warnings->items[i].code, warnings->items[i].message);
        fputc('\n', stderr);
    }
}

int cli_study_finish(const cli_study_call *call, const char *command, char *json, char *csv)
{
    fleck_error err = { 0 };
    fleck_status status = FLECK_OK;
    int code = EXIT_DONE;

    if (json == NULL || csv == NULL) {
        cli_say(command, "no memory for the result; free some memory");
        code = EXIT_MACHINE;
    }
    if (code == EXIT_DONE && call->out != NULL) {
        const char *const text = ends_in(call->out, ".json") ? json : csv;

        status = fleck_file_write(call->out, text, strlen(text), &err);
        if (status != FLECK_OK)
            code = cli_say_failure(call->out, status, &err);
    }
    if (code == EXIT_DONE && call->json)
        fputs(json, stdout);
    if (code == EXIT_DONE && (fflush(stdout) != 0 || ferror(stdout))) {
        fputs("fleck: stdout: cannot be written; make room and try again\n", stderr);
        code = EXIT_MACHINE;
    }
    fleck_free(json);
    fleck_free(csv);
    return code;
}
