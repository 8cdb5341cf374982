/* SPDX-License-Identifier: GPL-3.0-or-later */
/* All rows of a short train in memory, and what a test wants to know about them. */
#ifndef TESTS_PULSE_RECORD_H
#define TESTS_PULSE_RECORD_H

#include "suite.h"
#include <dutywright/pulse.h>
#include <stdlib.h>
#include <string.h>

struct record {
    double *rows;   /* [count x width] */
    size_t count, width;
    double origin, period;
    struct dw_pulse_findings findings;
};

/* Takes an odd number of rows at a time, so that blocks end everywhere in a period. */
static inline struct record record_of(struct dw_pulse_train train)
{
    enum { BLOCK = 9 };
    struct dw_error error = { .status = DW_OK };
    struct record record = { 0 };
    size_t room = 0;
    struct dw_pulse *pulse = dw_pulse_new(&train, &error);
    ck_assert_msg(pulse != NULL, "%s", error.text);
    record.width = 1 + dw_pulse_channels(pulse);
    record.origin = dw_pulse_origin(pulse);
    record.period = dw_pulse_period(pulse);
    for (;;) {
        double block[BLOCK * 3];
        size_t count;
        const enum dw_status status = dw_pulse_rows(pulse, block, BLOCK, &count, &error);
        if (status == DW_END)
            break;
        ck_assert_msg(status == DW_OK, "%s", error.text);
        ck_assert_uint_gt(count, 0);
        while (record.count + count > room) {
            room = 2 * room + 64;
            record.rows = realloc(record.rows, room * record.width * sizeof(double));
            ck_assert_ptr_nonnull(record.rows);
        }
        memcpy(record.rows + record.count * record.width, block, count * record.width * sizeof(double));
        record.count += count;
    }
    record.findings = dw_pulse_findings(pulse);
    dw_pulse_free(pulse);
    for (size_t i = 1; i < record.count; i++)
        ck_assert_double_ge(record.rows[i * record.width], record.rows[(i - 1) * record.width]);
    return record;
}

static inline double time_of(const struct record *record, size_t row)
{
    return record->rows[row * record->width];
}

/* channel: 0 the principal one, 1 its complement */
static inline double value_of(const struct record *record, size_t row, size_t channel)
{
    return record->rows[row * record->width + record->width - 1 - channel];
}

/* Area under the straight lines over the length. */
static inline double mean_of(const struct record *record, size_t channel)
{
    double area = 0;
    for (size_t i = 1; i < record->count; i++)
        area += (value_of(record, i, channel) + value_of(record, i - 1, channel)) / 2
                * (time_of(record, i) - time_of(record, i - 1));
    return area / (time_of(record, record->count - 1) - time_of(record, 0));
}

/* Instants at which the channel passes half way between its levels, rising where rises is true; gives how many, at most
 * `most` written. IEEE Std 181 takes these as the instants of a pulse. */
static inline size_t crossings_of(const struct record *record, size_t channel, double half, bool rises, double *instants,
                                  size_t most)
{
    size_t count = 0;
    for (size_t i = 1; i < record->count; i++) {
        const double a = value_of(record, i - 1, channel), b = value_of(record, i, channel);
        if (rises ? !(a < half && b >= half) : !(a > half && b <= half))
            continue;
        const double share = (half - a) / (b - a);
        if (count < most)
            instants[count] = time_of(record, i - 1) + share * (time_of(record, i) - time_of(record, i - 1));
        count++;
    }
    return count;
}

/* Points of a duty against time, from an array. */
struct points {
    const double *time, *duty;
    size_t count, next;
};

static inline enum dw_status next_point(void *context, double *time, double *duty, struct dw_error *error)
{
    struct points *points = context;
    (void)error;
    if (points->next == points->count)
        return DW_END;
    *time = points->time[points->next];
    *duty = points->duty[points->next++];
    return DW_OK;
}

#endif
