/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-pwm: a pulse train as a wave table. */
#include "common.h"
#include <dutywright/pulse.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

struct pwm_options {
    struct common_options common;
    struct dw_pulse_train train;
    struct dw_counter counter;  /* clock 0: none */
    double frequency;           /* Hz; 0: none */
    int bits;                   /* 0: not asked */
    const char *duty_from;
};

static const char *const counting_words[] = { "up", "updown", NULL };
static const char *const align_words[] = { "left", "centre", "right", NULL };
static const char *const modulate_words[] = { "regular", "natural", "density", NULL };

/* A bare number beyond a period was meant in degrees: whole periods more or less change nothing. */
static enum dw_status read_phase(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    double *phase = &((struct pwm_options *)options)->train.phase;
    const enum dw_status status = option_value(option, argument, phase, error);
    if (status == DW_OK && fabs(*phase) > 1 && !strpbrk(argument, "/%d"))
        return option_error(error, option->name, argument, "must be from -1 to 1; did you mean %sdeg?", argument);
    return status;
}

static enum dw_status read_dead_time(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct dw_pulse_train *train = &((struct pwm_options *)options)->train;
    train->complement = true;
    return option_value(option, argument, &train->dead_time, error);
}

#define OPTION_STRUCT struct pwm_options
static const struct option_spec options[] = {
    { .help = "How fast (one of three ways):" },
    { "frequency", "F", "Switching frequency (Hz); with --modulate density, of the clock", OPTION_QUANTITY(frequency, DW_FREQUENCY),
      OPTION_ABOVE_ZERO, .also = "period" },
    { "period", "T", "The same as a time (s)", OPTION_QUANTITY(train.period, DW_TIME), OPTION_ABOVE_ZERO },
    { "clock", "F", "Clock of a timer (Hz); its counter then sets frequency and steps of duty", OPTION_QUANTITY(counter.clock, DW_FREQUENCY),
      OPTION_FROM_TO(1, INFINITY) },
    { "prescale", "N", "Clock ticks to a count (default 1)", OPTION_COUNT(counter.prescale, 1, 1LL << 32) },
    { "count-to", "M", "Largest count: 16383 for a free-running 14-bit counter", OPTION_COUNT(counter.largest, 1, (1LL << 32) - 1) },
    { "counting", "WAY",
      "up: 0 to M, M + 1 counts a period, duties k/(M + 1), pulse at the left; updown: 0 to M and back, 2 M counts, "
      "duties k/M, pulse in the centre (default up)", OPTION_WORD(counter.counting, counting_words) },
    { .help = "How much (one of --duty and --duty-from):" },
    { "duty", "D", "Share of the period that is high: 31.2%, 0.312 or 3510/11250", OPTION_QUANTITY(train.duty, DW_SHARE), OPTION_FROM_TO(0, 1) },
    { "duty-from", "FILE",
      "Duty against time, from the first channel of a table (- is standard input): shares, or percent where its unit is %",
      OPTION_TEXT(duty_from) },
    { "modulate", "HOW",
      "regular: the duty at the start of a period holds for it; natural: edges where the duty crosses a ramp or triangle; "
      "density: whole clocks on or off, as evenly as can be (default regular)", OPTION_WORD(train.modulation, modulate_words) },
    { "bits", "N", "Round the duty to k/2^N", OPTION_COUNT(bits, 1, 52) },
    { "partial", NULL, "Accept a duty table that was cut off before its end line", OPTION_FLAG(common.partial) },
    { .help = "Shape:" },
    { "high", "V", "Level when on (V; default 3.3)", OPTION_QUANTITY(train.high, DW_VOLTAGE), .also = "low" },
    { "low", "V", "Level when off (V; default 0)", OPTION_QUANTITY(train.low, DW_VOLTAGE) },
    { "align", "PLACE", "Place of the pulse in its period: left, centre or right (default left)", OPTION_WORD(train.alignment, align_words) },
    { "phase", "X",
      "How much later every pulse comes: share of a period, or degrees (90deg). Periods still begin at whole multiples "
      "of the period, so the table may begin with the end of a pulse", OPTION_READ(read_phase), .quantity = DW_PHASE },
    { "rise", "T", "Time from low to high (s), starting at the nominal instant (default 0)", OPTION_QUANTITY(train.rise, DW_TIME),
      OPTION_NOT_NEGATIVE },
    { "fall", "T", "Time from high to low (s), starting at the nominal instant (default 0)", OPTION_QUANTITY(train.fall, DW_TIME),
      OPTION_NOT_NEGATIVE },
    { "dead-time", "T", "Add the complementary channel, called complement, and delay each turn-on of both by T (s; 0 is allowed)",
      OPTION_READ(read_dead_time), OPTION_AT(train.dead_time), .quantity = DW_TIME, OPTION_NOT_NEGATIVE },
    { "jitter", "T", "Shift each edge at random: Gaussian, T rms (s); the order of edges is kept", OPTION_QUANTITY(train.jitter, DW_TIME),
      OPTION_NOT_NEGATIVE },
    { "seed", "N", "Which random shifts: the same N gives the same train (default 1)", OPTION_COUNT(train.seed, 0, 1LL << 53) },
    { .help = "How long (one of two ways):" },
    { "periods", "N",
      "Periods (default 10; with --duty-from until its table ends). With --modulate density a period is the pattern: "
      "q clocks for a duty p/q", OPTION_QUANTITY(train.periods, DW_NUMBER), OPTION_ABOVE_ZERO },
    { "duration", "T", "Time (s)", OPTION_QUANTITY(train.duration, DW_TIME), OPTION_ABOVE_ZERO },
    { 0 }
};

