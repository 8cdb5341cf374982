/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "suite.h"
#include <dutywright/value.h>
#include <float.h>
#include <string.h>

#define MICRO "\xc2\xb5"  /* U+00B5 */
#define MU "\xce\xbc"     /* U+03BC */
#define OMEGA "\xce\xa9"  /* U+03A9 */
#define OHM "\xe2\x84\xa6" /* U+2126 */
#define DEGREE "\xc2\xb0"
#define SQUARED "\xc2\xb2"

struct good {
    const char *text;
    enum dw_quantity kind;
    double value;
};

/* The compiler rounds each literal correctly, so equality is the promise. */
static const struct good exact[] = {
    { "0", DW_NUMBER, 0 },
    { "12", DW_NUMBER, 12 },
    { "+12", DW_NUMBER, 12 },
    { "-0.37", DW_NUMBER, -0.37 },
    { "1e3", DW_NUMBER, 1000 },
    { "1E+3", DW_NUMBER, 1000 },
    { "2.5e-3", DW_NUMBER, 2.5e-3 },
    { "10k", DW_NUMBER, 10e3 },
    { "1M", DW_NUMBER, 1e6 },
    { "1m", DW_NUMBER, 1e-3 },
    { "3P", DW_NUMBER, 3e15 },
    { "7a", DW_NUMBER, 7e-18 },
    { "1e3k", DW_NUMBER, 1e6 },
    { ".5", DW_SHARE, 0.5 },
    { "5.", DW_NUMBER, 5 },
    { "0.25", DW_SHARE, 0.25 },
    { "25%", DW_SHARE, 0.25 },
    { "25 %", DW_SHARE, 0.25 },
    { "0.1%", DW_SHARE, 0.001 },
    { "33.3%", DW_SHARE, 0.333 },
    { "3510/11250", DW_SHARE, 0.312 },
    { "9007199254740991/9007199254740991", DW_SHARE, 1 },
    { "1/3", DW_SHARE, 1.0 / 3 },
    { "0/255", DW_SHARE, 0 },
    { "1/4", DW_PHASE, 0.25 },
    { "2m", DW_TIME, 2e-3 },
    { "1.5ms", DW_TIME, 1.5e-3 },
    { "1.5 ms", DW_TIME, 1.5e-3 },
    { "4.7\t" MICRO "s", DW_TIME, 4.7e-6 },
    { "63.5us", DW_TIME, 63.5e-6 },
    { "12ns", DW_TIME, 12e-9 },
    { "5min", DW_TIME, 300 },
    { "2h", DW_TIME, 7200 },
    { "1612.9", DW_FREQUENCY, 1612.9 },
    { "20k", DW_FREQUENCY, 20e3 },
    { "20kHz", DW_FREQUENCY, 20e3 },
    { "18MHz", DW_FREQUENCY, 18e6 },
    { "1mHz", DW_FREQUENCY, 1e-3 },
    { "3.3V", DW_VOLTAGE, 3.3 },
    { "-100mV", DW_VOLTAGE, -0.1 },
    { "20mA", DW_CURRENT, 20e-3 },
    { "1e-320", DW_CURRENT, 1e-320 },
    { "4.7k", DW_RESISTANCE, 4700 },
    { "4.7K", DW_RESISTANCE, 4700 },
    { "4k7", DW_RESISTANCE, 4700 },
    { "4K7", DW_RESISTANCE, 4700 },
    { "4.7kohm", DW_RESISTANCE, 4700 },
    { "4.7 kOhm", DW_RESISTANCE, 4700 },
    { "4.7k" OMEGA, DW_RESISTANCE, 4700 },
    { "4k7" OHM, DW_RESISTANCE, 4700 },
    { "4k7ohm", DW_RESISTANCE, 4700 },
    { "4k7 ohm", DW_RESISTANCE, 4700 },
    { "10Kohm", DW_RESISTANCE, 10e3 },
    { "47R", DW_RESISTANCE, 47 },
    { "2R2", DW_RESISTANCE, 2.2 },
    { "2R2" OMEGA, DW_RESISTANCE, 2.2 },
    { "R47", DW_RESISTANCE, 0.47 },
    { "K47", DW_RESISTANCE, 470 },
    { "5L6", DW_RESISTANCE, 5.6e-3 },
    { "5m6", DW_RESISTANCE, 5.6e-3 },
    { "L22", DW_RESISTANCE, 0.22e-3 },
    { "1M2", DW_RESISTANCE, 1.2e6 },
    { "1G", DW_RESISTANCE, 1e9 },
    { "1T5", DW_RESISTANCE, 1.5e12 },
    { "4k700", DW_RESISTANCE, 4700 },
    { "-4k7", DW_RESISTANCE, -4700 },
    { "100n", DW_CAPACITANCE, 100e-9 },
    { "100 nF", DW_CAPACITANCE, 100e-9 },
    { "4n7", DW_CAPACITANCE, 4.7e-9 },
    { "4n7F", DW_CAPACITANCE, 4.7e-9 },
    { "p47", DW_CAPACITANCE, 0.47e-12 },
    { "3p32", DW_CAPACITANCE, 3.32e-12 },
    { "4u7", DW_CAPACITANCE, 4.7e-6 },
    { "4" MICRO "7", DW_CAPACITANCE, 4.7e-6 },
    { "4" MU "7F", DW_CAPACITANCE, 4.7e-6 },
    { "1F5", DW_CAPACITANCE, 1.5 },
    { "2m2", DW_CAPACITANCE, 2.2e-3 },
    { "5F", DW_CAPACITANCE, 5 },
    { "5f", DW_CAPACITANCE, 5e-15 },
    { "10mH", DW_INDUCTANCE, 10e-3 },
    { "4u7", DW_INDUCTANCE, 4.7e-6 },
    { "1H2", DW_INDUCTANCE, 1.2 },
    { "22nC", DW_CHARGE, 22e-9 },
    { "3mAs", DW_CHARGE, 3e-3 },
    { "250mW", DW_POWER, 0.25 },
    { "1.2mJ", DW_ENERGY, 1.2e-3 },
    { "7Ws", DW_ENERGY, 7 },
    { "23mNm", DW_TORQUE, 23e-3 },
    { "2.3Ncm", DW_TORQUE, 23e-3 },
    { "1.2e-6kgm2", DW_INERTIA, 1.2e-6 },
    { "1.2kgm^2", DW_INERTIA, 1.2 },
    { "12 gcm" SQUARED, DW_INERTIA, 12e-7 },
    { "12gcm2", DW_INERTIA, 12e-7 },
    { "314rad/s", DW_SPEED, 314 },
    { "23mVs/rad", DW_MACHINE_CONSTANT, 23e-3 },
    { "23mNm/A", DW_MACHINE_CONSTANT, 23e-3 },
    { "1.7uNms", DW_FRICTION, 1.7e-6 },
    { "25", DW_TEMPERATURE, 25 },
    { "-40degC", DW_TEMPERATURE, -40 },
    { "125 " DEGREE "C", DW_TEMPERATURE, 125 },
    { "62.5K/W", DW_THERMAL_RESISTANCE, 62.5 },
    { "500mK/W", DW_THERMAL_RESISTANCE, 0.5 },
    { "0.3" DEGREE "C/W", DW_THERMAL_RESISTANCE, 0.3 },
    { "20mJ/K", DW_HEAT_CAPACITY, 20e-3 },
    { "80mm", DW_LENGTH, 80e-3 }, { "3 m", DW_LENGTH, 3 }, { "8cm", DW_LENGTH, 0.08 }, { "0.08", DW_LENGTH, 0.08 }, { "6.4kN", DW_FORCE, 6400 }, { "800g", DW_MASS, 0.8 }, { "40kg", DW_MASS, 40 },
    /* 5e-324 is the least of all; just above half of it rounds up, and the 1s are beyond any shortcut of 19 digits */
    { "2.4703282292062328e-324", DW_NUMBER, 0x1p-1074 },
    { "179769313486231570.81111111111111111111111111111111111111111e291", DW_NUMBER, DBL_MAX },
};

