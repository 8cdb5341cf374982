/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What no RC ladder of a box settles below, and what that and its ripple leave of the box: theory, 6.4. */
#include "search_inner.h"
#include <math.h>
#include <string.h>

enum { STAGES = DW_FILTER_STAGES };

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

/* ---- of time constants that go together ---- */

/* Where the band is so narrow and so many periods pass, the mean lags a step by half a period at least, and all of it but a negligible
 * part: what is missing is convex from half the settling time on. */
static const double CONVEX = 0.2, FEW = 4, MANY = 25;

/* A box wider than this, by a logarithm, is too wide for what (6.34) tells more: it decides only the speed. */
static const double WIDE = 0.3;

/* Coefficients of the polynomial of an unloaded ladder, and their derivatives by the coordinates. (6.27) */
struct coefficients {
    double a[STAGES + 1], slope[COORDINATES][STAGES + 1];
};

static void coefficients_of(struct coefficients *of, int stages, const double *at)
{
    const double t1 = at[0], t2 = at[1], a = at[TIMES];
    *of = (struct coefficients){ .a = { 1, t1 + t2 + a * t2, t1 * t2 } };
    if (stages == 2) {
        memcpy(of->slope[0], (double[STAGES + 1]){ 0, t1, t1 * t2 }, sizeof of->slope[0]);
        memcpy(of->slope[1], (double[STAGES + 1]){ 0, t2 + a * t2, t1 * t2 }, sizeof of->slope[0]);
        memcpy(of->slope[TIMES], (double[STAGES + 1]){ 0, a * t2 }, sizeof of->slope[0]);
        return;
    }
    const double t3 = at[2], b = at[TIMES + 1], all = t1 * t2 * t3;
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

/* A step's answer by its coefficients: the smallest pole by Laguerre's method, which comes up to it from below, cubed with each step; the
 * others by the quadratic that is left over. */
static void answer_of(struct exp_sum *out, int stages, const double *a)
{
    double *p = out->rate, step = 1;
    *out = (struct exp_sum){ .count = stages };
    for (int i = 0; i < 20 && step > 1e-7 * p[0]; i++) {  /* unrun: count */
        const double x = p[0], f = ((-a[3] * x + a[2]) * x - a[1]) * x + 1, f1 = (-3 * a[3] * x + 2 * a[2]) * x - a[1];
        const double f2 = 2 * a[2] - 6 * a[3] * x, n = stages, inside = (n - 1) * ((n - 1) * f1 * f1 - n * f * f2);
        step = n * f / (sqrt(fmax(inside, 0)) - f1);
        p[0] += step;
    }
    if (stages == 2) {
        p[1] = 1 / (a[2] * p[0]);
    } else if (stages == 3) {
        const double sum = a[2] / a[3] - p[0], product = 1 / (a[3] * p[0]);
        p[2] = (sum + sqrt(fmax(sum * sum - 4 * product, 0))) / 2;
        p[1] = product / p[2];
    }
    for (int k = 0; k < stages; k++) {
        out->even[k] = 1;
        for (int n = 0; n < stages; n++)
            out->even[k] *= n == k ? 1 : p[n] / (p[n] - p[k]);
    }
}

/* When a step's answer has come within the band: Newton's method on the logarithm of what is missing, which is concave. */
static double reached(const struct exp_sum *out, double band)
{
    double time = log(out->even[0] / band) / out->rate[0], step = time;
    for (int i = 0; i < 50 && fabs(step) > 1e-6 * time; i++) {
        double slope;
        const double missing = dwi_exp_sum_at(out, time, &slope);
        step = log(missing / band) * missing / slope;
        time -= step;
    }
    return time;
}

/* What is missing of a step in the mean over an interval that ends at some time: each exponential's mean, and that of the time with it. */
struct moment {
    double missing;
    double mean[STAGES], first[STAGES];
};

/*   share  each exponential's mean over the interval, of what it begins with */
static struct moment moment_at(const struct exp_sum *out, double time, double interval, const double *share)
{
    struct moment moment = { 0 };
    for (int k = 0; k < out->count; k++) {
        const double p = out->rate[k], begin = exp(-p * (time - interval));
        moment.mean[k] = begin * share[k];
        moment.first[k] = time * moment.mean[k] - (begin - moment.mean[k]) / p;
        moment.missing += out->even[k] * moment.mean[k];
    }
    return moment;
}

/* How what is missing grows with the logarithm of each pole's time constant. (6.28) */
static void growth_by_poles(const struct exp_sum *out, const struct moment *moment, double *growth)
{
    for (int k = 0; k < out->count; k++) {
        const double p = out->rate[k];
        double density = 0, turn = moment->first[k];
        for (int n = 0; n < out->count; n++)
            if (n != k) {
                turn -= moment->mean[k] / (out->rate[n] - p);
                density += out->even[n] * out->rate[n] / (p - out->rate[n]) * moment->mean[n];
            }
        growth[k] = density + p * out->even[k] * turn;
    }
}

/* What something is at the least of all coordinates, and how it changes with the logarithm of each. */
struct plane {
    double level, slope[COORDINATES];
    unsigned char order[COORDINATES], count;  /* those that the ripple hangs on, of the smallest slope for their share first */
};

/* Of ln(1 - what is missing), which is nowhere above it, and falls. */
struct boundary_plane {
    double boundary;      /* of which period; NaN: of none yet */
    struct plane plane;
};

enum { TANGENTS = 4 };

/* A ladder in the middle of a box, and what its settling says of all of the box. */
struct middle {
    int stages;
    struct exp_sum out;
    double mean[STAGES];              /* of each exponential over an interval of the mean, of what it begins with */
    double rise[STAGES];              /* from the least of each time constant's logarithm to its own */
    double by_coordinate[STAGES][COORDINATES];  /* how ln of the time of pole [n] grows with it */
    double share[COORDINATES];        /* of each in the sum that bounds the ripple */
    double width[COORDINATES];        /* how far each may rise */
    bool wide;                        /* too much so for the tangents below to tell more */
    double band;                      /* of settling; what passes at once makes it wider */
    double part[STAGES];              /* of each pole's time constant: the rest is the series resistance's */
    double shift[STAGES];             /* what that adds to the time's logarithm here beyond what it adds in all of the box */
    double need;                      /* by how much that sum is above that of the least of all, at most */
    struct plane time;                /* the logarithm of a step's settling time is nowhere below it */
    struct boundary_plane tangent[TANGENTS]; /* those asked for last */
};

/* Of something's level at the middle, and its growth by each pole. With a series resistance (6.39) the two slowest together have planes of
 * their own time alone.
 *   way   1: it rises with the coordinates, -1: it falls */
static struct plane plane_of(const struct middle *middle, double level, const double *growth, int way)
{
    struct plane plane = { .level = level };
    const double *slope = plane.slope, *share = middle->share, both = middle->stages == 3 ? fmax(0, growth[1] - growth[2]) : 0;
    double grown[STAGES];
    for (int n = 0; n < middle->stages; n++) {
        grown[n] = growth[n] * middle->part[n] + (n < 2 ? both * (1 - middle->part[n]) : 0);
        plane.level -= n < 2 ? way * both * middle->shift[n] : 0;
    }
    for (int k = 0; k < COORDINATES; k++) {
        for (int n = 0; n < middle->stages; n++)
            plane.slope[k] += grown[n] * middle->by_coordinate[n][k];
        plane.slope[k] = plane.slope[k] > 0 ? plane.slope[k] : 0;
        if (!(share[k] > 0))
            continue;
        int at = plane.count++;
        for (; at > 0 && slope[k] * share[plane.order[at - 1]] < slope[plane.order[at - 1]] * share[k]; at--)
            plane.order[at] = plane.order[at - 1];
        plane.order[at] = (unsigned char)k;
    }
    for (int k = 0; k < middle->stages; k++)
        plane.level -= way * slope[k] * middle->rise[k];
    return plane;
}

static void turn_to_coordinates(struct middle *middle, const struct coefficients *of)
{
    for (int n = 0; n < middle->stages; n++) {
        const double s = -middle->out.rate[n], down = of->a[1] + s * (2 * of->a[2] + 3 * s * of->a[3]);
        for (int k = 0; k < COORDINATES; k++)
            middle->by_coordinate[n][k] = (of->slope[k][1] + s * (of->slope[k][2] + s * of->slope[k][3])) / down;
    }
}

/* Poles of the smallest ladder of the box that settles as slowly, or of the largest. */
static struct exp_sum slow_end(const struct part_box *part, bool largest, double load)
{
    double r[STAGES], c[STAGES];
    struct filter_poles poles;
    for (int k = 0; k < part->stages; k++) {
        const struct pair_node *node = &part->node[k];
        r[k] = largest ? node->slow.r_most : node->slow.r_least;
        c[k] = largest ? node->slow.time_most / node->slow.r_least : node->slow.time_least / node->slow.r_most;
    }
    dwi_rc_poles(&poles, part->stages, r, c, load);
    return poles.out;
}

/* Each time constant longer by a series resistance's, and the band wider for what passes at once. (6.39) */
static void lengthen(struct middle *middle, const struct task_terms *terms, const struct part_box *part)
{
    const double lost = terms->leak * terms->task.esr, esr = terms->task.esr / (1 + lost);
    const struct exp_sum most = slow_end(part, true, INFINITY), least = slow_end(part, false, terms->load[1]);
    double size = 0;
    for (int k = 0; k < part->stages; k++) {
        const double longer = 1 + esr * middle->out.rate[k];
        middle->part[k] = 1 / longer;
        middle->shift[k] = fmax(0, log(longer / (1 + esr * most.rate[k])));
        middle->out.rate[k] /= longer;
        middle->out.even[k] *= pow(longer, part->stages - 1);
        size += fabs(middle->out.even[k]);
    }
    /* where that is nearly all of the times their differences have no digits left, and nothing is bounded */
    middle->band = size < 1e4 ? middle->band * pow((1 + lost) * (1 + terms->task.esr * least.rate[0]), part->stages) : INFINITY;
}

/* How wide the box is, and how far its middle stands above its least corner.
 *   at   out, [COORDINATES], the middle's */
static void measure_box(struct middle *middle, const struct task_terms *terms, const struct part_box *part,
                        const struct box_harmonics *harmonics, double *at)
{
    double loaded[STAGES] = { 0 };
    unloaded(terms, part, loaded);
    for (int k = 0; k < part->stages; k++) {  /* unrun: count */
        const struct pair_node *node = &part->node[k], *next = node + 1;
        const int ratio = TIMES + k;
        at[k] = sqrt(node->slow.time_least * node->slow.time_most) * loaded[k];
        middle->share[k] = harmonics->share[k];
        middle->width[k] = node->slow.ln.time_most - node->slow.ln.time_least;
        middle->rise[k] = middle->width[k] / 2;
        /* from parts at their lowest to parts at their highest a coordinate changes by so much at least; the load's share cancels */
        middle->need += middle->share[k] * (node->ln_slower - node->slow.ln.time_least);
        if (k + 1 == part->stages)
            break;
        at[ratio] = node->slow.r_least / next->slow.r_most * loaded[k] * loaded[k + 1];
        middle->share[ratio] = harmonics->share[ratio];
        middle->width[ratio] = node->slow.ln.r_most - next->slow.ln.r_least - (node->slow.ln.r_least - next->slow.ln.r_most);
        middle->need += middle->share[ratio] * (node->ln_r_slower[0] - next->ln_r_slower[1]
                                                - (node->slow.ln.r_least - next->slow.ln.r_most));
    }
    for (int k = 0; k < part->stages; k++)
        middle->wide = middle->wide || middle->width[k] > WIDE;
}

/* When the answer of the middle has settled, and how that changes with each coordinate. */
static void settle(struct middle *middle, const struct task_terms *terms)
{
    const double interval = terms->step * terms->period;
    const struct exp_sum *out = &middle->out;
    double growth[STAGES], all = 0;
    struct exp_sum mean = *out;
    for (int n = 0; n < middle->stages; n++) {
        middle->mean[n] = -expm1(-mean.rate[n] * interval) / (mean.rate[n] * interval);
        mean.even[n] *= middle->mean[n];
    }
    /* what is within the band with its first mean has no time to be bounded */
    const double after = middle->band < 1 ? reached(&mean, middle->band) : 0, time = interval + fmax(0, after);
    const struct moment moment = moment_at(out, time, interval, middle->mean);
    growth_by_poles(out, &moment, growth);
    for (int n = 0; n < middle->stages; n++)
        all += time * out->rate[n] * out->even[n] * moment.mean[n];
    for (int n = 0; n < middle->stages; n++)
        growth[n] = after > 0 ? growth[n] / all : 0;
    middle->time = plane_of(middle, after > 0 ? log(time) : -INFINITY, growth, 1);
}

static void middle_of(struct middle *middle, const struct task_terms *terms, const struct part_box *part,
                      const struct box_harmonics *harmonics)
{
    double at[COORDINATES] = { 0 };
    struct coefficients coefficients;
    *middle = (struct middle){ .stages = part->stages };
    measure_box(middle, terms, part, harmonics, at);
    coefficients_of(&coefficients, part->stages, at);
    answer_of(&middle->out, part->stages, coefficients.a);
    turn_to_coordinates(middle, &coefficients);
    middle->band = terms->task.band;
    for (int n = 0; n < part->stages; n++)
        middle->part[n] = 1;
    if (terms->task.esr > 0)
        lengthen(middle, terms, part);
    settle(middle, terms);
    for (int i = 0; i < TANGENTS; i++)
        middle->tangent[i].boundary = NAN;
}

/* How much something rises at least from the least of all coordinates to where so many times each sum to so much: those of the smallest
 * slope for their share are raised first. (6.29) */
static double raised(const struct middle *middle, const struct plane *plane, double sum)
{
    double rise = 0, need = sum + middle->need;
    for (int n = 0; n < plane->count && need > 0; n++) {
        const int k = plane->order[n];
        const double whole = middle->width[k] * middle->share[k];
        rise += (need < whole ? need / middle->share[k] : middle->width[k]) * plane->slope[k];
        need -= whole;
    }
    return rise;
}

/* What is missing, at least, of the mean of the period that ends with boundary k + 1, where the coordinates' logarithms sum to so much at
 * least. (6.34) */
static double missing_from(struct middle *middle, const struct task_terms *terms, double k, double sum)
{
    struct boundary_plane *tangent = &middle->tangent[(int)(k - TANGENTS * floor(k / TANGENTS))];
    if (tangent->boundary != k) {
        double growth[STAGES] = { 0 };
        const struct moment moment = moment_at(&middle->out, (k + 1) * terms->period, terms->step * terms->period, middle->mean);
        const double there = 1 - moment.missing;
        growth_by_poles(&middle->out, &moment, growth);
        for (int n = 0; n < middle->stages; n++)
            growth[n] /= there;
        *tangent = (struct boundary_plane){ k, plane_of(middle, there > 1e-6 ? log(there) : 0, growth, -1) };
    }
    return -expm1(tangent->plane.level - raised(middle, &tangent->plane, sum));
}

/* The least settling time where the time constants' logarithms sum to so much at least. */
static double settling_from(struct middle *middle, const struct task_terms *terms, double sum)
{
    enum { STEPS = 8 };
    const double by_mean = exp(middle->time.level + raised(middle, &middle->time, sum));
    const bool convex = middle->band <= CONVEX && by_mean > FEW * terms->period;
    if (convex && (by_mean > MANY * terms->period || middle->wide))
        return by_mean;
    const double most = 0x1p50;  /* periods that a double counts */
    double k = fmin(fmax(0, floor(by_mean / terms->period) - 1), most), before = missing_from(middle, terms, k, sum), after = 0;
    for (int i = 0; i < STEPS && k > 0 && !(before > middle->band); i++)
        before = missing_from(middle, terms, --k, sum);
    if (!(before > middle->band))
        return fmax(terms->period, convex ? by_mean : 0);
    /* unrun: count */
    for (int i = 0; i < STEPS && (after = missing_from(middle, terms, k + 1, sum)) > middle->band; i++, k++)
        before = after;
    /* unrun: count */
    const double by_bounds = terms->period * (k + 1 + (after > middle->band ? 0 : (before - middle->band) / (before - after)));
    return convex ? fmax(by_mean, by_bounds) : by_bounds;
}

/* Raises the sum of the logarithms of the time constants, and with it the settling, until what settles so late may also ripple as much
 * as it does then.
 *   returns  false: it never may */
static bool meet(struct search *search, struct bound *bound, const struct box_harmonics *harmonics, struct middle *middle, double *sum,
                 double most)
{
    enum { TRIES = 12 };
    bound->figures.ripple = fmax(bound->figures.ripple, exp(harmonics->level - most) - harmonics->digits);
    for (int i = 0; i < TRIES; i++) {
        bound->figures.settling = fmax(bound->figures.settling, settling_from(middle, &search->bounds, *sum));
        const struct filter_limits limits = dwi_search_limits(search, bound);
        const double need = harmonics->level - log(limits.ripple + harmonics->digits);
        if (bound->figures.settling > limits.settling || need > most + 1e-12 * fabs(most))
            return false;
        if (!(need > *sum))
            break;
        *sum = need;
    }
    return true;
}

/* Leaves out what the sum excludes: each time constant is at least what the others at their most leave of it.
 *   returns  whether that is worth another look */
static bool shrink(struct part_box *part, const double *share, double sum, double most)
{
    bool much = false;
    for (int k = 0; k < part->stages; k++) {
        struct pair_node *node = &part->node[k];
        if (!(share[k] > 0))
            continue;
        const double ln_least = node->fast.ln.time_most + (sum - most) / share[k];
        if (!(ln_least > node->fast.ln.time_least))
            continue;
        much = much || ln_least > 0.2 + node->fast.ln.time_least;
        node->fast.ln.time_least = ln_least;
        node->fast.time_least = exp(ln_least);
        if (ln_least + node->ln_slower > node->slow.ln.time_least) {
            node->slow.ln.time_least = ln_least + node->ln_slower;
            node->slow.time_least = exp(node->slow.ln.time_least);
        }
    }
    return much;
}

static bool by_times(struct search *search, struct part_box *part, struct bound *bound)
{
    enum { LOOKS = 3 };
    bool again = true;
    for (int i = 0; i < LOOKS && again; i++) {
        const struct box_harmonics harmonics = dwi_box_harmonics(&search->bounds, part);
        struct middle middle;
        double sum = 0, most = 0;
        for (int k = 0; k < COORDINATES; k++)
            if (harmonics.share[k] > 0) {
                most += harmonics.share[k] * harmonics.most[k];
                sum += harmonics.share[k] * (harmonics.most[k] - harmonics.width[k]);
            }
        middle_of(&middle, &search->bounds, part, &harmonics);
        if (!meet(search, bound, &harmonics, &middle, &sum, most))
            return false;
        again = shrink(part, harmonics.share, sum, most);
    }
    return true;
}

/* ---- all of them ---- */

/* Rounding of a loading that comes from poles. */
#define LOADING_OFF 1e-11

/* What is found without poles. */
static struct bound begin(const struct task_terms *terms, const struct part_box *part)
{
    double slow = 0, fast = 0, leaks = 0;
    const double leak = terms->leak / (1 + terms->leak * terms->task.esr);
    struct bound bound = { .parts = 2 * part->stages };
    for (int k = 0; k < part->stages; k++) {
        slow += part->node[k].slow.r_least;
        leaks += log1p(leak * part->node[k].slow.time_least);
        fast += part->node[k].fast.r_most;
        bound.resistance += part->node[k].resistance;
        bound.price += part->node[k].price;
    }
    /* what stages that do not load one another lose by leaking, and what the load takes of all in series: (6.36) */
    const double lost = expm1(leaks) + slow / terms->load[0];
    bound.figures.loading = leaks > 0 ? fmax(0, 1 / (1 + 1 / lost) - LOADING_OFF) : dwi_loading_of(slow, terms->load[0]);
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
    return by_times(search, &part, &box->bound);
}
