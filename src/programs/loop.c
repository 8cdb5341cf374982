/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-loop: a measured quantity held by the duty of a load's pulses. */
#include "loop_options.h"
#include <stdlib.h>
#include <string.h>

static const char *const counting_words[] = { "up", "updown", NULL };
static const char *const align_words[] = { "left", "centre", "right", NULL };
static const char *const carriers[] = { "pulses", "average", NULL };
static const char *const instants[] = { "valley", "middle", "peak", NULL };
static const char *const laws[] = { "on-off", "pid", NULL }, *const terms[] = { "p", "pi", "pid", NULL };

#define WITH(sign) "two values with '" sign "' between them"

static enum dw_status read_sensor(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct dw_converter *c = &((struct loop_options *)options)->law.converter;
    double pair[2];
    const enum dw_status status = option_pair(option, argument, ',', WITH(","), pair, error);
    if (status != DW_OK)
        return status;
    c->gain = pair[0];
    c->offset = pair[1];
    return c->gain != 0 ? DW_OK : option_error(error, option->name, argument, "a gain of zero measures nothing");
}

static enum dw_status read_hysteresis(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct dw_law_plan *law = &((struct loop_options *)options)->law;
    double pair[2];
    const enum dw_status status = option_pair(option, argument, ':', WITH(":"), pair, error);
    law->on = pair[0];
    law->off = pair[1];
    return status;
}

static enum dw_status read_range(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct dw_law_plan *law = &((struct loop_options *)options)->law;
    double pair[2];
    const enum dw_status status = option_pair(option, argument, ':', WITH(":"), pair, error);
    if (status != DW_OK)
        return status;
    law->duty_low = pair[0];
    law->duty_high = pair[1];
    return pair[0] < pair[1] ? DW_OK : option_error(error, option->name, argument, "the second must be above the first");
}

static enum dw_status read_converter(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct dw_converter *c = &((struct loop_options *)options)->law.converter;
    struct option_key keys[] = { { "bits", DW_NUMBER, NAN, NULL }, { "low", DW_VOLTAGE, 0, NULL }, { "high", DW_VOLTAGE, 3.3, NULL },
                                 { "noise", DW_VOLTAGE, 0, NULL } };
    const enum dw_status status = option_keys(option->name, argument, keys, 4, error);
    if (status != DW_OK)
        return status;
    const double bits = keys[0].value;
    if (!(bits >= 1 && bits <= DW_CONVERTER_BITS) || bits != floor(bits))
        return option_error(error, option->name, argument, isnan(bits) ? "bits is missing" : "bits: must be a whole number from 1 to %d", DW_CONVERTER_BITS);
    if (!(keys[1].value < keys[2].value))
        return option_error(error, option->name, argument, "low: %g V must be below high, %g V", keys[1].value, keys[2].value);
    if (keys[3].value < 0)
        return option_error(error, option->name, argument, "noise: must not be below zero");
    c->bits = (unsigned)bits;
    c->low = keys[1].value;
    c->high = keys[2].value;
    c->noise = keys[3].value;
    return DW_OK;
}

/* `integrate` is a key without a value. */
static enum dw_status read_process(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct dw_loop_process *p = &((struct loop_options *)options)->plan.process;
    struct option_key keys[] = { { "gain", DW_NUMBER, 1, NULL }, { "lag", DW_TIME, 0, NULL }, { "delay", DW_TIME, 0, NULL },
                                 { "integrate", DW_NUMBER, 0, NULL } };
    char text[256] = "";
    const char *word = argument;
    while (*word && strlen(argument) < sizeof text / 2) {
        const size_t length = strcspn(word, ",");
        strncat(text, word, length);
        if (length == strlen("integrate") && !strncmp(word, "integrate", length))
            strcat(text, "=1");
        word += length;
        if (*word)
            strcat(text, ","), word++;
    }
    const enum dw_status status = option_keys(option->name, *word ? argument : text, keys, 4, error);
    if (status != DW_OK)
        return status;
    if (keys[1].value < 0 || keys[2].value < 0)
        return option_error(error, option->name, argument, "a time must not be below zero");
    *p = (struct dw_loop_process){ .given = true, .gain = keys[0].value, .lag = keys[1].value, .delay = keys[2].value, .integrates = keys[3].value != 0 };
    return DW_OK;
}

