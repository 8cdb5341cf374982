/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What no RC ladder of a box is below: theory, 6.4. */
#include "search_inner.h"
#include <math.h>
#include <string.h>

enum { STAGES = DW_FILTER_STAGES };

/* The part of a box that is still in question. */
struct part_box {
    int stages;
    struct pair_node node[STAGES];
};

/* ---- of the largest and the smallest parts alone ---- */

/* The ripple of the largest parts. */
static double corner_ripple(const struct task_terms *terms, const struct part_box *part)
{
    double r[STAGES], c[STAGES];
    struct filter_poles poles;
    for (int k = 0; k < part->stages; k++) {
        r[k] = part->node[k].fast.r_most;
        c[k] = part->node[k].fast.c_most;
    }
    dwi_rc_poles(&poles, part->stages, r, c, terms->load[1]);
    dwi_poles_leak(&poles, terms->leak);
    return dwi_rc_ripple(terms, &poles);
}

/* What the time constants of the ladder without a load that settles as one with it are over its own, at least. (6.25) */
static void unloaded(const struct task_terms *terms, const struct part_box *part, double *share)
{
    double behind = terms->load[1], leak = 0;
    for (int k = part->stages - 1; k >= 0; k--) {
        leak += terms->leak * part->node[k].slow.time_most / part->node[k].slow.r_least;
        share[k] = 1 / (1 + part->node[k].slow.r_most * (1 / behind + leak));
        behind += part->node[k].slow.r_least;
    }
}

/* Settling of the ladder of least time constants, each resistance least over the next. (6.26) */
static double corner_settling(const struct task_terms *terms, const struct part_box *part, bool *at_most)
{
    double r[STAGES], c[STAGES], share[STAGES], unit = 1;
    struct filter_poles poles;
    unloaded(terms, part, share);
    for (int k = part->stages - 1; k >= 0; k--) {
        if (k < part->stages - 1)
            unit *= part->node[k].slow.r_least / part->node[k + 1].slow.r_most * share[k] * share[k + 1];
        r[k] = unit;
        c[k] = part->node[k].slow.time_least * share[k] / unit;
    }
    dwi_rc_poles(&poles, part->stages, r, c, INFINITY);
    return dwi_rc_settling(terms, &poles, at_most);
}

/* ---- of time constants that go together ---- */

/* Logarithms of a ladder's time constants, from the first stage on, then of each resistance over the next. */
enum { TIMES = STAGES, COORDINATES = 2 * STAGES - 1 };

/* Coefficients of the polynomial of an unloaded ladder, and their derivatives by the coordinates. (6.27) */
struct coefficients {
    double a[STAGES + 1], slope[COORDINATES][STAGES + 1];
};

static void coefficients_of(struct coefficients *of, int stages, const double *at)
{
    const double t1 = exp(at[0]), t2 = exp(at[1]), a = exp(at[TIMES]);
    *of = (struct coefficients){ .a = { 1, t1 + t2 + a * t2, t1 * t2 } };
    if (stages == 2) {
        memcpy(of->slope[0], (double[STAGES + 1]){ 0, t1, t1 * t2 }, sizeof of->slope[0]);
        memcpy(of->slope[1], (double[STAGES + 1]){ 0, t2 + a * t2, t1 * t2 }, sizeof of->slope[0]);
        memcpy(of->slope[TIMES], (double[STAGES + 1]){ 0, a * t2 }, sizeof of->slope[0]);
        return;
    }
    const double t3 = exp(at[2]), b = exp(at[TIMES + 1]), all = t1 * t2 * t3;
    const double with1 = t1 * t2 + t1 * t3 + b * t1 * t3, with23 = t2 * t3 + a * t2 * t3, last = t3 + b * t3 + a * b * t3;
    of->a[1] += last;
    of->a[2] = with1 + with23;
    of->a[3] = all;
    memcpy(of->slope[0], (double[STAGES + 1]){ 0, t1, with1, all }, sizeof of->slope[0]);
    memcpy(of->slope[1], (double[STAGES + 1]){ 0, t2 + a * t2, t1 * t2 + with23, all }, sizeof of->slope[0]);
    memcpy(of->slope[2], (double[STAGES + 1]){ 0, last, t1 * t3 + b * t1 * t3 + with23, all }, sizeof of->slope[0]);
    memcpy(of->slope[TIMES], (double[STAGES + 1]){ 0, a * t2 + a * b * t3, a * t2 * t3 }, sizeof of->slope[0]);
    memcpy(of->slope[TIMES + 1], (double[STAGES + 1]){ 0, b * t3 + a * b * t3, b * t1 * t3 }, sizeof of->slope[0]);
}

