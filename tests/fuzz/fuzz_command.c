/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Any words behind a command's name: the first byte chooses the command, the words are the lines that
 * follow. The commands run in a folder of their own, with a scan and a manifest in it; slashes are taken
 * out of the words, so that they cannot leave it. fleck phantom is left out: it draws what it is asked
 * to, however large.
 */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "commands.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);

enum { MOST_WORDS = 24, MOST_BYTES = 2000 };

/* 1 x 1 pixels, grey */
static const unsigned char scan[] = {
    0x89, 'P', 'N', 'G', 0x0d, 0x0a, 0x1a, 0x0a, 0, 0, 0, 13, 'I', 'H', 'D', 'R', 0, 0, 0, 1, 0, 0, 0,
    1, 8, 0, 0, 0, 0, 0x3a, 0x7e, 0x9b, 0x55, 0, 0, 0, 10, 'I', 'D', 'A', 'T', 0x78, 0x9c, 0x63, 0x60,
    0, 0, 0, 2, 0, 1, 0x48, 0xaf, 0xa4, 0x71, 0, 0, 0, 0, 'I', 'E', 'N', 'D', 0xae, 0x42, 0x60, 0x82
};

static void put(const char *path, const void *bytes, size_t size)
{
    FILE *stream = fopen(path, "wb");

    if (stream == NULL || fwrite(bytes, 1, size, stream) != size || fclose(stream) != 0)
        abort();
}

static void go_to_folder(void)
{
    static const char manifest[] = "scan,patch,paste_pct\na.png,A,2.5\na.png,B,5\n";
    char folder[] = "/tmp/fleck-fuzz-XXXXXX";

    if (mkdtemp(folder) == NULL || chdir(folder) != 0 || freopen("/dev/null", "w", stdout) == NULL)
        abort();
    put("a.png", scan, sizeof scan);
    put("m.csv", manifest, sizeof manifest - 1);
}

static const cli_command *choose(unsigned byte)
{
    const cli_command *const command = cli_commands[byte % cli_command_count];

    return command == &cli_command_phantom ? &cli_command_measure : command;
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    static bool begun;
    char text[MOST_BYTES + 1], *words[MOST_WORDS];
    int count = 0;

    if (size < 2 || size > MOST_BYTES)
        return 0;
    if (!begun)
        go_to_folder();
    begun = true;
    memcpy(text, bytes + 1, size - 1);
    text[size - 1] = '\0';
    for (char *at = text; *at != '\0'; at++)
        *at = *at == '/' ? '_' : *at;
    for (char *word = text; count < MOST_WORDS && word != NULL;) {
        char *const end = strchr(word, '\n');

        words[count++] = word;
        if (end != NULL)
            *end = '\0';
        word = end != NULL ? end + 1 : NULL;
    }
    (void)choose(bytes[0])->run(choose(bytes[0]), count, words);
    return 0;
}
