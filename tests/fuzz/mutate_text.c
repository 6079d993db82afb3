/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Changes that leave a table or a JSON document one: a word is replaced by a value that is at the end of
 * some range or by another word of the same text, dropped with all up to the next comma, or said twice.
 * Half of the time libFuzzer changes single bytes as it always does.
 */
#include <ctype.h>
#include <stdbool.h>
#include <stdint.h>
#include <string.h>

size_t LLVMFuzzerMutate(uint8_t *bytes, size_t size, size_t most);
size_t LLVMFuzzerCustomMutator(uint8_t *bytes, size_t size, size_t most, unsigned seed);

static const char *const values[] = {
    "", "null", "true", "0", "-1", "1", "-0.0", "0.5", "2", "3", "100", "1e-308", "5e-324", "1e308",
    "-1e308", "1e400", "1e17", "255", "256", "65535", "65536", "2147483647", "2147483648", "4294967295",
    "4294967296", "9007199254740993", "18446744073709551615", "18446744073709551616", "[]", "{}", "[[]]",
    "\"\"", "\"..\"", "\"a,b\"", "\"\\u0000\"", "\"\\ud800\"", "nan", "inf", "1,5", "=1+1", "../x", "A"
};

static unsigned next(unsigned *state)
{
    *state = *state * 1664525u + 1013904223u;
    return *state >> 8;
}

static bool is_word(uint8_t byte)
{
    return isalnum(byte) || byte == '.' || byte == '-' || byte == '+' || byte == '_' || byte >= 0x80;
}

/* A word at or behind some place; of no length when there is none. */
static size_t find_word(const uint8_t *bytes, size_t size, size_t from, size_t *length)
{
    size_t at = from;

    while (at < size && !is_word(bytes[at]))
        at++;
    while (at > 0 && at < size && is_word(bytes[at - 1]))
        at--;
    for (*length = 0; at + *length < size && is_word(bytes[at + *length]);)
        ++*length;
    return at;
}

/* Put other bytes in the place of some; the size stays as it is where there is no room. */
static size_t replace(uint8_t *bytes, size_t size, size_t most, size_t at, size_t length,
                      const uint8_t *by, size_t by_length)
{
    if (size - length + by_length > most)
        return size;
    memmove(bytes + at + by_length, bytes + at + length, size - at - length);
    memcpy(bytes + at, by, by_length);
    return size - length + by_length;
}

static size_t change(uint8_t *bytes, size_t size, size_t most, unsigned *state)
{
    uint8_t kept[256];
    size_t length, other_length;
    const size_t at = find_word(bytes, size, next(state) % size, &length);
    const size_t other = find_word(bytes, size, next(state) % size, &other_length);
    const char *const value = values[next(state) % (sizeof values / sizeof *values)];

    switch (next(state) % 4) {
    case 0:
        other_length = other_length < sizeof kept ? other_length : sizeof kept;
        memcpy(kept, bytes + other, other_length);
        return replace(bytes, size, most, at, length, kept, other_length);
    case 1: /* up to the comma, and no further */
        while (at + length < size && length < 2000 && bytes[at + length] != ',')
            length++;
        length += at + length < size ? 1 : 0;
        return replace(bytes, size, most, at, length, kept, 0);
    case 2:
        while (at + length < size && length < sizeof kept && bytes[at + length] != ',')
            length++;
        length = at + length < size && length < sizeof kept ? length + 1 : length;
        length = length < sizeof kept ? length : sizeof kept; /* a word may be longer */
        memcpy(kept, bytes + at, length);
        return replace(bytes, size, most, at, 0, kept, length);
    default:
        return replace(bytes, size, most, at, length, (const uint8_t *)value, strlen(value));
    }
}

size_t LLVMFuzzerCustomMutator(uint8_t *bytes, size_t size, size_t most, unsigned seed)
{
    unsigned state = seed;

    if (size == 0 || next(&state) % 2 == 0)
        return LLVMFuzzerMutate(bytes, size, most);
    for (unsigned rounds = next(&state) % 3 + 1; rounds > 0 && size > 0; rounds--)
        size = change(bytes, size, most, &state);
    return size;
}
