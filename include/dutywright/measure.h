/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a waveform amounts to: mean, rms, ripple, pulses, settling. docs/theory.md, section 4, defines each measure. */
#ifndef DUTYWRIGHT_MEASURE_H
#define DUTYWRIGHT_MEASURE_H

#include <dutywright/status.h>
#include <dutywright/table.h>
#include <dutywright/value.h>
#include <stdbool.h>
#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

/* ---- whole arrays ---- */

/* Rows of which each two neighbours of different time are joined: by a straight line, or by the cubic with the values and slopes of
 * both (cubic Hermite). Two rows at one time are a jump: the first ends what is before it, the last begins what is after. */
struct dw_wave {
    const double *time;   /* s, [rows], finite, never decreasing */
    const double *value;  /* [rows x channels], row after row, unit of the channel */
    const double *slope;  /* [rows x channels], finite, unit of the channel a second; NULL: straight lines */
    size_t rows, channels;
};

/* Mean of every channel over the rows, exact for the lines or cubics between them.
 *   wave       2 rows or more
 *   mean       out, [channels], unit of the channel; untouched on error
 *   error      out, may be NULL
 *   returns    DW_OK; DW_BAD_INPUT: time goes back, or no time passes; DW_NO_MEMORY
 *   source     area under a line or cubic, summed as a running mean: docs/theory.md, equations 4.1, 4.3 and 4.13
 *   accuracy   4 DBL_EPSILON of the largest |value|, however many rows (the running mean is kept in two doubles); with slopes, of
 *              the largest |value| or |slope| times a quarter of the time between its neighbours */
DW_API enum dw_status dw_mean(const struct dw_wave *wave, double *mean, struct dw_error *error);

struct dw_statistics {
    double mean, rms;
    double ac_rms;            /* rms of what is left without the mean */
    double minimum, maximum;  /* between the jump at the start and the jump at the end: theory, section 4; of a cubic also inside */
};

/* The same for all that needs no levels and no periods.
 *   out        [channels], in the channel's unit; untouched on error
 *   accuracy   mean as dw_mean; ac_rms 1e-13 relative plus 4 DBL_EPSILON of the largest |value|: it is summed about the
 *              running mean, never taken as a difference of squares. Magnitudes 1e-150 to 1e150. */
DW_API enum dw_status dw_statistics(const struct dw_wave *wave, struct dw_statistics *out, struct dw_error *error);

/* ---- spans: what part of the record is measured. Half open: after the jump at the start, before that at the end ---- */

enum dw_span_kind {
    DW_SPAN_DEFAULT,  /* the last whole period where the header has `period`, else all */
    DW_SPAN_LAST,     /* the last whole periods */
    DW_SPAN_ALL,
    DW_SPAN_BETWEEN
};

struct dw_span {
    enum dw_span_kind kind;
    unsigned long long periods;  /* DW_SPAN_LAST: how many, >= 1 */
    double from, to;             /* DW_SPAN_BETWEEN: s, or as asked; -INFINITY and INFINITY for the ends of the record */
};

/* Reads `last`, `last:N`, `all`, `A:B`, `A:` or `:B` (times with prefixes and unit).
 *   span      out; untouched on error
 *   returns   DW_OK or DW_BAD_USE; the text quotes what was found but names no option */
DW_API enum dw_status dw_span_parse(const char *text, struct dw_span *span, struct dw_error *error);

/* The same along a first column of another kind.
 *   kind      what A and B are: DW_FREQUENCY for a spectrum, say, or DW_NUMBER */
DW_API enum dw_status dw_span_parse_along(const char *text, enum dw_quantity kind, struct dw_span *span, struct dw_error *error);

/* ---- settling: our own definition (theory, section 4.5), not that of IEEE Std 181 ---- */

enum dw_settling_state {
    DW_SETTLED,             /* time is when */
    DW_SETTLED_WITHIN,      /* already the first mean is inside the band: at most time */
    DW_SETTLED_FROM_START,  /* nothing changes: time is 0 */
    DW_NO_CHANGE,           /* it ends where it began, but was elsewhere between: no band to settle into */
    DW_NOT_SETTLED,         /* the last two means differ by more than a tenth of the band */
    DW_TOO_FEW              /* fewer than two means */
};

struct dw_settling {
    enum dw_settling_state state;
    double time;        /* s, from the first row, or where the step is */
    double time_bound;  /* s, |time - true time| where candidates were thinned; 0: none were */
    double slope;       /* of the mean where it enters the band, unit of the channel a second, >= 0; 0: not known */
    double final;       /* last mean */
    double overshoot;   /* furthest mean beyond the final one, as a share of the change; 0: none */
};

struct dw_settling_rule {
    double start;    /* s, time of the first row */
    double initial;  /* what the change starts from, unit of the channel */
    double band;     /* half width, as a share of the change, 0 < band < 1 */
    double range;    /* maximum - minimum of the channel over the record: a change below 1e-9 of it counts as none */
};

