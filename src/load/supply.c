/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "load/build_inner.h"
#include <math.h>

/* Share of its voltage by which a source must exceed the bulk capacitor before its diode conducts: there the current has no slope yet, to
 * the rounding, whose sign would end the conduction at once. */
static const double SLACK = 1e-12;

bool dw_supply_ideal(const struct dw_supply *s)
{
    return !(s->line_resistance > 0 || s->line_inductance > 0 || s->bulk > 0 || s->inner_resistance > 0 || s->slow_resistance > 0 ||
             s->no_return);
}

enum dw_status dw_supply_check(const struct dw_supply *s, struct dw_error *error)
{
    const struct dw_demand demands[] = {
        { "line_resistance", "line resistance", s->line_resistance, "ohm", DW_NOT_NEGATIVE },
        { "line_inductance", "line inductance", s->line_inductance, "H", DW_NOT_NEGATIVE },
        { "bulk", "bulk capacitance", s->bulk, "F", DW_NOT_NEGATIVE },
        { "bulk_resistance", "bulk resistance", s->bulk_resistance, "ohm", DW_NOT_NEGATIVE },
        { "inner_resistance", "inner resistance", s->inner_resistance, "ohm", DW_NOT_NEGATIVE },
        { "slow_resistance", "slow resistance", s->slow_resistance, "ohm", DW_NOT_NEGATIVE },
        { "slow_capacitance", "slow capacitance", s->slow_capacitance, "F", DW_NOT_NEGATIVE },
    };
    const enum dw_status status = dw_demands_check(demands, sizeof demands / sizeof demands[0], error);
    if (status)
        return status;
    if (s->line_inductance > 0 && !(s->bulk > 0))
        return dw_error_member(error, "line_inductance", "line inductance %g H without a bulk capacitor: a switch that opens would cut its "
                               "current; add one at the load, such as 470 uF", s->line_inductance);
    if (s->no_return && !(s->bulk > 0))
        return dw_error_member(error, "no_return", "without a bulk capacitor a current that comes back has nowhere to go: add one, such as "
                               "470 uF");
    if (s->bulk > 0 && !(s->line_resistance + s->line_inductance + s->inner_resistance > 0))
        return dw_error_member(error, "bulk", "a bulk capacitor of %g F on an ideal line does nothing: give the line a resistance or an "
                               "inductance", s->bulk);
    if ((s->slow_resistance > 0) != (s->slow_capacitance > 0))
        return dw_error_member(error, s->slow_resistance > 0 ? "slow_resistance" : "slow_capacitance",
                               "of a battery's slow pair resistance and capacitance are needed");
    return DW_OK;
}

/* to + factor * row */
static struct row plus(struct row to, double factor, const struct row *row)
{
    for (size_t i = 0; i < BUILD_STATES; i++)
        to.state[i] += factor * row->state[i];
    to.alone += factor * row->alone;
    return to;
}

static struct row of_state(int state)
{
    struct row row = { .alone = 0 };
    if (state >= 0)
        row.state[state] = 1;
    return row;
}

static struct row divided(struct row row, double divisor)
{
    for (size_t i = 0; i < BUILD_STATES; i++)
        row.state[i] /= divisor;
    row.alone /= divisor;
    return row;
}

/* V of the source behind its slow pair. */
static struct row behind_pair(const struct load_source *s)
{
    const struct row slow = of_state(s->slow);
    return plus((struct row){ .alone = s->volts }, -1, &slow);
}

/* V at the load while it draws nothing, and by how much each ampere lowers it: (12.2). */
static struct row unloaded(const struct load_source *s, bool blocks, double *ohms)
{
    const double line = s->plan.line_resistance + s->plan.inner_resistance, esr = s->plan.bulk_resistance;
    const struct row source = behind_pair(s), current = of_state(s->line), bulk = of_state(s->bulk);
    if (s->bulk < 0) {
        *ohms = line;
        return source;
    }
    if (blocks || s->line >= 0) {
        *ohms = esr;
        return blocks ? bulk : plus(bulk, esr, &current);
    }
    *ohms = esr * line / (line + esr);
    return plus(plus((struct row){ .alone = 0 }, line / (line + esr), &bulk), esr / (line + esr), &source);
}

void dwi_supply_place(struct load_source *s, const struct dw_supply *plan, double volts, double amperes, size_t first)
{
    *s = (struct load_source){ .plan = *plan, .volts = volts, .amperes = amperes, .states = first, .line = -1, .bulk = -1, .slow = -1,
                          .conditions = plan->no_return ? 2 : 1 };
    if (plan->line_inductance > 0)
        s->line = (int)s->states++;
    if (plan->bulk > 0)
        s->bulk = (int)s->states++;
    if (plan->slow_capacitance > 0)
        s->slow = (int)s->states++;
    for (size_t i = 0; i < s->states; i++)
        s->still[i * s->states + i] = (int)i != s->line;
    for (int blocks = 0; blocks < 2; blocks++)
        s->open[blocks] = unloaded(s, blocks, &s->ohms[blocks]);
}

