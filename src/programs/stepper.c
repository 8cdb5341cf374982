/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-stepper: a stepper motor and its drive: where it turns, and whether it loses steps. */
#include "drive.h"
#include "load_kind.h"
#include <dutywright/value.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

/* W that windings at rest may take before it is worth a caution: common practice, no source. */
static const double WARM = 2;

struct stepper_options {
    struct common_options common;
    struct stepper_load load;
    const char *direction;
    char coils[2][64], gates[2][64];  /* empty: not given */
    bool report;
    double rates[2];  /* Hz; NaN: not asked */
    int points;
};

/* A:B into the lowest and the highest rate. */
static enum dw_status read_rates(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    double *rates = ((struct stepper_options *)options)->rates;
    const enum dw_status status = option_pair(option, argument, ':', "two rates with a colon between, such as 100:2k", rates, error);
    if (!status && !(rates[0] < rates[1]))
        return option_error(error, option->name, argument, "the first must be below the second");
    return status;
}

static enum dw_status read_pair(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    char (*pair)[64] = (char (*)[64])((char *)options + option->offset);
    const char *second = option_halves(argument, ',', pair[0], sizeof pair[0]);
    if (!second || !*pair[0] || !*second || strlen(second) >= sizeof pair[1])
        return option_error(error, option->name, argument, "must be two channels with a comma between, such as a,b");
    snprintf(pair[1], sizeof pair[1], "%s", second);
    return DW_OK;
}

#define OPTION_STRUCT struct stepper_options
static const struct option_spec options[] = {
    { "direction", "CHANNEL", "Steps go forwards where it is on; default the channel direction, where there is one", OPTION_TEXT(direction),
      .group = 3 },
    { "coils", "A,B", "Channels that say each coil's share of the supply or current instead of steps; default a,b where there is no channel step",
      OPTION_READ(read_pair), OPTION_AT(coils) },
    { "gates", "A,B", "Channels that drive each coil while they are on; off, the coil is open, and diodes take its current", OPTION_READ(read_pair),
      OPTION_AT(gates) },
    { "report", NULL, "Write findings instead of the table; status 1 where steps are lost, or the rotor still turns at the end", OPTION_FLAG(report),
      .group = 4 },
    { .help = "Torque against rate, reading no table:", .group = 5 },
    { "pull-out", "A:B",
      "Write a table of the torques on the output shaft that it bears at rates from A to B (Hz, full steps): by formula, as simulated with a load that "
      "rises slowly, whether running in step is stable, and with which load it starts at once", OPTION_READ(read_rates), .quantity = DW_FREQUENCY,
      OPTION_ABOVE_ZERO, .group = 5 },
    { "points", "N", "So many rates, each the same factor above the one before (default 12)", OPTION_COUNT(points, 2, 10000), .group = 5 },
    { 0 }
};

static const struct option_rule rules[] = {
    REPORT_RULES,
    { OPTION_EXCLUDES, "report", "all", "a report has no channels" },
    { OPTION_EXCLUDES, "coils", "channel direction microsteps", "coils have no steps; give one" },
    { OPTION_EXCLUDES, "pull-out", "report channel direction coils gates torque torque-from threshold level all uniform lines csv accuracy partial "
      "supply-line battery bulk no-return", "no table is read, the load is what is sought, and the supply holds its voltage" },
    { OPTION_REFUSED, "points", "!pull-out", "is of a table of rates: give --pull-out" },
    { 0 }
};

static const char about[] =
    "Angle and currents of a stepper motor of two windings, and whether it loses steps.\v"
    "Reads a table of dw-ramp: steps (channels step and direction), or the shares of both coils (a and b), and appends current-a[A], current-b[A], "
    "wanted[deg], where the field has gone, and angle[deg], where the rotor is. It begins held in the first row's field. Stepped from event to event "
    "with its error under control: a chopper that reaches its reference, diodes that stop conducting, a rotor that sticks and lets go.\n\n"
    "Rows of --report --format rows (steps): asked, made, lost, in full steps, lost a multiple of four; (angle): lag-highest, final; (rotor): "
    "natural-frequency, of small swings with currents held; with --drive voltage also ringing-frequency, as they are with currents that give way.\n"
    "--pull-out writes rate[Hz] torque[Nm] simulated[Nm] stable[1] pull-in[Nm]; torque is the formula's, of the fundamental, and 0 says that none is "
    "borne, or that it does not start.\n\n"
    "Of a supply that gives way: " SUPPLY_FINDINGS ".\n\n"
    "Caution: a stepper moves without warning, and pinches. At rest its windings get their full current and heat; keep hands away, and see "
    "that it can lose the heat.\n\n"
    "Examples: the exhibit's moon goes half round, by a ramp; at once it would lose its steps\n\n"
    "  dw-ramp --steps 100 --top-rate 900 --acceleration 4k --hold 0.2 |\n"
    "    dw-stepper --rated torque=0.3,current=1.2 --resistance 2.1 \\\n"
    "      --inductance 3.4m --inertia 57gcm2 --drag 8m --load-inertia 90u \\\n"
    "      --drive current --supply 12 --report\n\n"
    "Which torque it bears at which rate:\n\n"
    "  dw-stepper --rated torque=0.3,current=1.2 --resistance 2.1 \\\n"
    "    --inductance 3.4m --inertia 57gcm2 --drive current --supply 12 \\\n"
    "    --off-time 40u --pull-out 200:2k --points 4";

