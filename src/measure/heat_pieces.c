/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What lies between two rows, cut where the loss becomes another polynomial: where currents change their signs, the transistor its
 * state, an edge's triangle its side. */
#include "measure/losses_inner.h"
#include <math.h>
#include <string.h>

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

/* A column between two rows. */
static struct dw_cubic cubic_of(const struct dw_heat *heat, size_t column, const double *from, const double *to)
{
    const double rise = to[column] - from[column], length = to[0] - from[0];
    const size_t slope = heat->slope[column];
    return dw_cubic_through(from[column], slope ? from[slope] * length : rise, to[column], slope ? to[slope] * length : rise);
}

/* Whether the transistor is on between two rows; without a gate: whether it carries anything. */
static bool conducts(const struct dw_heat *heat, const double *from, const double *to)
{
    const struct dw_heat_source *s = &heat->source;
    const struct dw_cubic cubic = cubic_of(heat, s->gate ? s->gate : s->current, from, to);
    const double middle = dw_cubic_at(&cubic, 0.5);
    return s->gate ? middle > s->threshold : middle != 0;
}

/* W s: loss of the edge that runs, a triangle of its energy, as long as the edge; no apex between start and end. */
static struct dw_loss_piece edge_of(const struct dw_heat *heat, double start, double end)
{
    struct dw_loss_piece loss = { .length = end - start };
    if (!(heat->edge_energy > 0))
        return loss;
    const double half = heat->transistor.edge / 2, rate = heat->edge_energy / half / half;
    /* which side of the apex is asked of the middle: the ends are rounded */
    const double into = start - heat->edge_start, middle = start + (end - start) / 2 - heat->edge_start;
    if (middle < 2 * half) {  /* unrun: rounding */
        loss.power[0] = rate * (middle < half ? into : larger(2 * half - into, 0));
        loss.power[1] = (middle < half ? rate : -rate) * loss.length;
    }
    return loss;
}

