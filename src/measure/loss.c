/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/loss_inner.h"

double dwi_loss_at(const struct dw_loss_piece *loss, double after)
{
    return loss->base + after * (loss->slope + after * loss->curve);
}

struct dw_loss_piece dwi_loss_later(const struct dw_loss_piece *loss, double after)
{
    return (struct dw_loss_piece){ dwi_loss_at(loss, after), loss->slope + 2 * after * loss->curve, loss->curve };
}

struct dw_loss_piece dwi_loss_sum(const struct dw_loss_piece *a, double factor, const struct dw_loss_piece *b)
{
    return (struct dw_loss_piece){ a->base + factor * b->base, a->slope + factor * b->slope, a->curve + factor * b->curve };
}

struct dw_loss_piece dwi_loss_conduction(const struct dw_switch *transistor, double current, double slope)
{
    struct dw_loss_piece loss = { 0, 0, 0 };
    const double unit = dw_switch_conduction(transistor, 1, 25);  /* W at 1 A */
    switch (transistor->kind) {
    case DW_SWITCH_MOSFET:
        loss = (struct dw_loss_piece){ unit * current * current, 2 * unit * current * slope, unit * slope * slope };
        break;
    case DW_SWITCH_BIPOLAR: {
        const double sign = current < 0 || (current == 0 && slope < 0) ? -1 : 1;
        loss = (struct dw_loss_piece){ unit * sign * current, unit * sign * slope, 0 };
        break;
    }
    }
    return loss;
}
