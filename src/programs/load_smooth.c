/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The options of a ladder behind a pin, and its plant. */
#include "load_kind.h"
#include <stdio.h>
#include <string.h>

static const char *const drives[] = { "push-pull", "one-switch", NULL };

/* The words of a stage's argument that give this key, "c=0" of "r=2k7,c=0". */
static void key_word(const char *argument, const char *key, char *word, size_t size)
{
    const size_t length = strlen(key);
    while (strncmp(argument, key, length) != 0 || argument[length] != '=')
        argument = strchr(argument, ',') + 1;
    const size_t whole = strcspn(argument, ",");
    snprintf(word, size, "%.*s", (int)whole, argument);
}

static enum dw_status add_stage(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct smooth_load *o = options;
    struct option_key keys[] = {
        { "r", DW_RESISTANCE, 0, NULL },    { "l", DW_INDUCTANCE, 0, NULL },   { "c", DW_CAPACITANCE, 0, NULL },
        { "esr", DW_RESISTANCE, 0, NULL },  { "leak", DW_RESISTANCE, 0, NULL }, { "rd", DW_RESISTANCE, 0, NULL },
        { "cd", DW_CAPACITANCE, 0, NULL },  { "rp", DW_RESISTANCE, 0, NULL },  { "lp", DW_INDUCTANCE, 0, NULL },
    };
    enum { KEYS = sizeof keys / sizeof keys[0], R = 0, L = 1, ESR = 3 };
    if (o->count == DW_STAGES)
        return option_error(error, option->name, argument, "at most %d stages", DW_STAGES);
    const enum dw_status status = option_keys(option->name, argument, keys, KEYS, error);
    for (size_t i = 0; status == DW_OK && i < KEYS; i++) {
        char word[64];
        const bool may_be_zero = i == R || i == L || i == ESR;
        const char *quantity = keys[i].kind == DW_RESISTANCE ? "resistance" : keys[i].kind == DW_INDUCTANCE ? "inductance" : "capacitance";
        if (!keys[i].seen || keys[i].value > 0 || (keys[i].value == 0 && may_be_zero))
            continue;
        key_word(argument, keys[i].name, word, sizeof word);
        return option_error(error, option->name, word, may_be_zero ? "%s must not be below zero" : "%s must be above zero", quantity);
    }
    o->stages[o->count++] = (struct dw_stage){
        .r = keys[0].value, .l = keys[1].value, .c = keys[2].value, .esr = keys[3].value, .leak = keys[4].value,
        .rd = keys[5].value, .cd = keys[6].value, .rp = keys[7].value, .lp = keys[8].value,
    };
    return status;
}

#define OPTION_STRUCT struct smooth_load
static const struct option_spec options[] = {
    { .help = "The ladder:" },
    { "stage", "KEYS",
      "One stage, pin side first, 1 to 6 of them: r= series resistance, l= series inductance, c= capacitance to ground, "
      "esr= resistance in series with c, leak= resistance beside c; damping: rd=,cd= in series beside c, rp= (and lp= in series "
      "with it) beside l. Such as r=2k7,c=150n", OPTION_READ(add_stage), .repeats = true, .required = "such as r=2k7,c=150n" },
    { "source", "R", "Resistance of the pin or switch itself (ohm; default 0)", OPTION_QUANTITY(source, DW_RESISTANCE),
      OPTION_NOT_NEGATIVE },
    { "load", "R", "Resistance from the output to ground (ohm; default none)", OPTION_QUANTITY(load, DW_RESISTANCE), OPTION_ABOVE_ZERO },
    { "load-current-from", "FILE", "A table whose first channel is a current drawn from the output against time (A); its last value stays. The last "
      "stage needs c", OPTION_TEXT(current_from), .also = "drawn" },
    { .help = "The drive:" },
    { "drive", "HOW",
      "push-pull: the pin gives its voltage whichever way the current flows (default); one-switch: a switch to the supply "
      "while the channel is high, a diode from ground while the current flows on, and nothing after that",
      OPTION_WORD(setup.drive, drives) },
    { "supply", "V", "Supply: what one switch switches to, and what --accuracy is relative to (default: the table's highest level)",
      OPTION_QUANTITY(setup.supply, DW_VOLTAGE), OPTION_ABOVE_ZERO },
    SUPPLY_OPTIONS,
    { "threshold", "V", "One switch: on above it (default: the middle of the table's levels)", OPTION_QUANTITY(setup.threshold, DW_VOLTAGE) },
    { "diode-drop", "V", "One switch: forward voltage of its diodes (default 0.7)", OPTION_QUANTITY(setup.diode_drop, DW_VOLTAGE),
      OPTION_NOT_NEGATIVE },
    { .help = "What to give:" },
    { "initial", "V", "Voltage of all capacitors at the first row (default 0)", OPTION_QUANTITY(setup.initial, DW_VOLTAGE) },
    { "all", NULL, "Inner nodes and series currents too: node1[V] current1[A] ..., before out[V]; of a supply that gives way line-current, "
      "bulk-current (A)", OPTION_FLAG(setup.all) },
    { 0 }
};

static const struct option_rule rules[] = {
    SUPPLY_RULES,
    { OPTION_REFUSED, "threshold diode-drop " SUPPLY_GIVEN, "!drive=one-switch", "goes with --drive one-switch" },
    { 0 }
};

struct dw_ladder *smooth_ladder(const struct smooth_load *o, struct dw_error *error)
{
    const struct dw_ladder_plan plan = { .stages = o->stages, .count = o->count, .source = o->source, .load = o->load };
    return dw_ladder_new(&plan, error);
}

static enum dw_status check(const struct command *command, void *values, struct dw_error *error)
{
    struct dw_error why;
    struct smooth_load *o = values;
    struct dw_ladder *ladder = smooth_ladder(o, &why);
    (void)command;
    o->setup.source = o->feed.parts;
    o->setup.drawn = o->current_from;
    o->setup.supply = o->feed.battery > 0 ? o->feed.battery : o->setup.supply;
    if (!ladder)
        return why.status == DW_NO_MEMORY ? dw_no_memory(error) : option_error(error, "stage", NULL, "%s", why.text);
    dw_ladder_free(ladder);
    return dw_supply_check(&o->feed.parts, error);
}

static struct dw_plant *make(const void *values, const struct load_drive *drive, struct dw_error *error)
{
    const struct smooth_load *o = values;
    struct dw_ladder_setup setup = o->setup;
    setup.threshold = isnan(setup.threshold) ? drive->threshold : setup.threshold;
    setup.supply = setup.supply > 0 ? setup.supply : drive->supply;
    struct dw_ladder *ladder = smooth_ladder(o, error);
    struct dw_plant *plant = ladder ? dw_ladder_plant_new(ladder, &setup, error) : NULL;
    dw_ladder_free(ladder);
    return plant;
}

static enum load_pin pin(const void *values)
{
    return ((const struct smooth_load *)values)->setup.drive == DW_PUSH_PULL ? PIN_VOLTAGE : PIN_GATE;
}

static const struct smooth_load defaults = { .setup = { .threshold = NAN, .diode_drop = 0.7 } };
const struct load_kind smooth_kind = {
    .program = { .name = "dw-smooth", .options = options, .rules = rules, .check = check, .size = sizeof defaults, .defaults = &defaults },
    .plant = make, .pin = pin, .side_input = DW_LADDER_DRAWN, .side_from = offsetof(struct smooth_load, current_from)
};
