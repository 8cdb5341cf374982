/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Letters for messages, and units with their prefixes. */
#include "header_inner.h"
#include <stdlib.h>
#include <string.h>

size_t dwi_letter_length(const char *at, const char *last)
{
    const unsigned char c = (unsigned char)*at;
    const size_t length = c < 0x80 ? 1 : c >= 0xc2 && c < 0xe0 ? 2 : c >= 0xe0 && c < 0xf0 ? 3 : c >= 0xf0 && c < 0xf5 ? 4 : 0;
    if (!length || c < ' ' || c == 0x7f || (size_t)(last - at) < length)
        return 0;
    for (size_t i = 1; i < length; i++)
        if (((unsigned char)at[i] & 0xc0) != 0x80)
            return 0;
    return length;
}

const char *dwi_quoted(char *out, size_t size, const char *first, const char *last)
{
    const size_t most = (size_t)(last - first) < size ? size - 1 : size - 4;
    size_t used = 0;
    while (first < last) {
        const size_t letter = dwi_letter_length(first, last), bytes = letter ? letter : 1;
        if (used + bytes > most) {
            memcpy(out + used, "...", 3);
            used += 3;
            break;
        }
        if (letter)
            memcpy(out + used, first, letter);
        else
            out[used] = '?';
        used += bytes;
        first += bytes;
    }
    out[used] = 0;
    return out;
}

bool dwi_header_unit_power(const char *unit, int *power, const char **plain)
{
    static const struct {
        const char *unit;
        int power;
        const char *plain;
    } known[] = {
        { "s", 0, "s" },   { "ms", -3, "s" },  { "us", -6, "s" },  { "\302\265s", -6, "s" },  { "\316\274s", -6, "s" },
        { "ns", -9, "s" }, { "ps", -12, "s" }, { "Hz", 0, "Hz" }, { "kHz", 3, "Hz" }, { "MHz", 6, "Hz" }, { "GHz", 9, "Hz" },
    };
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++)
        if (!strcmp(known[i].unit, unit)) {
            *power = known[i].power;
            *plain = known[i].plain;
            return true;
        }
    return false;
}

bool dwi_header_unit_prefixed(const char *unit, int *power, const char **plain)
{
    static const char *const plains[] = { "V", "A", "W", "Hz", "ohm", "s", "J", "Nm" };
    static const struct {
        const char *prefix;
        int power;
    } prefixes[] = { { "p", -12 }, { "n", -9 }, { "u", -6 }, { "\302\265", -6 }, { "\316\274", -6 }, { "m", -3 }, { "k", 3 },
                     { "M", 6 }, { "G", 9 } };
    for (size_t i = 0; i < sizeof prefixes / sizeof prefixes[0]; i++) {
        const size_t length = strlen(prefixes[i].prefix);
        for (size_t j = 0; !strncmp(unit, prefixes[i].prefix, length) && j < sizeof plains / sizeof plains[0]; j++)
            if (!strcmp(unit + length, plains[j])) {
                *power = prefixes[i].power;
                *plain = plains[j];
                return true;
            }
    }
    return false;
}

struct unit_scale dwi_unit_scale_of(int power)
{
    double scale = 1;
    for (int k = abs(power); k > 0; k--)
        scale *= 10;
    return (struct unit_scale){ power < 0 ? scale : 1, power > 0 ? scale : 1 };
}

bool dw_unit_converts(const char *from, const char *to, double *divisor, double *factor)
{
    const char *plain_from = from, *plain_to = to;
    int power_from = 0, power_to = 0;
    dwi_header_unit_prefixed(from, &power_from, &plain_from);
    dwi_header_unit_prefixed(to, &power_to, &plain_to);
    if (strcmp(plain_from, plain_to) != 0)
        return false;
    const struct unit_scale scale = dwi_unit_scale_of(power_from - power_to);
    *divisor = scale.divisor;
    *factor = scale.factor;
    return true;
}

bool dwi_is_time_name(const char *name)
{
    static const char *const known[] = {
        "t", "s", "time", "sec", "secs", "second", "seconds", "timestamp", "time-stamp", "elapsed", "elapsed-time", "relative-time",
        "zeit", "tiempo", "tempo",
    };
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
        size_t k = 0;
        /* one letter says what it does by its case: T is a temperature */
        while (name[k] && (name[k] == '_' ? '-' : known[i][1] && name[k] >= 'A' && name[k] <= 'Z' ? name[k] + 32 : name[k]) == known[i][k])
            k++;
        if (!name[k] && !known[i][k])
            return true;
    }
    return false;
}
