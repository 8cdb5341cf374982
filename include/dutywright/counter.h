/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Choosing the settings of a counter for a wanted frequency. docs/theory.md, section 1. */
#ifndef DUTYWRIGHT_COUNTER_H
#define DUTYWRIGHT_COUNTER_H

#include <dutywright/pulse.h>
#include <dutywright/status.h>
#include <stdbool.h>
#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

/* What a counter can do and what is wanted of it. */
struct dw_counter_wish {
    double clock;                         /* Hz, > 0 */
    const unsigned long long *prescales;  /* [prescale_count], each 1..2^32; not kept */
    size_t prescale_count;                /* >= 1 */
    int bits;                             /* width of the counter, 1..32: it counts to 2^bits - 1 at most */
    bool up, up_down;                     /* ways of counting that it has; at least one */
    double frequency;                     /* Hz, > 0: wanted; 0: as high as the levels allow */
    unsigned long long levels;            /* fewest steps of duty, >= 1 (needed where frequency is 0) */
    double within;                        /* largest relative error of the frequency, >= 0; infinity: any */
};

struct dw_counter_setting {
    struct dw_counter counter;
    double frequency;          /* Hz */
    double error;              /* frequency over wanted, less 1; 0 where none is wanted */
    unsigned long long steps;  /* of duty */
};

/* The setting nearest to the wanted frequency for each prescale and way of counting, best first: by size of error, then
 * by steps, most first, then by prescale, then up before up and down. Left out where the counter cannot have so many
 * steps, or the error is larger than `within`. With frequency 0: the settings of just enough steps, fastest first. (1.12)
 *   settings  out, [2 prescale_count]
 *   count     out: how many fit
 *   error     out, may be NULL
 *   returns   DW_OK; DW_NO: none fits (what would: dw_counter_changes); DW_BAD_USE: a field is outside its range
 *   accuracy  frequency 1 ulp, error 2 eps; no count within reach is nearer */
DW_API enum dw_status dw_counter_settings(const struct dw_counter_wish *wish, struct dw_counter_setting *settings,
                                          size_t *count, struct dw_error *error);

/* One change to a wish that makes something fit. */
enum dw_counter_change_kind {
    DW_CHANGE_FREQUENCY,  /* value: the frequency to be had that is nearest to the wanted one, Hz */
    DW_CHANGE_WITHIN,     /* value: its error, as a share */
    DW_CHANGE_CLOCK,      /* value: clock that makes it the wanted one, Hz */
    DW_CHANGE_LEVELS,     /* value: the most levels to be had */
    DW_CHANGE_BITS,       /* value: narrowest counter that fits */
    DW_CHANGE_PRESCALE    /* value: smallest prescale with which the counter reaches down to the wanted frequency */
};
enum { DW_COUNTER_CHANGES = 6 };
struct dw_counter_change {
    enum dw_counter_change_kind kind;
    double value;
    struct dw_counter_setting setting;  /* the best one then */
};

/* What would make a wish fit that nothing fits, each by itself and each tried with dw_counter_settings before it is
 * told. With frequency 0 only levels and bits can help.
 *   changes  out, [DW_COUNTER_CHANGES], one of each kind at most, in the order of the kinds
 *   count    out
 *   returns  DW_OK, or as dw_counter_settings; DW_NO_MEMORY */
DW_API enum dw_status dw_counter_changes(const struct dw_counter_wish *wish, struct dw_counter_change *changes,
                                         size_t *count, struct dw_error *error);

#ifdef __cplusplus
}
#endif
#endif
