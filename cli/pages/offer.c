/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a shell can offer is told from the name a value has in the help: one table serves both. */
#include <assert.h>
#include <ctype.h>
#include <string.h>

#include "fleck/phantom.h"
#include "fleck/record.h"
#include "fleck/run_plots.h"
#include "fleck/tone.h"
#include "pages.h"

enum { ROOM = 8192 };

static void add_word(char words[ROOM], const char *word, size_t length)
{
    size_t end = strlen(words);

    assert(end + length + 2 < ROOM); /* all words come from our own tables */
    if (end > 0)
        words[end++] = ' ';
    memcpy(words + end, word, length);
    words[end + length] = '\0';
}

/* Add a word that the option's help names. */
static void add_named(char words[ROOM], const char *word, const char *help)
{
    if (help == NULL || strstr(help, word) != NULL)
        add_word(words, word, strlen(word));
}

static void add_choices(char words[ROOM], const char *value, const char *help)
{
    static const char *const tones[] = { "dark", "light", NULL };
    static const char *const thresholds[] = { "otsu", "pooled", "local", "fixed:", NULL };
    static const char *const phases[] = { "ink", "both", NULL };
    const char *const *choices = NULL;

    if (strcmp(value, "TONE") == 0)
        choices = tones;
    else if (strcmp(value, "HOW") == 0)
        choices = thresholds;
    else if (strcmp(value, "WHICH") == 0)
        choices = phases;
    for (; choices != NULL && *choices != NULL; choices++)
        add_named(words, *choices, help);
    if (strcmp(value, "NAME") == 0) {
        for (int channel = FLECK_CHANNEL_LUMINANCE; channel <= FLECK_CHANNEL_AUTO; channel++)
            add_named(words, fleck_channel_name((fleck_channel)channel), help);
    } else if (strcmp(value, "KIND") == 0) {
        for (int kind = 0; kind < FLECK_PHANTOM_KINDS; kind++)
            add_named(words, fleck_phantom_kind_name((fleck_phantom_kind)kind), help);
    } else if (strcmp(value, "NAME,...") == 0) {
        for (int plot = 0; plot < FLECK_RUN_PLOTS; plot++)
            add_named(words, fleck_run_plot_name((fleck_run_plot)plot), help);
    } else if (strcmp(value, "KEY ...") == 0 || strcmp(value, "KEY,...") == 0) {
        size_t count;
        const fleck_key *const keys = fleck_keys(&count);

        for (size_t i = 0; i < count; i++)
            if (keys[i].measure || help == NULL)
                add_word(words, keys[i].key, strlen(keys[i].key));
    }
}

/* "x|y", "svg,pdf,png": the value's name is the list of what it may be. */
static bool is_list_of_words(const char *value, char separator)
{
    if (strchr(value, separator) == NULL)
        return false;
    for (const char *c = value; *c != '\0'; c++)
        if (*c != separator && !islower((unsigned char)*c) && !isdigit((unsigned char)*c))
            return false;
    return true;
}

static void split_words(char words[ROOM], const char *value, char separator)
{
    for (const char *at = value; at != NULL;) {
        const char *const next = strchr(at, separator);

        add_word(words, at, next != NULL ? (size_t)(next - at) : strlen(at));
        at = next != NULL ? next + 1 : NULL;
    }
}

static bool begins_with_any(const char *value, const char *const *names)
{
    for (; *names != NULL; names++)
        if (strncmp(value, *names, strlen(*names)) == 0)
            return true;
    return false;
}

cli_value_kind cli_value_offer(const char *value, const char *help, char words[ROOM], bool *list)
{
    static const char *const folders[] = { "RUN", "FOLDER", NULL };
    static const char *const files[] = { "FILE", "SCAN", "SHEET", "PICTURE", "MANIFEST", NULL };
    static const char *const endings[] = { ".csv", ".json", ".png", ".html" };

    words[0] = '\0';
    *list = false;
    add_choices(words, value, help);
    if (is_list_of_words(value, '|')) {
        split_words(words, value, '|');
    } else if (is_list_of_words(value, ',')) {
        split_words(words, value, ',');
        *list = true;
    }
    if (words[0] != '\0') {
        *list = *list || strstr(value, ",...") != NULL;
        return CLI_VALUE_WORDS;
    }
    if (begins_with_any(value, folders))
        return CLI_VALUE_FOLDER;
    if (begins_with_any(value, files))
        return CLI_VALUE_FILE;
    for (size_t i = 0; i < sizeof endings / sizeof *endings; i++) {
        const size_t length = strlen(value), ending = strlen(endings[i]);

        if (length > ending && strcmp(value + length - ending, endings[i]) == 0)
            return CLI_VALUE_FILE;
    }
    return CLI_VALUE_OTHER;
}

cli_value_kind cli_argument_offer(const cli_command *command, char words[ROOM])
{
    char value[128] = "";
    const char *from = command->arguments;
    size_t length;
    cli_value_kind kind;
    bool list;

    if (*from == '[')
        from++;
    length = strcspn(from, " ]");
    if (strncmp(from, "KEY ...", 7) == 0)
        length = 7;
    if (length < sizeof value && *from != '-') {
        memcpy(value, from, length);
        value[length] = '\0';
    }
    kind = value[0] != '\0' && strcmp(value, "options") != 0
               ? cli_value_offer(value, NULL, words, &list)
               : CLI_VALUE_OTHER;
    if (kind == CLI_VALUE_OTHER)
        words[0] = '\0';
    for (size_t i = 0; cli_page_command(i) != NULL; i++) { /* words of its own: phantom sheet */
        const char *const name = cli_page_command(i)->name;
        const size_t own = strlen(command->name);

        if (strncmp(name, command->name, own) == 0 && name[own] == ' ') {
            add_word(words, name + own + 1, strlen(name + own + 1));
            kind = CLI_VALUE_WORDS;
        }
    }
    return kind;
}

void cli_short_help(const char *help, char clause[128])
{
    enum { TELLING = 12, MOST = 100 };
    size_t length = 0;

    while (help[length] != '\0' && help[length] != '\n' && length < MOST &&
           !(length >= TELLING && (help[length] == ';' || strncmp(help + length, " (", 2) == 0)))
        length++;
    if (length == MOST)
        while (length > TELLING && help[length] != ' ')
            length--;
    memcpy(clause, help, length);
    clause[length] = '\0';
}