static const struct option_rule rules[] = {
    { OPTION_EXCLUDES, "frequency period clock", NULL, "both set the period; give one" },
    { OPTION_EXCLUDES, "duty", "duty-from", "both set the duty; give one" },
    { OPTION_EXCLUDES, "periods", "duration", "both set the length; give one" },
    { OPTION_EXCLUDES, "bits", "clock", "both set the steps of duty; give one" },
    { OPTION_ONE_OF, "frequency period clock", NULL, "such as --frequency 1.6k" },
    { OPTION_ONE_OF, "duty duty-from", NULL, "such as --duty 31.2%" },
    { OPTION_REFUSED, "prescale count-to counting", "!clock", "belongs to a counter: give --clock too" },
    { OPTION_NEEDED, "count-to", "clock", "such as 11249" },
    { OPTION_REFUSED, "seed", "!jitter", "chooses the shifts of --jitter: give that too" },
    { OPTION_REFUSED, "partial", "!duty-from", "is about the table of --duty-from: give that too" },
    { OPTION_REFUSED, "align", "modulate=density", "--modulate density has no place for it: its pulses are whole clocks" },
    { OPTION_REFUSED, "clock", "modulate=density", "--modulate density needs no counter: give its clock as --frequency" },
    { OPTION_REFUSED, "modulate=natural", "bits clock", "compares without steps: use regular with --bits or --clock" },
    { OPTION_REFUSED, "align=centre", "clock&!counting=updown",
      "a counter that only counts up has its pulses left or right; --counting updown centres them" },
    { OPTION_REFUSED, "align=left align=right", "clock&counting=updown", "a counter that counts up and down has its pulses in the centre" },
    { 0 }
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

/* What the options leave to be worked out. */
static enum dw_status complete_train(const struct command *command, void *options_read, struct dw_error *error)
{
    static const double longest = 1e6;  /* clocks: a longer pattern is asked for by mistake, ten of it even more so */
    struct pwm_options *o = options_read;
    struct dw_pulse_train *train = &o->train;
    if (o->frequency > 0)
        train->period = 1 / o->frequency;
    if (isinf(train->period))
        return option_error(error, "frequency", command_given(command, "frequency"), "its period is beyond what numbers can hold");
    if (o->bits)
        train->steps = 1ull << o->bits;
    if (o->counter.clock > 0) {
        train->period = dw_counter_period(&o->counter);
        train->steps = dw_counter_steps(&o->counter);
        if (o->counter.counting == DW_COUNT_UP_DOWN)
            train->alignment = DW_ALIGN_CENTRE;
    }
    if (o->duty_from || train->duration > 0)
        return DW_OK;
    unsigned long long p, q = 0;
    if (train->modulation == DW_DENSITY
        && (!dw_duty_ratio(dw_duty_given(train->duty, train->steps, NULL), &p, &q) || (double)q > longest))
        return option_error(error, "duty", command_given(command, "duty"), "as a density it repeats only after %.4g clocks; give "
                            "--duration, or --bits, or a simpler share such as 3/8", q ? (double)q : 0x1p53);
    if (train->periods == 0)
        train->periods = 10;
    return DW_OK;
}

/* Overmodulation is clipped, and goes a little beyond 1; what is beyond this is meant in percent. */
#define MOST_DUTY 2

/* The duty table, row by row. */
struct duty_table {
    struct dw_reader *reader;
    double scale;        /* of the column's unit */
    double period;       /* s, after which the duties repeat; 0: not known */
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
    if (table->scale == 1 && *duty > MOST_DUTY) {
        char place[160];
        dw_reader_place(table->reader, place, sizeof place);
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: a duty of %g: shares are from 0 to 1; is it in percent? Then its unit must be %%, "
                            "as duty[%%]", place, *duty);
    }
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
        endless ? command_reading(o->common.command, o->common.partial, true) : (struct dw_reader_options){ .partial = o->common.partial };
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
    table->period = dw_header_facts(header)->period;
    o->train.points = duty_point;
    o->train.context = table;
    return DW_OK;
}

