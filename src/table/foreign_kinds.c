/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Files that hold no text in UTF-8, by their first bytes: what they are, and what would do. */
#include "reader_inner.h"
#include <string.h>

#define MARK(text, kind) { (text), sizeof(text) - 1, (kind) }

static const struct {
    const char *text;
    size_t length;
    const char *kind;
} marks[] = {
    MARK("\377\376\0\0", "UTF-32 text; save it as UTF-8"),
    MARK("\0\0\376\377", "UTF-32 text; save it as UTF-8"),
    MARK("\377\376", "UTF-16 text; save it as UTF-8"),
    MARK("\376\377", "UTF-16 text; save it as UTF-8"),
    MARK("\037\213", "compressed by gzip; unpack it first, as with gzip -dc"),
    MARK("\375" "7zXZ\0", "compressed by xz; unpack it first, as with xz -dc"),
    MARK("\050\265\057\375", "compressed by zstd; unpack it first, as with zstd -dc"),
    MARK("BZh", "compressed by bzip2; unpack it first, as with bzip2 -dc"),
    MARK("PK\003\004", "a ZIP archive, or a spreadsheet's own file; unpack it, or save it as CSV"),
    MARK("\320\317\021\340", "a spreadsheet's own file; save it as CSV"),
};

/* Letters of ASCII leave zero bytes in wider encodings, the same in each letter. */
static const char *wide_kind(const char *at)
{
    const unsigned zeros = (unsigned)!at[0] << 3 | (unsigned)!at[1] << 2 | (unsigned)!at[2] << 1 | (unsigned)!at[3];
    return zeros == 7 || zeros == 14 ? marks[0].kind : zeros == 5 || zeros == 10 ? marks[2].kind : NULL;
}

const char *dwi_foreign_kind(const char *first, const char *last)
{
    const size_t length = (size_t)(last - first);
    for (size_t i = 0; i < sizeof marks / sizeof marks[0]; i++) {
        const bool there = length >= marks[i].length && !memcmp(first, marks[i].text, marks[i].length);
        /* three letters could begin a remark: a block of bzip2 goes on with its size, then pi */
        if (there && (*first != 'B' || (length >= 6 && !memcmp(first + 4, "1A", 2))))
            return marks[i].kind;
    }
    return length >= 4 ? wide_kind(first) : NULL;
}
