/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A position servo as a switching system: what the line does, and under each of that what the servo does. docs/theory.md, section 13. */
#include "load/build_inner.h"
#include <dutywright/servo.h>
#include <math.h>
#include <stdlib.h>

enum { N = DW_SERVO_STATES, M = DW_SERVO_INPUTS, OUTPUTS = 2 };

/* A dead band of nothing is one of so much of the travel, lest rounding make it move; and where the speed falls, a hair keeps the two
 * guards that share an angle apart. */
static const double LEAST_BAND = 1e-9, HAIR = 1e-9;
/* At rest it is nearer than so much of the dead band, or half of where it slows down. */
static const double CLOSE = 0.1;

struct servo {
    struct dw_servo_plan plan;
    double band, close, slew, travel;
    struct build build;          /* of the mode made last */
    double reset[2][N * N], reset_offset[2][N];
};

/* ---- calibration ---- */

static double whole_width(const struct dw_servo_plan *p)
{
    return p->points[p->point_count - 1].width - p->points[0].width;
}

static double travel(const struct dw_servo_plan *p)
{
    return fabs(p->points[p->point_count - 1].angle - p->points[0].angle);
}

static double slope(const struct dw_servo_plan *p, size_t segment)
{
    const struct dw_servo_point *a = p->points + segment, *b = a + 1;
    return (b->angle - a->angle) / (b->width - a->width);
}

double dw_servo_angle(const struct dw_servo_plan *p, double width)
{
    size_t k = 0;
    while (k + 2 < p->point_count && width > p->points[k + 1].width)
        k++;
    return p->points[k].angle + slope(p, k) * (width - p->points[k].width);
}

double dw_servo_width(const struct dw_servo_plan *p, double angle)
{
    const double sign = copysign(1, p->points[1].angle - p->points[0].angle);
    size_t k = 0;
    while (k + 2 < p->point_count && sign * angle > sign * p->points[k + 1].angle)
        k++;
    return p->points[k].width + (angle - p->points[k].angle) / slope(p, k);
}

double dw_servo_steepest(const struct dw_servo_plan *p)
{
    double most = 0;
    for (size_t k = 0; k + 1 < p->point_count; k++)
        most = fmax(most, fabs(slope(p, k)));
    return most;
}

double dw_servo_band(const struct dw_servo_plan *p)
{
    return p->dead_band * travel(p) / whole_width(p);
}

/* ---- checks ---- */

static enum dw_status check_points(const struct dw_servo_plan *p, struct dw_error *error)
{
    if (p->point_count < 2 || p->point_count > DW_SERVO_POINTS)
        return dw_error_member(error, "points", "%zu points: a calibration has from 2 to %d", p->point_count, DW_SERVO_POINTS);
    const double way = p->points[1].angle - p->points[0].angle;
    for (size_t k = 0; k < p->point_count; k++) {  /* unrun: count */
        const struct dw_servo_point *a = p->points + k, *b = a + 1;
        if (!(a->width > 0) || !isfinite(a->width) || !isfinite(a->angle))
            return dw_error_member(error, "points", "point %zu, %g s and %g deg: a width above zero and an angle are wanted", k + 1, a->width, a->angle);
        if (k + 1 == p->point_count)
            break;
        if (!(b->width > a->width))
            return dw_error_member(error, "points", "point %zu has a width of %g s and the one before it %g s: they must rise", k + 2, b->width, a->width);
        if (!((b->angle - a->angle) * way > 0))
            return dw_error_member(error, "points", "at %g s the angle is %g deg and before it %g deg: it must %s from point to point, as between "
                                   "the first two", b->width, b->angle, a->angle, way < 0 ? "fall" : "rise");
    }
    return DW_OK;
}

static enum dw_status check_angles(const struct dw_servo_plan *p, struct dw_error *error)
{
    const double first = p->points[0].angle, last = p->points[p->point_count - 1].angle, low = fmin(first, last), high = fmax(first, last);
    if (!(p->stop_low < p->stop_high))
        return dw_error_member(error, "stops", "stops %g deg and %g deg: the first must be below the second", p->stop_low, p->stop_high);
    if (!(p->stop_low >= low && p->stop_high <= high))
        return dw_error_member(error, "stops", "stops %g deg to %g deg: the travel is from %g deg to %g deg, and stops are within it", p->stop_low,
                               p->stop_high, low, high);
    if (!(p->initial >= p->stop_low && p->initial <= p->stop_high))
        return dw_error_member(error, "initial", "an angle of %g deg at first: the stops are at %g deg and %g deg", p->initial, p->stop_low,
                               p->stop_high);
    return DW_OK;
}

