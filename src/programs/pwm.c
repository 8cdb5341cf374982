/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-pwm: a pulse train as a wave table. */
#include "old_common.h"
#include <dutywright/pulse.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

struct pwm_options {
    struct common_options common;
    struct dw_pulse_train train;
    struct dw_counter counter;  /* clock 0: none */
    const char *duty_from;
};

enum {
    OPTION_FREQUENCY = OPTION_OWN,
    OPTION_PERIOD,
    OPTION_CLOCK,
    OPTION_PRESCALE,
    OPTION_COUNT_TO,
    OPTION_COUNTING,
    OPTION_DUTY,
    OPTION_DUTY_FROM,
    OPTION_MODULATE,
    OPTION_BITS,
    OPTION_HIGH,
    OPTION_LOW,
    OPTION_ALIGN,
    OPTION_PHASE,
    OPTION_RISE,
    OPTION_FALL,
    OPTION_DEAD_TIME,
    OPTION_JITTER,
    OPTION_SEED,
    OPTION_PERIODS,
    OPTION_DURATION
};

static const struct argp_option options[] = {
    { NULL, 0, NULL, 0, "How fast (one of three ways):", 1 },
    { "frequency", OPTION_FREQUENCY, "F", 0, "Switching frequency (Hz); with --modulate density, of the clock", 1 },
    { "period", OPTION_PERIOD, "T", 0, "The same as a time (s)", 1 },
    { "clock", OPTION_CLOCK, "F", 0, "Clock of a timer (Hz); its counter then sets frequency and steps of duty", 1 },
    { "prescale", OPTION_PRESCALE, "N", 0, "Clock ticks to a count (default 1)", 1 },
    { "count-to", OPTION_COUNT_TO, "M", 0, "Largest count: 16383 for a free-running 14-bit counter", 1 },
    { "counting", OPTION_COUNTING, "WAY", 0,
      "up: 0 to M, M + 1 counts a period, duties k/(M + 1), pulse at the left; updown: 0 to M and back, 2 M counts, "
      "duties k/M, pulse in the centre (default up)", 1 },
    { NULL, 0, NULL, 0, "How much (one of --duty and --duty-from):", 2 },
    { "duty", OPTION_DUTY, "D", 0, "Share of the period that is high: 31.2%, 0.312 or 3510/11250", 2 },
    { "duty-from", OPTION_DUTY_FROM, "FILE", 0,
      "Duty against time, from the first channel of a table (- is standard input): shares, or percent where its unit is %", 2 },
    { "modulate", OPTION_MODULATE, "HOW", 0,
      "regular: the duty at the start of a period holds for it; natural: edges where the duty crosses a ramp or triangle; "
      "density: whole clocks on or off, as evenly as can be (default regular)", 2 },
    { "bits", OPTION_BITS, "N", 0, "Round the duty to k/2^N", 2 },
    { NULL, 0, NULL, 0, "Shape:", 3 },
    { "high", OPTION_HIGH, "V", 0, "Level when on (V; default 3.3)", 3 },
    { "low", OPTION_LOW, "V", 0, "Level when off (V; default 0)", 3 },
    { "align", OPTION_ALIGN, "PLACE", 0, "Place of the pulse in its period: left, centre or right (default left)", 3 },
    { "phase", OPTION_PHASE, "X", 0,
      "How much later every pulse comes: share of a period, or degrees (90deg). Periods still begin at whole multiples "
      "of the period, so the table may begin with the end of a pulse", 3 },
    { "rise", OPTION_RISE, "T", 0, "Time from low to high (s), starting at the nominal instant (default 0)", 3 },
    { "fall", OPTION_FALL, "T", 0, "Time from high to low (s), starting at the nominal instant (default 0)", 3 },
    { "dead-time", OPTION_DEAD_TIME, "T", 0,
      "Add the complementary channel, called complement, and delay each turn-on of both by T (s; 0 is allowed)", 3 },
    { "jitter", OPTION_JITTER, "T", 0, "Shift each edge at random: Gaussian, T rms (s); the order of edges is kept", 3 },
    { "seed", OPTION_SEED, "N", 0, "Which random shifts: the same N gives the same train (default 1)", 3 },
    { NULL, 0, NULL, 0, "How long (one of two ways):", 4 },
    { "periods", OPTION_PERIODS, "N", 0,
      "Periods (default 10; with --duty-from until its table ends). With --modulate density a period is the pattern: "
      "q clocks for a duty p/q", 4 },
    { "duration", OPTION_DURATION, "T", 0, "Time (s)", 4 },
    { "partial", OPTION_PARTIAL, NULL, 0, "Accept a duty table that was cut off before its end line", 2 },
    { 0 },
};

