/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Preloaded into a program (LD_PRELOAD), makes one kind of call fail at its n-th use:
 *   FAIL_CALL     memory (malloc, calloc, realloc, aligned ones), or read, write, close, fclose, fsync, linkat, rename
 *   FAIL_AT       the first use that fails, from 1; 0 only counts
 *   FAIL_FOR      how many uses fail in a row; 0 all that follow
 *   FAIL_ERRNO    errno of the failing call; 0: read and write succeed with one byte, as a slow pipe may
 *   FAIL_SIGNAL   the call does not fail; the process gets this signal before it instead
 *   FAIL_PIECE    at most so many bytes are written by one call
 *   FAIL_NAMELESS set: a file system without nameless files (O_TMPFILE)
 *   FAIL_REPORT   a descriptor: "failed" is written there at the first failure, "counted N" when the program ends
 * What fails does nothing, but for close and fclose, which have always closed (close(2)). Nothing fails, nor is counted,
 * once the program's own end has come: a build for coverage writes its counts after that. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <unistd.h>

void *__libc_malloc(size_t size);
void *__libc_calloc(size_t count, size_t size);
void *__libc_realloc(void *old, size_t size);
void *__libc_memalign(size_t alignment, size_t size);

static struct {
    bool known, told, over;
    const char *call;
    long at, during, count, piece;
    int number, report, signal;
} plan;

static long setting(const char *name, long otherwise)
{
    const char *text = getenv(name);
    return text ? strtol(text, NULL, 10) : otherwise;
}

/* The report goes round the write below. */
static void tell(const char *text)
{
    if (plan.report >= 0)
        syscall(SYS_write, plan.report, text, strlen(text));
}

static bool fails(const char *call)
{
    if (!plan.known) {
        plan.known = true;
        plan.call = getenv("FAIL_CALL");
        plan.at = setting("FAIL_AT", 0);
        plan.during = setting("FAIL_FOR", 1);
        plan.piece = setting("FAIL_PIECE", 0);
        plan.signal = (int)setting("FAIL_SIGNAL", 0);
        plan.number = (int)setting("FAIL_ERRNO", ENOMEM);
        plan.report = (int)setting("FAIL_REPORT", -1);
    }
    if (!plan.call || strcmp(plan.call, call) || plan.over)
        return false;
    plan.count++;
    if (!plan.at || plan.count < plan.at || (plan.during && plan.count >= plan.at + plan.during))
        return false;
    if (!plan.told)
        tell("failed\n");
    plan.told = true;
    if (plan.signal)
        kill(getpid(), plan.signal);
    errno = plan.number;
    return !plan.signal;
}

__attribute__((destructor)) static void report_count(void)
{
    char text[40];
    snprintf(text, sizeof text, "counted %ld\n", plan.count);
    tell(text);
}

static int (*program_main)(int, char **, char **);

static void end(void)
{
    plan.over = true;
}

/* Functions given to atexit here run after the program's own and before every destructor. */
static int main_with_end(int argc, char **argv, char **environment)
{
    atexit(end);
    return program_main(argc, argv, environment);
}

int __libc_start_main(int (*main)(int, char **, char **), int argc, char **argv, void (*init)(void), void (*fini)(void),
                      void (*rtld_fini)(void), void *stack_end)
{
    int (*next)(int (*)(int, char **, char **), int, char **, void (*)(void), void (*)(void), void (*)(void), void *) =
        (int (*)(int (*)(int, char **, char **), int, char **, void (*)(void), void (*)(void), void (*)(void), void *))dlsym(
            RTLD_NEXT, "__libc_start_main");
    program_main = main;
    return next(main_with_end, argc, argv, init, fini, rtld_fini, stack_end);
}

void *malloc(size_t size)
{
    return fails("memory") ? NULL : __libc_malloc(size);
}

void *calloc(size_t count, size_t size)
{
    return fails("memory") ? NULL : __libc_calloc(count, size);
}

void *realloc(void *old, size_t size)
{
    return fails("memory") ? NULL : __libc_realloc(old, size);
}

void *memalign(size_t alignment, size_t size)
{
    return fails("memory") ? NULL : __libc_memalign(alignment, size);
}

void *aligned_alloc(size_t alignment, size_t size)
{
    return fails("memory") ? NULL : __libc_memalign(alignment, size);
}

int posix_memalign(void **block, size_t alignment, size_t size)
{
    if (fails("memory"))
        return ENOMEM;
    *block = __libc_memalign(alignment, size);
    return *block ? 0 : ENOMEM;
}

ssize_t read(int descriptor, void *to, size_t size)
{
    if (fails("read")) {
        if (plan.number)
            return -1;
        size = size ? 1 : 0;
    }
    return syscall(SYS_read, descriptor, to, size);
}

ssize_t write(int descriptor, const void *from, size_t size)
{
    if (descriptor != STDERR_FILENO && fails("write")) {
        if (plan.number)
            return -1;
        size = size ? 1 : 0;
    }
    if (plan.piece && size > (size_t)plan.piece)
        size = (size_t)plan.piece;
    return syscall(SYS_write, descriptor, from, size);
}

int close(int descriptor)
{
    const bool failing = fails("close");
    const int done = (int)syscall(SYS_close, descriptor);
    if (failing)
        errno = plan.number;
    return failing ? -1 : done;
}

int fsync(int descriptor)
{
    return fails("fsync") ? -1 : (int)syscall(SYS_fsync, descriptor);
}

int rename(const char *from, const char *to)
{
    return fails("rename") ? -1 : (int)syscall(SYS_renameat2, AT_FDCWD, from, AT_FDCWD, to, 0);
}

int linkat(int from_folder, const char *from, int to_folder, const char *to, int flags)
{
    return fails("linkat") ? -1 : (int)syscall(SYS_linkat, from_folder, from, to_folder, to, flags);
}

int open(const char *path, int flags, ...)
{
    va_list more;
    va_start(more, flags);
    const mode_t mode = flags & (O_CREAT | O_TMPFILE) ? va_arg(more, mode_t) : 0;
    va_end(more);
    if ((flags & O_TMPFILE) == O_TMPFILE && getenv("FAIL_NAMELESS")) {
        errno = EOPNOTSUPP;
        return -1;
    }
    return (int)syscall(SYS_openat, AT_FDCWD, path, flags, mode);
}

int fclose(FILE *file)
{
    int (*next)(FILE *) = (int (*)(FILE *))dlsym(RTLD_NEXT, "fclose");
    /* a stream in memory has nothing to write to that could be full */
    const bool failing = file != stderr && fileno(file) >= 0 && fails("fclose");
    const int done = next(file);
    if (failing)
        errno = plan.number;
    return failing ? EOF : done;
}
