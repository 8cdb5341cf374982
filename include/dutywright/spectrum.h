/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Spectra of waves of straight lines and cubics with ideal edges: exact Fourier integrals, so nothing aliases; of samples: fits of
 * sines to them. docs/theory.md, section 5. */
#ifndef DUTYWRIGHT_SPECTRUM_H
#define DUTYWRIGHT_SPECTRUM_H

#include <dutywright/measure.h>
#include <dutywright/status.h>
#include <dutywright/table.h>
#include <stdbool.h>
#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

/* ---- whole arrays ---- */

/* Fourier coefficients of one period: c_n = 1/T integral of x(t) e^(-j 2 pi n (t - t_0) / T) dt over the rows, T the time
 * from the first row, t_0, to the last. x(t) = c_0 + sum over n >= 1 of 2 |c_n| cos(2 pi n (t - t_0) / T + arg c_n).
 *   wave       2 rows or more
 *   lines      highest n, at most 2^26
 *   out        [channels x (lines + 1) x 2], real and imaginary parts, unit of the channel; untouched on error
 *   returns    DW_OK; DW_BAD_INPUT: time goes back, no time passes, or T is beyond the range of double; DW_BAD_USE: too many
 *              lines; DW_NO_MEMORY
 *   accuracy   8 DBL_EPSILON of the largest |x - mean|, plus what the rounding of the times moves: half an ulp of the
 *              latest time over T, times the total variation of x, at worst
 *   cost       the least of rows x lines, one or two transforms of the cells of a grid on which the rows lie, and some 20
 *              transforms of so many points as lines; with slopes no grid is looked for, and rows x lines costs twice as much. The
 *              numbers agree to the accuracy above. FFTW's planner serves one thread at a time
 *   source     docs/theory.md, equations 5.4, 5.6, 5.7 and 5.16 */
DW_API enum dw_status dw_fourier(const struct dw_wave *wave, size_t lines, double *out, struct dw_error *error);

/* ---- the analyser: the spectrum of a table while its rows stream by ---- */

/* Weights over the span, for records that hold no whole number of periods; amplitudes are divided by the mean weight.
 *   source  Hann: Harris 1978, Proc. IEEE 66:51. Flat top: HFT90D of Heinzel, Ruediger and Schilling 2002, Spectrum and
 *           spectral density estimation by the discrete Fourier transform, Max-Planck-Institut fuer Gravitationsphysik,
 *           Hannover: side lobes below -90.2 dB, amplitudes between lines at most 0.0039 dB off */
enum dw_taper { DW_TAPER_NONE, DW_TAPER_HANN, DW_TAPER_FLAT_TOP };

enum { DW_LINES_MOST = 1 << 26, DW_HARMONICS_USUAL = 40 };

struct dw_spectrum_options {
    const size_t *column;  /* [channels] columns, 1.., no slopes; NULL: all channels */
    size_t channels;
    struct dw_span span;   /* {0}: the default, see dw_spectrum_new */
    double fundamental;    /* Hz; 0: 1 / period of the header, without one 1 / carrier-period, and without either 1 / length of the span */
    size_t harmonics;      /* highest line; 0: as far as `highest` */
    double highest;        /* Hz; 0: 40 harmonics, and without a known period half as many lines as the span has rows */
    enum dw_taper taper;
    const char *place;     /* for messages: "standard input"; NULL: "the table" */
};

struct dw_spectrum;
/* Reads what it needs from the header: period, origin, sampled, accuracy, and which channels have slopes and so are cubics.
 * The span: by default the last whole period that the header names; where only `fundamental` is known, or with a taper,
 * all whole periods; without any, the whole record. A span beginning at a given time is cut into periods from there.
 * Of a table that is sampled, without a taper: lines are fitted to the samples (sine.h), as many as lie below half the rate and no
 * more than DW_SINE_HARMONICS_MOST; where no fundamental is known it is found, and is one from there on. A last period of no whole number
 * of samples is then not the default, but all there are. Rows that are not evenly spaced, and samples without a tone, are lines.
 *   options  may be NULL
 *   returns  NULL on error: DW_BAD_USE (fundamental, highest, columns or lines out of range), DW_BAD_INPUT (the first
 *            column is no time in s, or the last periods are asked of a table without a known period), DW_NO_MEMORY
 *   memory   the rows of the span, or a few MiB for many periods of pulses with all edges on the same few ticks; where the
 *            period is known and there is no taper, at most 72 MiB for each period kept and the one going on, and 600 bytes
 *            a line and channel, however long the record. Of samples 72 MiB: the first rows, or for last periods the last ones */
