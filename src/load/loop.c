/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The loop in time: from edge to edge, from sample to sample. docs/theory.md, section 17. */
#include "load/loop_inner.h"
#include <dutywright/follow.h>
#include <dutywright/value.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PARTS = 8 };  /* of a sample with a mean instead of pulses: that often is looked */
#define ROWS_ACCURACY 2e-8

/* ---- rows ---- */

static void fill_row(const struct dw_loop *loop, double time, double *row)
{
    const size_t outputs = dw_plant_outputs(loop->plan.plant);
    *row++ = time;
    *row++ = loop->last[1].input[0];
    if (loop->plan.direction)
        *row++ = loop->last[1].input[1];
    for (size_t i = 0; i < outputs; i++) {
        *row++ = loop->last[1].output[i];
        *row++ = loop->last[1].slope[i];
    }
    if (loop->tail) {
        *row = dwi_tail_output(loop->tail, row + 1);
        row += 2;
    }
    *row++ = loop->state.measured;
    *row++ = loop->state.wanted;
    *row = loop->duty;
}

static enum dw_status give_row(struct dw_loop *loop, double time, struct dw_error *error)
{
    if (!loop->plan.row)
        return DW_OK;
    fill_row(loop, time, loop->row);
    return loop->plan.row(loop->plan.context, loop->row, error);
}

static struct tail_row plant_row(const struct dw_loop *loop, int which, size_t output)
{
    return (struct tail_row){ loop->last[which].time, loop->last[which].output[output], loop->last[which].slope[output] };
}

/* A row inside a piece of the plant's, where the process, which is late, has another piece. */
static enum dw_status give_between(struct dw_loop *loop, double time, struct dw_error *error)
{
    const size_t outputs = dw_plant_outputs(loop->plan.plant);
    if (!loop->plan.row)
        return DW_OK;
    fill_row(loop, time, loop->row);
    double *row = loop->row + (loop->plan.direction ? 3 : 2);
    for (size_t i = 0; i < outputs; i++) {
        const struct tail_row at = dwi_tail_between(plant_row(loop, 0, i), plant_row(loop, 1, i), time);
        *row++ = at.value;
        *row++ = at.slope;
    }
    return loop->plan.row(loop->plan.context, loop->row, error);
}

static enum dw_status run_process(struct dw_loop *loop, double time, struct dw_error *error)
{
    struct tail *tail = loop->tail;
    const double delay = tail->process.delay;
    enum dw_status status = dwi_tail_put(tail, plant_row(loop, 1, loop->plan.measured), error);
    for (double next; status == DW_OK && (next = dwi_tail_next(tail)) + delay < time;) {
        status = dwi_tail_go(tail, next, error);
        if (status == DW_OK && next + delay > loop->last[0].time)
            status = give_between(loop, next + delay, error);
    }
    return status == DW_OK ? dwi_tail_go(tail, time - delay, error) : status;
}

static enum dw_status take_row(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct dw_loop *loop = context;
    const size_t outputs = dw_plant_outputs(loop->plan.plant);
    enum dw_status status = loop->held && row->time > loop->last[1].time ? give_row(loop, loop->last[1].time, error) : DW_OK;
    loop->held = false;
    loop->last[0] = loop->last[1];
    loop->last[1].time = row->time;
    loop->last[1].input[0] = row->input[0];
    loop->last[1].input[1] = row->input[loop->plan.direction];
    memcpy(loop->last[1].output, row->output, outputs * sizeof *row->output);
    memcpy(loop->last[1].slope, row->slope, outputs * sizeof *row->slope);
    if (status == DW_OK && loop->tail)
        status = run_process(loop, row->time, error);
    return status != DW_OK || row->repeats ? status : give_row(loop, row->time, error);
}

/* ---- time goes on ---- */

