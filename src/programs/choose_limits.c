/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-choose: limits that need other options to be told in SI, and whether samples can show a yield. */
#include "choose.h"
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

/* "0.5lsb" as a multiple of what one lsb is. */
static enum dw_status read_lsb(const char *option, const char *argument, double *value, struct dw_error *error)
{
    char number[64];
    const size_t length = strlen(argument) - strlen("lsb");
    struct dw_error why;
    snprintf(number, sizeof number, "%.*s", (int)length, argument);
    if (length > 1 && number[length - 1] == ' ')
        number[length - 1] = '\0';
    return dw_quantity_parse(number, DW_NUMBER, value, &why) == DW_OK ? DW_OK
                                                                      : option_error(error, option, argument, "%s", why.text);
}

static bool in_lsb(const char *argument)
{
    const size_t length = strlen(argument);
    return length >= 4 && !strcmp(argument + length - 3, "lsb") && length - 3 < 64;
}

bool choose_in_lsb(const struct choose_options *o)
{
    return (o->ripple && in_lsb(o->ripple)) || (o->band && in_lsb(o->band));
}

static enum dw_status resolve_ripple(struct choose_options *o, struct dw_error *error)
{
    struct dw_filter_task *task = &o->wish.task;
    const double swing = task->high - task->low;
    const bool share = strchr(o->ripple, '%');
    const struct option_spec ripple = { .name = "ripple", .quantity = share ? DW_SHARE : DW_VOLTAGE };
    enum dw_status status = in_lsb(o->ripple) ? read_lsb("ripple", o->ripple, &task->ripple, error)
                                              : option_value(&ripple, o->ripple, &task->ripple, error);
    o->wish.ripple_unit = in_lsb(o->ripple) ? choose_lsb(task) : share ? swing : 0;
    if (o->wish.ripple_unit > 0)
        task->ripple *= o->wish.ripple_unit;
    if (status == DW_OK && !(task->ripple > 0))
        status = option_error(error, "ripple", o->ripple, "must be above zero");
    return status;
}

static enum dw_status resolve_band(struct choose_options *o, struct dw_error *error)
{
    struct dw_filter_task *task = &o->wish.task;
    const struct option_spec band = { .name = "band", .quantity = DW_SHARE };
    enum dw_status status = in_lsb(o->band) ? read_lsb("band", o->band, &task->band, error) : option_value(&band, o->band, &task->band, error);
    if (in_lsb(o->band))
        task->band /= (double)task->levels * (isnan(task->duty) ? 1 : task->duty);
    if (status == DW_OK && !(task->band > 0 && task->band < 1))
        status = option_error(error, "band", o->band, "must be above 0 and below 100%% of the change");
    return status;
}

/* 0.5LSB */
static enum dw_status refuse_case(const char *option, const char *argument, struct dw_error *error)
{
    const size_t length = argument ? strlen(argument) : 0;
    if (length < 4 || strcasecmp(argument + length - 3, "lsb") != 0 || in_lsb(argument))
        return DW_OK;
    return option_error(error, option, argument, "'%s' was not understood: case counts, did you mean %.*slsb?", argument + length - 3,
                        (int)length - 3, argument);
}

enum dw_status choose_resolve(struct choose_options *o, struct dw_error *error)
{
    const struct dw_filter_task *task = &o->wish.task;
    const int digits = dw_digits_apart(task->high, task->low, 6);
    if (refuse_case("ripple", o->ripple, error) != DW_OK || refuse_case("band", o->band, error) != DW_OK)
        return DW_BAD_USE;
    if (!(task->high > task->low))
        return dw_error_set(error, DW_BAD_USE, 0, "--high, %.*g V, must be above --low, %.*g V", digits, task->high, digits, task->low);
    const enum dw_status status = o->ripple ? resolve_ripple(o, error) : DW_OK;
    /* the band agrees with the ripple, where the change is more than that */
    if (!o->band && o->ripple && in_lsb(o->ripple) && (double)task->levels * (isnan(task->duty) ? 1 : task->duty) > 0.5)
        o->band = "0.5lsb";
    return status == DW_OK && o->band ? resolve_band(o, error) : status;
}

enum dw_status choose_check_yield(const struct command *command, struct choose_options *o, struct dw_error *error)
{
    unsigned long long needed;
    struct dw_error why;
    const char *given = command_given(command, "yield-target");
    if (!given)
        return DW_OK;
    if (o->wish.yield >= 1)
        return option_error(error, "yield-target", given, "must be below 100%%: without it all limits hold for the worst case");
    o->samples = o->samples ? o->samples : 1000;
    if (o->samples > DW_CHOICE_SAMPLES)
        return option_error(error, "samples", command_given(command, "samples"), "at most %d go with --yield-target", DW_CHOICE_SAMPLES);
    if (dw_yield_needed(o->wish.yield, o->samples, 0.95, &needed, &why) != DW_OK)
        return option_error(error, "yield-target", given, "%s: give --samples", why.text);
    o->wish.samples = o->samples;
    o->wish.seed = o->seed;
    return DW_OK;
}
