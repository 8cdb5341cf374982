/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-actuator: a motor and a screw that move a load between two ends. */
#include "actuator_options.h"
#include <string.h>
#include <unistd.h>

static enum dw_status read_duty(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    static const char *const words[] = { "", "S1", "S2=", "S3=" };
    struct actuator_options *o = options;
    struct dw_error why;
    size_t k = 1;
    while (k < 4 && (k == 1 ? strcmp(argument, words[k]) : strncmp(argument, words[k], strlen(words[k]))))
        k++;
    if (k == 4)
        return option_error(error, option->name, argument, "must be S1, S2=T such as S2=10min, or S3=SHARE such as S3=25%%");
    o->duty = (enum duty_type)k;
    if (k == 1)
        return DW_OK;
    if (dw_quantity_parse(argument + strlen(words[k]), k == 2 ? DW_TIME : DW_SHARE, &o->running, &why))
        return option_error(error, option->name, argument, "%s", why.text);
    if (!(o->running > 0 && (k == 2 || o->running <= 1)))
        return option_error(error, option->name, argument, k == 2 ? "the time must be above zero" : "the share must be above 0 and at most 100 %%");
    return DW_OK;
}

#define OPTION_STRUCT struct actuator_options
static const struct option_spec options[] = {
    MOTOR_CHANNEL_OPTIONS(channels, 4),
    { "report", NULL, "Write findings instead of the table; status 1 where no end is reached, a limit switch is run past, --limit is exceeded, or the "
      "supply falls below --least", OPTION_FLAG(report), .group = 5 },
    { .help = "Heat of the winding, with --report:", .group = 6 },
    { "thermal", "KEYS", "One pair of its thermal network to the surroundings: r=K/W and tau=s or c=J/K, such as r=4,tau=15min; repeat for each",
      OPTION_READ(thermal_read_pair), OPTION_AT(network), .repeats = true },
    { "ambient", "T", "Ambient temperature (degC); default 25", OPTION_QUANTITY(ambient, DW_TEMPERATURE), OPTION_FROM_TO(-273.15, INFINITY) },
    { "duty-type", "WORD", "How often the stroke comes, by IEC 60034-1: S1 without end, S2=T for so long from cold (s), S3=SHARE of each cycle",
      OPTION_READ(read_duty), OPTION_AT(duty) },
    { "cycle", "T", "Of S3 (s); default 10min, as the standard has it", OPTION_QUANTITY(cycle, DW_TIME), OPTION_ABOVE_ZERO },
    { "limit", "T", "Highest temperature that the winding stands (degC)", OPTION_QUANTITY(limit, DW_TEMPERATURE), OPTION_FROM_TO(-273.15, INFINITY) },
    { 0 }
};

static const struct option_rule rules[] = {
    REPORT_RULES,
    { OPTION_EXCLUDES, "report", "all", "a report has no channels" },
    { OPTION_REFUSED, "thermal ambient duty-type cycle limit", "!report", "is about findings: give --report" },
    { OPTION_NEEDED, "thermal", "ambient duty-type cycle limit", "such as r=4,tau=15min: without it no temperature is known" },
    { OPTION_REFUSED, "cycle", "!duty-type", "is of a --duty-type S3" },
    { 0 }
};

static const char about[] =
    "Position, force and current of a linear actuator: a brushed motor, a gear and a screw between two ends.\v"
    "Reads a wave table, takes a channel (--channel; default pin, else the last in V) as the gate, or with --drive direct as the terminal voltage, "
    "and appends current[A], force[N] in the screw, speed[m/s] and position[m] of the load with their slopes, before them feedback[V] and "
    "supply[V] where they are asked for. The screw's friction takes more torque where the motor drives than where the load does; it sticks, and "
    "may lock itself. Solved exactly from event to event: a screw that lets go, a force that turns round, a stop, a limit switch and its diode, a "
    "load that crosses its backlash. On --drive bridge-slow or bridge-fast the channel direction reverses.\n\n"
    "Rows of --report --format rows: stroke: time (from the first current to the first end, a stop or a switch), speed-mean, energy (from the supply), "
    "overrun (behind a switch); current: running (mean over the last half of the stroke or a little more), starting (peak), stall (all of the supply, standing still), "
    "at-stop (mean while it presses); force: stall and at-stop (lifted with these), back-drive (turns the screw without power); screw: torque-raise, "
    "torque-lower (at the screw, for --force; below zero it must be held), efficiency, self-locking (1: --force does not move it without power); winding: loss "
    "(mean over the stroke), highest (in the table), duty-highest (by --duty-type). Of a supply that gives way: " SUPPLY_FINDINGS ".\n\n"
    "Caution: an actuator moves without warning, pinches, drops when its load can drive it back, and a stalled winding burns.\n\n"
    "Example: the exhibit's lock gate, from its lower end to the upper one: how long, and what then?\n\n"
    "  dw-pwm --frequency 50 --duty 100% --duration 9 |\n"
    "    dw-actuator --resistance 1.85 --constant 27m --drag 4m \\\n"
    "      --inductance 900u --inertia 9u --supply 12 --drive one-switch \\\n"
    "      --gear 5 --lead 3mm --efficiency 35% --travel 0.2 --force 250 --report";

