/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A stepper: its modes, each a condition of either coil's bridge, of the rotor, of the step line and of the supply's diode. */
#ifndef LOAD_STEPPER_INNER_H
#define LOAD_STEPPER_INNER_H

#include "load/build_inner.h"
#include <dutywright/stepper.h>

/* What a coil's bridge does. A drive of voltages knows the first four; there is always one of P and N where the current's or the
 * reference's sign is known. */
enum bridge { FED, FREE_P, FREE_N, OPEN, ON_P, ON_N, BLANK_P, BLANK_N, SHORTED, FAST_P, FAST_N, DEAD, BRIDGES };
enum rotor { SLIDES_P, SLIDES_N, STICKS, ROTORS };

/* What ends a mode. */
enum reason { BY_GATE, BY_WISH_P, BY_WISH_N, BY_SIGN, BY_REACHED, BY_TIMER, BY_CURRENT, BY_EMF_P, BY_EMF_N, BY_STICTION_P, BY_STICTION_N,
              BY_STOPPING, BY_LINE, BY_FIELD_P, BY_FIELD_N, BY_BEAT, BY_DIODE, BY_BEGIN };
struct cause {
    enum reason reason;
    int phase;
};
enum { CAUSES = 16 };

/* A mode in its parts. */
struct condition {
    enum bridge bridge[2];
    enum rotor rotor;
    bool high, blocks;
};

struct stepper {
    struct dw_stepper_plan plan;
    struct load_source source;
    bool supplied;             /* by what gives way */
    size_t bridges, rotors, lines, modes;   /* how many; the last mode is the beginning */
    double teeth, inertia;     /* electrical turns a turn; of rotor and load, kg m^2 */
    double ohms;               /* of a coil behind two transistors */
    double amperes, torque_scale, speed_scale, shortest;  /* natural sizes; s: of the chopper's time off */
    struct condition *condition;  /* [modes]; of the beginning, as of the first */
    double *share;             /* [4 x microsteps][2]: of both coils at each place of a turn of the field */
};

/* Electrical turns a turn; of rotor and load, kg m^2; of a coil behind two transistors, ohm. */
double dwi_stepper_teeth(const struct dw_stepper_plan *plan);
double dwi_stepper_inertia(const struct dw_stepper_plan *plan);
double dwi_stepper_ohms(const struct dw_stepper_plan *plan);

size_t dwi_stepper_mode(const struct stepper *stepper, const struct condition *condition);

/* The mode that differs from one in that the rotor turns forwards. */
size_t dwi_stepper_sliding(const struct stepper *stepper, size_t mode);

/* What holds at an instant. */
struct instant {
    struct condition now;
    double sine, cosine;           /* of the rotor's electrical angle */
    double volts, drawn;           /* of the supply: V, A */
    double emf[2], coil[2];        /* V: its own, and at its terminals beyond what the current drops in `ohms` */
    double ohms[2];
    double torque;                 /* N m, on the rotor but for friction and drag */
};
void dwi_stepper_instant(const struct stepper *stepper, size_t mode, const double *state, const double *input, struct instant *instant);
/* No current, and the coil's own voltage at its terminals. */
bool dwi_bridge_blocks(enum bridge bridge);
/* Each coil's share of the supply or of the current, -1 to 1. */
void dwi_stepper_shares(const struct stepper *stepper, const double *state, const double *input, double share[2]);
/* The field's vector as seen from the middle of the quarter that it is counted in; with coils. */
void dwi_stepper_quarter(const struct stepper *stepper, const double *state, const double *input, double *along, double *across);
/* Electrical angle of the field, rad, which goes on from turn to turn. */
double dwi_stepper_field(const struct stepper *stepper, const double *state, const double *input);

/* Guards of a mode, in their order.
 *   guard    out, [CAUSES]; may be NULL
 *   cause    out, likewise
 *   returns  how many */
size_t dwi_stepper_guards(const struct stepper *stepper, size_t mode, const double *state, const double *input, double *guard, struct cause *cause);
/* As dw_equations has it. */
size_t dwi_stepper_leave(const void *of, size_t mode, size_t guard, double time, double *state, const double *input);

#endif
