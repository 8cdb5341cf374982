/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What may have been meant by a word that is none of ours. */
#include "option.h"
#include <string.h>
#include <strings.h>

/* Words of 0.1.0 and what they are now: the one list of them. They go with the next release. */
static const struct {
    const char *of, *old, *now;
} renamed[] = {
    { "dw-timer", "levels", "duty-steps" },
    { "dw-choose", "levels", "duty-steps" },
    { "dw-timer", "wanted", "frequency" },
    { "dw-choose", "stages", "stage-count" },
    { "dw-choose", "range", "values" },
    { "dw-switch", "edges", "edge-load" },
    { "start", "zero", "rest" },
    { "start", "ambient", "rest" },
};

const char *option_renamed(const char *of, const char *old)
{
    for (size_t i = 0; i < sizeof renamed / sizeof renamed[0]; i++)
        if (!strcmp(renamed[i].of, of) && !strcmp(renamed[i].old, old))
            return renamed[i].now;
    return NULL;
}

/* Letters to change, add or drop between two words, a swap of neighbours counting once (optimal string alignment:
 * Damerau 1964, CACM 7:171; Wagner and Fischer 1974, JACM 21:168). Words are cut at 63 bytes. */
static int distance(const char *one, const char *other)
{
    enum { MOST = 64 };
    int row[3][MOST];
    const int a = (int)strnlen(one, MOST - 1), b = (int)strnlen(other, MOST - 1);
    for (int j = 0; j <= b; j++)
        row[0][j] = j;
    for (int i = 1; i <= a; i++) {
        int *now = row[i % 3], *before = row[(i + 2) % 3], *earlier = row[(i + 1) % 3];
        now[0] = i;
        for (int j = 1; j <= b; j++) {
            const int change = before[j - 1] + (one[i - 1] != other[j - 1]);
            now[j] = before[j] + 1 < now[j - 1] + 1 ? before[j] + 1 : now[j - 1] + 1;
            now[j] = change < now[j] ? change : now[j];
            if (i > 1 && j > 1 && one[i - 1] == other[j - 2] && one[i - 2] == other[j - 1] && earlier[j - 2] + 1 < now[j])
                now[j] = earlier[j - 2] + 1;
        }
    }
    return row[a % 3][b];
}

int option_farness(const char *typed, const char *candidate)
{
    const size_t length = strlen(typed);
    if (!length)
        return -1;
    if (!strncasecmp(typed, candidate, length))
        return 0;
    if (length > 2 && strstr(candidate, typed))
        return 1;
    const int apart = distance(typed, candidate);
    return apart <= (int)(length + 1) / 3 && apart < (int)length ? apart : -1; /* of one letter nothing would be left */
}

const char *option_nearest(const char *typed, const char *const *words)
{
    const char *name = NULL;
    int least = 0;
    for (; *words; words++) {
        const int far = option_farness(typed, *words);
        if (far >= 0 && (!name || far < least)) {
            name = *words;
            least = far;
        }
    }
    return name;
}
