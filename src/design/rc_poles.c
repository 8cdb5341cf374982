/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "rc_poles_inner.h"
#include "exp_sum_inner.h"
#include <float.h>
#include <math.h>

double log_cosh(double x)
{
    /* beyond 20, exp(-2x) is below half an ulp of the sum */
    if (x > 20)
        return x - M_LN2;
    const double e = expm1(x);
    return log1p(e * e / (2 * (1 + e)));
}

double log_sinhc(double x)
{
    /* (-1)^(n+1) zeta(2n) / (n pi^2n): logarithm of Euler's product for sinh; 12 terms reach 1e-16 at 0.75 */
    static const double term[] = { 1.0 / 6, -1.0 / 180, 1.0 / 2835, -1.0 / 37800, 1.0 / 467775, -691.0 / 3831077250.0,
                                   2.0 / 127702575.0, -3617.0 / 2605132530000.0, 43867.0 / 350813659321125.0,
                                   -174611.0 / 15313294652906250.0, 155366.0 / 147926426347074375.0,
                                   -236364091.0 / 2423034863565078262500.0 };
    if (x > 0.75)
        return x - log(2 * x) + log1p(-exp(-2 * x));
    double sum = 0;
    for (int i = (int)(sizeof term / sizeof term[0]); i-- > 0;)
        sum = sum * x * x + term[i];
    return sum * x * x;
}

/* Laguerre's step towards the smallest root of c0 - c1 x + c2 x^2 - c3 x^3, all of whose roots are real: from below it
 * comes up without passing it (Householder 1970, The Numerical Treatment of a Single Nonlinear Equation). */
static double smallest_root(double c0, double c1, double c2, double c3)
{
    double x = 0;
    for (int i = 0; i < 60; i++) {
        const double f = ((-c3 * x + c2) * x - c1) * x + c0, f1 = (-3 * c3 * x + 2 * c2) * x - c1, f2 = 2 * c2 - 6 * c3 * x;
        const double inside = 4 * f1 * f1 - 6 * f * f2, step = 3 * f / (sqrt(inside > 0 ? inside : 0) - f1);
        if (!(step > DBL_EPSILON / 4 * x))
            break;
        x += step;
    }
    return x;
}

/* Numerator of the ladder's 1 / transfer, a[0] + a[1] s + ...: node by node from the load, (6.1). Only sums of positive
 * terms, so each coefficient is good to a few ulp. */
static void ladder_polynomial(int stages, const double *r, const double *c, double load, double *a)
{
    double v[RC_POLES_MAX + 1] = { 1 }, i[RC_POLES_MAX + 1] = { 1 / load, c[stages - 1] };
    for (int k = stages - 1; k >= 0; k--) {
        for (int n = 0; n <= stages - k; n++)
            v[n] += r[k] * i[n];
        for (int n = 0; k > 0 && n <= stages - k; n++)
            i[n + 1] += c[k - 1] * v[n];
    }
    for (int n = 0; n <= stages; n++)
        a[n] = v[n];
}

void rc_poles_of_ladder(struct rc_poles *poles, int stages, const double *r, const double *c, double load)
{
    const double conductance = 1 / load;
    double *p = poles->pole, *w = poles->share;
    poles->count = stages;
    if (stages == 1) {
        poles->gain = 1 / (1 + r[0] * conductance);
        p[0] = (1 / r[0] + conductance) / c[0];
        w[0] = 1;
        return;
    }
    if (stages == 2) {
        /* the state matrix made symmetric: its discriminant is a sum of squares */
        const double g2 = 1 / r[1], one = (1 / r[0] + g2) / c[0], two = (g2 + conductance) / c[1], apart = one - two;
        const double distance = sqrt(apart * apart + 4 * g2 * g2 / (c[0] * c[1])), direct = 1 + (r[0] + r[1]) * conductance;
        poles->gain = 1 / direct;
        p[1] = (one + two + distance) / 2;
        p[0] = direct / (r[0] * c[0] * r[1] * c[1]) / p[1];
        w[0] = p[1] / distance;
        w[1] = -p[0] / distance;
        return;
    }
    double a[RC_POLES_MAX + 1] = { 0 };
    ladder_polynomial(stages, r, c, load, a);
    poles->gain = 1 / a[0];
    p[0] = smallest_root(a[0], a[1], a[2], a[3]);
    p[2] = 1 / smallest_root(a[3], a[2], a[1], a[0]);
    p[1] = a[0] / (a[3] * p[0] * p[2]);
    for (int k = 0; k < 3; k++) {
        const double one = p[(k + 1) % 3], two = p[(k + 2) % 3];
        w[k] = one / (one - p[k]) * (two / (two - p[k]));
    }
}

