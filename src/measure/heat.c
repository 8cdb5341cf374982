/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A record of currents turned into loss and junction temperature. docs/theory.md, section 9.
 * The table's pieces end where the gate crosses its threshold, a current its zero, and at each period's boundary; they are cut
 * once more at the apex and end of an edge's loss: then the loss of each is one polynomial of degree two. */
#include "measure/loss_inner.h"
#include <dutywright/pieces.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Sums over a span; the last whole period's are kept beside those of the one that runs. */
struct sums {
    double time, conduction, cold, turn_on, turn_off, diode, turns, square, load_square, junction;
};

struct dw_heat {
    struct dw_switch transistor;
    bool has_transistor;             /* else all zero: it loses nothing */
    struct dw_thermal *thermal;
    struct dw_heat_source source;
    double accuracy;
    dw_heat_sink *sink;
    void *context;

    struct dw_pieces *pieces;
    double *before, *out;            /* last input row; output row in the making */
    bool started, on, jumped;        /* jumped: the loss is another than that of the last row written */
    bool rehearsal;                  /* nothing is written or counted */
    double carried;                  /* A, transistor's current at the end of the last piece */
    double edge_start, edge_energy;  /* s, J; the triangle of the edge that runs; energy 0: none */
    double hot;                      /* degC at which the on-resistance is taken: the last period's mean */
    double largest_loss;             /* W so far, the natural scale */
    bool whole;                      /* the period that runs was seen from its start */

    struct sums now, last;
    double periods;                  /* whole ones seen */
    /* They follow the period that runs from the start that the last one would be steady at: one with the on-resistance at
     * 25 degC, the other what heat adds to it a kelvin, since a junction still cold has less ripple than the steady one. */
    struct dw_thermal *steady, *growth;
    double steady_hot, steady_highest;  /* degC; the mean that the last period would be steady at, and the most so far */
    bool followed;                   /* there was a last period */
    struct dw_heat_result result;
};

/* What flows at one instant, A. */
struct flow {
    double transistor, diode;
};

static struct flow flow_at(const struct dw_heat *heat, const double *row, bool on)
{
    const struct dw_heat_source *s = &heat->source;
    double load = row[s->current], diode = s->diode ? row[s->diode] : 0;
    if (!s->gate)
        return (struct flow){ load, diode };
    if (on)
        return (struct flow){ load, 0 };
    return (struct flow){ 0, s->diode ? diode : load };
}

/* Whether the transistor is on between two rows; without a gate: whether it carries anything. */
static bool conducts(const struct dw_heat *heat, const double *a, const double *b)
{
    const struct dw_heat_source *s = &heat->source;
    if (s->gate)
        return (a[s->gate] + b[s->gate]) / 2 > s->threshold;
    return a[s->current] != 0 || b[s->current] != 0;
}

static enum dw_status check_source(const struct dw_heat_source *source, struct dw_error *error)
{
    const struct {
        const char *member;
        size_t column;
    } used[] = { { "current", source->current }, { "diode", source->diode }, { "gate", source->gate } };
    if (!source->current)
        return dw_error_member(error, "current", "no column is the current");
    for (size_t i = 0; i < sizeof used / sizeof used[0]; i++)
        if (used[i].column >= source->columns)
            return dw_error_member(error, used[i].member, "column %zu of the %s: a row has %zu columns", used[i].column,
                                   used[i].member, source->columns);
    if (!(source->period >= 0) || !isfinite(source->period) || !isfinite(source->origin))
        return dw_error_member(error, "period", "a period of %g s from %g s on: expected zero or above, and finite",
                               source->period, source->origin);
    return isfinite(source->threshold) ? DW_OK
                                       : dw_error_member(error, "threshold", "threshold %g: must be finite", source->threshold);
}

/* The table's pieces from its first row on; period 0: none ends. */
static bool restart(struct dw_heat *heat, double period, struct dw_error *error)
{
    const struct dw_heat_source *s = &heat->source;
    const struct dw_level all[] = { { s->current, 0 }, { s->gate, s->threshold }, { s->diode, 0 } };
    struct dw_level levels[3];
    struct dw_pieces_plan plan = { .columns = s->columns, .levels = levels, .clocks = period > 0 };
    plan.clock[0] = (struct dw_clock){ .period = period, .origin = s->origin, .from = -INFINITY, .to = INFINITY, .keep = INFINITY };
    for (size_t i = 0; i < 3; i++)
        if (all[i].column)
            levels[plan.level_count++] = all[i];
    dw_pieces_free(heat->pieces);
    heat->pieces = dw_pieces_new(&plan, error);
    heat->started = false;
    return heat->pieces != NULL;
}