/* Units that convert: the promise is 2 ulp, one for the factor and one for the product (1 ulp <= DBL_EPSILON). */
static const struct good converted[] = {
    { "3000rpm", DW_SPEED, 314.15926535897932 },
    { "3krpm", DW_SPEED, 314.15926535897932 },
    { "370r/min", DW_SPEED, 38.746309394274117 },
    { "2.1V/krpm", DW_MACHINE_CONSTANT, 0.020053522829578812 },
    { "2.1mV/rpm", DW_MACHINE_CONSTANT, 0.020053522829578812 },
    { "476rpm/V", DW_MACHINE_CONSTANT, 0.020061547448558235 },
    { "1.7mNm/krpm", DW_FRICTION, 1.6233804195373324e-05 },
    { "90deg", DW_PHASE, 0.25 },
    { "-37 deg", DW_PHASE, -37.0 / 360 },
};

START_TEST(a_good_spelling_reads_to_the_last_bit)
{
    ck_assert_uint_ge(sizeof exact / sizeof exact[0], 60);
    for (size_t i = 0; i < sizeof exact / sizeof exact[0]; i++) {
        struct dw_error error = { .text = "" };
        double value = NAN;
        const enum dw_status status = dw_quantity_parse(exact[i].text, exact[i].kind, &value, &error);
        ck_assert_msg(status == DW_OK, "'%s': %s", exact[i].text, error.text);
        ck_assert_msg(value == exact[i].value, "'%s' read %.17g, wanted %.17g", exact[i].text, value, exact[i].value);
    }
}
END_TEST

