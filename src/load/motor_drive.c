/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What each drive puts on the motor's terminals. docs/theory.md, table 7.1. */
#include "load/build_inner.h"

/* Both gates off, current decided by diodes: paths while it flows forward (through `ohms` of transistors that are still on), and back;
 * between them they block. */
struct dead {
    double forward, back, ohms;          /* V of diodes */
    double forward_share, back_share;    /* of the current, that the supply gives */
    double switch_forward, switch_back;  /* V over the pulsed switch meanwhile, forward beside that of the supply */
    double blocked_supply, blocked_emf;  /* while blocking: so much of the supply and of K w */
};

static size_t add_dead(struct path *paths, const struct dead *dead, enum gate_state low)
{
    paths[0] = (struct path){ .name = "no current", .high = GATE_OFF, .low = low, .conduction = BLOCKS,
                              .switch_supply = dead->blocked_supply, .switch_emf = dead->blocked_emf };
    paths[1] = (struct path){ .name = "the diode conducts", .high = GATE_OFF, .low = low, .conduction = CONDUCTS_FORWARD,
                              .share = dead->forward_share, .own = dead->forward, .ohms = dead->ohms, .diode_share = 1,
                              .switch_supply = 1, .switch_volts = dead->switch_forward };
    paths[2] = (struct path){ .name = "the diode across the switch conducts", .high = GATE_OFF, .low = low,
                              .conduction = CONDUCTS_BACK, .share = dead->back_share, .own = dead->back, .ohms = dead->ohms,
                              .switch_share = 1, .switch_volts = dead->switch_back };
    return 3;
}

/* The same drive reversed: what was forward is back. The switch meant is then the other leg's. */
static struct path reversed(struct path path)
{
    path.direction = -1;
    path.share = -path.share;
    path.own = -path.own;
    path.switch_share = -path.switch_share;
    path.diode_share = -path.diode_share;
    path.switch_ohms = -path.switch_ohms;
    path.switch_emf = -path.switch_emf;
    if (path.conduction == CONDUCTS_FORWARD)
        path.conduction = CONDUCTS_BACK;
    else if (path.conduction == CONDUCTS_BACK)
        path.conduction = CONDUCTS_FORWARD;
    return path;
}

/* Of a bridge whose switches are not both on. */
static size_t bridge_off(const struct dw_motor_plan *p, struct path *paths)
{
    const double d = p->diode_drop, r = p->switch_resistance;
    const bool slow = p->drive == DW_DRIVE_BRIDGE_SLOW, reversing = p->drive == DW_DRIVE_ANTIPHASE;
    const struct dead into_the_low = { .forward = -d, .back = d, .ohms = r, .back_share = 1, .switch_forward = d, .switch_back = -d,
                                       .blocked_supply = 1, .blocked_emf = -1 };
    const struct dead into_the_supply = { .forward = -2 * d, .back = 2 * d, .forward_share = -1, .back_share = 1, .switch_forward = d,
                                          .switch_back = -d, .blocked_supply = 0.5, .blocked_emf = -0.5 };
    size_t count = 0;
    if (slow || reversing)
        paths[count++] = (struct path){ .name = slow ? "the motor is shorted" : "the supply is reversed", .high = GATE_OFF,
                                        .low = p->low_gate ? GATE_ON : GATE_ANY, .conduction = CONDUCTS_BOTH, .share = slow ? 0 : -1,
                                        .ohms = 2 * r, .switch_supply = 1, .switch_ohms = r };
    if (p->low_gate || p->drive == DW_DRIVE_BRIDGE_FAST)
        count += add_dead(paths + count, slow ? &into_the_low : &into_the_supply, p->low_gate ? GATE_OFF : GATE_ANY);
    return count;
}

size_t dwi_motor_paths(const struct dw_motor_plan *p, struct path paths[MOTOR_PATHS])
{
    const double d = p->diode_drop, r = p->switch_resistance;
    const enum gate_state open = p->low_gate ? GATE_OFF : GATE_ANY;
    const double on_ohms = p->drive == DW_DRIVE_ONE_SWITCH ? r : 2 * r;
    const struct path on = { .name = "the switch is on", .high = GATE_ON, .low = GATE_ANY, .conduction = CONDUCTS_BOTH,
                             .share = 1, .ohms = on_ohms, .switch_share = 1, .switch_ohms = r };
    size_t count = 0;
    switch (p->drive) {
    case DW_DRIVE_DIRECT:
        paths[0] = (struct path){ .name = "driven", .high = GATE_ANY, .low = GATE_ANY, .conduction = CONDUCTS_BOTH, .pin = 1, .ohms = r };
        return 1;
    case DW_DRIVE_ONE_SWITCH:
        paths[count++] = on;
        if (p->low_gate)
            paths[count++] = (struct path){ .name = "the low switch is on", .high = GATE_OFF, .low = GATE_ON,
                                            .conduction = CONDUCTS_BOTH, .ohms = r, .switch_supply = 1, .switch_ohms = r };
        return count + add_dead(paths + count, &(struct dead){ .forward = -d, .back = d, .back_share = 1, .switch_forward = d,
                                                               .switch_back = -d, .blocked_supply = 1, .blocked_emf = -1 }, open);
    case DW_DRIVE_BRIDGE_SLOW:
    case DW_DRIVE_BRIDGE_FAST:
    case DW_DRIVE_ANTIPHASE:
        paths[0] = on;
        count = 1 + bridge_off(p, paths + 1);
        break;
    }
    if (p->direction) {
        const size_t forward = count;
        for (size_t i = 0; i < forward; i++) {
            paths[i].direction = 1;
            paths[count++] = reversed(paths[i]);
        }
    }
    return count;
}

/* Adds a path, which is number k when the contact shuts. */
static void add_opened(struct opened *out, size_t k, const struct path *path)
{
    out->path[out->count] = *path;
    out->shut[out->count] = k;
    out->open[k] = out->count++;
}

void dwi_paths_open(const struct path *paths, size_t count, int sign, double drop, struct opened *out)
{
    const enum conduction passes = sign > 0 ? CONDUCTS_BACK : CONDUCTS_FORWARD;
    out->count = 0;
    for (size_t k = 0; k < count; k++) {
        const struct path *shut = paths + k, blocks = { .name = "the limit switch is open", .high = shut->high, .low = shut->low,
                                                        .direction = shut->direction, .conduction = BLOCKS };
        struct path diode = *shut;
        diode.conduction = passes;
        diode.own += sign * drop;
        if (shut->conduction == BLOCKS || shut->conduction == CONDUCTS_BOTH)
            add_opened(out, k, &blocks);
        if (shut->conduction == passes || shut->conduction == CONDUCTS_BOTH)
            add_opened(out, k, &diode);
    }
    for (size_t k = 0; k < count; k++)  /* what it cuts altogether: as the other diode under these gates */
        for (size_t j = 0; j < count; j++)
            if (paths[k].conduction != BLOCKS && paths[k].conduction != CONDUCTS_BOTH && paths[k].conduction != passes &&
                /* unrun: implied */
                paths[j].conduction == passes && paths[j].high == paths[k].high && paths[j].low == paths[k].low &&
                paths[j].direction == paths[k].direction)
                out->open[k] = out->open[j];
}
