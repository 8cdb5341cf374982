/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rows of loss and junction, between which both are cubics. docs/theory.md, section 9; the rules are those of (2.23). */
#include "measure/losses_inner.h"
#include <dutywright/follow.h>
#include <float.h>
#include <math.h>
#include <string.h>

#define ROUNDING 0x1p-50  /* of a value: a change of less is none */
#define CORNER 0x1p-6     /* of it: what differs by less from the last row needs no other */

/* A stretch on its way to the sink. */
struct heating {
    struct dw_heat *heat;
    struct dw_loss_piece loss, cold, grows;      /* what is left of it: all, at 25 degC, and what a kelvin adds */
    double end;                                  /* s */
    double low[HEATED], high[HEATED];            /* so far */
    double tolerance[HEATED];
};

/* ---- what is there ---- */

/* Without a thermal network the loss alone. */
static unsigned curves_of(const struct dw_heat *heat)
{
    return heat->thermal ? HEATED : LOSS + 1;
}

static void look(const struct dw_heat *heat, const struct dw_loss_piece *loss, double share, struct heated *to)
{
    to->value[LOSS] = dwi_loss_at(loss, share, &to->slope[LOSS]);
    to->value[JUNCTION] = heat->hot;
    to->slope[JUNCTION] = 0;
    if (heat->thermal)
        to->value[JUNCTION] = dw_thermal_junction(heat->thermal, loss, share, &to->slope[JUNCTION]);
}

/* Of the steady period, from the networks' state and what they make of the losses. */
static double steady_junction(const struct dw_heat *heat, double cold, double grown)
{
    return cold + (heat->steady_hot - 25) * (grown - dw_thermal_ambient(heat->growth));
}

double dwi_heat_steady_now(const struct dw_heat *heat)
{
    return steady_junction(heat, dw_thermal_now(heat->steady), dw_thermal_now(heat->growth));
}

static double look_steady(const struct heating *s, double share, double *slope)
{
    const struct dw_heat *heat = s->heat;
    double growing = 0, grown = dw_thermal_ambient(heat->growth);
    const double cold = dw_thermal_junction(heat->steady, &s->cold, share, slope);
    if (heat_growth(heat) > 0)
        grown = dw_thermal_junction(heat->growth, &s->grows, share, &growing);
    *slope += (heat->steady_hot - 25) * growing;
    return steady_junction(heat, cold, grown);
}

/* ---- where curves turn ---- */

static double slope_at(const struct heating *s, unsigned which, double share)
{
    double slope;
    if (which == LOSS)
        dwi_loss_at(&s->loss, share, &slope);
    else if (which == JUNCTION)
        dw_thermal_junction(s->heat->thermal, &s->loss, share, &slope);
    else
        look_steady(s, share, &slope);
    return slope;
}

/* Share at which a slope that is `first` at 0 and of the other sign, `last`, at `end`, passes zero: by false position, where an end
 * that stays counts half (Illinois: Dowell and Jarratt 1971, BIT 11:168). */
static double turning_point(const struct heating *s, unsigned which, double first, double last, double end)
{
    double low = 0, high = end;
    int stays = 0;
    for (int k = 0; k < 60 && high - low > DBL_EPSILON * high; k++) {  /* unrun: count */
        double at = low + (high - low) * (first / (first - last));
        at = at > low && at < high ? at : low + (high - low) / 2;
        const double here = slope_at(s, which, at);
        if (here == 0)
            return at;
        const bool rest = (here > 0) == (first > 0);
        *(rest ? &low : &high) = at;
        *(rest ? &first : &last) = here;
        if (stays == (rest ? 1 : -1))
            *(rest ? &last : &first) /= 2;
        stays = rest ? 1 : -1;
    }
    return high;
}

/* Whether a curve changes its direction in between by more than rounding. */
static bool turns(const struct heating *s, unsigned which, const struct heated *from, const struct heated *to)
{
    const double first = from->slope[which], last = to->slope[which], least = ROUNDING * s->heat->largest[which];
    return (first > 0) != (last > 0) && lesser(fabs(first), fabs(last)) * s->loss.length > least;
}

/* Share up to which both are monotone.
 *   turned   out, those that turn there */
static double find_turn(const struct heating *s, const struct heated *from, bool turned[HEATED])
{
    double share = 1, turn[HEATED] = { 0 };
    struct heated end;
    look(s->heat, &s->loss, 1, &end);
    for (unsigned which = 0; which < curves_of(s->heat); which++) {
        const bool any = turns(s, which, from, &end);
        turn[which] = any ? turning_point(s, which, from->slope[which], end.slope[which], 1) : INFINITY;
        share = lesser(share, turn[which]);
    }
    for (unsigned which = 0; which < curves_of(s->heat); which++)
        turned[which] = turn[which] == share;
    return share;
}

