/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdlib.h>
#include <string.h>

#include "commands.h"
#include "fleck/record.h"

static void describe_one(const fleck_key *key)
{
    printf("%s\n", key->key);
    printf("  name     %s\n", key->label);
    printf("  unit     %s\n", key->unit[0] != '\0' ? key->unit : "none");
    fputs("  meaning  ", stdout);
    cli_print_wrapped(stdout, key->definition, 11, 11);
    printf("  source   %s\n", key->source);
}

static void list_all(const fleck_key *keys, size_t count)
{
    for (size_t i = 0; i < count; i++)
        printf("%-32s %-7s %s\n", keys[i].key, keys[i].unit, keys[i].label);
}

static int unknown_key(const char *name, const fleck_key *keys, size_t count)
{
    const char **names = calloc(count, sizeof *names);
    const char *nearest = NULL;

    for (size_t i = 0; names != NULL && i < count; i++)
        names[i] = keys[i].key;
    if (names != NULL)
        nearest = cli_nearest(name, names, count);
    if (nearest != NULL)
        fprintf(stderr, "fleck: %s: no such measure; did you mean %s?\n", name, nearest);
    else
        fprintf(stderr, "fleck: %s: no such measure; fleck describe lists them\n", name);
    free(names);
    return EXIT_CALL;
}

static int run(const cli_command *command, int count, char **words)
{
    const char **names = calloc((size_t)count + 1, sizeof *names);
    size_t name_count = 0, key_count;
    const fleck_key *const keys = fleck_keys(&key_count);
    int code;

    if (names == NULL) {
        fputs("fleck: describe: no memory for the call; free some memory\n", stderr);
        return EXIT_MACHINE;
    }
    code = cli_parse(command, count, words, NULL, NULL, names, &name_count);
    if (code >= 0)
        goto done;
    code = EXIT_DONE;
    for (size_t i = 0; i < name_count; i++) {
        if (fleck_key_find(names[i]) == NULL) {
            code = unknown_key(names[i], keys, key_count);
            goto done;
        }
    }
    if (name_count == 0)
        list_all(keys, key_count);
    for (size_t i = 0; i < name_count; i++)
        describe_one(fleck_key_find(names[i]));
done:
    free(names);
    return code;
}

const cli_command cli_command_describe = {
    .name = "describe",
    .arguments = "[KEY ...]",
    .summary = "tell what a measure means: unit, definition, source",
    .text = "Without a key all measures are listed.",
    .run = run,
};
