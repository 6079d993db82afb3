/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A command's name and any words behind it, one a line. A name that is none stands for some command. The
 * commands run in a folder of their own, with a scan, a manifest and a run in it; slashes are taken out of
 * the words, so that they cannot leave it. fleck phantom is left out: it draws what it is asked to, however
 * large.
 */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "commands.h"
#include "scratch.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);

enum { MOST_WORDS = 24, MOST_BYTES = 2000 };

/* 32 x 32 grey pixels at 100 ppi with nine dots, as the plainest of TIFFs. */
static void put_scan(const char *path)
{
    enum { SIDE = 32, TAGS = 11, PIXELS_AT = 8 + 2 + 12 * TAGS + 4 + 8 };
    static const uint16_t tags[TAGS][3] = { /* tag, type, value */
        { 256, 3, SIDE }, { 257, 3, SIDE }, { 258, 3, 8 }, { 259, 3, 1 }, { 262, 3, 1 },
        { 273, 4, PIXELS_AT }, { 278, 3, SIDE }, { 279, 4, SIDE * SIDE }, { 282, 5, PIXELS_AT - 8 },
        { 283, 5, PIXELS_AT - 8 }, { 296, 3, 2 }
    };
    uint8_t bytes[PIXELS_AT + SIDE * SIDE] = { 'I', 'I', 42, 0, 8, 0, 0, 0, TAGS };

    for (size_t i = 0; i < TAGS; i++) {
        uint8_t *const entry = bytes + 10 + 12 * i;

        entry[0] = (uint8_t)(tags[i][0] & 255);
        entry[1] = (uint8_t)(tags[i][0] >> 8);
        entry[2] = (uint8_t)tags[i][1];
        entry[4] = 1;
        entry[8] = (uint8_t)(tags[i][2] & 255);
        entry[9] = (uint8_t)(tags[i][2] >> 8);
    }
    bytes[PIXELS_AT - 8] = 100;
    bytes[PIXELS_AT - 4] = 1;
    for (size_t i = 0; i < (size_t)SIDE * SIDE; i++)
        bytes[PIXELS_AT + i] = i % SIDE % 11 < 5 && i / SIDE % 11 < 5 ? 30 : 220;
    scratch_put(path, bytes, sizeof bytes);
}

/* Six patches as the study commands want them. */
static void put_run(void)
{
    static const char table[] = "id,paste_pct,force_kg,batch,print,ink.coverage,dots.d50_mm,dots.per_cm2\n"
                                "A,2.5,1,a,1,0.20,0.30,150\nB,2.5,2,b,2,0.22,0.31,140\nC,2.5,3,c,3,0.21,0.33,145\n"
                                "D,5,1,d,4,0.35,0.40,120\nE,5,2,e,5,0.33,0.41,118\nF,5,3,f,6,0.36,0.43,121\n";
    static const char about[] = "{\"schema\":\"fleck-run\",\"version\":1,\"measured\":6,\"failed\":0}";
    char name[40], text[400];

    if (mkdir("run", 0777) != 0 || mkdir("run/records", 0777) != 0)
        abort();
    scratch_put("run/patches.csv", table, sizeof table - 1);
    scratch_put("run/run.json", about, sizeof about - 1);
    for (char letter = 'A'; letter <= 'F'; letter++) {
        const int length =
            snprintf(text, sizeof text,
                     "{\"schema\":\"fleck-record\",\"version\":1,\"id\":\"%c\",\"source\":{\"path\":\"a.tif\"},"
                     "\"settings\":{\"channel\":\"grey\",\"ink\":\"dark\",\"threshold\":\"otsu\",\"cutoff_mm\":0.1}}",
                     letter);

        snprintf(name, sizeof name, "run/records/%c.json", letter);
        scratch_put(name, text, (size_t)length);
    }
}

/* The same files for each input: what one has written must not make the next another. */
static void go_to_folder(void)
{
    static const char manifest[] = "scan,patch,paste_pct\na.tif,A,2.5\na.tif,B,5\n";

    scratch_remove(scratch_folder());
    if (mkdir(scratch_folder(), 0700) != 0 || chdir(scratch_folder()) != 0)
        abort();
    put_scan("a.tif");
    scratch_put("m.csv", manifest, sizeof manifest - 1);
    put_run();
}

static const cli_command *choose(const char *name)
{
    const cli_command *command = cli_commands[(unsigned char)name[0] % cli_command_count];

    for (size_t i = 0; i < cli_command_count; i++) {
        if (strcmp(cli_commands[i]->name, name) == 0)
            command = cli_commands[i];
    }
    return command == &cli_command_phantom ? &cli_command_measure : command;
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    static bool begun;
    char text[MOST_BYTES + 1], *words[MOST_WORDS];
    const cli_command *command;
    int count = 0;

    if (size < 2 || size > MOST_BYTES)
        return 0;
    if (!begun && freopen("/dev/null", "w", stdout) == NULL)
        abort();
    begun = true;
    go_to_folder();
    memcpy(text, bytes, size);
    text[size] = '\0';
    for (char *at = text; *at != '\0'; at++)
        *at = *at == '/' ? '_' : *at;
    for (char *word = text; count < MOST_WORDS && word != NULL;) {
        char *const end = strchr(word, '\n');

        words[count++] = word;
        if (end != NULL)
            *end = '\0';
        word = end != NULL ? end + 1 : NULL;
    }
    command = choose(words[0]);
    (void)command->run(command, count - 1, words + 1);
    return 0;
}