static enum dw_status set_numbers(struct dw_header *header, const char *key, const char *format, double one, double two,
                                  struct dw_error *error)
{
    char first[DW_NUMBER_SIZE], second[DW_NUMBER_SIZE], text[160];
    dw_number_print(first, one);
    dw_number_print(second, two);
    snprintf(text, sizeof text, format, first, second);
    return dw_header_set(header, key, text, error);
}

static enum dw_status set_duty(struct dw_header *header, const struct dw_pulse_train *train, struct dw_error *error)
{
    char format[96] = "asked %s given %s";
    const size_t length = strlen(format);
    unsigned long long p = 0, q = train->steps;
    double given = dw_duty_given(train->duty, q, &p);
    if (train->modulation == DW_DENSITY && !dw_duty_ratio(given, &p, &q))
        q = 0;
    if (train->dead_time > 0) {
        /* turn-ons a period: of a density, where fewer of on and off clocks are, each stands alone */
        const double turns = train->modulation == DW_DENSITY ? fmin(given, 1 - given) : given < 1;
        given = fmax(given - turns * train->dead_time / train->period, 0);
        q = 0;
    }
    if (q)
        snprintf(format + length, sizeof format - length, " = %llu/%llu", p, q);
    return set_numbers(header, "duty", format, train->duty, given, error);
}

/* What the duties say of the whole pattern: it repeats with them where they hold a whole number of carriers, each of which gets its
 * pulse from its own duty alone. 0: they say nothing. */
static double pattern_of_duties(const struct pwm_options *o, const struct duty_table *table)
{
    bool whole;
    const double carriers = dw_period_index(0, o->train.period, table->period, &whole);
    return carriers >= 1 && whole && o->train.jitter == 0 && o->train.modulation != DW_DENSITY ? table->period : 0;
}

static enum dw_status set_keys(struct dw_header *header, const struct pwm_options *o, const struct duty_table *table,
                               const struct dw_pulse *pulse, struct dw_error *error)
{
    const double own = dw_pulse_period(pulse), origin = dw_pulse_origin(pulse), pattern = own > 0 ? own : pattern_of_duties(o, table);
    enum dw_status status = dw_header_add(header, "made-by", o->common.command->made_by, error);
    if (status == DW_OK && pattern > 0)
        status = dw_header_set_number(header, "period", pattern, error);
    if (status == DW_OK && own == 0)
        status = dw_header_set_number(header, "carrier-period", o->train.period, error);
    if (status == DW_OK && origin != 0)
        status = dw_header_set_number(header, "origin", origin, error);
    if (status == DW_OK)
        status = set_numbers(header, "levels", "%s %s", o->train.low, o->train.high, error);
    if (status == DW_OK && o->counter.clock > 0 && o->train.jitter == 0 && o->train.phase == 0 && o->train.dead_time == 0)
        status = dw_header_set_number(header, "tick", (double)o->counter.prescale / o->counter.clock, error);
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
    enum dw_status status = header ? DW_OK : error->status;
    struct dw_header *kept = NULL; /* keys of the duty table that are not about its own rows */
    const char *key, *value;
    if (status == DW_OK && table->reader &&
        !(kept = dw_header_derive(dw_reader_header(table->reader), DW_OTHER_AXIS | DW_OTHER_CHANNELS, NULL, error)))
        status = error->status;
    for (size_t i = 0; kept && status == DW_OK && (key = dw_header_key(kept, i, &value)); i++)
        status = dw_header_add(header, key, value, error);
    dw_header_free(kept);
    if (status == DW_OK)
        status = set_keys(header, o, table, pulse, error);
    if (status == DW_OK)
        return header;
    dw_header_free(header);
    return NULL;
}

