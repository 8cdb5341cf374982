/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a report tells of a filter beside its figures, by the ladder's own system: what its parts must bear, and its cutoff. */
#include "poles_inner.h"
#include <dutywright/ladder.h>
#include <math.h>

/* A filter as a ladder, and where its outputs are. A damping branch is the shunt of a last stage without a series branch, so that its
 * current is an output. */
struct filter_circuit {
    struct dw_system *system;
    size_t stages, out;
    double load, leak[DW_FILTER_STAGES];  /* S, of the last stage, beside each capacitor */
    double lost;                          /* a capacitor's series resistance times its leak */
    bool no_memory;                       /* for a response: then what was found is no answer */
};

static size_t node_output(const struct filter_circuit *circuit, size_t stage)
{
    return 2 * stage + (stage + 1 == circuit->stages);
}

static size_t current_output(const struct filter_circuit *circuit, size_t stage)
{
    return 2 * stage + (stage + 1 < circuit->stages);
}

static enum dw_status circuit_new(struct filter_circuit *circuit, const struct dw_filter_task *task, const struct dw_filter *filter,
                                  struct dw_error *error)
{
    const bool damped = filter->cd.value > 0;
    const size_t last = (size_t)filter->stages - 1;
    struct dw_stage stages[DW_FILTER_STAGES] = { { .l = filter->l.value } };
    *circuit = (struct filter_circuit){ .stages = last + 1 + damped, .out = last, .load = 1 / task->load };
    for (size_t k = 0; k <= last; k++) {
        const double c = filter->c[k].value;
        stages[k].r = filter->r[k].value;
        stages[k].c = c;
        stages[k].esr = task->esr / c;
        stages[k].leak = task->insulation > 0 ? task->insulation / c : 0;
        circuit->leak[k] = task->insulation > 0 ? c / task->insulation : 0;
    }
    circuit->lost = task->insulation > 0 ? task->esr / task->insulation : 0;
    if (damped)
        stages[last + 1] = (struct dw_stage){ .c = filter->cd.value, .esr = filter->rd.value };
    const struct dw_ladder_plan plan = { .stages = stages, .count = circuit->stages, .source = dw_filter_source(task),
                                         .load = isfinite(task->load) ? task->load : 0 };
    struct dw_ladder *ladder = dw_ladder_new(&plan, error);
    circuit->system = ladder ? dw_ladder_system(ladder, error) : NULL;
    dw_ladder_free(ladder);
    return circuit->system ? DW_OK : error ? error->status : DW_BAD_USE;
}

/* The steady period about its mean: what a direct current adds is known, and would drown the rest. */
struct steady_period {
    struct dw_system *system;
    double length[2], level[2], state[2][DW_STATES];  /* while the pin is high, low: s, V, at the beginning */
};

static enum dw_status steady_of(struct steady_period *steady, struct dw_system *system, const struct dw_filter_task *task,
                                double duty, struct dw_error *error)
{
    const double period = 1 / task->frequency, edge = duty * period, height = task->high - task->low;
    const double time[4] = { 0, edge, edge, period }, high = (1 - duty) * height, low = -duty * height;
    const double pin[4] = { high, high, low, low };
    *steady = (struct steady_period){ .system = system, .length = { edge, period - edge }, .level = { high, low } };
    const enum dw_status status = dw_system_steady(system, &(struct dw_period){ time, pin, 4, NULL }, steady->state[0], NULL, error);
    if (status != DW_OK)
        return status;
    for (size_t i = 0; i < dw_system_states(system); i++)
        steady->state[1][i] = steady->state[0][i];
    return dw_system_advance(system, &(struct dw_interval){ steady->state[1], &high, &high, edge, NULL }, 0, steady->state[1], error);
}

/* Products of outputs, and their integrals while the pin is high, low: each once, for several sums have it. */
struct products {
    struct dw_integrand pair[5 * DW_FILTER_STAGES];
    double integral[2][5 * DW_FILTER_STAGES];
    size_t count;
};

/* Where a product stands; it is added where it is not there. */
static size_t product_of(struct products *products, size_t first, size_t second)
{
    size_t at = 0;
    while (at < products->count && (products->pair[at].first != first || products->pair[at].second != second))
        at++;
    if (at == products->count)
        products->pair[products->count++] = (struct dw_integrand){ first, second };
    return at;
}

/* A sum of outputs, each times its factor. */
struct output_sum {
    size_t output[3];
    double factor[3];
};