START_TEST(a_unit_that_converts_stays_within_two_ulp)
{
    for (size_t i = 0; i < sizeof converted / sizeof converted[0]; i++) {
        struct dw_error error = { .text = "" };
        double value = NAN;
        succeeds(dw_quantity_parse(converted[i].text, converted[i].kind, &value, &error), error);
        near(value, converted[i].value, 2 * DBL_EPSILON);
    }
}
END_TEST

START_TEST(numbers_of_300_digits_are_rounded_once)
{
    /* 1 + 2^-53 is a tie, written out exactly; a final 1 at the 300th place, or none, decides */
    char text[400] = "1.00000000000000011102230246251565404236316680908203125";
    double value = NAN;
    ck_assert_int_eq(dw_quantity_parse(text, DW_NUMBER, &value, NULL), DW_OK);
    ck_assert(value == 1);
    memset(text + strlen(text), '0', 300 - strlen(text));
    text[300] = '1';
    text[301] = 0;
    ck_assert_int_eq(dw_quantity_parse(text, DW_NUMBER, &value, NULL), DW_OK);
    ck_assert(value == 1 + DBL_EPSILON);
}
END_TEST

struct bad {
    const char *text;
    enum dw_quantity kind;
    const char *message;
};

#define NUMBER "; expected a number, such as 12, 1e3 or 10k"
#define SHARE "; expected a share, such as 0.312, 31.2% or 3510/11250"
#define PHASE "; expected a phase, such as 0.2, 20%, 1/5 or 72deg"
#define TIME "; expected a time, such as 2m, 2ms or 0.002"
#define FREQUENCY "; expected a frequency, such as 1600, 22.5k or 22.5kHz"
#define VOLTAGE "; expected a voltage, such as 12, 3.3V or 100mV"
#define CURRENT "; expected a current, such as 20m, 20mA or 0.02"
#define RESISTANCE "; expected a resistance, such as 2.7k, 2k7 or 2.7kohm"
#define CAPACITANCE "; expected a capacitance, such as 150n, 2n7 or 2.7nF"
#define INDUCTANCE "; expected an inductance, such as 10m, 4u7 or 10mH"
#define INERTIA "; expected a moment of inertia, such as 1.2e-6, 1.2e-6kgm2 or 12gcm2"
#define SPEED "; expected a speed, such as 314, 314rad/s or 3000rpm"
#define TEMPERATURE "; expected a temperature, such as 25 or 25degC"

