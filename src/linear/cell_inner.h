/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What can be proved about functionals of the solution over one cell, and where their roots are. */
#ifndef LINEAR_CELL_INNER_H
#define LINEAR_CELL_INNER_H

#include "linear/system_inner.h"
#include <string.h>

enum {
    ORDERS = 4,       /* derivatives that guards and straight lines are judged by; */
    CURVE_ORDERS = 6  /* curves */
};

/* fmin and fmax are calls, and NaN does not come here. */
static inline double lesser(double a, double b)
{
    return a < b ? a : b;
}

static inline double larger(double a, double b)
{
    return a > b ? a : b;
}

/* f = row . (x | u). */
struct functional {
    const double *row;      /* [states + inputs] */
    double dual[CURVE_ORDERS];  /* dwi_energy_dual of its state part c, of c A, c A A, ... */
    double scale;           /* natural size, > 0 */
    bool still;             /* constant while the input stands still: of the input alone, or of states that nothing moves */
    unsigned char count, states;                 /* how many entries of the row are not zero, and how many of those are of states */
    unsigned char at[DW_STATES + SYSTEM_INPUTS]; /* which; those of states first */
};

/* Its value at a node whose input is set. */
static inline double functional_at(const struct functional *functional, const struct node *node)
{
    const double *row = functional->row, *z = node->high;
    double state = 0, input = 0;
    unsigned i = 0;
    for (; i < functional->states; i++)
        state += row[functional->at[i]] * z[functional->at[i]];
    for (; i < functional->count; i++)
        input += row[functional->at[i]] * z[functional->at[i]];
    return state + input;
}

/* Its part of a state, or of a rate of change of one. */
static inline double functional_of_state(const struct functional *functional, const double *state)
{
    double sum = 0;
    for (unsigned i = 0; i < functional->states; i++)
        sum += functional->row[functional->at[i]] * state[functional->at[i]];
    return sum;
}

/* row stays the caller's; scale as above. */
struct functional dwi_functional_of(const struct dw_system *system, const double *row, double scale);

/* Derivatives of the state at a node, so many orders; order[0] is the state itself. */
struct rates {
    unsigned orders;
    double order[CURVE_ORDERS + 1][DW_STATES];
    double norm[CURVE_ORDERS + 1];  /* energy norms, of orders 1 and up */
    double low[CURVE_ORDERS + 1][DW_STATES];  /* the orders' low halves, where they are carried; else unset */
    const struct node *node;       /* where; its input stays set as long as they are used */
};

/* Derivatives of a functional at a node, as many orders as the rates have. */
struct slopes {
    double order[CURVE_ORDERS + 1];
    double direct[POWERS + 1];  /* largest size of what the input's derivatives add to order 1 on the way, and of a cubic to 2 and 3 */
};

/* The input part of the node must be set.
 *   orders   ORDERS or CURVE_ORDERS */
void dwi_rates_at(const struct stretch *stretch, const struct node *node, unsigned orders, struct rates *rates);
/* The first of them alone, in plain double, while the input stands still: order[1] and norm[1]. */
void dwi_first_rate_at(const struct stretch *stretch, const struct node *node, struct rates *rates);
/* Whether a cell is so long beside the fastest rate that the last derivatives of a node are its rounding errors times powers of
 * that rate. */
bool dwi_rates_need_carrying(const struct stretch *stretch, unsigned orders, double length);
/* The same as dwi_rates_at for the end of such a cell: derivatives are those at its start, carried over it, where that is closer.
 * They are then those of an exact solution within a few 2^-106 of the node: docs/theory.md, after (2.8).
 *   before          at the cell's start, by this function; NULL: none
 *   level, length   of the cell */
void dwi_rates_carry(const struct stretch *stretch, const struct node *node, const struct rates *before, unsigned orders,
                     unsigned level, double length, struct rates *rates);
void dwi_slopes_at(const struct stretch *stretch, const struct node *node, const struct rates *rates,
                   const struct functional *functional, struct slopes *slopes);

enum verdict {
    SPLIT,     /* nothing proved: look at a shorter cell */
    CLEAR,     /* guard: stays >= 0. output: no extremum inside */
    ENDS_TELL  /* guard: crosses once if it is below zero at the end, else never. output: one extremum if the slopes at the
                * ends differ in sign, else none */
};
/* Growth of the energy norm over a cell, an upper bound, at least 1; 0 where it is too much for one. */
double dwi_growth_over(const struct stretch *stretch, double length);
/*   grown   dwi_growth_over of the cell */
/* Whether the bound on the first derivative alone keeps a guard above zero while the input stands still: then dwi_judge_guard finds it
 * clear, too, and nothing else need be known. */