/* Two of the period's lambdas of (6.6), for an interval that is the share 1 - a of the period. What both have in common
 * with a straight line in y cancels in all that is made of them, so it is left out where it is large. */
static double exponent(double y, double a, bool slow)
{
    if (slow)
        return log_sinhc(a * y / 2) - log_sinhc(y / 2);
    return log1p(-exp(-a * y)) - log1p(-exp(-y)) - log(a);
}

static double two_lags(double y1, double y2, double duty)
{
    double sum = 0;
    if (duty == 0.5) {
        const double x1 = y1 / 4, x2 = y2 / 4;
        if (x1 > 1)
            return expm1(M_LN2 + (x1 * log1p(exp(-2 * x2)) - x2 * log1p(exp(-2 * x1))) / (x2 - x1));
        return expm1((x1 * log_cosh(x2) - x2 * log_cosh(x1)) / (x2 - x1));
    }
    for (int low = 0; low < 2; low++) {
        const double a = low ? duty : 1 - duty;
        const bool slow = a * y1 < 2;
        sum += a * expm1((y2 * exponent(y1, a, slow) - y1 * exponent(y2, a, slow)) / (y2 - y1));
    }
    return sum;
}

/* An interval of three lags' steady state: (6.6) with theta from its middle. */
struct interval {
    double y[3], lambda[3], share[3], a;
};

static struct interval interval_of(const struct rc_poles *poles, double period, double a)
{
    struct interval it = { .a = a };
    for (int k = 0; k < 3; k++) {
        it.y[k] = poles->pole[k] * period;
        it.lambda[k] = exponent(it.y[k], a, true);
        it.share[k] = poles->share[k];
    }
    return it;
}

/* Distance of the output from its mean, per gain; its sign is that of the interval where the pulse is low. */
static double excursion(const struct interval *it, double theta)
{
    double sum = 0;
    for (int k = 0; k < 3; k++)
        sum += it->share[k] * expm1(it->lambda[k] - it->y[k] * theta);
    return it->a * sum;
}

/* At one half the other half mirrors this one, so that each holds one extremum: Newton, kept inside by bisection. */
static double half_duty(const struct interval *it)
{
    double low = -0.25, high = 0.25, theta = (it->lambda[0] - it->lambda[1]) / (it->y[0] - it->y[1]);
    theta = theta > low && theta < high ? theta : 0;
    /* the excursion is flat here: 1e-10 of the period in the place is 1e-20 in the height, unless a lag is far shorter than that */
    const double near = 1e-10 / fmax(1, 1e-3 * fmax(it->y[0], fmax(it->y[1], it->y[2])));
    for (int i = 0; i < 60; i++) {
        double slope = 0, bend = 0;
        for (int k = 0; k < 3; k++) {
            const double term = it->share[k] * it->y[k] * exp(it->lambda[k] - it->y[k] * theta);
            slope -= term;
            bend += term * it->y[k];
        }
        if (slope > 0)
            low = theta;
        else
            high = theta;
        double next = theta - slope / bend;
        if (!(next > low && next < high))
            next = (low + high) / 2;
        const bool done = fabs(next - theta) < near;
        theta = next;
        if (done)
            break;
    }
    return 2 * excursion(it, theta);
}

