/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Bytes in through read(2): one buffer whose unread part the reader sees whole. Not installed. */
#ifndef TABLE_SOURCE_INNER_H
#define TABLE_SOURCE_INNER_H

#include <dutywright/status.h>
#include <stdbool.h>
#include <stddef.h>

struct source {
    int descriptor;
    bool owned;  /* closed with the source */
    bool ended;  /* read(2) has answered 0 */
    char *name;  /* "standard input" or the path */
    char *buffer;
    size_t room;         /* bytes that the buffer holds */
    size_t first, last;  /* the unread bytes are buffer[first..last) */
    void (*progress)(void *context, const char *name, unsigned long long bytes, unsigned long long size);  /* may be NULL */
    void *context;
    unsigned long long bytes, size;  /* read so far; of all, 0: not known */
};

/* path NULL or "-" is standard input. A file that is not there, or may not be read, is DW_BAD_INPUT. */
enum dw_status dwi_source_open(struct source *source, const char *path, struct dw_error *error);
void dwi_source_close(struct source *source);
/* Reads once more, behind the unread bytes, which move to the buffer's start; the buffer grows where they fill it.
 *   returns  DW_OK: at least one byte more; DW_END: there are no more; DW_SYSTEM, DW_NO_MEMORY */
enum dw_status dwi_source_more(struct source *source, struct dw_error *error);
/* Moves the unread bytes to the buffer's start. */
void dwi_source_compact(struct source *source);
/* Appends one byte of the reader's own behind the last. */
enum dw_status dwi_source_append(struct source *source, char byte, struct dw_error *error);

#endif
