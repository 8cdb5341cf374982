/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What no RC ladder of a box ripples below: theory, 6.4. */
#include "search_inner.h"
#include <float.h>
#include <math.h>
#include <string.h>

enum { STAGES = DW_FILTER_STAGES };

/* Where the first harmonic is over that of lags without end by no more, its logarithm falls as theirs: it decides only the speed. */
static const double SLOW = 1.2;

/* A resistance over the next, of parts at their lowest. */
static double ratio_of(const struct part_box *part, int k, bool least)
{
    const struct pair_node *one = &part->node[k], *next = &part->node[k + 1];
    return least ? one->fast.r_least / next->fast.r_most : one->fast.r_most / next->fast.r_least;
}

/* The largest of each coordinate's logarithm, of parts at their lowest, and how wide the box is in it. */
static void ranges_of(const struct part_box *part, struct box_harmonics *of)
{
    for (int k = 0; k < part->stages; k++) {
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

/* 1 / H of a ladder at some vertex of the box: the one of least time constants, each resistance largest over the next, has the
 * fastest poles by every symmetric function of their squares. (6.30)
 *   least   bit of a coordinate: its least, else its most
 *   a       out: coefficients
 *   returns the product of its time constants */
static double at_vertex(const struct task_terms *terms, const struct part_box *part, unsigned least, double *a)
{
    double i[STAGES + 2] = { 0 }, times = 1;
    memset(a, 0, (STAGES + 1) * sizeof *a);
    a[0] = 1;
    for (int k = part->stages - 1; k >= 0; k--) {
        const struct pair_node *node = &part->node[k];
        const double time = least >> k & 1 ? node->fast.time_least : node->fast.time_most;
        const double ratio = k == part->stages - 1 ? node->fast.r_most / terms->load[1] : ratio_of(part, k, least >> (TIMES + k) & 1);
        for (int n = part->stages - k; n >= 0; n--)
            i[n] *= ratio;
        i[0] += k == part->stages - 1 ? ratio : 0;
        for (int n = part->stages - k - 1; n >= 0; n--)
            i[n + 1] += time * a[n];
        for (int n = 0; n <= part->stages - k; n++)
            a[n] += i[n];
        times *= time;
    }
    for (int k = 0; k < part->stages && terms->leak > 0; k++)  /* s + leak for s: Horner's scheme */
        for (int n = part->stages - 1; n >= k; n--)
            a[n] += terms->leak * a[n + 1];
    return times;
}

static double magnitude(const double *a, double angular)
{
    const double square = angular * angular;
    return hypot(a[0] - square * a[2], angular * (a[1] - square * a[3]));
}

/* The same with a series resistance of the capacitors, where with s + leak = u P(u / (1 + esr u)) stands for P(u). (6.37) */
static double magnitude_with(const struct task_terms *terms, const double *a, double angular)
{
    const double complex u = terms->leak + I * angular, s = u / (1 + terms->task.esr * u) - terms->leak;
    return cabs(((a[3] * s + a[2]) * s + a[1]) * s + a[0]);
}

double dwi_box_poles(const struct task_terms *terms, const struct part_box *part)
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
 *   a        fastest; one: its magnitude at the first harmonic
 *   poles    their sum at most, of the pulses' angular frequency */
static double added_by_slow(const struct task_terms *terms, int stages, const double *a, double one, double poles)
{
    const double angular = 2 * M_PI / terms->period;
    double sum = 0;
    for (int i = 1; i < TASK_HARMONICS; i++) {
        const int m = 2 * i + 1, power = stages == 1 ? m : stages == 2 ? m * m : m * m * m;
        const double way = (stages * i % 2 ? -1 : 1) * terms->sine[i], turn = m * poles;
        const double least = way > 0 ? way * fmax(1 - turn * turn / 2, -1) : way;
        sum += least / m * (least > 0 ? 1.0 / power : one / magnitude(a, m * angular));
    }
    return sum;
}

/* What there is of a harmonic behind the slowest and the fastest poles: its share of the first one, and its phase at that one's peak.
 *   zero    the angular frequency times the time constant of each zero; 0: none */
struct harmonic {
    double share[2], phase[2];
};

static struct harmonic harmonic_of(const struct exp_sum *ends, int m, double angular, double zero)
{
    const double lifted = sqrt((1 + m * m * zero * zero) / (1 + zero * zero)), turned = atan(m * zero) - m * atan(zero);
    struct harmonic of = { { 1, 1 }, { 0, 0 } };
    for (int i = 0; i < 2; i++)
        for (int k = 0; k < ends[i].count; k++) {
            const double x = ends[i].rate[k] / angular;
            of.share[i] *= sqrt((x * x + 1) / (x * x + m * m)) * lifted;
            of.phase[i] += (m - 1) * M_PI / 2 - m * atan(x) + atan(x / m) + turned;
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
static double sum_between(const struct task_terms *terms, const struct exp_sum *ends, double zero)
{
    struct harmonic of[TASK_HARMONICS];
    double slope = 0, bend = terms->sine[0];
    for (int i = 1; i < TASK_HARMONICS; i++) {
        const int m = 2 * i + 1;
        of[i] = harmonic_of(ends, m, 2 * M_PI / terms->period, zero);
        const double there = terms->sine[i] * (of[i].share[0] + of[i].share[1]) / 2, phase = (of[i].phase[0] + of[i].phase[1]) / 2;
        slope -= there * sin(phase);
        bend += m * there * cos(phase);
    }
    /* where all of them together are larger than at the first one's peak: any place will do */
    const double shift = bend > 0 ? fmax(-0.3, fmin(0.3, slope / bend)) : 0;
    const double window = zero > 0 ? WINDOW : 0;
    double sum = terms->sine[0] * cos(shift) * averaged(window);
    for (int i = 1; i < TASK_HARMONICS; i++) {
        const int m = 2 * i + 1;
        const double turn = m * shift + (terms->sine[i] < 0 ? M_PI : 0);
        const double least = fabs(terms->sine[i]) * least_cosine(of[i].phase[1] + turn, of[i].phase[0] + turn);
        sum += least / m * of[i].share[least < 0] * averaged(m * window);
    }
    if (zero > 0)
        sum -= harmonic_of(ends, 2 * TASK_HARMONICS + 1, 2 * M_PI / terms->period, zero).share[1] * REST[1] / WINDOW;
    return sum;
}

/* The same of the way from just before one edge to just before the other, where much passes at once: each harmonic adds to it as long as
 * none is later than half its period. (6.38)
 *   returns  0: one may be */
static double sum_at_edges(const struct task_terms *terms, const struct exp_sum *ends, double zero)
{
    const double angular = 2 * M_PI / terms->period;
    double sum = M_PI / 4;
    if (ends->count * (M_PI / 2 - atan(zero)) > M_PI)
        return 0;
    for (int k = 0; k < ends->count; k++)
        sum *= sqrt((1 + pow(ends[0].rate[k] / angular, 2)) / (1 + 1 / (zero * zero)));
    for (int i = 0; i < TASK_HARMONICS; i++) {
        const int m = 2 * i + 1;
        double late[2] = { 0, 0 };
        for (int n = 0; n < 2; n++)
            for (int k = 0; k < ends[n].count; k++)
                late[n] += atan(m * angular / ends[n].rate[k]) - atan(m * zero);
        sum += terms->sine[i] * terms->sine[i] / m * harmonic_of(ends, m, angular, zero).share[0] * fmin(sin(late[0]), sin(late[1]));
    }
    return sum;
}

/* Poles of the ladder of largest parts, and of that of smallest. */
static void ends_of(const struct task_terms *terms, const struct part_box *part, struct exp_sum *ends)
{
    for (int i = 0; i < 2; i++) {
        double r[STAGES], c[STAGES];
        struct filter_poles poles;
        for (int k = 0; k < part->stages; k++) {
            const struct pair_node *node = &part->node[k];
            r[k] = i ? node->fast.r_least : node->fast.r_most;
            c[k] = i ? fmax(node->fast.c_least, node->fast.time_least / node->fast.r_most)
                     : fmin(node->fast.c_most, node->fast.time_most / node->fast.r_least);
        }
        dwi_rc_poles(&poles, part->stages, r, c, terms->load[1]);
        dwi_poles_lossy(&poles, terms->leak, terms->task.esr);
        ends[i] = poles.out;
    }
}

/* The first harmonic, whose logarithm is concave in the coordinates: a plane below it at all vertices of the box is below it.
 * (6.35) */
static void slopes_of_first(const struct task_terms *terms, const struct part_box *part, double angular, struct box_harmonics *of)
{
    double at[1 << COORDINATES], a[STAGES + 1], scale = 1;
    unsigned wide = 0;
    for (int k = 0; k < COORDINATES; k++)
        wide |= of->width[k] > 0 ? 1u << k : 0;
    for (unsigned v = wide;; v = (v - 1) & wide) {
        at_vertex(terms, part, v, a);
        at[v] = log(terms->task.esr > 0 ? magnitude_with(terms, a, angular) : magnitude(a, angular));
        if (v == 0)
            break;
    }
    for (int k = 0; k < COORDINATES; k++)
        of->share[k] = wide >> k & 1 ? (at[0] - at[1u << k]) / of->width[k] : 0;
    for (unsigned v = wide; v > 0; v = (v - 1) & wide) {
        double fall = 0;
        for (int k = 0; k < COORDINATES; k++)
            fall += v >> k & 1 ? of->share[k] * of->width[k] : 0;
        scale = fall > at[0] - at[v] ? fmin(scale, (at[0] - at[v]) / fall) : scale;
    }
    of->level = -at[0];
    for (int k = 0; k < COORDINATES; k++) {
        of->share[k] *= scale;
        of->level += of->share[k] * of->most[k];
    }
}

struct box_harmonics dwi_box_harmonics(const struct task_terms *terms, const struct part_box *part)
{
    const double angular = 2 * M_PI / terms->period, esr = terms->task.esr, zero = angular * esr / (1 + terms->leak * esr);
    struct box_harmonics of = { 0 };
    double a[STAGES + 1], sum = terms->sine[0];
    const double times = at_vertex(terms, part, (1u << TIMES) - 1, a), one = magnitude(a, angular);
    const double poles = dwi_box_poles(terms, part), over = one / (times * pow(angular, part->stages));
    of.digits = DBL_EPSILON * terms->height * terms->period * poles;
    ranges_of(part, &of);
    if (over < SLOW && !(esr > 0)) {
        sum += added_by_slow(terms, part->stages, a, one, poles / angular) - over * REST[part->stages];
        of.level = log(times / one);
        for (int k = 0; k < part->stages; k++)
            of.share[k] = 1;
    } else {
        struct exp_sum ends[2];
        ends_of(terms, part, ends);
        sum = sum_between(terms, ends, zero);
        sum = esr > 0 ? fmax(sum, sum_at_edges(terms, ends, zero)) : sum - over * REST[part->stages];
        slopes_of_first(terms, part, angular, &of);
    }
    of.level += log(terms->height * 4 / M_PI * fmax(sum, terms->sine[0] * M_PI / 4));
    return of;
}