/* ---- how far cubics may be off ---- */

static void keep_changes(const struct heating *s, double begin)
{
    for (unsigned which = 0; which < curves_of(s->heat); which++)
        dw_changes_keep(s->heat->changes + which, begin, s->high[which] - s->low[which]);
}

static void widen(struct heating *s, const struct heated *at)
{
    struct dw_heat *heat = s->heat;
    for (unsigned which = 0; which < curves_of(heat); which++) {
        s->low[which] = lesser(s->low[which], at->value[which]);
        s->high[which] = larger(s->high[which], at->value[which]);
        heat->largest[which] = larger(heat->largest[which], fabs(at->value[which]));
        const double change = dw_changes_largest(heat->changes + which, s->high[which] - s->low[which], at->time, heat->source.period);
        s->tolerance[which] = larger(ROUNDING * heat->largest[which], heat->rows.accuracy * lesser(heat->scale[which], DW_SWING * change));
    }
}

static double longest_of_both(const struct heating *s, double share)
{
    const double loss = dw_cubic_reach(s->tolerance[LOSS], dwi_loss_bend(&s->loss, share));
    return s->heat->thermal ? lesser(loss, dw_cubic_reach(s->tolerance[JUNCTION], dw_thermal_bend(s->heat->thermal, &s->loss, share))) : loss;
}

/* Share up to which cubics are within the tolerance. */
static double reach(const struct heating *s, double share)
{
    double end = longest_of_both(s, share);
    if (end >= share)
        return share;
    /* the bound up to a place inside is smaller, and that up to where this would allow to go holds for all before */
    end = lesser(longest_of_both(s, end), share);
    return lesser(longest_of_both(s, end), end);
}

/* ---- monotone pieces ---- */

static bool fit(const struct heating *s, struct heated *from, struct heated *to)
{
    const double length = to->time - from->time;
    bool fits = true;
    for (unsigned which = 0; which < curves_of(s->heat); which++) {
        const double rise = to->value[which] - from->value[which];
        const bool begins = dw_cubic_restrain(&from->slope[which], rise, length, s->tolerance[which], 0);
        /* unrun: both-curves */
        fits = dw_cubic_restrain(&to->slope[which], rise, length, s->tolerance[which], 0) && begins && fits;
    }
    return fits;
}

/* ---- rows ---- */

static enum dw_status give(struct dw_heat *heat, const double *b, const struct heated *at, struct dw_error *error)
{
    const size_t columns = heat->source.columns;
    heat->waiting = false;
    heat->last = *at;
    if (!heat->rows.sink || heat->rehearsal)
        return DW_OK;
    dw_row_between(columns, heat->slope, heat->before, b, at->time, heat->out);
    heat->out[columns] = larger(at->value[LOSS], 0);  /* the foot of an edge's triangle is rounded */
    heat->out[columns + 1] = at->slope[LOSS];
    heat->out[columns + 2] = at->value[JUNCTION];
    heat->out[columns + 3] = at->slope[JUNCTION];
    return heat->rows.sink(heat->rows.context, heat->out, error);
}

enum dw_status dwi_heat_give_waiting(struct dw_heat *heat, struct dw_error *error)
{
    const struct heated at = { heat->before[0], { heat->waiting_loss, heat->thermal ? dw_thermal_now(heat->thermal) : heat->hot }, { 0 } };
    return heat->waiting ? give(heat, heat->before, &at, error) : DW_OK;
}

/* The piece that begins here is other than what the last row says. */
static bool corner(const struct heating *s, const struct heated *from, double length)
{
    const struct heated *last = &s->heat->last;
    for (unsigned which = 0; which < curves_of(s->heat); which++) {
        const double jump = fabs(from->value[which] - last->value[which]), bent = fabs(from->slope[which] - last->slope[which]) * length;
        if (larger(jump, bent) > CORNER * s->tolerance[which])
            return true;
    }
    return s->heat->waiting;
}

static double least_step(const struct heating *s)
{
    return 4 * dw_time_slack(s->end);
}

/* What is at a share of what is left, or rather at an instant close to it that a row can say. */
static double look_at(const struct heating *s, double start, double share, struct heated *to)
{
    const double least = least_step(s);
    to->time = larger(start + share * s->loss.length, start + least);
    if (share == 1 || to->time >= s->end - least) {
        share = 1;
        to->time = s->end;
    } else {
        share = (to->time - start) / s->loss.length;
    }
    look(s->heat, &s->loss, share, to);
    return share;
}

