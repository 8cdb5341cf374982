/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "draw.h"
#include "suite.h"
#include "value/value_inner.h"
#include <dutywright/value.h>
#include <float.h>
#include <locale.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>


static const uint64_t seed = 20570911;

static uint64_t bits_of(double value)
{
    uint64_t bits;
    memcpy(&bits, &value, sizeof bits);
    return bits;
}

static double from_bits(uint64_t bits)
{
    double value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

static void round_trips(double value)
{
    char text[DW_NUMBER_SIZE];
    double back = 0;
    const size_t length = dw_number_print(text, value);
    ck_assert_uint_eq(length, strlen(text));
    ck_assert_uint_lt(length, DW_NUMBER_SIZE);
    const char *end = dw_number_read(text, text + length, &back);
    ck_assert_msg(end == text + length, "'%s' was read only up to '%s'", text, end);
    ck_assert_msg(bits_of(back) == bits_of(value), "%a printed as '%s', read as %a (seed %llu)", value, text, back,
                  (unsigned long long)seed);
}

START_TEST(any_bit_pattern_comes_back_through_text)
{
    uint64_t state = seed;
    for (int i = 0; i < rounds(60000, 300000); i++) {
        const double value = from_bits(drawn_bits(&state));
        if (isfinite(value))
            round_trips(value);
    }
    for (int i = 0; i < rounds(60000, 300000); i++) /* subnormals, which random exponents hardly meet */
        round_trips(from_bits(drawn_bits(&state) & 0x800fffffffffffffu));
    for (int i = 0; i < rounds(60000, 300000); i++) /* the range of tables, fixed notation: exponents -17 to 49 of two */
        round_trips(from_bits((drawn_bits(&state) & 0x800fffffffffffffu) | (1006 + drawn_bits(&state) % 67) << 52));
}
END_TEST

START_TEST(no_shorter_text_reads_back)
{
    uint64_t state = seed;
    for (int i = 0; i < rounds(10000, 30000); i++) {
        const double value = fabs(from_bits(drawn_bits(&state)));
        if (!isfinite(value) || value == 0)
            continue;
        char text[DW_NUMBER_SIZE], other[64];
        int digits = 0, zeros = 0;
        dw_number_print(text, value);
        for (const char *c = text; *c && *c != 'e'; c++)
            if (*c >= '0' && *c <= '9' && (digits || *c != '0')) {
                digits++;
                zeros = *c == '0' ? zeros + 1 : 0;
            }
        digits -= zeros; /* trailing ones of 1200 carry nothing */
        if (digits > 1) {
            snprintf(other, sizeof other, "%.*e", digits - 2, value); /* the nearest with one digit less */
            ck_assert_msg(strtod(other, NULL) != value, "%s reads the same as %s", other, text);
        }
    }
}
END_TEST

START_TEST(reading_rounds_like_the_c_library)
{
    uint64_t state = seed;
    for (int i = 0; i < rounds(60000, 300000); i++) {
        char text[64];
        double value = 0;
        const unsigned long long digits = drawn_bits(&state);
        const int point = (int)(drawn_bits(&state) % 19), power = (int)(drawn_bits(&state) % 680) - 345;
        snprintf(text, sizeof text, "%.*llu.%llue%d", point + 1, digits % 1000000007, digits, power);
        const char *end = dw_number_read(text, text + strlen(text), &value);
        ck_assert_ptr_eq(end, text + strlen(text));
        ck_assert_msg(bits_of(value) == bits_of(strtod(text, NULL)), "'%s' read %a, strtod %a", text, value,
                      strtod(text, NULL));
    }
}
END_TEST

struct text_of {
    double value;
    const char *text;
};

static const struct text_of notation[] = {
    { 0, "0" },
    { -0.0, "-0" },
    { 1, "1" },
    { 0.1, "0.1" },
    { 0.1 + 0.2, "0.30000000000000004" },
    { 1e-5, "0.00001" },
    { -1e-5, "-0.00001" },
    { 9.999999999999999e-6, "9.999999999999999e-06" },
    { 1.2345678901234568e-5, "0.000012345678901234568" },
    { 1e14, "100000000000000" },
    { 999999999999999, "999999999999999" },
    { 999999999999999.9, "999999999999999.9" },
    { 1e15, "1e+15" },
    { -1e15, "-1e+15" },
    { 1e22, "1e+22" },
    { 1e100, "1e+100" },
    { 5e-324, "5e-324" },
    { DBL_MIN, "2.2250738585072014e-308" },
    { DBL_MAX, "1.7976931348623157e+308" },
    { INFINITY, "inf" },
    { -INFINITY, "-inf" },
    { NAN, "nan" },
};

START_TEST(notation_is_fixed_from_1e_minus_5_to_below_1e15)
{
    for (size_t i = 0; i < sizeof notation / sizeof notation[0]; i++) {
        char text[DW_NUMBER_SIZE];
        const size_t length = dw_number_print(text, notation[i].value);
        ck_assert_str_eq(text, notation[i].text);
        ck_assert_uint_eq(length, strlen(text));
    }
    char text[DW_NUMBER_SIZE];
    dw_number_print(text, copysign(NAN, -1));
    ck_assert_str_eq(text, "nan");
}
END_TEST

struct reading {
    const char *text;
    double value; /* NaN: untouched, except where the text says nan */
    int used;
};

/* 10^400 and 10^-400 without an exponent */
#define ZEROS_40 "0000000000000000000000000000000000000000"
#define ZEROS_360 ZEROS_40 ZEROS_40 ZEROS_40 ZEROS_40 ZEROS_40 ZEROS_40 ZEROS_40 ZEROS_40 ZEROS_40
#define ZEROS_BEHIND_1 "1" ZEROS_360 ZEROS_40
#define ZEROS_BEFORE_1 "." ZEROS_360 ZEROS_40 "1"

static const struct reading readings[] = {
    { "12.5", 12.5, 4 },
    { "+12.5", 12.5, 5 },
    { "-0", -0.0, 2 },
    { ".5", 0.5, 2 },
    { "5.", 5, 2 },
    { "1e3", 1000, 3 },
    { "1E+3", 1000, 4 },
    { "1,5", 1, 1 },
    { "1e", 1, 1 },
    { "1e+", 1, 1 },
    { "1.5.2", 1.5, 3 },
    { "0x10", 0, 1 },
    { "7\t8", 7, 1 },
    { "inf", INFINITY, 3 },
    { "-INF", -INFINITY, 4 },
    { "+infinity", INFINITY, 9 },
    { "1e400", INFINITY, 5 },
    { "-1e400", -INFINITY, 6 },
    { "1e-400", 0, 6 },
    { "-1e-400", -0.0, 7 },
    { "0e999", 0, 5 },
    { "1e99999999999999999999", INFINITY, 22 },
    { "1e-99999999999999999999", 0, 23 },
    { "0.000000000000000000000000000000001e-300", 0, 40 },
    { "100000000000000000000000000000000e300", INFINITY, 37 },
    { "179769313486231580000e289", INFINITY, 25 },
    { "5e-324", 0x1p-1074, 6 },
    { "1E400", INFINITY, 5 },
    { "1E-400x", 0, 6 },
    { "2.5e+400e3", INFINITY, 8 },
    { "-" ZEROS_BEHIND_1 "x", -INFINITY, 402 },
    { ZEROS_BEHIND_1 ".5", INFINITY, 403 },
    { ZEROS_BEFORE_1, 0, 402 },
    { "-" ZEROS_BEFORE_1, -0.0, 403 },
    { "", NAN, 0 },
    { " 1", NAN, 0 },
    { "+", NAN, 0 },
    { "-", NAN, 0 },
    { ".", NAN, 0 },
    { "+-1", NAN, 0 },
    { "++1", NAN, 0 },
    { "e5", NAN, 0 },
    { "x", NAN, 0 },
};

START_TEST(reading_stops_where_the_number_ends)
{
    for (size_t i = 0; i < sizeof readings / sizeof readings[0]; i++) {
        /* a copy to the exact length, so that a sanitizer sees any byte read beyond */
        const size_t length = strlen(readings[i].text);
        char *text = malloc(length ? length : 1);
        double value = 77;
        ck_assert_ptr_nonnull(text);
        memcpy(text, readings[i].text, length);
        const long used = dw_number_read(text, text + length, &value) - text;
        free(text);
        ck_assert_msg(used == readings[i].used, "'%s': %ld bytes used, wanted %d", readings[i].text, used,
                      readings[i].used);
        const double wanted = isnan(readings[i].value) ? 77 : readings[i].value;
        ck_assert_msg(bits_of(value) == bits_of(wanted), "'%s' read %.17g, wanted %.17g", readings[i].text, value, wanted);
    }
    double value = 77;
    const char *text = "-NaN";
    ck_assert_ptr_eq(dw_number_read(text, text + 4, &value), text + 4);
    ck_assert(isnan(value));
}
END_TEST

START_TEST(reading_keeps_to_its_limits)
{
    double value = 0;
    const char *text = "123456";
    ck_assert_ptr_eq(dw_number_read(text, text + 3, &value), text + 3);
    ck_assert(value == 123);
    text = "1e35";
    ck_assert_ptr_eq(dw_number_read(text, text + 3, &value), text + 3);
    ck_assert(value == 1000);
}
END_TEST

START_TEST(a_comma_locale_changes_nothing)
{
    static const char *const places[] = { "de_DE.UTF-8", "de_DE.utf8", "de_DE", "fr_FR.UTF-8", "nl_NL.UTF-8", NULL };
    const char *found = NULL;
    for (int i = 0; places[i] && !found; i++)
        found = setlocale(LC_ALL, places[i]);
    char text[64];
    snprintf(text, sizeof text, "%.1f", 1.5);
    if (!found || strcmp(text, "1,5"))
        fprintf(stderr, "no locale with a decimal comma is installed: tried without\n");
    double value = 0;
    dw_number_print(text, 1234.5);
    ck_assert_str_eq(text, "1234.5");
    ck_assert_ptr_eq(dw_number_read(text, text + 6, &value), text + 6);
    ck_assert(value == 1234.5);
    dw_quantity_print(text, sizeof text, 0.0331, "V", 4);
    ck_assert_str_eq(text, "33.10 mV");
    ck_assert_int_eq(dw_quantity_parse("4.7k", DW_RESISTANCE, &value, NULL), DW_OK);
    ck_assert(value == 4700);
    ck_assert_int_eq(dw_quantity_parse("4,7k", DW_RESISTANCE, &value, NULL), DW_BAD_USE);
    setlocale(LC_ALL, "C");
}
END_TEST

START_TEST(rounded_text_is_rounded_once_from_the_exact_value)
{
    char text[32];
    dw_number_fixed(text, sizeof text, 0.125, 2); /* a tie goes to the even digit */
    ck_assert_str_eq(text, "0.12");
    dw_number_fixed(text, sizeof text, 2.675, 2); /* 2.67499999999999982236431605997495353221893310546875 */
    ck_assert_str_eq(text, "2.67");
    dw_number_scientific(text, sizeof text, 99.96, 2);
    ck_assert_str_eq(text, "1.00e+02");
    ck_assert_uint_eq(dw_number_fixed(text, 4, 12.5, 1), 0); /* four characters and the NUL */
    ck_assert_str_eq(text, "");
    ck_assert_uint_eq(dw_number_fixed(text, 5, 12.5, 1), 4);
    ck_assert_uint_eq(dw_number_fixed(text, sizeof text, NAN, 1), 0);
    ck_assert_uint_eq(dw_number_fixed(text, 0, 1, 1), 0);
}
END_TEST

SUITE("value: number text", any_bit_pattern_comes_back_through_text, no_shorter_text_reads_back,
      reading_rounds_like_the_c_library, notation_is_fixed_from_1e_minus_5_to_below_1e15,
      reading_stops_where_the_number_ends, reading_keeps_to_its_limits, a_comma_locale_changes_nothing,
      rounded_text_is_rounded_once_from_the_exact_value)
