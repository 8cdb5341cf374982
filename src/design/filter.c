/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A filter and its figures at given values. */
#include "poles_inner.h"
#include <math.h>

static bool in_reach(double value)
{
    return value >= DW_PART_LEAST && value <= DW_PART_MOST;
}

/* What must be above zero, or not below it. */
static enum dw_status check_signs(const struct dw_filter_task *task, struct dw_error *error)
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
    }, not_below_zero[] = {
        { "source", "source", task->source },
        { "source_low", "source while low", task->source_low },
        { "insulation", "insulation", task->insulation },
    };
    for (size_t i = 0; i < sizeof above_zero / sizeof above_zero[0]; i++)
        if (!(above_zero[i].value > 0))
            return dw_error_member(error, above_zero[i].member, "%s must be above zero", above_zero[i].name);
    for (size_t i = 0; i < sizeof not_below_zero / sizeof not_below_zero[0]; i++)
        if (!(not_below_zero[i].value >= 0 && not_below_zero[i].value <= DW_PART_MOST))
            return dw_error_member(error, not_below_zero[i].member, "%s must be from zero to %g", not_below_zero[i].name, DW_PART_MOST);
    return DW_OK;
}

enum dw_status dw_filter_task_check(const struct dw_filter_task *task, struct dw_error *error)
{
    const enum dw_status status = check_signs(task, error);
    if (status != DW_OK)
        return status;
    if (!in_reach(task->frequency))
        return dw_error_member(error, "frequency", "frequency %g Hz: must be from %g to %g", task->frequency, DW_PART_LEAST, DW_PART_MOST);
    if (!(task->load >= DW_PART_LEAST))
        return dw_error_member(error, "load", "load %g ohm: must not be below %g", task->load, DW_PART_LEAST);
    if (!(task->high > task->low) || !isfinite(task->high - task->low))
        return dw_error_member(error, "high", "high must be above low");
    if (task->levels < 2)
        return dw_error_member(error, "levels", "levels must be at least 2");
    if (!isnan(task->duty) && !(task->duty > 0 && task->duty <= 1))
        return dw_error_member(error, "duty", "duty must be above 0 and at most 1");
    if (task->insulation > 0 && task->insulation < DW_PART_LEAST)
        return dw_error_member(error, "insulation", "insulation %g s: must not be below %g", task->insulation, DW_PART_LEAST);
    if (!(task->esr >= 0 && task->esr <= DW_ESR_MOST))
        return dw_error_member(error, "esr", "resistance times capacitance is %g s: no capacitor has more than %g", task->esr, DW_ESR_MOST);
    if (!(task->load_spread >= 0 && task->load_spread < 1))
        return dw_error_member(error, "load_spread", "spread of the load must be from 0 to below 100%%");
    if (!(task->band > 0 && task->band < 1))
        return dw_error_member(error, "band", "band must lie between 0 and 1");
    return DW_OK;
}

struct task_terms dwi_terms_of(const struct dw_filter_task *task)
{
    const bool search = isnan(task->duty);
    const double low = task->source_low > 0 ? task->source_low : task->source;
    struct task_terms terms = {
        .task = *task,
        .period = 1 / task->frequency,
        .height = task->high - task->low,
        .duty = search ? (double)(task->levels / 2) / (double)task->levels : task->duty,
        .step = search ? 1 : task->duty,
        .source = { fmin(task->source, low), fmax(task->source, low) },
        .load = { task->load * (1 - task->load_spread), task->load * (1 + task->load_spread) },
        .leak = task->insulation > 0 ? 1 / task->insulation : 0,
        .search_duty = search,
    };
    for (int i = 0; i < TASK_HARMONICS; i++)
        terms.sine[i] = sin((2 * i + 1) * M_PI * terms.duty);
    return terms;
}

