/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What light amounts to: how bright it looks, how much it flickers, whether that is seen. docs/theory.md, section 11. */
#ifndef DUTYWRIGHT_LIGHT_H
#define DUTYWRIGHT_LIGHT_H

#include <dutywright/status.h>
#include <dutywright/table.h>
#include <stdbool.h>
#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

/* Lightness L*, 0 to 100, of a share of the full light, and back.
 *   light     0..1 of what looks white
 *   returns   the other; NaN below zero
 *   source    ISO/CIE 11664-4: 116 Y^(1/3) - 16, below 8 (Y = 216/24389) 24389/27 Y
 *   accuracy  8 ulp */
DW_API double dw_lightness(double light);
DW_API double dw_light_of(double lightness);

/* Largest percent flicker (modulation) at a frequency, as a share: 1 where any is allowed. At a corner the higher limit holds. */
enum dw_flicker_limit {
    DW_FLICKER_LOW_RISK,   /* 0.025 f percent below 90 Hz, 0.08 f from there to 1250 Hz */
    DW_FLICKER_NO_EFFECT,  /* 0.01 f percent below 90 Hz, 0.0333 f from there to 3000 Hz */
    DW_FLICKER_SEIZURES    /* 5 percent below 90 Hz */
};
/*   frequency  Hz, > 0
 *   returns    share, at most 1
 *   source     IEEE Std 1789-2015, recommended practices 1, 2 and 3, from memory */
DW_API double dw_flicker_limit(enum dw_flicker_limit limit, double frequency);
/* The lowest frequency from which on so much flicker is within it, Hz. */
DW_API double dw_flicker_frequency(enum dw_flicker_limit limit, double flicker);

enum { DW_VISIBLE_FROM = 80, DW_VISIBLE_TO = 2000 };  /* Hz */
/* Amplitude over mean at which a sine of the light just shows on what moves.
 *   frequency  Hz, DW_VISIBLE_FROM to DW_VISIBLE_TO
 *   returns    share of the mean
 *   source     CIE TN 006:2016, from memory: 1 / (1 + exp(-0.00518 (f - 306.6))) + 20 exp(-f / 10) */
DW_API double dw_strobe_threshold(double frequency);

/* What one period amounts to. A bound says how far a value may be off by what is said of the rows' accuracy. */
struct dw_light {
    double from, period;     /* s, which one */
    double mean, minimum, maximum;
    double lightness;        /* of the mean */
    double flicker;          /* percent flicker as a share: (maximum - minimum) / (maximum + minimum); 0 in the dark */
    double index;            /* flicker index: area above the mean over the whole area; 0 in the dark */
    double visibility;       /* stroboscopic visibility: (sum (C_m / T_m)^3.7)^(1/3.7) over the lines from DW_VISIBLE_FROM to
                                DW_VISIBLE_TO, C_m amplitude over mean; NaN: there is no line of the period there */
    double current_rms;      /* A */
    double drift;            /* |light at the end - at the start|, as a share of the maximum: of what has not settled */
    double mean_bound, lightness_bound, flicker_bound, index_bound, visibility_bound, current_bound;
};

struct dw_light_plan {
    double period, origin;          /* s; boundaries at origin + k period. 0: the whole record is one */
    struct dw_channel_facts light, current;  /* accuracy and share of both */
    const char *place;              /* for messages: "standard input" */
};
enum { DW_LIGHT_TIME, DW_LIGHT_LIGHT, DW_LIGHT_LIGHT_SLOPE, DW_LIGHT_CURRENT, DW_LIGHT_CURRENT_SLOPE, DW_LIGHT_COLUMNS };

struct dw_light_meter;
/* A meter of light and current over whole periods.
 *   plan     copied, but for place
 *   returns  NULL where memory runs out
 *   memory   the rows of two periods */
DW_API struct dw_light_meter *dw_light_meter_new(const struct dw_light_plan *plan, struct dw_error *error);
DW_API void dw_light_meter_free(struct dw_light_meter *meter);
/* Takes the next row, [DW_LIGHT_COLUMNS]; rows are joined by cubics with their values and slopes.
 *   returns  DW_OK; DW_BAD_INPUT: time goes back; DW_NO_MEMORY */
DW_API enum dw_status dw_light_meter_row(struct dw_light_meter *meter, const double *row, struct dw_error *error);
/* The last whole period.
 *   light    out; untouched on error
 *   returns  DW_OK; DW_BAD_INPUT: there is none; DW_NO_MEMORY
 *   source   flicker: IES RP-16-10 (from memory) and IEEE Std 1789-2015; index by the cubics' own areas; lines by dw_fourier
 *   accuracy 1e-12 of what the rows say */
DW_API enum dw_status dw_light_meter_finish(struct dw_light_meter *meter, struct dw_light *light, struct dw_error *error);

#ifdef __cplusplus
}
#endif
#endif
