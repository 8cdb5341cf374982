/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A lamp, for its two kinds and what they have in common. */
#ifndef LOAD_LAMP_INNER_H
#define LOAD_LAMP_INNER_H

#include "load/build_inner.h"
#include <dutywright/lamp.h>

enum { LAMP_OUTPUTS = 8, LAMP_STATES = DW_LAMP_STATES + SUPPLY_STATES };

/* Where the voltage of an LED lies. */
enum region { LED_DARK, LED_RESISTIVE, LED_REGULATED };

struct dw_lamp {
    struct dw_lamp_plan plan;
    struct dw_plant *plant;
    double full;         /* A, fully on for long */
    double brightest;    /* temperature then, as a share of the rated one */
    bool supplied;       /* by what gives way: */
    struct load_source source;
    struct build build;  /* of the mode made last */
};

/* A, an LED in its region at a voltage. */
double dwi_led_current(const struct dw_lamp_plan *plan, enum region region, double volts);
enum region dwi_led_region(const struct dw_lamp_plan *plan, double volts);
/* V, above which an LED leaves the region; INFINITY: never. */
double dwi_led_leaves(const struct dw_lamp_plan *plan, enum region region);

/* ohm, of a filament at a temperature as a share of the rated one. */
double dwi_filament_resistance(const struct dw_lamp_plan *plan, double share);
/* W, what it loses there. */
double dwi_filament_loss(const struct dw_lamp_plan *plan, double share);
/* The temperature at which it stays at a voltage over itself and the resistor. */
double dwi_filament_steady(const struct dw_lamp_plan *plan, double volts);

struct dw_plant *dwi_led_plant(struct dw_lamp *lamp, struct dw_error *error);
/* A filament, or on a supply that gives way an LED that draws a constant power. */
struct dw_plant *dwi_lamp_smooth(struct dw_lamp *lamp, struct dw_error *error);

#endif
