/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-choose: why nothing fits, and what would do. */
#include "choose.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

/* To three digits, not below it. */
static double up(double value)
{
    char text[DW_NUMBER_SIZE];
    double result = value;
    const int exponent = (int)floor(log10(value)) - 2;
    double digits = ceil(value / pow(10, exponent) * (1 - 1e-12));
    do {
        snprintf(text, sizeof text, "%.0fe%d", digits++, exponent);
        dw_number_read(text, text + strlen(text), &result);
    } while (result < value * (1 - 1e-12));
    return result;
}

/* The change as an option. */
static void spell_remedy(char *out, size_t size, const struct choose_options *o, const struct dw_remedy *remedy)
{
    static const char *const names[] = { "frequency", "stage-count", "ripple",      "settle",
                                         "overshoot", "loading", "pin-current", "inductor-current" };
    const char *given = o->ripple, *name = names[remedy->kind];
    char value[40];
    if (remedy->kind == DW_REMEDY_RIPPLE && strstr(given, "lsb")) {
        dw_number_print(value, up(remedy->value / choose_lsb(&o->wish.task)));
        snprintf(out, size, "--%s %slsb", name, value);
        return;
    }
    if (remedy->kind == DW_REMEDY_OVERSHOOT || remedy->kind == DW_REMEDY_LOADING ||
        (remedy->kind == DW_REMEDY_RIPPLE && strchr(given, '%'))) {
        const double whole = remedy->kind == DW_REMEDY_RIPPLE ? o->wish.task.high - o->wish.task.low : 1;
        dw_number_print(value, up(100 * remedy->value / whole));
        snprintf(out, size, "--%s %s%%", name, value);
        return;
    }
    choose_spell(value, remedy->value);
    snprintf(out, size, "--%s %s", name, value);
}

/* "a ripple of 1.400 lsb (limit 0.5 lsb)": each limit that the nearest misses. */
static void spell_misses(char *out, size_t size, const struct choose_options *o, const struct dw_choice *nearest)
{
    const struct dw_filter_task *task = &o->wish.task;
    const bool lsb = o->ripple && strstr(o->ripple, "lsb"), coil = nearest->filter.l.value > 0;
    const double unit = lsb ? choose_lsb(task) : 1;
    const struct {
        const char *words;
        double value, limit;
        const char *unit;
    } figures[] = {
        { "ripples", nearest->worst.ripple / unit, task->ripple / unit, lsb ? "lsb" : "V" },
        { "settles in", nearest->worst.settling, task->settling, "s" },
        { "overshoots by", nearest->worst.overshoot, task->overshoot, "%" },
        { "loads by", nearest->worst.loading, task->loading, "%" },
        { "draws", nearest->worst.pin_current, fmin(task->pin_current, coil ? task->coil_current : INFINITY), "A" },
    };
    *out = '\0';
    for (size_t i = 0; i < sizeof figures / sizeof figures[0]; i++) {
        char value[64], limit[64];
        const size_t used = strlen(out);
        if (figures[i].value <= figures[i].limit)
            continue;
        const int digits = dw_digits_apart(figures[i].value, figures[i].limit, 3);
        dw_quantity_print(value, sizeof value, figures[i].value, figures[i].unit, digits);
        dw_quantity_print(limit, sizeof limit, figures[i].limit, figures[i].unit, digits);
        snprintf(out + used, size - used, "%s%s %s (limit %s)", used ? ", " : "", figures[i].words, value, limit);
    }
}

static bool show_trying(void *context, double share)
{
    choose_progress(context, "trying what would do", share);
    return true;
}

enum dw_status choose_explain(const struct choose_options *o, const struct dw_choices *nearest, struct dw_error *error)
{
    struct dw_remedy remedies[DW_REMEDIES];
    char stages[300], misses[300], text[400] = "";
    size_t count = 0;
    if (dw_choices_count(nearest) == 0)
        return dw_error_set(error, DW_NO, 0, "nothing fits: nothing damps the coils; give --load or --source, or resistors in "
                                             "reach of sqrt(l/c)");
    const struct dw_choice *choice = dw_choices_get(nearest, 0);
    struct dw_choice_wish wish = o->wish;
    wish.progress = show_trying;
    wish.context = (void *)o;
    const enum dw_status status = dw_choice_remedies(&wish, remedies, &count, error);
    if (status != DW_OK)
        return status;
    choose_stages(stages, sizeof stages, &choice->filter, "", 0);
    spell_misses(misses, sizeof misses, o, choice);
    for (size_t i = 0; i < count; i++) {
        char one[80];
        spell_remedy(one, sizeof one, o, &remedies[i]);
        snprintf(text + strlen(text), sizeof text - strlen(text), "%s%s", *text == 0 ? "" : i + 1 == count ? " or " : ", ", one);
    }
    return dw_error_set(error, DW_NO, 0, "nothing fits; the nearest, %s, %s; %s%s", stages, misses,
                        count ? "what would do: " : "no single change would do", text);
}