static enum dw_status read_windup(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct dw_law_plan *law = &((struct loop_options *)options)->law;
    struct dw_error why;
    law->windup = !strcmp(argument, "none") ? DW_WINDUP_NONE : !strcmp(argument, "clamp") ? DW_WINDUP_CLAMP : DW_WINDUP_BACK;
    if (law->windup != DW_WINDUP_BACK)
        return DW_OK;
    if (strncmp(argument, "back=", 5))
        return option_error(error, option->name, argument, "must be none, clamp or back=T");
    return !dw_quantity_parse(argument + 5, DW_TIME, &law->track_time, &why) ? DW_OK : option_error(error, option->name, argument, "%s", why.text);
}

static enum dw_status read_tune(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct loop_options *o = options;
    struct dw_error why;
    o->tune = !strcmp(argument, "ultimate") ? TUNE_ULTIMATE : TUNE_SIMC;
    if (o->tune == TUNE_ULTIMATE)
        return DW_OK;
    if (strncmp(argument, "simc=", 5))
        return option_error(error, option->name, argument, "must be ultimate or simc=TC");
    if (dw_quantity_parse(argument + 5, DW_TIME, &o->tuned, &why))
        return option_error(error, option->name, argument, "%s", why.text);
    return o->tuned > 0 ? DW_OK : option_error(error, option->name, argument, "the time constant must be above zero");
}

