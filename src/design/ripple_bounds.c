/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What no RC ladder of a box ripples below: theory, 6.4. */
#include "search_inner.h"
#include <float.h>
#include <math.h>

enum { STAGES = DW_FILTER_STAGES };

/* The vertex of least time constants, each resistance largest over the next: its poles are the fastest by every symmetric function of their
 * squares. (6.30) */
static const unsigned FASTEST = (1u << TIMES) - 1;

/* Where the first harmonic is over that of lags without end by no more, its logarithm falls as theirs: it decides only the speed. */
static const double SLOW = 1.2;

/* Ladders by each time constant, s, and each resistance over the next, the last over the load: of two values either. */
struct ladders {
    int stages;
    double angular, leak, esr;
    double time[STAGES][2], ratio[STAGES][2];
};

/* 1 / H node by node from the load, where each capacitance has the same admittance a farad. (6.1)
 *   second   bits of the coordinates whose second value counts */
static double complex ladder_with(const struct ladders *ladders, unsigned second, double real, double imaginary)
{
    double v = 1, v_imaginary = 0, i = 1, i_imaginary = 0;
    for (int k = ladders->stages - 1; k >= 0; k--) {
        const double time = ladders->time[k][second >> k & 1], ratio = ladders->ratio[k][second >> (TIMES + k) & 1];
        i = ratio * i + time * (real * v - imaginary * v_imaginary);
        i_imaginary = ratio * i_imaginary + time * (real * v_imaginary + imaginary * v);
        v += i;
        v_imaginary += i_imaginary;
    }
    return v + I * v_imaginary;
}

/* The same at a harmonic of the pulses: u / (1 + esr u), u = leak + j w. (6.37) */
static double complex ladder_at(const struct ladders *ladders, unsigned second, int harmonic)
{
    const double angular = harmonic * ladders->angular, leak = ladders->leak, esr = ladders->esr;
    const double kept = 1 + esr * leak, below = kept * kept + esr * esr * angular * angular;
    return ladder_with(ladders, second, (leak * kept + esr * angular * angular) / below, angular / below);
}

static double square(double complex x)
{
    return creal(x) * creal(x) + cimag(x) * cimag(x);
}

/* Those at the vertices of a box: the most of each coordinate, of parts at their lowest, and the least. */
static struct ladders vertices_of(const struct task_terms *terms, const struct part_box *part)
{
    struct ladders of = { .stages = part->stages, .angular = 2 * M_PI / terms->period, .leak = terms->leak, .esr = terms->task.esr };
    double next[2] = { terms->load[1], terms->load[1] };
    for (int k = part->stages - 1; k >= 0; k--) {
        const struct pair_node *node = &part->node[k];
        const bool last = k == part->stages - 1;
        of.time[k][0] = node->fast.time_most;
        of.time[k][1] = node->fast.time_least;
        of.ratio[k][0] = node->fast.r_most / next[0];
        of.ratio[k][1] = last ? of.ratio[k][0] : node->fast.r_least / next[1];
        next[0] = node->fast.r_least;
        next[1] = node->fast.r_most;
    }
    return of;
}

/* That of largest parts, and that of smallest. */
static struct ladders ends_of(const struct task_terms *terms, const struct part_box *part)
{
    struct ladders of = { .stages = part->stages, .angular = 2 * M_PI / terms->period, .leak = terms->leak, .esr = terms->task.esr };
    double next[2] = { terms->load[1], terms->load[1] };
    for (int k = part->stages - 1; k >= 0; k--) {
        const struct pair_node *node = &part->node[k];
        const double r[2] = { node->fast.r_most, node->fast.r_least };
        of.time[k][0] = r[0] * fmin(node->fast.c_most, node->fast.time_most / r[1]);
        of.time[k][1] = r[1] * fmax(node->fast.c_least, node->fast.time_least / r[0]);
        for (int i = 0; i < 2; i++) {
            of.ratio[k][i] = r[i] / next[i];
            next[i] = r[i];
        }
    }
    return of;
}

/* The largest of each coordinate's logarithm, of parts at their lowest, and how wide the box is in it. */
static void ranges_of(const struct part_box *part, struct box_harmonics *of)
{
    for (int k = 0; k < part->stages; k++) {  /* unrun: count */
        const struct pair_logs *ln = &part->node[k].fast.ln;
        of->most[k] = ln->time_most;
        of->width[k] = ln->time_most - ln->time_least;
        if (k + 1 == part->stages)
            break;
        const struct pair_logs *next = &part->node[k + 1].fast.ln;
        of->most[TIMES + k] = ln->r_most - next->r_least;
        of->width[TIMES + k] = of->most[TIMES + k] - (ln->r_least - next->r_most);
    }
}

