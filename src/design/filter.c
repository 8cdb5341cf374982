/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A filter and its figures at given values. */
#include "filter_inner.h"
#include "rc_poles_inner.h"
#include "lc_poles_inner.h"
#include <math.h>

enum dw_status dw_filter_task_check(const struct dw_filter_task *task, struct dw_error *error)
{
    const struct {
        const char *member, *name;
        double value;
    } above_zero[] = {
        { "frequency", "frequency", task->frequency },
        { "load", "load", task->load },
        { "ripple", "ripple", task->ripple },
        { "settling", "settling", task->settling },
        { "overshoot", "overshoot", task->overshoot },
        { "loading", "loading", task->loading },
        { "pin_current", "pin current", task->pin_current },
        { "coil_current", "coil current", task->coil_current },
    };
    for (size_t i = 0; i < sizeof above_zero / sizeof above_zero[0]; i++)
        if (!(above_zero[i].value > 0))
            return dw_error_member(error, above_zero[i].member, "%s must be above zero", above_zero[i].name);
    if (!isfinite(task->frequency))
        return dw_error_member(error, "frequency", "frequency must be finite");
    if (!(task->high > task->low) || !isfinite(task->high - task->low))
        return dw_error_member(error, "high", "high must be above low");
    if (task->levels < 2)
        return dw_error_member(error, "levels", "levels must be at least 2");
    if (!isnan(task->duty) && !(task->duty > 0 && task->duty <= 1))
        return dw_error_member(error, "duty", "duty must be above 0 and at most 1");
    if (!(task->source >= 0) || !isfinite(task->source))
        return dw_error_member(error, "source", "source must not be below zero");
    if (!(task->band > 0 && task->band < 1))
        return dw_error_member(error, "band", "band must lie between 0 and 1");
    return DW_OK;
}

struct task_terms terms_of(const struct dw_filter_task *task)
{
    const bool search = isnan(task->duty);
    return (struct task_terms){
        .task = *task,
        .period = 1 / task->frequency,
        .height = task->high - task->low,
        .duty = search ? (double)(task->levels / 2) / (double)task->levels : task->duty,
        .step = search ? 1 : task->duty,
        .search_duty = search,
    };
}

static void poles_with_source(struct rc_poles *poles, const struct task_terms *terms, int stages, const double *r, const double *c)
{
    double with[RC_POLES_MAX] = { 0 };
    for (int k = 0; k < stages; k++)
        with[k] = r[k];
    with[0] += terms->task.source;
    rc_poles_of_ladder(poles, stages, with, c, terms->task.load);
}

double rc_ripple(const struct task_terms *terms, int stages, const double *r, const double *c)
{
    struct rc_poles poles;
    poles_with_source(&poles, terms, stages, r, c);
    /* of all k / levels the one nearest to one half is the worst: theory, (6.4) */
    return terms->height * rc_poles_ripple(&poles, terms->period, terms->duty);
}

double rc_settling(const struct task_terms *terms, int stages, const double *r, const double *c, bool *at_most)
{
    struct rc_poles poles;
    poles_with_source(&poles, terms, stages, r, c);
    return rc_poles_settling(&poles, terms->period, terms->step, terms->task.band, at_most);
}

double loading_of(const struct task_terms *terms, double resistance)
{
    const double ratio = (terms->task.source + resistance) / terms->task.load;
    return ratio / (1 + ratio);
}

double rc_pin_current(const struct task_terms *terms, double first, double whole)
{
    const double inrush = terms->height / (terms->task.source + first), all = terms->task.source + whole + terms->task.load;
    const double rest = fmax(fabs(terms->task.high), fabs(terms->task.low)) / (terms->task.source + first);
    return fmax(rest, fmax(fabs(inrush + terms->task.low / all), fabs(inrush - terms->task.high / all)));
}

static struct lc_parts parts_with_source(const struct task_terms *terms, const struct coil_values *v)
{
    return (struct lc_parts){ v->r + terms->task.source, v->l, v->c, v->rd, v->cd, terms->task.load };
}

const struct filter_limits NO_LIMITS = { INFINITY, INFINITY, INFINITY };

bool exceeds(const struct task_terms *terms, const struct dw_filter_figures *figures, const struct filter_limits *limits)
{
    return figures->ripple > limits->ripple || figures->settling > limits->settling ||
           margin_of(&terms->task, figures, true) > limits->margin;
}

static bool begin(const struct task_terms *terms, const struct coil_values *values, struct lc_poles *filter,
                  struct dw_filter_figures *figures)
{
    const struct lc_parts parts = parts_with_source(terms, values);
    struct lc_start start;
    if (!lc_poles_new(filter, &parts))
        return false;
    lc_settling(filter, terms->period, terms->step, terms->task.band, &start);
    *figures = (struct dw_filter_figures){
        .duty = terms->duty,
        .settling = start.settling,
        .settling_at_most = start.at_most,
        .overshoot = start.overshoot,
        .loading = loading_of(terms, values->r),
    };
    return true;
}

bool coil_start(const struct task_terms *terms, const struct coil_values *values, struct dw_filter_figures *figures)
{
    struct lc_poles filter;
    return begin(terms, values, &filter, figures);
}

