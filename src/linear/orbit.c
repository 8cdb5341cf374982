/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The periodic orbit of a switching system: follow, then Newton on the period map. docs/theory.md, (2.10). */
#include "linear/matrix_inner.h"
#include "linear/modes_inner.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    FAR = 16,      /* times its natural size or its largest value: a state where equations need not hold */
    FOLLOWED = 8,  /* periods before the first Newton step, and after one that did not help */
    NEWTON = 12,   /* steps before following again */
    ROUNDS = 40,
    STEPS_MOST = 1 << 25 /* of the whole search */
};

#define CLOSED 1e-12    /* of each state's largest value: the orbit comes back */
#define STABLE 1e-9     /* above 1: a radius that counts as unstable */
#define UNDECIDED 1e-13 /* below 1: a radius that counts as 1 */
#define NO_RATE 1e-15   /* of a period: what settles slower counts as undamped, since its rate is lost in rounding */
#define DIFFERENCES 1e-6 /* both, where the map's derivative is had by differences of states this far apart: */
#define APART 0x1p-13    /* of a state's natural size */
#define ALIKE 1e-11      /* of such a difference: rounding */

struct orbit {
    struct dw_run *run;
    struct dw_period period;
    size_t states, mode;
    bool smooth;    /* equations: the map is not linear between events, and its derivative is had by differences */
    double closed;
    double state[DW_STATES], after[DW_STATES], largest[DW_STATES];
    double map[DW_STATES * DW_STATES];  /* derivative of the period map, only where the tangent was carried */
};

static void note_largest(struct orbit *orbit)
{
    for (size_t i = 0; i < orbit->states; i++)
        orbit->largest[i] = fmax(orbit->largest[i], fabs(orbit->run->node.high[i]));
}

/* Feeds the period's rows after the first. */
static enum dw_status feed_period(struct orbit *orbit, struct dw_error *error)
{
    struct dw_run *run = orbit->run;
    const struct dw_period *period = &orbit->period;
    const size_t m = run->modes->inputs;
    enum dw_status status = DW_OK;
    note_largest(orbit);
    for (size_t i = 1; i < period->rows && status == DW_OK; i++) {
        const double *const input = m > 0 ? period->input + i * m : NULL, *const slope = m > 0 && period->slope ? period->slope + i * m : NULL;
        status = slope ? dw_run_feed_curve(run, period->time[i], input, slope - m, slope, error) : dw_run_feed(run, period->time[i], input, error);
        note_largest(orbit);
    }
    return status == DW_OK ? dw_run_feed(run, period->time[period->rows - 1], period->input, error) : status;
}

/* The map's derivative by central differences. */
static enum dw_status difference_map(struct orbit *orbit, struct dw_error *error)
{
    struct dw_run *run = orbit->run;
    const size_t n = orbit->states;
    enum dw_status status = DW_OK;
    for (size_t j = 0; j < n && status == DW_OK; j++) {  /* unrun: passed-on */
        double state[2][DW_STATES], after[2][DW_STATES];
        for (int side = 0; side < 2 && status == DW_OK; side++) {  /* unrun: passed-on */
            memcpy(state[side], orbit->state, sizeof orbit->state);
            state[side][j] += (side ? APART : -APART) * run->modes->equations.state_scale[j];
            status = dw_run_start(run, orbit->period.time[0], orbit->mode, state[side], orbit->period.input, error);
            if (status == DW_OK)  /* unrun: passed-on */
                status = feed_period(orbit, error);
            memcpy(after[side], run->node.high, n * sizeof after[side][0]);
        }
        for (size_t i = 0; i < n; i++) {
            const double moved = (after[1][i] - after[0][i]) / (state[1][j] - state[0][j]), still = i == j;
            orbit->map[i * n + j] = fabs(moved - still) < ALIKE ? still : moved;
        }
    }
    return status;
}

/* One period from orbit->state and mode; leaves state and mode after it, and the map's derivative. */
static enum dw_status one_period(struct orbit *orbit, bool tangent, size_t *mode_after, struct dw_error *error)
{
    struct dw_run *run = orbit->run;
    const size_t n = orbit->states;
    struct tangent *kept = run->tangent;
    run->tangent = NULL;
    enum dw_status status = dw_run_start(run, orbit->period.time[0], orbit->mode, orbit->state, orbit->period.input, error);
    if (tangent)
        run->tangent = kept;
    if (kept)
        memset(kept, 0, sizeof *kept);
    for (size_t j = 0; kept && j < n; j++)
        kept->column[j].high[j] = 1;
    orbit->mode = run->mode;
    memcpy(orbit->state, run->node.high, n * sizeof *orbit->state);  /* after resets at the start */
    if (status == DW_OK)
        status = feed_period(orbit, error);
    run->tangent = kept;
    memcpy(orbit->after, run->node.high, n * sizeof *orbit->after);
    *mode_after = run->mode;
    for (size_t i = 0; kept && i < n; i++)
        for (size_t j = 0; j < n; j++)
            orbit->map[i * n + j] = kept->column[j].high[i];
    return status == DW_OK && tangent && !kept ? difference_map(orbit, error) : status;
}

