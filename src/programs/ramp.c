/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-ramp: the steps of a move, faster and then slower again, as a wave table. */
#include "common.h"
#include "report.h"
#include <dutywright/ramp.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum give { GIVE_STEP, GIVE_COILS, GIVE_INTERVALS };
enum sequence { WAVE, FULL, HALF, MICRO };

struct ramp_options {
    struct common_options common;
    struct dw_ramp_plan plan;
    long long steps;                /* 0: not given */
    double turns;                   /* NaN: not given */
    const char *moves_from;
    int full_steps, microsteps;
    double clock;                   /* Hz; 0: none */
    unsigned long long prescale, count_to;
    enum give give;
    enum sequence sequence;
    double high, pulse, setup, hold;
    bool report;
};

static const char *const give_words[] = { "step", "coils", "intervals", NULL };
static const char *const sequence_words[] = { "wave", "full", "half", "micro", NULL };

/* A move is pulses in one direction. */
static enum dw_status read_steps(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    double steps = 0;
    const enum dw_status status = option_value(option, argument, &steps, error);
    if (status == DW_OK && steps == 0)
        return option_error(error, option->name, argument, "a move of no steps; a negative number goes back");
    ((struct ramp_options *)options)->steps = (long long)steps;
    return status;
}

#define OPTION_STRUCT struct ramp_options
static const struct option_spec options[] = {
    { .help = "How far (one of three ways):" },
    { "steps", "N", "So many steps; a negative number goes back", OPTION_READ(read_steps), .quantity = DW_NUMBER, OPTION_WHOLE(-0x1p45, 0x1p45) },
    { "turns", "X", "So many turns, which must be whole steps", OPTION_QUANTITY(turns, DW_NUMBER) },
    { "moves-from", "FILE", "Moves, one after another, from a table of time[s] and steps: when each begins, and how far it goes (- is standard input)",
      OPTION_TEXT(moves_from) },
    { "full-steps", "N", "Full steps of a turn (default 200)", OPTION_COUNT(full_steps, 1, 1000000) },
    { "microsteps", "N", "Steps of a full step (default 1)", OPTION_COUNT(microsteps, 1, 65536) },
    { .help = "How fast:" },
    { "top-rate", "F", "Highest rate of steps (Hz)", OPTION_QUANTITY(plan.top_rate, DW_FREQUENCY), OPTION_ABOVE_ZERO, .required = "such as 1.6k" },
    { "start-rate", "F", "Rate that the load can start and stop at (Hz; default 0)", OPTION_QUANTITY(plan.start_rate, DW_FREQUENCY), OPTION_NOT_NEGATIVE },
    { "acceleration", "A", "Change of the rate (Hz/s; default: at once, every step at the top rate)", OPTION_QUANTITY(plan.acceleration, DW_NUMBER),
      OPTION_ABOVE_ZERO },
    { "jerk", "J", "Change of the acceleration (Hz/s2; default: at once)", OPTION_QUANTITY(plan.jerk, DW_NUMBER), OPTION_ABOVE_ZERO },
    { .help = "Made by a counter:" },
    { "clock", "F", "Clock of a timer (Hz): edges then stand at whole counts, late by one at most", OPTION_QUANTITY(clock, DW_FREQUENCY), OPTION_ABOVE_ZERO },
    { "prescale", "N", "Clock ticks to a count (default 1)", OPTION_COUNT(prescale, 1, 1LL << 32) },
    { "count-to", "M", "Largest count: an interval has M + 1 counts at most (default: any)", OPTION_COUNT(count_to, 1, (1LL << 32) - 1) },
    { .help = "What comes out:" },
    { "give", "WHAT",
      "step: the channels step and direction, a pulse a step; coils: a and b, the voltages of two coils; intervals: the time from "
      "step to step, a row each (default step)", OPTION_WORD(give, give_words) },
    { "pulse", "T", "Width of a step's pulse (s; default 5us)", OPTION_QUANTITY(pulse, DW_TIME), OPTION_ABOVE_ZERO },
    { "setup", "T", "From a move's direction to its first pulse (s; default 5us)", OPTION_QUANTITY(setup, DW_TIME), OPTION_NOT_NEGATIVE },
    { "sequence", "HOW",
      "wave: one coil at a time; full: both; half: in turn one and both; micro: cosine and sine of --microsteps a full step (default full)",
      OPTION_WORD(sequence, sequence_words) },
    { "high", "V", "Level of a pulse, or voltage of a coil (V; default 3.3)", OPTION_QUANTITY(high, DW_VOLTAGE), OPTION_ABOVE_ZERO },
    { "hold", "T", "Time that the table goes on behind the last step (s; default 0)", OPTION_QUANTITY(hold, DW_TIME), OPTION_NOT_NEGATIVE },
    { "report", NULL, "Say how long the moves take and how fast they get, instead of writing a table", OPTION_FLAG(report) },
    { 0 }
};