enum dw_status dw_servo_check(const struct dw_servo_plan *p, struct dw_error *error)
{
    const struct dw_demand demands[] = {
        { "dead_band", "dead band", p->dead_band, "s", DW_NOT_NEGATIVE },
        { "slew", "slew", p->slew, "deg/s", DW_ABOVE_ZERO },
        { "slow_within", "slow within", p->slow_within, "deg", DW_NOT_NEGATIVE },
        { "torque", "torque", p->torque, "N m", DW_NOT_NEGATIVE },
        { "stall_torque", "stall torque", p->stall_torque, "N m", DW_NOT_NEGATIVE },
        { "lost_after", "lost after", p->lost_after, "s", DW_ABOVE_ZERO },
        { "stop_low", "stop", p->stop_low, "deg", DW_FINITE },
        { "stop_high", "stop", p->stop_high, "deg", DW_FINITE },
        { "initial", "initial", p->initial, "deg", DW_FINITE },
        { "threshold", "threshold", p->threshold, "V", DW_FINITE },
    };
    enum dw_status status = dw_demands_check(demands, sizeof demands / sizeof demands[0], error);
    if (!status)
        status = check_points(p, error);
    if (!status)
        status = check_angles(p, error);
    if (status)
        return status;
    if (!(p->dead_band < whole_width(p)))
        return dw_error_member(error, "dead_band", "a dead band of %g s: must be below %g s, the widths of the whole travel", p->dead_band,
                               whole_width(p));
    if (p->stall_torque > 0 && !(p->torque < p->stall_torque))
        return dw_error_member(error, "torque", "a torque of %g N m stalls it, at %g N m: what it is to move must be below that, and half of it "
                               "moves at half the speed", p->torque, p->stall_torque);
    return DW_OK;
}

/* ---- modes: the line low, or high with a width in one segment of the calibration; and the motion ---- */

static size_t mode_of(size_t line, enum dw_servo_motion motion)
{
    return line * DW_SERVO_MOTIONS + motion;
}

enum dw_servo_motion dw_servo_motion(size_t mode)
{
    return (enum dw_servo_motion)(mode % DW_SERVO_MOTIONS);
}

/* g = angle * x_angle + wanted * x_wanted + since * x_since + offset. */
static void add_guard(struct servo *s, double angle, double wanted, double since, double offset, size_t next)
{
    const double state[N] = { [DW_SERVO_ANGLE] = angle, [DW_SERVO_WANTED] = wanted, [DW_SERVO_SINCE] = since };
    dwi_build_guard(&s->build, state, 1, offset, since != 0 ? 1e-3 : s->travel, next);
}

/* The edge that ends what the line does; at a fall the width becomes the angle wanted. */
static void edge_guard(struct servo *s, size_t line, enum dw_servo_motion motion)
{
    const struct dw_servo_plan *p = &s->plan;
    const double sign = line ? 1 : -1;
    const enum dw_servo_motion latched = motion == DW_SERVO_FREE ? DW_SERVO_HOLDS : motion;
    struct dw_guard *guard = dwi_build_input_guard(&s->build, DW_SERVO_PIN, sign, -sign * p->threshold, fmax(fabs(p->threshold), 1),
                                                   line ? mode_of(0, latched) : mode_of(1, motion));
    for (size_t i = 0; i < N * N; i++)
        s->reset[0][i] = i == DW_SERVO_ANGLE * N + DW_SERVO_ANGLE || (!line && i == DW_SERVO_WANTED * N + DW_SERVO_WANTED);
    s->reset_offset[0][DW_SERVO_WANTED] = 0;
    if (line) {
        s->reset[0][DW_SERVO_WANTED * N + DW_SERVO_SINCE] = slope(p, line - 1);
        s->reset_offset[0][DW_SERVO_WANTED] = p->points[line - 1].angle - slope(p, line - 1) * p->points[line - 1].width;
    }
    guard->reset = s->reset[0];
    guard->reset_offset = s->reset_offset[0];
}

