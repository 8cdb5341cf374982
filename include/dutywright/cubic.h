/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Cubics between rows, in powers of the share of the piece that has passed: docs/theory.md, (4.12). And what keeps rows dense enough
 * for cubics to stand for a curve: (2.21) to (2.23). */
#ifndef DUTYWRIGHT_CUBIC_H
#define DUTYWRIGHT_CUBIC_H

#include <dutywright/status.h>
#include <math.h>
#include <stdbool.h>

#ifdef __cplusplus
extern "C" {
#endif

/* c[0] + c[1] share + c[2] share^2 + c[3] share^3, unit of the curve; the share, of the piece that has passed, from 0 to 1. */
struct dw_cubic {
    double c[4];
};

/* Through the values at both ends, with these slopes there.
 *   first, last              unit of the curve
 *   first_slope, last_slope  by the share: those against time, times the piece's length
 *   source                   cubic Hermite interpolation, docs/theory.md, (4.12) */
static inline struct dw_cubic dw_cubic_through(double first, double first_slope, double last, double last_slope)
{
    const double rise = last - first;
    const struct dw_cubic cubic = { { first, first_slope, 3 * rise - 2 * first_slope - last_slope, first_slope + last_slope - 2 * rise } };
    return cubic;
}

/* Its value.
 *   share     0 to 1
 *   returns   unit of the curve
 *   accuracy  4 DBL_EPSILON of the sum of |c| */
static inline double dw_cubic_at(const struct dw_cubic *cubic, double share)
{
    const double *c = cubic->c;
    return c[0] + share * (c[1] + share * (c[2] + share * c[3]));
}

/* Its second derivative by the share, unit of the curve; linear, so largest at an end.
 *   share     0 to 1 */
static inline double dw_cubic_bend(const struct dw_cubic *cubic, double share)
{
    return 2 * cubic->c[2] + 6 * share * cubic->c[3];
}

/* Mean of its square over the piece.
 *   returns   the square of the curve's unit
 *   source    the integral of the product of each two powers is 1 / (j + k + 1)
 *   accuracy  8 DBL_EPSILON of the square of the sum of |c| */
static inline double dw_cubic_mean_square(const struct dw_cubic *cubic)
{
    const double *c = cubic->c;
    return c[0] * (c[0] + c[1] + 2 * c[2] / 3 + c[3] / 2) + c[1] * (c[1] / 3 + c[2] / 2 + 2 * c[3] / 5) +
           c[2] * (c[2] / 5 + c[3] / 3) + c[3] * c[3] / 7;
}

/* Where the slope changes its sign inside.
 *   at        out: the shares, in order, above 0 and below 1
 *   returns   how many, 0 to 2
 *   source    of the two roots neither is a difference: Press and others 1992, Numerical Recipes in C, 2nd ed., (5.6.4) */
DW_API unsigned dw_cubic_turns(const struct dw_cubic *cubic, double at[2]);

/* ---- cubics that stand for a curve ---- */

/* The longest piece over which the cubic with a curve's values and slopes is within 0.96 of a tolerance of it: the rest is left to
 * slopes that dw_cubic_restrain has changed.
 *   bend     of the curve's fourth derivative, a bound of its magnitude over the piece; the tolerance over it has the unit of the
 *            fourth power of what is returned
 *   returns  INFINITY where that is zero
 *   source   docs/theory.md, (2.21) */
static inline double dw_cubic_reach(double tolerance, double bend)
{
    return bend > 0 ? sqrt(sqrt(384 * (0.96 * tolerance) / bend)) : INFINITY;
}

/* Puts a slope at a piece's end between zero and three times the chord's, where the cubic is monotone.
 *   slope      in, out; untouched where it lies there, or beside it by no more than `ulp` of a rise
 *   rise       over the piece, of so much length
 *   tolerance  of the cubic's values
 *   returns    whether the curve is not changed by too much: else the piece is to be shorter
 *   source     Fritsch and Carlson 1980, SIAM J. Numer. Anal. 17:238 */
DW_API bool dw_cubic_restrain(double *slope, double rise, double length, double tolerance, double ulp);

enum { DW_CHANGES = 8 };
/* Changes of a curve from turn to turn that count for its tolerance: the last two, and those that began since a period ago; more than
 * DW_CHANGES that fall from one to the next are not kept, so that less counts. All zero: none so far. */
struct dw_changes {
    double before[2];
    unsigned count;
    struct {
        double begin, change;
    } kept[DW_CHANGES];  /* later ones are smaller */
};
/* The largest that counts.
 *   growing  of the change that has not ended, unit of the curve, >= 0
 *   time     s, now
 *   period   s, >= 0; 0: only the last two count beside it
 *   returns  unit of the curve
 *   source   docs/theory.md, (2.23) */
DW_API double dw_changes_largest(const struct dw_changes *changes, double growing, double time, double period);
/* One has ended.
 *   begin    s, when it began, not before the one before it
 *   change   unit of the curve, >= 0 */
DW_API void dw_changes_keep(struct dw_changes *changes, double begin, double change);

#ifdef __cplusplus
}
#endif
#endif
