/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A closed loop around a plant: what is measured sets, once a sample, the duty of the pulses that drive it. docs/theory.md, section 17. */
#ifndef DUTYWRIGHT_LOOP_H
#define DUTYWRIGHT_LOOP_H

#include <dutywright/margins.h>
#include <dutywright/plant.h>
#include <dutywright/pulse.h>
#include <dutywright/repeat.h>
#include <dutywright/table.h>

#ifdef __cplusplus
extern "C" {
#endif

/* Where in a PWM period a sample is taken: where the pulse begins, in its middle, where it ends. An instant at which the pin switches
 * is seen before it does. */
enum dw_loop_instant { DW_SAMPLE_VALLEY, DW_SAMPLE_MIDDLE, DW_SAMPLE_PEAK };

/* What lies between the load and the sensor: z = gain y, behind a first-order lag, integrated, and late. Leave out what is zero. */
struct dw_loop_process {
    bool given;
    double gain;                  /* finite */
    double lag, delay;            /* s, >= 0 */
    bool integrates;              /* z is in the unit of gain y times s */
};

struct dw_loop_plan {
    struct dw_plant *plant;       /* the load, at rest at first; the caller's */
    size_t direction;             /* its input that reverses a bridge; 0: none, and a duty below 0 is a pin below 0 V. Input 0 is the pin */
    size_t side_input;            /* its input that `side` drives; 0: none */
    struct dw_course *side;       /* the caller's, read along */
    bool average;                 /* the pin has the pulses' mean instead of pulses: only where the load takes it as a voltage */
    double period;                /* s, of the pulses; 0 with `average`: none, a duty acts at once */
    enum dw_alignment alignment;
    double low, high;             /* V; low 0 where the duty may be below 0 */
    unsigned long long every;     /* periods a sample; without period 1 */
    enum dw_loop_instant instant; /* not with `average`: samples are at the beginning of periods */
    double delay;                 /* s, >= 0: a duty acts from the first period that begins so long after its sample, or later */
    size_t measured;              /* the plant's output */
    struct dw_loop_process process;
    const struct dw_law *law;     /* its sample time is `every` periods; copied */
    double wanted;                /* in the unit of what is measured */
    struct dw_course *wanted_from;  /* instead, the caller's, read along; NULL: none */
    double duration;              /* s; of 1e9 periods, with `average` samples, at most */
    double accuracy;              /* of rows, as in struct dw_run_options; 0 without `row`: 2e-8 */
    /* Takes one row of the table that dw_loop_header describes; NULL: no rows, which is faster. Anything but DW_OK stops. */
    enum dw_status (*row)(void *context, const double *row, struct dw_error *error);
    /* Told of what is measured, exact, once a PWM period at the place of the samples, and with `average` 8 times a sample; may be
     * NULL. `sample`: the law saw it, and state is what it made of it. */
    enum dw_status (*see)(void *context, double time, double measured, const struct dw_law_state *sample, struct dw_error *error);
    void *context;                /* for both */
};

struct dw_loop;

/* Copies the plan.
 *   returns  NULL with DW_BAD_USE: a member outside its range, which is named; DW_NO_MEMORY */
DW_API struct dw_loop *dw_loop_new(const struct dw_loop_plan *plan, struct dw_error *error);
DW_API void dw_loop_free(struct dw_loop *loop);
/* time[s] pin[V], the plant's outputs with their slopes, process[1] with its slope where there is one, and from sample to sample what
 * the law saw, measured and wanted, and the duty in force, duty[1].
 *   made_by  may be NULL
 *   returns  NULL on error; to be freed */
DW_API struct dw_header *dw_loop_header(const struct dw_loop *loop, const char *made_by, struct dw_error *error);
/* Goes from rest to the end.
 *   returns  DW_OK; DW_NO: switching without end; DW_BAD_USE; DW_NO_MEMORY; what row, see and the tables gave
 *   accuracy edges and events as those of a run, modes.h. A process is carried along the cubics of rows: within `accuracy` of the
 *            output's scale times its gain */
DW_API enum dw_status dw_loop_run(struct dw_loop *loop, struct dw_error *error);

/* What the law saw and made of it at the last sample; before the first what it begins with. Lives as long as the loop. */
DW_API const struct dw_law_state *dw_loop_state(const struct dw_loop *loop);

/* When what `side` drives last jumped, two rows of its table at one time; NaN: it has not yet. s */
DW_API double dw_loop_disturbed(const struct dw_loop *loop);

/* ---- the map of one sample ---- */

/* Where a loop stands: the duty, the load's channel at the place of samples, and its mean over a period. */
struct dw_loop_stand {
    double duty, measured, mean;
};

/* Small departures from sample to sample, with edges that move, a duty that acts later, and the process, but without rounding: about the
 * duty that what is wanted takes in the end; of a process that integrates about the last one, or one half way where that was at its
 * end; of what the load integrates, such as an angle, about the one at which it stands. States have sizes of some 1.
 *   loop     after dw_loop_run: what is wanted and the load's second table are as they were last. Before it: as the plan says, without tables
 *   later    s, >= 0: the duty comes later by so much
 *   sampled  out
 *   stand    out, may be NULL
 *   returns  DW_OK; DW_NO: no duty gives what is wanted, the loop is open, the load has no steady state,
 *            what it integrates does not move in proportion to the duty there, or what is measured does not answer it; DW_BAD_USE: more delay than
 *            struct dw_sampled has states for; DW_NO_MEMORY
 *   source   central differences of runs over one sample: docs/theory.md, (17.5)
 *   accuracy 1e-7 of the largest number, 1e-9 of linear loads with `average` */
DW_API enum dw_status dw_loop_sampled(const struct dw_loop *loop, double later, struct dw_sampled *sampled, struct dw_loop_stand *stand,
                                      struct dw_error *error);

/* ---- findings ---- */

/* Of what is measured, exact, from the last change of what is wanted on, and until a disturbance that comes later; NaN where there is none. */
struct dw_loop_findings {
    double rise_time;             /* s, from 10 to 90 % of the change (IEEE Std 181-2011) */
    double overshoot;             /* furthest beyond the final value, as a share of the change */
    double settling_time;         /* s, from the change on, until it stays within 2 % of the change about its final value */
    double steady_error;          /* wanted less final value, which is the mean over the last quarter; of the end, behind either */
    double iae;                   /* integral of |wanted - measured| over the whole time */
    double cycle_amplitude;       /* from peak to peak, over the last quarter, of an oscillation that does not die out; 0: none */
    double cycle_frequency;       /* Hz */
    double wanted;                /* at the end */
    /* from the last disturbance on, until a change of what is wanted that comes later */
    double deviation_highest;     /* how far it went from where it stood, either way */
    double recovery_time;         /* s, from the disturbance on, until it stays within 2 % of the wanted's change about its final value */
};

struct dw_loop_meter;
/*   returns  NULL with DW_NO_MEMORY; to be freed */
DW_API struct dw_loop_meter *dw_loop_meter_new(struct dw_error *error);
DW_API void dw_loop_meter_free(struct dw_loop_meter *meter);
/* For a plan's `see`; lines between.
 *   time     s, never decreasing
 *   measured, wanted  in one unit, the latter from here on
 *   returns  DW_OK; DW_NO_MEMORY
 *   memory   up to 24 MiB; of more than a million instants every second is dropped, again and again */
DW_API enum dw_status dw_loop_meter_see(struct dw_loop_meter *meter, double time, double measured, double wanted, struct dw_error *error);
/* A disturbance begins then, s; of several the last one counts. NaN: none. */
DW_API void dw_loop_meter_disturb(struct dw_loop_meter *meter, double time);
/* What all that amounts to so far.
 *   findings out; of less than four instants in the last quarter the integral and what is wanted alone
 *   source   docs/theory.md, (17.6)
 *   accuracy a few roundings about the lines, of which each is off by an eighth of the bend times the square of its length */
DW_API void dw_loop_meter_end(const struct dw_loop_meter *meter, struct dw_loop_findings *findings);

#ifdef __cplusplus
}
#endif
#endif
