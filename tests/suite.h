/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What every unit test shares: comparisons that NaN cannot pass, and one main. */
#ifndef TESTS_SUITE_H
#define TESTS_SUITE_H

#include <check.h>
#include <dutywright/status.h>
#include <math.h>

/* |got - want| <= allowed * |want|; allowed has its derivation beside the call. */
#define near(got, want, allowed) within_scale(got, want, allowed, want)

/* |got - want| <= allowed * |scale|: for values around zero; scale is physical (supply, stall current). */
#define within_scale(got, want, allowed, scale) \
    do { \
        const double got_ = (got), want_ = (want), most_ = (allowed) * fabs((double)(scale)); \
        ck_assert_msg(fabs(got_ - want_) <= most_, "%s:%d: %s is %.17g, wanted %.17g: off by %.3g, allowed %.3g", \
                      __FILE__, __LINE__, #got, got_, want_, fabs(got_ - want_), most_); \
    } while (0)

/* The call gives DW_OK; otherwise its error text is the failure's. `error` must be the one passed to the call. */
#define succeeds(call, error) \
    do { \
        const enum dw_status status_ = (call); \
        ck_assert_msg(status_ == DW_OK, "%s:%d: %s: %s", __FILE__, __LINE__, #call, (error).text); \
    } while (0)

/* The call is refused with this status and exactly this text. */
#define refuses(call, wanted, error, message) \
    do { \
        const enum dw_status status_ = (call); \
        ck_assert_msg(status_ == (wanted), "%s:%d: %s gives status %d, wanted %d", __FILE__, __LINE__, #call, \
                      (int)status_, (int)(wanted)); \
        ck_assert_str_eq((error).text, (message)); \
    } while (0)

/* How often a test of random cases draws: `usual` of them, `all` in `make check-long`, which sets LONG. */
int rounds(int usual, int all);

/* Runs the tests that were added; the value for main to return.
 *   name     of the suite, for the report
 *   tests    [count], each made with START_TEST; a table of them is the file's last lines */
int suite_run(const char *name, const TTest *const *tests, size_t count);

/* The file's last line: SUITE("value: preferred values", first, second, ...); with tests made by START_TEST. */
#define SUITE(name, ...) \
    int main(void) \
    { \
        const TTest *const tests[] = { __VA_ARGS__ }; \
        return suite_run(name, tests, sizeof tests / sizeof tests[0]); \
    }

#endif