/* ---- what comes in ---- */

/* Two columns by their names. */
static enum dw_status find_pair(const struct dw_reader *reader, const char *option, char (*names)[64], size_t *column, struct dw_error *error)
{
    struct dw_error why;
    for (int i = 0; i < 2; i++)
        if (!(column[i] = dw_header_find(dw_reader_header(reader), names[i], &why)))
            return dw_error_set(error, DW_BAD_INPUT, 0, "--%s: %s", option, why.text);
    return DW_OK;
}

/* Whether the table has coils, or steps. */
static enum dw_status find_drive(struct stepper_options *o, const struct dw_reader *reader, size_t *column, struct load_drive *drive, struct dw_error *error)
{
    const struct dw_header *header = dw_reader_header(reader);
    const char *const wanted = o->common.channel ? o->common.channel : "step", *const direction = o->direction ? o->direction : "direction";
    struct dw_error why;
    drive->coils = *o->coils[0] || (!o->common.channel && !dw_header_find(header, "step", NULL) && dw_header_find(header, "a", NULL) &&
                                    dw_header_find(header, "b", NULL));
    if (drive->coils && !*o->coils[0]) {
        strcpy(o->coils[0], "a");
        strcpy(o->coils[1], "b");
    }
    if (drive->coils)
        return find_pair(reader, "coils", o->coils, column + DW_STEPPER_A, error);
    if (!(column[DW_STEPPER_STEP] = dw_header_find(header, wanted, &why)))
        return o->common.channel ? dw_error_set(error, DW_BAD_INPUT, 0, "--channel: %s", why.text) :
               dw_error_set(error, DW_BAD_INPUT, 0, "%s: no channel step, nor a and b for the coils: dw-ramp writes them, --channel and --coils name "
                            "others", dw_reader_name(reader));
    if (!(column[DW_STEPPER_DIRECTION] = dw_header_find(header, direction, &why)) && o->direction)
        return dw_error_set(error, DW_BAD_INPUT, 0, "--direction: %s", why.text);
    drive->direction = column[DW_STEPPER_DIRECTION] != 0;
    return DW_OK;
}

/* What the levels of the table say, unless options do. */
static enum dw_status find_levels(const struct stepper_options *o, const struct dw_reader *reader, struct load_drive *drive, struct dw_error *error)
{
    const struct dw_facts *facts = dw_header_facts(dw_reader_header(reader));
    const bool known = facts->has & DW_FACT_LEVELS;
    const struct dw_stepper_plan *p = &o->load.plan;
    drive->level = known ? facts->high : p->level;
    drive->threshold = !known ? drive->level / 2 : drive->coils ? facts->high / 2 : facts->low + (facts->high - facts->low) / 2;
    if (drive->coils && isnan(p->level) && !(known && facts->high > 0))
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the table does not say which level stands for a coil's whole supply or current (key levels): "
                            "give --level V", dw_reader_name(reader));
    if (isnan(p->threshold) && isnan(drive->threshold) && !drive->coils)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: the table does not say which levels are on and off (key levels): give --threshold V",
                            dw_reader_name(reader));
    if (drive->coils && p->microsteps > 1)
        return dw_error_set(error, DW_BAD_USE, 0, "--microsteps: is about steps, and %s has coils: dw-ramp --sequence micro makes theirs",
                            dw_reader_name(reader));
    drive->threshold = isnan(drive->threshold) ? 0 : drive->threshold;
    return DW_OK;
}

static enum dw_status find_inputs(struct stepper_options *o, const struct dw_reader *reader, size_t *column, struct load_drive *drive,
                                  struct dw_error *error)
{
    enum dw_status status = wave_needed(reader, error);
    if (!status)
        status = find_drive(o, reader, column, drive, error);
    drive->gates = *o->gates[0];
    if (!status && drive->gates)
        status = find_pair(reader, "gates", o->gates, column + DW_STEPPER_GATE_A, error);
    return status ? status : find_levels(o, reader, drive, error);
}