DW_API struct dw_spectrum *dw_spectrum_new(const struct dw_header *header, const struct dw_spectrum_options *options,
                                           struct dw_error *error);
DW_API void dw_spectrum_free(struct dw_spectrum *spectrum);
/* Rows in order, as dw_reader_rows gives them: [rows x columns]; how many come at a time may change the last bit.
 *   returns  DW_OK or DW_NO_MEMORY; DW_BAD_INPUT: time goes back, the span begins before the record, or the period is below
 *            what times so late can tell apart */
DW_API enum dw_status dw_spectrum_rows(struct dw_spectrum *spectrum, const double *values, size_t rows,
                                       struct dw_error *error);
/* Ends the record: after this the questions below may be asked. DW_BAD_INPUT where the span is not in the record, holds no
 * whole period, the record is longer than double holds, or fewer periods than the taper needs (Hann 2, flat top 5). */
DW_API enum dw_status dw_spectrum_finish(struct dw_spectrum *spectrum, struct dw_error *error);

/* x(t) = sum of amplitude * cos(2 pi frequency (t - from) + phase), from: the span's start. */
struct dw_line {
    double frequency;  /* Hz */
    double amplitude;  /* peak, >= 0, unit of the channel; line 0: |mean| */
    double level;      /* dB re the fundamental (`reference` of the distortion); -INFINITY where there is nothing */
    double phase;      /* rad, above -pi, up to pi; line 0: 0 or pi */
    bool has_phase;    /* false: the line is below 1e-12 of the largest, 1e-15 of the mean, or its bound: its phase is rounding */
    /* What the table's `accuracy` leaves in doubt: docs/theory.md, equation 5.21. 0: nothing, or the table says nothing of it;
     * INFINITY: all. */
    double amplitude_bound, level_bound, phase_bound;
};

struct dw_distortion {
    double mean, rms, ac_rms;  /* of the span; the mean weighted by the taper */
    size_t reference;          /* line to which levels refer: 1, or where no fundamental is known, the largest; 0: none */
    bool has_thd;              /* a fundamental is known and there */
    double thd_lines;          /* root sum square of lines 2 and up, as far as asked, over line 1 */
    bool has_thd_all, at_most; /* at_most: below what rounding lets tell, 16 ulp of the values (1e-6 where
                                * the rows did not fit into memory), and no more than this */
    double thd_all;            /* over all lines; without a taper only; of samples over those fitted, as thd_lines. Where it is small it costs 50 ns a row */
    bool has_sinad;            /* of samples only */
    double sinad;              /* dB: fundamental over all else but the mean, noise and distortion (IEEE Std 1057) */
    double mean_bound, rms_bound, thd_lines_bound, thd_all_bound;  /* as in struct dw_line; rms_bound also of ac_rms */
};

/* Channels, and the column of each. */
DW_API size_t dw_spectrum_channels(const struct dw_spectrum *spectrum);
DW_API size_t dw_spectrum_column(const struct dw_spectrum *spectrum, size_t channel);
/* Number of the highest line, n = 0 .. highest; Hz from line to line; whether line 1 is a known fundamental. */
DW_API size_t dw_spectrum_highest(const struct dw_spectrum *spectrum);
DW_API double dw_spectrum_spacing(const struct dw_spectrum *spectrum);
DW_API bool dw_spectrum_harmonic(const struct dw_spectrum *spectrum);
DW_API struct dw_line dw_spectrum_line(const struct dw_spectrum *spectrum, size_t channel, size_t n);
DW_API struct dw_distortion dw_spectrum_distortion(const struct dw_spectrum *spectrum, size_t channel);
/* The part of the record that was taken, s; periods of the fundamental in it, 1 where none is known. */
DW_API void dw_spectrum_span(const struct dw_spectrum *spectrum, double *from, double *to, double *periods);

struct dw_spectrum_note {
    size_t channel;    /* which one, or dw_spectrum_channels() for all */
    bool caution;
    const char *text;  /* one line, without the channel's name */
};
/* What should be known about the lines: i from 0 until false. */
DW_API bool dw_spectrum_note(const struct dw_spectrum *spectrum, size_t i, struct dw_spectrum_note *note);

#ifdef __cplusplus
}
#endif
#endif