#define OPTION_STRUCT struct loop_options
static const struct option_spec options[] = {
    { .help = "The pulses:" },
    { "frequency", "F", "Switching frequency (Hz)", OPTION_QUANTITY(frequency, DW_FREQUENCY), OPTION_ABOVE_ZERO },
    { "period", "T", "The same as a time (s)", OPTION_QUANTITY(plan.period, DW_TIME), OPTION_ABOVE_ZERO },
    { "clock", "F", "Clock of a timer (Hz); its counter then sets frequency and steps of duty", OPTION_QUANTITY(counter.clock, DW_FREQUENCY),
      OPTION_FROM_TO(1, INFINITY) },
    { "prescale", "N", "Clock ticks to a count (default 1)", OPTION_COUNT(counter.prescale, 1, 1LL << 32) },
    { "count-to", "M", "Largest count", OPTION_COUNT(counter.largest, 1, (1LL << 32) - 1) },
    { "counting", "WAY", "up: 0 to M; updown: 0 to M and back, pulse in the centre (default up)", OPTION_WORD(counter.counting, counting_words) },
    { "duty-steps", "N", "Round the duty to whole N-ths", OPTION_COUNT(law.duty_steps, 1, DW_LAW_STEPS) },
    { "duty-range", "LOW:HIGH", "The least and the largest duty (default 0:1); below 0 turns a bridge, or the sign of a pin that is a voltage",
      OPTION_READ(read_range), .quantity = DW_SHARE, OPTION_FROM_TO(-1, 1), .also = "duty_low duty_high" },
    { "high", "V", "Level when on (V; default 3.3)", OPTION_QUANTITY(plan.high, DW_VOLTAGE) },
    { "low", "V", "Level when off (V; default 0)", OPTION_QUANTITY(plan.low, DW_VOLTAGE) },
    { "align", "PLACE", "Place of the pulse in its period: left, centre or right (default left)", OPTION_WORD(plan.alignment, align_words) },
    { "carrier", "HOW", "pulses, edge by edge, or average: their mean instead, for slow plants, where the pin is a voltage (default pulses)",
      OPTION_WORD(plan.average, carriers) },
    { "duration", "T", "How long (s)", OPTION_QUANTITY(plan.duration, DW_TIME), OPTION_ABOVE_ZERO },
    { .help = "What is measured, and when:" },
    { "every", "T", "Sample time (s), a whole number of PWM periods", OPTION_QUANTITY(every, DW_TIME), OPTION_ABOVE_ZERO,
      .also = "sample_time" },
    { "sample-at", "PLACE", "valley, middle or peak: where the pulse begins, in its middle, where it ends (default valley)",
      OPTION_WORD(plan.instant, instants) },
    { "delay", "T", "From a sample to when its duty is ready (s; default 0); it acts from the next PWM period on", OPTION_QUANTITY(plan.delay, DW_TIME),
      OPTION_NOT_NEGATIVE },
    { "measured", "NAME", "Channel of the load that is measured (default its last)", OPTION_TEXT(measured) },
    { "process", "KEYS", "What lies between it and the sensor, as a basin or a heated thing: gain= (default 1), lag= (s), delay= (s), integrate",
      OPTION_READ(read_process), .also = "process" },
    { "sensor", "GAIN,OFFSET", "The sensor gives GAIN (V) times what is measured, and OFFSET (V); default 1,0", OPTION_READ(read_sensor), .quantity = DW_NUMBER },
    { "converter", "KEYS", "The converter: bits=, low=,high= (V; default 0 and 3.3), noise= (V rms; default 0); default exact", OPTION_READ(read_converter),
      .also = "bits" },
    { "seed", "N", "Which noise: the same N gives the same (default 1)", OPTION_COUNT(law.converter.seed, 0, 1LL << 53) },
    { .help = "What is wanted, and the law:" },
    { "wanted", "VALUE", "What shall be measured, in the channel's unit", OPTION_TEXT(wanted) },
    { "wanted-from", "FILE", "The same against time, from the first channel of a table", OPTION_TEXT(wanted_from) },
    { "law", "LAW", "pid or on-off (default pid)", OPTION_WORD(law.kind, laws) },
    { "hysteresis", "LOW:HIGH", "on-off: turn on this far above the wanted value, and off that far, such as -2:2", OPTION_READ(read_hysteresis),
      .quantity = DW_NUMBER, .also = "on off" },
    { "gain", "K", "pid: duty for an error of 1", OPTION_QUANTITY(law.gain, DW_NUMBER) },
    { "integral-time", "T", "(s; default none)", OPTION_QUANTITY(law.integral_time, DW_TIME), OPTION_ABOVE_ZERO },
    { "derivative-time", "T", "(s; default 0), of what is measured", OPTION_QUANTITY(law.derivative_time, DW_TIME), OPTION_NOT_NEGATIVE },
    { "filter", "T", "Time constant of the derivative's filter (s; default 0)", OPTION_QUANTITY(law.filter, DW_TIME), OPTION_NOT_NEGATIVE },
    { "setpoint-weight", "B", "Share of the wanted value in the proportional part (default 1)", OPTION_QUANTITY(law.setpoint_weight, DW_NUMBER) },
    { "anti-windup", "WORD", "The integral while the duty is at its end: none goes on, clamp stands still, back=T is led back within T (default clamp)",
      OPTION_READ(read_windup), .also = "track_time" },
    { .help = "What to give:" },
    { "report", NULL, "Write findings instead of the table; status 1 where the loop is not stable, or no duty gives what is wanted", OPTION_FLAG(report) },
    { "firmware", "FILE", "Write the law as C99 in whole numbers to FILE, and run that one: needs --converter, and a counter or --duty-steps",
      OPTION_TEXT(firmware), .also = "integers" },
    { "tune", "HOW", "Instead of running: settings of a pid law, from the gain with which the loop begins to oscillate (ultimate), or for a closed loop "
      "as fast as the time constant TC (simc=TC)", OPTION_READ(read_tune) },
    { "print", "TERMS", "Of --tune: print the settings of a law of p, pi or pid as options for dw-loop", OPTION_WORD(print, terms) },
    { "margins", NULL, "The same with gain, phase and delay margin of the loop as it stands in the end", OPTION_FLAG(margins) },
    { 0 }
};

