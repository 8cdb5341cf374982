/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "simulated.h"
#include "suite.h"
#include <dutywright/ladder.h>
#include <dutywright/measure.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

double uniform(uint64_t *state, double low, double high)
{
    *state ^= *state >> 12;
    *state ^= *state << 25;
    *state ^= *state >> 27;
    return low + (high - low) * (double)((*state * UINT64_C(2685821657736338717)) >> 11) * 0x1p-53;
}

struct simulated simulate(const struct dw_filter *filter, double source, double load, double period)
{
    struct simulated result = simulate_task(filter, &(struct dw_filter_task){ .frequency = 1, .source = source, .load = load });
    result.period = period;
    return result;
}

struct simulated simulate_task(const struct dw_filter *filter, const struct dw_filter_task *task)
{
    struct dw_stage stages[DW_FILTER_STAGES] = { { 0 } };
    struct dw_error error = { .text = "" };
    for (int k = 0; k < filter->stages; k++) {
        stages[k].r = filter->r[k].value;
        stages[k].c = filter->c[k].value;
        stages[k].esr = task->esr / stages[k].c;
        stages[k].leak = task->insulation / stages[k].c;
    }
    stages[0].l = filter->l.value;
    stages[0].rd = filter->rd.value;
    stages[0].cd = filter->cd.value;
    struct dw_ladder *ladder = dw_ladder_new(&(struct dw_ladder_plan){ .stages = stages, .count = (size_t)filter->stages,
        .source = task->source, .load = isinf(task->load) ? 0 : task->load }, &error);
    ck_assert_msg(ladder != NULL, "%s", error.text);
    struct simulated result = { dw_ladder_system(ladder, &error), 1 / task->frequency, dw_ladder_states(ladder), dw_ladder_outputs(ladder) - 1, 0 };
    const char *name, *unit;
    while (dw_ladder_output(ladder, result.pin, &name, &unit), strcmp(name, "current1"))
        result.pin++;
    ck_assert_msg(result.system != NULL, "%s", error.text);
    dw_ladder_free(ladder);
    return result;
}

void simulated_free(struct simulated *filter)
{
    dw_system_free(filter->system);
}

double complex poles_response(const struct exp_sum *f, double level, double angular)
{
    const double complex s = I * angular, p = f->rate[0] + I * f->angular, residue = f->even[0] + I * f->odd;
    double complex sum = residue / (s + p) / 2 + conj(residue) / (s + conj(p)) / 2;
    for (int n = 1; n < f->count; n++)
        sum += f->even[n] / (s + f->rate[n]);
    return level - s * sum;
}

enum { PIECES = 512 };
static const double levels[2] = { 1, 0 };

static double moved(const struct simulated *filter, const double *from, const double *level, double length, size_t output)
{
    double state[DW_STATES], outputs[DW_OUTPUTS];
    struct dw_error error = { .text = "" };
    memcpy(state, from, filter->states * sizeof *state);
    succeeds(dw_system_advance(filter->system, &(struct dw_interval){ state, level, level, length, NULL }, 0, state, &error), error);
    dw_system_output(filter->system, state, level, outputs);
    return outputs[output];
}

/* Golden section.
 *   sign   1 for a largest value, -1 for a smallest */
static void widen(const struct simulated *filter, const double *from, const double *level, double high, size_t output, double sign,
                  int steps, double *least, double *most)
{
    double low = 0;
    for (int step = 0; step < steps; step++) {
        const double place[2] = { high - (high - low) * 0.618033988749895, low + (high - low) * 0.618033988749895 };
        double at[2];
        for (int side = 0; side < 2; side++) {
            at[side] = moved(filter, from, level, place[side], output);
            *least = fmin(*least, at[side]);
            *most = fmax(*most, at[side]);
        }
        if (sign * at[0] > sign * at[1])
            high = place[1];
        else
            low = place[0];
    }
}

double simulated_range(const struct simulated *filter, double duty, size_t output, int steps)
{
    struct dw_error error = { .text = "" };
    const double edge = duty * filter->period;
    const double time[4] = { 0, edge, edge, filter->period }, pin[4] = { 1, 1, 0, 0 };
    double state[DW_STATES], least = INFINITY, most = -INFINITY;
    succeeds(dw_system_steady(filter->system, &(struct dw_period){ time, pin, 4, NULL }, state, NULL, &error), error);
    for (int half = 0; half < 2; half++) {
        const double *level = &levels[half], length = half ? filter->period - edge : edge;
        double value[PIECES + 1], start[PIECES + 1][DW_STATES];
        for (int i = 0; i <= PIECES; i++) {
            memcpy(start[i], state, sizeof state);
            value[i] = moved(filter, state, level, 0, output);
            least = fmin(least, value[i]);
            most = fmax(most, value[i]);
            if (i < PIECES)
                succeeds(dw_system_advance(filter->system, &(struct dw_interval){ state, level, level, length / PIECES, NULL }, 0, state, &error), error);
        }
        /* a turn may hide in the first and in the last piece, on either side */
        for (int i = 1; i < PIECES; i++)
            for (int side = -1; side <= 1; side += 2) {
                const bool turn = side * (value[i] - value[i - 1]) >= 0 && side * (value[i + 1] - value[i]) <= 0;
                /* between samples no further out than they are apart */
                const double reach = side * value[i] + fabs(value[i] - value[i - 1]) + fabs(value[i + 1] - value[i]);
                if ((turn || i == 1 || i + 1 == PIECES) && reach >= (side > 0 ? most : -least))
                    widen(filter, start[i - 1], level, 2 * length / PIECES, output, side, steps, &least, &most);
            }
    }
    return most - least;
}