static void line_guards(struct servo *s, size_t line, enum dw_servo_motion motion)
{
    const struct dw_servo_plan *p = &s->plan;
    edge_guard(s, line, motion);
    if (line && line + 1 < p->point_count)
        add_guard(s, 0, 0, -1, p->points[line].width, mode_of(line + 1, motion));
    if (p->free_when_lost && motion != DW_SERVO_FREE)
        add_guard(s, 0, 0, -1, p->lost_after, mode_of(line, DW_SERVO_FREE));
}

/* Moving one way, +1 or -1: nearer than where it slows down, far again, close, and at the stop. */
static void move_guards(struct servo *s, size_t line, bool nears, double way)
{
    const struct dw_servo_plan *p = &s->plan;
    const bool up = way > 0;
    const size_t rest = mode_of(line, DW_SERVO_HOLDS), far = mode_of(line, up ? DW_SERVO_UP : DW_SERVO_DOWN),
                 near = mode_of(line, up ? DW_SERVO_NEARS_UP : DW_SERVO_NEARS_DOWN);
    if (!nears)
        add_guard(s, -way, way, 0, -p->slow_within, p->slow_within > 0 ? near : rest);
    else {
        add_guard(s, -way, way, 0, -s->close, rest);
        add_guard(s, way, -way, 0, p->slow_within * (1 + HAIR), far);
    }
    add_guard(s, -way, 0, 0, up ? p->stop_high : -p->stop_low, mode_of(line, up ? DW_SERVO_STOPPED_HIGH : DW_SERVO_STOPPED_LOW));
}

static void make(void *of, size_t mode, struct dw_mode *out)
{
    static const char *const names[] = { "holds", "turns up", "turns down", "nears from below", "nears from above", "at the upper stop",
                                         "at the lower stop", "is not driven" };
    struct servo *s = of;
    struct build *b = &s->build;
    const size_t line = mode / DW_SERVO_MOTIONS;
    const enum dw_servo_motion motion = dw_servo_motion(mode);
    dwi_build_begin(b, N, M);
    b->e[DW_SERVO_SINCE] = 1;
    b->c[DW_SERVO_WANTED] = 1;
    b->c[N + DW_SERVO_ANGLE] = 1;
    line_guards(s, line, motion);
    switch (motion) {
    case DW_SERVO_UP:
    case DW_SERVO_DOWN:
        b->e[DW_SERVO_ANGLE] = motion == DW_SERVO_UP ? s->slew : -s->slew;
        move_guards(s, line, false, motion == DW_SERVO_UP ? 1 : -1);
        break;
    case DW_SERVO_NEARS_UP:
    case DW_SERVO_NEARS_DOWN:
        if (s->plan.slow_within > 0) {  /* unrun: implied */
            b->a[DW_SERVO_WANTED] = s->slew / s->plan.slow_within;
            b->a[DW_SERVO_ANGLE] = -b->a[DW_SERVO_WANTED];
        }
        move_guards(s, line, true, motion == DW_SERVO_NEARS_UP ? 1 : -1);
        break;
    case DW_SERVO_STOPPED_HIGH: add_guard(s, -1, 1, 0, -s->band, mode_of(line, DW_SERVO_HOLDS)); break;
    case DW_SERVO_STOPPED_LOW: add_guard(s, 1, -1, 0, -s->band, mode_of(line, DW_SERVO_HOLDS)); break;
    case DW_SERVO_HOLDS:
        add_guard(s, 1, -1, 0, s->band, mode_of(line, DW_SERVO_UP));
        add_guard(s, -1, 1, 0, s->band, mode_of(line, DW_SERVO_DOWN));
        break;
    case DW_SERVO_FREE:
    case DW_SERVO_MOTIONS: break;
    }
    *out = dwi_build_end(b, names[motion]);
}