/* Looked at once the load is known, which may only be asked for its --help. */
static const struct option_rule rules[] = {
    { OPTION_EXCLUDES, "report margins", "binary text uniform lines csv", "a report has no rows" },
    { OPTION_REFUSED, "format digits", "!report&!margins&!tune", "belongs to --report, which is missing" },
    { OPTION_NEEDED, "duration", NULL, "such as 0.5" },
    { OPTION_NEEDED, "every", NULL, "such as 1m" },
    { OPTION_EXCLUDES, "frequency period clock", NULL, "both set the period; give one" },
    { OPTION_EXCLUDES, "duty-steps", "clock", "both set the steps of duty; give one" },
    { OPTION_EXCLUDES, "wanted", "wanted-from", "both say what is wanted; give one" },
    { OPTION_ONE_OF, "frequency period clock", "!carrier=average", "such as --frequency 22.5k" },
    { OPTION_ONE_OF, "wanted wanted-from", NULL, "such as --wanted 1.5" },
    { OPTION_REFUSED, "prescale count-to counting", "!clock", "belongs to a counter: give --clock too" },
    { OPTION_NEEDED, "count-to", "clock", "such as 799" },
    { OPTION_NEEDED, "hysteresis", "law=on-off", "such as -2:2" },
    { OPTION_REFUSED, "hysteresis", "!law=on-off", "is of --law on-off" },
    { OPTION_NEEDED, "gain", "!law=on-off&!tune", "such as 0.05, or --tune to find one" },
    { OPTION_EXCLUDES, "tune", "report margins firmware binary text uniform lines csv", "settings are no run" },
    { OPTION_REFUSED, "tune", "law=on-off", "is of --law pid" },
    { OPTION_REFUSED, "print", "!tune", "is of --tune" },
    { OPTION_EXCLUDES, "print", "format digits", "options are no report" },
    { OPTION_NEEDED, "converter", "firmware", "such as bits=12: whole numbers are its codes" },
    { OPTION_ONE_OF, "clock duty-steps", "firmware", "whole numbers are steps of the duty" },
    { OPTION_REFUSED, "gain integral-time derivative-time filter setpoint-weight anti-windup", "law=on-off", "is of --law pid" },
    { OPTION_REFUSED, "sample-at align", "carrier=average", "is of pulses" },
    { OPTION_REFUSED, "align=centre", "clock&!counting=updown", "a counter that only counts up has its pulses left or right; --counting updown centres them" },
    { OPTION_REFUSED, "align=left align=right", "clock&counting=updown", "a counter that counts up and down has its pulses in the centre" },
    { OPTION_REFUSED, "seed", "!converter", "chooses the noise of --converter: give that too" },
    { 0 }
};

static const char about[] =
    "Close the loop around a load: measure, decide, set the duty of its pulses, and again. Behind -- stands the load's command line, which "
    "`dw-loop -- dw-motor --help` explains."
    "\v"
    "Writes pin[V], for a bridge direction[1], the load's channels with their slopes, process[1], and from sample to sample what the law saw, "
    "measured and wanted, and duty[1]. Everything goes edge by edge and exactly: dw-smooth (voltage), dw-motor (speed, current), dw-coil (current), "
    "dw-lamp (light, current), dw-servo (angle), dw-actuator (position). Second tables of the load, --torque-from, --force-from and --load-current-from, disturb it.\n\n"
    "pid: I += K T/Ti e with this sample's error e; duty = K (b r - y) + I + D, D = a D - K Td (1 - a)/T (y - y before), a = Tf/(Tf + T). "
    "What is wanted is rounded to a code of the converter, where there is one.\n\n"
    "Findings: rise-time (10 to 90 %), overshoot, settling-time (2 %) and steady-error since what is wanted last changed; where a second table "
    "jumps, deviation-highest and recovery-time (into the same 2 %) from its last jump on; iae (integral of the error's magnitude), cycle-amplitude (peak to peak) and cycle-frequency of an oscillation that stays; of the loop pole-highest, which is below 1 where it is "
    "stable, and with --margins the factor of its gain, the phase and the delay that it stands.\n\n"
    "Examples:\n"
    "  dw-loop --clock 18M --count-to 11249 --every 5m --converter bits=12 \\\n"
    "    --wanted 1.5 --gain 0.04 --integral-time 2m --duration 0.2 --margins \\\n"
    "    -- dw-smooth --stage r=2k7,c=680n\n"
    "  dw-loop --frequency 22.5k --every 2m --wanted 2000rpm --duration 0.3 \\\n"
    "    --tune ultimate -- dw-motor --resistance 1.85 --constant 27m \\\n"
    "    --drag 4m --inductance 900u --inertia 9u --supply 12 --drive one-switch";