static const struct bad bad[] = {
    { "", DW_NUMBER, "nothing is written" NUMBER },
    { "", DW_RESISTANCE, "nothing is written" RESISTANCE },
    { " ", DW_NUMBER, "' ' is not a number" NUMBER },
    { " 12", DW_NUMBER, "' 12' is not a number" NUMBER },
    { "12 ", DW_NUMBER, "' ' was not understood after 12" NUMBER },
    { "12k ", DW_NUMBER, "'k ' was not understood after 12" NUMBER },
    { "abc", DW_NUMBER, "'abc' is not a number" NUMBER },
    { "-", DW_NUMBER, "'-' is not a number" NUMBER },
    { "+", DW_NUMBER, "'+' is not a number" NUMBER },
    { ".", DW_NUMBER, "'.' is not a number" NUMBER },
    { "-.", DW_NUMBER, "'-.' is not a number" NUMBER },
    { "--5", DW_NUMBER, "'--5' is not a number" NUMBER },
    { "+-5", DW_NUMBER, "'+-5' is not a number" NUMBER },
    { "e5", DW_NUMBER, "'e5' is not a number" NUMBER },
    { "k", DW_NUMBER, "'k' is not a number" NUMBER },
    { "%", DW_SHARE, "'%' is not a number" SHARE },
    { "nan", DW_NUMBER, "'nan' is not a finite number" NUMBER },
    { "inf", DW_NUMBER, "'inf' is not a finite number" NUMBER },
    { "-Infinity", DW_NUMBER, "'-Infinity' is not a finite number" NUMBER },
    { "1e", DW_NUMBER, "'e' was not understood after 1" NUMBER },
    { "1e+", DW_NUMBER, "'e+' was not understood after 1" NUMBER },
    { "1E", DW_NUMBER, "'E' was not understood after 1" NUMBER },
    { "1.2.3", DW_NUMBER, "'.3' was not understood after 1.2" NUMBER },
    { "0x10", DW_NUMBER, "'x10' was not understood after 0" NUMBER },
    { "1 000", DW_NUMBER, "'000' was not understood after 1" NUMBER },
    { "1_000", DW_NUMBER, "'_000' was not understood after 1" NUMBER },
    { "1'000", DW_NUMBER, "''000' was not understood after 1" NUMBER },
    { "4,7k", DW_RESISTANCE, "',7k' was not understood after 4: the decimal sign is a point" RESISTANCE },
    { "10kk", DW_NUMBER, "'kk' was not understood after 10" NUMBER },
    { "10kk", DW_RESISTANCE, "'kk' was not understood after 10" RESISTANCE },
    { "10K", DW_NUMBER, "'K' was not understood after 10: case counts, did you mean k?" NUMBER },
    { "10da", DW_NUMBER, "'da' was not understood after 10" NUMBER },
    { "1e400", DW_NUMBER, "'1e400' is too large" NUMBER },
    { "-1e400", DW_NUMBER, "'-1e400' is too large" NUMBER },
    { "1e306k", DW_FREQUENCY, "'1e306k' is too large" FREQUENCY },
    { "1e-400", DW_NUMBER, "'1e-400' is too small" NUMBER },
    { "1e999999999999999999999", DW_NUMBER, "'1e999999999999999999999' is too large" NUMBER },
    { "1e-999999999999999999999", DW_NUMBER, "'1e-999999999999999999999' is too small" NUMBER },
    { "25%%", DW_SHARE, "'%%' was not understood after 25" SHARE },
    { "25k", DW_SHARE, "'k' was not understood after 25" SHARE },
    { "25%", DW_VOLTAGE, "'%' makes it a share" VOLTAGE },
    { "90deg", DW_SHARE, "'deg' makes it an angle" SHARE },
    { "64/", DW_SHARE, "'64/' is not one whole count over another" SHARE },
    { "/256", DW_SHARE, "'/256' is not a number" SHARE },
    { "3510/11250/2", DW_SHARE, "'3510/11250/2' is not one whole count over another" SHARE },
    { "6.4/256", DW_SHARE, "'6.4/256' is not one whole count over another" SHARE },
    { "64/-256", DW_SHARE, "'64/-256' is not one whole count over another" SHARE },
    { "-3510/11250", DW_SHARE, "'-3510/11250' is not one whole count over another" SHARE },
    { "3510/11250k", DW_SHARE, "'3510/11250k' is not one whole count over another" SHARE },
    { "64/0", DW_SHARE, "'64/0' is a share of nothing" SHARE },
    { "9007199254740992/3", DW_SHARE, "'9007199254740992/3' counts to 2^53 or beyond" SHARE },
    { "1/9007199254740992", DW_SHARE, "'1/9007199254740992' counts to 2^53 or beyond" SHARE },
    { "1/0", DW_PHASE, "'1/0' is a share of nothing" PHASE },
    { "3510/11250", DW_NUMBER, "'/11250' was not understood after 3510" NUMBER },
    { "20KHz", DW_FREQUENCY, "'KHz' was not understood after 20: case counts, did you mean kHz?" FREQUENCY },
    { "18MHZ", DW_FREQUENCY, "'MHZ' was not understood after 18: case counts, did you mean MHz?" FREQUENCY },
    { "5v", DW_VOLTAGE, "'v' was not understood after 5: case counts, did you mean V?" VOLTAGE },
    { "2mS", DW_TIME, "'mS' was not understood after 2: case counts, did you mean ms?" TIME },
    { "20ms", DW_FREQUENCY, "'ms' makes it a time" FREQUENCY },
    { "500Hz", DW_TIME, "'Hz' makes it a frequency" TIME },
    { "5V", DW_RESISTANCE, "'V' makes it a voltage" RESISTANCE },
    { "5Vs", DW_VOLTAGE, "'Vs' makes it a machine constant" VOLTAGE },
    { "20mAh", DW_CURRENT, "'mAh' was not understood after 20" CURRENT },
    { "4n7", DW_RESISTANCE, "'n7' was not understood after 4" RESISTANCE },
    { "4k7k", DW_RESISTANCE, "'k7k' was not understood after 4" RESISTANCE },
    { "4.7k7", DW_RESISTANCE, "'k7' was not understood after 4.7" RESISTANCE },
    { "4e3k7", DW_RESISTANCE, "'k7' was not understood after 4e3" RESISTANCE },
    { "47Rohm", DW_RESISTANCE, "'Rohm' was not understood after 47" RESISTANCE },
    { "4R7J", DW_RESISTANCE, "'R7J' was not understood after 4" RESISTANCE },
    { "R", DW_RESISTANCE, "'R' is not a number" RESISTANCE },
    { "RR47", DW_RESISTANCE, "'RR47' is not a number" RESISTANCE },
    { "R47V", DW_RESISTANCE, "'R47V' is not a number" RESISTANCE },
    { "R47", DW_VOLTAGE, "'R47' is not a number" VOLTAGE },
    { "4k7", DW_VOLTAGE, "'k7' was not understood after 4" VOLTAGE },
    { "4k7V", DW_RESISTANCE, "'k7V' was not understood after 4" RESISTANCE },
    { "4k7", DW_CAPACITANCE, "'k7' was not understood after 4" CAPACITANCE },
    { "4F7F", DW_CAPACITANCE, "'F7F' was not understood after 4" CAPACITANCE },
    { "47RF", DW_RESISTANCE, "'RF' was not understood after 47" RESISTANCE },
    { "3m", DW_LENGTH, "'3m' may be millimetres or metres; expected a length, such as 0.08, 80mm or 8cm" },
    { "100N", DW_CAPACITANCE, "'N' makes it a force" CAPACITANCE },
    { "100U", DW_CAPACITANCE, "'U' was not understood after 100: case counts, did you mean u?" CAPACITANCE },
    { "10 m H", DW_INDUCTANCE, "'m H' was not understood after 10" INDUCTANCE },
    { "12g", DW_INERTIA, "'g' makes it a mass" INERTIA },
    { "12kkgm2", DW_INERTIA, "'kkgm2' was not understood after 12" INERTIA },
    { "3000RPM", DW_SPEED, "'RPM' was not understood after 3000: case counts, did you mean rpm?" SPEED },
    { "298K", DW_TEMPERATURE, "'K' was not understood after 298" TEMPERATURE },
    { "25mdegC", DW_TEMPERATURE, "'mdegC' was not understood after 25" TEMPERATURE },
    { "0rpm/V", DW_MACHINE_CONSTANT,
      "'0rpm/V' is too large; expected a machine constant, such as 0.02, 20mVs, 20mNm/A or 2.1V/krpm" },
    { "5\nV", DW_VOLTAGE, "'?V' was not understood after 5" VOLTAGE },
    { "\x1b[31m", DW_VOLTAGE, "'?[31m' is not a number" VOLTAGE },
    { "a spelling that goes on for so long that it is cut", DW_NUMBER,
      "'a spelling that goes on for so long that...' is not a number" NUMBER },
};

