/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Waves for the tests of measures: rows of one channel, and a meter or an analyser over them. */
#ifndef TESTS_MEASURE_WAVES_H
#define TESTS_MEASURE_WAVES_H

#include <dutywright/measure.h>
#include <dutywright/spectrum.h>
#include <dutywright/value.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct wave {
    double *row;  /* [count x 2]: time, value */
    size_t count, room;
};

void wave_add(struct wave *wave, double time, double value);
void wave_free(struct wave *wave);
/* Trapezoids that start to rise at origin + k * period, for k from first to last - 1; with a row at each end. */
struct wave wave_pulses(double origin, double period, double first, double last, double low, double high, double rise,
                        double width, double fall);

/* xorshift64*: Vigna 2016, ACM TOMS 42:30; uniform in [-1, 1) */
double random_next(uint64_t *state);
/* A period from 0 to 1 of crooked pieces up to 5 either way, some of them 1e-12 long, some jumps; on a grid of `cells` unless
 * that is 0. */
struct wave wave_random(uint64_t *state, size_t count, size_t cells);

/* Header of time and `pin[V]`, with keys and values in turn, NULL at the end. */
struct dw_header *header_with(const char *key, ...);
/* A meter that has seen the whole wave, in blocks of changing size. The failure of any call fails the test. */
struct dw_meter *meter_of(const struct dw_header *header, const struct dw_meter_options *options, const struct wave *wave);
/* A result that must be had. */
double measured(const struct dw_meter *meter, enum dw_measure measure);
bool left_out(const struct dw_meter *meter, enum dw_measure measure);
/* Whether a note has this text. */
bool noted(const struct dw_meter *meter, const char *text);

/* An analyser that has seen the whole wave, in blocks of changing size. The failure of any call fails the test. */
struct dw_spectrum *spectrum_of(const struct dw_header *header, const struct dw_spectrum_options *options,
                                const struct wave *wave);
/* Whether a note has this text; caution as given. Whether there is none. */
bool said(const struct dw_spectrum *spectrum, bool caution, const char *text);
bool silent(const struct dw_spectrum *spectrum);

#endif