struct dw_heat *dw_heat_new(const struct dw_switch *transistor, struct dw_thermal *thermal,
                            const struct dw_heat_source *source, double accuracy, dw_heat_sink *sink, void *context,
                            struct dw_error *error)
{
    if ((transistor && dw_switch_check(transistor, error)) || check_source(source, error))
        return NULL;
    if (!(accuracy > 0 && accuracy < 1)) {
        dw_error_member(error, "accuracy", "accuracy %g: expected between 0 and 1", accuracy);
        return NULL;
    }
    struct dw_heat *heat = calloc(1, sizeof *heat);
    double *rows = calloc(2 * source->columns + 2, sizeof *rows);
    if (!heat || !rows) {
        free(heat);
        free(rows);
        dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for the heat of the switch");
        return NULL;
    }
    heat->before = rows;
    if (thermal && (!(heat->steady = dw_thermal_copy(thermal, error)) || !(heat->growth = dw_thermal_copy(thermal, error)))) {
        dw_heat_free(heat);
        return NULL;
    }
    heat->has_transistor = transistor != NULL;
    if (transistor)
        heat->transistor = *transistor;
    heat->thermal = thermal;
    heat->source = *source;
    heat->accuracy = accuracy;
    heat->sink = sink;
    heat->context = context;
    heat->out = rows + source->columns;
    if (!restart(heat, source->period, error)) {
        dw_heat_free(heat);
        return NULL;
    }
    heat->hot = thermal ? dw_thermal_ambient(thermal) : 25;
    heat->result.junction_highest = heat->hot;
    return heat;
}

void dw_heat_free(struct dw_heat *heat)
{
    if (!heat)
        return;
    dw_pieces_free(heat->pieces);
    dw_thermal_free(heat->steady);
    dw_thermal_free(heat->growth);
    free(heat->before);
    free(heat);
}

static double junction_now(const struct dw_heat *heat)
{
    return heat->thermal ? dw_thermal_now(heat->thermal) : heat->hot;
}

static enum dw_status emit(struct dw_heat *heat, const double *a, const double *b, double time, double loss,
                           struct dw_error *error)
{
    heat->jumped = false;
    if (!heat->sink || heat->rehearsal)
        return DW_OK;
    size_t columns = heat->source.columns;
    dw_row_between(columns, NULL, a, b, time, heat->out);
    heat->out[columns] = fmax(loss, 0);  /* the foot of an edge's triangle is rounded */
    heat->out[columns + 1] = junction_now(heat);
    return heat->sink(heat->context, heat->out, error);
}

/* Growth of the conduction loss per kelvin, of its value at 25 degC. */
static double slope_of(const struct dw_heat *heat)
{
    return heat->transistor.kind == DW_SWITCH_MOSFET ? heat->transistor.resistance_slope : 0;
}

/* Loss of the edge that runs: a triangle of its energy, as long as the edge; no apex between start and end. */
static struct dw_loss_piece edge_of(const struct dw_heat *heat, double start, double end)
{
    struct dw_loss_piece loss = { 0, 0, 0 };
    if (!(heat->edge_energy > 0))
        return loss;
    double half = heat->transistor.edge / 2, rate = heat->edge_energy / half / half;
    /* which side of the apex is asked of the middle: the ends are rounded */
    double into = start - heat->edge_start, middle = start + (end - start) / 2 - heat->edge_start;
    if (middle < 2 * half) {  /* unrun: rounding */
        loss.base = rate * (middle < half ? into : fmax(2 * half - into, 0));
        loss.slope = middle < half ? rate : -rate;
    }
    return loss;
}

/* s into a stretch where the junction's slope changes sign: halved to the last bit of the length. */
static double turning_point(const struct dw_thermal *thermal, const struct dw_loss_piece *loss, double length)
{
    double low = 0, high = length;
    bool rising = dw_thermal_slope(thermal, loss, 0) > 0;
    for (int k = 0; k < 60; k++) {
        double middle = low + (high - low) / 2;
        if ((dw_thermal_slope(thermal, loss, middle) > 0) == rising)
            low = middle;
        else
            high = middle;
    }
    return high;
}