static const char about[] =
    "Write the pulse train of a pin that is only ever on or off, as a wave table with the channel pin (V)."
    "\v"
    "Values take SI prefixes and units: 1600, 22.5kHz, 1.8ms, 2.7k.\n\n"
    "The mean of the train is low + duty (high - low); unequal rise and fall add (fall - rise)/2 a period to the time that "
    "is high. What was rounded is told in the table's header, as duty asked and given.\n\n"
    "Examples:\n"
    "  dw-pwm --frequency 1.6k --duty 31.2%\n"
    "  dw-pwm --clock 18M --prescale 1 --count-to 11249 --counting up \\\n"
    "    --duty 31.2%\n"
    "  dw-pwm --frequency 22.5k --duty 40% --dead-time 500n --rise 50n --fall 50n\n"
    "  dw-pwm --frequency 2k --duty-from sine.tsv --modulate natural";

static const struct argp_child children[] = { { &output_argp, 0, NULL, 6 }, { 0 } };

static const char *const counting_words[] = { "up", "updown", NULL };
static const char *const align_words[] = { "left", "centre", "right", NULL };
static const char *const modulate_words[] = { "regular", "natural", "density", NULL };

/* Options that exclude, need or contradict each other. */
static void check_together(struct pwm_options *o)
{
    static const char *const rate[] = { "frequency", "period", "clock" };
    for (int i = 0; i < 3; i++)
        for (int j = i + 1; j < 3; j++)
            option_conflict(rate[i], rate[j], "both set the period; give one");
    option_conflict("duty", "duty-from", "both set the duty; give one");
    option_conflict("periods", "duration", "both set the length; give one");
    option_conflict("bits", "clock", "both set the steps of duty; give one");
    if (!option_given("frequency") && !option_given("period") && !option_given("clock"))
        program_fail(DW_BAD_USE, "--frequency, --period or --clock is missing: give one, such as --frequency 1.6k");
    if (!option_given("duty") && !option_given("duty-from"))
        program_fail(DW_BAD_USE, "--duty or --duty-from is missing: give one, such as --duty 31.2%%");
    static const char *const counter[] = { "prescale", "count-to", "counting" };
    for (int i = 0; i < 3 && !option_given("clock"); i++)
        if (option_given(counter[i]))
            option_error(counter[i], option_given(counter[i]), "belongs to a counter: give --clock too");
    if (option_given("clock"))
        option_required("count-to", "such as 11249");
    if (option_given("seed") && !option_given("jitter"))
        option_error("seed", option_given("seed"), "chooses the shifts of --jitter: give that too");
    if (option_given("partial") && !option_given("duty-from"))
        option_error("partial", NULL, "is about the table of --duty-from: give that too");
    const char *align = option_given("align");
    if (o->train.modulation == DW_DENSITY && align)
        option_error("align", align, "--modulate density has no place for it: its pulses are whole clocks");
    if (o->train.modulation == DW_DENSITY && option_given("clock"))
        option_error("clock", option_given("clock"), "--modulate density needs no counter: give its clock as --frequency");
    if (o->train.modulation == DW_NATURAL && (option_given("bits") || option_given("clock")))
        option_error("modulate", "natural", "compares without steps: use regular with --bits or --clock");
    if (align && option_given("clock") && (o->counter.counting == DW_COUNT_UP) == (o->train.alignment == DW_ALIGN_CENTRE))
        option_error("align", align, o->counter.counting == DW_COUNT_UP
                     ? "a counter that only counts up has its pulses left or right; --counting updown centres them"
                     : "a counter that counts up and down has its pulses in the centre");
}

/* A bare number beyond a period was meant in degrees: whole periods more or less change nothing. */
static double read_phase(const char *argument)
{
    const double phase = option_quantity("phase", argument, DW_PHASE);
    if (fabs(phase) > 1 && !strpbrk(argument, "/%d"))
        option_error("phase", argument, "must be from -1 to 1; did you mean %sdeg?", argument);
    return phase;
}

