/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Losses as polynomials of the share of a piece that has passed. */
#ifndef DW_LOSS_INNER_H
#define DW_LOSS_INNER_H

#include <dutywright/cubic.h>
#include <dutywright/switch.h>

/* W at a share of the piece.
 *   slope    out, W/s; may be NULL */
static inline double dwi_loss_at(const struct dw_loss_piece *loss, double share, double *slope)
{
    double value = 0, change = 0;
    for (size_t k = DW_LOSS_POWERS; k-- > 0;) {
        change = change * share + value;
        value = value * share + loss->power[k];
    }
    if (slope)
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

#endif
