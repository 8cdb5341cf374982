/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-servo: a position servo that pulses drive, and the pulses that angles need. */
#include "drive.h"
#include "load_kind.h"
#include <dutywright/value.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

struct servo_options {
    struct common_options common;
    struct servo_load load;
    bool report;
    double at, frame;  /* deg, s; at NaN: not asked */
    bool print;        /* the only word that it takes is the first */
    const char *angles_from;
};

static const char *const printable[] = { "dw-pwm", NULL };

#define OPTION_STRUCT struct servo_options
static const struct option_spec options[] = {
    { .help = "Pulses for angles, reading no table:", .group = 3 },
    { "at", "ANGLE", "Say which pulse asks for this angle (deg)", OPTION_QUANTITY(at, DW_ANGLE), .group = 3 },
    { "print", "PROGRAM", "Instead, the options of PROGRAM, which is dw-pwm. In $(...) without quotes the shell splits them into words (zsh: "
      "${=$(...)})", OPTION_WORD(print, printable), .group = 3 },
    { "angles-from", "FILE", "Write the duties for dw-pwm --duty-from: from a table of time[s] and an angle (deg; - is standard input)",
      OPTION_TEXT(angles_from), .group = 3 },
    { "frame", "T", "From pulse to pulse (s; default 20m)", OPTION_QUANTITY(frame, DW_TIME), OPTION_ABOVE_ZERO, .group = 3 },
    { .help = "Output:", .group = 4 },
    { "report", NULL, "Write findings instead of the table; status 1 where the angle wanted is not reached, or lies beyond a stop",
      OPTION_FLAG(report), .group = 4 },
    { 0 }
};

static const struct option_rule rules[] = {
    { OPTION_EXCLUDES, "at", "angles-from", "one is an angle, the other many; give one" },
    { OPTION_EXCLUDES, "report", "at angles-from", "no table of pulses is read; give one" },
    { OPTION_EXCLUDES, "report at", "binary text uniform lines csv accuracy", "a report has no rows" },
    { OPTION_EXCLUDES, "at angles-from", "channel threshold initial uniform lines csv accuracy partial", "no table of pulses is read" },
    { OPTION_REFUSED, "format digits", "!report&!at print", "belongs to --report or --at" },
    { OPTION_REFUSED, "print", "!at", "prints the pulse of an angle: give --at" },
    { OPTION_REFUSED, "frame", "!at&!angles-from", "is of pulses to be made: a table has its own; give --at or --angles-from" },
    { 0 }
};

static const char about[] =
    "Angle of a position servo that takes the width of a pulse as the angle wanted.\v"
    "Reads a wave table, takes a channel (--channel; default pin, else the last in V) as the line, and appends wanted[deg] and angle[deg]. When a "
    "pulse ends, its width becomes the angle wanted; the servo turns at its slew, more slowly over the last degrees, and holds; a dead band keeps "
    "it from trembling. Solved exactly from pulse to pulse. A pulse in which the table begins counts from there.\n\n"
    "Rows of --report --format rows (angle): frame, width-shortest, width-longest, angle-step (what one count of the header's tick moves, "
    "or what is lost to the dead band, the larger of both), settling-time (from what the last move was asked for with, to its rest), final, "
    "beyond-stops. Status 1: the angle wanted is not reached.\n\n"
    "Caution: a servo moves without warning as soon as pulses come, pinches what lies in its way, and drops its load without power; keep "
    "fingers away.\n\n"
    "Examples: the exhibit's flag goes up, first as a table, then in figures\n\n"
    "  dw-servo --at 40deg\n"
    "  dw-pwm $(dw-servo --at 40deg --print dw-pwm) --periods 20 |\n"
    "    dw-servo --slew 420\n"
    "  dw-pwm --clock 18M --prescale 22 --count-to 16363 --duty 9.7% \\\n"
    "    --periods 20 |\n"
    "    dw-servo --slew 420 --stops -60:60 --report\n"
    "  printf '0,-40\\n0.5,-40\\n1.5,40\\n2.5,40\\n' | dw-servo --angles-from - |\n"
    "    dw-pwm --period 20m --duty-from - | dw-servo";

/* ---- pulses for angles ---- */

