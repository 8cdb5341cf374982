/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "suite.h"
#include <dutywright/measure.h>

START_TEST(every_form_of_a_span_reads)
{
    static const struct {
        const char *text;
        struct dw_span want;
    } cases[] = {
        { "last", { DW_SPAN_LAST, 1, 0, 0 } },
        { "last:1", { DW_SPAN_LAST, 1, 0, 0 } },
        { "last:370", { DW_SPAN_LAST, 370, 0, 0 } },
        { "all", { DW_SPAN_ALL, 0, 0, 0 } },
        { "10ms:20ms", { DW_SPAN_BETWEEN, 0, 0.01, 0.02 } },
        { "-1.5:2k", { DW_SPAN_BETWEEN, 0, -1.5, 2000 } },
        { "0.3:", { DW_SPAN_BETWEEN, 0, 0.3, INFINITY } },
        { ":47us", { DW_SPAN_BETWEEN, 0, -INFINITY, 47e-6 } },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct dw_span got;
        struct dw_error error;
        succeeds(dw_span_parse(cases[i].text, &got, &error), error);
        ck_assert_int_eq(got.kind, cases[i].want.kind);
        ck_assert_uint_eq(got.periods, cases[i].want.periods);
        ck_assert(got.from == cases[i].want.from && got.to == cases[i].want.to);
    }
}
END_TEST

START_TEST(what_is_no_span_is_quoted)
{
    static const struct {
        const char *text, *message;
    } cases[] = {
        { "", "'' is not a span: wanted last, last:N (whole periods), all, or A:B (times)" },
        { ":", "':' is not a span: wanted last, last:N (whole periods), all, or A:B (times)" },
        { "first", "'first' is not a span: wanted last, last:N (whole periods), all, or A:B (times)" },
        { "1:2:3", "'1:2:3' is not a span: wanted last, last:N (whole periods), all, or A:B (times)" },
        { "last:", "'last:': after last: a whole number of periods, 1 or more, was wanted" },
        { "last:0", "'last:0': after last: a whole number of periods, 1 or more, was wanted" },
        { "last:-3", "'last:-3': after last: a whole number of periods, 1 or more, was wanted" },
        { "last:2.5", "'last:2.5': after last: a whole number of periods, 1 or more, was wanted" },
        { "last:99999999999999999999", "'last:99999999999999999999': after last: a whole number of periods, 1 or more, was wanted" },
        { "last:x", "'last:x': after last: a whole number of periods, 1 or more, was wanted" },
        { "0000000000000000000000000000000000000000000000000000000000000001:2",
          "'0000000000000000000000000000000000000000000000000000000000000001' is not a time" },
        { "20ms:10ms", "'20ms:10ms': the span ends before it begins" },
        { "3:3", "'3:3': the span ends before it begins" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct dw_span span = { .periods = 77 };
        struct dw_error error;
        refuses(dw_span_parse(cases[i].text, &span, &error), DW_BAD_USE, error, cases[i].message);
        ck_assert_uint_eq(span.periods, 77);
    }
    struct dw_span span;
    struct dw_error error;
    ck_assert_int_eq(dw_span_parse("10mV:3", &span, &error), DW_BAD_USE);
}
END_TEST

START_TEST(ends_of_a_span_are_of_the_kind_asked_for)
{
    struct dw_span span = { .periods = 77 };
    struct dw_error error;
    succeeds(dw_span_parse_along("1k:4.7kHz", DW_FREQUENCY, &span, &error), error);
    ck_assert(span.kind == DW_SPAN_BETWEEN && span.from == 1000 && span.to == 4700);
    succeeds(dw_span_parse_along("-2:3k", DW_NUMBER, &span, &error), error);
    ck_assert(span.from == -2 && span.to == 3000);
    refuses(dw_span_parse_along("1ms:3ms", DW_FREQUENCY, &span, &error), DW_BAD_USE, error,
            "'ms' makes it a time; expected a frequency, such as 1600, 22.5k or 22.5kHz");
    refuses(dw_span_parse_along("1", DW_FREQUENCY, &span, &error), DW_BAD_USE, error,
            "'1' is not a span: wanted last, last:N (whole periods), all, or A:B (numbers)");
}
END_TEST

SUITE("measure: spans", every_form_of_a_span_reads, what_is_no_span_is_quoted, ends_of_a_span_are_of_the_kind_asked_for)
