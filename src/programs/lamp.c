/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-lamp: a lamp dimmed by pulses. */
#include "lamp_options.h"
#include "drive.h"
#include <string.h>
#include <unistd.h>

static const char *const starts[] = { "rest", "steady", NULL }, *const printable[] = { "dw-pwm", NULL };

static enum dw_status read_expect(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    static const char *const words[] = { "", "low-risk", "no-effect", "svm=" };
    struct lamp_options *o = options;
    struct dw_error why;
    size_t k = 1;
    while (k <= EXPECT_VISIBILITY && (k < EXPECT_VISIBILITY ? strcmp(argument, words[k]) : strncmp(argument, words[k], strlen(words[k]))))
        k++;
    if (k > EXPECT_VISIBILITY)
        return option_error(error, option->name, argument, "must be low-risk, no-effect or svm=X, such as svm=0.4");
    o->expect = (enum lamp_expectation)k;
    if (k == EXPECT_VISIBILITY && dw_quantity_parse(argument + strlen(words[k]), DW_NUMBER, &o->visibility, &why))
        return option_error(error, option->name, argument, "%s", why.text);
    return o->visibility >= 0 ? DW_OK : option_error(error, option->name, argument, "a visibility is not negative");
}

#define OPTION_STRUCT struct lamp_options
static const struct option_spec options[] = {
    { "start", "rest|steady", "Dark since long ago, a filament cold (default), or the periodic state that is reached from there",
      OPTION_WORD(steady, starts), .group = 3 },
    { "report", NULL, "Write findings on light and current instead of the table", OPTION_FLAG(report) },
    { "expect", "WORD",
      "What --report judges, status 1 where it does not hold: low-risk or no-effect, the limits of IEEE Std 1789; svm=X, a stroboscopic "
      "visibility of at most X", OPTION_READ(read_expect) },
    { .help = "Steps, instead of reading a table:" },
    { "even-steps", "N", "Duties of N steps from dark to full that look even, as a table for dw-pwm --duty-from and dw-plot",
      OPTION_COUNT(steps.count, 2, DW_STEPS_MOST), .also = "count" },
    { "bits", "N", "Of the counter: 2^N - 1 counts are a period", OPTION_COUNT(steps.bits, 1, DW_STEPS_BITS_MOST), .also = "bits" },
    { "clock", "F", "Of the counter (Hz): then what would do is told with its frequency", OPTION_QUANTITY(steps.clock, DW_FREQUENCY),
      OPTION_ABOVE_ZERO, .also = "clock" },
    { "prescale", "N", "Of the counter; default 1", OPTION_COUNT(steps.prescale, 1, 1LL << 32) },
    { "step-time", "T", "How long each step lasts (s); default 1", OPTION_QUANTITY(step_time, DW_TIME), OPTION_ABOVE_ZERO },
    { "print", "PROGRAM", "Instead of the table, the options for PROGRAM, which is dw-pwm, of a counter that has a code for each step. In $(...) without quotes "
      "the shell splits them into words (zsh: ${=$(...)})",
      OPTION_TEXT(print), .words = printable },
    { 0 }
};

static const struct option_rule rules[] = {
    REPORT_RULES,
    { OPTION_EXCLUDES, "report", "all", "a report has no channels" },
    { OPTION_REFUSED, "expect", "!report", "it is what --report judges: give --report" },
    { OPTION_EXCLUDES, "even-steps", "report start all channel partial threshold drive=direct uniform lines accuracy",
      "steps have no wave in time; give one" },
    { OPTION_EXCLUDES, "even-steps", SUPPLY_GIVEN, "steps are of a supply that stands; give one" },
    { OPTION_REFUSED, "bits clock prescale step-time print", "!even-steps", "is of --even-steps: give that too" },
    { OPTION_NEEDED, "bits", "even-steps", "such as 14" },
    { OPTION_REFUSED, "prescale", "!clock", "divides the --clock: give that too" },
    { OPTION_NEEDED, "clock", "print", "such as 18M" },
    { 0 }
};