/* The sum of all poles, at most. */
static double most_poles(const struct task_terms *terms, const struct part_box *part)
{
    double sum = part->stages * terms->leak, next = terms->load[1];
    for (int k = part->stages - 1; k >= 0; k--) {
        sum += (1 + part->node[k].fast.r_most / next) / part->node[k].fast.time_least;
        next = part->node[k].fast.r_least;
    }
    return sum;
}

/* Sums over odd m > 7 of m^-(stages + 1). */
static const double REST[STAGES + 1] = { 0, 0.0621813, 0.00384731, 0.000315859 };

/* What harmonics 3 to 7 add at the first one's peak at least, of its own amplitude, where all poles are slow. (6.31)
 *   one      the fastest ladder's 1 / |H| at the first harmonic
 *   poles    their sum at most, of the pulses' angular frequency */
static double added_by_slow(const struct task_terms *terms, const struct ladders *vertices, double one, double poles)
{
    const int stages = vertices->stages;
    double sum = 0;
    for (int i = 1; i < TASK_HARMONICS; i++) {
        const int m = 2 * i + 1, power = stages == 1 ? m : stages == 2 ? m * m : m * m * m;
        const double way = (stages * i % 2 ? -1 : 1) * terms->sine[i], turn = m * poles;
        const double least = way > 0 ? way * fmax(1 - turn * turn / 2, -1) : way;
        sum += least / m * (least > 0 ? 1.0 / power : one / sqrt(square(ladder_at(vertices, FASTEST, m))));
    }
    return sum;
}

/* What there is of a harmonic behind the slowest and the fastest poles: its share of the first one, and its phase at that one's peak. */
struct harmonic {
    double share[2], phase[2];
};

/* From 0 to a right angle for each pole. */
static double phase_of(double complex ladder)
{
    const double phase = carg(ladder);
    return phase < 0 ? phase + 2 * M_PI : phase;
}

static struct harmonic harmonic_of(const struct ladders *ends, int m)
{
    struct harmonic of;
    for (int i = 0; i < 2; i++) {
        const double complex one = ladder_at(ends, i ? ~0U : 0, 1), there = ladder_at(ends, i ? ~0U : 0, m);
        of.share[i] = sqrt(square(one) / square(there));
        of.phase[i] = m * phase_of(one) - phase_of(there);
    }
    return of;
}

/* Where something passes at once harmonics are without end: then means of so much to either side are taken, by an angle of the first
 * one, and the rest falls with the square. */
static const double WINDOW = M_PI / 18;

/* What such a mean leaves of a cosine. */
static double averaged(double angle)
{
    return angle > 0 ? sin(angle) / angle : 1;
}

/* The least of a cosine over a range. */
static double least_cosine(double from, double to)
{
    const double trough = (ceil((from / M_PI - 1) / 2) * 2 + 1) * M_PI;
    return trough <= to ? -1 : fmin(cos(from), cos(to));
}

/* What is found of harmonics 1 to 7 near the first one's peak at least, of its own amplitude, where poles are known to lie between two
 * ladders'. (6.35) */
static double sum_between(const struct task_terms *terms, const struct ladders *ends)
{
    struct harmonic of[TASK_HARMONICS];
    double slope = 0, bend = terms->sine[0];
    for (int i = 1; i < TASK_HARMONICS; i++) {
        const int m = 2 * i + 1;
        of[i] = harmonic_of(ends, m);
        const double there = terms->sine[i] * (of[i].share[0] + of[i].share[1]) / 2, phase = (of[i].phase[0] + of[i].phase[1]) / 2;
        slope -= there * sin(phase);
        bend += m * there * cos(phase);
    }
    /* where all of them together are larger than at the first one's peak: any place will do */
    const double shift = bend > 0 ? fmax(-0.3, fmin(0.3, slope / bend)) : 0;
    const double window = ends->esr > 0 ? WINDOW : 0;
    double sum = terms->sine[0] * cos(shift) * averaged(window);
    for (int i = 1; i < TASK_HARMONICS; i++) {
        const int m = 2 * i + 1;
        const double turn = m * shift + (terms->sine[i] < 0 ? M_PI : 0);
        const double least = fabs(terms->sine[i]) * least_cosine(of[i].phase[1] + turn, of[i].phase[0] + turn);
        sum += least / m * of[i].share[least < 0] * averaged(m * window);
    }
    return ends->esr > 0 ? sum - harmonic_of(ends, 2 * TASK_HARMONICS + 1).share[1] * REST[1] / WINDOW : sum;
}