static enum dw_status go(struct dw_loop *loop, double time, struct dw_error *error)
{
    struct dw_course *side = loop->plan.side;
    double *const input = loop->input, value = 0;
    enum dw_status status = DW_OK;
    for (double next; status == DW_OK && side && (next = dw_course_next(side, &value)) < time;) {
        input[loop->plan.side_input] = value;
        status = dw_run_feed(loop->run, fmax(next, loop->now), input, error);
        if (status == DW_OK)  /* unrun: passed-on */
            status = dw_course_step(side, error);
        if (next == loop->side_time && value != loop->side_value)
            loop->disturbed = next;
        loop->side_time = next;
        loop->side_value = value;
        loop->now = fmax(next, loop->now);
    }
    if (side)
        input[loop->plan.side_input] = dw_course_at(side, time);
    if (status == DW_OK && time > loop->now) {
        status = dw_run_feed(loop->run, time, input, error);
        loop->now = time;
    }
    return status;
}

static enum dw_status set_pin(struct dw_loop *loop, double volts, struct dw_error *error)
{
    const size_t direction = loop->plan.direction;
    const double way = direction && loop->duty != 0 ? copysign(1, loop->duty) : loop->input[direction];
    if (volts == loop->input[0] && (!direction || way == loop->input[direction]))
        return DW_OK;
    if (direction)
        loop->input[direction] = way;
    loop->input[0] = volts;
    return dw_run_feed(loop->run, loop->now, loop->input, error);
}

double dwi_loop_high(const struct dw_loop_plan *plan, double duty)
{
    return duty < 0 && !plan->direction ? -plan->high : plan->high;
}

double dwi_loop_low(const struct dw_loop_plan *plan, double duty)
{
    return plan->low + (plan->average ? duty * (plan->high - plan->low) : 0);
}

void dwi_loop_edges(const struct dw_loop_plan *plan, double duty, double edge[3])
{
    const double d = fabs(duty), free = plan->alignment == DW_ALIGN_LEFT ? 0 : plan->alignment == DW_ALIGN_RIGHT ? 1 : 0.5;
    edge[0] = free * (1 - d);
    edge[2] = plan->alignment == DW_ALIGN_RIGHT ? 1 : edge[0] + d;
    edge[1] = (edge[0] + edge[2]) / 2;
}

/* ---- samples ---- */

double dwi_loop_measured(const struct dw_loop *loop)
{
    double output[DW_OUTPUTS];
    if (loop->tail)
        return dwi_tail_output(loop->tail, NULL);
    dw_run_output(loop->run, output, NULL);
    return output[loop->plan.measured];
}

/* From when on a duty acts that is decided now. */
static double due_time(const struct dw_loop *loop)
{
    const double period = loop->plan.period, time = loop->now + loop->plan.delay;
    bool on;
    if (!(period > 0))
        return time;
    const double k = dw_period_index(0, period, time, &on);
    return dw_period_boundary(0, period, on ? k : k + 1);
}

static enum dw_status sample(struct dw_loop *loop, double measured, struct dw_error *error)
{
    double wanted = loop->plan.wanted;
    enum dw_status status = DW_OK;
    if (loop->plan.wanted_from && (status = dw_course_pass(loop->plan.wanted_from, loop->now, error)) == DW_OK)
        wanted = dw_course_at(loop->plan.wanted_from, loop->now);
    if (status != DW_OK || loop->forced)
        return status;
    const double duty = dw_law_step(&loop->law, &loop->state, wanted, measured);
    loop->pending[(loop->first + loop->count++) % loop->room] = (struct pending){ due_time(loop), duty };
    loop->held = true;
    return DW_OK;
}

/* Looks at what is measured; at a sample so does the law. */
static enum dw_status look(struct dw_loop *loop, bool sampling, struct dw_error *error)
{
    if (!sampling && !loop->plan.see)
        return DW_OK;
    const double measured = dwi_loop_measured(loop);
    const enum dw_status status = sampling ? sample(loop, measured, error) : DW_OK;
    return status || !loop->plan.see ? status : loop->plan.see(loop->plan.context, loop->now, measured, sampling ? &loop->state : NULL, error);
}

/* A duty that is due comes into force. */
static void come_into_force(struct dw_loop *loop)
{
    const double before = loop->duty;
    while (loop->count && loop->pending[loop->first].due <= loop->now) {
        loop->duty = loop->pending[loop->first].duty;
        loop->first = (loop->first + 1) % loop->room;
        loop->count--;
    }
    loop->held = loop->held || loop->duty != before;
}