/* s: how far straight lines for loss and junction hold, at most `length`; ends at a peak of the junction. */
static double straight_step(const struct dw_heat *heat, const struct dw_loss_piece *loss, double length)
{
    double step = length, allowed = heat->accuracy * heat->largest_loss;
    double warm = heat->thermal ? allowed * dw_thermal_resistance(heat->thermal) : 0;
    for (int k = 0; k < 60; k++) {  /* 60 halvings reach the spacing of doubles */  /* unrun: count */
        bool straight = fabs(loss->curve) * step * step / 4 <= allowed;
        if (straight && (!heat->thermal || dw_thermal_chord_error(heat->thermal, loss, step) <= warm))
            break;
        step /= 2;
    }
    if (!heat->thermal)
        return step;
    double s0 = dw_thermal_slope(heat->thermal, loss, 0), s1 = dw_thermal_slope(heat->thermal, loss, step);
    return (s0 > 0 && s1 < 0) || (s0 < 0 && s1 > 0) ? turning_point(heat->thermal, loss, step) : step;
}

/* Junction of the steady period at the present instant. */
static double steady_now(const struct dw_heat *heat)
{
    return dw_thermal_now(heat->steady) + (heat->steady_hot - 25) * (dw_thermal_now(heat->growth) - dw_thermal_ambient(heat->growth));
}

static void follow_steady(struct dw_heat *heat, const struct dw_loss_piece *conduction, const struct dw_loss_piece *edge, double step)
{
    const struct dw_loss_piece none = { 0, 0, 0 }, cold = dwi_loss_sum(edge, 1, conduction);
    dw_thermal_advance(heat->steady, &cold, step);
    if (slope_of(heat) > 0) {
        const struct dw_loss_piece grows = dwi_loss_sum(&none, slope_of(heat), conduction);
        dw_thermal_advance(heat->growth, &grows, step);
    }
    if (heat->followed)
        heat->steady_highest = fmax(heat->steady_highest, steady_now(heat));
}

/* A piece with one polynomial of conduction loss at 25 degC and of an edge's, from start to end, between input rows a and b. */
static enum dw_status polynomial(struct dw_heat *heat, const double *a, const double *b, double start, double end,
                                 struct dw_loss_piece conduction, struct dw_loss_piece edge, struct dw_error *error)
{
    const double hotter = 1 + slope_of(heat) * (heat->hot - 25);
    struct dw_loss_piece loss = dwi_loss_sum(&edge, hotter, &conduction);
    heat->largest_loss = fmax(heat->largest_loss, fmax(dwi_loss_at(&loss, 0), dwi_loss_at(&loss, end - start)));
    enum dw_status status = heat->jumped ? emit(heat, a, b, start, loss.base, error) : DW_OK;
    while (!status && start < end) {
        double step = straight_step(heat, &loss, end - start), next = start + step;
        if (!(next > start) || next >= end) {
            next = end;
            step = end - start;
        }
        if (heat->thermal) {
            double first = junction_now(heat);
            dw_thermal_advance(heat->thermal, &loss, step);
            heat->now.junction += step * (first + junction_now(heat)) / 2;
            if (!heat->rehearsal)
                heat->result.junction_highest = fmax(heat->result.junction_highest, junction_now(heat));
            if (heat->source.period > 0)
                follow_steady(heat, &conduction, &edge, step);
        }
        conduction = dwi_loss_later(&conduction, step);
        edge = dwi_loss_later(&edge, step);
        loss = dwi_loss_sum(&edge, hotter, &conduction);
        start = next;
        status = emit(heat, a, b, start, loss.base, error);
    }
    return status;
}

/* The transistor turns on, or off, at a time with so much current beside the edge. */
static enum dw_status edge(struct dw_heat *heat, double time, bool on, double current, struct dw_error *error)
{
    heat->on = on;
    heat->jumped = true;
    heat->now.turns += on;
    if (!heat->has_transistor || !(heat->transistor.edge > 0))
        return DW_OK;
    if (heat->edge_energy > 0)
        return dw_error_set(error, DW_BAD_INPUT, 0,
                            "the switch's edge at %.9g s begins before the one at %.9g s has ended: an edge takes %g s",
                            time, heat->edge_start, heat->transistor.edge);
    heat->edge_start = time;
    heat->edge_energy = on ? dw_switch_turn_on(&heat->transistor, current)
                           : dw_switch_turn_off(&heat->transistor, current);
    *(on ? &heat->now.turn_on : &heat->now.turn_off) += heat->edge_energy;
    return DW_OK;
}

