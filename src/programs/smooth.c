/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-smooth: a switching pin behind a ladder of resistors, coils and capacitors. */
#include "smooth.h"
#include <math.h>
#include <string.h>

enum {
    OPTION_STAGE = OPTION_OWN,
    OPTION_SOURCE, OPTION_LOAD, OPTION_START, OPTION_INITIAL, OPTION_ALL, OPTION_RESPONSE, OPTION_DRIVE,
    OPTION_DIODE_DROP, OPTION_SUPPLY, OPTION_THRESHOLD
};

static const struct argp_option options[] = {
    { NULL, 0, NULL, 0, "The ladder:", 1 },
    { "stage", OPTION_STAGE, "KEYS", OPTION_REPEATS,
      "One stage, pin side first, 1 to 6 of them: r= series resistance, l= series inductance, c= capacitance to ground, "
      "esr= resistance in series with c, leak= resistance beside c; damping: rd=,cd= in series beside c, rp= (and lp= in series "
      "with it) beside l. Such as r=2k7,c=150n", 1 },
    { "source", OPTION_SOURCE, "R", 0, "Resistance of the pin or switch itself (ohm; default 0)", 1 },
    { "load", OPTION_LOAD, "R", 0, "Resistance from the output to ground (ohm; default none)", 1 },
    { NULL, 0, NULL, 0, "The drive:", 2 },
    { "drive", OPTION_DRIVE, "HOW", 0,
      "push-pull: the pin gives its voltage whichever way the current flows (default); one-switch: a switch to the supply "
      "while the channel is high, a diode from ground while the current flows on, and nothing after that", 2 },
    { "supply", OPTION_SUPPLY, "V", 0,
      "Supply: what one switch switches to, and what --accuracy is relative to (default: the table's highest level)", 2 },
    { "threshold", OPTION_THRESHOLD, "V", 0, "One switch: on above it (default: the middle of the table's levels)", 2 },
    { "diode-drop", OPTION_DIODE_DROP, "V", 0, "One switch: forward voltage of its diodes (default 0.7)", 2 },
    { NULL, 0, NULL, 0, "What to give:", 3 },
    { "start", OPTION_START, "HOW", 0,
      "zero: nothing charged at the first row (default); steady: as after periods without end, for a table that repeats", 3 },
    { "initial", OPTION_INITIAL, "V", 0, "Voltage of all capacitors at the first row (default 0)", 3 },
    { "all", OPTION_ALL, NULL, 0, "Inner nodes and series currents too: node1[V] current1[A] ..., before out[V]", 3 },
    { "response", OPTION_RESPONSE, "A:B", 0,
      "Instead of a wave: gain and phase of the output from A to B (Hz); reads no table", 3 },
    { 0 },
};

static const char about[] =
    "Smooth a switching pin: carry a wave table through a ladder of 1 to 6 stages and append the channel out (V)."
    "\v"
    "Values take SI prefixes, units and the codes on parts: 2k7, 150n, 3R3, 33uH. The answer is exact at every row; rows "
    "are added so that straight lines between them stay within --accuracy of the supply, and at every extremum.\n\n"
    "r, l and esr may be zero; c, leak, rd, cd, rp and lp, where given, must be above zero. A stage may lack c where it has r "
    "or l. Capacitors that stand side by side and coils in series are merged exactly.\n\n"
    "Stages of one dw-smooth load each other, as parts in a row do. Two dw-smooth in a pipe do not: the second takes the out of "
    "the first as its pin, as if an ideal amplifier stood between them, and appends out-2; with --channel pin it smooths the pin "
    "once more beside the first.\n\n"
    "Examples:\n"
    "  dw-pwm --frequency 1.6k --duty 31.2% --periods 200 |\n"
    "    dw-smooth --stage r=2k7,c=680n --stage r=39k,c=68n --load 1M\n"
    "  dw-pwm --frequency 60k --duty 40% --high 12 |\n"
    "    dw-smooth --stage l=330u,r=0.2,c=100u,esr=50m --load 10 --start steady\n"
    "  dw-smooth --stage r=2k7,c=680n --response 1:100k";

static const struct argp_child children[] = {
    { &input_argp, 0, NULL, 5 }, { &channel_argp, 0, NULL, 5 }, { &rows_argp, 0, NULL, 5 },
    { &output_argp, 0, NULL, 6 }, { &quiet_argp, 0, NULL, 6 }, { 0 },
};

/* The words of a stage's argument that give this key, "c=0" of "r=2k7,c=0". */
static void key_word(const char *argument, const char *key, char *word, size_t size)
{
    const size_t length = strlen(key);
    while (strncmp(argument, key, length) != 0 || argument[length] != '=')
        argument = strchr(argument, ',') + 1;
    const size_t whole = strcspn(argument, ",");
    snprintf(word, size, "%.*s", (int)whole, argument);
}