START_TEST(a_bad_spelling_says_what_was_not_understood)
{
    ck_assert_uint_ge(sizeof bad / sizeof bad[0], 60);
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct dw_error error = { .text = "" };
        double value = 12.5;
        const enum dw_status status = dw_quantity_parse(bad[i].text, bad[i].kind, &value, &error);
        ck_assert_msg(status == DW_BAD_USE, "'%s' read %.17g", bad[i].text, value);
        ck_assert_msg(!strcmp(error.text, bad[i].message), "'%s' says: %s\nwanted: %s", bad[i].text, error.text,
                      bad[i].message);
        ck_assert_int_eq(error.status, DW_BAD_USE);
        ck_assert_msg(value == 12.5, "'%s' was refused but changed the value", bad[i].text);
        ck_assert_int_eq(dw_quantity_parse(bad[i].text, bad[i].kind, &value, NULL), DW_BAD_USE);
    }
}
END_TEST

START_TEST(more_than_400_characters_are_refused)
{
    char text[403];
    struct dw_error error;
    double value = 0;
    memset(text, '1', sizeof text);
    text[400] = 0; /* 1.1e399 */
    refuses(dw_quantity_parse(text, DW_NUMBER, &value, &error), DW_BAD_USE, error,
            "'1111111111111111111111111111111111111111...' is too large" NUMBER);
    memcpy(text, "0.", 2);
    succeeds(dw_quantity_parse(text, DW_NUMBER, &value, &error), error);
    near(value, 1.0 / 9, DBL_EPSILON);
    text[400] = '1';
    text[401] = 0;
    refuses(dw_quantity_parse(text, DW_NUMBER, &value, &error), DW_BAD_USE, error, "401 characters are too many" NUMBER);
}
END_TEST