/* Integral of its square, once those of the products are there. */
static double square_of(struct products *products, const struct output_sum *sum)
{
    double whole = 0;
    for (int half = 0; half < 2; half++)
        for (int i = 0; i < 3; i++)
            for (int k = 0; k <= i; k++) {
                const double factor = sum->factor[i] * sum->factor[k] * (k < i ? 2 : 1);
                if (factor != 0)
                    whole += factor * products->integral[half][product_of(products, sum->output[i], sum->output[k])];
            }
    return fmax(whole, 0);
}

/* Mean squares of the current through each stage's series branch, and through its capacitor, direct current left out. */
static enum dw_status all_squares(const struct filter_circuit *circuit, const struct steady_period *steady, double *series,
                                  double *capacitor, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    struct products products = { .count = 0 };
    for (int found = 0; found < 2 && status == DW_OK; found++) {  /* which products there are comes first */
        for (size_t k = 0; k < circuit->stages; k++) {
            const bool more = k + 1 < circuit->stages;
            const struct output_sum through = { { current_output(circuit, k) }, { 1 } };
            /* what the shunt takes, less what leaks of it */
            const double kept = 1 + (circuit->leak[k] > 0 ? circuit->lost : 0);
            const struct output_sum shunt = {
                { current_output(circuit, k), more ? current_output(circuit, k + 1) : 0, node_output(circuit, k) },
                { kept, more ? -kept : 0, -circuit->leak[k] - (more ? 0 : kept * circuit->load) }
            };
            series[k] = square_of(&products, &through) / (steady->length[0] + steady->length[1]);
            capacitor[k] = square_of(&products, &shunt) / (steady->length[0] + steady->length[1]);
        }
        for (int half = 0; half < 2 && !found && status == DW_OK; half++) {
            const double *level = &steady->level[half];
            const struct dw_interval over = { steady->state[half], level, level, steady->length[half], NULL };
            status = dw_system_integrals(steady->system, &over, products.pair, products.count, products.integral[half], error);
        }
    }
    return status;
}

/* Peak-to-peak current of the coil; NaN where nothing damps it, so that no steady state is ever reached. */
static double coil_swing(const struct task_terms *terms, const struct dw_filter *filter, double duty)
{
    const struct lc_parts parts = dwi_lc_parts_at(terms, filter, NULL);
    struct filter_poles poles;
    double extremes[2];
    if (!dwi_lc_poles(&poles, &parts))
        return NAN;
    dwi_pulse_current(&poles, terms->period, duty, extremes);
    return terms->height * (extremes[1] - extremes[0]);
}

enum dw_status dw_filter_steady_currents(const struct dw_filter_task *task, const struct dw_filter *filter, double duty,
                                         struct dw_filter_currents *currents, struct dw_error *error)
{
    enum dw_status status = dwi_filter_check(task, filter, error);
    if (status == DW_OK && !(duty >= 0 && duty <= 1))
        status = dw_error_set(error, DW_BAD_USE, 0, "duty must be from 0 to 1");
    if (status != DW_OK)
        return status;
    struct filter_circuit circuit;
    struct steady_period steady;
    double series[DW_FILTER_STAGES] = { 0 }, capacitor[DW_FILTER_STAGES] = { 0 };
    status = circuit_new(&circuit, task, filter, error);
    if (status == DW_OK)
        status = steady_of(&steady, circuit.system, task, duty, error);
    if (status == DW_OK)
        status = all_squares(&circuit, &steady, series, capacitor, error);
    dw_system_free(circuit.system);
    if (status != DW_OK)
        return status;
    const struct task_terms terms = dwi_terms_of(task);
    const struct rc_values values = dwi_rc_values_at(&terms, filter, NULL);
    const double direct = (task->low + duty * terms.height) / (values.source + values.whole + task->load);
    *currents = (struct dw_filter_currents){ .coil = filter->l.value > 0 ? coil_swing(&terms, filter, duty) : 0 };
    for (int k = 0; k < filter->stages; k++) {
        currents->capacitor[k] = sqrt(capacitor[k]);
        currents->resistor[k] = filter->r[k].value * (series[k] + direct * direct);
    }
    if (filter->cd.value > 0) {
        currents->damping = sqrt(capacitor[1]);
        currents->rd = filter->rd.value * capacitor[1];
    }
    return DW_OK;
}

/* Infinite at the resonance of a coil that nothing damps; NaN, which compares with nothing, once memory has run out. */
static double response(struct filter_circuit *circuit, double angular)
{
    const size_t out = node_output(circuit, circuit->out);
    double real[DW_OUTPUTS], imaginary[DW_OUTPUTS];
    const enum dw_status status = dw_system_response(circuit->system, 0, angular, real, imaginary, NULL);
    circuit->no_memory = circuit->no_memory || status == DW_NO_MEMORY;
    /* unrun: rounding */
    return circuit->no_memory ? NAN : status == DW_OK ? hypot(real[out], imaginary[out]) : INFINITY;
}

