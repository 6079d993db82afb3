/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Makes the N-th call of one kind fail: a library to be loaded before the program (LD_PRELOAD).
 *
 *   FAIL_NTH=KIND:N[+][:ERRNO]   KIND alloc, open, read, write, sync, rename or thread; N from 1; with +
 *                                all calls from the N-th on fail; ERRNO a number (default: the usual one)
 *   FAIL_NTH_COUNTS=FILE         at the end, how many calls of each kind there were, and one line
 *                                "leak BYTES PLACE" for each block that fleck's own code took and left
 *   FAIL_NTH_PAUSE=KIND:N        stop (SIGSTOP) before that call instead, for a test that acts meanwhile
 *
 * A crash (SIGSEGV, SIGABRT) is told in the file of counts too, as "crash LIBRARY" of the code at fault.
 *
 * Counted from the start of main, not what the loader and libraries do before. A failing write on a
 * stream sets its error flag, as the C library does. Looking up a font is spared: fontconfig crashes without
 * memory, and nobody who calls it can help that.
 */
#define _GNU_SOURCE
#undef _FORTIFY_SOURCE /* its checked headers define some of what is defined here */
#include <dirent.h>
#include <dlfcn.h>
#include <errno.h>
#include <execinfo.h>
#include <fcntl.h>
#include <malloc.h>
#include <pthread.h>
#include <signal.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* sizes are passed on as they come, and this file stands outside fleck's own checks */
#pragma GCC diagnostic ignored "-Wpedantic"

#define API __attribute__((visibility("default")))

enum kind { ALLOC, OPEN, READ, WRITE, SYNC, RENAME, THREAD, KINDS };

static const char *const names[KINDS] = { "alloc", "open", "read", "write", "sync", "rename", "thread" };
static const int usual[KINDS] = { ENOMEM, EACCES, EIO, ENOSPC, EIO, EACCES, EAGAIN };

static atomic_bool counting;
static atomic_size_t counts[KINDS];
static enum kind failing = KINDS, pausing = KINDS;
static size_t fail_at, pause_at;
static bool fail_on;
static int fail_errno;

static _Thread_local bool spared;

static bool fails(enum kind kind)
{
    size_t number;

    if (!atomic_load(&counting) || spared)
        return false;
    number = atomic_fetch_add(&counts[kind], 1) + 1;
    if (kind == pausing && number == pause_at)
        raise(SIGSTOP);
    if (kind != failing || !(number == fail_at || (fail_on && number > fail_at)))
        return false;
    errno = fail_errno;
    return true;
}