/* A piece with one state and one sign of each current, within one period; cut at the edge's apex and end. */
static enum dw_status piece(struct dw_heat *heat, const double *a, const double *b, const double *from,
                            const double *to, struct dw_error *error)
{
    bool on = conducts(heat, from, to);
    struct flow f0 = flow_at(heat, from, on), f1 = flow_at(heat, to, on);
    double start = from[0], end = to[0], length = end - start;
    if (on != heat->on) {
        enum dw_status status = edge(heat, start, on, on ? f0.transistor : heat->carried, error);
        if (status)  /* unrun: passed-on */
            return status;
    }
    struct sums *now = &heat->now;
    double i0 = f0.transistor, i1 = f1.transistor, l0 = i0 + f0.diode, l1 = i1 + f1.diode;
    double square = length * (i0 * i0 + i0 * i1 + i1 * i1) / 3;
    now->time += length;
    now->square += square;
    now->load_square += length * (l0 * l0 + l0 * l1 + l1 * l1) / 3;
    now->diode += heat->transistor.diode_drop * length * fabs(f0.diode + f1.diode) / 2;
    if (!heat->rehearsal) {
        heat->result.current_peak = fmax(heat->result.current_peak, fmax(fabs(i0), fabs(i1)));
        heat->result.load_peak = fmax(heat->result.load_peak, fmax(fabs(l0), fabs(l1)));
    }
    if (heat->has_transistor) {
        double amount = heat->transistor.kind == DW_SWITCH_MOSFET ? square : length * fabs(i0 + i1) / 2;
        now->cold += amount * dw_switch_conduction(&heat->transistor, 1, 25);
        now->conduction += amount * dw_switch_conduction(&heat->transistor, 1, heat->hot);
    }
    double slope = (i1 - i0) / length, at = start;
    while (at < end) {
        double stop = end;
        if (heat->edge_energy > 0) {
            double apex = heat->edge_start + heat->transistor.edge / 2, last = heat->edge_start + heat->transistor.edge;
            if (last <= at)
                heat->edge_energy = 0;
            stop = fmin(end, at < apex ? apex : at < last ? last : end);
        }
        double i = stop >= end && at <= start ? i0 : i0 + slope * (at - start);
        enum dw_status status = polynomial(heat, a, b, at, stop, dwi_loss_conduction(&heat->transistor, i, slope),
                                           edge_of(heat, at, stop), error);
        if (status)
            return status;
        at = stop;
    }
    if (heat->edge_energy > 0 && heat->edge_start + heat->transistor.edge <= end)  /* unrun: rounding */
        heat->edge_energy = 0;
    heat->carried = i1;
    return DW_OK;
}

/* What the period that ended would come to, repeated for ever; and the next is followed from there. */
static void steady_from(struct dw_heat *heat)
{
    struct dw_heat_result *r = &heat->result;
    const double time = heat->now.time, cold = heat->now.cold / time, other = (heat->now.turn_on + heat->now.turn_off) / time;
    const double slope = slope_of(heat), inner = dw_thermal_resistance(heat->thermal), ambient = dw_thermal_ambient(heat->thermal);
    double mean = NAN;
    const bool runaway = dw_switch_steady_junction(cold, other, slope, inner, ambient, &mean, NULL) != DW_OK;
    if (heat->followed) {
        /* the last period may not have been the same as the one before it, from whose steady start it was followed */
        const double followed = ambient + inner * (other + cold * (1 + slope * (heat->steady_hot - 25)));
        r->steady = true;
        r->runaway = runaway;
        r->steady_mean = mean;
        r->steady_highest = heat->steady_highest + (mean - followed);
    }
    heat->followed = true;
    heat->steady_hot = runaway ? heat->hot : mean;
    dw_thermal_set_steady(heat->steady, heat->steady, heat->source.period);
    dw_thermal_set_steady(heat->growth, heat->growth, heat->source.period);
    heat->steady_highest = steady_now(heat);
}

/* A period has ended: its sums become the last ones, its thermal answer gives the steady state. */
static void period_ends(struct dw_heat *heat)
{
    struct dw_heat_result *r = &heat->result;
    if (heat->whole) {
        heat->last = heat->now;
        heat->periods++;
        r->current_rms = fmax(r->current_rms, sqrt(heat->last.square / heat->last.time));
        r->load_rms = fmax(r->load_rms, sqrt(heat->last.load_square / heat->last.time));
        if (heat->thermal) {
            steady_from(heat);
            heat->jumped = heat->jumped || slope_of(heat) > 0;  /* unrun: implied */
            heat->hot = heat->now.junction / heat->now.time;
        }
    }
    if (heat->thermal) {
        dw_thermal_begin_period(heat->thermal);
        dw_thermal_begin_period(heat->steady);
        dw_thermal_begin_period(heat->growth);
    }
    heat->whole = true;
    heat->now = (struct sums){ 0 };
}

