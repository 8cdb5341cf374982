/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A linear system with its cache of propagators, and stretches: one straight line or cubic of the input. */
#ifndef LINEAR_SYSTEM_INNER_H
#define LINEAR_SYSTEM_INNER_H

#include "linear/matrix_inner.h"
#include <dutywright/linear.h>
#include <stdint.h>

enum {
    SYSTEM_INPUTS = DW_INPUTS + 1,  /* modes add the constant 1 */
    POWERS = 3,                     /* of the input: a cubic's */
    NODE_WIDTH = DW_STATES + (1 + POWERS) * SYSTEM_INPUTS,
    CHAIN_LEVELS = 62,              /* positions in a stretch are counted in 64 bits */
    CHAIN_FINE = 8,                 /* levels below the one where norm x length is 1/2 */
    MISSES = 8
};

/* Propagators of length, length/2, length/4, ... Level k is a block [states x width] of rows (Y | G1 | G2), width =
 * states + 2 inputs, for x(l) = x + Y x + G1 u + G2 (rise of u over the cell); docs/theory.md, (2.2). Cubics have a rise w1 s + w2 s^2 + w3 s^3,
 * s the share of the cell, with w1 for the rise, and add G3 w2 + G4 w3: (2.26). */
struct chain {
    double length;
    unsigned levels;           /* blocks 0 .. levels */
    double unit;               /* length of the last */
    double *high, *low;        /* low: NULL unless stiff, where doubled precision is carried */
    double *bent_high, *bent_low;  /* rows (G3 | G4) alike, [states x 2 inputs] a level, in one memory; NULL until the first cubic comes */
    const double *drift;       /* [states x (states + inputs)], 1/s: how (Y | G1) of level 0 grow with the length, (A + A Y | A G1
                                * + B); NULL where stiff; behind `high` in its memory */
    double grown[CHAIN_LEVELS + 1];  /* of each level: |exp(A t)| in the energy norm is at most that up to its length; 0: unknown */
    unsigned long long used;
};

struct dw_system {
    size_t states, inputs, outputs, width;
    double *rate_high, *rate_low;  /* [states x (states + inputs)], rows (A | B) and what they rounded away */
    double *output;                /* [outputs x (states + inputs)], rows (C | D) */
    double weight[DW_STATES];
    double norm;                   /* of A in the energy's scale, an upper bound, 1/s */
    double growth;                 /* 1/s, |exp(A t) x| <= exp(growth t) |x| in the energy norm; 0 for passive systems */
    double push[SYSTEM_INPUTS];    /* energy norms of the columns of B */
    struct chain *chains;
    size_t chain_count, chain_most, built;
    unsigned long long clock;
    struct chain *recent[2];       /* the last two lengths: a pulse has two */
    unsigned turn;                 /* which of them is likely next, since they take turns */
    double near;                   /* lengths so little apart differ to first order, s */
    double missed[MISSES];         /* lengths seen once that were carried by another length's chain */
    unsigned next_missed;
};

/* A state with the input there and its rise over the cell that follows, (x | u | rise), or along cubics its derivatives there, (x | u | u' | u'' |
 * u'''), each a high and a low half. */
struct node {
    double high[NODE_WIDTH], low[NODE_WIDTH];
};

/* Where in a stretch: index units of the chain's finest level, and a rest below one. */
struct position {
    uint64_t index;
    double rest;
};

struct stretch {
    struct dw_system *system;
    struct chain *chain;
    double length;         /* s */
    double unit;           /* length of the chain's finest level */
    uint64_t count;        /* whole units in the stretch */
    double tail;           /* length beyond them; below zero where the chain is a slack longer */
    bool curved;           /* an input is a cubic */
    bool flat;             /* the input stands still; then these are not zero: */
    unsigned char lives, live[SYSTEM_INPUTS];
    double start[SYSTEM_INPUTS];
    struct doubled slope[SYSTEM_INPUTS];   /* of lines; of cubics that at the start, and */
    struct doubled second[SYSTEM_INPUTS], third[SYSTEM_INPUTS];  /* u'' there, and u''': where curved, like the next */
    double most[POWERS + 1][SYSTEM_INPUTS];  /* of |u'|, |u''|, |u'''| on the way, by order */
    double pushed[POWERS + 1];             /* energy norm of B u', and of higher derivatives, by order: upper bounds */
};

/* Like dw_system_new, up to SYSTEM_INPUTS inputs. */
struct dw_system *dwi_system_new(const struct dw_matrices *matrices, struct dw_error *error);

/* A chain that covers the length: its own, one within the slack, or a longer one.
 *   returns  DW_OK; DW_BAD_USE: rates too fast for the length; DW_NO_MEMORY */
enum dw_status dwi_system_chain(struct dw_system *system, double length, double slack, struct chain **chain,
                                struct dw_error *error);