bool coil_figures(const struct task_terms *terms, const struct coil_values *values, const struct filter_limits *limits,
                  struct dw_filter_figures *figures)
{
    struct lc_poles filter;
    if (!begin(terms, values, &filter, figures))
        return false;
    /* what takes longest last */
    if (exceeds(terms, figures, limits))
        return true;
    if (terms->search_duty)
        figures->ripple = lc_worst_ripple(&filter, terms->period, terms->task.levels, limits->ripple / terms->height,
                                                &figures->duty);
    else
        figures->ripple = lc_ripple(&filter, terms->period, terms->duty);
    figures->ripple *= terms->height;
    if (exceeds(terms, figures, limits))
        return true;
    double current[2];
    lc_current(&filter, terms->period, terms->step, 0, current);
    /* with nothing charged, then from duty 0 settled and in the steady state */
    if (terms->search_duty) { /* either level */
        const double volts = fmax(fabs(terms->task.high), fabs(terms->task.low));
        double out[2], steady[2];
        figures->pin_current = volts * fmax(-current[0], current[1]);
        lc_orbit(&filter, terms->period, figures->duty, out, steady);
        current[0] = fmin(current[0], steady[0]);
        current[1] = fmax(current[1], steady[1]);
    } else if (terms->task.low != 0) {
        double rest[2];
        lc_current(&filter, terms->period, terms->step, terms->task.low / terms->height, rest);
        figures->pin_current = terms->height * fmax(-rest[0], rest[1]);
    }
    for (int i = 0; i < 2; i++) {
        const double way = terms->height * current[i];
        figures->pin_current = fmax(figures->pin_current, fabs(terms->task.low * filter.conductance + way));
        if (terms->search_duty)  /* from fully on to off, too */
            figures->pin_current = fmax(figures->pin_current, fabs(terms->task.high * filter.conductance - way));
    }
    return true;
}

static struct coil_values values_of(const struct dw_filter *filter)
{
    return (struct coil_values){ filter->r[0].value, filter->l.value, filter->c[0].value, filter->rd.value, filter->cd.value };
}

double coil_swing(const struct task_terms *terms, const struct dw_filter *filter, double duty)
{
    const struct coil_values values = values_of(filter);
    const struct lc_parts parts = parts_with_source(terms, &values);
    struct lc_poles stage;
    double out[2], current[2];
    if (!lc_poles_new(&stage, &parts))
        return NAN;
    lc_orbit(&stage, terms->period, duty, out, current);
    return terms->height * (current[1] - current[0]);
}

double coil_least_ripple(const struct task_terms *terms, const struct coil_values *values)
{
    const struct lc_parts parts = parts_with_source(terms, values);
    return terms->height * sin(M_PI * terms->duty) * lc_response(&parts, 2 * M_PI / terms->period);
}

double margin_of(const struct dw_filter_task *task, const struct dw_filter_figures *figures, bool coil)
{
    double margin = fmax(figures->ripple / task->ripple, figures->settling / task->settling);
    margin = fmax(margin, fmax(figures->overshoot / task->overshoot, figures->loading / task->loading));
    margin = fmax(margin, figures->pin_current / task->pin_current);
    return coil ? fmax(margin, figures->pin_current / task->coil_current) : margin;
}

static bool positive(struct dw_part part)
{
    return part.value > 0 && isfinite(part.value);
}

enum dw_status filter_check(const struct dw_filter *filter, struct dw_error *error)
{
    const struct dw_part *parts[FILTER_PARTS];
    const bool coil = filter->l.value != 0;
    bool good = filter->stages >= 1 && filter->stages <= (coil ? 1 : DW_FILTER_STAGES);
    for (int k = 0; good && k < filter->stages; k++)
        good = positive(filter->c[k]) && (positive(filter->r[k]) || (coil && filter->r[k].value == 0));
    if (good && coil)
        good = positive(filter->l) && (filter->cd.value == 0 ? filter->rd.value == 0
                                                             : positive(filter->cd) && positive(filter->rd));
    if (good && !coil)
        good = filter->rd.value == 0 && filter->cd.value == 0;
    if (!good)
        return dw_error_set(error, DW_BAD_USE, 0, "the parts make neither RC stages nor one stage with a coil");
    const int count = filter_part_list(filter, parts);
    for (int i = 0; i < count; i++)
        if (!(parts[i]->spread >= 0 && parts[i]->spread < 1))
            return dw_error_set(error, DW_BAD_USE, 0, "spread must be from 0 to below 100%%");
    return DW_OK;
}

int filter_part_list(const struct dw_filter *filter, const struct dw_part *parts[FILTER_PARTS])
{
    int count = 0;
    if (filter->l.value > 0) {
        parts[count++] = &filter->r[0];
        parts[count++] = &filter->l;
        parts[count++] = &filter->c[0];
        parts[count++] = &filter->rd;
        parts[count++] = &filter->cd;
        return count;
    }
    for (int k = 0; k < filter->stages; k++) {
        parts[count++] = &filter->r[k];
        parts[count++] = &filter->c[k];
    }
    return count;
}