/* ---- before anything is opened ---- */

static enum dw_status complete_pulses(struct loop_options *o, struct dw_error *error)
{
    struct dw_loop_plan *p = &o->plan;
    if (o->frequency > 0)
        p->period = 1 / o->frequency;
    if (o->counter.clock > 0) {
        p->period = dw_counter_period(&o->counter);
        o->law.duty_steps = (unsigned)dw_counter_steps(&o->counter);
        if (dw_counter_steps(&o->counter) > DW_LAW_STEPS)
            return dw_error_set(error, DW_BAD_USE, 0, "--count-to: a loop's duty has %d steps at most", DW_LAW_STEPS);
        if (o->counter.counting == DW_COUNT_UP_DOWN)
            p->alignment = DW_ALIGN_CENTRE;
    }
    p->every = 1;
    o->law.integers = o->firmware;
    if (o->tune)
        o->law.gain = 1;
    o->law.sample_time = o->every;
    return DW_OK;
}

static enum dw_status complete_every(const struct command *command, struct loop_options *o, struct dw_error *error)
{
    struct dw_loop_plan *p = &o->plan;
    if (!(p->period > 0))
        return DW_OK;
    const double periods = o->every / p->period, whole = fmax(rint(periods), 1);
    if (fabs(periods - whole) > 1e-9 * whole) {
        const double below = floor(periods), above = below + 1;
        return below < 1 ? option_error(error, "every", command_given(command, "every"), "%.6g PWM periods; a sample takes a whole number of "
                                        "them, at least one, %.9g s", periods, p->period)
                         : option_error(error, "every", command_given(command, "every"), "%.6g PWM periods; a sample takes a whole number of "
                                        "them, such as %.0f, %.9g s, or %.0f, %.9g s", periods, below, below * p->period, above, above * p->period);
    }
    p->every = (unsigned long long)whole;
    o->law.sample_time = whole * p->period;
    return DW_OK;
}

static enum dw_status check(const struct command *command, void *options_read, struct dw_error *error)
{
    struct loop_options *o = options_read;
    struct dw_law law;
    enum dw_status status = loop_load_read(command, &o->load, error);
    if (status != DW_OK || o->load.help)
        return status;
    status = command_check(command, rules, error);
    if (status == DW_OK)
        status = complete_pulses(o, error);
    if (status == DW_OK)
        status = complete_every(command, o, error);
    if (status == DW_OK && o->plan.low != 0 && o->law.duty_low < 0)
        status = option_error(error, "low", command_given(command, "low"), "must be 0 where --duty-range goes below 0");
    return status == DW_OK ? dw_law_make(&o->law, &law, error) : status;
}

/* ---- the run ---- */

static enum dw_status find_measured(struct loop_options *o, struct dw_error *error)
{
    const struct dw_plant *plant = o->plan.plant;
    const size_t outputs = dw_plant_outputs(plant);
    char names[DW_ERROR_TEXT] = "";
    o->plan.measured = o->measured ? dw_plant_output(plant, o->measured) : outputs - 1;
    if (o->plan.measured < outputs)
        return DW_OK;
    for (size_t i = 0; i < outputs; i++) {
        const size_t used = strlen(names);
        snprintf(names + used, sizeof names - used, "%s%s", i ? ", " : "", dw_plant_port(plant, i).name);
    }
    return dw_error_set(error, DW_BAD_USE, 0, "--measured: %s has no channel '%s'; it has %s", o->load.program.name, o->measured, names);
}