/* the C library's own function; the first calls come before any constructor has run */
#define REAL(name) \
    static __typeof__(name) *real; \
    if (real == NULL) \
        real = (__typeof__(name) *)dlsym(RTLD_NEXT, #name)

/* ---- memory, and who holds it ------------------------------------------------------------- */

extern void *__libc_malloc(size_t size);
extern void *__libc_calloc(size_t count, size_t size);
extern void *__libc_realloc(void *block, size_t size);
extern void __libc_free(void *block);

enum { HELD = 1 << 20 };

static struct held {
    uintptr_t block; /* 0: never used, 1: given back */
    void *caller;
    size_t bytes;
} held[HELD];

static pthread_mutex_t held_lock = PTHREAD_MUTEX_INITIALIZER;

static void hold(void *block, size_t bytes, void *caller)
{
    size_t at = ((uintptr_t)block >> 4) * 2654435761u % HELD;

    if (block == NULL || !atomic_load(&counting))
        return;
    pthread_mutex_lock(&held_lock);
    for (size_t tries = 0; tries < 4096; tries++, at = (at + 1) % HELD) {
        if (held[at].block <= 1) {
            held[at] = (struct held){ (uintptr_t)block, caller, bytes };
            break;
        }
    }
    pthread_mutex_unlock(&held_lock);
}

static void let_go(void *block)
{
    size_t at = ((uintptr_t)block >> 4) * 2654435761u % HELD;

    if (block == NULL)
        return;
    pthread_mutex_lock(&held_lock);
    for (size_t tries = 0; tries < 4096 && held[at].block != 0; tries++, at = (at + 1) % HELD) {
        if (held[at].block == (uintptr_t)block) {
            held[at].block = 1;
            break;
        }
    }
    pthread_mutex_unlock(&held_lock);
}

API void *malloc(size_t size)
{
    void *block;

    if (fails(ALLOC))
        return NULL;
    block = __libc_malloc(size);
    hold(block, size, __builtin_return_address(0));
    return block;
}

API void *calloc(size_t count, size_t size)
{
    void *block;

    if (fails(ALLOC))
        return NULL;
    block = __libc_calloc(count, size);
    hold(block, count * size, __builtin_return_address(0));
    return block;
}

API void *realloc(void *block, size_t size)
{
    void *moved;

    if (fails(ALLOC))
        return NULL;
    let_go(block);
    moved = __libc_realloc(block, size);
    hold(moved != NULL ? moved : block, size, __builtin_return_address(0));
    return moved;
}

extern void *__libc_memalign(size_t align, size_t size);

API void *memalign(size_t align, size_t size)
{
    void *block;

    if (fails(ALLOC))
        return NULL;
    block = __libc_memalign(align, size);
    hold(block, size, __builtin_return_address(0));
    return block;
}

API void *aligned_alloc(size_t align, size_t size)
{
    return memalign(align, size);
}

API int posix_memalign(void **block, size_t align, size_t size)
{
    const int code = errno;

    *block = memalign(align, size);
    errno = code;
    return *block == NULL ? ENOMEM : 0;
}

API void free(void *block)
{
    let_go(block);
    __libc_free(block);
}

/* ---- files -------------------------------------------------------------------------------- */

static mode_t mode_of(int flags, va_list more)
{
    return (flags & (O_CREAT | O_TMPFILE)) != 0 ? (mode_t)va_arg(more, int) : 0;
}

#define OPENER(name) \
    API int name(const char *path, int flags, ...) \
    { \
        va_list more; \
        mode_t mode; \
        REAL(name); \
        va_start(more, flags); \
        mode = mode_of(flags, more); \
        va_end(more); \
        return fails(OPEN) ? -1 : real(path, flags, mode); \
    }
OPENER(open)
OPENER(open64)

#define AT_OPENER(name) \
    API int name(int folder, const char *path, int flags, ...) \
    { \
        va_list more; \
        mode_t mode; \
        REAL(name); \
        va_start(more, flags); \
        mode = mode_of(flags, more); \
        va_end(more); \
        return fails(OPEN) ? -1 : real(folder, path, flags, mode); \
    }
AT_OPENER(openat)
AT_OPENER(openat64)

/* TYPE name PARAMETERS: fails as the kind and returns WRONG then */
#define PLAIN(type, name, parameters, arguments, kind, wrong) \
    API type name parameters \
    { \
        REAL(name); \
        return fails(kind) ? wrong : real arguments; \
    }
/* what the C library's checked headers (_FORTIFY_SOURCE) call in place of the above and the below */
#define CHECKED_OPENER(name, parameters, arguments) \
    extern int name parameters; \
    API int name parameters \
    { \
        REAL(name); \
        return fails(OPEN) ? -1 : real arguments; \
    }
CHECKED_OPENER(__open_2, (const char *path, int flags), (path, flags))
CHECKED_OPENER(__open64_2, (const char *path, int flags), (path, flags))
CHECKED_OPENER(__openat_2, (int folder, const char *path, int flags), (folder, path, flags))
CHECKED_OPENER(__openat64_2, (int folder, const char *path, int flags), (folder, path, flags))

PLAIN(FILE *, fopen, (const char *path, const char *mode), (path, mode), OPEN, NULL)
PLAIN(FILE *, fopen64, (const char *path, const char *mode), (path, mode), OPEN, NULL)
PLAIN(FILE *, fdopen, (int file, const char *mode), (file, mode), OPEN, NULL)
PLAIN(FILE *, tmpfile, (void), (), OPEN, NULL)
PLAIN(FILE *, tmpfile64, (void), (), OPEN, NULL)
PLAIN(int, mkstemp, (char *path), (path), OPEN, -1)
PLAIN(int, mkstemp64, (char *path), (path), OPEN, -1)
PLAIN(int, mkdir, (const char *path, mode_t mode), (path, mode), OPEN, -1)
PLAIN(DIR *, opendir, (const char *path), (path), OPEN, NULL)
PLAIN(DIR *, fdopendir, (int file), (file), OPEN, NULL)
PLAIN(ssize_t, read, (int file, void *bytes, size_t size), (file, bytes, size), READ, -1)
PLAIN(ssize_t, pread, (int file, void *bytes, size_t size, off_t at), (file, bytes, size, at), READ, -1)
PLAIN(ssize_t, pread64, (int file, void *bytes, size_t size, off64_t at), (file, bytes, size, at), READ,
      -1)
extern ssize_t __read_chk(int file, void *bytes, size_t size, size_t room);
extern ssize_t __pread_chk(int file, void *bytes, size_t size, off_t at, size_t room);
extern ssize_t __pread64_chk(int file, void *bytes, size_t size, off64_t at, size_t room);
PLAIN(ssize_t, __read_chk, (int file, void *bytes, size_t size, size_t room), (file, bytes, size, room),
      READ, -1)
PLAIN(ssize_t, __pread_chk, (int file, void *bytes, size_t size, off_t at, size_t room),
      (file, bytes, size, at, room), READ, -1)
PLAIN(ssize_t, __pread64_chk, (int file, void *bytes, size_t size, off64_t at, size_t room),
      (file, bytes, size, at, room), READ, -1)
PLAIN(struct dirent *, readdir, (DIR *folder), (folder), READ, NULL)
PLAIN(struct dirent64 *, readdir64, (DIR *folder), (folder), READ, NULL)
PLAIN(ssize_t, write, (int file, const void *bytes, size_t size), (file, bytes, size), WRITE, -1)
PLAIN(ssize_t, pwrite, (int file, const void *bytes, size_t size, off_t at), (file, bytes, size, at),
      WRITE, -1)
PLAIN(ssize_t, pwrite64, (int file, const void *bytes, size_t size, off64_t at), (file, bytes, size, at),
      WRITE, -1)
PLAIN(int, fsync, (int file), (file), SYNC, -1)
PLAIN(int, fdatasync, (int file), (file), SYNC, -1)
PLAIN(int, fchmod, (int file, mode_t mode), (file, mode), SYNC, -1)
PLAIN(int, rename, (const char *from, const char *to), (from, to), RENAME, -1)

/* stderr never fails: what is said there must be seen by the test */
static bool stream_fails(enum kind kind, FILE *stream)
{
    if (stream == stderr || !fails(kind))
        return false;
    stream->_flags |= _IO_ERR_SEEN;
    return true;
}

#define STREAM(type, name, parameters, arguments, kind, stream, wrong) \
    API type name parameters \
    { \
        REAL(name); \
        return stream_fails(kind, stream) ? wrong : real arguments; \
    }
STREAM(size_t, fread, (void *bytes, size_t size, size_t count, FILE *stream),
       (bytes, size, count, stream), READ, stream, 0)
extern size_t __fread_chk(void *bytes, size_t room, size_t size, size_t count, FILE *stream);
STREAM(size_t, __fread_chk, (void *bytes, size_t room, size_t size, size_t count, FILE *stream),
       (bytes, room, size, count, stream), READ, stream, 0)
STREAM(size_t, fwrite, (const void *bytes, size_t size, size_t count, FILE *stream),
       (bytes, size, count, stream), WRITE, stream, 0)

API int fflush(FILE *stream)
{
    REAL(fflush);
    return stream != NULL && stream_fails(WRITE, stream) ? EOF : real(stream);
}

/* closed all the same, as close(2) does when it reports a late error */
API int fclose(FILE *stream)
{
    const bool wrong = fails(WRITE);
    const int code = errno;
    int result;
    REAL(fclose);

    result = real(stream);
    if (wrong)
        errno = code;
    return wrong ? EOF : result;
}

API int pthread_create(pthread_t *thread, const pthread_attr_t *how, void *(*run)(void *), void *context)
{
    REAL(pthread_create);
    return fails(THREAD) ? fail_errno : real(thread, how, run, context);
}

/* ---- what is spared ------------------------------------------------------------------------ */

API void *cairo_scaled_font_create(void *face, const void *size, const void *place, const void *options)
{
    typedef void *create(void *, const void *, const void *, const void *);
    create *const real = (create *)dlsym(RTLD_NEXT, "cairo_scaled_font_create");
    void *font;

    spared = true;
    font = real(face, size, place, options);
    spared = false;
    return font;
}

/* ---- beginning and end -------------------------------------------------------------------- */

static enum kind find_kind(const char **text)
{
    for (int kind = 0; kind < KINDS; kind++) {
        const size_t length = strlen(names[kind]);

        if (strncmp(*text, names[kind], length) == 0 && (*text)[length] == ':') {
            *text += length + 1;
            return (enum kind)kind;
        }
    }
    return KINDS;
}

/* What ends the process by itself or for a wrong address: not the C library, nor this. */
static const char *library_at(uintptr_t place)
{
    Dl_info about;
    const char *slash;

    if (dladdr((void *)place, &about) == 0 || about.dli_fname == NULL)
        return NULL;
    slash = strrchr(about.dli_fname, '/');
    return slash != NULL ? slash + 1 : about.dli_fname;
}

static const char *library_that_aborts(void)
{
    void *places[64];
    const int count = backtrace(places, 64);

    for (int i = 0; i < count; i++) {
        const char *const name = library_at((uintptr_t)places[i]);

        if (name != NULL && strncmp(name, "libc.so", 7) != 0 && strncmp(name, "libfail_nth", 11) != 0)
            return name;
    }
    return NULL;
}

/* The library at fault, before the signal does what it does by itself. */
static void on_crash(int number, siginfo_t *info, void *context)
{
    const char *const path = getenv("FAIL_NTH_COUNTS");
    const ucontext_t *const at = context;
    uintptr_t place = 0;
    const char *library;

    (void)info;
    signal(number, SIG_DFL);
#if defined(__x86_64__)
    place = (uintptr_t)at->uc_mcontext.gregs[REG_RIP];
#elif defined(__aarch64__)
    place = (uintptr_t)at->uc_mcontext.pc;
#endif
    atomic_store(&counting, false);
    library = number == SIGABRT ? library_that_aborts() : library_at(place);
    if (path != NULL && library != NULL) {
        FILE *const stream = fopen(path, "w");

        if (stream != NULL) {
            fprintf(stream, "crash %s\n", library);
            fclose(stream);
        }
    }
}

static void read_orders(void)
{
    const struct sigaction crash = { .sa_sigaction = on_crash, .sa_flags = SA_SIGINFO };
    const char *order = getenv("FAIL_NTH");
    char *end;

    if (order != NULL && (failing = find_kind(&order)) != KINDS) {
        fail_at = strtoul(order, &end, 10);
        fail_on = *end == '+';
        end += fail_on;
        fail_errno = *end == ':' ? atoi(end + 1) : usual[failing];
    }
    sigaction(SIGSEGV, &crash, NULL);
    sigaction(SIGABRT, &crash, NULL);
    order = getenv("FAIL_NTH_PAUSE");
    if (order != NULL && (pausing = find_kind(&order)) != KINDS)
        pause_at = strtoul(order, NULL, 10);
}

static void tell(void)
{
    const char *const path = getenv("FAIL_NTH_COUNTS");
    FILE *stream;

    atomic_store(&counting, false);
    if (path == NULL || (stream = fopen(path, "w")) == NULL)
        return;
    for (int kind = 0; kind < KINDS; kind++)
        fprintf(stream, "%s %zu\n", names[kind], atomic_load(&counts[kind]));
    for (size_t i = 0; i < HELD; i++) {
        Dl_info about;
        const char *file;

        if (held[i].block <= 1 || dladdr(held[i].caller, &about) == 0 || about.dli_fname == NULL)
            continue;
        file = strrchr(about.dli_fname, '/');
        file = file != NULL ? file + 1 : about.dli_fname;
        if (strncmp(file, "libfleck", 8) == 0 || strcmp(file, "fleck") == 0)
            fprintf(stream, "leak %zu %s+0x%zx\n", held[i].bytes, file,
                    (size_t)((char *)held[i].caller - (char *)about.dli_fbase));
    }
    fclose(stream);
}

typedef int (*main_function)(int count, char **words, char **environment);

static main_function real_main;

static int counted_main(int count, char **words, char **environment)
{
    int code;

    read_orders();
    atexit(tell);
    atomic_store(&counting, true);
    code = real_main(count, words, environment);
    /* what is still in the streams goes out while calls may fail */
    return code;
}

API int __libc_start_main(main_function begin, int count, char **words, void (*init)(void),
                          void (*fini)(void), void (*loader_fini)(void), void *stack_end)
{
    typedef int start(main_function, int, char **, void (*)(void), void (*)(void), void (*)(void),
                      void *);
    start *const real = (start *)dlsym(RTLD_NEXT, "__libc_start_main");

    real_main = begin;
    return real(counted_main, count, words, init, fini, loader_fini, stack_end);
}