void dwi_supply_rest(const struct load_source *s, double *weight, double *rest)
{
    if (s->line >= 0)
        weight[s->line] = s->plan.line_inductance;
    if (s->bulk >= 0) {
        weight[s->bulk] = s->plan.bulk;
        rest[s->bulk] = s->volts;
    }
    if (s->slow >= 0)
        weight[s->slow] = s->plan.slow_capacitance;
}

/* x' of one of its states. */
static void set_rate(struct build *b, int state, const struct row *rate, double over)
{
    if (state < 0)
        return;
    for (size_t j = 0; j < b->states; j++)
        b->a[(size_t)state * b->states + j] = rate->state[j] / over;
    b->e[state] = rate->alone / over;
}

struct supplied dwi_supply_join(const struct load_source *s, struct build *b, bool blocks, const struct row *drawn, double through, size_t other)
{
    const double line = s->plan.line_resistance + s->plan.inner_resistance;
    const struct row source = behind_pair(s), nothing = { .alone = 0 }, slow = of_state(s->slow);
    const double ohms = s->ohms[blocks];
    struct supplied out = { .volts = divided(plus(s->open[blocks], -ohms, drawn), 1 + ohms * through) };
    const struct row taken = plus(*drawn, through, &out.volts), lost = plus(source, -1, &out.volts);
    if (blocks)
        out.line = nothing;
    else if (s->line >= 0)
        out.line = of_state(s->line);
    else
        out.line = s->bulk < 0 ? taken : divided(lost, line);
    out.bulk = s->bulk < 0 ? nothing : plus(out.line, -1, &taken);
    const struct row over_line = blocks ? nothing : plus(lost, -line, &out.line);
    const struct row into_pair = s->slow < 0 ? nothing : plus(out.line, -1 / s->plan.slow_resistance, &slow);
    set_rate(b, s->line, &over_line, s->plan.line_inductance);
    set_rate(b, s->bulk, &out.bulk, s->plan.bulk);
    set_rate(b, s->slow, &into_pair, s->plan.slow_capacitance);
    if (s->conditions == 1)
        return out;
    if (blocks)
        dwi_build_guard_row(b, &lost, -1, SLACK * s->volts, s->volts, other);
    else
        dwi_build_guard_row(b, &out.line, 1, 0, s->amperes, other)->reset = s->line >= 0 ? s->still : NULL;
    return out;
}

/* ---- in numbers ---- */

double dwi_supply_open(const struct load_source *s, bool blocks, const double *state)
{
    double volts = s->open[blocks].alone;
    for (size_t i = 0; i < s->states; i++)
        volts += s->open[blocks].state[i] * state[i];
    return volts;
}

/* V of the source behind its slow pair. */
static double source_now(const struct load_source *s, const double *state)
{
    return s->volts - (s->slow >= 0 ? state[s->slow] : 0);
}

double dwi_supply_line(const struct load_source *s, bool blocks, const double *state, double volts, double drawn)
{
    if (blocks)
        return 0;
    if (s->line >= 0)
        return state[s->line];
    return s->bulk < 0 ? drawn : (source_now(s, state) - volts) / (s->plan.line_resistance + s->plan.inner_resistance);
}

void dwi_supply_rates(const struct load_source *s, bool blocks, const double *state, double volts, double drawn, double *rate)
{
    const double line = dwi_supply_line(s, blocks, state, volts, drawn), ohms = s->plan.line_resistance + s->plan.inner_resistance;
    if (s->line >= 0)
        rate[s->line] = blocks ? 0 : (source_now(s, state) - volts - ohms * line) / s->plan.line_inductance;
    if (s->bulk >= 0)
        rate[s->bulk] = (line - drawn) / s->plan.bulk;
    if (s->slow >= 0)
        rate[s->slow] = (line - state[s->slow] / s->plan.slow_resistance) / s->plan.slow_capacitance;
}

double dwi_supply_guard(const struct load_source *s, bool blocks, const double *state, double volts, double drawn)
{
    return blocks ? (volts - source_now(s, state)) / s->volts + SLACK : dwi_supply_line(s, blocks, state, volts, drawn) / s->amperes;
}

size_t dwi_supply_outputs(const struct load_source *s, bool all, const struct supplied *supplied, struct dw_port *port, struct row *value)
{
    const struct {
        bool wanted;
        struct dw_port port;
        const struct row *value;
    } outputs[SUPPLY_PORTS] = {
        { all, { "line-current", "A", s->amperes, NAN }, supplied ? &supplied->line : NULL },
        { all && s->bulk >= 0, { "bulk-current", "A", s->amperes, NAN }, supplied ? &supplied->bulk : NULL },
        { true, { "supply", "V", s->volts, s->volts }, supplied ? &supplied->volts : NULL },
    };
    size_t count = 0;
    for (size_t i = 0; i < SUPPLY_PORTS && !dw_supply_ideal(&s->plan); i++)
        if (outputs[i].wanted) {
            port[count] = outputs[i].port;
            if (supplied)
                value[count] = *outputs[i].value;
            count++;
        }
    return count;
}