static error_t parse(int key, char *argument, struct argp_state *state)
{
    struct pwm_options *o = state->input;
    struct dw_pulse_train *train = &o->train;
    switch (key) {
    case ARGP_KEY_INIT: state->child_inputs[0] = &o->common; return 0;
    case OPTION_FREQUENCY:
        train->period = 1 / option_positive("frequency", argument, DW_FREQUENCY);
        if (isinf(train->period))
            option_error("frequency", argument, "its period is beyond what numbers can hold");
        return 0;
    case OPTION_PERIOD: train->period = option_positive("period", argument, DW_TIME); return 0;
    case OPTION_CLOCK: o->counter.clock = option_positive("clock", argument, DW_FREQUENCY); return 0;
    case OPTION_PRESCALE:
        o->counter.prescale = (unsigned long long)option_count("prescale", argument, 1, 1L << 32);
        return 0;
    case OPTION_COUNT_TO:
        o->counter.largest = (unsigned long long)option_count("count-to", argument, 1, (1L << 32) - 1);
        return 0;
    case OPTION_COUNTING:
        o->counter.counting = (enum dw_counting)option_word("counting", argument, counting_words);
        return 0;
    case OPTION_DUTY: train->duty = option_between("duty", argument, DW_SHARE, 0, 1); return 0;
    case OPTION_DUTY_FROM: o->duty_from = argument; return 0;
    case OPTION_MODULATE:
        train->modulation = (enum dw_modulation)option_word("modulate", argument, modulate_words);
        return 0;
    case OPTION_BITS: train->steps = 1ull << option_count("bits", argument, 1, 52); return 0;
    case OPTION_HIGH: train->high = option_quantity("high", argument, DW_VOLTAGE); return 0;
    case OPTION_LOW: train->low = option_quantity("low", argument, DW_VOLTAGE); return 0;
    case OPTION_ALIGN: train->alignment = (enum dw_alignment)option_word("align", argument, align_words); return 0;
    case OPTION_PHASE: train->phase = read_phase(argument); return 0;
    case OPTION_RISE: train->rise = option_between("rise", argument, DW_TIME, 0, INFINITY); return 0;
    case OPTION_FALL: train->fall = option_between("fall", argument, DW_TIME, 0, INFINITY); return 0;
    case OPTION_DEAD_TIME:
        train->complement = true;
        train->dead_time = option_between("dead-time", argument, DW_TIME, 0, INFINITY);
        return 0;
    case OPTION_JITTER: train->jitter = option_between("jitter", argument, DW_TIME, 0, INFINITY); return 0;
    case OPTION_SEED: train->seed = (uint64_t)option_count("seed", argument, 0, 1L << 53); return 0;
    case OPTION_PERIODS: train->periods = option_positive("periods", argument, DW_NUMBER); return 0;
    case OPTION_DURATION: train->duration = option_positive("duration", argument, DW_TIME); return 0;
    case OPTION_PARTIAL: o->common.partial = true; return 0;
    case ARGP_KEY_END: check_together(o); return 0;
    default: return ARGP_ERR_UNKNOWN;
    }
}

static const struct argp argp = { options, parse, NULL, about, children, NULL, NULL };

/* What the options leave to be worked out. */
static void complete_train(struct pwm_options *o)
{
    static const double longest = 1e6;  /* clocks: a longer pattern is asked for by mistake, ten of it even more so */
    struct dw_pulse_train *train = &o->train;
    if (o->counter.clock > 0) {
        train->period = dw_counter_period(&o->counter);
        train->steps = dw_counter_steps(&o->counter);
        if (o->counter.counting == DW_COUNT_UP_DOWN)
            train->alignment = DW_ALIGN_CENTRE;
    }
    if (o->duty_from || train->duration > 0)
        return;
    unsigned long long p, q = 0;
    if (train->modulation == DW_DENSITY
        && (!dw_duty_ratio(dw_duty_given(train->duty, train->steps, NULL), &p, &q) || (double)q > longest))
        option_error("duty", option_given("duty"), "as a density it repeats only after %.4g clocks; give --duration, "
                     "or --bits, or a simpler share such as 3/8", q ? (double)q : 0x1p53);
    if (train->periods == 0)
        train->periods = 10;
}

/* The duty table, row by row. */
struct duty_table {
    struct dw_reader *reader;
    double scale;        /* of the column's unit */
    double first, last;  /* s */
    bool any;
};