/* Settling of a sequence of period means.
 *   time      s, [count], ends of the periods, increasing
 *   mean      [count], unit of the channel, mean over the period that ends there
 *   out       untouched on error; state DW_TOO_FEW where count < 2 and there is a change
 *   returns   DW_OK; DW_BAD_USE: band outside 0..1; DW_NO_MEMORY
 *   accuracy  a few roundings: nothing is thinned here */
DW_API enum dw_status dw_settling_from_means(const double *time, const double *mean, size_t count,
                                             const struct dw_settling_rule *rule, struct dw_settling *out,
                                             struct dw_error *error);

/* ---- the meter: all measures of a table while its rows stream by ---- */

enum dw_measure {
    DW_MEASURE_MEAN,
    DW_MEASURE_RMS,
    DW_MEASURE_AC_RMS,
    DW_MEASURE_MINIMUM,
    DW_MEASURE_MAXIMUM,
    DW_MEASURE_RIPPLE,
    DW_MEASURE_FREQUENCY,
    DW_MEASURE_DUTY,
    DW_MEASURE_POSITIVE_TRANSITION,  /* transition duration, 10 to 90 %, mean over the positive-going ones */
    DW_MEASURE_NEGATIVE_TRANSITION,
    DW_MEASURE_OVERSHOOT,
    DW_MEASURE_SETTLING_TIME,
    DW_MEASURES
};

/* "mean", "ac-rms", "positive-transition-duration"; static storage. */
DW_API const char *dw_measure_name(enum dw_measure measure);
/* Its unit, given that of the channel: "s", "Hz", "1" or the channel's own. */
DW_API const char *dw_measure_unit(enum dw_measure measure, const char *channel_unit);

struct dw_meter_options {
    const size_t *column;     /* [channels] columns to measure, 1.., no slopes; NULL: all channels */
    size_t channels;
    struct dw_span span;      /* {0}: the default */
    double period;            /* s, of a pattern that repeats from the first row on; 0: as the header says */
    double band;              /* share of the change; 0: 2 % */
    bool has_from;
    double from;              /* settling's change starts here, whatever the header says */
    bool has_step;
    double step_at;           /* s, within the record: settling and overshoot are those of a change that begins here, from the mean
                               * over the last period that ended by then, or the value before */
    bool has_levels;
    double low, high;         /* levels of the two states for every channel measured, low < high */
    const char *place;        /* for messages: "standard input"; NULL: "the table" */
};

struct dw_result {
    bool had;       /* false: left out; a note says why */
    bool at_most;   /* the true value is at most this */
    double value;   /* SI */
    double bound;   /* |value - true value|: what the table's `accuracy` leaves in doubt, and what is thinned (theory, section 4.6).
                       Of instants and durations to first order. 0: rounding alone, or the table says nothing of its accuracy */
};

struct dw_meter;
/* Reads what it needs from the header: period, carrier-period, origin, levels, initial, accuracy, sampled, and which channels have
 * slopes: between two rows of different time these are cubics, the others straight lines.
 *   options  may be NULL
 *   returns  NULL on error: DW_BAD_USE (period, band, levels or columns out of range), DW_BAD_INPUT (the first
 *            column is no time in s, or the span needs a period that the table does not have), DW_NO_MEMORY
 * Of a table that is sampled, mean, rms and frequency are those of a sine fit where it explains the samples, else mean and rms are over
 * whole cycles (theory, section 4.4), if the rows need no more than 4 MiB; beyond that they are those of all samples.
 *   memory   constant in the length of the table, some 8 MiB at most for a few channels, 12 MiB of a sampled one; span last:N adds 56 bytes a
 *            channel for each of the N periods */
DW_API struct dw_meter *dw_meter_new(const struct dw_header *header, const struct dw_meter_options *options,
                                     struct dw_error *error);
DW_API void dw_meter_free(struct dw_meter *meter);
/* Takes rows in order, as dw_reader_rows gives them: values [rows x columns], times never decreasing. */
DW_API enum dw_status dw_meter_rows(struct dw_meter *meter, const double *values, size_t rows, struct dw_error *error);
/* Ends the record: after this the questions below may be asked. DW_BAD_INPUT where no time passed or the span is not in
 * the record. */
DW_API enum dw_status dw_meter_finish(struct dw_meter *meter, struct dw_error *error);

/* Channels measured; column of the i-th; its result. */
DW_API size_t dw_meter_channels(const struct dw_meter *meter);
DW_API size_t dw_meter_column(const struct dw_meter *meter, size_t channel);
DW_API struct dw_result dw_meter_result(const struct dw_meter *meter, size_t channel, enum dw_measure measure);
/* The part of the record that was measured, s; periods: how many whole ones, 0 where it was not told in periods. */
DW_API void dw_meter_span(const struct dw_meter *meter, double *from, double *to, double *periods);

struct dw_meter_note {
    size_t channel;    /* which one, or dw_meter_channels() for the record as a whole */
    const char *text;  /* one line, without the channel's name */
};
/* Why something was left out, or is less sure than it looks: i from 0 until false. */
DW_API bool dw_meter_note(const struct dw_meter *meter, size_t i, struct dw_meter_note *note);

#ifdef __cplusplus
}
#endif
#endif
