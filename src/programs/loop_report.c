/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What dw-loop writes: the table, or findings. */
#include "loop_options.h"
#include <float.h>
#include <math.h>
#include <string.h>

/* ---- the table ---- */

struct loop_rows {
    struct command *command;
    struct even_rows out;
    double duration;
    unsigned long long count;
};

static enum dw_status put_row(void *context, const double *row, struct dw_error *error)
{
    struct loop_rows *r = context;
    if (r->count++ % 1024 == 0)
        command_progress(r->command, NULL, fmin(row[0] / r->duration, 1), true);
    return even_rows_put(&r->out, row, error);
}

enum dw_status loop_table(struct loop_options *o, struct dw_error *error)
{
    struct loop_rows rows = { .command = o->common.command, .duration = o->plan.duration };
    struct dw_loop_plan plan = o->plan;
    plan.row = put_row;
    plan.context = &rows;
    struct dw_loop *loop = dw_loop_new(&plan, error);
    struct dw_header *header = loop ? dw_loop_header(loop, o->common.command->made_by, error) : NULL;
    enum dw_status status = header ? even_rows_open(&rows.out, &o->common, header, NULL, error) : error->status;
    if (status == DW_OK)
        status = dw_loop_run(loop, error);
    if (status == DW_OK)
        status = even_rows_finish(&rows.out, error);
    even_rows_close(&rows.out);
    dw_loop_free(loop);
    return status;
}

/* ---- findings ---- */

struct watch {
    struct command *command;
    const struct dw_loop *loop;
    struct dw_loop_meter *meter;
    double wanted, duration;
};

static enum dw_status see(void *context, double time, double measured, const struct dw_law_state *sample, struct dw_error *error)
{
    struct watch *watch = context;
    if (sample) {
        watch->wanted = sample->wanted;
        command_progress(watch->command, NULL, time / watch->duration, false);
    }
    dw_loop_meter_disturb(watch->meter, dw_loop_disturbed(watch->loop));
    return dw_loop_meter_see(watch->meter, time, measured, watch->wanted, error);
}

static enum dw_status findings(const struct loop_options *o, const struct dw_loop_meter *meter, struct report *report, struct dw_error *error)
{
    struct dw_loop_findings f;
    char product[64];
    const char *unit = o->plan.process.given ? "1" : dw_plant_port(o->plan.plant, o->plan.measured).unit;
    dw_loop_meter_end(meter, &f);
    snprintf(product, sizeof product, strcmp(unit, "1") ? "%s s" : "s", unit);
    const struct offered rows[] = {
        { true, "measured", "rise-time", report_number(f.rise_time), "s" },
        { true, "measured", "overshoot", report_number(f.overshoot), "%" },
        { true, "measured", "settling-time", report_number(f.settling_time), "s" },
        { true, "measured", "steady-error", report_number(f.steady_error), unit },
        { true, "measured", "iae", report_number(f.iae), product },
        { o->plan.side, "measured", "deviation-highest", report_number(f.deviation_highest), unit },
        { o->plan.side, "measured", "recovery-time", report_number(f.recovery_time), "s" },
        { true, "measured", "cycle-amplitude", report_number(f.cycle_amplitude), unit },
        { true, "measured", "cycle-frequency", report_number(f.cycle_frequency), "Hz" },
    };
    return report_wanted(report, rows, sizeof rows / sizeof rows[0], error);
}

/* ---- poles and margins ---- */

static enum dw_status later(void *context, double delay, struct dw_sampled *sampled, struct dw_error *error)
{
    return dw_loop_sampled(context, delay, sampled, NULL, error);
}

static void say_loop(const struct loop_options *o, struct report *report, const struct dw_margins *m, double delay, struct dw_error *error)
{
    report_finding(report, "loop", "pole-highest", m->pole_highest, "1", error);
    if (!o->margins)
        return;
    report_finding(report, "loop", "gain-margin", m->gain_high, "1", error);
    if (m->gain_low > 0)
        report_finding(report, "loop", "gain-margin-lowest", m->gain_low, "1", error);
    if (m->stable) {
        report_finding(report, "loop", "phase-margin", m->phase, "deg", error);
        report_finding(report, "loop", "delay-margin", delay, "s", error);
    }
}

/* Ripple makes the place of the samples another value than the mean. */
static void note_offset(const struct loop_options *o, const struct dw_loop_stand *stand)
{
    static const char *const places[] = { "where the pulse begins", "in the middle of the pulse", "where the pulse ends" };
    const struct dw_port port = dw_plant_port(o->plan.plant, o->plan.measured);
    const double offset = stand->measured - stand->mean;
    if (!o->plan.average && !o->plan.process.given && fabs(offset) > 1e-3 * fabs(stand->mean))
        command_note(o->common.command, "%s is sampled %s, where it is %.4g %s %s its mean of %.4g %s", port.name, places[o->plan.instant], fabs(offset),
                     port.unit, offset < 0 ? "below" : "above", stand->mean, port.unit);
}

