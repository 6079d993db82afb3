/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "io/sha256.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <unistd.h>

#include <nettle/sha2.h>

#include "core/memory.h"

static void finish(struct sha256_ctx *context, char text[FLECK_SHA256_TEXT_BYTES])
{
    static const char hex[] = "0123456789abcdef";
    uint8_t digest[SHA256_DIGEST_SIZE];

    sha256_digest(context, sizeof digest, digest);
    for (size_t i = 0; i < sizeof digest; i++) {
        text[2 * i] = hex[digest[i] >> 4];
        text[2 * i + 1] = hex[digest[i] & 15];
    }
    text[FLECK_SHA256_TEXT_BYTES - 1] = '\0';
}

void fleck_sha256_bytes(const void *bytes, size_t size, char text[FLECK_SHA256_TEXT_BYTES])
{
    struct sha256_ctx context;

    sha256_init(&context);
    sha256_update(&context, size, bytes);
    finish(&context, text);
}

struct fleck_sha256 {
    struct sha256_ctx context;
};

fleck_sha256 *fleck_sha256_new(void)
{
    fleck_sha256 *hash = fleck_alloc_array(1, sizeof *hash);

    if (hash != NULL)
        sha256_init(&hash->context);
    return hash;
}

void fleck_sha256_add(fleck_sha256 *hash, const void *bytes, size_t size)
{
    sha256_update(&hash->context, size, bytes);
}

void fleck_sha256_finish(fleck_sha256 *hash, char text[FLECK_SHA256_TEXT_BYTES])
{
    finish(&hash->context, text);
}

void fleck_sha256_free(fleck_sha256 *hash)
{
    fleck_free(hash);
}

fleck_status fleck_sha256_file(const char *path, char text[FLECK_SHA256_TEXT_BYTES],
                               fleck_error *err)
{
    uint8_t buffer[65536];
    struct sha256_ctx context;
    ssize_t got;
    const int descriptor = open(path, O_RDONLY | O_CLOEXEC);

    if (descriptor < 0)
        return fleck_fail(err, FLECK_BAD_INPUT, "cannot be opened; check the name and permissions");
    sha256_init(&context);
    do {
        got = read(descriptor, buffer, sizeof buffer);
        if (got > 0)
            sha256_update(&context, (size_t)got, buffer);
    } while (got > 0 || (got < 0 && errno == EINTR));
    close(descriptor);
    if (got < 0)
        return fleck_fail(err, FLECK_BAD_INPUT, "cannot be read to its end; check the disk");
    finish(&context, text);
    return FLECK_OK;
}