/* The transistor turns on, or off, at a time with so much current beside the edge. */
static enum dw_status edge(struct dw_heat *heat, double time, bool on, double current, struct dw_error *error)
{
    heat->on = on;
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

/* Largest magnitude of a current that begins and ends so. */
static double peak_of(const struct dw_cubic *cubic, double first, double last)
{
    double turn[2], peak = larger(fabs(first), fabs(last));
    for (unsigned i = dw_cubic_turns(cubic, turn); i-- > 0;)
        peak = larger(peak, fabs(dw_cubic_at(cubic, turn[i])));
    return peak;
}

static double mean_of(const struct dw_cubic *cubic)
{
    const double *c = cubic->c;
    return c[0] + c[1] / 2 + c[2] / 3 + c[3] / 4;
}

/* What flows between two rows counts; gives the transistor's current. */
static struct dw_cubic count_currents(struct dw_heat *heat, const double *from, const double *to)
{
    const struct dw_heat_source *s = &heat->source;
    const double length = to[0] - from[0];
    const struct dw_cubic load = cubic_of(heat, s->current, from, to), none = { { 0 } };
    const struct dw_cubic current = s->gate && !heat->on ? none : load;
    struct dw_cubic beside = s->gate && !heat->on ? load : none, all;
    if (s->diode && !(s->gate && heat->on))
        beside = cubic_of(heat, s->diode, from, to);
    for (size_t k = 0; k < 4; k++)
        all.c[k] = current.c[k] + beside.c[k];
    heat->now.time += length;
    heat->now.square += length * dw_cubic_mean_square(&current);
    heat->now.load_square += length * dw_cubic_mean_square(&all);
    heat->now.diode += heat->transistor.diode_drop * length * fabs(mean_of(&beside));
    if (!heat->rehearsal) {
        const struct flow first = flow_at(heat, from, heat->on), last = flow_at(heat, to, heat->on);
        const double peak = peak_of(&current, first.transistor, last.transistor);
        const double load_peak = peak_of(&all, first.transistor + first.diode, last.transistor + last.diode);
        heat->result.current_peak = larger(heat->result.current_peak, peak);
        heat->result.load_peak = larger(heat->result.load_peak, load_peak);
    }
    return current;
}

/* ---- where a piece is cut ---- */

/* Share at which a cubic passes a level, between two at which it is on different sides. */
static double crossing(const struct dw_cubic *cubic, double level, double low, double high)
{
    const bool above = dw_cubic_at(cubic, low) > level;
    for (int k = 0; k < 60; k++) {
        const double middle = low + (high - low) / 2;
        *((dw_cubic_at(cubic, middle) > level) == above ? &low : &high) = middle;
    }
    return high;
}

/* Share at which a cubic first passes a level: between rows that do not hold its extrema it may do so and come back. 1: nowhere. */
static double first_crossing(const struct dw_cubic *cubic, double level)
{
    double place[4] = { 0 }, turn[2];
    const unsigned turns = dw_cubic_turns(cubic, turn);
    memcpy(place + 1, turn, turns * sizeof *turn);
    place[turns + 1] = 1;
    for (unsigned i = 0; turns > 0 && i <= turns; i++) {
        const double a = dw_cubic_at(cubic, place[i]) - level, b = dw_cubic_at(cubic, place[i + 1]) - level;
        if ((a < 0 && b > 0) || (a > 0 && b < 0))
            return crossing(cubic, level, place[i], place[i + 1]);
    }
    return 1;
}

/* The first instant behind `from` at which a curve passes a level, and the row there; NULL: none before `to`. */
static const double *cut(struct dw_heat *heat, const double *from, const double *to)
{
    double *row = heat->cut[from == heat->cut[0]], time = to[0];
    const struct dw_level *passed = NULL;
    for (size_t i = 0; i < heat->level_count; i++) {
        const struct dw_level *level = heat->levels + i;
        if (!heat->slope[level->column])
            continue;
        const struct dw_cubic cubic = cubic_of(heat, level->column, from, to);
        const double at = from[0] + first_crossing(&cubic, level->level) * (to[0] - from[0]);
        if (at > from[0] && at < time) {  /* unrun: rounding */
            time = at;
            passed = level;
        }
    }
    if (!passed)
        return NULL;
    dw_row_between(heat->source.columns, heat->slope, from, to, time, row);
    row[passed->column] = passed->level;
    return row;
}

/* Where the triangle of the edge that runs has its next corner, or `end`. */
static double edge_corner(struct dw_heat *heat, double start, double end)
{
    const double apex = heat->edge_start + heat->transistor.edge / 2, last = heat->edge_start + heat->transistor.edge;
    if (heat->edge_energy > 0 && last <= start)
        heat->edge_energy = 0;
    return heat->edge_energy > 0 ? lesser(end, start < apex ? apex : last) : end;
}

/* The loss between two rows, in as many stretches as the edge's triangle has sides there. */
static enum dw_status lose(struct dw_heat *heat, const double *b, double start, double end, struct dw_loss_piece conduction,
                           struct dw_error *error)
{
    enum dw_status status = DW_OK;
    while (status == DW_OK && start < end) {
        const double stop = edge_corner(heat, start, end), share = (stop - start) / (end - start);
        const struct dw_loss_piece losses[2] = { stop < end ? dwi_loss_first(&conduction, share) : conduction, edge_of(heat, start, stop) };
        status = dwi_heat_stretch(heat, b, (const double[]){ start, stop }, losses, error);
        if (stop < end)
            conduction = dwi_loss_rest(&conduction, share);
        start = stop;
    }
    edge_corner(heat, end, end);
    return status;
}

/* The time between two rows in which the transistor does not change its state, nor the currents their signs. */
static enum dw_status part(struct dw_heat *heat, const double *b, const double *from, const double *to, struct dw_error *error)
{
    const bool on = conducts(heat, from, to);
    if (on != heat->on) {
        const enum dw_status status = edge(heat, from[0], on, on ? flow_at(heat, from, on).transistor : heat->carried, error);
        if (status)  /* unrun: passed-on */
            return status;
    }
    const struct dw_cubic current = count_currents(heat, from, to);
    struct dw_loss_piece conduction = { .length = to[0] - from[0] };
    if (heat->has_transistor) {
        conduction = dwi_loss_conduction(&heat->transistor, &current, to[0] - from[0]);
        const double energy = dwi_loss_energy(&conduction);
        heat->now.cold += energy;
        heat->now.conduction += energy * (1 + heat_growth(heat) * (heat->hot - 25));
    }
    heat->carried = flow_at(heat, to, on).transistor;
    return lose(heat, b, from[0], to[0], conduction, error);
}

enum dw_status dwi_heat_piece(struct dw_heat *heat, const double *b, const double *from, const double *to, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    for (const double *next; status == DW_OK && (next = cut(heat, from, to)); from = next)  /* unrun: passed-on */
        status = part(heat, b, from, next, error);
    return status ? status : part(heat, b, from, to, error);  /* unrun: passed-on */
}

enum dw_status dwi_heat_instant(struct dw_heat *heat, const double *row, struct dw_error *error)
{
    const struct dw_heat_source *s = &heat->source;
    const bool on = s->gate ? row[s->gate] > s->threshold : row[s->current] != 0;
    const struct flow flow = flow_at(heat, row, on);
    const enum dw_status status = on != heat->on ? edge(heat, row[0], on, on ? flow.transistor : heat->carried, error) : DW_OK;
    heat->carried = flow.transistor;
    heat->waiting = true;
    heat->waiting_loss = dw_switch_conduction(&heat->transistor, flow.transistor, heat->hot) + edge_of(heat, row[0], row[0]).power[0];
    return status;
}