/* How far the orbit is from closed, in units of what is allowed. */
static double gap(const struct orbit *orbit)
{
    double most = 0;
    for (size_t i = 0; i < orbit->states; i++)
        if (!orbit->run->modes->drifts[i] && orbit->largest[i] > 0)
            most = fmax(most, fabs(orbit->after[i] - orbit->state[i]) / (orbit->closed * orbit->largest[i]));
    return most;
}

/* The map's derivative less the identity, without the states that drift; returns their number left. */
static size_t reduced_map(const struct orbit *orbit, double *y, size_t *kept)
{
    const size_t n = orbit->states;
    size_t count = 0;
    for (size_t i = 0; i < n; i++)
        if (!orbit->run->modes->drifts[i])
            kept[count++] = i;
    for (size_t i = 0; i < count; i++)
        for (size_t j = 0; j < count; j++)
            y[i * count + j] = orbit->map[kept[i] * n + kept[j]] - (i == j);
    return count;
}

/* Whether a state stood still over the period whatever the others did: a rotor that sticks. It is on its orbit, or the others
 * will move it on theirs. */
static bool stands(const struct orbit *orbit, size_t state)
{
    const size_t n = orbit->states;
    for (size_t j = 0; j < n; j++)
        if (orbit->map[state * n + j] != (j == state))
            return false;
    return orbit->after[state] == orbit->state[state];
}

/* One step towards the orbit.
 *   size   out: the largest part of it, in units of what is allowed; the state is off by about that much before the step
 *   returns  false where the map has an eigenvalue of one to working precision: no step */
static bool newton_step(struct orbit *orbit, double *size)
{
    double y[DW_STATES * DW_STATES];
    size_t kept[DW_STATES];
    const size_t count = reduced_map(orbit, y, kept);
    struct doubled matrix[DW_STATES * DW_STATES], step[DW_STATES];
    for (size_t i = 0; i < count * count; i++)
        matrix[i] = doubled_of(-y[i]);
    for (size_t i = 0; i < count; i++)
        if (stands(orbit, kept[i]))
            matrix[i * count + i] = doubled_of(1);  /* its step is then none */
    for (size_t i = 0; i < count; i++)
        step[i] = exact_sum(orbit->after[kept[i]], -orbit->state[kept[i]]);
    *size = 0;
    if (!dwi_doubled_solve(matrix, step, count, 1))
        return false;
    for (size_t i = 0; i < count; i++)
        if (orbit->largest[kept[i]] > 0 && !(fabs(step[i].hi) * NO_RATE <= orbit->largest[kept[i]]))
            return false;
    for (size_t i = 0; i < count; i++) {
        orbit->state[kept[i]] += step[i].hi;
        if (orbit->largest[kept[i]] > 0)
            *size = fmax(*size, fabs(step[i].hi) / (orbit->closed * orbit->largest[kept[i]]));
    }
    return true;
}

static void go_on(struct orbit *orbit, size_t mode)
{
    memcpy(orbit->state, orbit->after, orbit->states * sizeof *orbit->state);
    orbit->mode = mode;
}

/* Follows some periods. */
static enum dw_status follow(struct orbit *orbit, struct dw_error *error)
{
    for (int i = 0; i < FOLLOWED; i++) {
        size_t mode = 0;
        const enum dw_status status = one_period(orbit, false, &mode, error);
        if (status != DW_OK)
            return status;
        go_on(orbit, mode);
    }
    return DW_OK;
}

/* Whether Newton's step left all that is natural for the equations. */
static bool strays(const struct orbit *orbit)
{
    const double *scale = orbit->run->modes->equations.state_scale;
    for (size_t i = 0; i < orbit->states; i++)
        if (!(fabs(orbit->state[i]) <= FAR * fmax(scale[i], orbit->largest[i])))
            return true;
    return false;
}