struct watching {
    const struct actuator_options *options;
    struct actuator_seen seen;
};

static enum dw_status watch(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct watching *w = context;
    dw_actuator_meter_row(&w->seen.meter, row);
    gates_row(&w->seen.gates, row);
    actuator_heat(w->options, &w->seen, row);
    return supply_row(&w->seen.supply, row, error);
}

/* The plant, what it is driven by, and what is to be seen. */
static enum dw_status prepare(struct actuator_options *o, struct dw_reader *reader, struct dw_follow_plan *follow, struct actuator_seen *seen,
                              struct dw_error *error)
{
    struct motor_inputs inputs = { .plan = &o->load.plan.motor, .column = follow->input_column };
    enum dw_status status = motor_inputs_find(&o->common, &o->channels, reader, &inputs, error);
    if (!status && o->load.force_from && !(follow->side = dw_course_open(o->load.force_from, error)))
        status = error->status;
    if (!status && !(follow->plant = actuator_kind.plant(&o->load, &inputs.drive, error)))
        status = error->status;
    if (!status && o->network.count && !(seen->thermal = dw_thermal_new(o->network.pairs, o->network.count, o->ambient, error)))
        status = error->status;
    if (status)
        return status;
    seen->meter.actuator = dw_plant_load(follow->plant);
    seen->gates = (struct gates_seen){ .low_gate = o->channels.low != NULL, .threshold = inputs.drive.threshold };
    seen->hottest = o->ambient;
    return supply_begin(&seen->supply, &o->load.feed, follow->plant, &o->common, o->report ? reader : NULL, error);
}

static enum dw_status run_actuator(void *options_read, struct dw_error *error)
{
    struct actuator_options *o = options_read;
    struct watching watching = { .options = o };
    struct dw_follow_plan follow = { .side_input = DW_ACTUATOR_FORCE, .descriptor = o->report ? -1 : STDOUT_FILENO, .watch = watch,
                                     .context = &watching };
    struct dw_follow_seen followed;
    o->load.plan.motor.all = o->load.plan.motor.all || o->report;  /* findings are of all its channels */
    struct dw_reader *reader = input_open(&o->common, !o->report, error);
    enum dw_status status = reader ? prepare(o, reader, &follow, &watching.seen, error) : error->status;
    if (!status)
        status = follow_table(&follow, &o->common, NULL, reader, &followed, error);
    if (!status && o->report)
        status = actuator_report(o, &watching.seen, error);
    if (!status)
        actuator_caution(o, &watching.seen);
    const enum dw_status fed = supply_end(&watching.seen.supply, status ? NULL : o->common.command, o->report, error);
    const enum dw_status judged = status || fed || !o->report ? fed : actuator_judge(o, &watching.seen, error);
    dw_thermal_free(watching.seen.thermal);
    dw_plant_free(follow.plant);
    dw_course_close(follow.side);
    dw_reader_close(reader);
    return status ? status : judged;
}

static const struct actuator_options defaults = { .common = COMMON_DEFAULTS, .ambient = 25, .limit = NAN, .cycle = 600 };
static const struct program program = {
    .name = "dw-actuator", .about = about, .options = options, .rules = rules, .load = &actuator_kind.program,
    .loaded = offsetof(struct actuator_options, load),
    .shared = SHARED_INPUT | SHARED_OUTPUT | SHARED_CHANNEL | SHARED_ROWS | SHARED_LINES | SHARED_REPORT, .run = run_actuator,
    PROGRAM_OPTIONS(struct actuator_options, defaults)
};
PROGRAM_MAIN(program)
