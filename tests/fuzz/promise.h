/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the fuzzed functions share: promises, and bytes taken as choices and sizes. */
#ifndef TESTS_FUZZ_PROMISE_H
#define TESTS_FUZZ_PROMISE_H

#include <dutywright/status.h>
#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);
extern const int replay_changes;  /* how many changes of a kept input are tried where no fuzzer runs */

/* A promise was broken: stops where a debugger or a fuzzer sees it. */
static inline void demand(bool kept, const char *promise)
{
    if (kept)
        return;
    fprintf(stderr, "broken: %s\n", promise);
    abort();
}

/* An error is of the kind that bad values may give, and one line. */
static inline void demand_error(const struct dw_error *error, enum dw_status one, enum dw_status other)
{
    demand(error->status == one || error->status == other, "a refusal is of the promised kind");
    demand(*error->text && !strchr(error->text, '\n'), "an error is one line");
}

struct bytes {
    const uint8_t *data;
    size_t size;
};

/* The next byte, 0 at the end. */
static inline unsigned next_byte(struct bytes *bytes)
{
    if (!bytes->size)
        return 0;
    bytes->size--;
    return *bytes->data++;
}

/* 0..1 from two bytes, both ends reached. */
static inline double next_share(struct bytes *bytes)
{
    const unsigned high = next_byte(bytes);
    return (256 * high + next_byte(bytes)) / 65535.0;
}

/* From low to high, even in the logarithm. */
static inline double next_size(struct bytes *bytes, double low, double high)
{
    return low * pow(high / low, next_share(bytes));
}

/* The same, or zero for one choice in four. */
static inline double next_part(struct bytes *bytes, double low, double high)
{
    return next_byte(bytes) % 4 ? next_size(bytes, low, high) : 0;
}

#endif
