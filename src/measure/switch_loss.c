/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Conduction and switching loss of one transistor. docs/theory.md, section 9. */
#include <dutywright/switch.h>
#include <math.h>

enum dw_status dw_switch_check(const struct dw_switch *t, struct dw_error *error)
{
    const bool mosfet = t->kind == DW_SWITCH_MOSFET;
    const struct {
        bool holds;
        const char *member, *name;
        double value;
        const char *unit, *wanted;
    } demands[] = {
        { !mosfet || (t->on_resistance > 0 && isfinite(t->on_resistance)), "on_resistance", "on-resistance",
          t->on_resistance, " ohm", "must be above zero" },
        { !mosfet || (t->resistance_slope >= 0 && t->resistance_slope < 0.1), "resistance_slope", "resistance slope",
          t->resistance_slope, " a kelvin", "expected 0 to 0.1 (0.6% a kelvin is usual)" },
        { mosfet || (t->saturation >= 0 && isfinite(t->saturation)), "saturation", "saturation voltage", t->saturation,
          " V", "must not be negative" },
        { mosfet || t->forced_gain == 0 || (t->forced_gain >= 1 && isfinite(t->forced_gain)), "forced_gain", "forced gain",
          t->forced_gain, "", "expected 1 or more" },
        { mosfet || (t->base_emitter >= 0 && isfinite(t->base_emitter)), "base_emitter", "base-emitter voltage",
          t->base_emitter, " V", "must not be negative" },
        { t->supply > 0 && isfinite(t->supply), "supply", "supply", t->supply, " V", "must be above zero" },
        { mosfet || t->saturation < t->supply, "saturation", "saturation voltage", t->saturation, " V",
          "must be below the supply" },
        { t->diode_drop >= 0 && t->diode_drop < t->supply, "diode_drop", "diode drop", t->diode_drop, " V",
          "expected from zero to below the supply" },
        { t->edge >= 0 && isfinite(t->edge), "edge", "edge", t->edge, " s", "must not be negative" },
        { t->output_capacitance >= 0 && isfinite(t->output_capacitance), "output_capacitance", "output capacitance",
          t->output_capacitance, " F", "must not be negative" },
        { t->recovery_charge >= 0 && isfinite(t->recovery_charge), "recovery_charge", "recovery charge",
          t->recovery_charge, " C", "must not be negative" },
    };
    for (size_t i = 0; i < sizeof demands / sizeof demands[0]; i++)
        if (!demands[i].holds)
            return dw_error_member(error, demands[i].member, "%s %g%s: %s", demands[i].name, demands[i].value, demands[i].unit,
                                   demands[i].wanted);
    return DW_OK;
}

double dw_switch_conduction(const struct dw_switch *t, double current, double junction)
{
    switch (t->kind) {
    case DW_SWITCH_MOSFET:
        return current * current * t->on_resistance * (1 + t->resistance_slope * (junction - 25));
    case DW_SWITCH_BIPOLAR:
        return fabs(current) * (t->saturation + (t->forced_gain > 0 ? t->base_emitter / t->forced_gain : 0));
    }
    return NAN;  /* unrun: all-cases */
}

/* V that the transistor blocks beside an edge: the diode holds a clamped one above the supply */
static double blocked(const struct dw_switch *t)
{
    return t->edges == DW_EDGES_CLAMPED ? t->supply + t->diode_drop : t->supply;
}

double dw_switch_turn_off(const struct dw_switch *t, double current)
{
    return blocked(t) * fabs(current) * t->edge / (t->edges == DW_EDGES_CLAMPED ? 2 : 6);
}

double dw_switch_turn_on(const struct dw_switch *t, double current)
{
    double voltage = blocked(t);
    /* a diode that carried nothing has no charge to clear */
    double recovery = current != 0 ? voltage * t->recovery_charge : 0;
    return dw_switch_turn_off(t, current) + t->output_capacitance * voltage * voltage / 2 + recovery;
}

enum dw_status dw_switch_steady_junction(const struct dw_junction_heating *h, double *junction, struct dw_error *error)
{
    /* T = Ta + R (other + conduction (1 + slope (T - 25))) is linear in T */
    const double gain = h->resistance * h->conduction * h->slope;
    if (!(gain < 1))
        return dw_error_set(error, DW_NO, 0,
                            "thermal runaway: each kelvin of warming adds %.3g K more; the junction needs less than "
                            "%.3g K/W to ambient, or a transistor of lower on-resistance",
                            gain, 1 / (h->conduction * h->slope));
    *junction = (h->ambient + h->resistance * (h->other + h->conduction * (1 - 25 * h->slope))) / (1 - gain);
    return DW_OK;
}

double dw_switch_heatsink(double loss, double inner, double excess, double ambient, double limit)
{
    return loss > 0 ? (limit - excess - ambient) / loss - inner : INFINITY;
}