static const char about[] =
    "Light and current of a lamp that a pin dims: light-emitting diodes behind a resistor or a driver, or a filament.\v"
    "Reads a wave table, takes a channel (--channel; default pin, else the last in V) as the gate of the lamp's switch, or with --drive "
    "direct as its voltage, and appends current[A] and light[1], which is 1 for the lamp fully on for long. LEDs are solved exactly; a "
    "filament is followed by its temperature, from cold with the inrush that goes with it.\n\n"
    "Findings are of the last whole period that the table names, but for the peak, which is of the whole table. lightness: CIE L*, how "
    "bright the mean looks, 100 for fully on. flicker-percent: (max - min) / (max + min); flicker-index: area above the mean over the whole. "
    "low-risk-limit and no-effect-limit: the most flicker at this frequency by IEEE Std 1789. svm: stroboscopic visibility (CIE TN 006), "
    "from lines of 80 Hz to 2 kHz: 1 just shows on what moves, and left out where no line lies there. Of a supply that gives way: " SUPPLY_FINDINGS ".\n\n"
    "Rows of --report --format rows: light or current, quantity, value, unit, bound, separated by tabs; percents are shares with unit 1.\n\n"
    "Example: three LEDs of the exhibit at half the counter: how bright do they look, and do they flicker?\n\n"
    "  dw-pwm --frequency 450 --duty 50% |\n"
    "    dw-lamp --kind led --forward 9.3 --resistor 120 --supply 12 --report\n\n"
    "Example: a filament from cold\n\n"
    "  dw-pwm --frequency 100 --duty 60% --periods 40 |\n"
    "    dw-lamp --kind filament --rated volts=12,watts=5 --time-constant 60m \\\n"
    "      --supply 12 | dw-plot --panel current --panel light --output warm.svg\n\n"
    "Example: 32 steps that look even, a second each\n\n"
    "  dw-lamp --kind led --forward 9.3 --resistor 120 --supply 12 \\\n"
    "    --even-steps 32 --bits 14 --clock 18M > steps.tsv\n"
    "  dw-pwm --clock 18M --count-to 16382 --duty-from steps.tsv |\n"
    "    dw-lamp --kind led --forward 9.3 --resistor 120 --supply 12 > light.tsv";

static enum dw_status check(const struct command *command, void *options_read, struct dw_error *error)
{
    struct lamp_options *o = options_read;
    struct dw_lamp_plan lamp = o->load.plan;
    struct dw_steps_plan steps = o->steps;
    if (!o->steps.count)
        return DW_OK;
    if (o->common.file)
        return option_error(error, "even-steps", command_given(command, "even-steps"), "reads no table, '%s' is given", o->common.file);
    lamp.threshold = 0;
    steps.lamp = &lamp;
    return dw_steps_check(&steps, error);
}

/* ---- along a table ---- */

static enum dw_status watch(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct lamp_seen *seen = context;
    const size_t current = seen->outputs - 2, light = seen->outputs - 1;
    seen->peak = fmax(seen->peak, fabs(row->output[current]));
    seen->least = fmin(seen->least, row->output[light]);
    seen->most = fmax(seen->most, row->output[light]);
    const enum dw_status status = supply_row(&seen->supply, row, error);
    if (status || !seen->meter)
        return status;
    const double all[DW_LIGHT_COLUMNS] = { row->time, row->output[light], row->slope[light], row->output[current], row->slope[current] };
    return dw_light_meter_row(seen->meter, all, error);
}

