/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "old_channels.h"
#include "old_common.h"
#include <stdlib.h>
#include <string.h>

void channels_add(char **names, const char *argument)
{
    const size_t before = *names ? strlen(*names) + 1 : 0;
    char *more = realloc(*names, before + strlen(argument) + 1);
    if (!more)
        program_fail(DW_NO_MEMORY, "%s", dw_status_text(DW_NO_MEMORY));
    if (before)
        more[before - 1] = ',';
    strcpy(more + before, argument);
    *names = more;
}

static enum dw_status find_one(const struct dw_header *header, const char *name, size_t *column, size_t *count,
                               struct dw_error *error)
{
    struct dw_error found = { .status = DW_OK };
    const size_t at = dw_header_find(header, name, &found);
    if (!at)
        return dw_error_set(error, found.status, 0, "--channel: %s", found.text);
    for (size_t i = 0; i < *count; i++)
        if (column[i] == at)
            return DW_OK;
    column[(*count)++] = at;
    return DW_OK;
}

enum dw_status channels_find(const char *names, const struct dw_header *header, size_t **column, size_t *count,
                             struct dw_error *error)
{
    *count = 0;
    *column = NULL;
    if (!names)
        return DW_OK;
    *column = calloc(dw_header_columns(header), sizeof **column);
    char *copy = strdup(names), *rest = NULL;
    enum dw_status status = *column && copy ? DW_OK : dw_no_memory(error);
    for (char *name = status == DW_OK ? strtok_r(copy, ",", &rest) : NULL; name && status == DW_OK;
         name = strtok_r(NULL, ",", &rest))
        status = find_one(header, name, *column, count, error);
    free(copy);
    if (status == DW_OK && !*count)
        status = dw_error_set(error, DW_BAD_USE, 0, "--channel: '%s': a channel's name was wanted", names);
    return status;
}
