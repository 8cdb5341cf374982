/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Losses and heat. Not installed. */
#ifndef MEASURE_LOSSES_INNER_H
#define MEASURE_LOSSES_INNER_H

#include <dutywright/cubic.h>
#include <dutywright/pieces.h>
#include <dutywright/switch.h>

/* ---- losses as polynomials of the share of a piece that has passed ---- */

/* W at a share of the piece.
 *   slope    out, W/s */
static inline double dwi_loss_at(const struct dw_loss_piece *loss, double share, double *slope)
{
    double value = 0, change = 0;
    for (size_t k = DW_LOSS_POWERS; k-- > 0;) {
        change = change * share + value;
        value = value * share + loss->power[k];
    }
    *slope = change / loss->length;
    return value;
}

/* a + factor b, both of one piece. */
static inline struct dw_loss_piece dwi_loss_sum(const struct dw_loss_piece *a, double factor, const struct dw_loss_piece *b)
{
    struct dw_loss_piece sum = *a;
    for (size_t k = 0; k < DW_LOSS_POWERS; k++)
        sum.power[k] += factor * b->power[k];
    return sum;
}

/* W s over the whole piece. */
double dwi_loss_energy(const struct dw_loss_piece *loss);
/* Bound of the fourth derivative by the share, up to a share. */
double dwi_loss_bend(const struct dw_loss_piece *loss, double share);
/* The loss up to a share, and what is left of it. */
struct dw_loss_piece dwi_loss_first(const struct dw_loss_piece *loss, double share);
struct dw_loss_piece dwi_loss_rest(const struct dw_loss_piece *loss, double share);
/* Conduction loss at 25 degC of a current, A, that does not change its sign. */
struct dw_loss_piece dwi_loss_conduction(const struct dw_switch *transistor, const struct dw_cubic *current, double length);

/* ---- what turns a record of currents into loss and heat, and the rows of these ---- */

/* Sums over a span. */
struct sums {
    double time, conduction, cold, turn_on, turn_off, diode, turns, square, load_square, junction;
};

enum { LOSS, JUNCTION, HEATED };
/* The two curves at an instant. */
struct heated {
    double time, value[HEATED], slope[HEATED];
};

struct dw_heat {
    struct dw_switch transistor;
    bool has_transistor;             /* else all zero: it loses nothing */
    struct dw_thermal *thermal;
    struct dw_heat_source source;
    size_t *slope;                   /* [columns]: the source's own, copied */
    struct dw_heat_rows rows;

    struct dw_pieces *pieces;
    struct dw_level levels[3];       /* that pieces are cut at */
    size_t level_count;
    double *before, *cut[2], *out;   /* [columns] last input row; rows put in where a piece is cut; output row in the making */
    bool started, on;
    bool rehearsal;                  /* nothing is written or counted */
    double carried;                  /* A, transistor's current at the end of the last piece */
    double edge_start, edge_energy;  /* s, J; the triangle of the edge that runs; energy 0: none */
    double hot;                      /* degC at which the on-resistance is taken: the last period's mean */
    bool whole;                      /* the period that runs was seen from its start */

    bool waiting;                    /* the last input row is yet to be written: what follows says its slopes */
    double waiting_loss;             /* W, there */
    struct heated last;              /* the last row written */
    struct dw_changes changes[HEATED];
    double largest[HEATED];          /* magnitude so far */
    double scale[HEATED];            /* natural ones */

    struct sums now, whole_sums;     /* of the period that runs, and of the last whole one */
    double periods;                  /* whole ones seen */
    /* They follow the period that runs from the start that the last one would be steady at: one with the on-resistance at
     * 25 degC, the other what heat adds to it a kelvin, since a junction still cold has less ripple than the steady one. */
    struct dw_thermal *steady, *growth;
    double steady_hot, steady_highest;  /* degC; the mean that the last period would be steady at, and the most so far */
    bool followed;                   /* there was a last period */
    struct dw_heat_result result;
};

/* fmin and fmax are calls, since they heed NaN. */
static inline double lesser(double a, double b)
{
    return a < b ? a : b;
}

static inline double larger(double a, double b)
{
    return a > b ? a : b;
}

/* Growth of the conduction loss per kelvin, of its value at 25 degC. */
static inline double heat_growth(const struct dw_heat *heat)
{
    return heat->transistor.kind == DW_SWITCH_MOSFET ? heat->transistor.resistance_slope : 0;
}

/* A piece within one period, between the last input row and another.
 *   b          the other; from, to: [columns] the piece's ends */
enum dw_status dwi_heat_piece(struct dw_heat *heat, const double *b, const double *from, const double *to, struct dw_error *error);
/* The first row, or one at the same time as the one before. */
enum dw_status dwi_heat_instant(struct dw_heat *heat, const double *row, struct dw_error *error);

/* Junction of the steady period at the present instant, degC. */
double dwi_heat_steady_now(const struct dw_heat *heat);

/* The time between two instants of the record, behind the last input row, during which the loss is one polynomial: carries the thermal
 * networks over it, and gives the rows.
 *   b        [columns] the next input row
 *   losses   by conduction, at 25 degC, and by an edge beside it */
enum dw_status dwi_heat_stretch(struct dw_heat *heat, const double *b, const double span[2], const struct dw_loss_piece losses[2],
                                struct dw_error *error);
/* Gives the last input row, where none has told what follows: its loss has no slope then. */
enum dw_status dwi_heat_give_waiting(struct dw_heat *heat, struct dw_error *error);

#endif
