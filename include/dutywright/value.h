/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Quantities on a command line and in a table: spelling to double and back; the preferred values of IEC 60063. */
#ifndef DUTYWRIGHT_VALUE_H
#define DUTYWRIGHT_VALUE_H

#include <dutywright/status.h>
#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

/* What a number stands for. Decides which unit words and which letter-as-point codes (IEC 60062) are accepted. */
enum dw_quantity {
    DW_NUMBER,      /* no unit */
    DW_SHARE,       /* 0.312, 31.2%, 3510/11250; range is the caller's to check */
    DW_TIME,        /* s */
    DW_FREQUENCY,   /* Hz */
    DW_VOLTAGE,     /* V */
    DW_CURRENT,     /* A */
    DW_RESISTANCE,  /* ohm; IEC 60062 letters R L K M G T, k as K, m as L */
    DW_CAPACITANCE, /* F; IEC 60062 letters p n u m F */
    DW_INDUCTANCE,  /* H; letters n u m H in the same manner, by common practice */
    DW_CHARGE,      /* C */
    DW_POWER,       /* W */
    DW_ENERGY,      /* J */
    DW_TORQUE,      /* N m, written Nm */
    DW_INERTIA,     /* kg m^2, written kgm2 */
    DW_SPEED,       /* rad/s, rpm converts */
    DW_MACHINE_CONSTANT,  /* V s/rad = N m/A, written Vs or Nm/A */
    DW_FRICTION,    /* N m s/rad, written Nms */
    DW_TEMPERATURE, /* degC */
    DW_THERMAL_RESISTANCE,  /* K/W */
    DW_HEAT_CAPACITY,       /* J/K */
    DW_ANGLE,       /* deg, rad converts */
    DW_SLEW,        /* deg/s */
    DW_LENGTH,      /* m; 80mm is 0.08; 80m is refused, since it might be either */
    DW_FORCE,       /* N */
    DW_MASS,        /* kg */
    DW_PHASE        /* share of a period: as DW_SHARE, or degrees (90deg) */
};

/* Reads a whole spelling: number, SI prefix a f p n u m k M G T P (case counts; both micro signs are u), optional unit,
 * percent, counts a/b, or letter-as-point code (2k7, R47, 2n2). Blanks may stand between number and unit only.
 *   text     NUL-terminated, at most 400 bytes
 *   kind     what it must be
 *   value    out, SI unit of the kind, finite; untouched on error
 *   error    out, may be NULL; the text quotes what was not understood and what was expected, but names no option:
 *            the caller knows that
 *   returns  DW_OK or DW_BAD_USE
 *   source   prefixes: BIPM SI brochure, 9th ed.; letter codes: IEC 60062:2016
 *   accuracy correctly rounded from the decimal spelling; within 2 ulp where a unit converts (min, h, rpm, deg) */
DW_API enum dw_status dw_quantity_parse(const char *text, enum dw_quantity kind, double *value, struct dw_error *error);

/* The symbol written in a table's brackets for a kind ("V", "ohm", "1"); static storage. */
DW_API const char *dw_quantity_unit(enum dw_quantity kind);

enum { DW_NUMBER_SIZE = 32 };

/* Fewest digits that read back to the same double; fixed notation for 1e-5 <= |x| < 1e15, else an exponent.
 *   out      at least DW_NUMBER_SIZE bytes; NUL-terminated
 *   value    any double; NaN prints nan, infinities inf and -inf
 *   returns  length without the NUL */
DW_API size_t dw_number_print(char *out, double value);

/* Reads a decimal number, point decimal whatever the locale.
 *   first    first byte; a leading + is accepted; no leading blanks are skipped
 *   last     one past the last byte that may be read
 *   value    out; correctly rounded, so that beyond the range of double it is an infinity or a zero; nan and inf (any
 *            case) are read; untouched where nothing reads
 *   returns  one past the last byte used, or first where no number begins there */
DW_API const char *dw_number_read(const char *first, const char *last, double *value);

/* The double nearest to a value with so many significant digits, which dw_number_print then writes as those. What is so rounded stays
 * as it is.
 *   value    any double; what is not finite stays
 *   digits   1 to 17 */
DW_API double dw_number_round(double value, int digits);

/* With how many significant digits two numbers are told apart where a message compares them: 25.000101 and a limit of 25.0001.
 *   digits   what would do otherwise
 *   returns  the fewest, digits or more, with which they differ; 17 at most; digits where the numbers are equal */
DW_API int dw_digits_apart(double one, double other, int digits);

/* For people: value with SI prefix and unit, so many significant digits, trailing zeros kept ("1.030 V", "33.10 mV").
 *   out      at least 64 bytes
 *   unit     symbol; "1" or "" prints a bare number without prefix, "%" prints 100 times the value */
DW_API size_t dw_quantity_print(char *out, size_t size, double value, const char *unit, int digits);

/* Preferred values of one decade, 1 <= v < 10, ascending.
 *   series   3, 6, 12, 24, 48, 96 or 192
 *   values   out, [series]; untouched on error
 *   returns  DW_OK or DW_BAD_USE
 *   source   IEC 60063:2015: rounded powers 10^(k/series) with the tabled exceptions of E24 and below and of E192 (9.20)
 *   accuracy each the double nearest to its decimal spelling */
DW_API enum dw_status dw_preferred_values(int series, double *values, struct dw_error *error);

/* All preferred values within [lowest, highest], ascending, each the double nearest to its decimal spelling.
 *   lowest, highest  1e-300 to 1e300, both inclusive
 *   values   out, [*count]; untouched on error; may be NULL to ask for the count alone
 *   count    in: room in values; out: how many there are, also where the room is too small
 *   returns  DW_OK, or DW_BAD_USE: no such series, no such range, or too little room */
DW_API enum dw_status dw_preferred_range(int series, double lowest, double highest, double *values, size_t *count,
                                         struct dw_error *error);

#ifdef __cplusplus
}
#endif
#endif