/* ---- with pulses ---- */

/* The period's beginning: where the pulse begins with it, what is measured is looked at before.
 *   looked   out: it was */
static enum dw_status begin_period(struct dw_loop *loop, bool sampling, bool *looked, struct dw_error *error)
{
    const struct dw_loop_plan *plan = &loop->plan;
    double edge[3];
    come_into_force(loop);
    dwi_loop_edges(plan, loop->duty, edge);
    *looked = edge[plan->instant] == 0;
    const enum dw_status status = *looked ? look(loop, sampling, error) : DW_OK;
    come_into_force(loop);
    dwi_loop_edges(plan, loop->duty, edge);
    return status == DW_OK && (loop->duty == 0 || edge[0] > 0) ? set_pin(loop, plan->low, error) : status;
}

static enum dw_status run_period(struct dw_loop *loop, double n, struct dw_error *error)
{
    const struct dw_loop_plan *plan = &loop->plan;
    const double begin = dw_period_boundary(0, plan->period, n), end = dw_period_boundary(0, plan->period, n + 1);
    const bool sampling = fmod(n, (double)plan->every) == 0;
    bool looked;
    double edge[3];
    enum dw_status status = begin_period(loop, sampling, &looked, error);
    dwi_loop_edges(plan, loop->duty, edge);
    for (int i = 0; status == DW_OK && i < 3; i++) {
        const bool place = i == (int)plan->instant && !looked && (sampling || plan->see), turns = loop->duty != 0 && i != 1;
        if (place || turns)
            status = go(loop, edge[i] < 1 ? fmin(fma(edge[i], plan->period, begin), end) : end, error);
        if (status == DW_OK && place)
            status = look(loop, sampling, error);
        if (status == DW_OK && turns && edge[i] < 1)
            status = set_pin(loop, i ? plan->low : dwi_loop_high(plan, loop->duty), error);
    }
    return status == DW_OK ? go(loop, end, error) : status;
}

/* ---- with their mean ---- */

/* From one sample to the next, which comes at `end`, or later. */
static enum dw_status run_mean(struct dw_loop *loop, double end, struct dw_error *error)
{
    const struct dw_loop_plan *plan = &loop->plan;
    const double begin = loop->now;
    enum dw_status status = look(loop, true, error);
    for (int part = 1; status == DW_OK && loop->now < end;) {
        come_into_force(loop);
        status = set_pin(loop, dwi_loop_low(plan, loop->duty), error);
        const double due = loop->count ? loop->pending[loop->first].due : INFINITY;
        const bool looks = plan->see && !plan->row && due > begin + (end - begin) * part / PARTS;
        const double next = looks ? begin + (end - begin) * part / PARTS : fmin(due, end);
        if (status == DW_OK)
            status = go(loop, fmin(next, end), error);
        part += looks;
        if (status == DW_OK && plan->see && (looks || plan->row) && loop->now < end)
            status = look(loop, false, error);
    }
    return status;
}

/* ---- the whole ---- */

enum dw_status dwi_loop_one_sample(struct dw_loop *loop, struct dw_error *error)
{
    enum dw_status status = loop->plan.average ? run_mean(loop, loop->law.plan.sample_time, error) : DW_OK;
    for (double n = 0; status == DW_OK && !loop->plan.average && n < (double)loop->plan.every; n++)
        status = run_period(loop, n, error);
    return status;
}

static enum dw_status begin_run(struct dw_loop *loop, struct dw_error *error)
{
    double rest[DW_STATES];
    const size_t mode = dw_plant_rest(loop->plan.plant, rest);
    enum dw_status status = loop->plan.side ? dw_course_pass(loop->plan.side, 0, error) : DW_OK;
    if (loop->plan.side)
        loop->input[loop->plan.side_input] = dw_course_at(loop->plan.side, 0);
    return status == DW_OK ? dw_run_start(loop->run, 0, mode, rest, loop->input, error) : status;
}