/* Poles of the ladder at some coordinates. */
static void poles_at(struct filter_poles *poles, int stages, const double *at)
{
    double r[STAGES], c[STAGES], unit = 1;
    for (int k = stages - 1; k >= 0; k--) {
        unit *= k < stages - 1 ? exp(at[TIMES + k]) : 1;
        r[k] = unit;
        c[k] = exp(at[k]) / unit;
    }
    dwi_rc_poles(poles, stages, r, c, INFINITY);
}

/* When a step's answer has come within the band: Newton's method on the logarithm of what is missing, which is concave. */
static double reached(const struct exp_sum *out, double band)
{
    double time = log(out->even[0] / band) / out->rate[0], step = time;
    for (int i = 0; i < 50 && fabs(step) > 1e-7 * time; i++) {
        double slope;
        const double missing = dwi_exp_sum_at(out, time, &slope);
        step = log(missing / band) * missing / slope;
        time -= step;
    }
    return time;
}

/* How much of a relative change of each pole goes into that of the time; they sum to one. (6.28) */
static bool shares_of_poles(const struct exp_sum *out, double time, double *share)
{
    double sum = 0;
    bool falling = true;
    for (int k = 0; k < out->count; k++) {
        const double p = out->rate[k];
        double density = 0, turn = time;
        for (int n = 0; n < out->count; n++)
            if (n != k) {
                turn -= 1 / (out->rate[n] - p);
                density += out->even[n] * out->rate[n] / (p - out->rate[n]) * exp(-out->rate[n] * time);
            }
        share[k] = density + p * out->even[k] * turn * exp(-p * time);
        sum += share[k];
        falling = falling && share[k] >= 0 && (k == 0 || share[k] <= share[k - 1]);
    }
    for (int k = 0; k < out->count; k++)
        share[k] /= sum;
    return falling;
}

/* A plane that the logarithm of the settling time is nowhere below, and where in the box it may be asked. */
struct plane {
    int stages;
    double level;                         /* ln s, at the least of all time constants */
    double least[STAGES], most[STAGES];   /* ln s, time constants */
    double slope[STAGES];
    double shift;                         /* what the sum of these is at least above that of the times of (6.30) */
};

static double slope_by(const struct exp_sum *out, const double *share, const double *a, const double *by)
{
    double slope = 0;
    for (int k = 0; k < out->count; k++) {
        const double s = -out->rate[k];
        const double up = s * (by[1] + s * (by[2] + s * by[3])), down = a[1] + s * (2 * a[2] + 3 * s * a[3]);
        slope += share[k] * up / (s * down);
    }
    return fmax(slope, 0);
}

/* returns  false: it is not known to be below */
static bool plane_of(struct plane *plane, const struct task_terms *terms, const struct part_box *part)
{
    double at[COORDINATES] = { 0 }, loaded[STAGES], share[STAGES];
    struct filter_poles poles;
    struct coefficients coefficients;
    *plane = (struct plane){ .stages = part->stages };
    unloaded(terms, part, loaded);
    for (int k = 0; k < part->stages; k++) {
        const struct pair_node *node = &part->node[k];
        plane->least[k] = log(node->slow.time_least * loaded[k]);
        plane->most[k] = log(node->slow.time_most * loaded[k]);
        plane->shift += log(node->slower * loaded[k]);
        at[k] = (plane->least[k] + plane->most[k]) / 2;
        if (k + 1 < part->stages)
            at[TIMES + k] = log(node->slow.r_least / part->node[k + 1].slow.r_most * loaded[k] * loaded[k + 1]);
    }
    poles_at(&poles, part->stages, at);
    const double time = reached(&poles.out, terms->task.band);
    if (!shares_of_poles(&poles.out, time, share))
        return false;
    coefficients_of(&coefficients, part->stages, at);
    plane->level = log(time);
    for (int k = 0; k < part->stages; k++) {
        plane->slope[k] = slope_by(&poles.out, share, coefficients.a, coefficients.slope[k]);
        plane->level -= plane->slope[k] * (at[k] - plane->least[k]);
    }
    return true;
}