/* Whether a period that began in the orbit's mode and ended in another went along one curve. */
static bool along_one_curve(const struct orbit *orbit, size_t mode)
{
    struct mode *const *modes = orbit->run->modes->modes;
    return mode == orbit->mode || (modes[mode]->curve > 0 && modes[mode]->curve == modes[orbit->mode]->curve);
}

/* Newton's steps from where following came to. A slow state comes back within 1e-12 long before it is right: steps go on until
 * they are that small, or no longer half of the one before, when rounding is all that is left. */
static enum dw_status close_orbit(struct orbit *orbit, bool *closed, struct dw_error *error)
{
    const bool smooth = orbit->smooth;  /* then a step may lead anywhere, and what goes wrong there is no answer */
    double best = INFINITY, before = INFINITY;
    *closed = false;
    for (int i = 0; i < NEWTON; i++) {  /* unrun: count */
        size_t mode = 0;
        double size = 0;
        memset(orbit->largest, 0, sizeof orbit->largest);
        const enum dw_status status = one_period(orbit, true, &mode, smooth && i > 0 ? NULL : error);
        if (status != DW_OK)
            return smooth && i > 0 ? DW_OK : status;  /* unrun: passed-on */
        const double now = gap(orbit);
        const bool alike = along_one_curve(orbit, mode), returned = alike && now <= 1;
        if (!returned && (!alike || !(now < best || i < 4))) {
            go_on(orbit, mode);
            return DW_OK;
        }
        orbit->mode = mode;
        best = fmin(best, now);
        const bool stepped = newton_step(orbit, &size);
        *closed = returned && (!stepped || size <= 1 || size > before / 2);  /* unrun: rounding */
        if (*closed || (smooth && strays(orbit)))
            return DW_OK;
        if (!stepped)
            return dw_error_set(error, DW_NO, 0,
                                "no steady state: nothing damps a state of the system, and it does not come back after a period");
        before = size;
    }
    return DW_OK;  /* unrun: count */
}

/* Stability of the orbit found, from the map's derivative on it. */
static enum dw_status judge_orbit(struct orbit *orbit, struct dw_steady *steady, struct dw_error *error)
{
    double y[DW_STATES * DW_STATES], square[DW_STATES * DW_STATES];
    size_t kept[DW_STATES], mode = 0;
    const enum dw_status status = one_period(orbit, true, &mode, error);
    if (status != DW_OK)  /* unrun: passed-on */
        return status;
    go_on(orbit, mode);
    const size_t count = reduced_map(orbit, y, kept);
    const double radius = count ? dwi_map_radius(y, count) : 0;
    if (!(radius <= 1 + (orbit->smooth ? DIFFERENCES : STABLE)))
        return dw_error_set(error, DW_NO, 0,
                            "no steady state: the orbit is unstable, a disturbance grows %.6g times each period", radius);
    if (!steady)
        return DW_OK;
    steady->radius = radius;
    steady->lasting = !(radius < 1 - (orbit->smooth ? DIFFERENCES : UNDECIDED));
    struct doubled matrix[DW_STATES * DW_STATES], inverse[DW_STATES * DW_STATES] = { { 0, 0 } };
    double size = 0, inverse_size = 0;
    for (size_t i = 0; i < count; i++)
        inverse[i * count + i].hi = 1;
    for (size_t i = 0; i < count * count; i++)
        matrix[i] = doubled_of(y[i]);
    const bool solved = dwi_doubled_solve(matrix, inverse, count, count);
    for (int pass = 0; pass < 2; pass++) {
        for (size_t i = 0; i < count; i++)
            for (size_t j = 0; j < count; j++) {
                double sum = 0;
                for (size_t k = 0; k < count; k++)
                    sum += pass ? inverse[k * count + i].hi * inverse[k * count + j].hi : y[k * count + i] * y[k * count + j];
                square[i * count + j] = sum;
            }
        *(pass ? &inverse_size : &size) = count ? sqrt(fmax(dwi_symmetric_largest(square, count), 0)) : 0;
    }
    steady->condition = solved ? size * inverse_size : INFINITY;  /* unrun: rounding */
    return DW_OK;
}

/* Length of a vector of states, each in units of its largest value. */
static double length_of(const struct orbit *orbit, const double *vector)
{
    double most = 0;
    for (size_t i = 0; i < orbit->states; i++)
        if (!orbit->run->modes->drifts[i] && orbit->largest[i] > 0)  /* unrun: implied */
            most = fmax(most, fabs(vector[i]) / orbit->largest[i]);
    return most;
}

