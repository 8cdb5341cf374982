/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "figure.h"
#include "config.h"
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static enum dw_status failed(const char *path, int reason, struct dw_error *error)
{
    const char *name = strcmp(path, "-") ? path : "standard output";
    return dw_error_set(error, reason == EPIPE ? DW_CLOSED_PIPE : DW_SYSTEM, 0, "%s: %s", name, strerror(reason));
}

/* Path up to its last slash, "." where there is none; NULL: no memory. */
static char *folder_of(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? strndup(path, slash == path ? 1 : (size_t)(slash - path)) : strdup(".");
}

static enum dw_status check_folder(const char *path, struct dw_error *error)
{
    char *folder = folder_of(path);
    enum dw_status status = DW_OK;
    struct stat found;
    if (!folder)
        return dw_no_memory(error);
    if (stat(folder, &found))
        status = dw_error_set(error, DW_BAD_USE, 0, "'%s': %s: %s", path, folder, strerror(errno));
    else if (!S_ISDIR(found.st_mode))
        status = dw_error_set(error, DW_BAD_USE, 0, "'%s': %s is no folder", path, folder);
    else if (access(folder, W_OK | X_OK))
        status = dw_error_set(error, DW_BAD_USE, 0, "'%s': the folder %s is not writable", path, folder);
    free(folder);
    return status;
}

enum dw_status whole_file_check(const char *path, struct dw_error *error)
{
    struct stat found;
    if (!strcmp(path, "-"))
        return DW_OK;
    if (stat(path, &found))
        return lstat(path, &found) ? check_folder(path, error)
                                   : dw_error_set(error, DW_BAD_USE, 0, "'%s' is a link to a file that is not there", path);
    if (S_ISDIR(found.st_mode))
        return dw_error_set(error, DW_BAD_USE, 0, "'%s' is a folder", path);
    if (access(path, W_OK) || (S_ISREG(found.st_mode) && !(found.st_mode & (S_IWUSR | S_IWGRP | S_IWOTH))))
        return dw_error_set(error, DW_BAD_USE, 0, "'%s' is read-only", path);
    return S_ISREG(found.st_mode) ? check_folder(path, error) : DW_OK;
}

bool whole_file_is(const char *path, const char *other)
{
    struct stat one, two;
    return strcmp(path, "-") && strcmp(other, "-") && !stat(path, &one) && !stat(other, &two) && S_ISREG(one.st_mode) &&
           one.st_dev == two.st_dev && one.st_ino == two.st_ino;
}

/* 0, or the reason for which not all could be written */
static int write_all(int descriptor, const char *bytes, size_t size)
{
    for (size_t done = 0; done < size;) {
        const ssize_t written = write(descriptor, bytes + done, size - done);
        if (written < 0 && errno != EINTR)
            return errno;
        done += written > 0 ? (size_t)written : 0;
    }
    return 0;
}

static int write_device(const char *path, const char *bytes, size_t size)
{
    const int descriptor = open(path, O_WRONLY | O_NOCTTY | O_CLOEXEC);
    if (descriptor < 0)
        return errno;
    const int reason = write_all(descriptor, bytes, size);
    return close(descriptor) && !reason ? errno : reason;
}

/* The permissions a new file would have, or those of the file that is replaced. */
static mode_t mode_for(const char *path)
{
    struct stat found;
    if (!stat(path, &found))
        return found.st_mode & 0777;
    const mode_t mask = umask(0);
    umask(mask);
    return 0666 & ~mask;
}

static int fill(int descriptor, const char *path, const char *bytes, size_t size)
{
    const int reason = write_all(descriptor, bytes, size);
    return reason ? reason : fchmod(descriptor, mode_for(path)) || fsync(descriptor) ? errno : 0;
}

/* Opens a file that has no name yet, so that nothing stays of a process that is killed. -1: not to be had here. */
static int open_nameless(const char *folder)
{
#ifdef O_TMPFILE
    if (!access("/proc/self/fd", X_OK))
        return open(folder, O_TMPFILE | O_WRONLY | O_CLOEXEC, S_IRUSR | S_IWUSR);
#endif
    (void)folder;
    return -1;
}

/* Gives it a name that ends in six digits, written over the end of `aside`. */
static int name_it(int descriptor, char *aside)
{
    enum { DIGITS = 6, NUMBERS = 1000000, TRIALS = 100 };
    char held[64];
    snprintf(held, sizeof held, "/proc/self/fd/%d", descriptor);
    for (int i = 0; i < TRIALS; i++) {
        snprintf(aside + strlen(aside) - DIGITS, DIGITS + 1, "%06u", ((unsigned)getpid() + (unsigned)i) % NUMBERS);
        if (!linkat(AT_FDCWD, held, AT_FDCWD, aside, AT_SYMLINK_FOLLOW))
            return 0;
        if (errno != EEXIST)
            break;
    }
    return errno;
}

/* aside: a template for mkstemp in that folder, which ends in XXXXXX */
static int write_aside(const char *path, const char *folder, char *aside, const char *bytes, size_t size)
{
    int descriptor = open_nameless(folder);
    bool named = descriptor < 0;
    if (named && (descriptor = mkstemp(aside)) < 0)
        return errno;
    int reason = fill(descriptor, path, bytes, size);
    if (!reason && !named) {
        reason = name_it(descriptor, aside);
        named = !reason;
    }
    if (close(descriptor) && !reason)
        reason = errno;
    if (!reason && rename(aside, path))
        reason = errno;
    if (reason && named)
        unlink(aside);
    return reason;
}

/* Signals that end a program wait until no name is left aside. */
static int replace(const char *path, const char *bytes, size_t size)
{
    static const char name[] = "/.dw-plot-XXXXXX";
    static const int ending[] = { SIGHUP, SIGINT, SIGQUIT, SIGTERM, SIGXFSZ };
    sigset_t held, before;
    sigemptyset(&held);
    for (size_t i = 0; i < sizeof ending / sizeof *ending; i++)
        sigaddset(&held, ending[i]);
    char *folder = folder_of(path), *aside = folder ? malloc(strlen(folder) + sizeof name) : NULL;
    int reason = ENOMEM;
    if (aside && !(reason = sigprocmask(SIG_BLOCK, &held, &before) ? errno : 0)) {
        strcpy(stpcpy(aside, folder), name);
        reason = write_aside(path, folder, aside, bytes, size);
        sigprocmask(SIG_SETMASK, &before, NULL);
    }
    free(aside);
    free(folder);
    return reason;
}

enum dw_status whole_file_write(const char *path, const char *bytes, size_t size, struct dw_error *error)
{
    struct stat found;
    int reason;
    if (!strcmp(path, "-")) {
        reason = write_all(STDOUT_FILENO, bytes, size);
    } else if (!stat(path, &found) && !S_ISREG(found.st_mode)) {
        reason = write_device(path, bytes, size);
    } else {
        char *target = realpath(path, NULL); /* the file itself, not the link that names it */
        reason = replace(target ? target : path, bytes, size);
        free(target);
    }
    return reason ? failed(path, reason, error) : DW_OK;
}