/* The least settling time where the time constants' logarithms sum to so much at least. (6.29) */
static double settling_from(const struct plane *plane, const struct task_terms *terms, double sum)
{
    double level = plane->level, need = sum + plane->shift;
    bool raised[STAGES] = { false };
    for (int k = 0; k < plane->stages; k++)
        need -= plane->least[k];
    for (int n = 0; n < plane->stages && need > 0; n++) {
        int flattest = 0;
        for (int k = 0; k < plane->stages; k++)
            if (!raised[k] && (raised[flattest] || plane->slope[k] < plane->slope[flattest]))
                flattest = k;
        const double step = fmin(need, plane->most[flattest] - plane->least[flattest]);
        raised[flattest] = true;
        level += step * plane->slope[flattest];
        need -= step;
    }
    return exp(level) + terms->step * terms->period / 2;
}

/* 1 / H of the ladder of least time constants, each resistance largest over the next: among those of a box this one has the fastest
 * poles by every symmetric function of their squares. (6.30)
 *   a       out: coefficients
 *   returns the product of its time constants */
static double fastest(const struct task_terms *terms, const struct part_box *part, double *a)
{
    double i[STAGES + 2] = { 0 }, next = terms->load[1], times = 1;
    a[0] = 1;
    for (int k = part->stages - 1; k >= 0; k--) {
        const struct pair_node *node = &part->node[k];
        const double ratio = node->fast.r_most / next;
        for (int n = part->stages - k; n >= 0; n--)
            i[n] *= ratio;
        i[0] += k == part->stages - 1 ? ratio : 0;
        for (int n = part->stages - k - 1; n >= 0; n--)
            i[n + 1] += node->fast.time_least * a[n];
        for (int n = 0; n <= part->stages - k; n++)
            a[n] += i[n];
        next = node->fast.r_least;
        times *= node->fast.time_least;
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

/* What the third harmonic at the first one's peak is at least, of its own amplitude. (6.31) */
static double third_harmonic(int stages, double duty, double poles)
{
    const double each = poles / stages, turn = stages * (3 * atan(each) - atan(each / 3));
    const double way = (stages % 2 ? -1 : 1) * sin(3 * M_PI * duty);
    return way > 0 ? way * cos(fmin(turn, M_PI)) : way;
}

/* No ladder of the box ripples less than this, V s^stages, over the product of its time constants: the first harmonic less what others
 * may take off. (6.30) */
static double least_harmonics(const struct task_terms *terms, const struct part_box *part)
{
    /* 9^stages times the sum over odd m > 7 of m^-(stages + 1) */
    static const double rest[STAGES + 1] = { 0, 0.559632, 0.311632, 0.230262 };
    double a[STAGES + 1] = { 0 };
    const double times = fastest(terms, part, a), angular = 2 * M_PI / terms->period;
    const double poles = most_poles(terms, part) / angular, one = magnitude(a, angular), duty = terms->duty;
    double sum = sin(M_PI * duty), third = third_harmonic(part->stages, duty, poles);
    if (a[0] / (times * pow(angular, part->stages)) < 9) {
        third *= third > 0 ? pow(3, -part->stages) : one / magnitude(a, 3 * angular);
        sum += third / 3 - one / magnitude(a, 5 * angular) / 5 - one / magnitude(a, 7 * angular) / 7;
        sum -= one / magnitude(a, 9 * angular) * exp(poles * poles / 162) * rest[part->stages];
    } else {
        sum = 0;
    }
    return terms->height * 4 / M_PI * times / one * fmax(sum, sin(M_PI * duty) * M_PI / 4);
}

/* What is known of the part of a box that is still in question. */
struct known {
    double harmonics;     /* V s^stages, of (6.30) */
    bool plane;           /* the next holds; else the settling time is that of the corner, s */
    struct plane settling;
    double corner;
};

static struct known known_of(const struct task_terms *terms, const struct part_box *part)
{
    struct known known = { .harmonics = least_harmonics(terms, part) };
    bool at_most;
    /* where the band is narrow and many periods pass, so that what is missing is convex: (6.29) */
    known.plane = part->stages > 1 && terms->task.band <= 0.2 && plane_of(&known.settling, terms, part)
                  && exp(known.settling.level) > 4 * terms->period;
    if (!known.plane)
        known.corner = corner_settling(terms, part, &at_most);
    return known;
}

/* Raises the sum of the logarithms of the time constants, and with it the settling, until what settles so late may also ripple as much
 * as it does then.
 *   returns  false: it never may */
static bool meet(struct search *search, struct bound *bound, const struct known *known, double *sum, double most)
{
    enum { TRIES = 12 };
    bound->figures.ripple = fmax(bound->figures.ripple, known->harmonics * exp(-most));
    for (int i = 0; i < TRIES; i++) {
        const double settling = known->plane ? settling_from(&known->settling, &search->bounds, *sum) : known->corner;
        bound->figures.settling = fmax(bound->figures.settling, settling);
        if (dwi_search_hopeless(search, bound, false))
            return false;
        const double need = log(known->harmonics / dwi_search_limits(search, bound).ripple);
        if (!(need > *sum))
            break;
        if (need > most + 1e-12 * fabs(most))
            return false;
        *sum = need;
    }
    return true;
}

/* Leaves out what the sum excludes: each time constant is at least what the others at their most leave of it.
 *   returns  whether that is worth another look */
static bool shrink(struct part_box *part, double sum, double most)
{
    bool much = false;
    for (int k = 0; k < part->stages; k++) {
        struct pair_node *node = &part->node[k];
        const double least = node->fast.time_most * exp(sum - most);
        much = much || least > 1.2 * node->fast.time_least;
        node->fast.time_least = fmax(node->fast.time_least, least);
        node->slow.time_least = fmax(node->slow.time_least, least * node->slower);
    }
    return much;
}

static bool by_times(struct search *search, struct part_box *part, struct bound *bound)
{
    enum { LOOKS = 4 };
    bool again = true;
    for (int i = 0; i < LOOKS && again; i++) {
        double sum = 0, most = 0;
        for (int k = 0; k < part->stages; k++) {
            sum += log(part->node[k].fast.time_least);
            most += log(part->node[k].fast.time_most);
        }
        const struct known known = known_of(&search->bounds, part);
        if (!meet(search, bound, &known, &sum, most))
            return false;
        again = shrink(part, sum, most);
    }
    return true;
}

/* ---- all of them ---- */

/* What is found without poles. */
static struct bound begin(const struct task_terms *terms, const struct part_box *part)
{
    double slow = 0, fast = 0;
    struct bound bound = { .parts = 2 * part->stages };
    for (int k = 0; k < part->stages; k++) {
        slow += part->node[k].slow.r_least;
        fast += part->node[k].fast.r_most;
        bound.resistance += part->node[k].resistance;
        bound.price += part->node[k].price;
    }
    bound.figures.loading = dwi_loading_of(slow, terms->load[0]);
    /* the first of the two currents of (6.16), at the largest first resistance */
    const double all = terms->task.low < 0 ? terms->load[0] + fmin(slow, fast) : terms->load[1] + fmax(slow, fast);
    bound.figures.pin_current = fmax(0, terms->height / part->node[0].fast.r_most + terms->task.low / all);
    return bound;
}

bool dwi_box_bounded(struct search *search, struct search_box *box)
{
    struct part_box part = { .stages = box->stages };
    for (int k = 0; k < box->stages; k++)
        part.node[k] = *box->node[k];
    box->bound = begin(&search->bounds, &part);
    if (dwi_search_hopeless(search, &box->bound, false))
        return false;
    search->evaluations += 0.5;
    if (!by_times(search, &part, &box->bound))
        return false;
    /* of no use where the corner's time constants are far from those of any pair */
    double beyond = 1;
    for (int k = 0; k < box->stages; k++)
        beyond *= part.node[k].fast.r_most * part.node[k].fast.c_most / part.node[k].fast.time_most;
    if (beyond > 1.5)
        return true;
    search->evaluations += 0.5;
    box->bound.figures.ripple = fmax(box->bound.figures.ripple, corner_ripple(&search->bounds, &part));
    return !dwi_search_hopeless(search, &box->bound, false);
}
