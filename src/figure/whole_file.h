/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A file that is there whole or not at all. */
#ifndef FIGURE_WHOLE_FILE_H
#define FIGURE_WHOLE_FILE_H

#include <dutywright/status.h>
#include <stdbool.h>
#include <stddef.h>

/* Whether a file of that name could be written, so that hours of reading do not end in a refusal.
 *   path     "-" is standard output
 *   returns  DW_OK; DW_BAD_USE: a folder, a name whose folder is missing or not writable, a read-only file, a link to none */
enum dw_status whole_file_check(const char *path, struct dw_error *error);
/* Whether two names, either of them "-", are one regular file. */
bool whole_file_is(const char *path, const char *other);

/* Writes beside the name, and takes the name only when all is on the disk; a device or pipe is written to directly. A process
 * that is killed meanwhile leaves the old file and, where the file system knows files without a name, nothing else.
 * Standard output where path is "-".
 *   returns  DW_OK; DW_SYSTEM; DW_CLOSED_PIPE. Except DW_OK, what was there under that name still is. */
enum dw_status whole_file_write(const char *path, const char *bytes, size_t size, struct dw_error *error);

#endif