/* s; of an angle that can be had. */
static enum dw_status width_of(const struct servo_options *o, const char *place, double angle, double *width, struct dw_error *error)
{
    const struct dw_servo_plan *p = &o->load.plan;
    if (!(angle >= p->stop_low && angle <= p->stop_high))
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: an angle of %.6g deg: from %.6g deg to %.6g deg can be had", place, angle, p->stop_low,
                            p->stop_high);
    *width = dw_servo_width(p, angle);
    return DW_OK;
}

static enum dw_status give_pulse(const struct servo_options *o, struct dw_error *error)
{
    double width = 0;
    char duty[DW_NUMBER_SIZE], frame[DW_NUMBER_SIZE];
    enum dw_status status = width_of(o, "--at", o->at, &width, error);
    if (status)
        return dw_error_set(error, DW_BAD_USE, 0, "%s", error->text);
    if (command_given(o->common.command, "print")) {
        dw_number_print(frame, o->frame);
        dw_number_print(duty, width / o->frame);
        printf("--period %s --duty %s\n", frame, duty);
        return DW_OK;
    }
    struct report *report = report_findings(error);
    report_finding(report, "pulse", "width", width, "s", error);
    report_finding(report, "pulse", "frame", o->frame, "s", error);
    report_finding(report, "pulse", "duty", width / o->frame, "%", error);
    return report_out(report, &o->common, DW_OK, error);
}

static enum dw_status put_duty(const struct servo_options *o, struct dw_writer *writer, double time, double angle, struct dw_error *error)
{
    const double row[2] = { time, dw_servo_width(&o->load.plan, angle) / o->frame };
    return dw_writer_row(writer, row, error);
}

/* The row, and where the line to it passes points of the calibration, rows there: the duty bends with it. */
static enum dw_status put_line(const struct servo_options *o, struct dw_writer *writer, const double *before, const double *row,
                               struct dw_error *error)
{
    const struct dw_servo_plan *p = &o->load.plan;
    const bool back = (row[1] - before[1]) * (p->points[1].angle - p->points[0].angle) < 0;
    enum dw_status status = DW_OK;
    for (size_t i = 1; !status && row[0] > before[0] && i + 1 < p->point_count; i++) {
        const double angle = p->points[back ? p->point_count - 1 - i : i].angle, share = (angle - before[1]) / (row[1] - before[1]);
        if (share > 0 && share < 1)
            status = put_duty(o, writer, before[0] + share * (row[0] - before[0]), angle, error);
    }
    return status ? status : put_duty(o, writer, row[0], row[1], error);
}

static enum dw_status put_duties(const struct servo_options *o, struct dw_reader *reader, struct dw_writer *writer, struct dw_error *error)
{
    double before[2] = { NAN, NAN }, width;
    const double *row;
    char place[DW_ERROR_TEXT];
    enum dw_status status;
    while (!(status = dw_reader_row(reader, &row, error))) {
        dw_reader_place(reader, place, sizeof place);
        if ((status = width_of(o, place, row[1], &width, error)) || (status = put_line(o, writer, before, row, error)))
            return status;
        before[0] = row[0];
        before[1] = row[1];
    }
    return status != DW_END ? status : !isnan(before[0]) ? dw_writer_finish(writer, error)
           : dw_error_set(error, DW_BAD_INPUT, 0, "%s: it holds no angle", dw_reader_name(reader));
}

static enum dw_status give_duties(const struct servo_options *o, struct dw_error *error)
{
    struct dw_reader *reader = dw_reader_open(o->angles_from, NULL, error);
    const struct dw_header *angles = reader ? dw_reader_header(reader) : NULL;
    enum dw_status status = reader ? dw_header_needs_time(angles, dw_reader_name(reader), error) : error->status;
    const char *unit = !status && dw_header_columns(angles) > 1 ? dw_header_column(angles, 1).unit : "none";
    if (!status && *unit && strcmp(unit, "deg") != 0)
        status = dw_error_set(error, DW_BAD_INPUT, 0, "%s: the first channel must be an angle[deg]", dw_reader_name(reader));
    struct dw_header *header = status ? NULL : dw_header_new("time", "s", error);
    if (!status)
        status = !header ? error->status : dw_header_add(header, "made-by", o->common.command->made_by, error);
    if (!status)
        status = dw_header_append(header, "duty", "1", error);
    struct dw_writer *writer = status ? NULL : dw_writer_open(STDOUT_FILENO, header, o->common.binary ? DW_BINARY : DW_TEXT, error);
    if (!status)
        status = writer ? put_duties(o, reader, writer, error) : error->status;
    dw_writer_free(writer);
    dw_header_free(header);
    dw_reader_close(reader);
    return status;
}