static const struct option_rule rules[] = {
    { OPTION_EXCLUDES, "steps turns moves-from", NULL, "both say how far; give one" },
    { OPTION_ONE_OF, "steps turns moves-from", NULL, "such as --steps 400" },
    { OPTION_EXCLUDES, "report", "binary give pulse setup sequence high hold", "a report has no channels" },
    { OPTION_NEEDED, "report", "format digits", "since --format and --digits are about the report" },
    { OPTION_REFUSED, "full-steps", "!turns", "counts turns: give --turns" },
    { OPTION_REFUSED, "microsteps", "!turns&!sequence=micro", "counts turns, or a coil's steps: give --turns or --sequence micro" },
    { OPTION_REFUSED, "jerk", "!acceleration", "is how fast the acceleration changes: give that too" },
    { OPTION_REFUSED, "prescale count-to", "!clock", "belongs to a counter: give --clock too" },
    { OPTION_REFUSED, "pulse setup", "give=coils give=intervals", "is about the pulses of --give step" },
    { OPTION_REFUSED, "sequence", "!give give=step give=intervals", "is about the coils of --give coils" },
    { OPTION_REFUSED, "high hold", "give=intervals", "intervals have no level" },
    { 0 }
};

static const char about[] =
    "Write the steps of a move of a stepper motor, faster and then slower again, as a wave table."
    "\v"
    "The rate rises from the start rate to the top rate, or as far as the move lets it, holds, and falls the same way; with --jerk the acceleration, too, "
    "rises and falls. Pulse k comes when that profile passes k, by a closed form: nothing adds up over a long move. Times are shares "
    "of a second to all digits or, with --clock, whole counts.\n\n"
    "Rows of --report --format rows (move): duration, steps, top-rate, rounding-highest.\n\n"
    "Caution: a motor that gets steps moves without warning; keep hands and loose things away until the supply is off.\n\n"
    "Examples:\n"
    "  dw-ramp --steps 400 --top-rate 1.7k --acceleration 5300 > steps.tsv\n"
    "  dw-ramp --turns -2.5 --microsteps 8 --top-rate 9k --start-rate 700 \\\n"
    "      --acceleration 42k --jerk 330k --clock 18M --prescale 64 --report\n"
    "  dw-ramp --steps 20 --top-rate 90 --acceleration 300 --give intervals";

/* ---- moves ---- */

struct move {
    double begin;       /* s; the first pulse comes a setup later */
    double steps;       /* below 0: back */
    struct dw_ramp ramp;
};

struct moves {
    struct move *move;  /* [count] */
    size_t count;
    double tick, pulse, setup;  /* s; of whole ticks where there are ticks, else tick 0 */
};

static double on_tick(const struct moves *moves, double time)
{
    return moves->tick > 0 ? dw_ramp_ticks(time, moves->tick) * moves->tick : time;
}

/* When a pulse should come, and when it does. */
static double wanted_time(const struct moves *moves, const struct move *move, double k)
{
    return move->begin + moves->setup + dw_ramp_time(&move->ramp, k);
}

static double pulse_time(const struct moves *moves, const struct move *move, double k)
{
    return on_tick(moves, wanted_time(moves, move, k));
}

