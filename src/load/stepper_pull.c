/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Pull-out and pull-in torque of a stepper, by formula and by simulation. docs/theory.md, section 14. */
#include "load/stepper_inner.h"
#include <math.h>

/* The formula is looked at this often from no load to its torque, for stability. */
enum { LOADS = 40, HALVINGS = 8, SETTLING = 12 };
/* Pull-out: the load rises to the first share of the formula within so many natural periods, then to the second one; a chopper takes its time. */
static const double FIRST_RISE = 0.8, LAST_RISE = 1.1, FIRST_PERIODS = 60, LAST_PERIODS = 600, CHOPPED_PERIODS = 100;

/* ---- by the fundamental ---- */

/* A and V that the field's vector has at most. */
static double most_volts(const struct dw_stepper_plan *p)
{
    return dw_stepper_fundamental(p, p->supply);
}

static double most_amperes(const struct dw_stepper_plan *p)
{
    return p->drive == DW_STEPPER_CURRENT ? dw_stepper_fundamental(p, p->current) : INFINITY;
}

/* V that a current across the rotor takes while it turns. */
static double volts_for(const struct dw_stepper_plan *p, double rate, double amperes)
{
    const double field = rate * M_PI / 2;
    return hypot(dwi_stepper_ohms(p) * amperes + p->constant * field / dwi_stepper_teeth(p), field * p->inductance * amperes);
}

static double losses(const struct dw_stepper_plan *p, double rate)
{
    return p->drag + p->friction * rate * M_PI / 2 / dwi_stepper_teeth(p);
}

/* (14.7), on the output shaft */
static double formula(const struct dw_stepper_plan *p, double rate)
{
    const double field = rate * M_PI / 2, speed = field / dwi_stepper_teeth(p), r = dwi_stepper_ohms(p);
    const double z = hypot(r, field * p->inductance), volts = most_volts(p), amperes = most_amperes(p), emf = p->constant * speed;
    const double by_volts = p->constant * (volts / z - emf * r / (z * z));
    const double torque = isfinite(amperes) && volts_for(p, rate, amperes) <= volts ? p->constant * amperes : by_volts;
    return (torque - losses(p, rate)) * p->gear;
}

/* The state in which the supply's whole voltage drives it, or of a chopper its current, and that drives a load. */
static bool lock_at(const struct dw_stepper_plan *p, double rate, double torque, struct dw_stepper_locked *at, bool *chopped)
{
    const double amperes = most_amperes(p);
    *at = (struct dw_stepper_locked){ .rate = rate, .torque = torque, .volts = most_volts(p) };
    *chopped = isfinite(amperes) && volts_for(p, rate, amperes) <= at->volts;
    if (!*chopped)
        return dw_stepper_lock(p, at);
    at->quadrature = (torque / p->gear + losses(p, rate)) / p->constant;
    at->lag = asin(at->quadrature / amperes);
    at->direct = amperes * cos(at->lag);
    return fabs(at->quadrature) <= amperes;
}

/* Whether small deviations die out; with currents held they swing, and friction alone damps them. */
static enum dw_status judge_stable(const struct dw_stepper_plan *p, double rate, double torque, bool *stable, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    *stable = true;
    for (int k = 0; *stable && !status && k < LOADS; k++) {  /* unrun: eigenvalues */
        struct dw_stepper_locked at;
        double real[4], imaginary[4];
        bool chopped;
        *stable = lock_at(p, rate, torque * k / LOADS, &at, &chopped);
        if (!*stable || chopped)  /* unrun: implied */
            continue;
        status = dw_stepper_eigenvalues(p, &at, real, imaginary, error);
        *stable = !status && fmax(fmax(real[0], real[1]), fmax(real[2], real[3])) < 0;
    }
    return status;
}

/* ---- by simulation ---- */

struct pulling {
    const struct dw_stepper_plan *plan;
    struct dw_plant *plant;
    struct dw_run *run;
    double input[DW_STEPPER_INPUTS];
    double rate, spacing;        /* Hz of full steps; s, from step to step */
    unsigned long long steps;
};

static enum dw_status feed(struct pulling *t, double time, double step, double torque, struct dw_error *error)
{
    t->input[DW_STEPPER_STEP] = step;
    t->input[DW_STEPPER_TORQUE] = torque;
    return dw_run_feed(t->run, time, t->input, error);
}

/* Goes on to the next step with a load that rises to this along a line, and takes it.
 *   lag      out: electrical rad, before the step */
static enum dw_status next_step(struct pulling *t, double torque, double *lag, struct dw_error *error)
{
    const double time = (double)++t->steps * t->spacing;
    enum dw_status status = feed(t, time, 0, torque, error);
    *lag = dw_stepper_lag(t->plan, dw_run_state(t->run), t->input);
    if (!status)  /* unrun: passed-on */
        status = feed(t, time, 1, torque, error);
    return status ? status : feed(t, time, 0, torque, error);  /* unrun: passed-on */
}

/* s, of a small swing. */
static double natural_period(const struct dw_stepper_plan *p)
{
    const double amperes = fmin(p->supply / p->resistance, p->drive == DW_STEPPER_CURRENT ? p->current : INFINITY);
    return 1 / dw_stepper_frequency(p, (p->microsteps == 1 ? M_SQRT2 : 1) * amperes, M_PI / 8);
}

