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
    if (fleck_key_moves(key) != NULL) {
        fputs("  moved by ", stdout);
        cli_print_wrapped(stdout, fleck_key_moves(key), 11, 11);
    }
    if (fleck_key_beware(key) != NULL) {
        fputs("  doubt it when ", stdout);
        cli_print_wrapped(stdout, fleck_key_beware(key), 16, 11);
    }
}

/* A cell of a Markdown table. */
static void print_cell(const char *text)
{
    fputs("| ", stdout);
    for (; text != NULL && *text != '\0'; text++) {
        if (*text == '|' || *text == '*' || *text == '<')
            fputc('\\', stdout);
        fputc(*text, stdout);
    }
    fputc(' ', stdout);
}

/* The page docs/measures.md. */
static void print_page(const fleck_key *keys, size_t count)
{
    size_t series_count;
    const fleck_series_key *const series = fleck_series_keys(&series_count);

    fputs("# Measures\n\nEvery number of a record. This page is printed by `fleck describe --page`.\n\n"
          "| key | unit | name | definition | source | moved by | doubt it when |\n"
          "|---|---|---|---|---|---|---|\n",
          stdout);
    for (size_t i = 0; i < count; i++) {
        printf("| `%s` ", keys[i].key);
        print_cell(keys[i].unit);
        print_cell(keys[i].label);
        print_cell(keys[i].definition);
        print_cell(keys[i].source);
        print_cell(fleck_key_moves(&keys[i]));
        print_cell(fleck_key_beware(&keys[i]));
        fputs("|\n", stdout);
    }
    fputs("\n## Lists\n\nThey stand in `records/ID.json` only, beside those of the spectrum.\n\n"
          "| key | unit | name | definition | source |\n|---|---|---|---|---|\n",
          stdout);
    for (size_t i = 0; i < series_count; i++) {
        printf("| `%s[]` ", series[i].key);
        print_cell(series[i].unit);
        print_cell(series[i].label);
        print_cell(series[i].definition);
        print_cell(series[i].source);
        fputs("|\n", stdout);
    }
}

static bool set(void *context, int id, const char *value, char why[256])
{
    (void)id;
    (void)value;
    (void)why;
    *(bool *)context = true;
    return true;
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

    /* "coverage" means ink.coverage */
    for (size_t i = 0; nearest == NULL && i < count; i++) {
        const char *const point = strchr(keys[i].key, '.');

        if (point != NULL && strcmp(point + 1, name) == 0)
            nearest = keys[i].key;
    }
    for (size_t i = 0; names != NULL && i < count; i++)
        names[i] = keys[i].key;
    if (names != NULL && nearest == NULL)
        nearest = cli_nearest(name, names, count);
    if (nearest != NULL)
        cli_say_parts(name, "no such measure; did you mean %s?", nearest);
    else if (strchr(name, '-') != NULL)
        cli_say(name, "no such measure; fleck describe lists them, and docs/doubts.md the warnings");
    else
        cli_say(name, "no such measure; fleck describe lists them");
    free(names);
    return EXIT_CALL;
}

static int run(const cli_command *command, int count, char **words)
{
    const char **names = calloc((size_t)count + 1, sizeof *names);
    size_t name_count = 0, key_count;
    bool page = false;
    const fleck_key *const keys = fleck_keys(&key_count);
    int code;

    if (names == NULL) {
        fputs("fleck: describe: no memory for the call; free some memory\n", stderr);
        return EXIT_MACHINE;
    }
    code = cli_parse(command, count, words, set, &page, names, &name_count);
    if (code >= 0)
        goto done;
    code = EXIT_DONE;
    for (size_t i = 0; i < name_count; i++) {
        if (fleck_key_find(names[i]) == NULL) {
            code = unknown_key(names[i], keys, key_count);
            goto done;
        }
    }
    if (page)
        print_page(keys, key_count);
    else if (name_count == 0)
        list_all(keys, key_count);
    for (size_t i = 0; i < name_count; i++)
        describe_one(fleck_key_find(names[i]));
done:
    free(names);
    return code;
}

static const cli_option options[] = {
    { "page", '\0', NULL, "print all measures as a page in Markdown", 1 },
};

const cli_command cli_command_describe = {
    .name = "describe",
    .arguments = "[KEY ...]",
    .summary = "tell what a measure means: unit, definition, source",
    .options = options,
    .option_count = sizeof options / sizeof *options,
    .text = "Without a key all measures are listed.",
    .run = run,
};
