/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-choose: samples drawn, with progress, and how far the work is, on a terminal. */
#include "choose.h"
#include <math.h>

static const double CONFIDENCE = 0.95;

void choose_progress(const struct choose_options *o, const char *doing, double share)
{
    command_progress(o->common.command, doing, share, false);
}

enum dw_status choose_draw(const struct choose_options *o, const struct dw_filter *filter, unsigned long long first,
                           unsigned long long samples, unsigned long long *good, struct dw_error *error)
{
    const unsigned long long at_once = 10000;
    enum dw_status status = DW_OK;
    struct dw_yield yield;
    *good = 0;
    for (unsigned long long done = 0; done < samples && status == DW_OK; done += at_once) {
        const unsigned long long rest = samples - done;
        const struct dw_yield_samples part = { o->seed, first + done, rest < at_once ? rest : at_once, CONFIDENCE };
        status = dw_filter_yield(&o->wish.task, filter, &part, &yield, error);
        if (status == DW_OK)
            *good += yield.good;
        choose_progress(o, "drawing samples", (double)done / (double)samples);
    }
    return status;
}

enum dw_status choose_yield(const struct choose_options *o, const struct dw_filter *filter, struct dw_yield *yield,
                            struct dw_error *error)
{
    unsigned long long good = 0;
    const enum dw_status status = o->merged && o->merged->good ? choose_merged_good(o->merged, filter, &good, error)
                                                               : choose_draw(o, filter, 0, o->samples, &good, error);
    return status == DW_OK ? dw_yield_interval(good, o->samples, CONFIDENCE, yield, error) : status;
}