static double three_lags(const struct rc_poles *poles, double period, double duty)
{
    double least = INFINITY, most = -INFINITY;
    if (poles->pole[0] * period * fmin(duty, 1 - duty) > 800)  /* all of it has come by each edge, to exp(-800) */
        return 1;
    if (duty == 0.5) {
        const struct interval half = interval_of(poles, period, 0.5);
        return half_duty(&half);
    }
    /* elsewhere both extremes may lie in one interval */
    for (int low = 0; low < 2; low++) {
        const struct interval it = interval_of(poles, period, low ? duty : 1 - duty);
        const double middle = (1 - it.a) / 2;
        struct exp_sum slope = { .count = 3 };
        for (int k = 0; k < 3; k++) {
            slope.rate[k] = it.y[k];
            slope.even[k] = it.share[k] * it.y[k] * exp(it.lambda[k] + it.y[k] * middle);
        }
        double t = 0, value = excursion(&it, -middle);
        do {
            value = low ? value : -value;
            least = fmin(least, value);
            most = fmax(most, value);
        } while (exp_sum_zero(&slope, t, 2 * middle, &t) && (value = excursion(&it, t - middle), true));
    }
    return most - least;
}

double rc_poles_ripple(const struct rc_poles *poles, double period, double duty)
{
    const double y = poles->pole[0] * period;
    if (duty <= 0 || duty >= 1)
        return 0;
    switch (poles->count) {
    case 1:
        if (duty == 0.5)
            return poles->gain * tanh(y / 4);
        return poles->gain * (expm1(-y * duty) * expm1(-y * (1 - duty)) / -expm1(-y));
    case 2: return poles->gain * two_lags(y, poles->pole[1] * period, duty);
    default: return poles->gain * three_lags(poles, period, duty);
    }
}

/* How far the mean of the period that ends at (k + 1) T still is from the last, as a share of it: (6.9). */
static double short_of(const struct rc_poles *poles, const double *weight, double period, double k)
{
    double sum = 0;
    for (int n = 0; n < poles->count; n++)
        sum += weight[n] * exp(-poles->pole[n] * period * k);
    return sum;
}

double rc_poles_settling(const struct rc_poles *poles, double period, double duty, double band, bool *at_most)
{
    double weight[RC_POLES_MAX] = { 0 };
    for (int n = 0; n < poles->count; n++) {
        const double y = poles->pole[n] * period, ramp = -expm1(-y * duty) / (y * duty);
        weight[n] = poles->share[n] * (duty == 1 ? ramp : ramp * exp(-y * (1 - duty)));
    }
    *at_most = short_of(poles, weight, period, 0) <= band;
    if (*at_most)
        return period;
    /* the slowest lag alone is an upper bound, and the logarithm of the sum is concave: Newton comes down monotonically */
    const double y1 = poles->pole[0] * period, wanted = log(band);
    double k = (log(weight[0]) - wanted) / y1;
    for (int i = 0; i < 60 && poles->count > 1; i++) {
        double sum = 0, slope = 0;
        for (int n = 0; n < poles->count; n++) {
            const double term = weight[n] * exp(-poles->pole[n] * period * k);
            sum += term;
            slope -= term * poles->pole[n] * period;
        }
        const double step = (log(sum) - wanted) * sum / slope;
        k -= step;
        k = k > 0 ? k : 0;
        if (fabs(step) < 0.01 || fabs(step) < 1e-12 * k)
            break;
    }
    if (!(k < 0x1p52)) /* so many periods cannot be told apart */
        return period * k;
    /* the two whole periods on either side, whatever Newton has left over */
    double whole = floor(k), before = short_of(poles, weight, period, whole), after;
    while (before <= band && whole > 0)
        before = short_of(poles, weight, period, --whole);
    while ((after = short_of(poles, weight, period, whole + 1)) > band) {
        before = after;
        whole++;
    }
    return period * (whole + 1 + (before - band) / (before - after));
}

double rc_poles_cutoff(const struct rc_poles *poles)
{
    /* x = (angular frequency)^2: product of 1 + x / pole^2 is 2; from above, the product's growth bounds each step */
    double x = poles->pole[0] * poles->pole[0];
    for (int i = 0; i < 100; i++) {
        double value = 0, slope = 0;
        for (int n = 0; n < poles->count; n++) {
            const double square = poles->pole[n] * poles->pole[n];
            value += log1p(x / square);
            slope += 1 / (square + x);
        }
        const double step = (value - M_LN2) / slope;
        x -= step;
        if (fabs(step) <= 2 * DBL_EPSILON * x)
            break;
    }
    return sqrt(x) / (2 * M_PI);
}
