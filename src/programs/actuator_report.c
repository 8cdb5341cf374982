/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What dw-actuator finds of a stroke, the heat of its winding, cautions, and the verdict. */
#include "actuator_options.h"
#include <dutywright/cubic.h>
#include <math.h>

/* ---- heat ---- */

void actuator_heat(const struct actuator_options *o, struct actuator_seen *seen, const struct dw_run_row *row)
{
    const size_t at = dw_plant_outputs(dw_actuator_plant(seen->meter.actuator)) - 4;
    const double length = seen->any ? row->time - seen->time : 0, current = row->output[at], slope = row->slope[at];
    if (length > 0 && seen->thermal) {
        const struct dw_cubic i = dw_cubic_through(seen->current, length * seen->slope, current, length * slope);
        struct dw_loss_piece loss = { .length = length };
        for (size_t j = 0; j < 4; j++)
            for (size_t k = 0; k < 4; k++)
                loss.power[j + k] += o->load.plan.motor.resistance * i.c[j] * i.c[k];
        dw_thermal_advance(seen->thermal, &loss, 1);
        seen->hottest = fmax(seen->hottest, dw_thermal_now(seen->thermal));
    }
    seen->time = row->time;
    seen->current = current;
    seen->slope = slope;
    seen->any = true;
}

/* degC, the highest of the winding with this loss, for so long (S2) or so much of each cycle (S3); NaN: out of memory. */
static double duty_highest(const struct actuator_options *o, double loss, double running, struct dw_error *error)
{
    struct dw_thermal *thermal = dw_thermal_new(o->network.pairs, o->network.count, o->ambient, error);
    double highest = NAN;
    if (!thermal)
        return highest;
    const double on = o->duty == DUTY_SHORT ? running : running * o->cycle;
    const struct dw_loss_piece runs = { .length = on, .power = { loss } }, rests = { .length = o->cycle - on };
    if (o->duty == DUTY_INTERMITTENT && running < 1) {
        dw_thermal_begin_period(thermal);
        dw_thermal_advance(thermal, &runs, 1);
        dw_thermal_advance(thermal, &rests, 1);
        dw_thermal_set_steady(thermal, thermal, o->cycle);
    }
    if (o->duty == DUTY_CONTINUOUS || (o->duty == DUTY_INTERMITTENT && running >= 1))
        highest = o->ambient + loss * dw_thermal_resistance(thermal);
    else
        highest = dw_thermal_junction(thermal, &runs, 1, NULL);
    dw_thermal_free(thermal);
    return highest;
}

/* The same of the stroke seen and the duty type asked for; out NaN: none was, or its loss is not known. */
static enum dw_status highest_by_duty(const struct actuator_options *o, const struct actuator_seen *seen, double *highest, struct dw_error *error)
{
    const double loss = seen->meter.found.heat;
    *highest = NAN;
    if (!seen->thermal || o->duty == DUTY_UNSAID || isnan(loss))
        return DW_OK;
    *highest = duty_highest(o, loss, o->running, error);
    return isnan(*highest) ? error->status : DW_OK;
}

/* The most of S2 or S3 that stays within the limit with a loss that is known; out 0: none does. */
static enum dw_status duty_allowed(const struct actuator_options *o, double loss, double *allowed, struct dw_error *error)
{
    double low = 0, high = o->running;
    for (int i = 0; i < 50; i++) {
        const double middle = (low + high) / 2, highest = duty_highest(o, loss, middle, error);
        if (isnan(highest))
            return error->status;
        *(highest <= o->limit ? &low : &high) = middle;
    }
    *allowed = low > 1e-6 * o->running ? low : 0;
    return DW_OK;
}

/* ---- cautions ---- */

static void caution_end(const struct actuator_options *o, const struct actuator_seen *seen)
{
    const struct dw_actuator_plan *p = &o->load.plan;
    const struct dw_actuator_findings *f = &seen->meter.found;
    struct command *command = o->common.command;
    char one[64], two[64], three[64];
    if (f->pressed > 0 && fabs(f->press_current) > 0)
        command_caution(command,
                        "it presses against its stop for %s with %s, and its winding takes %s: a stalled winding burns; a "
                        "limit switch or a limit of the current ends that",
                        in_words(one, f->pressed, "s", 3),
                        in_words(two, dw_actuator_lifts(p, fabs(f->press_current)), "N", 3),
                        in_words(three, p->motor.resistance * f->press_current * f->press_current, "W", 3));
    if (f->cut > 0)
        command_note(command, "the limit switch cuts %s: %s of the winding go into its contact",
                     in_words(one, f->cut, "A", 3), in_words(two, p->motor.inductance * f->cut * f->cut / 2, "J", 3));
}

void actuator_caution(const struct actuator_options *o, const struct actuator_seen *seen)
{
    const struct dw_actuator_plan *p = &o->load.plan;
    struct command *command = o->common.command;
    const double back = dw_actuator_back_drive(p);
    char one[64], two[64];
    command_caution_voltage(command, p->motor.supply, "");
    if (o->report)
        command_caution(command,
                        "an actuator moves without warning and pinches, here with up to %s: keep people out of its way",
                        in_words(one, dw_actuator_lifts(p, dw_actuator_stall_current(p)), "N", 3));
    if (fabs(p->force) > back)
        command_caution(command,
                        "it drops when it is not driven: from %s on a load turns the screw, and here it is %s; a brake, a "
                        "finer lead or more friction holds it",
                        in_words(one, back, "N", 3), in_words(two, fabs(p->force), "N", 3));
    caution_end(o, seen);
    gates_caution(command, &seen->gates);
}

/* ---- report ---- */