static void add_stage(struct smooth_options *o, const char *argument)
{
    struct option_key keys[] = {
        { "r", DW_RESISTANCE, 0, NULL },    { "l", DW_INDUCTANCE, 0, NULL },   { "c", DW_CAPACITANCE, 0, NULL },
        { "esr", DW_RESISTANCE, 0, NULL },  { "leak", DW_RESISTANCE, 0, NULL }, { "rd", DW_RESISTANCE, 0, NULL },
        { "cd", DW_CAPACITANCE, 0, NULL },  { "rp", DW_RESISTANCE, 0, NULL },  { "lp", DW_INDUCTANCE, 0, NULL },
    };
    static const bool may_be_zero[] = { true, true, false, true, false, false, false, false, false };
    static const char *const quantity[] = { "resistance", "inductance", "capacitance", "resistance", "resistance",
                                            "resistance", "capacitance", "resistance", "inductance" };
    enum { KEYS = sizeof keys / sizeof keys[0] };
    if (o->plan.count == DW_STAGES)
        option_error("stage", argument, "at most %d stages", DW_STAGES);
    option_keys("stage", argument, keys, KEYS);
    for (size_t i = 0; i < KEYS; i++) {
        char word[64];
        if (!keys[i].seen || keys[i].value > 0 || (keys[i].value == 0 && may_be_zero[i]))
            continue;
        key_word(argument, keys[i].name, word, sizeof word);
        option_error("stage", word, may_be_zero[i] ? "%s must not be below zero" : "%s must be above zero", quantity[i]);
    }
    o->stages[o->plan.count++] = (struct dw_stage){
        .r = keys[0].value, .l = keys[1].value, .c = keys[2].value, .esr = keys[3].value, .leak = keys[4].value,
        .rd = keys[5].value, .cd = keys[6].value, .rp = keys[7].value, .lp = keys[8].value,
    };
}

static void read_band(struct smooth_options *o, const char *argument)
{
    const char *colon = strchr(argument, ':');
    char first[64];
    if (!colon || (size_t)(colon - argument) >= sizeof first)
        option_error("response", argument, "must be two frequencies, such as 1:100k");
    memcpy(first, argument, (size_t)(colon - argument));
    first[colon - argument] = '\0';
    o->band[0] = option_positive("response", first, DW_FREQUENCY);
    o->band[1] = option_positive("response", colon + 1, DW_FREQUENCY);
    if (!(o->band[1] > o->band[0]))
        option_error("response", argument, "the second frequency must be above the first");
}

static void check_together(const struct smooth_options *o)
{
    static const char *const waves[] = { "start", "initial", "drive", "supply", "uniform", "channel", "partial", NULL };
    static const char *const switched[] = { "threshold", "diode-drop", NULL };
    option_required("stage", "such as r=2k7,c=150n");
    if (o->steady)
        option_conflict("start", "initial", "both set where the wave begins; give one");
    for (size_t i = 0; waves[i] && option_given("response"); i++)
        option_conflict("response", waves[i], "a response has no wave in time; give one");
    if (option_given("response") && o->common.file)
        option_error("response", option_given("response"), "reads no table, '%s' is given", o->common.file);
    for (size_t i = 0; switched[i] && o->setup.drive == DW_PUSH_PULL; i++)
        if (option_given(switched[i]))
            option_error(switched[i], option_given(switched[i]), "goes with --drive one-switch");
}

static error_t parse(int key, char *argument, struct argp_state *state)
{
    static const char *const starts[] = { "zero", "steady", NULL }, *const drives[] = { "push-pull", "one-switch", NULL };
    struct smooth_options *o = state->input;
    switch (key) {
    case ARGP_KEY_INIT:
        for (int i = 0; i < 5; i++)
            state->child_inputs[i] = &o->common;
        return 0;
    case OPTION_STAGE: add_stage(o, argument); return 0;
    case OPTION_SOURCE: o->plan.source = option_between("source", argument, DW_RESISTANCE, 0, INFINITY); return 0;
    case OPTION_LOAD: o->plan.load = option_positive("load", argument, DW_RESISTANCE); return 0;
    case OPTION_START: o->steady = option_word("start", argument, starts); return 0;
    case OPTION_INITIAL: o->initial = option_quantity("initial", argument, DW_VOLTAGE); return 0;
    case OPTION_ALL: o->setup.all = true; return 0;
    case OPTION_RESPONSE: read_band(o, argument); return 0;
    case OPTION_DRIVE: o->setup.drive = (enum dw_ladder_drive)option_word("drive", argument, drives); return 0;
    case OPTION_SUPPLY: o->setup.supply = option_positive("supply", argument, DW_VOLTAGE); return 0;
    case OPTION_THRESHOLD: o->setup.threshold = option_quantity("threshold", argument, DW_VOLTAGE); return 0;
    case OPTION_DIODE_DROP: o->setup.diode_drop = option_between("diode-drop", argument, DW_VOLTAGE, 0, INFINITY); return 0;
    case ARGP_KEY_END: check_together(o); return 0;
    default: return ARGP_ERR_UNKNOWN;
    }
}

static const struct argp argp = { options, parse, NULL, about, children, NULL, NULL };

int main(int argc, char **argv)
{
    struct smooth_options o = { .common = common_defaults(), .setup = { .threshold = NAN, .diode_drop = 0.7 } };
    struct dw_error error = { .status = DW_OK };
    o.plan.stages = o.stages;
    program_start("dw-smooth", &argp, &o, argc, argv);
    struct dw_ladder *ladder = dw_ladder_new(&o.plan, &error);
    if (!ladder && error.status == DW_NO_MEMORY)
        return program_finish(error.status, &error);
    if (!ladder)
        option_error("stage", NULL, "%s", error.text);
    const enum dw_status status = o.band[1] > 0 ? smooth_response(&o, ladder, &error) : smooth_wave(&o, ladder, &error);
    dw_ladder_free(ladder);
    return program_finish(status, &error);
}