/* ---- angles of pulses ---- */

static enum dw_status watch(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    (void)error;
    dw_servo_meter_row(context, row);
    return DW_OK;
}

static bool moved(const struct dw_servo_findings *f)
{
    return !isnan(f->begun);
}

static bool reached(const struct dw_servo_plan *p, const struct dw_servo_findings *f)
{
    return f->pulses && f->beyond == 0 && (!moved(f) || !isnan(f->settled)) && fabs(f->wanted - f->angle) <= dw_servo_band(p) + 1e-9 * p->slew;
}

static enum dw_status write_report(const struct servo_options *o, const struct dw_servo_findings *f, double tick, struct dw_error *error)
{
    const struct dw_servo_plan *p = &o->load.plan;
    const struct offered rows[] = {
        { true, "angle", "frame", report_number(f->frame), "s" },
        { true, "angle", "width-shortest", report_number(f->shortest), "s" },
        { true, "angle", "width-longest", report_number(f->longest), "s" },
        { true, "angle", "angle-step", report_number(fmax(tick * dw_servo_steepest(p), dw_servo_band(p))), "deg" },
        { true, "angle", "settling-time", report_number(moved(f) ? f->settled - f->begun : 0), "s" },
        { true, "angle", "final", report_number(f->angle), "deg" },
        { true, "angle", "beyond-stops", report_number(f->beyond), "deg" },
    };
    struct report *report = report_findings(error);
    report_wanted(report, rows, sizeof rows / sizeof rows[0], error);
    return report_out(report, &o->common, DW_OK, error);
}

static void say(const struct servo_options *o, const struct dw_servo_findings *f, double tick)
{
    const struct dw_servo_plan *p = &o->load.plan;
    struct command *command = o->common.command;
    char one[64], two[64], text[64];
    if (o->report)
        command_caution(command, "a servo moves without warning, pinches, and drops its load without power: keep fingers away");
    if (f->pressed > 0)
        command_caution(command, "it presses against a stop for %s, up to %s short of the angle wanted: the motor then takes its stall current, and it "
                        "or the gear burns out", in_words(one, f->pressed, "s", 4), in_words(two, f->beyond, "deg", 4));
    if (f->hunts >= 3)
        command_note(command, "it hunts: it turned round %llu times for less than ten dead bands; pulses from %s to %s vary by more than the dead band "
                     "of %s", f->hunts, in_words(one, f->shortest, "s", 4), in_words(two, f->longest, "s", 4), in_words(text, p->dead_band, "s", 4));
    if (f->lost > 0)
        command_note(command, "it was not driven for %s: there were no pulses, and what a load does to it then is not shown",
                     in_words(one, f->lost, "s", 4));
    if (tick > 0 && tick < p->dead_band)
        command_note(command, "a count of %s is less than the dead band of %s: single counts are lost", in_words(one, tick, "s", 4),
                     in_words(two, p->dead_band, "s", 4));
}

static enum dw_status judge(const struct servo_options *o, const struct dw_servo_findings *f, struct dw_error *error)
{
    const struct dw_servo_plan *p = &o->load.plan;
    if (reached(p, f))
        return DW_OK;
    if (!f->pulses)
        return dw_error_set(error, DW_NO, 0, "no pulse ends in this table, so that no angle is asked for");
    if (f->beyond > 0)
        return dw_error_set(error, DW_NO, 0, "an angle is asked for that lies %.4g deg beyond a stop: the stops are at %.4g deg and %.4g deg, pulses from "
                            "%.4g s to %.4g s keep between them", f->beyond, p->stop_low, p->stop_high,
                            fmin(dw_servo_width(p, p->stop_low), dw_servo_width(p, p->stop_high)),
                            fmax(dw_servo_width(p, p->stop_low), dw_servo_width(p, p->stop_high)));
    return dw_error_set(error, DW_NO, 0, "the angle wanted, %.4g deg, is not reached: at the end it is %.4g deg%s",
                        fabs(f->wanted) > 1e-9 ? f->wanted : 0, f->angle,
                        f->hunts >= 3 ? ", and it hunts" : "; a longer table may show it");
}

