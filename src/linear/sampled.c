/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A plant from sample to sample. docs/theory.md, (16.7). */
#include "linear/matrix_inner.h"
#include "linear/system_inner.h"
#include <dutywright/margins.h>
#include <complex.h>
#include <math.h>
#include <string.h>

enum { MOST = DW_SAMPLED_STATES };

static enum dw_status check(const struct dw_sampled *s, struct dw_error *error)
{
    if (s->states < 1 || s->states > MOST)
        return dw_error_set(error, DW_BAD_USE, 0, "%zu states of a sampled plant: it has from 1 to %d", s->states, MOST);
    if (!(s->sample_time > 0 && isfinite(s->sample_time)))
        return dw_error_set(error, DW_BAD_USE, 0, "sample time %g s: must be above zero", s->sample_time);
    double sum = 0;
    for (size_t i = 0; i < s->states * s->states; i++)
        sum += fabs(s->a[i]);
    for (size_t i = 0; i < s->states; i++)
        sum += fabs(s->b[i]) + fabs(s->c[i]);
    return isfinite(sum) ? DW_OK : dw_error_set(error, DW_BAD_USE, 0, "a sampled plant with a number that is not finite");
}

/* ---- a held duty ---- */

/* One step of so long from a state, with one input held. */
static enum dw_status step(struct dw_system *system, double *state, size_t input, double value, double length, struct dw_error *error)
{
    double held[DW_INPUTS] = { 0 };
    held[input] = value;
    return dw_system_advance(system, &(struct dw_interval){ state, held, held, length, NULL }, 0, state, error);
}

/* The columns of x after = a x + held[0] (duty at first) + held[1] (duty after `turn`). */
static enum dw_status make_columns(struct dw_system *system, size_t input, double turn, struct dw_sampled *s, double held[2][DW_STATES],
                                   struct dw_error *error)
{
    const size_t n = dw_system_states(system), all = s->states;
    double x[DW_STATES];
    enum dw_status status = DW_OK;
    for (size_t j = 0; j < n + 2 && !status; j++) {
        memset(x, 0, sizeof x);
        if (j < n)
            x[j] = 1;
        status = step(system, x, input, j == n, turn, error);
        if (!status)
            status = step(system, x, input, j == n + 1, s->sample_time - turn, error);
        for (size_t i = 0; i < n; i++)
            *(j < n ? &s->a[i * all + j] : &held[j - n][i]) = x[i];
    }
    return status;
}

enum dw_status dw_sampled_hold(struct dw_system *system, const struct dw_hold *hold, struct dw_sampled *sampled, struct dw_error *error)
{
    const size_t n = dw_system_states(system), input = hold->input, output = hold->output;
    const double sample_time = hold->sample_time, delay = hold->delay;
    if (!(sample_time > 0 && isfinite(sample_time)) || !(delay >= 0 && isfinite(delay)))
        return dw_error_set(error, DW_BAD_USE, 0, "sample time %g s, delay %g s: must be above zero, and not below zero", sample_time, delay);
    if (input >= dw_system_inputs(system) || output >= dw_system_outputs(system))
        return dw_error_set(error, DW_BAD_USE, 0, "input %zu of %zu, output %zu of %zu", input + 1, dw_system_inputs(system), output + 1,
                            dw_system_outputs(system));
    const double whole = floor(delay / sample_time), rest = fmax(0, fmin(delay - whole * sample_time, sample_time));
    const double waiting = whole + (rest > 0);
    if (n + waiting > MOST)
        return dw_error_set(error, DW_BAD_USE, 0, "%zu states, and %g of duties that wait for %g s: there is room for %d", n, waiting, delay, MOST);
    struct dw_sampled s = { .states = n + (size_t)waiting, .sample_time = sample_time };
    double held[2][DW_STATES] = { { 0 } };
    const double *row = system->output + output * (n + system->inputs);
    if (row[n + input] != 0)
        return dw_error_set(error, DW_BAD_USE, 0, "output %zu follows input %zu at once: what is measured must follow it later", output + 1, input + 1);
    memcpy(s.c, row, n * sizeof *row);
    const enum dw_status status = make_columns(system, input, rest, &s, held, error);
    if (status)
        return status;
    /* the newest duty first: duty k back stands at n + k - 1; it acts at first and another one sample later after the turn */
    for (size_t i = 0; i < n; i++) {
        *(waiting > 0 ? &s.a[i * s.states + s.states - 1] : &s.b[i]) += held[rest > 0 ? 0 : 1][i];
        if (rest > 0)
            *(waiting > 1 ? &s.a[i * s.states + s.states - 2] : &s.b[i]) += held[1][i];
    }
    if (waiting > 0)
        s.b[n] = 1;
    for (size_t k = n + 1; k < s.states; k++)
        s.a[k * s.states + k - 1] = 1;
    *sampled = s;
    return DW_OK;
}