/* A gain with which the loop is stable, tried by running it; NaN: none was found, and the status says why. */
static enum dw_status better_gain(const struct loop_options *o, double wanted, const struct dw_margins *margins, double *gain,
                                  struct dw_error *error)
{
    struct dw_law_plan wish = o->law;
    struct dw_law law;
    struct dw_loop_plan plan = o->plan;
    struct dw_sampled sampled;
    struct dw_margins then = { .stable = false };
    const double high = margins->gain_high, low = margins->gain_low;
    *gain = NAN;
    if (isnan(high))
        return DW_NO;
    wish.gain = dw_number_round(o->law.gain * (isinf(high) ? 2 * low : low > high / 4 ? sqrt(low * high) : high / 2), 2);
    plan.law = &law;
    plan.side = plan.wanted_from = NULL;  /* read already */
    plan.wanted = wanted;
    enum dw_status status = dw_law_make(&wish, &law, error);
    struct dw_loop *loop = status == DW_OK ? dw_loop_new(&plan, error) : NULL;
    if (status == DW_OK)
        status = loop ? dw_loop_run(loop, error) : error->status;
    if (status == DW_OK)
        status = dw_loop_sampled(loop, 0, &sampled, NULL, error);
    if (status == DW_OK)
        status = dw_loop_margins(&sampled, &law, &then, error);
    dw_loop_free(loop);
    if (status == DW_OK && then.stable)
        *gain = wish.gain;
    return status;
}

/* Adds the rows, and says whether the loop is stable. */
static enum dw_status judge(const struct loop_options *o, struct dw_loop *loop, struct report *report, struct dw_error *verdict, struct dw_error *error)
{
    const double duty = dw_loop_state(loop)->duty;
    struct dw_sampled sampled;
    struct dw_loop_stand stand;
    struct dw_margins margins;
    double delay = INFINITY;
    enum dw_status status = dw_loop_sampled(loop, 0, &sampled, &stand, error);
    if (status == DW_NO && duty > o->plan.law->low && duty < o->plan.law->high) {
        command_note(o->common.command, "no poles and margins: %s", error->text);
        return DW_OK;
    }
    if (status == DW_NO)
        return dw_error_set(verdict, DW_NO, 0, "%s", error->text), DW_OK;
    if (status == DW_OK)
        status = dw_loop_margins(&sampled, o->plan.law, &margins, error);
    if (status != DW_OK)
        return status;
    if (o->margins && margins.stable)
        status = dw_delay_margin(later, loop, o->plan.law, &margins, &delay, error);
    if (status == DW_NO_MEMORY)
        return status;
    if (status != DW_OK)
        delay = margins.delay;  /* too many samples to try: by phase and frequency */
    margins.pole_highest = fmin(margins.pole_highest, DBL_MAX);  /* so great a gain */
    say_loop(o, report, &margins, delay, error);
    note_offset(o, &stand);
    if (margins.stable)
        return DW_OK;
    double gain;
    if (better_gain(o, dw_loop_state(loop)->wanted, &margins, &gain, error) == DW_NO_MEMORY)
        return DW_NO_MEMORY;
    if (isnan(gain))
        dw_error_set(verdict, DW_NO, 0, "the loop is not stable: its largest pole is %.4g, and no gain helps", margins.pole_highest);
    else
        dw_error_set(verdict, DW_NO, 0, "the loop is not stable: its largest pole is %.4g; with --gain %g it is (tried)", margins.pole_highest, gain);
    return DW_OK;
}

enum dw_status loop_report(struct loop_options *o, struct dw_error *error)
{
    struct watch watch = { .command = o->common.command, .wanted = o->plan.wanted, .duration = o->plan.duration };
    struct dw_loop_plan plan = o->plan;
    plan.see = see;
    plan.context = &watch;
    watch.meter = dw_loop_meter_new(error);
    struct dw_loop *loop = watch.meter ? dw_loop_new(&plan, error) : NULL;
    watch.loop = loop;
    struct report *report = loop ? report_findings(error) : NULL;
    struct dw_error verdict = { .status = DW_OK };
    enum dw_status status = loop ? dw_loop_run(loop, error) : error->status;
    if (status == DW_OK)
        status = findings(o, watch.meter, report, error);
    if (status == DW_OK && o->law.kind == DW_LAW_PID)
        status = judge(o, loop, report, &verdict, error);
    status = report_out(report, &o->common, status, error);
    if (status == DW_OK && verdict.status == DW_NO) {
        *error = verdict;
        status = DW_NO;
    }
    dw_loop_free(loop);
    dw_loop_meter_free(watch.meter);
    return status;
}
