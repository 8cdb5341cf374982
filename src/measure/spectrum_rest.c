/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a fundamental leaves of a wave that is nearly nothing else, where Parseval's difference would be rounding. */
#include "measure/coefficients_inner.h"
#include "measure/spectrum_inner.h"
#include <float.h>
#include <math.h>

struct fundamental {
    double mean, amplitude, phase;
    struct gauss_rules rules;
};

/* Nodes that integrate the square of a line less a cosine over a piece of so many radians, 0 where GAUSS_MOST are too few:
 * docs/theory.md, equation 5.15; or of a cubic, 5.20. */
static int nodes_of(const struct gauss_rules *rules, double radians, bool cubic)
{
    double power = pow(radians, 6);
    for (int nodes = 3; nodes <= GAUSS_MOST; nodes++, power *= radians * radians) {
        const double most = cubic ? power / 2 + 2 * dwi_weight_markov(radians / 2, 2 * nodes) : power;
        if (rules->error[nodes] * most <= DBL_EPSILON * DBL_EPSILON && nodes > 2 + cubic)  /* unrun: pure-sine */
            return nodes;
    }
    return 0;
}

/* Integral over one piece, from and to being shares of the period; below 0 where it is too long. */
static double rest_of_piece(const struct fundamental *f, double from, double to, const struct hermite *piece)
{
    const double half = (to - from) / 2, middle = from + half;
    const int nodes = nodes_of(&f->rules, 4 * M_PI * half, piece->even != 0 || piece->odd != 0);  /* unrun: pure-sine */
    double sum = 0;
    for (int k = 0; k < nodes; k++) {
        const double v = f->rules.node[nodes][k];
        const double off = hermite_at(piece, v) - f->amplitude * cos(2 * M_PI * (middle + half * v) + f->phase);
        sum += f->rules.weight[nodes][k] * off * off;
    }
    return nodes ? half * sum : -1;
}

bool dwi_windows_rest(const struct windows *ws, size_t channel, const double *line, double *square)
{
    struct fundamental f = { .mean = dwi_moments_mean(&ws->total.of[channel]),
                             .amplitude = 2 * hypot(line[0], line[1]),
                             .phase = atan2(line[1], line[0]) };
    double sum = 0;
    for (size_t i = 0; i < ws->count; i++)
        if (ws->closed[i].high || ws->closed[i].alike || ws->whole)
            return false;
    dwi_gauss_rules_fill(&f.rules);
    for (const double *row = ws->row + ws->first * ws->width, *last = ws->row + (ws->first_open - 1) * ws->width; row < last;
         row += ws->width) {
        const double *next = row + ws->width, length = next[0] - row[0], a = row[1 + channel] - f.mean, b = next[1 + channel] - f.mean;
        const size_t s = ws->slope_of[channel];
        const struct hermite piece = s ? hermite_of(length, a, row[s], b, next[s]) : hermite_line(a, b);
        const double rest = length > 0 ? rest_of_piece(&f, row[0], next[0], &piece) : 0;
        if (rest < 0)
            return false;
        sum += rest;
    }
    *square = sum / ws->periods;
    return true;
}
