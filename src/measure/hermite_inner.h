/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What lies between two rows, a straight line or a cubic, on a scale of its own: u runs from -1 to 1. docs/theory.md, (4.12). */
#ifndef MEASURE_HERMITE_INNER_H
#define MEASURE_HERMITE_INNER_H

/* x(u) = middle + rise u + (1 - u^2) (even - odd u); even and odd are 0 of a line. */
struct hermite {
    double middle, rise;
    double even, odd;
};

/* The cubic with the values a and b at its ends, so long apart, and these slopes a unit of length there. */
static inline struct hermite hermite_of(double length, double a, double a_slope, double b, double b_slope)
{
    const double rise = b / 2 - a / 2, eighth = length / 8;
    return (struct hermite){ a / 2 + b / 2, rise, eighth * a_slope - eighth * b_slope,
                             eighth * a_slope + eighth * b_slope - rise / 2 };
}

static inline struct hermite hermite_line(double a, double b)
{
    return (struct hermite){ .middle = a / 2 + b / 2, .rise = b / 2 - a / 2 };
}

static inline double hermite_at(const struct hermite *h, double u)
{
    return h->middle + (h->rise * u + (1 - u) * (1 + u) * (h->even - h->odd * u));
}

/* Its derivative by u. */
static inline double hermite_slope(const struct hermite *h, double u)
{
    return (h->rise - h->odd) + u * (3 * h->odd * u - 2 * h->even);
}

/* x is the sum of c[q] P_q(u), P_q Legendre's polynomials. */
static inline void hermite_legendre(const struct hermite *h, double c[4])
{
    c[2] = h->even * (-2 / 3.0);
    c[3] = h->odd * 0.4;
    c[0] = h->middle - c[2];
    c[1] = h->rise - c[3];
}

/* Where it turns inside, in order; how many times. What is nearer to an end than 2^-27 is taken for the end itself: by (4.14) the
 * values there differ by less than a rounding. */
int dwi_hermite_turns(const struct hermite *h, double at[2]);

/* Where one that does not turn passes a value that is not beyond its ends.
 *   returns   u, -1 to 1
 *   accuracy  4 ulp of 1, as far as the slope lets the values tell */
double dwi_hermite_place(const struct hermite *h, double value);

#endif
