/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "load/build_inner.h"
#include <dutywright/value.h>
#include <math.h>
#include <string.h>

void dwi_build_begin(struct build *build, size_t states, size_t inputs)
{
    memset(build, 0, sizeof *build);
    build->states = states;
    build->inputs = inputs;
}

struct dw_mode dwi_build_end(const struct build *b, const char *name)
{
    return (struct dw_mode){ .name = name, .a = b->a, .a_low = b->a_low, .b = b->b, .b_low = b->b_low, .e = b->e, .e_low = b->e_low,
                             .c = b->c, .d = b->d, .f = b->f, .guards = b->guards, .guard_count = b->guard_count };
}

static struct dw_guard *add_guard(struct build *b, double offset, double scale, size_t next)
{
    const size_t k = b->guard_count++;
    b->guards[k] = (struct dw_guard){ .state = b->guard_state[k], .input = b->guard_input[k], .offset = offset, .scale = scale,
                                      .next = next };
    return b->guards + k;
}

struct dw_guard *dwi_build_guard(struct build *b, const double *state, double factor, double offset, double scale, size_t next)
{
    for (size_t i = 0; i < b->states; i++)
        b->guard_state[b->guard_count][i] = factor * state[i];
    return add_guard(b, offset, scale, next);
}

struct dw_guard *dwi_build_guard_row(struct build *b, const struct row *row, double factor, double offset, double scale, size_t next)
{
    return dwi_build_guard(b, row->state, factor, factor * row->alone + offset, scale, next);
}

struct dw_guard *dwi_build_input_guard(struct build *b, size_t input, double factor, double offset, double scale, size_t next)
{
    b->guard_input[b->guard_count][input] = factor;
    return add_guard(b, offset, scale, next);
}

/* ---- paths ---- */

struct row dwi_path_volts(const struct paths *p, size_t path)
{
    const double share = p->path[path].share;
    struct row volts = { .alone = share * p->volts.alone + p->path[path].own };
    for (size_t i = 0; i < BUILD_STATES; i++)
        volts.state[i] = share * p->volts.state[i];
    return volts;
}

size_t dwi_path_for(const struct paths *p, enum gate_state high, enum gate_state low, int direction)
{
    for (size_t k = 0; k < p->count; k++) {  /* unrun: all-cases */
        const struct path *path = p->path + k;
        if ((path->conduction == CONDUCTS_BOTH || path->conduction == BLOCKS) && (path->high == high || path->high == GATE_ANY) &&
            (path->low == low || path->low == GATE_ANY) && (path->direction == direction || !path->direction))
            return k;
    }
    return 0;  /* unrun: all-cases */
}

/* The path under the same gates and direction in which the diodes conduct otherwise; itself where none does. */
static size_t path_beside(const struct paths *p, size_t path, enum conduction conduction)
{
    const struct path *of = p->path + path;
    for (size_t k = 0; k < p->count; k++)
        if (p->path[k].conduction == conduction && p->path[k].high == of->high && p->path[k].low == of->low &&
            p->path[k].direction == of->direction)
            return k;
    return path;
}

/* A switch opens or closes where its gate crosses the threshold. */
static void gate_guard(const struct paths *p, struct build *b, size_t input, enum gate_state now, size_t next)
{
    const double sign = now == GATE_ON ? 1 : -1;
    dwi_build_input_guard(b, input, sign, -sign * p->threshold, p->gate_scale, next);
}

/* A mode beside this one. */
static size_t mode_of(const struct paths *p, size_t path, size_t own)
{
    return p->base + path * p->each + own;
}

/* Where the load's own voltage passes that of a path that is closed yet: upwards (1) or downwards (-1). */
static void open_guard(const struct paths *p, struct build *b, size_t path, double sense, size_t own)
{
    struct row margin = dwi_path_volts(p, path);
    for (size_t i = 0; i < b->states; i++)
        margin.state[i] -= p->emf[i];
    b->guard_input[b->guard_count][p->pin] = sense * p->path[path].pin;
    dwi_build_guard_row(b, &margin, sense, p->slack, p->supply, mode_of(p, path, own));
    if (p->drawn)
        b->guard_input[b->guard_count - 1][p->drawn] = -sense * p->emf_drawn;
}

static void diode_guards(const struct paths *p, struct build *b, size_t path, size_t own)
{
    const enum conduction conduction = p->path[path].conduction;
    if (conduction == CONDUCTS_BOTH)
        return;
    if (conduction != BLOCKS) {
        struct row current = dwi_path_volts(p, path);
        current.alone *= p->through;
        for (size_t i = 0; i < b->states; i++)
            current.state[i] = p->current[i] + p->through * current.state[i];
        dwi_build_guard_row(b, &current, conduction == CONDUCTS_FORWARD ? 1 : -1, 0, p->amperes,
                            mode_of(p, path_beside(p, path, BLOCKS), own))->reset = p->no_current;
        return;
    }
    for (int sense = 1; sense >= -1; sense -= 2) {
        const size_t beside = path_beside(p, path, sense < 0 ? CONDUCTS_FORWARD : CONDUCTS_BACK);
        if (beside == path)
            continue;
        if (p->through == 0)  /* entered with a current, one of its paths takes it */
            dwi_build_guard(b, p->current, sense, 0, p->amperes, mode_of(p, beside, own));
        open_guard(p, b, beside, sense, own);  /* without one, the load's own voltage may open a path */
    }
}

void dwi_path_guards(const struct paths *p, struct build *b, size_t path, size_t own)
{
    const struct path *now = p->path + path;
    if (now->high != GATE_ANY)
        gate_guard(p, b, p->pin, now->high,
                   mode_of(p, dwi_path_for(p, now->high == GATE_ON ? GATE_OFF : GATE_ON, GATE_OFF, now->direction), own));
    if (now->low != GATE_ANY)
        gate_guard(p, b, p->low, now->low,
                   mode_of(p, dwi_path_for(p, GATE_OFF, now->low == GATE_ON ? GATE_OFF : GATE_ON, now->direction), own));
    if (now->direction)
        dwi_build_input_guard(b, p->direction, now->direction, 0, 1,
                              mode_of(p, dwi_path_for(p, now->high, now->low, -now->direction), own));
    diode_guards(p, b, path, own);
}

/* ---- what must hold of a plan ---- */

enum dw_status dwi_demand_refuse(const char *member, const char *format, double one, double other, struct dw_error *error)
{
    const int digits = dw_digits_apart(one, other, 6);
    return dw_error_member(error, member, format, digits, one, digits, other);
}
