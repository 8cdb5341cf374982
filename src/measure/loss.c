/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/losses_inner.h"
#include <math.h>

double dwi_loss_energy(const struct dw_loss_piece *loss)
{
    double sum = 0;
    for (size_t k = DW_LOSS_POWERS; k-- > 0;)
        sum += loss->power[k] / (double)(k + 1);
    return sum * loss->length;
}

double dwi_loss_bend(const struct dw_loss_piece *loss, double share)
{
    const double *p = loss->power;
    return 24 * fabs(p[4]) + share * (120 * fabs(p[5]) + share * 360 * fabs(p[6]));
}

struct dw_loss_piece dwi_loss_first(const struct dw_loss_piece *loss, double share)
{
    struct dw_loss_piece first = { .length = loss->length * share };
    double scale = 1;
    for (size_t k = 0; k < DW_LOSS_POWERS; k++, scale *= share)
        first.power[k] = scale * loss->power[k];
    return first;
}

struct dw_loss_piece dwi_loss_rest(const struct dw_loss_piece *loss, double share)
{
    struct dw_loss_piece rest = *loss;
    for (size_t done = 0; done + 1 < DW_LOSS_POWERS; done++)  /* Taylor coefficients there, by Horner's scheme again and again */
        for (size_t k = DW_LOSS_POWERS - 1; k-- > done;)
            rest.power[k] += share * rest.power[k + 1];
    return dwi_loss_first(&rest, 1 - share);
}

struct dw_loss_piece dwi_loss_conduction(const struct dw_switch *transistor, const struct dw_cubic *current, double length)
{
    struct dw_loss_piece loss = { .length = length };
    const double *c = current->c;
    double unit = dw_switch_conduction(transistor, 1, 25);  /* W at 1 A */
    switch (transistor->kind) {
    case DW_SWITCH_MOSFET:
        for (size_t i = 0; i < 4; i++)
            for (size_t k = 0; k < 4; k++)
                loss.power[i + k] += unit * c[i] * c[k];
        break;
    case DW_SWITCH_BIPOLAR:
        unit = dw_cubic_at(current, 0.5) < 0 ? -unit : unit;
        for (size_t k = 0; k < 4; k++)
            loss.power[k] = unit * c[k];
        break;
    }
    return loss;
}