/* Where a curve turns it has no slope. */
static void level(const bool turned[HEATED], struct heated *at)
{
    for (unsigned which = 0; which < HEATED; which++)
        at->slope[which] = turned[which] ? 0 : at->slope[which];
}

/* The next row behind `from`, and the share at which it stands. */
static double next_row(struct heating *s, struct heated *from, struct heated *to)
{
    bool turned[HEATED] = { false };
    double share = find_turn(s, from, turned);
    while (share < 1 && share * s->loss.length < least_step(s)) {  /* a turn that cannot be told from here is here */
        level(turned, from);
        share = find_turn(s, from, turned);
    }
    const struct heated begun = *from;
    share = look_at(s, from->time, share, to);
    level(turned, to);
    widen(s, to);
    if (s->heat->rehearsal)  /* neither rows nor extrema are asked for */
        return share;
    const double within = reach(s, share);
    bool fits = fit(s, from, to) && within >= share;
    for (double next = within < share ? within : share / 2; !fits && to->time - from->time > 2 * least_step(s); next = share / 2) {
        *from = begun;
        share = look_at(s, from->time, next, to);
        fits = fit(s, from, to);
    }
    return share;
}

/* ---- the networks ---- */

/* The steady course is followed beside, and its highest point found. */
static void follow_steady(const struct heating *s, double share)
{
    struct dw_heat *heat = s->heat;
    struct heated first = { 0 }, last = { 0 };
    if (heat->followed) {
        first.value[JUNCTION] = look_steady(s, 0, &first.slope[JUNCTION]);
        last.value[JUNCTION] = look_steady(s, share, &last.slope[JUNCTION]);
        if (first.slope[JUNCTION] > 0 && turns(s, JUNCTION, &first, &last)) {
            double none;
            const double top = turning_point(s, HEATED, first.slope[JUNCTION], last.slope[JUNCTION], share);
            last.value[JUNCTION] = look_steady(s, top, &none);
        }
        heat->steady_highest = larger(heat->steady_highest, larger(first.value[JUNCTION], last.value[JUNCTION]));
    }
    dw_thermal_advance(heat->steady, &s->cold, share);
    if (heat_growth(heat) > 0)
        dw_thermal_advance(heat->growth, &s->grows, share);
}

static void cut_off(struct dw_loss_piece *loss, double share, double left)
{
    *loss = dwi_loss_rest(loss, share);
    loss->length = left;
}

static void advance(struct heating *s, double share, const struct heated *to)
{
    struct dw_heat *heat = s->heat;
    if (heat->thermal) {
        heat->now.junction += dw_thermal_advance(heat->thermal, &s->loss, share);
        if (!heat->rehearsal)
            heat->result.junction_highest = larger(heat->result.junction_highest, to->value[JUNCTION]);
        if (heat->source.period > 0)
            follow_steady(s, share);
    }
    if (share == 1)
        return;
    cut_off(&s->loss, share, s->end - to->time);
    cut_off(&s->cold, share, s->end - to->time);
    cut_off(&s->grows, share, s->end - to->time);
}

enum dw_status dwi_heat_stretch(struct dw_heat *heat, const double *b, const double span[2], const struct dw_loss_piece losses[2],
                                struct dw_error *error)
{
    const struct dw_loss_piece *conduction = losses, *edge = losses + 1;
    const double growth = heat_growth(heat);
    struct heating s = { .heat = heat, .end = span[1], .low = { INFINITY, INFINITY }, .high = { -INFINITY, -INFINITY },
                         .loss = dwi_loss_sum(edge, 1 + growth * (heat->hot - 25), conduction) };
    if (heat->thermal && heat->source.period > 0) {
        s.cold = dwi_loss_sum(edge, 1, conduction);
        s.grows = dwi_loss_sum(&(struct dw_loss_piece){ .length = edge->length }, growth, conduction);
    }
    struct heated from = { .time = span[0] }, to = { 0 };
    enum dw_status status = DW_OK;
    look(heat, &s.loss, 0, &from);
    widen(&s, &from);
    if (heat->thermal && !heat->rehearsal)  /* a pair without capacity jumps */
        heat->result.junction_highest = larger(heat->result.junction_highest, from.value[JUNCTION]);
    for (double share = 0; status == DW_OK && share < 1; from = to) {
        share = next_row(&s, &from, &to);
        if (corner(&s, &from, to.time - from.time))
            status = give(heat, b, &from, error);
        advance(&s, share, &to);
        if (status == DW_OK)
            status = give(heat, b, &to, error);
    }
    keep_changes(&s, span[0]);
    return status;
}
