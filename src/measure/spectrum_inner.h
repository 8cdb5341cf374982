/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The part of a table whose spectrum is asked: cut into periods while rows stream by, and kept or summed up. */
#ifndef MEASURE_SPECTRUM_INNER_H
#define MEASURE_SPECTRUM_INNER_H

#include "measure/coefficients_inner.h"
#include "measure/statistics_inner.h"
#include <dutywright/spectrum.h>

/* ---- what is kept of a record ---- */

/* Whole periods that belong together, one or more. */
struct period_group {
    size_t rows;           /* in the store */
    double *high, *low;    /* [channels x (lines + 1) x 2], sums of the lines of rows that are no longer there; NULL: all are */
    double *more;          /* the same, of rows that go */
    double *reference;     /* [channels] of those */
    struct accumulator moments;
    double periods;
    bool alike;            /* some of its rows stand for many periods that look alike */
};

/* All rows in one place, each a time or a place and the channels: those of the closed groups, the oldest first, then those of the
 * open one. */
struct windows {
    size_t channels, width, most_rows;  /* width: 1 + channels + slopes */
    const size_t *column;     /* [channels], of the rows as read */
    const size_t *slope;      /* by column, 0: none; NULL: there are only straight lines */
    size_t *slope_of;         /* [channels]: where it stands in a row here, behind the place; 0: none. Slopes are a unit of that place */
    size_t lines;             /* of what is summed up before the end */
    bool whole;               /* rows are kept against time, and all of them; else against the share of their period */
    double length;            /* s, of a period; with `whole` nothing */
    unsigned long long last;  /* groups that are kept; 0: all, in one */
    double *row;
    size_t first, first_open, room;
    struct period_group open, *closed;
    size_t count, room_closed, next;  /* closed[next] is the oldest, or where the next one goes */
    struct value_range *before;   /* [channels x 2]: of the last two groups that went, the latest first */
    struct accumulator period;    /* moments of the period going on, which the caller adds up */
    struct accumulator total;     /* of all closed groups, once dwi_windows_total has been called; and the periods in them */
    double periods;
};

bool dwi_windows_new(struct windows *windows);
void dwi_windows_free(struct windows *windows);
/* Drops what no closed group has. */
void dwi_windows_forget(struct windows *windows);
/* Appends a row, its place given. */
enum dw_status dwi_windows_append(struct windows *windows, double place, const double *values, struct dw_error *error);
/* Appends rows as they are read, their place being the time, or the share of the period that began at `start`.
 *   row     [rows x pitch] */
enum dw_status dwi_windows_append_rows(struct windows *windows, const double *row, size_t rows, size_t pitch, double start,
                                       struct dw_error *error);
/* The last two rows are the ends of a piece, so long as so many periods, and are to stand for it as if it were one. */
void dwi_windows_fold(struct windows *windows, double periods);
/* The period going on has ended, and stands for so many; its group, too, where it is whole. */
enum dw_status dwi_windows_close(struct windows *windows, double periods, bool whole_group, struct dw_error *error);
/* Fills `total` and `periods`: once, at the end. */
void dwi_windows_total(struct windows *windows);
/* See dwi_record_rest. */
bool dwi_windows_rest(const struct windows *windows, size_t channel, const double *line, double *square);
/* See dwi_record_coefficients. */
enum dw_status dwi_windows_coefficients(struct windows *windows, size_t lines, double *out, struct dw_error *error);

/* ---- the record ---- */

struct record_plan {
    size_t columns;               /* of the table */
    const size_t *column;         /* [channels], 1.. */
    const size_t *slope;          /* [columns], copied: where the slope of a column stands, 0: nowhere; NULL: there are none */
    size_t channels;
    double period;                /* s; 0: that of the span, known only at its end */
    double origin;                /* s, a boundary */
    bool from_first_row;          /* the first row is the origin, whatever `origin` */
    double from, to;              /* s; infinite: the record's own ends */
    unsigned long long last;      /* keep so many groups of periods; 0: all */
    double group;                 /* periods that belong together, from boundaries whose number is a multiple; 0 is 1 */
    bool whole;                   /* rows are wanted against time, over all the periods kept, not period onto period */
    size_t lines;                 /* highest line of a period, where periods may have to be summed up before the end */
    size_t most_bytes;            /* rows kept before that happens; 0: 72 MiB, which holds 2^22 rows of a channel */
    const char *place;            /* for messages */
};

struct record;
/* plan  copied; place and column too */
struct record *dwi_record_new(const struct record_plan *plan, struct dw_error *error);
void dwi_record_free(struct record *record);
/* Rows as read, [rows x columns]. DW_BAD_INPUT: time goes back; the span begins before the record; period too short. */
enum dw_status dwi_record_rows(struct record *record, const double *values, size_t rows, struct dw_error *error);
/* DW_BAD_INPUT where the span is not in the record or holds no whole period. */
enum dw_status dwi_record_finish(struct record *record, struct dw_error *error);

/* Whether the span can be in a record from its first time to its last; reach: s, up to where a span may end. */
enum dw_status dwi_record_check(const char *place, const struct record_plan *plan, double first, double last, double reach,
                                struct dw_error *error);

/* After dwi_record_finish: the part kept; whole periods in it; what the span held beyond them, s; lines between rows in all
 * whole periods, kept or not. */