/* Turns in step without load, as by the fundamental. */
static enum dw_status begin_locked(struct pulling *t, struct dw_error *error)
{
    const struct dw_stepper_plan *p = t->plan;
    const double teeth = dwi_stepper_teeth(p), first = p->microsteps == 1 ? M_PI / 4 : 0, field = first - M_PI / 4 / p->microsteps;
    double state[DW_STATES];
    struct dw_stepper_locked at;
    bool chopped;
    const size_t mode = dw_plant_rest(t->plant, state);
    enum dw_status status = dw_run_start(t->run, 0, mode, state, t->input, error);
    if (status || !lock_at(p, t->rate, 0, &at, &chopped))  /* unrun: passed-on */
        return status;
    const size_t held = dwi_stepper_sliding(dw_plant_load(t->plant), dw_run_mode(t->run));
    for (size_t i = 0; i < dw_plant_states(t->plant); i++)
        state[i] = dw_run_state(t->run)[i];
    const double rotor = field - at.lag;
    state[DW_STEPPER_ANGLE] = (rotor - first) / teeth;
    state[DW_STEPPER_SPEED] = t->rate * M_PI / 2 / teeth;
    state[DW_STEPPER_CURRENT_A] = at.direct * cos(rotor) - at.quadrature * sin(rotor);
    state[DW_STEPPER_CURRENT_B] = at.direct * sin(rotor) + at.quadrature * cos(rotor);
    return dw_run_start(t->run, 0, held, state, t->input, error);
}

/* N m: a load that rises slowly, at which it falls out of step. */
static enum dw_status pull_out(struct pulling *t, double most, double *torque, struct dw_error *error)
{
    const double period = natural_period(t->plan), periods = t->plan->drive == DW_STEPPER_CURRENT ? CHOPPED_PERIODS : LAST_PERIODS;
    const double first = fmax(FIRST_PERIODS * period, 40 / t->rate), last = fmax(periods * period, 160 / t->rate);
    enum dw_status status = begin_locked(t, error);
    double load = 0, lag = 0;
    while (!status && fabs(lag) < M_PI && load < 2 * most) {  /* unrun: passed-on */
        const double now = (double)(t->steps + 1) * t->spacing;
        load = now < first ? most * FIRST_RISE * now / first : most * (FIRST_RISE + (LAST_RISE - FIRST_RISE) * (now - first) / last);
        status = next_step(t, load, &lag, error);
    }
    *torque = load;
    return status;
}

/* Whether it starts at once with a load, and keeps all steps. */
static enum dw_status starts(struct pulling *t, double load, bool *does, struct dw_error *error)
{
    double state[DW_STATES], lag = 0;
    const double lasts = SETTLING * natural_period(t->plan) + 40 / t->rate;
    const size_t mode = dw_plant_rest(t->plant, state);
    t->steps = 0;
    t->input[DW_STEPPER_TORQUE] = load;
    enum dw_status status = dw_run_start(t->run, 0, mode, state, t->input, error);
    while (!status && fabs(lag) < M_PI && (double)t->steps * t->spacing < lasts)  /* unrun: passed-on */
        status = next_step(t, load, &lag, error);
    *does = fabs(lag) < M_PI;
    return status;
}

static enum dw_status pull_in(struct pulling *t, double most, double *torque, struct dw_error *error)
{
    bool does = false;
    double low = 0, high = most;
    enum dw_status status = starts(t, 0, &does, error);
    *torque = 0;
    if (status || !does)  /* unrun: passed-on */
        return status;
    for (int k = 0; !status && k < HALVINGS; k++) {  /* unrun: passed-on */
        status = starts(t, (low + high) / 2, &does, error);
        *(does ? &low : &high) = (low + high) / 2;
    }
    *torque = low;
    return status;
}

enum dw_status dw_stepper_pull(const struct dw_stepper_plan *plan, double rate, struct dw_stepper_pull *pull, struct dw_error *error)
{
    struct dw_stepper_plan p = *plan;
    p.coils = p.gates = p.direction = p.all = false;
    p.torque = 0;
    p.threshold = 0.5;
    if (!(rate > 0) || !isfinite(rate))
        return dw_error_member(error, "rate", "a rate of %g Hz: must be above zero", rate);
    struct pulling t = { .plan = &p, .rate = rate, .spacing = 1 / (rate * p.microsteps), .plant = dw_stepper_plant(&p, error) };
    enum dw_status status = t.plant ? DW_OK : error->status;
    if (!status && !(t.run = dw_run_new(dw_plant_modes(t.plant), &(struct dw_run_options){ 0 }, error)))
        status = error->status;
    if (!status)
        *pull = (struct dw_stepper_pull){ .formula = formula(&p, rate) };
    if (!status && pull->formula > 0)
        status = judge_stable(&p, rate, pull->formula, &pull->stable, error);
    if (!status && pull->formula > 0)
        status = pull_out(&t, pull->formula, &pull->simulated, error);
    if (!status && pull->formula > 0)
        status = pull_in(&t, pull->formula, &pull->pull_in, error);
    dw_run_free(t.run);
    dw_plant_free(t.plant);
    return status;
}
