/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "value_inner.h"
#include <dutywright/value.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_DIGITS = 17, SPELLED = 64 };

/* Symbols that the trade writes without prefix; kg has one already. */
static bool takes_prefix(const char *unit)
{
    static const char *const bare[] = { "", "1", "%", "degC", "dB", "deg", "rpm", "r/min", "lsb", "kgm2", "s/s", "K/W" };
    for (size_t i = 0; i < sizeof bare / sizeof bare[0]; i++)
        if (!strcmp(unit, bare[i]))
            return false;
    /* one prefix is enough: 1000 mV, not 1 kmV */
    static const char *const plain[] = { "V", "A", "W", "Hz", "ohm", "s", "J", "F", "H", "C", "Nm" };
    for (size_t i = 0; strchr("afpnumkMGTP", *unit) && i < sizeof plain / sizeof plain[0]; i++)
        if (!strcmp(unit + 1, plain[i]))
            return false;
    return true;
}

/* Decimal exponent of the first digit once rounded to so many digits: 9.996 with 3 digits has 1. */
static int rounded_exponent(double value, int digits)
{
    char text[SPELLED];
    dw_number_scientific(text, sizeof text, value, digits - 1);
    return atoi(strchr(text, 'e') + 1); /* NOLINT(cert-err34-c): an exponent is always there */
}

/* A number without prefix. Whole digits are never rounded away below 10^7, nor those of a whole number: 65536 steps. */
static void print_bare(char *out, size_t size, double value, int digits)
{
    const int exponent = value == 0 ? 0 : rounded_exponent(value, digits);
    const bool whole = value == floor(value) && fabs(value) < 1e15;
    if (exponent < -5 || (exponent >= digits && exponent >= 7 && !whole))
        dw_number_scientific(out, size, value, digits - 1);
    else
        dw_number_fixed(out, size, value, exponent < digits ? digits - 1 - exponent : 0);
}

int dw_digits_apart(double one, double other, int digits)
{
    while (digits < MOST_DIGITS && one != other && dw_number_round(one, digits) == dw_number_round(other, digits))
        digits++;
    return digits;
}

size_t dw_quantity_print(char *out, size_t size, double value, const char *unit, int digits)
{
    static const char prefixes[] = "afpnum\0kMGTP";
    char number[SPELLED], prefix[2] = "";
    const bool percent = !strcmp(unit, "%");
    const char *shown = !strcmp(unit, "1") ? "" : unit;
    digits = digits < 1 ? 1 : digits > MOST_DIGITS ? MOST_DIGITS : digits;
    value = percent ? 100 * value : value;
    if (!isfinite(value)) {
        dw_number_print(number, value);
    } else if (!takes_prefix(unit) || value == 0) {
        print_bare(number, sizeof number, value, digits);
    } else {
        const int exponent = rounded_exponent(value, digits), group = (int)floor(exponent / 3.0);
        char scaled[SPELLED];
        if (group < -6 || group > 5) {
            dw_number_scientific(number, sizeof number, value, digits - 1);
        } else {
            /* shifting the point in the decimal text keeps the one rounding right where a division would add another */
            size_t length = dw_number_scientific(scaled, sizeof scaled, value, digits - 1);
            char *e = memchr(scaled, 'e', length);
            double shifted = 0;
            snprintf(e, sizeof scaled - (size_t)(e - scaled), "e%d", exponent - 3 * group);
            dw_number_read(scaled, scaled + strlen(scaled), &shifted);
            const int decimals = digits - 1 - (exponent - 3 * group);
            dw_number_fixed(number, sizeof number, shifted, decimals > 0 ? decimals : 0);
            prefix[0] = prefixes[group + 6];
        }
    }
    const size_t length = (size_t)snprintf(out, size, "%s%s%s%s", number, *shown ? " " : "", prefix, shown);
    return length < size ? length : size ? size - 1 : 0;
}
