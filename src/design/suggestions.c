/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What would make a wish fit that nothing fits. */
#include "search_inner.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/* To three digits, not below it; the double nearest to the decimal spelling. */
static double three_digits_up(double value)
{
    char text[64];
    double result = value;
    int exponent = (int)floor(log10(value)) - 2;
    double digits = ceil(value / pow(10, exponent) * (1 - 1e-14));
    do {
        snprintf(text, sizeof text, "%.0fe%d", digits++, exponent);
        dw_number_read(text, text + strlen(text), &result);
    } while (result < value);  /* unrun: rounding */
    return result;
}

/* The wish as a single question: does anything fit, and what is best? */
static bool fits(const struct dw_choice_wish *wish, enum goal goal, struct dw_choice *choice, enum dw_status *status)
{
    struct dw_choices *choices;
    *status = dwi_choose_with(wish, goal, false, &choices, NULL);
    const bool found = *status == DW_OK && dw_choices_count(choices) > 0;  /* unrun: passed-on */
    if (found)
        *choice = *dw_choices_get(choices, 0);
    dw_choices_free(choices);
    if (*status == DW_NO)
        *status = DW_OK;
    return found;
}

static enum goal usual(const struct dw_choice_wish *wish)
{
    return isinf(wish->task.ripple) && isinf(wish->task.settling) ? GOAL_LOADING : GOAL_BALANCE;
}

/* One limit at a time: the least that can be had while the others are kept. */
static bool raise_limit(const struct dw_choice_wish *wish, double *limit, enum goal goal, struct dw_remedy *remedy,
                        enum dw_status *status)
{
    const double asked = *limit;
    const double unit = goal == GOAL_RIPPLE && wish->ripple_unit > 0 ? wish->ripple_unit : 1;
    bool good = false;
    *limit = INFINITY;
    if (isfinite(asked) && fits(wish, goal, &remedy->choice, status)) {
        const struct dw_filter_figures *worst = &remedy->choice.worst;
        remedy->value = goal == GOAL_RIPPLE      ? worst->ripple
                        : goal == GOAL_SETTLING  ? worst->settling
                        : goal == GOAL_OVERSHOOT ? worst->overshoot
                        : goal == GOAL_LOADING   ? worst->loading
                                                 : worst->pin_current;
        if (isfinite(remedy->value)) {
            remedy->value = *limit = unit * three_digits_up(remedy->value / unit);
            good = fits(wish, usual(wish), &remedy->choice, status);
        }
    }
    *limit = asked;
    return good;
}

/* The lowest frequency, to three digits, from which on something fits, as far as a thousand times the one asked. */
static bool raise_frequency(struct dw_choice_wish *wish, struct dw_remedy *remedy, enum dw_status *status)
{
    const double asked = wish->task.frequency;
    double low, high = asked;
    bool good = false;
    do {
        low = high;
        high *= 2;
        wish->task.frequency = high;
        good = fits(wish, usual(wish), &remedy->choice, status);
    } while (!good && *status == DW_OK && high < 1000 * asked);
    while (good && *status == DW_OK && high / low > 1.002) {  /* unrun: passed-on */
        wish->task.frequency = sqrt(low * high);
        if (fits(wish, usual(wish), &remedy->choice, status))
            high = wish->task.frequency;
        else
            low = wish->task.frequency;
    }
    for (int tries = 0; good && *status == DW_OK && tries < 20; tries++) {  /* unrun: passed-on */
        remedy->value = wish->task.frequency = three_digits_up(high);
        if (fits(wish, usual(wish), &remedy->choice, status))  /* unrun: rounding */
            break;
        high = remedy->value * 1.001;  /* unrun: rounding */
        good = tries < 19;  /* unrun: rounding */
    }
    wish->task.frequency = asked;
    return good && *status == DW_OK;  /* unrun: passed-on */
}

static bool more_stages(struct dw_choice_wish *wish, struct dw_remedy *remedy, enum dw_status *status)
{
    if (!wish->resistors)
        return false;
    /* unrun: passed-on */
    for (int stages = wish->most_stages + 1; stages <= DW_FILTER_STAGES && *status == DW_OK; stages++) {
        wish->least_stages = wish->most_stages = stages;
        remedy->value = stages;
        if (fits(wish, usual(wish), &remedy->choice, status))
            return true;
    }
    return false;
}

/* Whether something would fit if only the ripple were less, which is what a higher frequency and more stages are good for, unless a
 * current is limited, too. */
static bool needs_less_ripple(const struct dw_choice_wish *wish, enum dw_status *status)
{
    struct dw_choice_wish other = *wish;
    struct dw_choice any;
    other.task.ripple = INFINITY;
    return isfinite(wish->task.pin_current) || isfinite(wish->task.coil_current) || fits(&other, usual(&other), &any, status);
}

enum dw_status dw_choice_remedies(const struct dw_choice_wish *wish, struct dw_remedy *remedies, size_t *count,
                                  struct dw_error *error)
{
    static const struct {
        enum dw_remedy_kind kind;
        enum goal goal;
    } limits[] = { { DW_REMEDY_RIPPLE, GOAL_RIPPLE },       { DW_REMEDY_SETTLING, GOAL_SETTLING },
                   { DW_REMEDY_OVERSHOOT, GOAL_OVERSHOOT }, { DW_REMEDY_LOADING, GOAL_LOADING },
                   { DW_REMEDY_PIN, GOAL_PIN },             { DW_REMEDY_COIL_CURRENT, GOAL_PIN } };
    struct dw_choice_wish one = *wish;
    enum dw_status status = DW_OK;
    one.best = 1;
    one.front = false;
    one.exhaustive = false;  /* the same answer, but sooner */
    one.rank = DW_RANK_PARTS;  /* where a load drowns all differences the margins of all filters are equal, but few have so few parts */
    *count = 0;
    struct dw_choice_wish other = one;
    const bool rippling = needs_less_ripple(&one, &status);
    remedies[*count].kind = DW_REMEDY_FREQUENCY;
    *count += status == DW_OK && rippling && raise_frequency(&other, &remedies[*count], &status);
    other = one;
    remedies[*count].kind = DW_REMEDY_STAGES;
    *count += status == DW_OK && rippling && more_stages(&other, &remedies[*count], &status);
    for (size_t i = 0; i < sizeof limits / sizeof limits[0] && status == DW_OK; i++) {
        double *const limit[] = { &one.task.ripple,  &one.task.settling,    &one.task.overshoot,
                                  &one.task.loading, &one.task.pin_current, &one.task.coil_current };
        remedies[*count].kind = limits[i].kind;
        *count += raise_limit(&one, limit[i], limits[i].goal, &remedies[*count], &status);
    }
    if (status != DW_OK)
        return dw_error_set(error, status, 0, "%s", status == DW_END ? "stopped" : dw_status_text(status));
    return DW_OK;
}