/* An instant: the first row, or a jump. */
static enum dw_status instant(struct dw_heat *heat, const double *row, struct dw_error *error)
{
    bool on = conducts(heat, row, row);
    struct flow flow = flow_at(heat, row, on);
    enum dw_status status = DW_OK;
    if (on != heat->on)
        status = edge(heat, row[0], on, on ? flow.transistor : heat->carried, error);
    heat->carried = flow.transistor;
    const double conduction = dw_switch_conduction(&heat->transistor, flow.transistor, heat->hot);
    return status ? status : emit(heat, row, row, row[0], conduction + edge_of(heat, row[0], row[0]).base, error);
}

static enum dw_status add_block(struct dw_heat *heat, const double *row, const struct dw_block *block, struct dw_error *error)
{
    const size_t columns = heat->source.columns;
    heat->whole = heat->whole || block->begins;
    for (size_t i = 1; i < block->count; i++) {
        const double *from = block->rows + (i - 1) * columns;
        const enum dw_status status = piece(heat, heat->before, row, from, from + columns, error);
        if (status)
            return status;
    }
    if (block->ends)
        period_ends(heat);
    return DW_OK;
}

enum dw_status dw_heat_row(struct dw_heat *heat, const double *row, struct dw_error *error)
{
    const bool here = !heat->started || row[0] == heat->before[0];
    enum dw_status status = DW_OK;
    heat->started = true;
    dw_pieces_put(heat->pieces, row, 1);
    for (const struct dw_block *block; !status;)
        if (!(status = dw_pieces_next(heat->pieces, &block, error)) && !here)
            status = add_block(heat, row, block, error);
    memcpy(heat->before, row, heat->source.columns * sizeof *row);
    return status != DW_END ? status : here ? instant(heat, row, error) : DW_OK;
}

enum dw_status dw_heat_start_steady(struct dw_heat *heat, const double *rows, size_t count, struct dw_error *error)
{
    /* The first rehearsal brings the switch to the state in which a period ends, the second gathers the whole answer;
     * where the on-resistance grows with heat, its temperature settles in a few more (a contraction unless it runs away). */
    enum dw_status status = DW_OK;
    double changed = INFINITY;
    if (count < 2 || !(rows[(count - 1) * heat->source.columns] > rows[0]))
        return dw_error_set(error, DW_BAD_INPUT, 0, "a period needs two rows at least, and time must pass");
    heat->rehearsal = true;
    /* unrun: count */
    for (int round = 0; !status && round < 200 && (round < 3 || changed > 1e-12 * fabs(heat->hot)); round++) {
        double was = heat->hot, lap = rows[(count - 1) * heat->source.columns] - rows[0];
        heat->now = (struct sums){ 0 };
        heat->edge_start -= round ? lap : 0;
        if (heat->thermal)
            dw_thermal_begin_period(heat->thermal);
        if (!restart(heat, 0, error))  /* the round's end is found here */
            return DW_NO_MEMORY;
        const double period = heat->source.period;
        heat->source.period = 0;
        for (size_t i = 0; !status && i < count; i++)  /* unrun: passed-on */
            status = dw_heat_row(heat, rows + i * heat->source.columns, error);
        heat->source.period = period;
        if (heat->thermal && !status) {  /* unrun: passed-on */
            dw_thermal_set_steady(heat->thermal, heat->thermal, lap);
            if (round)
                heat->hot = heat->now.junction / heat->now.time;
        }
        changed = fabs(heat->hot - was);
        if (!(heat->hot < 1e4))
            status = dw_error_set(error, DW_NO, 0, "thermal runaway: no steady temperature with these losses");
    }
    heat->edge_start -= rows[(count - 1) * heat->source.columns] - rows[0];
    heat->now = (struct sums){ 0 };
    heat->rehearsal = heat->whole = false;
    return status || restart(heat, heat->source.period, error) ? status : DW_NO_MEMORY;
}

struct dw_heat_result dw_heat_end(struct dw_heat *heat)
{
    struct dw_heat_result r = heat->result;
    const struct sums *sums = heat->periods > 0 ? &heat->last : &heat->now;
    r.span = sums->time;
    if (sums->time > 0) {
        r.conduction = sums->conduction / sums->time;
        r.conduction_cold = sums->cold / sums->time;
        r.turn_on = sums->turn_on / sums->time;
        r.turn_off = sums->turn_off / sums->time;
        r.diode = sums->diode / sums->time;
        r.junction_mean = heat->thermal ? sums->junction / sums->time : NAN;
        if (!(heat->periods > 0)) {
            r.current_rms = sqrt(sums->square / sums->time);
            r.load_rms = sqrt(sums->load_square / sums->time);
        }
    }
    r.turns = sums->turns;
    r.junction_last = junction_now(heat);
    return r;
}