/* length: s, NaN where the duty's points decide */
static enum dw_status write_rows(struct command *command, struct dw_pulse *pulse, double length,
                                 struct dw_writer *writer, struct dw_error *error)
{
    double rows[3 * 512];
    const size_t width = 1 + dw_pulse_channels(pulse);
    enum dw_status status;
    size_t count;
    while ((status = dw_pulse_rows(pulse, rows, sizeof rows / sizeof rows[0] / width, &count, error)) == DW_OK) {
        if ((status = dw_writer_rows(writer, rows, count, error)) != DW_OK)
            return status;
        if (count && length > 0)
            command_progress(command, NULL, rows[(count - 1) * width] / length, true);
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
        command_note(o->common.command, "the duty went from %g to %.*g; it was clipped to 0 to 1", found.lowest,
                     dw_digits_apart(found.highest, 1, 6), found.highest);
    if (found.closed)
        command_note(o->common.command, "the dead time left nothing of %llu pulse%s, which stay%s off", found.closed, plural(found.closed),
                     found.closed == 1 ? "s" : "");
    if (found.swallowed)
        command_note(o->common.command, "the jitter left nothing of %llu pulse%s", found.swallowed, plural(found.swallowed));
    if (found.partial)
        command_note(o->common.command, "%llu edge%s turned round before the level was reached: the pulse or pause was shorter than the rise or "
                     "fall", found.partial, plural(found.partial));
    if (found.ended_early)
        command_note(o->common.command, "the duty table ends at %g s, and so does the train", found.end);
    if (o->train.complement && o->train.fall > o->train.dead_time)
        command_caution(o->common.command, "the fall is longer than the dead time: both channels are partly on at once, and a half bridge "
                        "would conduct straight through");
}

static enum dw_status pwm(void *options_read, struct dw_error *error)
{
    struct pwm_options *o = options_read;
    struct duty_table table = { .scale = 1 };
    enum dw_status status = open_duty(o, &table, error);
    struct dw_pulse *pulse = status == DW_OK ? dw_pulse_new(&o->train, error) : NULL;
    struct dw_header *header = pulse ? make_header(o, &table, pulse, error) : NULL;
    const enum dw_encoding encoding = o->common.binary ? DW_BINARY : DW_TEXT;
    struct dw_writer *writer = header ? dw_writer_open(STDOUT_FILENO, header, encoding, error) : NULL;
    const double periods = o->train.periods > 0 ? o->train.periods : NAN;
    const double period = pulse && dw_pulse_period(pulse) > 0 ? dw_pulse_period(pulse) : o->train.period;
    const double length = o->train.duration > 0 ? o->train.duration : periods * period;
    status = writer ? write_rows(o->common.command, pulse, length, writer, error) : error->status;
    if (status == DW_OK)
        note_findings(o, pulse);
    dw_writer_free(writer);
    dw_header_free(header);
    dw_pulse_free(pulse);
    dw_reader_close(table.reader);
    return status;
}

static const struct pwm_options defaults = { .common = COMMON_DEFAULTS, .counter = { .prescale = 1 }, .train = { .high = 3.3, .seed = 1 } };
static const struct program program = {
    .name = "dw-pwm", .about = about, .options = options, .rules = rules, .shared = SHARED_OUTPUT, .check = complete_train, .run = pwm,
    PROGRAM_OPTIONS(struct pwm_options, defaults)
};
PROGRAM_MAIN(program)
