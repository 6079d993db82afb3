/* SPDX-License-Identifier: GPL-3.0-or-later */
/* fleck_pages FOLDER DATE: write man pages to FOLDER/man1, completions to FOLDER/completions. */
#include "pages.h"

static const cli_command *const words_of_their_own[] = { &cli_command_phantom_sheet };

const cli_command *cli_page_command(size_t i)
{
    if (i < cli_command_count)
        return cli_commands[i];
    i -= cli_command_count;
    return i < sizeof words_of_their_own / sizeof *words_of_their_own ? words_of_their_own[i] : NULL;
}

static FILE *open_page(const char *folder, const char *name)
{
    char path[4096];
    FILE *file = NULL;

    if (snprintf(path, sizeof path, "%s/%s", folder, name) < (int)sizeof path)
        file = fopen(path, "w");
    if (file == NULL)
        fprintf(stderr, "fleck_pages: %s/%s: cannot be written; is the folder there?\n", folder, name);
    return file;
}

static bool close_page(FILE *file)
{
    const bool good = !ferror(file);

    return fclose(file) == 0 && good;
}

int main(int count, char **words)
{
    static const struct {
        const char *name;
        void (*print)(FILE *out);
    } completions[] = {
        { "completions/fleck", cli_print_bash_completion },
        { "completions/_fleck", cli_print_zsh_completion },
        { "completions/fleck.fish", cli_print_fish_completion },
    };
    bool good = true;
    FILE *file;

    if (count != 3) {
        fputs("fleck_pages: give a folder and a date\n", stderr);
        return EXIT_CALL;
    }
    for (size_t i = 0; good && i < sizeof completions / sizeof *completions; i++) {
        file = open_page(words[1], completions[i].name);
        if (file != NULL)
            completions[i].print(file);
        good = file != NULL && close_page(file);
    }
    file = good ? open_page(words[1], "man1/fleck.1") : NULL;
    if (file != NULL)
        cli_print_man_page_of_all(file, words[2]);
    good = file != NULL && close_page(file);
    for (size_t i = 0; good && cli_page_command(i) != NULL; i++) {
        char page[64], name[96];

        cli_page_name(cli_page_command(i), page);
        snprintf(name, sizeof name, "man1/fleck-%s.1", page);
        file = open_page(words[1], name);
        if (file != NULL)
            cli_print_man_page(file, cli_page_command(i), words[2]);
        good = file != NULL && close_page(file);
    }
    return good ? EXIT_DONE : EXIT_MACHINE;
}
