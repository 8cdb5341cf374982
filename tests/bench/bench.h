/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What every benchmark of the library shares: a clock, rounds, and lines for tests/bench/run to read.
 *
 *   error <tab> JOB <tab> SIDE <tab> how far from the true answer, in units of the natural scale
 *   work  <tab> JOB <tab> SIDE <tab> how many units of work a round goes over
 *   time  <tab> JOB <tab> SIDE <tab> s of processor time a unit of work, one line a round
 *
 * A benchmark checks first, ends with status 1 where an answer is wrong, and lets the sides run in turn. */
#ifndef TESTS_BENCH_H
#define TESTS_BENCH_H

/* s of processor time that this process has used: other work on the machine counts little. */
double bench_clock(void);

/* Rounds asked for on the command line, `NAME [ROUNDS]`; 5 without. */
int bench_rounds(int argc, char **argv);

/* Each prints one line of its kind. */
void bench_error(const char *job, const char *side, double error);
void bench_work(const char *job, const char *side, int units);
void bench_time(const char *job, const char *side, double seconds);

/* Ends with status 1 and a message unless the condition holds; NaN must make it false. */
void bench_demand(int holds, const char *format, ...) __attribute__((format(printf, 2, 3)));

#endif