START_TEST(a_message_never_cuts_a_character_in_two)
{
    struct dw_error error;
    double value;
    /* 39 letters and a two-byte one: the limit of 40 bytes falls inside it */
    refuses(dw_quantity_parse("xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx" OMEGA "x", DW_NUMBER, &value, &error), DW_BAD_USE,
            error, "'xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx...' is not a number" NUMBER);
    /* bytes that begin no character: nothing of them can be shown */
    char stray[61];
    memset(stray, 0x80, sizeof stray);
    stray[60] = 0;
    refuses(dw_quantity_parse(stray, DW_NUMBER, &value, &error), DW_BAD_USE, error, "'...' is not a number" NUMBER);
}
END_TEST

START_TEST(every_kind_has_its_symbol_and_reads_it_back)
{
    for (int kind = 0; kind <= DW_PHASE; kind++) {
        const char *symbol = dw_quantity_unit((enum dw_quantity)kind);
        struct dw_error error;
        double value = NAN;
        char text[32] = "12.5 ";
        if (strcmp(symbol, "1"))
            strcat(text, symbol);
        else
            text[4] = 0;
        succeeds(dw_quantity_parse(text, (enum dw_quantity)kind, &value, &error), error);
        ck_assert(value == 12.5);
    }
    ck_assert_str_eq(dw_quantity_unit(DW_RESISTANCE), "ohm");
    ck_assert_str_eq(dw_quantity_unit(DW_SHARE), "1");
}
END_TEST

struct printed {
    double value;
    const char *unit;
    int digits;
    const char *text;
};

