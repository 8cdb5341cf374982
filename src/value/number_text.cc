/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The one file in C++: <charconv> has the only shortest printing and locale-free reading of doubles in a standard
 * library. Nothing here throws or allocates. */
#include "value_inner.h"
#include <charconv>
#include <cmath>
#include <cstring>
#include <dutywright/value.h>
#include <limits>
#include <system_error>

/* MemorySanitizer does not see what the C++ library writes. */
#if defined(__clang__)
#if __has_feature(memory_sanitizer)
#include <sanitizer/msan_interface.h>
#define WRITTEN(what, size) __msan_unpoison(what, size)
#endif
#endif
#ifndef WRITTEN
#define WRITTEN(what, size)
#endif

namespace {

bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* What a decimal beyond the range of double rounds to. The library functions differ in what they store there (leave
 * untouched, infinity, zero), so it is decided from the text: the place of the leading digit plus the exponent.
 *   first, last  what std::from_chars took for a number: with a digit, and with one behind an e */
double beyond_range(const char *first, const char *last)
{
    const bool negative = *first == '-';
    long long place = 0, exponent = 0;
    bool seen = false, point = false;
    const char *at = first + negative;
    for (; at < last && (is_digit(*at) || *at == '.'); at++) {
        if (*at == '.')
            point = true;
        else if (!seen && *at != '0')
            seen = true;
        else if (!seen && point)
            place--;
        else if (seen && !point)
            place++;
    }
    if (at < last) { /* at the e */
        const bool down = *++at == '-';
        if (*at == '-' || *at == '+')
            at++;
        for (; at < last; at++)
            if (exponent < 1000000000000LL)  /* longer than any text in memory could make up for */
                exponent = 10 * exponent + (*at - '0');
        exponent = down ? -exponent : exponent;
    }
    const double size = place + exponent > 0 ? std::numeric_limits<double>::infinity() : 0.0;
    return negative ? -size : size;
}

size_t rounded(char *out, size_t size, double value, std::chars_format format, int decimals)
{
    if (!size)
        return 0;
    out[0] = 0;
    if (!std::isfinite(value))
        return 0;
    const std::to_chars_result done = std::to_chars(out, out + size - 1, value, format, decimals);
    WRITTEN(&done, sizeof done);
    if (done.ec != std::errc()) {
        out[0] = 0;
        return 0;
    }
    *done.ptr = 0;
    WRITTEN(out, static_cast<size_t>(done.ptr - out));
    return static_cast<size_t>(done.ptr - out);
}

}

size_t dw_number_print(char *out, double value)
{
    const double size = std::fabs(value);
    if (!(size <= std::numeric_limits<double>::max())) {
        std::strcpy(out, std::isnan(value) ? "nan" : value < 0 ? "-inf" : "inf");
        return std::strlen(out);
    }
    const bool fixed = size == 0 || (size >= 1e-5 && size < 1e15);
    /* 24 characters at most: -1.7976931348623157e+308; in fixed notation -0.000012345678901234567 */
    const std::to_chars_result done = std::to_chars(out, out + DW_NUMBER_SIZE - 1, value,
                                                    fixed ? std::chars_format::fixed : std::chars_format::scientific);
    WRITTEN(&done, sizeof done);
    WRITTEN(out, static_cast<size_t>(done.ptr - out));
    *done.ptr = 0;
    return static_cast<size_t>(done.ptr - out);
}

double dw_number_round(double value, int digits)
{
    char text[DW_NUMBER_SIZE];
    double read = value;
    const std::to_chars_result done = std::to_chars(text, text + sizeof text, value, std::chars_format::scientific, digits - 1);
    WRITTEN(text, static_cast<size_t>(done.ptr - text));
    if (std::isfinite(value))
        std::from_chars(text, done.ptr, read);  /* what is rounded up beyond all numbers stays as it is */
    return read;
}

const char *dw_number_read(const char *first, const char *last, double *value)
{
    const char *start = first;
    if (start < last && *start == '+')
        if (++start < last && (*start == '-' || *start == '+'))
            return first;
    double read;
    const std::from_chars_result done = std::from_chars(start, last, read);
    WRITTEN(&done, sizeof done);
    WRITTEN(&read, sizeof read);
    if (done.ec == std::errc::invalid_argument)
        return first;
    *value = done.ec == std::errc::result_out_of_range ? beyond_range(start, done.ptr) : read;
    return done.ptr;
}

size_t dw_number_fixed(char *out, size_t size, double value, int decimals)
{
    return rounded(out, size, value, std::chars_format::fixed, decimals);
}

size_t dw_number_scientific(char *out, size_t size, double value, int decimals)
{
    return rounded(out, size, value, std::chars_format::scientific, decimals);
}