enum dw_status dw_loop_run(struct dw_loop *loop, struct dw_error *error)
{
    struct dw_error own = { .status = DW_OK };
    const double period = loop->law.plan.sample_time, pulse = loop->plan.period, every = (double)loop->plan.every;
    error = error ? error : &own;
    enum dw_status status = begin_run(loop, error);
    const double step = loop->plan.average ? period : pulse, count = ceil(loop->plan.duration / step * (1 - 1e-12));
    for (double n = 0; status == DW_OK && n < count; n++)
        if (loop->plan.average)
            status = run_mean(loop, pulse > 0 ? dw_period_boundary(0, pulse, (n + 1) * every) : dw_period_boundary(0, period, n + 1), error);
        else
            status = run_period(loop, n, error);
    return status == DW_OK ? look(loop, false, error) : status;
}

static enum dw_status check(const struct dw_loop_plan *p, struct dw_error *error)
{
    const double sample_time = p->law->plan.sample_time, every = (double)p->every * p->period, most = 1e9;
    if (!(p->average ? p->period >= 0 : p->period > 0) || !isfinite(p->period))
        return dw_error_member(error, "period", "period %g s: must be above zero", p->period);
    if (p->every < 1 || (p->period > 0 && fabs(every - sample_time) > 1e-9 * every))
        return dw_error_member(error, "every", "a sample each %llu periods of %g s: that is no sample time of %g s", p->every, p->period, sample_time);
    if (!(p->delay >= 0 && p->delay <= 1e6 * sample_time))
        return dw_error_member(error, "delay", "delay %g s: must be from zero to a million samples", p->delay);
    if (!(p->high > p->low) || !isfinite(p->high - p->low) || (p->low != 0 && p->law->low < 0))
        return dw_error_member(error, "high", "levels %g and %g V: the higher must be above the lower, and that zero where the duty may be below", p->low, p->high);
    if (p->measured >= dw_plant_outputs(p->plant))
        return dw_error_member(error, "measured", "output %zu of %zu", p->measured + 1, dw_plant_outputs(p->plant));
    if (!(p->duration > 0) || !isfinite(p->duration))
        return dw_error_member(error, "duration", "duration %g s: must be above zero", p->duration);
    if (!(p->duration / (p->average ? sample_time : p->period) <= most))
        return dw_error_member(error, "duration", "duration %g s: has more than %g of the %s, of %g s", p->duration, most,
                               p->average ? "samples" : "periods", p->average ? sample_time : p->period);
    if (!isfinite(p->process.gain) || !(p->process.lag >= 0) || !isfinite(p->process.lag) || !(p->process.delay >= 0) || !isfinite(p->process.delay))
        return dw_error_member(error, "process", "gain %g, lag %g s, delay %g s: must be finite, times not below zero", p->process.gain, p->process.lag,
                               p->process.delay);
    return DW_OK;
}

static struct dw_run *make_run(struct dw_loop *loop, struct dw_error *error)
{
    const struct dw_loop_plan *p = &loop->plan;
    const double accuracy = p->accuracy > 0 ? p->accuracy : ROWS_ACCURACY;
    struct dw_run_options options = { .accuracy = accuracy, .curves = true, .swing = dw_swing(accuracy), .carrier = p->average ? 0 : p->period,
                                      .sink = take_row, .context = loop };
    if (!p->row && !loop->tail)
        options = (struct dw_run_options){ .accuracy = 0 };
    return dw_run_new(dw_plant_modes(p->plant), &options, error);
}

struct dw_loop *dw_loop_new(const struct dw_loop_plan *plan, struct dw_error *error)
{
    struct dw_error own = { .status = DW_OK };
    error = error ? error : &own;
    if (check(plan, error) != DW_OK)
        return NULL;
    struct dw_loop *loop = calloc(1, sizeof *loop);
    if (!loop) {
        dw_no_memory(error);
        return NULL;
    }
    loop->plan = *plan;
    loop->law = *plan->law;
    loop->plan.law = &loop->law;
    if (!plan->process.given)
        loop->plan.process = (struct dw_loop_process){ .given = false };
    loop->room = (size_t)(plan->delay / loop->law.plan.sample_time) + 4;
    loop->pending = calloc(loop->room, sizeof *loop->pending);
    loop->row = calloc(2 * dw_plant_outputs(plan->plant) + 8, sizeof *loop->row);
    dw_law_begin(&loop->law, &loop->state);
    loop->state.wanted = plan->wanted;
    loop->input[0] = plan->low;
    loop->disturbed = loop->side_time = NAN;
    if (plan->direction)
        loop->input[plan->direction] = 1;
    if (!loop->pending || !loop->row)
        dw_no_memory(error);
    else if ((!plan->process.given || (loop->tail = dwi_tail_new(&plan->process, error))) && (loop->run = make_run(loop, error)))
        return loop;
    dw_loop_free(loop);
    return NULL;
}