static void values_at(const struct dw_filter *filter, const double *deviation, double value[FILTER_PARTS])
{
    const struct dw_part *parts[FILTER_PARTS];
    const int count = filter_part_list(filter, parts);
    for (int i = 0; i < count; i++)
        value[i] = parts[i]->value * (deviation ? 1 + deviation[i] * parts[i]->spread : 1);
}

bool start_at(const struct task_terms *terms, const struct dw_filter *filter, const double *deviation, struct dw_filter_figures *figures)
{
    double value[FILTER_PARTS];
    values_at(filter, deviation, value);
    return coil_start(terms, &(struct coil_values){ value[0], value[1], value[2], value[3], value[4] }, figures);
}

bool figures_at(const struct task_terms *terms, const struct dw_filter *filter, const double *deviation, const struct filter_limits *limits,
                struct dw_filter_figures *figures)
{
    double value[FILTER_PARTS] = { 0 };
    values_at(filter, deviation, value);
    if (filter->l.value > 0)
        return coil_figures(terms, &(struct coil_values){ value[0], value[1], value[2], value[3], value[4] }, limits, figures);
    double r[DW_FILTER_STAGES], c[DW_FILTER_STAGES], whole = 0;
    for (int k = 0; k < filter->stages; k++) {
        r[k] = value[2 * k];
        c[k] = value[2 * k + 1];
        whole += r[k];
    }
    figures->ripple = rc_ripple(terms, filter->stages, r, c);
    figures->duty = terms->duty;
    figures->settling = rc_settling(terms, filter->stages, r, c, &figures->settling_at_most);
    figures->overshoot = 0;
    figures->loading = loading_of(terms, whole);
    figures->pin_current = rc_pin_current(terms, r[0], whole);
    return true;
}

static enum dw_status undamped(struct dw_error *error)
{
    return dw_error_set(error, DW_NO, 0, "nothing damps the coil: it never settles; give source, load, r, or rd and cd");
}

enum dw_status dw_filter_nominal(const struct dw_filter_task *task, const struct dw_filter *filter,
                                 struct dw_filter_figures *figures, struct dw_error *error)
{
    enum dw_status status = dw_filter_task_check(task, error);
    if (status == DW_OK)
        status = filter_check(filter, error);
    if (status != DW_OK)
        return status;
    const struct task_terms terms = terms_of(task);
    struct dw_filter_figures found;
    if (!figures_at(&terms, filter, NULL, &NO_LIMITS, &found))
        return undamped(error);
    *figures = found;
    return DW_OK;
}

enum dw_status dw_filter_worst(const struct dw_filter_task *task, const struct dw_filter *filter,
                               struct dw_filter_figures *figures, bool *exact, struct dw_error *error)
{
    enum dw_status status = dw_filter_task_check(task, error);
    if (status == DW_OK)
        status = filter_check(filter, error);
    if (status != DW_OK)
        return status;
    const struct task_terms terms = terms_of(task);
    struct dw_filter_figures found;
    bool proved;
    if (!figures_worst(&terms, filter, &NO_LIMITS, &found, &proved))
        return undamped(error);
    *figures = found;
    *exact = proved;
    return DW_OK;
}

double dw_filter_cutoff(const struct dw_filter_task *task, const struct dw_filter *filter)
{
    if (dw_filter_task_check(task, NULL) != DW_OK || filter_check(filter, NULL) != DW_OK)
        return NAN;
    const struct task_terms terms = terms_of(task);
    if (filter->l.value > 0) {
        const struct coil_values values = values_of(filter);
        const struct lc_parts parts = parts_with_source(&terms, &values);
        return lc_cutoff(&parts);
    }
    struct rc_poles poles;
    double r[DW_FILTER_STAGES], c[DW_FILTER_STAGES];
    for (int k = 0; k < filter->stages; k++) {
        r[k] = filter->r[k].value;
        c[k] = filter->c[k].value;
    }
    poles_with_source(&poles, &terms, filter->stages, r, c);
    return rc_poles_cutoff(&poles);
}

int dw_filter_parts(const struct dw_filter *filter)
{
    const struct dw_part *parts[FILTER_PARTS];
    int there = 0;
    for (int i = filter_part_list(filter, parts); i-- > 0;)
        there += parts[i]->value > 0;
    return there;
}

double dw_filter_price(const struct dw_filter *filter)
{
    const struct dw_part *parts[FILTER_PARTS];
    double price = 0;
    for (int i = filter_part_list(filter, parts); i-- > 0;)
        price += parts[i]->value > 0 ? parts[i]->price : 0;
    return price;
}

int dw_filter_size(const struct dw_filter_task *task, const struct dw_filter *filter, double peak_current)
{
    const double small = 5e-6, medium = 500e-6, volts = fmax(fabs(task->high), fabs(task->low));
    double energy = filter->l.value * peak_current * peak_current / 2;
    for (int k = 0; k < filter->stages; k++)
        energy = fmax(energy, filter->c[k].value * volts * volts / 2);
    energy = fmax(energy, filter->cd.value * volts * volts / 2);
    return energy <= small ? 1 : energy <= medium ? 2 : 3;
}
