/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which keys still hold after a program has changed the rows. docs/wave-table.md shows the same table. */
#include "header_inner.h"

/* What makes a key untrue. Keys that are not listed are passed on as they are. */
static const struct {
    const char *key;
    unsigned ended_by;
} rules[] = {
    { "period", DW_OTHER_PATTERN | DW_OTHER_AXIS },
    { "carrier-period", DW_OTHER_CARRIER | DW_OTHER_AXIS },
    { "origin", DW_OTHER_CARRIER | DW_OTHER_AXIS },
    { "levels", DW_OTHER_CHANNELS },
    { "duty", DW_OTHER_PATTERN | DW_OTHER_CHANNELS },
    { "sampled", DW_EXACT_ROWS | DW_OTHER_AXIS },
    { "tick", DW_OTHER_CARRIER | DW_OTHER_AXIS },
    { "accuracy", DW_OTHER_CHANNELS | DW_OTHER_AXIS },
    { "initial", DW_OTHER_START | DW_OTHER_CHANNELS | DW_OTHER_AXIS },
};

struct dw_header *dw_header_derive(const struct dw_header *input, unsigned changes, const char *made_by,
                                   struct dw_error *error)
{
    struct dw_header *header = dw_header_copy(input, error);
    for (size_t i = 0; header && i < sizeof rules / sizeof rules[0]; i++)
        if (rules[i].ended_by & changes)
            dw_header_drop(header, rules[i].key);
    if (header && made_by && dw_header_add(header, "made-by", made_by, error) != DW_OK) {
        dw_header_free(header);
        return NULL;
    }
    return header;
}
