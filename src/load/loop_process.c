/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What lies between the load and the sensor, carried along the cubics of the load's rows. */
#include "load/loop_inner.h"
#include <dutywright/pieces.h>
#include <math.h>
#include <stdlib.h>

/* Of x' = a x + b y, z = c x + d y: a lag, an integral, both, or neither. docs/theory.md, (17.4). */
static struct dw_system *make_system(const struct dw_loop_process *p, size_t states, struct dw_error *error)
{
    const bool lags = p->lag > 0, both = lags && p->integrates;
    const double a[TAIL_STATES * TAIL_STATES] = { lags ? -1 / p->lag : 0, 0, both, 0 },
                 b[TAIL_STATES] = { lags ? p->gain / p->lag : p->integrates ? p->gain : 0, 0 };
    const double c[TAIL_STATES] = { both || !(lags || p->integrates) ? 0 : 1, both }, d = lags || p->integrates ? 0 : p->gain;
    return dw_system_new(&(struct dw_matrices){ .states = states, .inputs = 1, .outputs = 1, .a = a, .b = b, .c = c, .d = &d }, error);
}

struct tail *dwi_tail_new(const struct dw_loop_process *process, struct dw_error *error)
{
    struct tail *tail = calloc(1, sizeof *tail);
    if (!tail) {
        dw_no_memory(error);
        return NULL;
    }
    tail->process = *process;
    tail->states = process->lag > 0 && process->integrates ? 2 : 1;
    tail->system = make_system(process, tail->states, error);
    if (tail->system)
        return tail;
    dwi_tail_free(tail);
    return NULL;
}

void dwi_tail_free(struct tail *tail)
{
    if (!tail)
        return;
    dw_system_free(tail->system);
    free(tail->queue);
    free(tail);
}

static const struct tail_row *row_at(const struct tail *tail, size_t i)
{
    return &tail->queue[(tail->first + i) % tail->room];
}

static enum dw_status grow(struct tail *tail, struct dw_error *error)
{
    const size_t room = tail->room ? 2 * tail->room : 16;
    struct tail_row *queue = malloc(room * sizeof *queue);
    if (!queue)
        return dw_no_memory(error);
    for (size_t i = 0; i < tail->count; i++)
        queue[i] = *row_at(tail, i);
    free(tail->queue);
    tail->queue = queue;
    tail->room = room;
    tail->first = 0;
    return DW_OK;
}

enum dw_status dwi_tail_put(struct tail *tail, struct tail_row row, struct dw_error *error)
{
    const enum dw_status status = tail->count == tail->room ? grow(tail, error) : DW_OK;
    if (status != DW_OK)
        return status;
    if (tail->count == 0)
        tail->now = row;
    tail->queue[(tail->first + tail->count++) % tail->room] = row;
    return DW_OK;
}

struct tail_row dwi_tail_between(struct tail_row from, struct tail_row to, double time)
{
    static const size_t slope[] = { 0, 2, 0 };
    const double a[] = { from.time, from.value, from.slope }, b[] = { to.time, to.value, to.slope };
    double row[3];
    dw_row_between(3, slope, a, b, time, row);
    return (struct tail_row){ row[0], row[1], row[2] };
}

enum dw_status dwi_tail_go(struct tail *tail, double time, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    while (status == DW_OK && tail->count > 1 && (tail->now.time < time || row_at(tail, 1)->time <= tail->now.time)) {
        const struct tail_row now = tail->now, next = *row_at(tail, 1);
        const struct tail_row end = fmax(time, now.time) < next.time ? dwi_tail_between(*row_at(tail, 0), next, time) : next;
        const double slope[2] = { now.slope, end.slope };
        if (end.time > now.time)
            status = dw_system_advance(tail->system, &(struct dw_interval){ tail->state, &now.value, &end.value, end.time - now.time, slope },
                                       dw_time_slack(end.time), tail->state, error);
        tail->now = end;
        if (end.time == next.time) {
            tail->first = (tail->first + 1) % tail->room;
            tail->count--;
        }
    }
    return status;
}

double dwi_tail_next(const struct tail *tail)
{
    return tail->count > 1 ? row_at(tail, 1)->time : INFINITY;
}

double dwi_tail_output(const struct tail *tail, double *slope)
{
    const struct dw_loop_process *p = &tail->process;
    const double *x = tail->state, drive = p->gain * tail->now.value;
    double z = 0;
    dw_system_output(tail->system, x, &tail->now.value, &z);
    if (slope)
        *slope = p->lag > 0 && p->integrates ? x[0] : p->lag > 0 ? (drive - x[0]) / p->lag : p->integrates ? drive : p->gain * tail->now.slope;
    return z;
}
