/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A record of currents turned into loss and junction temperature. docs/theory.md, section 9.
 * The table's pieces end where the gate crosses its threshold, a current its zero, and at each period's boundary; they are cut
 * once more at the apex and end of an edge's loss: then the loss of each is one polynomial. */
#include "measure/losses_inner.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Accuracy where no rows are asked for: turns are looked for between cubics that are so close. */
static const double UNSEEN = 2e-8;

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
    struct dw_pieces_plan plan = { .columns = s->columns, .slope = heat->slope, .levels = heat->levels,
                                   .level_count = heat->level_count, .clocks = period > 0 };
    plan.clock[0] = (struct dw_clock){ .period = period, .origin = s->origin, .from = -INFINITY, .to = INFINITY, .keep = INFINITY };
    dw_pieces_free(heat->pieces);
    heat->pieces = dw_pieces_new(&plan, error);
    heat->started = heat->waiting = false;
    return heat->pieces != NULL;
}

static void set_levels(struct dw_heat *heat)
{
    const struct dw_heat_source *s = &heat->source;
    const struct dw_level all[] = { { s->current, 0 }, { s->gate, s->threshold }, { s->diode, 0 } };
    for (size_t i = 0; i < 3; i++)
        if (all[i].column)
            heat->levels[heat->level_count++] = all[i];
}

static struct dw_heat *make(const struct dw_heat_source *source)
{
    const size_t columns = source->columns;
    struct dw_heat *heat = calloc(1, sizeof *heat);
    if (!heat || !(heat->before = calloc(4 * columns + HEATED + HEATED, sizeof *heat->before)) ||
        !(heat->slope = calloc(columns, sizeof *heat->slope))) {
        dw_heat_free(heat);
        return NULL;
    }
    heat->source = *source;
    heat->cut[0] = heat->before + columns;
    heat->cut[1] = heat->cut[0] + columns;
    heat->out = heat->cut[1] + columns;
    if (source->slope)
        memcpy(heat->slope, source->slope, columns * sizeof *heat->slope);
    set_levels(heat);
    return heat;
}

struct dw_heat *dw_heat_new(const struct dw_switch *transistor, struct dw_thermal *thermal, const struct dw_heat_source *source,
                            const struct dw_heat_rows *rows, struct dw_error *error)
{
    if ((transistor && dw_switch_check(transistor, error)) || check_source(source, error))
        return NULL;
    if (rows && !(rows->accuracy > 0 && rows->accuracy < 1)) {
        dw_error_member(error, "accuracy", "accuracy %g: expected between 0 and 1", rows->accuracy);
        return NULL;
    }
    struct dw_heat *heat = make(source);
    if (!heat) {
        dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for the heat of the switch");
        return NULL;
    }
    if (thermal && (!(heat->steady = dw_thermal_copy(thermal, error)) || !(heat->growth = dw_thermal_copy(thermal, error)))) {
        dw_heat_free(heat);
        return NULL;
    }
    heat->has_transistor = transistor != NULL;
    if (transistor)
        heat->transistor = *transistor;
    heat->thermal = thermal;
    heat->scale[LOSS] = heat->transistor.supply;  /* V, times 1 A */
    heat->scale[JUNCTION] = thermal ? heat->scale[LOSS] * dw_thermal_resistance(thermal) : 0;
    heat->rows = rows ? *rows : (struct dw_heat_rows){ .accuracy = UNSEEN };
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
    free(heat->slope);
    free(heat);
}

/* What the period that ended would come to, repeated for ever; and the next is followed from there. */
static void steady_from(struct dw_heat *heat)
{
    struct dw_heat_result *r = &heat->result;
    const double time = heat->now.time;
    const struct dw_junction_heating h = { .conduction = heat->now.cold / time, .slope = heat_growth(heat),
                                           .other = (heat->now.turn_on + heat->now.turn_off) / time,
                                           .resistance = dw_thermal_resistance(heat->thermal), .ambient = dw_thermal_ambient(heat->thermal) };
    double mean = NAN;
    const bool runaway = dw_switch_steady_junction(&h, &mean, NULL) != DW_OK;
    if (heat->followed) {
        /* the last period may not have been the same as the one before it, from whose steady start it was followed */
        const double followed = h.ambient + h.resistance * (h.other + h.conduction * (1 + h.slope * (heat->steady_hot - 25)));
        r->steady = true;
        r->runaway = runaway;
        r->steady_mean = mean;
        r->steady_highest = heat->steady_highest + (mean - followed);
    }
    heat->followed = true;
    heat->steady_hot = runaway ? heat->hot : mean;
    dw_thermal_set_steady(heat->steady, heat->steady, heat->source.period);
    dw_thermal_set_steady(heat->growth, heat->growth, heat->source.period);
    heat->steady_highest = dwi_heat_steady_now(heat);
}

/* A period has ended: its sums become the last ones, its thermal answer gives the steady state. */
static void period_ends(struct dw_heat *heat)
{
    struct dw_heat_result *r = &heat->result;
    if (heat->whole) {
        heat->whole_sums = heat->now;
        heat->periods++;
        r->current_rms = fmax(r->current_rms, sqrt(heat->whole_sums.square / heat->whole_sums.time));
        r->load_rms = fmax(r->load_rms, sqrt(heat->whole_sums.load_square / heat->whole_sums.time));
        if (heat->thermal) {
            steady_from(heat);
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

static enum dw_status add_block(struct dw_heat *heat, const double *row, const struct dw_block *block, struct dw_error *error)
{
    const size_t columns = heat->source.columns;
    heat->whole = heat->whole || block->begins;
    for (size_t i = 1; i < block->count; i++) {
        const double *from = block->rows + (i - 1) * columns;
        const enum dw_status status = dwi_heat_piece(heat, row, from, from + columns, error);
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
    enum dw_status status = here ? dwi_heat_give_waiting(heat, error) : DW_OK;
    heat->started = true;
    dw_pieces_put(heat->pieces, row, 1);
    for (const struct dw_block *block; !status;)
        if (!(status = dw_pieces_next(heat->pieces, &block, error)) && !here)  /* unrun: implied */
            status = add_block(heat, row, block, error);
    memcpy(heat->before, row, heat->source.columns * sizeof *row);
    return status != DW_END ? status : here ? dwi_heat_instant(heat, row, error) : DW_OK;
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
    memset(heat->changes, 0, sizeof heat->changes);
    heat->rehearsal = heat->whole = false;
    return status || restart(heat, heat->source.period, error) ? status : DW_NO_MEMORY;
}

static struct dw_heat_result result_of(const struct dw_heat *heat)
{
    struct dw_heat_result r = heat->result;
    const struct sums *sums = heat->periods > 0 ? &heat->whole_sums : &heat->now;
    r.span = sums->time;
    r.turns = sums->turns;
    r.junction_last = heat->thermal ? dw_thermal_now(heat->thermal) : heat->hot;
    if (!(sums->time > 0))
        return r;
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
    return r;
}

enum dw_status dw_heat_finish(struct dw_heat *heat, struct dw_heat_result *result, struct dw_error *error)
{
    if (result)
        *result = result_of(heat);
    return dwi_heat_give_waiting(heat, error);
}