void dwi_rc_poles_of(struct filter_poles *poles, const struct task_terms *terms, int stages, const struct rc_values *values)
{
    double r[POLES_MAX] = { 0 };
    for (int k = 0; k < stages; k++)
        r[k] = values->r[k];
    r[0] += values->source;
    dwi_rc_poles(poles, stages, r, values->c, values->load);
    dwi_poles_lossy(poles, terms->leak, terms->task.esr);
}

double dwi_rc_ripple(const struct task_terms *terms, const struct filter_poles *poles, double *duty)
{
    const struct exp_sum *out = &poles->out;
    *duty = terms->duty;
    /* of all k / levels the one nearest to one half is the worst, unless some passes at once: theory, (6.4) */
    const double share = terms->search_duty && out->jump > 0
                             ? dwi_pulse_worst_ripple(out, terms->period, terms->task.levels, INFINITY, duty)
                             : dwi_pulse_ripple(out, terms->period, terms->duty);
    return terms->height * poles->gain * share;
}

double dwi_rc_settling(const struct task_terms *terms, const struct filter_poles *poles, bool *at_most)
{
    const struct exp_sum missing = dwi_pulse_missing(&poles->out, terms->period, terms->step);
    return dwi_pulse_settling(&missing, terms->period, terms->task.band, at_most);
}

double dwi_loading_of(double series, double load)
{
    const double ratio = series / load;
    return ratio / (1 + ratio);
}

double dwi_rc_pin_current(const struct task_terms *terms, double first, double all)
{
    const double inrush = terms->height / first;
    const double rest = fmax(fabs(terms->task.high), fabs(terms->task.low)) / first;
    return fmax(rest, fmax(fabs(inrush + terms->task.low / all), fabs(inrush - terms->task.high / all)));
}

const struct filter_limits dwi_no_limits = { INFINITY, INFINITY, INFINITY };

bool dwi_exceeds(const struct task_terms *terms, const struct dw_filter_figures *figures, const struct filter_limits *limits)
{
    return figures->ripple > limits->ripple || figures->settling > limits->settling ||
           dwi_margin_of(&terms->task, figures, true) > limits->margin;
}

static bool begin(const struct task_terms *terms, const struct lc_parts *parts, struct filter_poles *poles,
                  struct dw_filter_figures *figures)
{
    if (!dwi_lc_poles(poles, parts))
        return false;
    const struct exp_sum missing = dwi_pulse_missing(&poles->out, terms->period, terms->step);
    *figures = (struct dw_filter_figures){ .duty = terms->duty, .loading = dwi_loading_of(parts->r, parts->load) };
    figures->overshoot = dwi_pulse_overshoot(&missing, terms->period);
    figures->settling = dwi_pulse_settling(&missing, terms->period, terms->task.band, &figures->settling_at_most);
    return true;
}

bool dwi_lc_start(const struct task_terms *terms, const struct lc_parts *parts, struct dw_filter_figures *figures)
{
    struct filter_poles poles;
    return begin(terms, parts, &poles, figures);
}

/* From nothing charged, from duty 0 settled, in the steady state: the largest of all. */
static double lc_pin_current(const struct task_terms *terms, const struct filter_poles *poles, double worst_duty)
{
    double current[2], other[2], peak = 0;
    dwi_pulse_current_from_rest(poles, terms->period, terms->step, 0, current);
    if (terms->search_duty) { /* either level */
        peak = fmax(fabs(terms->task.high), fabs(terms->task.low)) * fmax(-current[0], current[1]);
        dwi_pulse_current(poles, terms->period, worst_duty, other);
        current[0] = fmin(current[0], other[0]);
        current[1] = fmax(current[1], other[1]);
    } else if (terms->task.low != 0) {
        dwi_pulse_current_from_rest(poles, terms->period, terms->step, terms->task.low / terms->height, other);
        peak = terms->height * fmax(-other[0], other[1]);
    }
    for (int i = 0; i < 2; i++) {
        const double way = terms->height * current[i];
        peak = fmax(peak, fabs(terms->task.low * poles->conductance + way));
        if (terms->search_duty)  /* from fully on to off, too */
            peak = fmax(peak, fabs(terms->task.high * poles->conductance - way));
    }
    return peak;
}

