/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What each drive puts on the motor's terminals. docs/theory.md, table 7.1. */
#include "load/motor_inner.h"

/* Both gates off, current decided by diodes. The motor's terminals see `forward` V while the current flows forward
 * (through `ohms` of transistors that are still on), `back` V while it flows back; between them they block. */
struct dead {
    double forward, back, ohms;
    double forward_supply, back_supply;  /* share of the current that the supply gives */
    double switch_forward, switch_back;  /* V over the pulsed switch meanwhile */
    double blocked_volts, blocked_emf;   /* the same while blocking: volts + emf K w */
};

static size_t add_dead(struct electrical *modes, const struct dead *dead, enum gate_state low)
{
    const struct electrical conducting[2] = {
        { .name = "the diode conducts", .high = GATE_OFF, .low = low, .conduction = CONDUCTS_FORWARD,
          .volts = dead->forward, .ohms = dead->ohms, .diode_share = 1, .supply_share = dead->forward_supply,
          .switch_volts = dead->switch_forward },
        { .name = "the diode across the switch conducts", .high = GATE_OFF, .low = low, .conduction = CONDUCTS_BACK,
          .volts = dead->back, .ohms = dead->ohms, .switch_share = 1, .supply_share = dead->back_supply,
          .switch_volts = dead->switch_back }
    };
    modes[0] = (struct electrical){ .name = "no current", .high = GATE_OFF, .low = low, .conduction = BLOCKS,
                                    .switch_volts = dead->blocked_volts, .switch_emf = dead->blocked_emf,
                                    .most = dead->back, .least = dead->forward };
    modes[1] = conducting[0];
    modes[2] = conducting[1];
    return 3;
}

/* The same drive reversed: what was forward is back. The switch meant is then the other leg's. */
static struct electrical reversed(struct electrical mode)
{
    mode.direction = -1;
    mode.volts = -mode.volts;
    mode.switch_share = -mode.switch_share;
    mode.diode_share = -mode.diode_share;
    mode.supply_share = -mode.supply_share;
    mode.switch_ohms = -mode.switch_ohms;
    mode.switch_emf = -mode.switch_emf;
    double most = mode.most;
    mode.most = -mode.least;
    mode.least = -most;
    if (mode.conduction == CONDUCTS_FORWARD)
        mode.conduction = CONDUCTS_BACK;
    else if (mode.conduction == CONDUCTS_BACK)
        mode.conduction = CONDUCTS_FORWARD;
    return mode;
}

size_t motor_electrical(const struct dw_motor_plan *p, struct electrical modes[ELECTRICAL_MOST])
{
    const double v = p->supply, d = p->diode_drop, r = p->switch_resistance;
    const enum gate_state open = p->low_gate ? GATE_OFF : GATE_ANY;
    const double on_ohms = p->drive == DW_DRIVE_ONE_SWITCH || p->drive == DW_DRIVE_DIRECT ? r : 2 * r;
    const struct electrical on = { .name = "the switch is on", .high = GATE_ON, .low = GATE_ANY, .conduction = CONDUCTS_BOTH,
                                   .volts = v, .ohms = on_ohms, .switch_share = 1, .supply_share = 1, .switch_ohms = r };
    size_t count = 0;
    switch (p->drive) {
    case DW_DRIVE_DIRECT:
        modes[0] = (struct electrical){ .name = "driven", .high = GATE_ANY, .low = GATE_ANY, .conduction = CONDUCTS_BOTH,
                                        .pin = 1, .ohms = r, .switch_share = 1, .supply_share = 1, .switch_ohms = r };
        return 1;
    case DW_DRIVE_ONE_SWITCH:
        modes[count++] = on;
        if (p->low_gate)
            modes[count++] = (struct electrical){ .name = "the low switch is on", .high = GATE_OFF, .low = GATE_ON,
                                                  .conduction = CONDUCTS_BOTH, .ohms = r, .switch_volts = v,
                                                  .switch_ohms = r };
        return count + add_dead(modes + count, &(struct dead){ .forward = -d, .back = v + d, .back_supply = 1,
                                                               .switch_forward = v + d, .switch_back = -d,
                                                               .blocked_volts = v, .blocked_emf = -1 }, open);
    case DW_DRIVE_BRIDGE_SLOW:
        modes[count++] = on;
        modes[count++] = (struct electrical){ .name = "the motor is shorted", .high = GATE_OFF,
                                              .low = p->low_gate ? GATE_ON : GATE_ANY, .conduction = CONDUCTS_BOTH,
                                              .ohms = 2 * r, .switch_volts = v, .switch_ohms = r };
        if (p->low_gate)
            count += add_dead(modes + count, &(struct dead){ .forward = -d, .back = v + d, .ohms = r, .back_supply = 1,
                                                             .switch_forward = v + d, .switch_back = -d,
                                                             .blocked_volts = v, .blocked_emf = -1 }, GATE_OFF);
        break;
    case DW_DRIVE_BRIDGE_FAST:
    case DW_DRIVE_ANTIPHASE:
        modes[count++] = on;
        if (p->drive == DW_DRIVE_ANTIPHASE)
            modes[count++] = (struct electrical){ .name = "the supply is reversed", .high = GATE_OFF,
                                                  .low = p->low_gate ? GATE_ON : GATE_ANY, .conduction = CONDUCTS_BOTH,
                                                  .volts = -v, .ohms = 2 * r, .supply_share = -1, .switch_volts = v,
                                                  .switch_ohms = r };
        if (p->drive == DW_DRIVE_BRIDGE_FAST || p->low_gate)
            count += add_dead(modes + count, &(struct dead){ .forward = -(v + 2 * d), .back = v + 2 * d,
                                                             .forward_supply = -1, .back_supply = 1,
                                                             .switch_forward = v + d, .switch_back = -d,
                                                             .blocked_volts = v / 2, .blocked_emf = -0.5 }, open);
        break;
    }
    if (p->direction) {
        const size_t forward = count;
        for (size_t i = 0; i < forward; i++) {
            modes[i].direction = 1;
            modes[count++] = reversed(modes[i]);
        }
    }
    return count;
}