/* In the unit of the channel, or another of the same kind. */
static enum dw_status read_wanted(struct loop_options *o, struct dw_error *error)
{
    const char *unit = o->plan.process.given ? "" : dw_plant_port(o->plan.plant, o->plan.measured).unit;
    int kind = 0;
    struct dw_error why;
    while (kind <= DW_PHASE && strcmp(dw_quantity_unit((enum dw_quantity)kind), unit))
        kind++;
    if (o->wanted && dw_quantity_parse(o->wanted, kind <= DW_PHASE ? (enum dw_quantity)kind : DW_NUMBER, &o->plan.wanted, &why) != DW_OK)
        return option_error(error, "wanted", o->wanted, "%s", why.text);
    return DW_OK;
}

static enum dw_status open_inputs(struct loop_options *o, struct dw_error *error)
{
    const struct load_kind *kind = o->load.kind;
    const char *side = kind->side_input ? *(const char *const *)(const void *)((const char *)o->load.values + kind->side_from) : NULL;
    o->plan.side_input = kind->side_input;
    o->plan.direction = kind->pin && kind->pin(o->load.values) == PIN_BRIDGE ? kind->direction : 0;
    if ((o->report || o->margins || o->tune) && !command_given(o->common.command, "accuracy"))
        o->common.accuracy = 1e-6;  /* findings have no rows */
    o->plan.accuracy = o->common.accuracy;
    if (!(o->plan.plant = loop_load_plant(o, error)) || (side && !(o->plan.side = dw_course_open(side, error))) ||
        (o->wanted_from && !(o->plan.wanted_from = dw_course_open(o->wanted_from, error))))
        return error->status;
    const enum dw_status status = find_measured(o, error);
    return status == DW_OK ? read_wanted(o, error) : status;
}

static enum dw_status run_loop(void *options_read, struct dw_error *error)
{
    struct loop_options *o = options_read;
    struct dw_law law;
    if (o->load.help)
        return program_help(&o->load.kind->program, error);
    enum dw_status status = dw_law_make(&o->law, &law, error);
    o->plan.law = &law;
    if (status == DW_OK)
        status = open_inputs(o, error);
    if (status == DW_OK && o->load.kind->moves && !o->tune)
        command_caution(o->common.command, "a loop that runs away moves machinery at full power: try it with the load unpowered, and keep a stop within "
                        "reach");
    if (status == DW_OK)
        status = o->firmware ? loop_firmware(o, error) : DW_OK;
    if (status == DW_OK)
        status = o->tune ? loop_tune(o, error) : o->report || o->margins ? loop_report(o, error) : loop_table(o, error);
    dw_course_close(o->plan.side);
    dw_course_close(o->plan.wanted_from);
    dw_plant_free(o->plan.plant);
    return status;
}

static void release(void *options_read)
{
    loop_load_free(&((struct loop_options *)options_read)->load);
}

static const struct loop_options defaults = {
    .common = COMMON_DEFAULTS, .print = -1, .plan = { .high = 3.3, .every = 1 }, .counter = { .prescale = 1 },
    .law = { .kind = DW_LAW_PID, .converter = { .gain = 1, .seed = 1 }, .integral_time = INFINITY, .setpoint_weight = 1, .windup = DW_WINDUP_CLAMP,
             .duty_high = 1 }
};
static const struct program program = {
    .name = "dw-loop", .about = about, .words = "-- LOAD", .options = options, .check = check, .run = run_loop, .release = release,
    .shared = SHARED_OUTPUT | SHARED_ROWS | SHARED_LINES | SHARED_REPORT, PROGRAM_OPTIONS(struct loop_options, defaults)
};
PROGRAM_MAIN(program)