bool dwi_lc_figures(const struct task_terms *terms, const struct lc_parts *parts, const struct filter_limits *limits,
                    struct dw_filter_figures *figures)
{
    struct filter_poles poles;
    if (!begin(terms, parts, &poles, figures))
        return false;
    /* what takes longest last */
    if (dwi_exceeds(terms, figures, limits))
        return true;
    const double volts = terms->height * poles.gain;
    figures->ripple = volts * (terms->search_duty ? dwi_pulse_worst_ripple(&poles.out, terms->period, terms->task.levels,
                                                                           limits->ripple / volts, &figures->duty)
                                                  : dwi_pulse_ripple(&poles.out, terms->period, terms->duty));
    if (!dwi_exceeds(terms, figures, limits))
        figures->pin_current = lc_pin_current(terms, &poles, figures->duty);
    return true;
}

double dwi_lc_least_ripple(const struct task_terms *terms, const struct lc_parts *parts)
{
    return terms->height * sin(M_PI * terms->duty) * dwi_lc_response(parts, 2 * M_PI / terms->period);
}

double dwi_margin_of(const struct dw_filter_task *task, const struct dw_filter_figures *figures, bool coil)
{
    /* values that are too far apart for doubles keep nothing */
    if (isnan(figures->ripple + figures->settling + figures->overshoot + figures->loading + figures->pin_current))
        return NAN;
    double margin = fmax(figures->ripple / task->ripple, figures->settling / task->settling);
    margin = fmax(margin, fmax(figures->overshoot / task->overshoot, figures->loading / task->loading));
    margin = fmax(margin, figures->pin_current / task->pin_current);
    return coil ? fmax(margin, figures->pin_current / task->coil_current) : margin;
}

enum dw_status dwi_filter_check(const struct dw_filter_task *task, const struct dw_filter *filter, struct dw_error *error)
{
    const enum dw_status status = dw_filter_task_check(task, error);
    if (status != DW_OK)
        return status;
    const struct dw_part *parts[FILTER_PARTS];
    const bool coil = filter->l.value != 0;
    bool good = filter->stages >= 1 && filter->stages <= (coil ? 1 : DW_FILTER_STAGES);
    for (int k = 0; good && k < filter->stages; k++)
        good = in_reach(filter->c[k].value) && (in_reach(filter->r[k].value) || (coil && filter->r[k].value == 0));
    if (good && coil)
        good = in_reach(filter->l.value) && (filter->cd.value == 0 ? filter->rd.value == 0
                                                             : in_reach(filter->cd.value) && in_reach(filter->rd.value));
    if (good && !coil)
        good = filter->rd.value == 0 && filter->cd.value == 0;
    if (!good)
        return dw_error_set(error, DW_BAD_USE, 0, "the parts make neither RC stages nor one stage with a coil");
    const int count = dwi_filter_part_list(filter, parts);
    for (int i = 0; i < count; i++)
        if (!(parts[i]->spread >= 0 && parts[i]->spread < 1))
            return dw_error_set(error, DW_BAD_USE, 0, "spread must be from 0 to below 100%%");
    return DW_OK;
}

int dwi_filter_part_list(const struct dw_filter *filter, const struct dw_part *parts[FILTER_PARTS])
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

static double part_at(const struct dw_part *part, const double *deviation, int n)
{
    return part->value * (deviation ? 1 + deviation[n] * part->spread : 1);
}

static double load_at(const struct task_terms *terms, const double *deviation)
{
    return terms->task.load * (deviation ? 1 + deviation[DEVIATIONS - 1] * terms->task.load_spread : 1);
}

double dw_filter_source(const struct dw_filter_task *task)
{
    return task->source_low > 0 ? (task->source + task->source_low) / 2 : task->source;
}