static enum dw_status duty_point(void *context, double *time, double *duty, struct dw_error *error)
{
    struct duty_table *table = context;
    const double *row;
    const enum dw_status status = dw_reader_row(table->reader, &row, error);
    if (status == DW_END && (!table->any || table->last <= table->first))
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: a duty against time needs rows at two times or more",
                            dw_reader_name(table->reader));
    if (status != DW_OK)
        return status;
    *time = table->last = row[0];
    *duty = row[1] * table->scale;
    if (!table->any)
        table->first = row[0];
    table->any = true;
    return DW_OK;
}

static enum dw_status open_duty(struct pwm_options *o, struct duty_table *table, struct dw_error *error)
{
    if (!o->duty_from)
        return DW_OK;
    const bool endless = !(o->train.periods > 0 || o->train.duration > 0);
    const struct dw_reader_options how =
        endless ? input_options_of(&o->common, true) : (struct dw_reader_options){ .partial = o->common.partial };
    table->reader = dw_reader_open(o->duty_from, &how, error);
    if (!table->reader)
        return error->status;
    const struct dw_header *header = dw_reader_header(table->reader);
    if (dw_header_columns(header) < 2)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: it has no channel for the duty", dw_reader_name(table->reader));
    const struct dw_column first = dw_header_column(header, 0), duty = dw_header_column(header, 1);
    if (*first.unit && strcmp(first.unit, "s") != 0)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the first column is %s[%s]; a duty is needed against time[s]",
                            dw_reader_name(table->reader), first.name, first.unit);
    if (*duty.unit && strcmp(duty.unit, "1") != 0 && strcmp(duty.unit, "%") != 0)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the first channel is %s[%s]; a duty has the unit 1 or %%",
                            dw_reader_name(table->reader), duty.name, duty.unit);
    table->scale = strcmp(duty.unit, "%") == 0 ? 0.01 : 1;
    o->train.points = duty_point;
    o->train.context = table;
    return DW_OK;
}

/* Keys of the duty table that are about its own rows. */
static bool is_about_rows(const char *key)
{
    static const char *const keys[] = { "period", "carrier-period", "origin", "levels", "duty", "sampled", "initial" };
    for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++)
        if (strcmp(key, keys[i]) == 0)
            return true;
    return false;
}

static enum dw_status set_numbers(struct dw_header *header, const char *key, const char *format, double one, double two,
                                  const char *rest, struct dw_error *error)
{
    char first[DW_NUMBER_SIZE], second[DW_NUMBER_SIZE], text[160];
    dw_number_print(first, one);
    dw_number_print(second, two);
    snprintf(text, sizeof text, format, first, second, rest);
    return dw_header_set(header, key, text, error);
}

static enum dw_status set_duty(struct dw_header *header, const struct dw_pulse_train *train, struct dw_error *error)
{
    char ratio[64] = "";
    unsigned long long p = 0, q = train->steps;
    const double given = dw_duty_given(train->duty, q, &p);
    if (train->modulation == DW_DENSITY && !dw_duty_ratio(given, &p, &q))
        q = 0;
    if (q)
        snprintf(ratio, sizeof ratio, " = %llu/%llu", p, q);
    return set_numbers(header, "duty", "asked %s given %s%s", train->duty, given, ratio, error);
}

static enum dw_status set_keys(struct dw_header *header, const struct pwm_options *o, const struct dw_pulse *pulse,
                               struct dw_error *error)
{
    const double pattern = dw_pulse_period(pulse), origin = dw_pulse_origin(pulse);
    enum dw_status status = dw_header_add(header, "made-by", program_made_by(), error);
    if (status == DW_OK && pattern > 0)
        status = dw_header_set_number(header, "period", pattern, error);
    if (status == DW_OK && pattern == 0)
        status = dw_header_set_number(header, "carrier-period", o->train.period, error);
    if (status == DW_OK && origin != 0)
        status = dw_header_set_number(header, "origin", origin, error);
    if (status == DW_OK)
        status = set_numbers(header, "levels", "%s %s%s", o->train.low, o->train.high, "", error);
    if (status == DW_OK && !o->duty_from)
        status = set_duty(header, &o->train, error);
    if (status == DW_OK && o->train.complement)
        status = dw_header_append(header, "complement", "V", error);
    return status == DW_OK ? dw_header_append(header, "pin", "V", error) : status;
}

