/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A supply that gives way: a battery or source, a line, a bulk capacitor at the load, a diode in the line. docs/theory.md, section 12. */
#ifndef DUTYWRIGHT_SUPPLY_H
#define DUTYWRIGHT_SUPPLY_H

#include <dutywright/status.h>
#include <stdbool.h>

#ifdef __cplusplus
extern "C" {
#endif

/* In SI units; a value of zero means that the part is not there, and a plan of zeros is an ideal supply. Its voltage without load is the
 * load's `supply`. */
struct dw_supply {
    double line_resistance;   /* ohm, there and back */
    double line_inductance;   /* H; only with a bulk capacitor, since a switch would cut its current */
    double bulk;              /* F, at the load; only behind some resistance or inductance */
    double bulk_resistance;   /* ohm, in series with it */
    double inner_resistance;  /* ohm, of a battery */
    double slow_resistance;   /* ohm and F, a pair in series with that: what a battery gives way by slowly; both or none */
    double slow_capacitance;
    bool no_return;           /* a diode without drop in the line: nothing flows back into the source. Needs a bulk capacitor */
};

/*   returns  DW_BAD_USE names the value that is out of range, or what is missing beside it */
DW_API enum dw_status dw_supply_check(const struct dw_supply *supply, struct dw_error *error);
/* Whether it is an ideal one. */
DW_API bool dw_supply_ideal(const struct dw_supply *supply);

#ifdef __cplusplus
}
#endif
#endif