struct rc_values dwi_rc_values_at(const struct task_terms *terms, const struct dw_filter *filter, const double *deviation)
{
    struct rc_values values = { .source = dw_filter_source(&terms->task), .load = load_at(terms, deviation) };
    for (int k = 0; k < filter->stages; k++) {
        values.r[k] = part_at(&filter->r[k], deviation, 2 * k);
        values.c[k] = part_at(&filter->c[k], deviation, 2 * k + 1);
        values.whole += values.r[k];
    }
    return values;
}

struct lc_parts dwi_lc_parts_at(const struct task_terms *terms, const struct dw_filter *filter, const double *deviation)
{
    const double c = part_at(&filter->c[0], deviation, 2);
    return (struct lc_parts){
        .r = dw_filter_source(&terms->task) + part_at(&filter->r[0], deviation, 0),
        .l = part_at(&filter->l, deviation, 1),
        .c = c,
        .esr = terms->task.esr,
        .rd = part_at(&filter->rd, deviation, 3),
        .cd = part_at(&filter->cd, deviation, 4),
        .load = 1 / (1 / load_at(terms, deviation) + c * terms->leak),
    };
}

bool dwi_figures_at(const struct task_terms *terms, const struct dw_filter *filter, const double *deviation,
                    const struct filter_limits *limits, struct dw_filter_figures *figures)
{
    if (filter->l.value > 0) {
        const struct lc_parts parts = dwi_lc_parts_at(terms, filter, deviation);
        return dwi_lc_figures(terms, &parts, limits, figures);
    }
    struct rc_values values = dwi_rc_values_at(terms, filter, deviation);
    struct filter_poles poles;
    values.source = deviation ? terms->source[0] : values.source;
    dwi_rc_poles_of(&poles, terms, filter->stages, &values);
    *figures = (struct dw_filter_figures){ 0 };
    figures->ripple = dwi_rc_ripple(terms, &poles, &figures->duty);
    figures->pin_current = dwi_rc_pin_current(terms, values.source + values.r[0], values.source + values.whole + values.load);
    if (deviation && terms->source[1] > terms->source[0]) {
        values.source = terms->source[1];
        dwi_rc_poles_of(&poles, terms, filter->stages, &values);
    }
    figures->loading = dwi_rc_loading(terms, &poles, &values);
    figures->settling = dwi_rc_settling(terms, &poles, &figures->settling_at_most);
    return true;
}

double dwi_rc_loading(const struct task_terms *terms, const struct filter_poles *poles, const struct rc_values *values)
{
    return terms->leak > 0 ? 1 - poles->gain : dwi_loading_of(values->source + values->whole, values->load);
}

enum dw_status dwi_filter_undamped(struct dw_error *error)
{
    return dw_error_set(error, DW_NO, 0, "nothing damps the coil: it never settles; give source, load, r, or rd and cd");
}

enum dw_status dw_filter_nominal(const struct dw_filter_task *task, const struct dw_filter *filter,
                                 struct dw_filter_figures *figures, struct dw_error *error)
{
    const enum dw_status status = dwi_filter_check(task, filter, error);
    if (status != DW_OK)
        return status;
    const struct task_terms terms = dwi_terms_of(task);
    struct dw_filter_figures found;
    if (!dwi_figures_at(&terms, filter, NULL, &dwi_no_limits, &found))
        return dwi_filter_undamped(error);
    *figures = found;
    return DW_OK;
}

int dw_filter_parts(const struct dw_filter *filter)
{
    const struct dw_part *parts[FILTER_PARTS];
    int there = 0;
    for (int i = dwi_filter_part_list(filter, parts); i-- > 0;)
        there += parts[i]->value > 0;
    return there;
}

double dw_filter_price(const struct dw_filter *filter)
{
    const struct dw_part *parts[FILTER_PARTS];
    double price = 0;
    for (int i = dwi_filter_part_list(filter, parts); i-- > 0;)
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