static const struct printed printed[] = {
    { 1.25, "V", 4, "1.250 V" },
    { 0.0331, "V", 4, "33.10 mV" },
    { 986.842, "Hz", 4, "986.8 Hz" },
    { 976.5625, "Hz", 4, "976.6 Hz" },
    { 999.96, "V", 4, "1.000 kV" },
    { 999.94, "V", 4, "999.9 V" },
    { 99996, "V", 4, "100.0 kV" },
    { 1000, "mV", 4, "1000 mV" },
    { 0.0331, "kHz", 4, "0.03310 kHz" },
    { -0.0047, "A", 2, "-4.7 mA" },
    { 4700, "ohm", 2, "4.7 kohm" },
    { 123456, "ohm", 2, "120 kohm" },
    { 1e-7, "F", 3, "100 nF" },
    { 2.5e-16, "F", 2, "250 aF" },
    { 1e-20, "V", 4, "1.000e-20 V" },
    { 9.99996e17, "Hz", 4, "1.000e+18 Hz" },
    { 5e-324, "V", 3, "4.94e-324 V" },
    { 0, "V", 4, "0.000 V" },
    { -0.0, "V", 2, "-0.0 V" },
    { 0.2509, "1", 4, "0.2509" },
    { 0.25, "", 4, "0.2500" },
    { 0.05, "%", 3, "5.00 %" },
    { 0.00039216, "%", 4, "0.03922 %" },
    { 65536, "1", 4, "65536" },
    { 12345.6, "1", 4, "12346" },
    { 1234567.5, "1", 4, "1234568" },
    { 12345678.5, "1", 4, "1.235e+07" },
    { 123456789, "1", 4, "123456789" },
    { 2e-7, "1", 4, "2.000e-07" },
    { 25, "degC", 4, "25.00 degC" },
    { 0.0123, "degC", 2, "0.012 degC" },
    { -0.5, "dB", 3, "-0.500 dB" },
    { 1.2e-6, "kgm2", 3, "1.20e-06 kgm2" },
    { 314.159, "rad/s", 4, "314.2 rad/s" },
    { 1, "V", 0, "1 V" },
    { 0.1, "V", 99, "100.00000000000001 mV" }, /* 17 digits at most */
    { INFINITY, "V", 4, "inf V" },
    { -INFINITY, "1", 4, "-inf" },
    { NAN, "V", 4, "nan V" },
};

START_TEST(a_quantity_prints_with_prefix_unit_and_digits_for_people)
{
    for (size_t i = 0; i < sizeof printed / sizeof printed[0]; i++) {
        char text[64];
        const size_t length = dw_quantity_print(text, sizeof text, printed[i].value, printed[i].unit, printed[i].digits);
        ck_assert_msg(!strcmp(text, printed[i].text), "%.17g %s with %d digits: %s, wanted %s", printed[i].value,
                      printed[i].unit, printed[i].digits, text, printed[i].text);
        ck_assert_uint_eq(length, strlen(text));
    }
}
END_TEST

START_TEST(printing_never_leaves_its_buffer)
{
    char text[8];
    memset(text, 'x', sizeof text);
    ck_assert_uint_eq(dw_quantity_print(text, 5, 0.0331, "V", 4), 4);
    ck_assert_str_eq(text, "33.1");
    ck_assert_int_eq(text[5], 'x');
    ck_assert_uint_eq(dw_quantity_print(text, 1, 0.0331, "V", 4), 0);
    ck_assert_int_eq(text[0], 0);
    ck_assert_uint_eq(dw_quantity_print(text, 0, 0.0331, "V", 4), 0);
}
END_TEST

/* As a message prints them: the fewest digits from the third on. */
START_TEST(two_numbers_are_told_apart_by_the_fewest_digits)
{
    static const struct { double one, other; int digits; } rows[] = {
        { 25.000101, 25.0001, 8 }, { 31.3, 27, 3 }, { 0.12345, 0.12345, 3 }, { -3.14159, -3.14158, 6 }, { 1, 0x1.0000000000001p0, 17 },
        { INFINITY, 7, 3 }, { NAN, 7, 3 }, { 1e300, 1.0001e300, 5 },
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        ck_assert_int_eq(dw_digits_apart(rows[i].one, rows[i].other, 3), rows[i].digits);
}
END_TEST

SUITE("value: quantities", a_good_spelling_reads_to_the_last_bit, a_unit_that_converts_stays_within_two_ulp,
      numbers_of_300_digits_are_rounded_once, a_bad_spelling_says_what_was_not_understood,
      more_than_400_characters_are_refused, a_message_never_cuts_a_character_in_two,
      every_kind_has_its_symbol_and_reads_it_back, a_quantity_prints_with_prefix_unit_and_digits_for_people,
      printing_never_leaves_its_buffer, two_numbers_are_told_apart_by_the_fewest_digits)
