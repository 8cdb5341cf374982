/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "channels.h"
#include <stdlib.h>
#include <string.h>

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

enum dw_status channels_find(const struct option_texts *names, const struct dw_header *header, size_t **column, size_t *count,
                             struct dw_error *error)
{
    enum dw_status status = DW_OK;
    *count = 0;
    *column = NULL;
    if (!names->count)
        return DW_OK;
    if (!(*column = calloc(dw_header_columns(header), sizeof **column)))
        return dw_no_memory(error);
    for (size_t i = 0; i < names->count && status == DW_OK; i++) {
        char *copy = strdup(names->text[i]), *rest = copy;
        status = copy ? DW_OK : dw_no_memory(error);
        for (char *name; status == DW_OK && (name = strsep(&rest, ","));)
            if (*name)
                status = find_one(header, name, *column, count, error);
        free(copy);
    }
    if (status == DW_OK && !*count)
        status = dw_error_set(error, DW_BAD_USE, 0, "--channel: '%s': a channel's name was wanted", names->text[0]);
    return status;
}
