/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Laws that set a duty from what is measured, once a sample, and the converter through which they see it. docs/theory.md,
 * section 16. */
#ifndef DUTYWRIGHT_LAW_H
#define DUTYWRIGHT_LAW_H

#include <dutywright/status.h>
#include <stdbool.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

enum { DW_CONVERTER_BITS = 16, DW_LAW_STEPS = 1 << 16 };  /* the most of each */

/* What a law sees of a quantity: a sensor that gives volts, and a converter that gives one of 2^bits codes. A code stands for the
 * voltage low + code (high - low) / 2^bits and is given up to half a code around it; outside, the first or the last. */
struct dw_converter {
    double gain, offset;          /* the sensor gives gain x quantity + offset, V; gain is not 0; 1 and 0: none */
    unsigned bits;                /* 1 to DW_CONVERTER_BITS; 0: exact and without bounds */
    double low, high;             /* V, low < high; not looked at where it is exact */
    double noise;                 /* V rms, >= 0, normal, on the sensor's voltage */
    uint64_t seed;                /* of the noise: the same seed gives the same noise */
};

enum dw_law_kind { DW_LAW_ON_OFF, DW_LAW_PID };
/* What the integral does where the duty is clipped: goes on; stands while it would lead further out; is led back. */
enum dw_windup { DW_WINDUP_NONE, DW_WINDUP_CLAMP, DW_WINDUP_BACK };

/* Quantities are in the unit of what is measured, here Q. */
struct dw_law_plan {
    enum dw_law_kind kind;
    double sample_time;           /* s, > 0 */
    struct dw_converter converter;
    double on, off;               /* Q, of on-off: how far above the wanted value it turns on, and off; between them it stays as it is.
                                     on <= off: on below, off above; on > off: on above, off below */

    /* of pid */
    double gain;                  /* 1/Q, duty for an error of 1; below 0 where a higher duty lowers what is measured */
    double integral_time;         /* s, > 0; INFINITY: no integral */
    double derivative_time;       /* s, >= 0 */
    double filter;                /* s, >= 0, time constant of the derivative's filter */
    double setpoint_weight;       /* of the wanted value in the proportional part; 1: of the error */
    enum dw_windup windup;
    double track_time;            /* s, >= sample_time, for DW_WINDUP_BACK: how fast the integral is led back */
    double initial;               /* the integral at first, as a duty */

    /* of both */
    double duty_low, duty_high;   /* -1 to 1, low < high; below 0: the other direction of a bridge */
    unsigned duty_steps;          /* of a duty of 1, up to DW_LAW_STEPS, the range is narrowed to whole ones; 0: the duty is not rounded */
    bool integers;                /* in whole numbers, as dw_law_firmware writes it: needs a converter's bits and steps */
};

/* The same law in whole numbers of 64 bits: codes in, steps of the duty out, between them 2^shift parts of a step. Every sum and product
 * stays below 2^63 for all codes and any number of samples: docs/theory.md, section 16. */
struct dw_law_integers {
    int32_t last_code;            /* codes are 0 to this one */
    int32_t low, high;            /* steps */
    bool below;                   /* on-off: turns on below on_at and off above off_at, codes above the wanted one; else on above, off below */
    int32_t on_at, off_at;
    unsigned shift;
    int64_t gain, weight, integrates, differentiates;  /* parts of a step per code, below 2^40; gain for what is measured, weight for wanted */
    int64_t offset, initial;      /* parts of a step */
    int64_t keeps, tracks;        /* of 2^30 */
};

/* A law made; nothing else belongs to it, and it is copied as a struct. */
struct dw_law {
    struct dw_law_plan plan;
    double step;                  /* Q, of a code, below 0 where the sensor's gain is; 0: exact */
    double low, high;             /* the duty's range, in whole steps */
    double integrates;            /* 1/Q: Kp T / Ti */
    double differentiates, keeps; /* 1/Q: Kp Td (1 - a) / T; a = Tf / (Tf + T) */
    double tracks;                /* T / track_time, or 0 */
    struct dw_law_integers integers;
};

/* What a law remembers, and what it saw at the last sample. */
struct dw_law_state {
    uint64_t samples;             /* taken so far */
    double integral, derivative;  /* as duties */
    double wanted, measured;      /* Q, as the law saw them */
    double asked;                 /* the duty before range and steps */
    double duty;
    bool on;                      /* on-off */
    struct {
        int64_t integral, derivative;
        int32_t code;             /* measured last */
        bool begun;
    } whole;                      /* of a law in integers */
};

/* What a quantity is for the law: exact, or the value of the nearest code, half a code rounded up; NaN stays NaN.
 *   quantity  Q
 *   returns   Q
 *   source    docs/theory.md, (16.1); IEEE Std 1241-2010, 4.1 (transfer with the transition to code k half a code below its value) */
DW_API double dw_converter_value(const struct dw_converter *converter, double quantity);
/* The same behind the noise of a sample, counted from 0. */
DW_API double dw_converter_sample(const struct dw_converter *converter, uint64_t sample, double quantity);

/* Checks a plan and works out what each sample needs.
 *   law       out; untouched on error
 *   returns   DW_OK; DW_BAD_USE with the member's name: a number out of its range
 *   source    docs/theory.md, (16.1) to (16.4) */
DW_API enum dw_status dw_law_make(const struct dw_law_plan *plan, struct dw_law *law, struct dw_error *error);
/* The state before the first sample: the integral at its first value, nothing measured, off. */
DW_API void dw_law_begin(const struct dw_law *law, struct dw_law_state *state);
/* One sample; the first has no derivative, since nothing was measured before it.
 *   wanted, measured  Q, finite
 *   returns   the duty, within the range and on a step; state->duty too
 *   cost      allocates nothing
 *   accuracy  4 ulp of the largest part */
DW_API double dw_law_step(const struct dw_law *law, struct dw_law_state *state, double wanted, double measured);

/* ---- in whole numbers ---- */

/* The constants of a law whose other members are made; dw_law_make calls it.
 *   integers  out
 *   returns   DW_OK; DW_BAD_USE: no converter, no steps, or parts so far apart in size that the smaller ones would be wrong by more than
 *             one in a thousand
 *   accuracy  each constant is rounded to the nearest whole number of parts */
DW_API enum dw_status dw_law_integers_make(const struct dw_law *law, struct dw_law_integers *integers, struct dw_error *error);
/* One sample, as dw_law_step takes it, of a state that dw_law_begin gave.
 *   wanted, measured  codes; taken as the nearest of 0 to last_code
 *   returns   steps of the duty */
DW_API int32_t dw_law_integers_step(const struct dw_law *law, struct dw_law_state *state, int32_t wanted, int32_t measured);

/* A law in integers as a C99 header that needs nothing else: NAME_begin, and NAME_step, which gives for the same codes bit for bit what
 * dw_law_integers_step gives.
 *   name      of a C identifier's letters, up to 24; functions and macros begin with it
 *   note      one line for its first comment, or NULL
 *   returns   text to be given to free(); NULL with DW_BAD_USE: a name that is no identifier, a law that is not in integers; DW_NO_MEMORY */
DW_API char *dw_law_firmware(const struct dw_law *law, const char *name, const char *note, struct dw_error *error);

#ifdef __cplusplus
}
#endif
#endif