/* Fills high, low of a chain whose length is set; doubled: with low even where it is not stiff. */
enum dw_status dwi_chain_build(const struct dw_system *system, struct chain *chain, bool doubled, struct dw_error *error);
/* Fills bent_high, bent_low of one that is built, where they are not. */
enum dw_status dwi_chain_bend(const struct dw_system *system, struct chain *chain, struct dw_error *error);
void dwi_chain_free(struct chain *chain);

/* out = block . z for a block [rows x width]; low NULL: plain double, and out_low is left alone. */
void dwi_block_apply(const double *high, const double *low, size_t rows, size_t width, const double *z_high,
                     const double *z_low, double *out_high, double *out_low);

/* out = factor * a z for a square block of n rows, so far apart, in plain double; out may not be z. Written out for few states,
 * since it is what the time goes into. */
static inline void square_apply(const double *a, size_t n, size_t apart, double factor, const double *z, double *out)
{
    if (n == 3) {
        const double *b = a + apart, *c = b + apart;
        out[0] = factor * (a[0] * z[0] + a[1] * z[1] + a[2] * z[2]);
        out[1] = factor * (b[0] * z[0] + b[1] * z[1] + b[2] * z[2]);
        out[2] = factor * (c[0] * z[0] + c[1] * z[1] + c[2] * z[2]);
        return;
    }
    for (size_t i = 0; i < n; i++, a += apart) {
        double sum = a[0] * z[0];
        for (size_t j = 1; j < n; j++)
            sum += a[j] * z[j];
        out[i] = factor * sum;
    }
}

/* Energy norm of a state, its square, and that of a functional on states: |c x| <= dual(c) norm(x). */
static inline double energy_square(const struct dw_system *system, const double *state)
{
    double sum = 0;
    for (size_t i = 0; i < system->states; i++)
        /* NOLINTNEXTLINE(clang-analyzer-core.UndefinedBinaryOperatorResult): every state was set; their number stands still */
        sum += system->weight[i] * (state[i] * state[i]);
    return sum;
}
double dwi_energy_norm(const struct dw_system *system, const double *state);
double dwi_energy_dual(const struct dw_system *system, const double *functional);

/* Input j over an interval as a polynomial w0 + w1 s + w2 s^2 + w3 s^3 in the share s of it; its slopes are so many apart. Returns whether it
 * is a cubic; else a line, w2 = w3 = 0. */
bool dwi_interval_powers(const struct dw_interval *over, size_t j, size_t apart, struct doubled w[POWERS + 1]);
/* Sets slope, second and third of an input from its powers; of a cubic also the bounds `most`. */
void dwi_stretch_bend(struct stretch *stretch, size_t j, const struct doubled w[POWERS + 1], double length);
/*   over     its state is not looked at; longer than 0 */
enum dw_status dwi_stretch_set(struct stretch *stretch, struct dw_system *system, const struct dw_interval *over, double slack,
                               struct dw_error *error);
/* How many numbers of a node are in use. */
static inline size_t stretch_width(const struct stretch *stretch)
{
    return stretch->system->states + (stretch->curved ? 1 + POWERS : 2) * stretch->system->inputs;
}
/* Slope of an input at a node of the stretch, whose input is set. The node has so many states and inputs. */
static inline double stretch_slope(const struct stretch *stretch, const struct node *node, size_t states_and_inputs, size_t j)
{
    return stretch->curved ? node->high[states_and_inputs + j] : stretch->slope[j].hi;
}
static inline bool stretch_doubled(const struct stretch *stretch)
{
    return stretch->chain->low != NULL;
}
struct position dwi_stretch_seek(const struct stretch *stretch, struct doubled offset);
struct doubled dwi_stretch_offset(const struct stretch *stretch, struct position position);
bool dwi_stretch_at_end(const struct stretch *stretch, struct position position);

/* The longest cell that starts at a position: its level in the chain, or levels + 1 where only a series will do (off the
 * grid, or the tail); *length in s. */
unsigned dwi_stretch_cell(const struct stretch *stretch, struct position position, double *length);
/* Sets the input part of a node. */
void dwi_stretch_input(const struct stretch *stretch, struct position position, double length, struct node *node);
/* Carries a node over one cell: a level of the chain, or beyond it a series over the length, at most a unit. The input part
 * must be set; only the state changes. */
void dwi_stretch_step(const struct stretch *stretch, unsigned level, double length, struct node *node);
/* Position after that cell. */
struct position dwi_stretch_after(const struct stretch *stretch, struct position position, unsigned level, double length);
/* Carries a node whose input part is set to the stretch's end, along the grid; the input part is then that end's. */
void dwi_stretch_finish(const struct stretch *stretch, struct position position, struct node *node);
/* Carries a node on by many cells to an offset from the stretch's start; homogeneous: with no input at all. */
void dwi_stretch_move(const struct stretch *stretch, struct position *position, struct doubled offset, bool homogeneous,
                      struct node *node);

#endif
