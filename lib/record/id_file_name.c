/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Ids as file names. No two ids give the same name: '%' is encoded itself, and '~', which is never
 * kept, marks a name that was cut and ends in a hash. Hash: SHA-256, FIPS 180-4, its first 128
 * bits.
 */
#include <stdlib.h>
#include <string.h>

#include <nettle/sha2.h>

#include "core/text.h"
#include "core/utf8.h"
#include "fleck/inputs.h"

enum {
    LONGEST = 150, /* leaves room for an ending in the 255 bytes that file systems allow */
    HASH_BYTES = 16,
    LONGEST_CUT = LONGEST - 1 - 2 * HASH_BYTES
};

static const char hex[] = "0123456789ABCDEF";

/*
 * Letters of any script pass, and marks that do no harm; not controls, blanks that do not show,
 * marks that turn the direction of writing, private and undefined characters.
 */
static bool is_kept(uint32_t character, bool first)
{
    static const struct {
        uint32_t from, to;
    } encoded[] = {
        { 0x80, 0xbf },     { 0x2000, 0x206f }, { 0x3000, 0x3000 }, { 0xe000, 0xf8ff },
        { 0xfe00, 0xfe0f }, { 0xfeff, 0xfeff }, { 0xfff0, 0xffff }, { 0xe0000, 0x10ffff },
    };

    if (character < 0x80)
        return (character >= 'a' && character <= 'z') || (character >= 'A' && character <= 'Z') ||
               (character >= '0' && character <= '9') || character == '-' || character == '_' ||
               character == ' ' || (character == '.' && !first);
    for (size_t i = 0; i < sizeof encoded / sizeof *encoded; i++) {
        if (character >= encoded[i].from && character <= encoded[i].to)
            return false;
    }
    return true;
}

static void add_hash(fleck_text *name, const char *id)
{
    struct sha256_ctx context;
    uint8_t digest[SHA256_DIGEST_SIZE];

    sha256_init(&context);
    sha256_update(&context, strlen(id), (const uint8_t *)id);
    sha256_digest(&context, sizeof digest, digest);
    fleck_text_add(name, "~");
    for (size_t i = 0; i < HASH_BYTES; i++) {
        fleck_text_add_bytes(name, &hex[digest[i] >> 4], 1);
        fleck_text_add_bytes(name, &hex[digest[i] & 15], 1);
    }
}

char *fleck_id_to_file_name(const char *id)
{
    const size_t size = strlen(id);
    fleck_text name = { 0 };
    size_t cut = 0; /* where the name can be cut, not within a character */

    if (size == 0)
        fleck_text_add(&name, "%00"); /* a byte that no id holds */
    for (size_t at = 0; at < size && name.length <= LONGEST && !name.failed;) {
        uint32_t character;
        size_t length = fleck_utf8_next(id + at, size - at, &character);

        if (length > 0 && is_kept(character, at == 0)) {
            fleck_text_add_bytes(&name, id + at, length);
        } else {
            if (length == 0)
                length = 1;
            for (size_t i = 0; i < length; i++) {
                const unsigned char byte = (unsigned char)id[at + i];
                const char code[3] = { '%', hex[byte >> 4], hex[byte & 15] };

                fleck_text_add_bytes(&name, code, sizeof code);
            }
        }
        at += length;
        if (name.length <= LONGEST_CUT)
            cut = name.length;
    }
    if (!name.failed && name.length > LONGEST) {
        name.length = cut;
        add_hash(&name, id);
    }
    if (name.failed)
        fleck_text_clear(&name);
    return name.bytes;
}
