/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What dw-switch finds and says. */
#include "switch_options.h"
#include <math.h>
#include <stdio.h>

/* Skin: metal held for a second burns from about here. ISO 13732-1:2006, figure 2; from memory. */
static const double BURNS = 65;
/* Junctions: silicon is rated up to 150 to 200 degC; common practice, no source. */
static const double DESTROYED = 200;

/* Of the record and of the steady state that it tends to, degC. */
static double hottest(const struct dw_heat_result *r)
{
    return r->steady && !r->runaway ? fmax(r->junction_highest, r->steady_highest) : r->junction_highest;
}

static enum dw_status write_report(const struct switch_options *o, const char *channel, const struct dw_heat_result *r,
                                   double sink, struct dw_error *error)
{
    struct report *report = report_findings(error);
    bool has_transistor = !o->alone, hot = o->network.count, driver = isfinite(o->rating);
    double switching = r->turn_on + r->turn_off;
    const struct offered rows[] = {
        { true, channel, "peak", report_number(has_transistor ? r->current_peak : r->load_peak), "A" },
        { true, channel, "rms", report_number(has_transistor ? r->current_rms : r->load_rms), "A" },
        { driver, channel, "allowed-current", report_number(o->rating / o->margin), "A" },
        { has_transistor, channel, "conduction-loss", report_number(r->conduction), "W" },
        { has_transistor && o->transistor.edge > 0, channel, "turn-on-loss", report_number(r->turn_on), "W" },
        { has_transistor && o->transistor.edge > 0, channel, "turn-off-loss", report_number(r->turn_off), "W" },
        { has_transistor, channel, "loss", report_number(r->conduction + switching), "W" },
        { has_transistor, channel, "diode-loss", report_number(r->diode), "W" },
        { has_transistor && o->transistor.forced_gain > 0, channel, "base-current", report_number(r->current_peak / o->transistor.forced_gain), "A" },
        { hot, channel, "junction-mean", report_number(r->junction_mean), "degC" },
        { hot, channel, "junction-highest", report_number(r->junction_highest), "degC" },
        { hot && r->steady && !r->runaway, channel, "steady-junction-mean", report_number(r->steady_mean), "degC" },
        { hot && r->steady && !r->runaway, channel, "steady-junction-highest", report_number(r->steady_highest), "degC" },
        { isfinite(o->limit), channel, "allowed-junction", report_number(o->limit), "degC" },
        { isfinite(o->limit) && !r->runaway, channel, "junction-headroom", report_number(o->limit - hottest(r)), "K" },
        { !isnan(o->sink_limit) && isfinite(sink) && sink >= 0, channel, "heatsink", report_number(sink), "K/W" },
    };
    const enum dw_status status = report_wanted(report, rows, sizeof rows / sizeof rows[0], error);
    return report_out(report, &o->common, status, error);
}

/* The heat sink that holds the limit: with the losses of a junction at that limit. NaN: not asked. */
static double needed_sink(const struct switch_options *o, const struct dw_heat_result *r)
{
    double inner = 0;
    for (size_t i = 0; i < o->network.count; i++)
        inner += o->network.pairs[i].resistance;
    double loss = r->conduction_cold * (1 + o->transistor.resistance_slope * (o->sink_limit - 25)) + r->turn_on + r->turn_off;
    return dw_switch_heatsink(loss, inner, r->steady ? r->steady_highest - r->steady_mean : 0, o->ambient, o->sink_limit);
}

static void caution(const struct switch_options *o, const struct dw_heat_result *r)
{
    command_caution_voltage(o->common.command, o->transistor.supply, "");
    if (o->network.count && hottest(r) > BURNS)
        command_caution(o->common.command, hottest(r) > DESTROYED ? "hot part: a junction of %.4g degC destroys the transistor, which may burst or burn"
                                                                  : "hot part: the junction reaches %.4g degC; case and heat sink can burn skin", hottest(r));
    if (!o->alone && !(o->transistor.edge > 0))
        command_note(o->common.command, "switching loss is left out: --edge gives it");
    if (!o->alone && r->turns > 0 && !(r->span > 0))
        command_note(o->common.command, "no loss: no time passes in this table");
    if (o->network.count && !r->steady)
        command_note(o->common.command, "the steady temperature is left out: it takes two whole periods and a header with their length");
}

/* One line for what does not hold; DW_OK where all does. */
static enum dw_status judge(const struct switch_options *o, const struct dw_heat_result *r, double sink, struct dw_error *error)
{
    const double highest = hottest(r);
    double allowed = o->rating / o->margin, base = r->current_peak / o->transistor.forced_gain;
    const int heat = dw_digits_apart(highest, o->limit, 4), drive = dw_digits_apart(base, o->pin_current, 3),
              rms = dw_digits_apart(r->load_rms, allowed, 4), peak = dw_digits_apart(r->load_peak, o->peak_rating, 4);
    if (r->runaway)
        return dw_error_set(error, DW_NO, 0, "thermal runaway: with the on-resistance growing %g %% a kelvin there is no "
                            "steady temperature; a lower on-resistance or a better heat sink is needed",
                            100 * o->transistor.resistance_slope);
    if (highest > o->limit)
        return dw_error_set(error, DW_NO, 0, "the junction reaches %.*g degC: over the limit of %.*g degC", heat, highest, heat,
                            o->limit);
    if (o->network.count && highest > DESTROYED)
        return dw_error_set(error, DW_NO, 0, "the junction reaches %.4g degC, which destroys it: no transistor of silicon is rated above "
                            "%g degC", highest, DESTROYED);
    if (base > o->pin_current)
        return dw_error_set(error, DW_NO, 0, "the base needs %.*g A at a gain of %g: the pin gives %.*g A", drive, base,
                            o->transistor.forced_gain, drive, o->pin_current);
    if (!isnan(o->sink_limit) && sink < 0)
        return dw_error_set(error, DW_NO, 0, "no heat sink holds %.4g degC: junction to case alone is %.3g K/W too much",
                            o->sink_limit, -sink);
    if (r->load_rms > allowed)
        return dw_error_set(error, DW_NO, 0, "the load's current is %.*g A rms: over the %.*g A that a rating of %g A allows "
                            "with a margin of %g", rms, r->load_rms, rms, allowed, o->rating, o->margin);
    if (r->load_peak > o->peak_rating)
        return dw_error_set(error, DW_NO, 0, "the load's current peaks at %.*g A: over the peak rating of %.*g A", peak,
                            r->load_peak, peak, o->peak_rating);
    return DW_OK;
}

enum dw_status switch_verdict(const struct switch_options *o, const char *channel, const struct dw_heat_result *r,
                              struct dw_error *error)
{
    const double sink = needed_sink(o, r);
    enum dw_status status = o->report ? write_report(o, channel, r, sink, error) : DW_OK;
    caution(o, r);
    status = status ? status : judge(o, r, sink, error);
    if (status != DW_NO || o->report)
        return status;
    command_note(o->common.command, "%s", error->text); /* a table was asked for, and no verdict */
    return DW_OK;
}