static inline bool guard_is_far(const struct functional *guard, double value, double rate_norm, double length, double grown)
{
    return grown > 0 && value > grown * (guard->dual[0] * rate_norm) * length;
}
enum verdict dwi_judge_guard(const struct stretch *stretch, const struct rates *rates, const struct slopes *slopes,
                             const struct functional *guard, double length, double grown);

#define SHORTEST 1e-13  /* of a stretch: cells are not split further */

/* What is proved over a cell of the derivative f by which rows are spaced, an output's second where straight lines join them, its
 * fourth where curves do: at a share s of it |f| <= |first + s (last - first)| + spare, and nowhere above most.
 * docs/theory.md, (2.14) and (2.22). */
struct bend {
    double first, last, spare, most;
};

/* The bound at a share of the cell. */
static inline double bend_at(const struct bend *bend, double share)
{
    return lesser(bend->most, fabs(bend->first + share * (bend->last - bend->first)) + bend->spare);
}

/* Largest between two shares of a cell: the bound is convex, or level. */
static inline double bend_over(const struct bend *bend, double first, double last)
{
    return larger(bend_at(bend, first), bend_at(bend, last));
}

/* Of rates of ORDERS straight lines are judged, of CURVE_ORDERS curves. SPLIT also where one of them over the whole cell would leave
 * the output by more than `off` and that derivative is not known closely.
 *   bend   out: but for last, which is the derivative at the cell's end */
enum verdict dwi_judge_output(const struct stretch *stretch, const struct rates *rates, const struct slopes *slopes,
                              const struct functional *output, double off, double length, double grown, struct bend *bend);

/* The state along a cell as a series in the share s of it: sum of term k times s^k. */
enum { SOLUTION = 28 };  /* 2^28 / 28! is below 1e-21 */
#define SOLUTION_REACH 2  /* norm x length up to which a series does */
struct solution {
    unsigned count;
    double term[SOLUTION * DW_STATES];  /* [count x states] */
};
/* The node's input part must be set. Plain double: for what is seen, not for what is carried on. */
void dwi_cell_solution(const struct stretch *stretch, const struct node *node, double length, struct solution *solution);
void dwi_solution_at(const struct solution *solution, size_t states, double share, double *state);

static inline void copy_node(const struct stretch *stretch, struct node *to, const struct node *from)
{
    const size_t width = stretch_width(stretch);
    memcpy(to->high, from->high, width * sizeof to->high[0]);
    memcpy(to->low, from->low, (stretch_doubled(stretch) ? width : stretch->system->states) * sizeof to->low[0]);
}

/* A cell's solution, where rows are needed inside it. */
struct inside {
    const struct node *start;  /* NULL: not known yet */
    double begin, length;
    bool series;               /* a share of the solution is taken; else the node is carried on along the chain */
    struct solution solution;
    /* without a series: how far it has been */
    struct chain chain;
    struct stretch stretch;
    struct position position;
    struct node node;
};

/* Goes to the start of a cell.
 *   seen    outputs are only seen there: plain double does */
void dwi_inside_begin(const struct stretch *stretch, const struct node *start, struct position position, double length, bool seen,
                      struct inside *inside);
/* Sets inside->node to an offset within the cell; offsets never fall. */
void dwi_inside_go(const struct stretch *stretch, double offset, struct inside *inside);

/* Where sign * (derivative `order` of f) falls below zero in a cell that starts at or above zero and ends below.
 *   start     position, node: start of the cell, of this level and length
 *   offset    out, from the stretch's start
 *   node      in: at the start; out: at the root, with its input set */
void dwi_find_crossing(const struct stretch *stretch, struct position position, unsigned level, double length,
                       const struct functional *functional, unsigned order, double sign, struct doubled *offset,
                       struct node *node);

/* A straight line on its way from the last row given: how far it may go, whatever its end. Of each output it keeps how far
 * the wave may have left it over what has been passed: `worn`, and beside it |f''| <= `most` from `since` on. */
struct line {
    double from;  /* offset of the row it begins at, s from the stretch's start */
    struct {
        double worn, most, since;  /* since: s from the line's beginning */
    } load[DW_OUTPUTS];
};

/* The part of a cell that a line is about to cross. */
struct crossing {
    double begin, length;      /* of the cell, s from the stretch's start */
    const struct bend *bend;   /* [outputs] */
    const double *chord;       /* [outputs], how far the wave may leave the line */
    size_t outputs;
};

/* A new line from that offset, of so many outputs; nothing is passed yet. */
void dwi_line_begin(struct line *line, double offset, size_t outputs);
/* Offset up to which the line may go in this cell, at most `end`; the cell's own begin where it may not enter it. */
double dwi_line_reach(const struct line *line, const struct crossing *crossing, double end);
/* The line goes on up to `end`, which it may reach. */
void dwi_line_pass(struct line *line, const struct crossing *crossing, double end);

#endif