static double last_pulse(const struct moves *moves, const struct move *move)
{
    return pulse_time(moves, move, move->ramp.length);
}

static enum dw_status add_move(struct moves *moves, double begin, double steps, struct dw_error *error)
{
    struct move *grown = realloc(moves->move, (moves->count + 1) * sizeof *grown);
    if (!grown)
        return dw_error_set(error, DW_NO_MEMORY, 0, "no memory for the moves");
    moves->move = grown;
    moves->move[moves->count++] = (struct move){ .begin = begin, .steps = steps };
    return DW_OK;
}

static enum dw_status read_moves(const struct ramp_options *o, struct moves *moves, struct dw_error *error)
{
    struct dw_reader *reader = dw_reader_open(o->moves_from, NULL, error);
    const double *row;
    char place[DW_ERROR_TEXT];
    enum dw_status status = reader ? dw_header_needs_time(dw_reader_header(reader), dw_reader_name(reader), error) : error->status;
    while (status == DW_OK && (status = dw_reader_row(reader, &row, error)) == DW_OK) {
        dw_reader_place(reader, place, sizeof place);
        if (row[1] != rint(row[1]) || row[1] == 0 || fabs(row[1]) > 0x1p45)
            status = dw_error_set(error, DW_BAD_INPUT, 0, "%s: a move of %.15g steps; whole ones are wanted, below 0 to go back", place, row[1]);
        else
            status = add_move(moves, row[0], row[1], error);
    }
    if (status == DW_END)
        status = moves->count ? DW_OK : dw_error_set(error, DW_BAD_INPUT, 0, "%s: it holds no move", dw_reader_name(reader));
    dw_reader_close(reader);
    return status;
}

static enum dw_status find_moves(const struct ramp_options *o, struct moves *moves, struct dw_error *error)
{
    if (o->moves_from)
        return read_moves(o, moves, error);
    const double exact = isnan(o->turns) ? (double)o->steps : o->turns * o->full_steps * o->microsteps, steps = rint(exact);
    if (steps == 0 || fabs(exact - steps) > 1e-9 * fabs(steps))
        return dw_error_set(error, DW_BAD_USE, 0, "--turns: '%s': that is %.9g steps of %d a turn, and no whole number",
                            command_given(o->common.command, "turns"), exact, o->full_steps * o->microsteps);
    return add_move(moves, 0, steps, error);
}

/* What a counter cannot do, and what would do. */
static enum dw_status check_counter(const struct ramp_options *o, const struct moves *moves, const struct move *move, struct dw_error *error)
{
    const double first = dw_ramp_time(&move->ramp, 1), counts = ceil(first / moves->tick) + 1;
    if (move->ramp.length == 0 || moves->tick == 0)
        return DW_OK;
    if (move->ramp.peak * moves->tick > 1)
        return dw_error_set(error, DW_BAD_USE, 0, "--top-rate: a count lasts %.4g s, so that steps come at %.6g Hz at most, and %.6g Hz are wanted",
                            moves->tick, 1 / moves->tick, move->ramp.peak);
    if (o->count_to && counts > (double)o->count_to + 1)
        return dw_error_set(error, DW_BAD_USE, 0, "--count-to: the first interval, %.4g s, has %.0f counts, and %llu is the largest count: a prescale of "
                            "%.0f would do, or a start rate of %.4g Hz", first, counts, o->count_to,
                            ceil((first * o->clock + 1) / ((double)o->count_to)), 1 / (((double)o->count_to - 1) * moves->tick));
    return DW_OK;
}

static enum dw_status check_move(const struct ramp_options *o, const struct moves *moves, size_t i, struct dw_error *error)
{
    const struct move *move = &moves->move[i], *before = i ? move - 1 : NULL;
    const double ends = before ? last_pulse(moves, before) + moves->pulse : 0;
    if (before && move->begin < ends)
        return dw_error_set(error, DW_BAD_INPUT, 0, "--moves-from: move %zu begins at %.9g s, but the one before it ends at %.9g s", i + 1, move->begin, ends);
    const enum dw_status status = check_counter(o, moves, move, error);
    if (status == DW_OK && o->give == GIVE_STEP && !o->report && move->ramp.length > 0 && (moves->pulse + moves->tick) * move->ramp.peak >= 1)
        return dw_error_set(error, DW_BAD_USE, 0, "--pulse: a pulse of %.6g s is not over before the next, at %.6g Hz", moves->pulse, move->ramp.peak);
    return status;
}