void dw_loop_free(struct dw_loop *loop)
{
    if (!loop)
        return;
    dw_run_free(loop->run);
    dwi_tail_free(loop->tail);
    free(loop->pending);
    free(loop->row);
    free(loop);
}

const struct dw_law_state *dw_loop_state(const struct dw_loop *loop)
{
    return &loop->state;
}

double dw_loop_disturbed(const struct dw_loop *loop)
{
    return loop->disturbed;
}

/* ---- the table's header ---- */

static enum dw_status append(struct dw_header *header, const struct dw_port *port, double accuracy, struct dw_error *error)
{
    enum dw_status status = dw_header_append(header, port->name, port->unit, error);
    const size_t column = dw_header_columns(header) - 1;
    if (status == DW_OK && !isnan(port->initial))
        status = dw_header_set_initial(header, column, port->initial, error);
    if (status == DW_OK)
        status = dw_header_set_accuracy(header, column, accuracy * port->scale, dw_swing(accuracy), error);
    return status == DW_OK ? dw_header_append_slope(header, error) : status;
}

static enum dw_status set_keys(struct dw_header *header, const struct dw_loop_plan *plan, const char *made_by, struct dw_error *error)
{
    char levels[2 * DW_NUMBER_SIZE], low[DW_NUMBER_SIZE], high[DW_NUMBER_SIZE];
    enum dw_status status = made_by ? dw_header_add(header, "made-by", made_by, error) : DW_OK;
    dw_number_print(low, plan->law->low < 0 && !plan->direction ? -plan->high : plan->low);
    dw_number_print(high, plan->high);
    snprintf(levels, sizeof levels, "%s %s", low, high);
    if (status == DW_OK && plan->period > 0 && !plan->average)
        status = dw_header_set_number(header, "carrier-period", plan->period, error);
    return status == DW_OK ? dw_header_set(header, "levels", levels, error) : status;
}

struct dw_header *dw_loop_header(const struct dw_loop *loop, const char *made_by, struct dw_error *error)
{
    const struct dw_loop_plan *plan = &loop->plan;
    const struct dw_port measured = dw_plant_port(plan->plant, plan->measured);
    const double accuracy = plan->accuracy > 0 ? plan->accuracy : ROWS_ACCURACY;
    const struct dw_port process = { "process", "1", fmax(fabs(plan->process.gain) * measured.scale, 1e-100), NAN };
    const char *unit = loop->tail ? "1" : measured.unit;
    struct dw_header *header = dw_header_new("time", "s", error);
    enum dw_status status = header ? dw_header_append(header, "pin", "V", error) : error->status;
    if (status == DW_OK && plan->direction)
        status = dw_header_append(header, "direction", "1", error);
    if (status == DW_OK)
        status = set_keys(header, plan, made_by, error);
    for (size_t i = 0; status == DW_OK && i < dw_plant_outputs(plan->plant); i++) {
        const struct dw_port port = dw_plant_port(plan->plant, i);
        status = append(header, &port, accuracy, error);
    }
    if (status == DW_OK && loop->tail)
        status = append(header, &process, accuracy, error);
    if (status == DW_OK)
        status = dw_header_append(header, "measured", unit, error);
    if (status == DW_OK)
        status = dw_header_append(header, "wanted", unit, error);
    if (status == DW_OK)
        status = dw_header_append(header, "duty", "1", error);
    if (status == DW_OK)
        return header;
    dw_header_free(header);
    return NULL;
}