/* ---- what is found ---- */

struct stepper_seen {
    struct dw_stepper_plan plan;  /* as the plant has it */
    struct dw_stepper_meter meter;
    struct supply_seen supply;
};

static enum dw_status watch(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct stepper_seen *seen = context;
    dw_stepper_meter_row(&seen->meter, row);
    return supply_row(&seen->supply, row, error);
}

/* Hz, of small swings where the supply holds voltages and not currents; NaN: they do not swing. */
static enum dw_status find_ringing(const struct dw_stepper_plan *p, const struct dw_stepper_findings *f, double *hertz, struct dw_error *error)
{
    const double ohms = p->resistance + 2 * p->switch_resistance;
    const struct dw_stepper_locked held = { .volts = f->amperes * ohms, .direct = f->amperes, .field = f->field };
    double real[4], imaginary[4], most = 0;
    *hertz = NAN;
    if (p->drive != DW_STEPPER_VOLTAGE)
        return DW_OK;
    const enum dw_status status = dw_stepper_eigenvalues(p, &held, real, imaginary, error);
    for (int i = 0; !status && i < 4; i++)
        most = fmax(most, imaginary[i]);
    if (!status && most > 1e-9 * fabs(real[3]))
        *hertz = most / (2 * M_PI);
    return status;
}

static enum dw_status write_report(const struct stepper_options *o, struct stepper_seen *seen, struct dw_error *error)
{
    const struct dw_stepper_findings *f = &seen->meter.found;
    const struct dw_stepper_plan *p = &seen->plan;
    const double degrees = 180 / M_PI, teeth = p->full_steps / 4;
    double hertz;
    if (find_ringing(p, f, &hertz, error))
        return error->status;
    const struct offered rows[] = {
        { true, "steps", "asked", report_number(f->asked), "" },
        { true, "steps", "made", report_number(f->made), "" },
        { true, "steps", "lost", report_number(f->lost), "" },
        { true, "angle", "lag-highest", report_number(f->lag / teeth * degrees), "deg" },
        { true, "angle", "final", report_number(f->angle * degrees), "deg" },
        { true, "rotor", "natural-frequency", report_number(dw_stepper_frequency(p, f->amperes, f->field)), "Hz" },
        { true, "rotor", "ringing-frequency", report_number(hertz), "Hz" },
    };
    struct report *report = report_findings(error);
    enum dw_status status = report_wanted(report, rows, sizeof rows / sizeof rows[0], error);
    if (!status)
        status = supply_findings(&seen->supply, report, error);
    return report_out(report, &o->common, status, error);
}

static void say(const struct stepper_options *o, const struct stepper_seen *seen)
{
    const struct dw_stepper_findings *f = &seen->meter.found;
    struct command *command = o->common.command;
    char one[64];
    command_caution_voltage(command, seen->plan.supply, "");
    if (o->report)
        command_caution(command, "a stepper moves without warning, and pinches: keep hands and loose things away until the supply is off");
    if (f->rests && f->heat > WARM)
        command_caution(command, "hot part: at the end its windings take %s for as long as it is held; a stalled motor cools least, and they can burn",
                        in_words(one, f->heat, "W", 4));
    if (!o->report && f->lost != 0)
        command_note(command, "%g steps are lost: the rotor slips first at %s", f->lost, in_words(one, f->slipped_at, "s", 4));
}

static enum dw_status judge(const struct dw_stepper_findings *f, struct dw_error *error)
{
    char one[64];
    if (!f->rests)
        return dw_error_set(error, DW_NO, 0, "the rotor still turns at the end, so that steps cannot be counted: a longer table (dw-ramp --hold) may show them");
    if (f->lost != 0)
        return dw_error_set(error, DW_NO, 0, "%g steps are lost, the first at %s: a lower --start-rate or --acceleration of dw-ramp, or more current or "
                            "supply, keeps them", f->lost, in_words(one, f->slipped_at, "s", 4));
    return DW_OK;
}