enum dw_status actuator_report(const struct actuator_options *o, struct actuator_seen *seen, struct dw_error *error)
{
    const struct dw_actuator_plan *p = &o->load.plan;
    const struct dw_actuator_findings *f = &seen->meter.found;
    const struct dw_screw screw = dw_actuator_screw(p);
    const double stall = dw_actuator_stall_current(p), back = dw_actuator_back_drive(p), force = fabs(p->force),
                 time = f->ended - f->begun;
    const bool ends = !isnan(f->ended), heat = seen->thermal != NULL;
    double by_duty;
    enum dw_status status = highest_by_duty(o, seen, &by_duty, error);
    struct report *report = status ? NULL : report_findings(error);
    const struct offered rows[] = {
        { ends, "stroke", "time", report_number(time), "s" },
        { ends, "stroke", "speed-mean", report_number(fabs(f->to - f->from) / time), "m/s" },
        { ends, "stroke", "energy", report_number(f->energy), "J" },
        { f->overrun > 0, "stroke", "overrun", report_number(f->overrun), "m" },
        { ends, "current", "running", report_number(f->running), "A" },
        { ends, "current", "starting", report_number(f->starting), "A" },
        { true, "current", "stall", report_number(stall), "A" },
        { f->pressed > 0, "current", "at-stop", report_number(fabs(f->press_current)), "A" },
        { true, "force", "stall", report_number(dw_actuator_lifts(p, stall)), "N" },
        { f->pressed > 0, "force", "at-stop", report_number(dw_actuator_lifts(p, fabs(f->press_current))), "N" },
        { isfinite(back), "force", "back-drive", report_number(back), "N" },
        { true, "screw", "torque-raise", report_number(force * screw.raise), "Nm" },
        { true, "screw", "torque-lower", report_number(force > 0 ? -force * screw.lower : 0), "Nm" },
        { true, "screw", "efficiency", report_number(screw.ideal / screw.raise), "%" },
        { true, "screw", "self-locking", report_number(force < back), "" },
        { heat, "winding", "loss", report_number(f->heat), "W" },
        { heat, "winding", "highest", report_number(seen->hottest), "degC" },
        { heat, "winding", "duty-highest", report_number(by_duty), "degC" },
    };
    if (!status)
        status = report_wanted(report, rows, sizeof rows / sizeof rows[0], error);
    if (!status)
        status = supply_findings(&seen->supply, report, error);
    return report_out(report, &o->common, status, error);
}

/* ---- verdict ---- */

static enum dw_status judge_end(const struct actuator_options *o, const struct dw_actuator_findings *f,
                                struct dw_error *error)
{
    const struct dw_actuator_plan *p = &o->load.plan;
    const double stall = dw_actuator_lifts(p, dw_actuator_stall_current(p));
    char one[64], two[64], three[64], four[64];
    in_words(one, f->position, "m", 3);
    in_words(two, p->travel, "m", 3);
    in_words(three, fabs(p->force), "N", 3);
    in_words(four, stall, "N", 3);
    if (!isnan(f->ended))
        return DW_OK;
    if (f->motion == DW_ACTUATOR_OUT || f->motion == DW_ACTUATOR_IN)
        return dw_error_set(error, DW_NO, 0,
                            "no end is reached: it is at %s of %s and moves; a longer table may show it", one, two);
    if (p->force > stall)
        return dw_error_set(error, DW_NO, 0,
                            "no end is reached: it stands at %s of %s; %s stand against it, and it lifts up to %s", one,
                            two, three, four);
    return dw_error_set(error, DW_NO, 0,
                        "no end is reached: it stands at %s of %s; it lifts up to %s with all of the supply, and less at a "
                        "lower duty",
                        one, two, four);
}

static enum dw_status judge_heat(const struct actuator_options *o, const struct actuator_seen *seen,
                                 struct dw_error *error)
{
    double by_duty;
    if (highest_by_duty(o, seen, &by_duty, error) != DW_OK)
        return error->status;
    const double highest = fmax(by_duty, seen->hottest);
    double allowed = 0;
    char would[96] = "less force, or a slower pace with rests, would do", time[64];
    if (!(highest > o->limit))
        return DW_OK;
    const bool by_rests = (o->duty == DUTY_SHORT || o->duty == DUTY_INTERMITTENT) && !(seen->hottest > o->limit);
    if (by_rests && duty_allowed(o, seen->meter.found.heat, &allowed, error) != DW_OK)
        return error->status;
    if (o->duty == DUTY_SHORT && allowed > 0)
        snprintf(would, sizeof would, "S2 of %s would do", in_words(time, allowed, "s", 3));
    if (o->duty == DUTY_INTERMITTENT && allowed > 0)
        snprintf(would, sizeof would, "S3 of %.3g %% would do", 100 * allowed);
    return dw_error_set(error, DW_NO, 0, "the winding comes to %.4g degC, above %.4g degC: %s", highest, o->limit, would);
}

enum dw_status actuator_judge(const struct actuator_options *o, const struct actuator_seen *seen,
                              struct dw_error *error)
{
    const struct dw_actuator_findings *f = &seen->meter.found;
    char one[64];
    enum dw_status status = judge_end(o, f, error);
    if (!status && o->load.plan.switches && f->pressed > 0)
        status = dw_error_set(error, DW_NO, 0,
                              "it runs past its limit switch onto the stop %s behind it: drive it at 0 V before, so that the "
                              "diode brakes, or give it more overtravel",
                              in_words(one, o->load.plan.overtravel, "m", 3));
    return status || !seen->thermal || isnan(o->limit) ? status : judge_heat(o, seen, error);
}