static void steady(const struct simulated *filter, double duty, double *state)
{
    const double edge = duty * filter->period, time[4] = { 0, edge, edge, filter->period }, pin[4] = { 1, 1, 0, 0 };
    struct dw_error error = { .text = "" };
    succeeds(dw_system_steady(filter->system, &(struct dw_period){ time, pin, 4, NULL }, state, NULL, &error), error);
}

double simulated_product(const struct simulated *filter, double duty, size_t one, size_t other)
{
    double state[DW_STATES], sum = 0;
    steady(filter, duty, state);
    for (int half = 0; half < 2; half++) {
        const double *level = &levels[half], length = (half ? 1 - duty : duty) * filter->period;
        struct dw_error error = { .text = "" };
        const struct dw_interval over = { state, level, level, length, NULL };
        double integral;
        succeeds(dw_system_integrals(filter->system, &over, &(struct dw_integrand){ one, other }, 1, &integral, &error), error);
        succeeds(dw_system_advance(filter->system, &(struct dw_interval){ state, level, level, length, NULL }, 0, state, &error), error);
        sum += integral / filter->period;
    }
    return sum;
}

double simulated_rate(const struct simulated *filter, double duty, size_t output)
{
    enum { MANY = 4096 };
    double state[DW_STATES], sum = 0;
    steady(filter, duty, state);
    for (int half = 0; half < 2; half++) {
        const double *level = &levels[half], length = (half ? 1 - duty : duty) * filter->period / MANY;
        struct dw_error error = { .text = "" };
        double before = moved(filter, state, level, 0, output);
        for (int i = 0; i < MANY; i++) {
            succeeds(dw_system_advance(filter->system, &(struct dw_interval){ state, level, level, length, NULL }, 0, state, &error), error);
            const double now = moved(filter, state, level, 0, output);
            sum += (now - before) * (now - before) / (length * filter->period);
            before = now;
        }
    }
    return sum;
}

double simulated_while_high(const struct simulated *filter, double duty, size_t output)
{
    double state[DW_STATES], integral;
    const struct dw_interval over = { state, levels, levels, duty * filter->period, NULL };
    struct dw_error error = { .text = "" };
    steady(filter, duty, state);
    succeeds(dw_system_integrals(filter->system, &over, &(struct dw_integrand){ output, DW_ALONE }, 1, &integral, &error), error);
    return integral / filter->period;
}

struct simulated_start simulated_start(const struct simulated *filter, double duty, double band, size_t periods,
                                       int samples)
{
    struct dw_error error = { .text = "" };
    double state[DW_STATES] = { 0 }, *end = calloc(periods, sizeof *end), *mean = calloc(periods, sizeof *mean);
    struct simulated_start start = { 0, 0, 0, false };
    ck_assert(end && mean);
    for (size_t n = 0; n < periods; n++) {
        for (int half = 0; half < 2; half++) {
            const double length = (half ? 1 - duty : duty) * filter->period, *level = &levels[half];
            const struct dw_interval over = { state, level, level, length, NULL };
            double integral;
            if (!(length > 0))
                continue;
            succeeds(dw_system_integrals(filter->system, &over, &(struct dw_integrand){ filter->out, DW_ALONE }, 1, &integral,
                                         &error), error);
            mean[n] += integral / filter->period;
            for (int i = 0; i < samples; i++) {
                start.pin_peak = fmax(start.pin_peak, fabs(moved(filter, state, level, 0, filter->pin)));
                succeeds(dw_system_advance(filter->system, &(struct dw_interval){ state, level, level, length / samples, NULL }, 0, state, &error), error);
            }
            if (samples == 0)
                succeeds(dw_system_advance(filter->system, &(struct dw_interval){ state, level, level, length, NULL }, 0, state, &error), error);
            start.pin_peak = fmax(start.pin_peak, fabs(moved(filter, state, level, 0, filter->pin)));
        }
        end[n] = (double)(n + 1) * filter->period;
    }
    struct dw_settling settling;
    const struct dw_settling_rule rule = { .start = 0, .initial = 0, .band = band, .range = 1 };
    succeeds(dw_settling_from_means(end, mean, periods, &rule, &settling, &error), error);
    ck_assert(settling.state == DW_SETTLED || settling.state == DW_SETTLED_WITHIN);
    start.at_most = settling.state == DW_SETTLED_WITHIN;
    start.settling = settling.time;
    for (size_t n = 0; n < periods; n++)
        start.overshoot = fmax(start.overshoot, mean[n] / mean[periods - 1] - 1);
    free(end);
    free(mean);
    return start;
}
