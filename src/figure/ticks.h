/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Round values along an axis and their labels in engineering units: 0, 2 ms, 4 ms. */
#ifndef FIGURE_TICKS_H
#define FIGURE_TICKS_H

#include <stdbool.h>
#include <stddef.h>

enum { MOST_TICKS = 128, TICK_TEXT = 48 };

struct axis {
    double low, high;  /* what the axis shows, low < high; above zero where logarithmic */
    bool logarithmic;
    const char *unit;  /* as in a table's brackets */
    double level[2];   /* values that have a mark of their own on a linear axis, such as the levels of a pin; 0: none */
};

struct tick {
    double value;
    char text[TICK_TEXT];  /* "" where the tick has no label (between the decades of a logarithmic axis) */
};

struct ticks {
    int count;
    struct tick at[MOST_TICKS];  /* ascending */
};

/* How much room there is for labels. */
struct label_space {
    double length;  /* of the axis */
    double gap;     /* least distance between labels; a quarter of it where else there would be but one, which says nothing of
                     * the scale, and where that does not help either, the lowest and the highest multiple of a step alone */
    int most;       /* labels at most, >= 2 */
    double (*room)(void *context, const char *text);  /* that a label takes along the axis, in the unit of `length` */
    void *context;
};

/* The finest round ticks whose labels keep apart: steps of 1, 2, 5 times a power of ten (degrees: 15, 30, 45, 90, ... too),
 * on a logarithmic axis 1, 2, 5 of each decade or whole decades. Labels in UTF-8, with one SI prefix along a linear axis. Where values differ
 * only in their late digits, the first label has them all and the others count from it: 12.34567 V, +10 uV, +20 uV.
 *   returns   through ticks; none where no labels fit */
void ticks_choose(struct ticks *ticks, const struct axis *axis, const struct label_space *space);

/* A unit as people read it: the ohm sign for ohm, the degree sign for deg and degC, nothing for 1. UTF-8, static. */
const char *unit_shown(const char *unit);

/* "2.5 V", "90°", "12": a number and a unit as one label. */
void label_join(char *out, size_t size, const char *number, const char *prefix, const char *unit);

/* A value with prefix and unit as it stands in a figure: dw_quantity_print in UTF-8 with the unit as people read it. */
void label_quantity(char *out, size_t size, double value, const char *unit, int digits);

/* Whether a stem to that value is none: what is left of zero by roundings gets no mark. */
bool axis_has_no_stem(const struct axis *axis, double value);

/* Where a value lies along the axis: 0 at low, 1 at high. */
double axis_place(const struct axis *axis, double value);

/* Widens the range [low, high] of data to what an axis shows: some air on both sides, zero where it is near, something
 * round about a flat line. Both finite; an axis ends at AXIS_MOST, and what is smaller than AXIS_LEAST is zero to it. */
#define AXIS_MOST 1e150
#define AXIS_LEAST 1e-150
void axis_widen(struct axis *axis);

/* Whether low and high differ by no more than roundings. */
bool axis_is_flat(const struct axis *axis);

#endif
