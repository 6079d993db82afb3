/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <assert.h>
#include <stdio.h>
#include <string.h>
#if defined(__GLIBC__)
#include <malloc.h>
#endif

#include "commands.h"
#include "fleck/version.h"

static void print_help(FILE *out)
{
    fprintf(out, "fleck %s.\n\n", cli_program_summary);
    for (size_t i = 0; i < cli_command_count; i++)
        fprintf(out, "  fleck %-9s %s\n", cli_commands[i]->name, cli_commands[i]->summary);
    fputc('\n', out);
    cli_print_wrapped(out, cli_program_text, 0, 0);
    fputc('\n', out);
    cli_print_wrapped(out, cli_exit_text, 0, 0);
}

static int call(int count, char **words)
{
    enum { MOST_COMMANDS = 64 };
    const char *names[MOST_COMMANDS];
    const char *nearest;

    if (count < 2) {
        print_help(stderr);
        return EXIT_CALL;
    }
    if (strcmp(words[1], "--help") == 0 || strcmp(words[1], "-h") == 0 ||
        strcmp(words[1], "help") == 0) {
        print_help(stdout);
        return EXIT_DONE;
    }
    if (strcmp(words[1], "--version") == 0) {
        printf("fleck %s\n", fleck_version());
        return EXIT_DONE;
    }
    assert(cli_command_count <= MOST_COMMANDS);
    for (size_t i = 0; i < cli_command_count; i++) {
        names[i] = cli_commands[i]->name;
        if (strcmp(words[1], names[i]) == 0)
            return cli_commands[i]->run(cli_commands[i], count - 2, words + 2);
    }
    nearest = cli_nearest(words[1], names, cli_command_count);
    if (nearest != NULL)
        cli_say_parts(words[1], "no such command; did you mean fleck %s?", nearest);
    else
        cli_say(words[1], "no such command; fleck --help lists them");
    return EXIT_CALL;
}

/*
 * Blocks that --memory counts go back to the system as soon as they are freed: by itself the C library keeps
 * more and more of them, up to 64 MB.
 */
static void keep_no_freed_blocks(void)
{
#if defined(__GLIBC__)
    (void)mallopt(M_MMAP_THRESHOLD, 1 << 18);
#endif
}

/* What stdout could not take must not pass for done; commands that checked it have said so themselves. */
int main(int count, char **words)
{
    int code;

    keep_no_freed_blocks();
    code = call(count, words);
    if ((fflush(stdout) != 0 || ferror(stdout)) && code == EXIT_DONE) {
        fputs("fleck: stdout: cannot be written; make room and try again\n", stderr);
        return EXIT_MACHINE;
    }
    return code;
}