static enum dw_status make_moves(struct ramp_options *o, struct moves *moves, struct dw_error *error)
{
    moves->tick = o->clock > 0 ? (double)o->prescale / o->clock : 0;
    moves->setup = o->give == GIVE_STEP ? on_tick(moves, o->setup) : 0;
    moves->pulse = o->give == GIVE_STEP ? on_tick(moves, o->pulse) : 0;
    enum dw_status status = find_moves(o, moves, error);
    for (size_t i = 0; status == DW_OK && i < moves->count; i++) {
        moves->move[i].begin = on_tick(moves, moves->move[i].begin);
        status = dw_ramp_new(&o->plan, fabs(moves->move[i].steps), &moves->move[i].ramp, error);
        if (status == DW_OK)
            status = check_move(o, moves, i, error);
    }
    return status;
}

/* ---- rows ---- */

enum { WIDTH = 3, BLOCK = 1024 };

struct ramp_rows {
    struct command *command;
    struct dw_writer *writer;
    double row[BLOCK][WIDTH];
    size_t count, width;
    double end;         /* s, of the table */
};

static enum dw_status flush_rows(struct ramp_rows *rows, struct dw_error *error)
{
    double packed[BLOCK * WIDTH];
    for (size_t i = 0; i < rows->count; i++)
        memcpy(packed + i * rows->width, rows->row[i], rows->width * sizeof *packed);
    const enum dw_status status = dw_writer_rows(rows->writer, packed, rows->count, error);
    if (rows->count && rows->end > 0)
        command_progress(rows->command, NULL, fmin(rows->row[rows->count - 1][0] / rows->end, 1), true);
    rows->count = 0;
    return status;
}

static enum dw_status put(struct ramp_rows *rows, double first, double second, double third, struct dw_error *error)
{
    double *row = rows->row[rows->count++];
    row[0] = first;
    row[1] = second;
    row[2] = third;
    return rows->count == BLOCK ? flush_rows(rows, error) : DW_OK;
}

static enum dw_status put_steps(const struct ramp_options *o, const struct moves *moves, struct ramp_rows *rows, struct dw_error *error)
{
    double way = moves->move[0].steps > 0 ? o->high : 0, begin = moves->move[0].begin;
    enum dw_status status = put(rows, fmin(begin, 0), 0, way, error);
    for (size_t i = 0; status == DW_OK && i < moves->count; i++) {
        const struct move *move = &moves->move[i];
        const double now = move->steps > 0 ? o->high : 0;
        if (now != way)
            status = put(rows, move->begin, 0, way, error);
        if (status == DW_OK && now != way)
            status = put(rows, move->begin, 0, now, error);
        way = now;
        for (double k = 0; status == DW_OK && k <= move->ramp.length; k++) {
            const double time = pulse_time(moves, move, k), levels[4] = { 0, o->high, o->high, 0 };
            for (int j = 0; status == DW_OK && j < 4; j++)
                status = put(rows, j < 2 ? time : time + moves->pulse, levels[j], way, error);
        }
    }
    return status == DW_OK && o->hold > 0 ? put(rows, rows->end, 0, way, error) : status;
}

/* The voltages of both coils at a place in the sequence. */
static void coils_at(const struct ramp_options *o, double place, double *a, double *b)
{
    static const double cosines[8] = { 1, M_SQRT1_2, 0, -M_SQRT1_2, -1, -M_SQRT1_2, 0, M_SQRT1_2 };
    const double cycle = o->sequence == HALF ? 8 : o->sequence == MICRO ? 4.0 * o->microsteps : 4, at = place - floor(place / cycle) * cycle;
    const double eighths = at * 8 / cycle + (o->sequence == FULL), whole = rint(eighths);
    *a = eighths == whole ? cosines[(int)whole % 8] : cos(eighths * M_PI / 4);
    *b = eighths == whole ? cosines[((int)whole + 6) % 8] : sin(eighths * M_PI / 4);
    const double scale = o->sequence == MICRO ? 1 : fmax(fabs(*a), fabs(*b));
    *a *= o->high / scale;
    *b *= o->high / scale;
}