static enum dw_status follow_steps(struct stepper_options *o, struct dw_reader *reader, struct dw_error *error)
{
    struct load_drive drive = { .threshold = NAN };
    struct stepper_seen seen = { .plan = o->load.plan };
    struct dw_follow_plan follow = { .side_input = DW_STEPPER_TORQUE, .descriptor = o->report ? -1 : STDOUT_FILENO, .watch = watch, .context = &seen };
    struct dw_follow_seen followed;
    struct common_options common = o->common;
    const bool gives_way = !dw_supply_ideal(&o->load.feed.parts);
    o->load.plan.all = o->load.plan.all || (o->report && gives_way);  /* findings are of all its channels */
    enum dw_status status = find_inputs(o, reader, follow.input_column, &drive, error);
    if (!status && o->load.torque_from && !(follow.side = dw_course_open(o->load.torque_from, error)))
        status = error->status;
    if (!status && !(follow.plant = stepper_kind.plant(&o->load, &drive, error)))
        status = error->status;
    if (!status)
        status = supply_begin(&seen.supply, &o->load.feed, follow.plant, &o->common, o->report ? reader : NULL, error);
    if (!status) {
        seen.plan = *(const struct dw_stepper_plan *)dw_plant_load(follow.plant);
        seen.meter.plan = &seen.plan;
        if (o->report && !gives_way)  /* states are exact whatever the rows, and a chopper gives enough of them */
            common.accuracy = seen.plan.drive == DW_STEPPER_CURRENT ? 0 : fmax(common.accuracy, 1e-2);
        status = follow_table(&follow, &common, NULL, reader, &followed, error);
    }
    if (!status && o->report)
        status = write_report(o, &seen, error);
    if (!status)
        say(o, &seen);
    const enum dw_status judged = supply_end(&seen.supply, status ? NULL : o->common.command, o->report, error);
    status = status ? status : judged;
    dw_plant_free(follow.plant);
    dw_course_close(follow.side);
    return status || !o->report ? status : judge(&seen.meter.found, error);
}

/* ---- torque against rate ---- */

static enum dw_status put_torques(const struct stepper_options *o, struct dw_writer *writer, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    for (int i = 0; !status && i < o->points; i++) {
        struct dw_stepper_pull pull;
        const double share = (double)i / (o->points - 1), rate = dw_number_round(o->rates[0] * pow(o->rates[1] / o->rates[0], share), 12);
        status = dw_stepper_pull(&o->load.plan, rate, &pull, error);
        if (!status)
            status = dw_writer_row(writer, (const double[]){ rate, pull.formula, pull.simulated, pull.stable, pull.pull_in }, error);
        command_progress(o->common.command, NULL, (i + 1.0) / o->points, true);
    }
    return status ? status : dw_writer_finish(writer, error);
}

static enum dw_status write_torques(const struct stepper_options *o, struct dw_error *error)
{
    static const struct dw_column columns[] = { { "torque", "Nm" }, { "simulated", "Nm" }, { "stable", "1" }, { "pull-in", "Nm" } };
    struct dw_header *header = dw_header_new("rate", "Hz", error);
    enum dw_status status = header ? dw_header_add(header, "made-by", o->common.command->made_by, error) : error->status;
    for (size_t i = 0; !status && i < sizeof columns / sizeof columns[0]; i++)
        status = dw_header_append(header, columns[i].name, columns[i].unit, error);
    struct dw_writer *writer = status ? NULL : dw_writer_open(STDOUT_FILENO, header, o->common.binary ? DW_BINARY : DW_TEXT, error);
    if (!status)
        status = writer ? put_torques(o, writer, error) : error->status;
    dw_writer_free(writer);
    dw_header_free(header);
    return status;
}

static enum dw_status check(const struct command *command, void *options_read, struct dw_error *error)
{
    const struct stepper_options *o = options_read;
    const char *rates = command_given(command, "pull-out");
    return rates && o->common.file ? option_error(error, "pull-out", rates, "reads no table, '%s' is given", o->common.file) : DW_OK;
}

static enum dw_status stepper(void *options_read, struct dw_error *error)
{
    struct stepper_options *o = options_read;
    if (command_given(o->common.command, "pull-out"))
        return write_torques(o, error);
    struct dw_reader *reader = input_open(&o->common, !o->report, error);
    const enum dw_status status = reader ? follow_steps(o, reader, error) : error->status;
    dw_reader_close(reader);
    return status;
}

static const struct stepper_options defaults = { .common = COMMON_DEFAULTS, .points = 12 };
static const struct program program = {
    .name = "dw-stepper", .about = about, .options = options, .rules = rules, .load = &stepper_kind.program,
    .loaded = offsetof(struct stepper_options, load),
    .shared = SHARED_INPUT | SHARED_OUTPUT | SHARED_CHANNEL | SHARED_ROWS | SHARED_LINES | SHARED_REPORT, .check = check, .run = stepper,
    PROGRAM_OPTIONS(struct stepper_options, defaults)
};
PROGRAM_MAIN(program)