/* vector <- map vector, without the states that drift. */
static void map_vector(const struct orbit *orbit, double *vector)
{
    const size_t n = orbit->states;
    double out[DW_STATES];
    for (size_t i = 0; i < n; i++) {
        out[i] = 0;
        for (size_t j = 0; j < n; j++)
            if (!orbit->run->modes->drifts[i] && !orbit->run->modes->drifts[j])
                out[i] += orbit->map[i * n + j] * vector[j];
    }
    memcpy(vector, out, n * sizeof *out);
}

/* Equations may have several orbits, and Newton's steps may lead to one that is not reached: (2.20). Follows them on from where the
 * steps began; unless they come nearer, and about so as the orbit's map says, the search goes on from there. */
static enum dw_status confirm(struct orbit *orbit, const struct orbit *begun, bool *closed, struct dw_error *error)
{
    struct orbit now = *begun;
    double first[DW_STATES], last[DW_STATES], told[DW_STATES], miss[DW_STATES];
    const enum dw_status status = follow(&now, error);
    for (size_t i = 0; i < orbit->states; i++) {
        told[i] = first[i] = begun->state[i] - orbit->state[i];
        last[i] = now.state[i] - orbit->state[i];
    }
    for (int k = 0; k < FOLLOWED; k++)
        map_vector(orbit, told);
    for (size_t i = 0; i < orbit->states; i++)
        miss[i] = last[i] - told[i];
    const double distance = length_of(orbit, first);
    const bool comes = length_of(orbit, last) < distance && length_of(orbit, miss) <= distance / 2;
    *closed = now.mode == orbit->mode && (comes || distance <= orbit->closed);  /* unrun: rounding */
    if (!*closed)
        *orbit = now;
    return status;
}

static enum dw_status find_orbit(struct orbit *orbit, struct dw_steady *steady, struct dw_error *error)
{
    bool closed = false;
    enum dw_status status = DW_OK;
    for (int round = 0; round < ROUNDS && status == DW_OK && !closed; round++) {
        status = follow(orbit, error);
        const struct orbit begun = *orbit;
        if (status == DW_OK)
            status = close_orbit(orbit, &closed, error);
        if (status == DW_OK && closed && orbit->smooth)
            status = confirm(orbit, &begun, &closed, error);
        else if (status == DW_OK && orbit->smooth)
            *orbit = begun;
    }
    if (status != DW_OK)
        return status;
    if (!closed)
        return dw_error_set(error, DW_NO, 0,
                            "no steady state was found: after %d periods and Newton's steps in between the state still does not "
                            "come back",
                            ROUNDS * FOLLOWED);
    return judge_orbit(orbit, steady, error);
}

enum dw_status dw_modes_steady(struct dw_modes *modes, const struct dw_period *period, size_t *mode, double *state, struct dw_steady *steady,
                               struct dw_error *error)
{
    const bool smooth = modes->engine != &dwi_switched_engine;
    if (!smooth && modes->count == 1 && modes->modes[0]->guard_count == 0) {
        bool drifting = false;
        for (size_t i = 0; i < modes->states; i++)
            drifting = drifting || modes->drifts[i];
        if (!drifting)
            return dwi_system_steady(modes->modes[0]->system, period, modes->inputs, state, steady, error);
    }
    if (period->rows < 2 || !(period->time[period->rows - 1] > period->time[0]))
        return dw_error_set(error, DW_BAD_USE, 0, "a period needs two rows at least, and time must pass");
    struct orbit *orbit = calloc(1, sizeof *orbit);
    const struct dw_run_options quiet = { .sink = NULL };
    if (orbit)
        orbit->run = dw_run_new(modes, &quiet, error);
    if (orbit && orbit->run && !smooth)
        orbit->run->tangent = calloc(1, sizeof *orbit->run->tangent);
    enum dw_status status = DW_OK;
    if (!orbit || !orbit->run || !(smooth || orbit->run->tangent)) {
        status = dw_no_memory(error);
    } else {
        orbit->run->steps_most = STEPS_MOST;
        orbit->period = *period;
        orbit->states = modes->states;
        orbit->smooth = smooth;
        orbit->closed = smooth ? fmax(CLOSED, modes->equations.tolerance) : CLOSED;
        orbit->mode = *mode;
        memcpy(orbit->state, state, modes->states * sizeof *state);
        status = find_orbit(orbit, steady, error);
    }
    if (status == DW_OK) {
        *mode = orbit->mode;
        memcpy(state, orbit->state, modes->states * sizeof *state);
    }
    if (orbit)
        dw_run_free(orbit->run);
    free(orbit);
    return status;
}