static enum dw_status put_coils(const struct ramp_options *o, const struct moves *moves, struct ramp_rows *rows, struct dw_error *error)
{
    double place = 0, a, b;
    coils_at(o, place, &a, &b);
    enum dw_status status = put(rows, fmin(moves->move[0].begin, 0), a, b, error);
    for (size_t i = 0; status == DW_OK && i < moves->count; i++)
        for (double k = 0; status == DW_OK && k <= moves->move[i].ramp.length; k++) {
            const double time = pulse_time(moves, &moves->move[i], k);
            status = put(rows, time, a, b, error);
            coils_at(o, place += copysign(1, moves->move[i].steps), &a, &b);
            if (status == DW_OK)
                status = put(rows, time, a, b, error);
        }
    return status == DW_OK && o->hold > 0 ? put(rows, rows->end, a, b, error) : status;
}

static enum dw_status put_intervals(const struct moves *moves, struct ramp_rows *rows, struct dw_error *error)
{
    double step = 0, before = NAN;
    enum dw_status status = DW_OK;
    for (size_t i = 0; status == DW_OK && i < moves->count; i++)
        for (double k = 0; status == DW_OK && k <= moves->move[i].ramp.length; k++) {
            const double time = pulse_time(moves, &moves->move[i], k), interval = time - before;
            before = time;
            if (!isnan(interval))
                status = put(rows, ++step, interval, moves->tick > 0 ? rint(interval / moves->tick) : 0, error);
        }
    return status;
}

static struct dw_header *make_header(const struct ramp_options *o, const struct moves *moves, struct dw_error *error)
{
    static const struct dw_column columns[][WIDTH] = {
        [GIVE_STEP] = { { "time", "s" }, { "step", "V" }, { "direction", "V" } },
        [GIVE_COILS] = { { "time", "s" }, { "a", "V" }, { "b", "V" } },
        [GIVE_INTERVALS] = { { "step", "1" }, { "interval", "s" }, { "ticks", "1" } },
    };
    const struct dw_column *column = columns[o->give];
    const size_t width = o->give == GIVE_INTERVALS && moves->tick == 0 ? 2 : WIDTH;
    char high[DW_NUMBER_SIZE], levels[2 * DW_NUMBER_SIZE + 4];
    dw_number_print(high, o->high);
    snprintf(levels, sizeof levels, "%s%s %s", o->give == GIVE_COILS ? "-" : "", o->give == GIVE_COILS ? high : "0", high);
    struct dw_header *header = dw_header_new(column[0].name, column[0].unit, error);
    enum dw_status status = header ? dw_header_add(header, "made-by", o->common.command->made_by, error) : error->status;
    if (status == DW_OK && o->give != GIVE_INTERVALS)
        status = dw_header_add(header, "levels", levels, error);
    if (status == DW_OK && moves->tick > 0 && o->give != GIVE_INTERVALS)
        status = dw_header_set_number(header, "tick", moves->tick, error);
    for (size_t i = 1; status == DW_OK && i < width; i++)
        status = dw_header_append(header, column[i].name, column[i].unit, error);
    if (status == DW_OK)
        return header;
    dw_header_free(header);
    return NULL;
}