/* What is measured repeats as the table does, or else as its carrier. */
static enum dw_status prepare(const struct lamp_options *o, const struct dw_reader *reader, const struct dw_plant *plant,
                              struct lamp_seen *seen, struct dw_error *error)
{
    const struct dw_facts *facts = dw_header_facts(dw_reader_header(reader));
    const size_t outputs = seen->outputs = dw_plant_outputs(plant);
    const double share = dw_swing(o->common.accuracy), exact = o->load.plan.kind == DW_LAMP_LED ? NAN : o->common.accuracy;
    const struct dw_light_plan plan = {
        .period = facts->period > 0 ? facts->period : facts->carrier_period, .origin = facts->origin,
        .light = { .accuracy = exact, .share = isnan(exact) ? NAN : share },
        .current = { .accuracy = exact * dw_plant_port(plant, outputs - 2).scale, .share = isnan(exact) ? NAN : share },
        .place = dw_reader_name(reader)
    };
    seen->period = plan.period > 0 ? plan.period : 0;
    if (o->expect && !(seen->period > 0))
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the table does not say its period (key period), from which --expect takes the "
                            "frequency", dw_reader_name(reader));
    if (o->report && !(seen->meter = dw_light_meter_new(&plan, error)))
        return error->status;
    return supply_begin(&seen->supply, &o->load.feed, plant, &o->common, o->report ? reader : NULL, error);
}

static enum dw_status run_table(struct lamp_options *o, struct dw_reader *reader, const struct gate *gate, struct dw_error *error)
{
    const struct load_drive drive = { .threshold = gate->threshold };
    struct lamp_seen seen = { .least = INFINITY };
    o->load.plan.all = o->load.plan.all || (o->report && !dw_supply_ideal(&o->load.plan.source));  /* findings on the supply are of all its channels */
    struct dw_follow_seen followed;
    struct dw_plant *plant = lamp_kind.plant(&o->load, &drive, error);
    const struct dw_follow_plan follow = { .plant = plant, .steady = o->steady ? START_STEADY : NULL,
                                           .input_column = { [DW_LAMP_PIN] = gate->column },
                                           .descriptor = o->report ? -1 : STDOUT_FILENO, .watch = watch, .context = &seen };
    enum dw_status status = plant ? prepare(o, reader, plant, &seen, error) : error->status;
    if (!status)
        status = follow_table(&follow, &o->common, NULL, reader, &followed, error);
    if (!status && o->report)
        status = lamp_report(o, &seen, error);
    else if (!status)
        lamp_caution(o, &seen);
    const enum dw_status judged = supply_end(&seen.supply, status && status != DW_NO ? NULL : o->common.command, o->report && !status, error);
    dw_light_meter_free(seen.meter);
    dw_plant_free(plant);
    return status ? status : judged;
}

static enum dw_status run_lamp(void *options_read, struct dw_error *error)
{
    struct lamp_options *o = options_read;
    const struct channel_wish wish = { "channel", o->common.channel, "V" };
    struct gate gate = { 0, NAN };
    if (o->steps.count)
        return lamp_steps(o, error);
    struct dw_reader *reader = input_open(&o->common, !o->report, error);
    enum dw_status status = reader ? wave_needed(reader, error) : error->status;
    if (!status)
        status = gate_find(o->common.command, reader, &wish, o->load.plan.direct ? 0 : o->load.plan.threshold, &gate, error);
    if (!status)
        status = run_table(o, reader, &gate, error);
    dw_reader_close(reader);
    return status;
}

static const struct lamp_options defaults = { .common = COMMON_DEFAULTS, .steps = { .prescale = 1 }, .step_time = 1 };
static const struct program program = {
    .name = "dw-lamp", .about = about, .options = options, .rules = rules, .check = check, .run = run_lamp,
    .load = &lamp_kind.program, .loaded = offsetof(struct lamp_options, load),
    .shared = SHARED_INPUT | SHARED_OUTPUT | SHARED_CHANNEL | SHARED_ROWS | SHARED_LINES | SHARED_REPORT,
    PROGRAM_OPTIONS(struct lamp_options, defaults)
};
PROGRAM_MAIN(program)