struct record_facts {
    double from, to, periods, rest;
    unsigned long long pieces;
};
struct record_facts dwi_record_facts(const struct record *record);
/* Moments of all channels over it, [channels]. */
const struct channel_moments *dwi_record_moments(const struct record *record);
/* How far the mean of the last whole period is from that of the one before, [channels]; NAN where there is only one. */
double dwi_record_drift(const struct record *record, size_t channel);
/* From the least to the largest value of a channel in it and shortly before. */
struct value_range dwi_record_range(const struct record *record, size_t channel);
/* Fourier coefficients up to `lines`, of the period (mean over the periods kept), or with `whole` of the span.
 *   out  [channels x (lines + 1) x 2]; see fourier_coefficients. Line 0 means nothing: the moments have the mean */
enum dw_status dwi_record_coefficients(struct record *record, size_t lines, double *out, struct dw_error *error);
/* Mean square, over the periods kept, of what a channel has beside its mean and line 1: equation 5.15.
 *   line      [2], coefficient of line 1
 *   square    out, to 1e-9 of itself and 16 DBL_EPSILON of the largest value, squared
 *   returns   false where it cannot be had: rows have been summed up, or there is so long a line that there must be more
 *             than a thousandth beside line 1
 *   cost      some 50 ns a row */
bool dwi_record_rest(const struct record *record, size_t channel, const double *line, double *square);

/* ---- tapers: sums of cosines over the span ---- */

enum { TAPER_TERMS_MOST = 5 };
struct taper {
    const char *name;
    size_t terms;                     /* cosines, that of frequency 0 included; also the fewest periods it tells apart */
    double cosine[TAPER_TERMS_MOST];  /* w(t) = sum of cosine[m] cos(2 pi m t / T); cosine[0] = 1 is the mean weight */
};
const struct taper *dwi_taper_of(enum dw_taper taper);
/* Coefficients of the tapered wave at every stride-th line, its mean taken off first: docs/theory.md, equation 5.14.
 *   lines   [(last * stride + terms) x 2] coefficients of the wave without its mean; line 0 is not read
 *   out     [(last + 1) x 2]
 *   mean    out, of the wave weighted by the taper */
void dwi_taper_apply(const struct taper *taper, const double *lines, size_t stride, size_t last, double *out, double *mean);

/* ---- the analyser ---- */

enum { SPECTRUM_NOTE_SIZE = 240, SPECTRUM_NOTES_ALL = 5, SPECTRUM_NOTES_EACH = 4 };

struct spectrum_note {
    size_t channel;
    bool caution;
    char text[SPECTRUM_NOTE_SIZE];
};

struct channel_lines {
    double *line;          /* [(highest + 1) x 2] coefficients, the mean as line 0; a part of `lines` */
    double mean, ac_rms;   /* of the span, without a taper; the rms without the mean */
    double rest;           /* of samples: mean square of all but mean and fundamental */
    double low, high;      /* least and largest value in the span */
    struct value_range range;  /* the same, with what comes shortly before */
    double drift;          /* from the mean of the last period but one to the last; NAN: not known */
    double magnitude;      /* largest |value| in the span */
    double least;          /* amplitude below which a line is rounding */
    struct dw_channel_facts told;  /* by the header, of its accuracy, and from that: */
    double tolerance;      /* how far the true wave may be from that of the table */
    size_t reference;      /* line that levels refer to, 0: none; and its amplitude */
    double reference_amplitude;
};

struct dw_spectrum {
    size_t *column, channels;
    size_t *slope;              /* by column */
    bool curved;                /* one of the channels has a slope */
    struct record_plan plan;
    struct record *record;
    struct samples samples;     /* of a table that says it is sampled, as long as: */
    bool by_samples;            /* they, and not the record, are what lines come from */
    bool weighs_samples;        /* the record's lines are made those of its samples */
    bool span_default;          /* no span was asked */
    struct record_facts facts;
    const struct taper *taper;
    double taper_rms;           /* of its weights, whose mean is 1 */
    char place[256];
    bool harmonic;              /* a fundamental is known */
    bool steady_wanted;         /* the period is that of the whole pattern, so its mean should not move */
    bool last_only;             /* the span is so many periods, and what it leaves out was not asked */
    double period, frequency;   /* s, Hz: 0 until finished where not known before */
    bool exact_frequency;       /* the frequency was given, not the period */
    size_t harmonics;           /* asked; 0: by `top` */
    double top, sampled;        /* Hz; 1/s */
    size_t highest;
    double *lines;              /* all channels' */
    struct channel_lines *of;   /* [channels] */
    struct spectrum_note *note; /* room for SPECTRUM_NOTES_ALL and _EACH for every channel */
    size_t notes;
};

/* Rows of a sampled table; the record takes them all where they are not evenly spaced. */
enum dw_status dwi_spectrum_take(struct dw_spectrum *spectrum, const double *values, size_t rows, struct dw_error *error);
/* Lines, facts and statistics of the samples. Where they are tapered or no fundamental is found, the record takes them: by_samples is
 * false then. */
enum dw_status dwi_spectrum_by_samples(struct dw_spectrum *spectrum, struct dw_error *error);
/* For weighs_samples: of lines of the record those of its samples, [channels x (bins + 1) x 2]; and what a channel's samples have. */
void dwi_spectrum_weigh_samples(const struct dw_spectrum *spectrum, size_t bins, double *all);
void dwi_spectrum_sample_moments(const struct dw_spectrum *spectrum, size_t channel, double *mean, double *ac_rms);
/* DW_BAD_USE: more lines than DW_LINES_MOST. */
enum dw_status dwi_spectrum_too_many(double lines, struct dw_error *error);
__attribute__((format(printf, 4, 5))) void dwi_spectrum_remark(struct dw_spectrum *spectrum, size_t channel, bool caution,
                                                               const char *format, ...);

#endif
