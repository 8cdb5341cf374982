/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What can be proved about functionals of the solution over one cell, and where their roots are. */
#ifndef LINEAR_CELL_INNER_H
#define LINEAR_CELL_INNER_H

#include "linear/system_inner.h"

enum { ORDERS = 4 };

/* f = row . (x | u). */
struct functional {
    const double *row;      /* [states + inputs] */
    double dual[ORDERS];    /* energy_dual of its state part c, of c A, c A A, ... */
    double scale;           /* natural size, > 0 */
};

struct functional functional_of(const struct dw_system *system, const double *row, double scale);

/* Derivatives of the state at a node; order[0] is the state itself. */
struct rates {
    double order[ORDERS + 1][DW_STATES];
    double norm[ORDERS + 1];  /* energy norms, of orders 1 and up */
};

/* Derivatives of a functional at a node. */
struct slopes {
    double order[ORDERS + 1];
    double direct;  /* size of what the input's slope adds to order 1; higher ones have none of it */
};

/* The input part of the node must be set. */
void rates_at(const struct stretch *stretch, const struct node *node, struct rates *rates);
void slopes_at(const struct stretch *stretch, const struct node *node, const struct rates *rates,
               const struct functional *functional, struct slopes *slopes);

enum verdict {
    SPLIT,     /* nothing proved: look at a shorter cell */
    CLEAR,     /* guard: stays >= 0. output: no extremum inside */
    ENDS_TELL  /* guard: crosses once if it is below zero at the end, else never. output: one extremum if the slopes at the
                * ends differ in sign, else none */
};
enum verdict judge_guard(const struct stretch *stretch, const struct rates *rates, const struct slopes *slopes,
                         const struct functional *guard, double length);
/* Also SPLIT where a straight line would leave the output by more than `chord`. */
enum verdict judge_output(const struct stretch *stretch, const struct rates *rates, const struct slopes *slopes,
                          const struct functional *output, double chord, double length);

/* Where sign * (derivative `order` of f) falls below zero in a cell that starts at or above zero and ends below.
 *   start     position, node: start of the cell, of this level and length
 *   offset    out, from the stretch's start
 *   node      in: at the start; out: at the root, with its input set */
void find_crossing(const struct stretch *stretch, struct position position, unsigned level, double length,
                   const struct functional *functional, unsigned order, double sign, struct doubled *offset,
                   struct node *node);

#endif
