/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "config.h"
#include "reader_inner.h"
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* Twice what a pipe holds: fewer calls, and still in the cache of one core. */
enum { FIRST_ROOM = 1 << 17 };

enum dw_status dwi_source_open(struct source *source, const char *path, struct dw_error *error)
{
    const bool standard = !path || !strcmp(path, "-");
    *source = (struct source){ .descriptor = standard ? STDIN_FILENO : -1, .owned = !standard, .room = FIRST_ROOM };
    source->name = strdup(standard ? "standard input" : path);
    source->buffer = malloc(source->room);
    if (!source->name || !source->buffer)
        return dw_no_memory(error);
    while (!standard && source->descriptor < 0) {
        source->descriptor = open(path, O_RDONLY | O_CLOEXEC);
        if (source->descriptor < 0 && errno != EINTR)  /* unrun: system-call */
            return dw_error_file(error, path, errno);
    }
    struct stat about;
    const off_t from = lseek(source->descriptor, 0, SEEK_CUR);
    /* unrun: system-call */
    if (!fstat(source->descriptor, &about) && S_ISREG(about.st_mode) && from >= 0 && from < about.st_size)
        source->size = (unsigned long long)(about.st_size - from);
    return DW_OK;
}

static void tell(struct source *source)
{
    if (source->ended)
        source->size = source->bytes;
    else if (source->bytes >= source->size) /* it grows while it is read */
        source->size = 0;
    if (source->progress)
        source->progress(source->context, source->name, source->bytes, source->size);
}

void dwi_source_close(struct source *source)
{
    if (source->owned && source->descriptor >= 0)
        close(source->descriptor);
    free(source->name);
    free(source->buffer);
}

void dwi_source_compact(struct source *source)
{
    memmove(source->buffer, source->buffer + source->first, source->last - source->first);
    source->last -= source->first;
    source->first = 0;
}

static enum dw_status make_room(struct source *source, struct dw_error *error)
{
    if (source->first)
        dwi_source_compact(source);
    if (source->last < source->room)
        return DW_OK;
    char *grown = realloc(source->buffer, 2 * source->room);
    if (!grown)  /* unrun: passed-on */
        return dw_no_memory(error);
    source->buffer = grown;
    source->room *= 2;
    return DW_OK;
}

enum dw_status dwi_source_more(struct source *source, struct dw_error *error)
{
    const enum dw_status status = source->ended ? DW_END : make_room(source, error);
    if (status != DW_OK)
        return status;
    for (;;) {
        const ssize_t got = read(source->descriptor, source->buffer + source->last, source->room - source->last);
        if (got > 0) {
            source->last += (size_t)got;
            source->bytes += (unsigned long long)got;
            tell(source);
            return DW_OK;
        }
        if (got == 0) {
            source->ended = true;
            tell(source);
            return DW_END;
        }
        /* unrun: system-call */
        if (errno == EAGAIN || errno == EWOULDBLOCK) /* someone made it non-blocking: wait all the same */
            poll(&(struct pollfd){ .fd = source->descriptor, .events = POLLIN }, 1, -1);
        else if (errno != EINTR)
            return dw_error_file(error, source->name, errno);
    }
}

enum dw_status dwi_source_append(struct source *source, char byte, struct dw_error *error)
{
    const enum dw_status status = make_room(source, error);
    if (status == DW_OK)  /* unrun: passed-on */
        source->buffer[source->last++] = byte;
    return status;
}
