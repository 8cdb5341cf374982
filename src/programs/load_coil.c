/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The options of the coil of a relay, solenoid or valve, and its plant. */
#include "load_kind.h"
#include <string.h>

static const char *const places[] = { "coil", "switch", NULL };

static enum dw_status read_clamp(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    static const char *const words[] = { "none", "diode", "zener=", "resistor=" };
    struct dw_coil_plan *p = &((struct coil_load *)options)->plan;
    struct dw_error why;
    size_t k = 0;
    while (k < 4 && (k < 2 ? strcmp(argument, words[k]) : strncmp(argument, words[k], strlen(words[k]))))
        k++;
    if (k == 4)
        return option_error(error, option->name, argument, "must be none, diode, zener=V or resistor=R");
    p->clamp = (enum dw_coil_clamp)k;
    if (k < 2)
        return DW_OK;
    const enum dw_quantity kind = p->clamp == DW_CLAMP_ZENER ? DW_VOLTAGE : DW_RESISTANCE;
    if (dw_quantity_parse(argument + strlen(words[k]), kind, &p->clamp_value, &why) != DW_OK)
        return option_error(error, option->name, argument, "%s", why.text);
    return p->clamp_value > 0 ? DW_OK : option_error(error, option->name, argument, "its value must be above zero");
}

#define OPTION_STRUCT struct coil_load
static const struct option_spec options[] = {
    { .help = "The coil:" },
    { "resistance", "R", "Of the winding (ohm); required", OPTION_QUANTITY(plan.resistance, DW_RESISTANCE), OPTION_ABOVE_ZERO,
      .required = "such as 15" },
    { "inductance", "L", "Of the winding (H), the armature open; required", OPTION_QUANTITY(plan.inductance, DW_INDUCTANCE),
      OPTION_ABOVE_ZERO, .required = "such as 0.11" },
    { "inductance-closed", "L",
      "With the armature pulled in (H); default the same. The flux goes on at the change, so the current dips",
      OPTION_QUANTITY(plan.inductance_closed, DW_INDUCTANCE), OPTION_ABOVE_ZERO },
    { "temperature", "T", "Of the copper (degC); default that at which the resistance is given",
      OPTION_QUANTITY(temperature, DW_TEMPERATURE), OPTION_FROM_TO(-100, 300) },
    { "resistance-at", "T", "Temperature at which the resistance is given (degC); default 20",
      OPTION_QUANTITY(resistance_at, DW_TEMPERATURE), OPTION_FROM_TO(-100, 300) },
    { "pull-in", "I", "Current at which the armature pulls in (A)", OPTION_QUANTITY(plan.pull_in, DW_CURRENT), OPTION_ABOVE_ZERO },
    { "drop-out", "I", "Current at which it lets go (A), below the pull-in", OPTION_QUANTITY(plan.drop_out, DW_CURRENT),
      OPTION_ABOVE_ZERO },
    { .help = "What drives it:" },
    { "supply", "V", "Supply (V); the switch stands between the coil and ground; required, or --battery",
      OPTION_QUANTITY(plan.supply, DW_VOLTAGE), OPTION_ABOVE_ZERO },
    SUPPLY_OPTIONS,
    { "clamp", "WORD",
      "Path of the current at switch-off: diode; zener=V or resistor=R (ohm), in series with the diode; none: only --stray takes it; "
      "required", OPTION_READ(read_clamp), OPTION_AT(plan.clamp), .also = "clamp_value",
      .required = "one of none, diode, zener=V, resistor=R" },
    { "clamp-at", "coil|switch",
      "Where it stands: across the coil (default), or across the switch, a zener or resistor then without diode",
      OPTION_WORD(plan.clamp_at_switch, places) },
    { "diode-drop", "V", "Of the clamp's diode and of the switch's body diode (V); default 0.7",
      OPTION_QUANTITY(plan.diode_drop, DW_VOLTAGE), OPTION_NOT_NEGATIVE },
    { "switch-resistance", "R", "Of the switch while on (ohm); default 0", OPTION_QUANTITY(plan.switch_resistance, DW_RESISTANCE),
      OPTION_NOT_NEGATIVE },
    { "stray", "C", "Capacitance across the switch, of winding and transistor (F); required with --clamp none",
      OPTION_QUANTITY(plan.stray, DW_CAPACITANCE), OPTION_ABOVE_ZERO },
    { "threshold", "V", "The switch is on above it (V); default the middle of the table's levels", OPTION_QUANTITY(plan.threshold, DW_VOLTAGE) },
    { .help = "Output:" },
    { "all", NULL,
      "Also coil (V, across it), flux (Wb), supply-current, switch-current, and diode-current (clamp at the coil) or clamp-current "
      "(at the switch) (A); of a supply that gives way line-current, bulk-current (A)", OPTION_FLAG(plan.all) },
    { 0 }
};

static const struct option_rule rules[] = {
    { OPTION_NEEDED, "supply", "!battery", "such as 12" },
    SUPPLY_RULES,
    { OPTION_NEEDED, "drop-out", "pull-in", "the current at which the armature lets go" },
    { OPTION_NEEDED, "pull-in", "drop-out", "the current at which the armature pulls in" },
    { OPTION_REFUSED, "inductance-closed", "!pull-in", "goes with --pull-in and --drop-out" },
    { OPTION_NEEDED, "stray", "clamp=none", "such as 100p: without a clamp only it limits the voltage" },
    { 0 }
};

static enum dw_status check(const struct command *command, void *values, struct dw_error *error)
{
    struct coil_load *o = values;
    (void)command;
    if (isnan(o->temperature))
        o->temperature = o->resistance_at;
    o->plan.resistance = dw_coil_copper(o->plan.resistance, o->resistance_at, o->temperature);
    o->plan.source = o->feed.parts;
    o->plan.supply = o->feed.battery > 0 ? o->feed.battery : o->plan.supply;
    struct dw_coil_plan plan = o->plan;
    plan.threshold = isnan(plan.threshold) ? 0 : plan.threshold; /* which the table has yet to say */
    return dw_coil_check(&plan, error);
}

static struct dw_plant *make(const void *values, const struct load_drive *drive, struct dw_error *error)
{
    struct dw_coil_plan plan = ((const struct coil_load *)values)->plan;
    plan.threshold = isnan(plan.threshold) ? drive->threshold : plan.threshold;
    struct dw_coil *coil = dw_coil_new(&plan, error);
    return coil ? dw_coil_plant(coil) : NULL;
}

static const struct coil_load defaults = { .plan = { .diode_drop = 0.7, .threshold = NAN }, .temperature = NAN, .resistance_at = 20 };
const struct load_kind coil_kind = {
    .program = { .name = "dw-coil", .options = options, .rules = rules, .check = check, .size = sizeof defaults, .defaults = &defaults },
    .plant = make
};
