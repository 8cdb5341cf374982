/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What dw-lamp finds: the report, its verdict, cautions. */
#include "lamp_options.h"

/* Hz: flicker that can trigger seizures, IEEE Std 1789-2015 (from memory). W: a lamp that burns; times its hot current that an inrush is
 * worth a caution; share of the light that it has not settled by: common practice, no source. */
static const double SEIZES_FROM = 3, SEIZES_TO = 70, HOT = 1, INRUSH = 3, UNSETTLED = 1e-3;

static void caution_flicker(struct command *command, const struct lamp_seen *seen)
{
    char text[64];
    const double frequency = 1 / seen->period, flicker = seen->most > 0 ? (seen->most - seen->least) / (seen->most + seen->least) : 0;
    if (seen->period > 0 && frequency >= SEIZES_FROM && frequency <= SEIZES_TO && flicker > dw_flicker_limit(DW_FLICKER_SEIZURES, frequency))
        command_caution(command, "flicker: light at %s can trigger seizures in those who are prone to them; do not run this where people are",
                        in_words(text, frequency, "Hz", 3));
}

void lamp_caution(const struct lamp_options *o, const struct lamp_seen *seen)
{
    const struct dw_lamp_plan *p = &o->load.plan;
    struct command *command = o->common.command;
    const double full = dw_lamp_full_current(p), volts = p->kind == DW_LAMP_FILAMENT ? p->supply : p->forward + p->dynamic_resistance * full;
    char peak[64], hot[64], power[64];
    command_caution_voltage(command, p->supply, "");
    caution_flicker(command, seen);
    if (full * volts > HOT)
        command_caution(command, "hot lamp: fully on it turns %s into heat and light; glass, sink and holder can burn skin and set things alight",
                        in_words(power, full * volts, "W", 3));
    if (p->kind == DW_LAMP_FILAMENT && seen->peak > INRUSH * full)
        command_caution(command, "inrush: the cold filament takes %s, %.3g times its hot current of %s: switch, fuse and supply must stand it",
                        in_words(peak, seen->peak, "A", 3), seen->peak / full, in_words(hot, full, "A", 3));
    if (p->kind == DW_LAMP_LED && !(full > 0))
        command_note(command, "the lamp stays dark: its forward voltage, %s, is not below the supply, %s",
                     in_words(peak, p->forward + (p->driver == DW_DRIVER_SWITCHING) * p->current * p->dynamic_resistance, "V", 3),
                     in_words(hot, p->supply, "V", 3));
}

static enum dw_status write_findings(const struct lamp_options *o, struct lamp_seen *seen, const struct dw_light *light,
                                     struct dw_error *error)
{
    struct report *report = report_findings(error);
    const bool known = seen->period > 0;
    const double frequency = 1 / light->period;
    const struct offered rows[] = {
        { true, "light", "mean", report_within(light->mean, light->mean_bound), "1" },
        { true, "light", "lightness", report_within(light->lightness, light->lightness_bound), "1" },
        { true, "light", "flicker-percent", report_within(light->flicker, light->flicker_bound), "%" },
        { true, "light", "flicker-index", report_within(light->index, light->index_bound), "1" },
        { known, "light", "frequency", report_number(frequency), "Hz" },
        { known, "light", "low-risk-limit", report_number(dw_flicker_limit(DW_FLICKER_LOW_RISK, frequency)), "%" },
        { known, "light", "no-effect-limit", report_number(dw_flicker_limit(DW_FLICKER_NO_EFFECT, frequency)), "%" },
        { known && !isnan(light->visibility), "light", "svm", report_within(light->visibility, light->visibility_bound), "1" },
        { true, "current", "rms", report_within(light->current_rms, light->current_bound), "A" },
        { true, "current", "peak", report_within(seen->peak, light->current_bound), "A" },
    };
    enum dw_status status = report_wanted(report, rows, sizeof rows / sizeof rows[0], error);
    if (!status)
        status = supply_findings(&seen->supply, report, error);
    return report_out(report, &o->common, status, error);
}

static void say(const struct lamp_options *o, const struct lamp_seen *seen, const struct dw_light *light)
{
    struct command *command = o->common.command;
    char text[64];
    if (!(seen->period > 0))
        command_note(command, "frequency, limits and svm left out: the table does not say its period (key period)");
    else if (isnan(light->visibility))
        command_note(command, "svm does not apply: light at %s has no line from %d Hz to %d Hz", in_words(text, 1 / light->period, "Hz", 3),
                     (int)DW_VISIBLE_FROM, (int)DW_VISIBLE_TO);
    if (light->visibility > 1 && seen->period > 0)
        command_caution(command, "strobing: what moves is seen in steps, and a machine that turns may seem to stand still: no such light near "
                        "moving machinery");
    if (o->load.plan.kind == DW_LAMP_FILAMENT && light->drift > UNSETTLED)
        command_note(command, "the filament has not settled: its light differs by %.3g %% from one end of the last period to the other; "
                     "--start steady shows it settled", 100 * light->drift);
}

/* DW_NO and why where it does not hold. */
static enum dw_status judge(const struct lamp_options *o, const struct dw_light *light, struct dw_error *error)
{
    static const char *const names[] = { [EXPECT_LOW_RISK] = "low-risk", [EXPECT_NO_EFFECT] = "no-effect" };
    const enum dw_flicker_limit limit = o->expect == EXPECT_LOW_RISK ? DW_FLICKER_LOW_RISK : DW_FLICKER_NO_EFFECT;
    const double frequency = 1 / light->period;
    char at[64], other[64];
    in_words(at, frequency, "Hz", 3);
    if (o->expect == EXPECT_NOTHING)
        return DW_OK;
    if (o->expect == EXPECT_VISIBILITY)
        return isnan(light->visibility) || light->visibility <= o->visibility
                   ? DW_OK
                   : dw_error_set(error, DW_NO, 0, "stroboscopic visibility %.4g at %s is above %.4g; above %d Hz none is seen",
                                  light->visibility, at, o->visibility, (int)DW_VISIBLE_TO);
    if (light->flicker <= dw_flicker_limit(limit, frequency))
        return DW_OK;
    return dw_error_set(error, DW_NO, 0, "flicker of %.4g %% at %s is above the %s limit, %.4g %%; from %s on so much is within it",
                        100 * light->flicker, at, names[o->expect], 100 * dw_flicker_limit(limit, frequency),
                        in_words(other, dw_flicker_frequency(limit, light->flicker), "Hz", 3));
}

enum dw_status lamp_report(const struct lamp_options *o, struct lamp_seen *seen, struct dw_error *error)
{
    struct dw_light light;
    enum dw_status status = dw_light_meter_finish(seen->meter, &light, error);
    if (!status)
        status = write_findings(o, seen, &light, error);
    if (status)
        return status;
    lamp_caution(o, seen);
    say(o, seen, &light);
    return judge(o, &light, error);
}