/* Where a response passes a level: it is above it at `over`, below it at `under`, by more than rounding. */
struct level_crossing {
    struct filter_circuit *circuit;
    double level, over, under;
};

/* How far above the level a response is; keeps what that tells of the crossing. */
static double above(struct level_crossing *crossing, double angular)
{
    const double found = response(crossing->circuit, angular) - crossing->level;
    if (fabs(found) > 0x1p-50 * crossing->level)
        *(found > 0 ? &crossing->over : &crossing->under) = angular;
    return found;
}

/* By secants, then at a place close by on either side: bisection has few places left to ask at. */
static void narrow(struct level_crossing *crossing)
{
    enum { SECANTS = 10 };
    const double near = 0x1p-32, beside = 0x1p-48;
    double before = crossing->over, x = crossing->under, at_before = above(crossing, before), step = x - before;
    for (int i = 0; i < SECANTS && fabs(step) > near * x; i++) {  /* unrun: count */
        const double at = above(crossing, x), next = fmin(fmax(x - step * at / (at - at_before), crossing->over), crossing->under);
        step = next - x;
        at_before = at;
        x = next;
    }
    above(crossing, x * (1 - beside));
    above(crossing, x * (1 + beside));
}

/* The highest angular frequency at which a response passes a level: downwards in steps, then by bisection. Infinite where what
 * passes at once is more.
 *   from  from here on it only falls
 *   step  > 1: between two crossings there lies more than this factor */
static double highest_crossing(struct filter_circuit *circuit, double level, double from, double step)
{
    double high = from;
    while (high < INFINITY && response(circuit, high) > level)
        high *= 2;
    if (isinf(high))
        return high;
    while (response(circuit, high / step) < level)
        high /= step;
    double low = high / step;
    struct level_crossing crossing = { circuit, level, low, high };
    narrow(&crossing);
    for (int i = 0; i < 60; i++) {
        const double middle = (low + high) / 2;
        if (middle <= crossing.over || (middle < crossing.under && response(circuit, middle) > level))
            low = middle;
        else
            high = middle;
    }
    return (low + high) / 2;
}

enum dw_status dw_filter_cutoff(const struct dw_filter_task *task, const struct dw_filter *filter, double *cutoff,
                                struct dw_error *error)
{
    struct filter_circuit circuit;
    enum dw_status status = dwi_filter_check(task, filter, error);
    if (status == DW_OK)
        status = circuit_new(&circuit, task, filter, error);
    if (status != DW_OK)
        return status;
    const struct task_terms terms = dwi_terms_of(task);
    const struct rc_values values = dwi_rc_values_at(&terms, filter, NULL);
    const double series = values.source + values.whole, l = filter->l.value, c = filter->c[0].value;
    /* RC stages only fall; a stage with a coil does beyond its natural frequency, and may pass the level twice more below */
    const double from = l > 0 ? 2 / sqrt(l * c) : 1 / (series * c), step = l > 0 ? 1.01 : 2;
    *cutoff = highest_crossing(&circuit, M_SQRT1_2 * response(&circuit, 0), from, step) / (2 * M_PI);
    dw_system_free(circuit.system);
    return circuit.no_memory ? dw_no_memory(error) : DW_OK;
}

/* How far the mean at a duty D, D (1 + a) / (1 + a D) of the way from that at 0 to that at 1, is from D at most. (6.32) */
static double most_bent(double a)
{
    const double root = sqrt(1 + a) + 1;
    return a / (root * root);
}

enum dw_status dw_filter_nonlinearity(const struct dw_filter_task *task, const struct dw_filter *filter, double *bend,
                                      struct dw_error *error)
{
    const enum dw_status status = dwi_filter_check(task, filter, error);
    if (status != DW_OK)
        return status;
    const struct task_terms terms = dwi_terms_of(task);
    const struct rc_values values = dwi_rc_values_at(&terms, filter, NULL);
    const double low = task->source_low > 0 ? task->source_low : task->source, rest = values.whole - values.r[0] + values.load;
    double from = 1 / (values.r[0] + low) + 1 / rest, to = 1 / (values.r[0] + task->source) + 1 / rest;
    double up = task->high / (values.r[0] + task->source) / to - task->low / (values.r[0] + low) / from;
    up *= isinf(rest) ? 1 : values.load / rest;
    if (filter->l.value > 0) {
        from = 1 + (values.r[0] + low) / values.load;
        to = 1 + (values.r[0] + task->source) / values.load;
        up = task->high / to - task->low / from;
    }
    *bend = fabs(up * most_bent(to / from - 1));
    return DW_OK;
}
