/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Losses as polynomials of degree two in the time from a stretch's start. */
#ifndef DW_LOSS_INNER_H
#define DW_LOSS_INNER_H

#include <dutywright/switch.h>

/* W, s after the start. */
double dwi_loss_at(const struct dw_loss_piece *loss, double after);
/* The same loss, counted from s after the start. */
struct dw_loss_piece dwi_loss_later(const struct dw_loss_piece *loss, double after);
/* a + factor b */
struct dw_loss_piece dwi_loss_sum(const struct dw_loss_piece *a, double factor, const struct dw_loss_piece *b);
/* Conduction loss at 25 degC while the current goes from `current` A by `slope` A/s without a change of sign. */
struct dw_loss_piece dwi_loss_conduction(const struct dw_switch *transistor, double current, double slope);

#endif