/* A carrier that is over before the pulses that the servo takes cannot be meant for it. */
static enum dw_status check_frame(const struct servo_options *o, const struct dw_reader *reader, struct dw_error *error)
{
    const struct dw_servo_plan *p = &o->load.plan;
    const struct dw_facts *facts = dw_header_facts(dw_reader_header(reader));
    const double frame = facts->carrier_period > 0 ? facts->carrier_period : facts->period, longest = p->points[p->point_count - 1].width;
    if (frame > 0 && frame <= longest)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: pulses come every %.4g s, and one for the end of the travel lasts %.4g s: pulses would "
                            "overlap a frame; dw-pwm --frequency %.3g would do", dw_reader_name(reader), frame, longest, fmin(50, 1 / (2 * longest)));
    return DW_OK;
}

static enum dw_status follow_pulses(const struct servo_options *o, struct dw_reader *reader, struct dw_error *error)
{
    struct common_options common = o->common;
    struct gate gate = { 0, NAN };
    struct dw_servo_meter meter = { .plan = &o->load.plan };
    struct dw_follow_plan follow = { .descriptor = o->report ? -1 : STDOUT_FILENO, .watch = watch, .context = &meter };
    struct dw_follow_seen seen;
    const double tick = dw_header_facts(dw_reader_header(reader))->tick;
    enum dw_status status = gate_find(common.command, reader, &(struct channel_wish){ "channel", common.channel, "V" }, o->load.plan.threshold,
                                      &gate, error);
    follow.input_column[DW_SERVO_PIN] = gate.column;
    if (!status && !(follow.plant = servo_kind.plant(&o->load, &(struct load_drive){ .threshold = gate.threshold }, error)))
        status = error->status;
    if (o->report)
        common.accuracy = fmax(common.accuracy, 1e-2);  /* events are exact whatever the rows */
    if (!status)
        status = follow_table(&follow, &common, NULL, reader, &seen, error);
    if (!status && o->report)
        status = write_report(o, &meter.found, tick, error);
    if (!status)
        say(o, &meter.found, tick);
    dw_plant_free(follow.plant);
    return status || !o->report ? status : judge(o, &meter.found, error);
}

static enum dw_status servo(void *options_read, struct dw_error *error)
{
    const struct servo_options *o = options_read;
    if (!isnan(o->at))
        return give_pulse(o, error);
    if (o->angles_from)
        return give_duties(o, error);
    struct dw_reader *reader = input_open(&o->common, !o->report, error);
    enum dw_status status = reader ? wave_needed(reader, error) : error->status;
    if (!status)
        status = check_frame(o, reader, error);
    if (!status)
        status = follow_pulses(o, reader, error);
    dw_reader_close(reader);
    return status;
}

static enum dw_status check(const struct command *command, void *options_read, struct dw_error *error)
{
    const struct servo_options *o = options_read;
    const struct dw_servo_plan *p = &o->load.plan;
    const char *mode = !isnan(o->at) ? "at" : o->angles_from ? "angles-from" : NULL, *frame = command_given(command, "frame");
    const double longest = p->points[p->point_count - 1].width;
    if (mode && o->common.file)
        return option_error(error, mode, command_given(command, mode), "reads no table of pulses, '%s' is given", o->common.file);
    if (o->load.calibration_from && strcmp(o->load.calibration_from, "-") == 0 && isnan(o->at) &&
        (o->angles_from ? strcmp(o->angles_from, "-") == 0 : !o->common.file))
        return option_error(error, "calibration-from", "-", "standard input has the other table already: give a file");
    if (mode && !(longest < o->frame))
        return option_error(error, "frame", frame, "pulses of up to %.4g s would overlap a frame of %.4g s: --frame %.4g would do", longest, o->frame,
                            2 * longest);
    return DW_OK;
}

static const struct servo_options defaults = { .common = COMMON_DEFAULTS, .at = NAN, .frame = 20e-3 };
static const struct program program = {
    .name = "dw-servo", .about = about, .options = options, .rules = rules, .load = &servo_kind.program,
    .loaded = offsetof(struct servo_options, load),
    .shared = SHARED_INPUT | SHARED_OUTPUT | SHARED_CHANNEL | SHARED_ROWS | SHARED_LINES | SHARED_REPORT, .check = check, .run = servo,
    PROGRAM_OPTIONS(struct servo_options, defaults)
};
PROGRAM_MAIN(program)
