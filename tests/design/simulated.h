/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Filters simulated piece by piece with the library's ladder and its exact propagator, judged by its measures: what the
 * formulas of the design are compared with. */
#ifndef TESTS_DESIGN_SIMULATED_H
#define TESTS_DESIGN_SIMULATED_H

#include "design/poles_inner.h"
#include <dutywright/design.h>
#include <dutywright/linear.h>
#include <stdint.h>

/* xorshift64*: Vigna 2016, ACM TOMS 42:30 */
double uniform(uint64_t *state, double low, double high);

/* A filter's parts between a source and a load, driven by pulses of 1 V. */
struct simulated {
    struct dw_system *system;
    double period;
    size_t states, out, pin;  /* places of the output's voltage and the pin's current */
};

struct simulated simulate(const struct dw_filter *filter, double source, double load, double period);
/* With the source, the load, and what the capacitors lose, of a task. */
struct simulated simulate_task(const struct dw_filter *filter, const struct dw_filter_task *task);
void simulated_free(struct simulated *filter);

/* Peak to peak of an output in the steady state: samples, and golden sections around their turns.
 *   steps   of these: each cuts the place by 0.618, the height by its square */
double simulated_range(const struct simulated *filter, double duty, size_t output, int steps);

/* Mean over a period of the steady state of the product of two outputs. */
double simulated_product(const struct simulated *filter, double duty, size_t one, size_t other);
/* Mean over a period of the square of an output's rate of change, by the differences of 4096 samples in each half. */
double simulated_rate(const struct simulated *filter, double duty, size_t output);
/* Mean over a period of an output, counted while the pin is high alone: of the pin's current, the power it gives. */
double simulated_while_high(const struct simulated *filter, double duty, size_t output);

/* Response at an angular frequency of what answers to a step with level - f(t). */
double complex poles_response(const struct exp_sum *f, double level, double angular);

struct simulated_start {
    double settling, overshoot, pin_peak;  /* s; share of the change; A, largest |current| */
    bool at_most;
};
/* From rest, over so many periods.
 *   band     share of the change
 *   samples  of the current, in each half of a period; 0: at the edges alone */
struct simulated_start simulated_start(const struct simulated *filter, double duty, double band, size_t periods, int samples);

#endif