struct dw_plant *dw_servo_plant(const struct dw_servo_plan *plan, struct dw_error *error)
{
    if (dw_servo_check(plan, error))
        return NULL;
    struct servo *s = calloc(1, sizeof *s);
    if (!s) {
        dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for the servo");
        return NULL;
    }
    s->plan = *plan;
    s->travel = travel(plan);
    s->band = fmax(dw_servo_band(plan), LEAST_BAND * s->travel);
    s->close = plan->slow_within > 0 ? fmin(CLOSE * s->band, plan->slow_within / 2) : 0;
    s->slew = plan->slew * (plan->stall_torque > 0 ? 1 - plan->torque / plan->stall_torque : 1);
    const double rest[N] = { [DW_SERVO_ANGLE] = plan->initial, [DW_SERVO_WANTED] = plan->initial };
    const struct dw_port ports[OUTPUTS] = { { "wanted", "deg", s->travel, plan->initial }, { "angle", "deg", s->travel, plan->initial } };
    struct dw_plant *plant = dw_plant_new(&(struct dw_plant_plan){
        .modes = { .states = N, .inputs = M, .outputs = OUTPUTS, .mode_count = plan->point_count * DW_SERVO_MOTIONS, .make = make, .of = s },
        .ports = ports, .mode = mode_of(0, DW_SERVO_HOLDS), .rest = rest, .load = s, .release = free }, error);
    if (!plant)
        free(s);
    return plant;
}

/* ---- findings ---- */

static int way_of(enum dw_servo_motion motion)
{
    return motion == DW_SERVO_UP || motion == DW_SERVO_NEARS_UP ? 1 : motion == DW_SERVO_DOWN || motion == DW_SERVO_NEARS_DOWN ? -1 : 0;
}

static void take_pulse(struct dw_servo_meter *m, double width)
{
    struct dw_servo_findings *f = &m->found;
    m->first_rise = f->pulses ? m->first_rise : m->rise;
    f->shortest = f->pulses ? fmin(f->shortest, width) : width;
    f->longest = f->pulses ? fmax(f->longest, width) : width;
    f->frame = f->pulses ? (m->rise - m->first_rise) / (double)f->pulses : NAN;
    f->pulses++;
}

static void take_wanted(struct dw_servo_meter *m, double time, double wanted)
{
    const struct dw_servo_plan *p = m->plan;
    const double beyond = fmax(wanted - p->stop_high, p->stop_low - wanted);
    if (fabs(wanted - m->found.wanted) > dw_servo_band(p) && way_of(m->motion))
        m->found.begun = time;
    if (beyond > LEAST_BAND * travel(p))
        m->found.beyond = fmax(m->found.beyond, beyond);
}

/* It begins to move, turns round, or comes to rest. */
static void take_motion(struct dw_servo_meter *m, double time, enum dw_servo_motion motion, double left)
{
    struct dw_servo_findings *f = &m->found;
    const int way = way_of(motion), before = way_of(m->motion);
    if (way && way != m->way) {
        if (m->way && time - m->last_turn <= 10 * f->frame && fabs(left) <= 10 * dw_servo_band(m->plan))
            f->hunts++;
        m->last_turn = time;
        m->way = way;
    }
    if (way && !before)
        f->begun = time;
    if (way || motion == DW_SERVO_STOPPED_HIGH || motion == DW_SERVO_STOPPED_LOW)
        f->settled = NAN;
    else if (motion == DW_SERVO_HOLDS && m->motion != DW_SERVO_HOLDS && isnan(f->settled))
        f->settled = time;
}

void dw_servo_meter_row(struct dw_servo_meter *m, const struct dw_run_row *row)
{
    struct dw_servo_findings *f = &m->found;
    const enum dw_servo_motion motion = dw_servo_motion(row->mode);
    const double *x = row->state;
    if (!m->any)
        *f = (struct dw_servo_findings){ .frame = NAN, .shortest = NAN, .longest = NAN, .begun = NAN, .settled = NAN, .wanted = x[DW_SERVO_WANTED] };
    else if (m->motion == DW_SERVO_STOPPED_HIGH || m->motion == DW_SERVO_STOPPED_LOW)
        f->pressed += row->time - m->time;
    else if (m->motion == DW_SERVO_FREE)
        f->lost += row->time - m->time;
    const bool high = row->mode >= DW_SERVO_MOTIONS;
    if (high && !(m->any && m->high))
        m->rise = row->time;
    if (!high && m->any && m->high) {
        take_pulse(m, row->time - m->rise);
        take_wanted(m, row->time, x[DW_SERVO_WANTED]);
    }
    take_motion(m, row->time, motion, x[DW_SERVO_WANTED] - x[DW_SERVO_ANGLE]);
    f->wanted = x[DW_SERVO_WANTED];
    f->angle = x[DW_SERVO_ANGLE];
    m->motion = motion;
    m->high = high;
    m->time = row->time;
    m->any = true;
}