/* The same of the way from just before one edge to just before the other, where much passes at once: each harmonic adds to it as long as
 * none is later than half its period. (6.38)
 *   returns  0: one may be */
static double sum_at_edges(const struct task_terms *terms, const struct ladders *ends)
{
    const double zero = ends->angular * ends->esr / (1 + ends->leak * ends->esr);
    const double one = square(ladder_at(ends, 0, 1));
    double sum = M_PI / 4 * sqrt(one / square(ladder_with(ends, 0, 1 / ends->esr, 0)));
    if (ends->stages * (M_PI / 2 - atan(zero)) > M_PI)
        return 0;
    for (int i = 0; i < TASK_HARMONICS; i++) {
        const int m = 2 * i + 1;
        const double complex slow = ladder_at(ends, 0, m), fast = ladder_at(ends, ~0U, m);
        const double late = fmin(cimag(slow) / cabs(slow), cimag(fast) / cabs(fast));
        sum += terms->sine[i] * terms->sine[i] / m * sqrt(one / square(slow)) * late;
    }
    return sum;
}

/* The first harmonic, whose logarithm is concave in the coordinates: a plane below it at all vertices of the box is below it.
 * (6.35) */
static void slopes_of_first(const struct ladders *vertices, struct box_harmonics *of)
{
    double at[1 << COORDINATES], fallen[1 << COORDINATES], scale = 1;
    unsigned wide = 0;
    for (int k = 0; k < COORDINATES; k++)
        wide |= of->width[k] > 0 ? 1u << k : 0;
    for (unsigned v = wide;; v = (v - 1) & wide) {
        at[v] = square(ladder_at(vertices, v, 1));
        if (v == 0)
            break;
    }
    for (int k = 0; k < COORDINATES; k++)
        of->share[k] = wide >> k & 1 ? log(at[0] / at[1u << k]) / 2 / of->width[k] : 0;
    fallen[0] = at[0];
    for (unsigned v = wide & -wide; v > 0; v = (v - wide) & wide) {  /* by all of its coordinates, each on its own */
        const unsigned rest = v & (v - 1);
        fallen[v] = fallen[rest] * (at[v ^ rest] / at[0]);
        if (rest && at[v] > fallen[v])
            scale = fmin(scale, fmax(log(at[0] / at[v]) / log(at[0] / fallen[v]), 0));
    }
    of->level = -log(at[0]) / 2;
    for (int k = 0; k < COORDINATES; k++) {
        of->share[k] *= scale;
        of->level += of->share[k] * of->most[k];
    }
}

struct box_harmonics dwi_box_harmonics(const struct task_terms *terms, const struct part_box *part)
{
    const struct ladders vertices = vertices_of(terms, part);
    const double one = sqrt(square(ladder_at(&vertices, FASTEST, 1))), poles = most_poles(terms, part);
    struct box_harmonics of = { 0 };
    double sum = terms->sine[0], times = 1;
    for (int k = 0; k < part->stages; k++)
        times *= vertices.angular * part->node[k].fast.time_least;
    const double over = one / times;
    of.digits = DBL_EPSILON * terms->height * terms->period * poles;
    ranges_of(part, &of);
    if (over < SLOW && !(vertices.esr > 0)) {
        sum += added_by_slow(terms, &vertices, one, poles / vertices.angular) - over * REST[part->stages];
        for (int k = 0; k < part->stages; k++) {
            of.share[k] = 1;
            of.level += of.most[k] - of.width[k];
        }
        of.level -= log(one);
    } else {
        const struct ladders ends = ends_of(terms, part);
        sum = sum_between(terms, &ends);
        sum = ends.esr > 0 ? fmax(sum, sum_at_edges(terms, &ends)) : sum - over * REST[part->stages];
        slopes_of_first(&vertices, &of);
    }
    of.level += log(terms->height * 4 / M_PI * fmax(sum, terms->sine[0] * M_PI / 4));
    return of;
}