static enum dw_status write_table(const struct ramp_options *o, const struct moves *moves, struct dw_error *error)
{
    struct dw_header *header = make_header(o, moves, error);
    struct ramp_rows rows = { .command = o->common.command };
    rows.end = last_pulse(moves, &moves->move[moves->count - 1]) + moves->pulse + o->hold;
    rows.writer = header ? dw_writer_open(STDOUT_FILENO, header, o->common.binary ? DW_BINARY : DW_TEXT, error) : NULL;
    rows.width = header ? dw_header_columns(header) : 0;
    enum dw_status status = rows.writer ? DW_OK : error->status;
    if (status == DW_OK)
        switch (o->give) {
        case GIVE_STEP: status = put_steps(o, moves, &rows, error); break;
        case GIVE_COILS: status = put_coils(o, moves, &rows, error); break;
        case GIVE_INTERVALS: status = put_intervals(moves, &rows, error); break;
        }
    if (status == DW_OK)
        status = flush_rows(&rows, error);
    if (status == DW_OK)
        status = dw_writer_finish(rows.writer, error);
    dw_writer_free(rows.writer);
    dw_header_free(header);
    return status;
}

/* ---- the report ---- */

/* s, by how much the latest edge is late. */
static double latest(const struct moves *moves)
{
    double late = 0;
    for (size_t i = 0; i < moves->count; i++)
        for (double k = 0; k <= moves->move[i].ramp.length; k++)
            late = fmax(late, pulse_time(moves, &moves->move[i], k) - wanted_time(moves, &moves->move[i], k));
    return late;
}

static enum dw_status write_report(const struct ramp_options *o, const struct moves *moves, struct dw_error *error)
{
    struct report *report = report_findings(error);
    double steps = 0, peak = 0;
    for (size_t i = 0; i < moves->count; i++) {
        steps += moves->move[i].steps;
        peak = fmax(peak, moves->move[i].ramp.length > 0 ? moves->move[i].ramp.peak : 0);
    }
    const double duration = last_pulse(moves, &moves->move[moves->count - 1]) - pulse_time(moves, &moves->move[0], 0);
    report_finding(report, "move", "duration", duration, "s", error);
    report_finding(report, "move", "steps", steps, "", error);
    report_finding(report, "move", "top-rate", peak, "Hz", error);
    if (moves->tick > 0)
        report_finding(report, "move", "rounding-highest", latest(moves), "s", error);
    return report_out(report, &o->common, DW_OK, error);
}

static void note_peaks(const struct ramp_options *o, const struct moves *moves)
{
    double least = INFINITY;
    size_t which = 0;
    for (size_t i = 0; i < moves->count; i++)
        if (moves->move[i].ramp.length > 0 && moves->move[i].ramp.peak < least) {
            least = moves->move[i].ramp.peak;
            which = i + 1;
        }
    if (which && least < o->plan.top_rate && moves->count > 1)
        command_note(o->common.command, "move %zu is too short for the top rate: it reaches %.4g Hz", which, least);
    else if (which && least < o->plan.top_rate)
        command_note(o->common.command, "the move is too short for the top rate: it reaches %.4g Hz", least);
}

static enum dw_status ramp(void *options_read, struct dw_error *error)
{
    struct ramp_options *o = options_read;
    struct moves moves = { .move = NULL };
    enum dw_status status = make_moves(o, &moves, error);
    if (status == DW_OK)
        status = o->report ? write_report(o, &moves, error) : write_table(o, &moves, error);
    if (status == DW_OK)
        note_peaks(o, &moves);
    free(moves.move);
    return status;
}

static enum dw_status check(const struct command *command, void *options_read, struct dw_error *error)
{
    struct ramp_options *o = options_read;
    struct dw_ramp any;
    if (!command_given(command, "acceleration"))
        o->plan.start_rate = o->plan.top_rate;
    return dw_ramp_new(&o->plan, 1, &any, error);
}

static const struct ramp_options defaults = {
    .common = COMMON_DEFAULTS, .plan = { .acceleration = INFINITY, .jerk = INFINITY }, .turns = NAN, .full_steps = 200, .microsteps = 1,
    .prescale = 1, .sequence = FULL, .high = 3.3, .pulse = 5e-6, .setup = 5e-6
};
static const struct program program = {
    .name = "dw-ramp", .about = about, .options = options, .rules = rules, .shared = SHARED_OUTPUT | SHARED_REPORT, .check = check, .run = ramp,
    PROGRAM_OPTIONS(struct ramp_options, defaults)
};
PROGRAM_MAIN(program)