/* ---- poles, response ---- */

enum dw_status dw_sampled_poles(const struct dw_sampled *s, double *real, double *imaginary, struct dw_error *error)
{
    double a[MOST * MOST];
    const enum dw_status status = check(s, error);
    if (status)
        return status;
    memcpy(a, s->a, s->states * s->states * sizeof *a);
    dwi_matrix_balance(a, s->states);
    if (!dwi_matrix_eigenvalues(a, s->states, real, imaginary))  /* unrun: eigenvalues */
        return dw_error_set(error, DW_NO, 0, "the poles were not found");
    return DW_OK;
}

/* Solves m x = b for the first n of each by elimination with row pivots; false: singular. */
static bool solve(double complex m[MOST][MOST], double complex *b, size_t n)
{
    for (size_t k = 0; k < n; k++) {
        size_t pivot = k;
        for (size_t i = k + 1; i < n; i++)
            pivot = cabs(m[i][k]) > cabs(m[pivot][k]) ? i : pivot;
        if (m[pivot][k] == 0)
            return false;
        for (size_t j = 0; j <= n && pivot != k; j++) {
            double complex *one = j < n ? &m[k][j] : &b[k], *other = j < n ? &m[pivot][j] : &b[pivot], kept = *one;
            *one = *other;
            *other = kept;
        }
        for (size_t i = k + 1; i < n; i++) {
            const double complex factor = m[i][k] / m[k][k];
            for (size_t j = k; j < n && factor != 0; j++)
                m[i][j] -= factor * m[k][j];
            b[i] -= factor * b[k];
        }
    }
    for (size_t k = n; k-- > 0;) {
        for (size_t j = k + 1; j < n; j++)
            b[k] -= m[k][j] * b[j];
        b[k] /= m[k][k];
    }
    return true;
}

void dw_sampled_response(const struct dw_sampled *s, double real, double imaginary, double out[2])
{
    const size_t n = s->states;
    double complex m[MOST][MOST], x[MOST], sum = 0;
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < n; j++)
            m[i][j] = -s->a[i * n + j];
        m[i][i] = (1 - s->a[i * n + i]) + (real + I * imaginary);
        x[i] = s->b[i];
    }
    const bool finite = solve(m, x, n);
    for (size_t i = 0; i < n && finite; i++)
        sum += s->c[i] * x[i];
    out[0] = finite ? creal(sum) : INFINITY;
    out[1] = finite ? cimag(sum) : 0;
}

/* Marks what is reached from the marked along a, or backwards. */
static void spread(const struct dw_sampled *s, bool *marked, bool backwards)
{
    const size_t n = s->states;
    for (size_t round = 0; round < n; round++)
        for (size_t i = 0; i < n; i++)
            for (size_t j = 0; j < n; j++)
                if (s->a[i * n + j] != 0 && marked[backwards ? i : j])
                    marked[backwards ? j : i] = true;
}

enum dw_status dw_sampled_reduce(const struct dw_sampled *s, struct dw_sampled *out, struct dw_error *error)
{
    const size_t n = s->states;
    bool driven[MOST], seen[MOST];
    size_t kept[MOST], count = 0;
    const enum dw_status status = check(s, error);
    if (status)
        return status;
    for (size_t i = 0; i < n; i++) {
        driven[i] = s->b[i] != 0;
        seen[i] = s->c[i] != 0;
    }
    spread(s, driven, false);
    spread(s, seen, true);
    for (size_t i = 0; i < n; i++)
        if (driven[i] && seen[i])
            kept[count++] = i;
    if (count == 0)
        return dw_error_set(error, DW_NO, 0, "what is measured does not follow the duty");
    *out = (struct dw_sampled){ .states = count, .sample_time = s->sample_time };
    for (size_t i = 0; i < count; i++) {
        for (size_t j = 0; j < count; j++)
            out->a[i * count + j] = s->a[kept[i] * n + kept[j]];
        out->b[i] = s->b[kept[i]];
        out->c[i] = s->c[kept[i]];
    }
    return DW_OK;
}