static struct dw_header *make_header(const struct pwm_options *o, const struct duty_table *table,
                                     const struct dw_pulse *pulse, struct dw_error *error)
{
    struct dw_header *header = dw_header_new("time", "s", error);
    const struct dw_header *from = table->reader ? dw_reader_header(table->reader) : NULL;
    enum dw_status status = header ? DW_OK : error->status;
    const char *key, *value;
    for (size_t i = 0; status == DW_OK && from && (key = dw_header_key(from, i, &value)); i++)
        if (!is_about_rows(key))
            status = dw_header_add(header, key, value, error);
    if (status == DW_OK)
        status = set_keys(header, o, pulse, error);
    if (status == DW_OK)
        return header;
    dw_header_free(header);
    return NULL;
}

/* length: s, NaN where the duty's points decide */
static enum dw_status write_rows(struct dw_pulse *pulse, double length, struct dw_writer *writer, struct dw_error *error)
{
    double rows[3 * 512];
    const size_t width = 1 + dw_pulse_channels(pulse);
    enum dw_status status;
    size_t count;
    while ((status = dw_pulse_rows(pulse, rows, sizeof rows / sizeof rows[0] / width, &count, error)) == DW_OK) {
        if ((status = dw_writer_rows(writer, rows, count, error)) != DW_OK)
            return status;
        if (count && length > 0)
            program_progress(NULL, rows[(count - 1) * width] / length, true);
    }
    return status == DW_END ? dw_writer_finish(writer, error) : status;
}

static const char *plural(unsigned long long count)
{
    return count == 1 ? "" : "s";
}

static void note_findings(const struct pwm_options *o, const struct dw_pulse *pulse)
{
    const struct dw_pulse_findings found = dw_pulse_findings(pulse);
    if (found.clipped)
        program_note("the duty went from %g to %g; it was clipped to 0 to 1%s", found.lowest, found.highest,
                     found.highest > 2 ? " (a column in percent needs the unit %)" : "");
    if (found.closed)
        program_note("the dead time left nothing of %llu pulse%s, which stay%s off", found.closed, plural(found.closed),
                     found.closed == 1 ? "s" : "");
    if (found.swallowed)
        program_note("the jitter left nothing of %llu pulse%s", found.swallowed, plural(found.swallowed));
    if (found.partial)
        program_note("%llu edge%s turned round before the level was reached: the pulse or pause was shorter than the rise or "
                     "fall", found.partial, plural(found.partial));
    if (found.ended_early)
        program_note("the duty table ends at %g s, and so does the train", found.end);
    if (o->train.complement && o->train.fall > o->train.dead_time)
        program_caution("the fall is longer than the dead time: both channels are partly on at once, and a half bridge "
                        "would conduct straight through");
}

static enum dw_status pwm(struct pwm_options *o, struct dw_error *error)
{
    struct duty_table table = { .scale = 1 };
    complete_train(o);
    enum dw_status status = open_duty(o, &table, error);
    struct dw_pulse *pulse = status == DW_OK ? dw_pulse_new(&o->train, error) : NULL;
    struct dw_header *header = pulse ? make_header(o, &table, pulse, error) : NULL;
    const enum dw_encoding encoding = o->common.binary ? DW_BINARY : DW_TEXT;
    struct dw_writer *writer = header ? dw_writer_open(STDOUT_FILENO, header, encoding, error) : NULL;
    const double periods = o->train.periods > 0 ? o->train.periods : NAN;
    const double period = pulse && dw_pulse_period(pulse) > 0 ? dw_pulse_period(pulse) : o->train.period;
    const double length = o->train.duration > 0 ? o->train.duration : periods * period;
    status = writer ? write_rows(pulse, length, writer, error) : error->status;
    if (status == DW_OK)
        note_findings(o, pulse);
    dw_writer_free(writer);
    dw_header_free(header);
    dw_pulse_free(pulse);
    dw_reader_close(table.reader);
    return status;
}

int main(int argc, char **argv)
{
    struct pwm_options o = {
        .common = common_defaults(),
        .counter = { .prescale = 1 },
        .train = { .high = 3.3, .seed = 1 },
    };
    struct dw_error error = { .status = DW_OK };
    program_start("dw-pwm", &argp, &o, argc, argv);
    return program_finish(pwm(&o, &error), &error);
}
