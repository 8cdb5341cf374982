/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The options of a lamp, and its plant. */
#include "load_kind.h"

static const char *const kinds[] = { "led", "filament", NULL }, *const drives[] = { "one-switch", "direct", NULL };
static const char *const drivers[] = { "none", "linear", "switching", NULL };

static enum dw_status read_rated(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct dw_lamp_plan *p = &((struct lamp_load *)options)->plan;
    struct option_key keys[] = { { "volts", DW_VOLTAGE, NAN, NULL }, { "watts", DW_POWER, NAN, NULL } };
    const enum dw_status status = option_keys(option->name, argument, keys, 2, error);
    if (status)
        return status;
    for (int i = 0; i < 2; i++)
        if (!(keys[i].value > 0))
            return option_error(error, option->name, argument, isnan(keys[i].value) ? "%s is missing" : "%s: must be above zero", keys[i].name);
    p->rated_volts = keys[0].value;
    p->rated_watts = keys[1].value;
    return DW_OK;
}

#define OPTION_STRUCT struct lamp_load
static const struct option_spec options[] = {
    { .help = "The lamp:" },
    { "kind", "WORD", "led or filament; required", OPTION_WORD(plan.kind, kinds), .required = "led or filament" },
    { "forward", "V", "LED: its forward voltage, of a string the sum (V); required", OPTION_QUANTITY(plan.forward, DW_VOLTAGE),
      OPTION_NOT_NEGATIVE },
    { "dynamic-resistance", "R", "LED: volts an ampere above that (ohm); default 0", OPTION_QUANTITY(plan.dynamic_resistance, DW_RESISTANCE),
      OPTION_NOT_NEGATIVE },
    { "resistor", "R", "In series (ohm); required of an LED without --driver", OPTION_QUANTITY(plan.resistor, DW_RESISTANCE),
      OPTION_NOT_NEGATIVE },
    { "driver", "WORD",
      "LED: what sets its current: none, the resistor (default); linear, as long as the supply leaves it room; switching, a step-down "
      "converter that draws the lamp's power whatever the supply", OPTION_WORD(plan.driver, drivers) },
    { "current", "I", "LED: that a driver sets (A)", OPTION_QUANTITY(plan.current, DW_CURRENT), OPTION_ABOVE_ZERO },
    { "rise", "T", "LED: of its current after the gate goes on, from none to full along a line (s); default 0",
      OPTION_QUANTITY(plan.rise, DW_TIME), OPTION_NOT_NEGATIVE },
    { "fall", "T", "LED: back to none (s); default 0", OPTION_QUANTITY(plan.fall, DW_TIME), OPTION_NOT_NEGATIVE },
    { "rated", "KEYS", "Filament: volts=,watts= as printed on it; required", OPTION_READ(read_rated), .also = "rated_volts rated_watts" },
    { "time-constant", "T", "Filament: of its temperature, for a small change about the rated voltage (s); required",
      OPTION_QUANTITY(plan.time_constant, DW_TIME), OPTION_ABOVE_ZERO },
    { .help = "What drives it:" },
    { "supply", "V", "Supply (V); light 1 is the lamp fully on from it; required, or --battery", OPTION_QUANTITY(plan.supply, DW_VOLTAGE),
      OPTION_ABOVE_ZERO },
    SUPPLY_OPTIONS,
    { "drive", "WORD", "one-switch: the channel is the gate of a switch (default); direct: it is the voltage", OPTION_WORD(plan.direct, drives) },
    { "threshold", "V", "The switch is on above it (V); default the middle of the table's levels", OPTION_QUANTITY(plan.threshold, DW_VOLTAGE) },
    { .help = "Output:" },
    { "all", NULL, "Also lamp (V, across it), of a filament power (W) and temperature (K), of an LED behind a switch supply-current (A); of a supply that gives way "
      "line-current, bulk-current (A)", OPTION_FLAG(plan.all) },
    { 0 }
};

static const struct option_rule rules[] = {
    { OPTION_NEEDED, "supply", "!battery", "such as 12" },
    SUPPLY_RULES,
    { OPTION_EXCLUDES, "rise fall", SUPPLY_GIVEN, "a supply that gives way goes with LEDs that follow the gate at once; give one" },
    { OPTION_REFUSED, "forward dynamic-resistance driver current rise fall", "kind=filament", "is of an LED; --kind is filament" },
    { OPTION_REFUSED, "rated time-constant", "kind=led", "is of a filament; --kind is led" },
    { OPTION_NEEDED, "forward", "kind=led", "such as 9.3 for three in a row" },
    { OPTION_NEEDED, "resistor", "kind=led&!driver kind=led&driver=none", "such as 120 (ohm), or --driver linear or switching" },
    { OPTION_NEEDED, "current", "driver=linear driver=switching", "such as 20m (A)" },
    { OPTION_REFUSED, "current", "!driver driver=none", "is what a --driver sets: give linear or switching" },
    { OPTION_NEEDED, "rated", "kind=filament", "such as volts=12,watts=5" },
    { OPTION_NEEDED, "time-constant", "kind=filament", "such as 60m" },
    { OPTION_REFUSED, "threshold rise fall " SUPPLY_GIVEN, "drive=direct", "is of a switched lamp; --drive is direct" },
    { 0 }
};

static enum dw_status check(const struct command *command, void *values, struct dw_error *error)
{
    struct lamp_load *o = values;
    (void)command;
    o->plan.source = o->feed.parts;
    o->plan.supply = o->feed.battery > 0 ? o->feed.battery : o->plan.supply;
    struct dw_lamp_plan plan = o->plan;
    plan.threshold = isnan(plan.threshold) ? 0 : plan.threshold; /* which the table has yet to say */
    return dw_lamp_check(&plan, error);
}

static struct dw_plant *make(const void *values, const struct load_drive *drive, struct dw_error *error)
{
    struct dw_lamp_plan plan = ((const struct lamp_load *)values)->plan;
    plan.threshold = isnan(plan.threshold) ? drive->threshold : plan.threshold;
    struct dw_lamp *lamp = dw_lamp_new(&plan, error);
    return lamp ? dw_lamp_plant(lamp) : NULL;
}

static enum load_pin pin(const void *values)
{
    return ((const struct lamp_load *)values)->plan.direct ? PIN_VOLTAGE : PIN_GATE;
}

static const struct lamp_load defaults = { .plan = { .threshold = NAN } };
const struct load_kind lamp_kind = {
    .program = { .name = "dw-lamp", .options = options, .rules = rules, .check = check, .size = sizeof defaults, .defaults = &defaults },
    .plant = make, .pin = pin
};
