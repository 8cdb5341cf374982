/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What programs with a switched load share: which channel is the gate, and the way of a load along a table. Not installed. */
#ifndef PROGRAMS_DRIVE_H
#define PROGRAMS_DRIVE_H

#include "common.h"
#include "load_kind.h"
#include <dutywright/follow.h>
#include <dutywright/switch.h>

/* A channel that an option names. */
struct channel_wish {
    const char *option;  /* without dashes: for the message */
    const char *name;    /* NULL: not given */
    const char *unit;    /* NULL: any */
};

/* A channel taken as on above the threshold. */
struct gate {
    size_t column;
    double threshold;  /* V */
};

/* Whether the table is a wave: DW_BAD_INPUT where its first column has another unit than s. */
enum dw_status wave_needed(const struct dw_reader *reader, struct dw_error *error);
/* Column of the channel that is wished for, or of the last one with its unit.
 *   returns  DW_BAD_INPUT: no such channel */
enum dw_status channel_find(struct command *command, const struct dw_reader *reader, const struct channel_wish *wish, size_t *column,
                            struct dw_error *error);

/* Finds the gate: the middle of the header's `levels` is the threshold unless one is given.
 *   wish       as for channel_find, its unit V; without a name: `pin` where there is one, else the last channel in V
 *   threshold  V; NaN: from the header
 *   returns    DW_BAD_INPUT: no such channel, or no threshold to be had (the text names --threshold) */
enum dw_status gate_find(struct command *command, const struct dw_reader *reader, const struct channel_wish *wish, double threshold,
                         struct gate *gate, struct dw_error *error);

/* ---- channels of a motor's drive beside its gate ---- */

struct motor_channels {
    const char *low, *direction;  /* NULL: not given */
};
/* g: the group in --help of what drives it */
/* NOLINTBEGIN(bugprone-macro-parentheses): a member's name stands in no brackets */
#define MOTOR_CHANNEL_OPTIONS(m, g) \
    { "low-channel", "CHANNEL", \
      "Gate of the complementary transistor, such as complement from dw-pwm --dead-time: with both off, diodes carry the current", \
      OPTION_TEXT(m.low), .also = "low_gate", .group = (g) }, \
    { "direction", "CHANNEL", "Bridges: below zero reverses, zero keeps; default the channel direction, where there is one", \
      OPTION_TEXT(m.direction) }
/* NOLINTEND(bugprone-macro-parentheses) */

struct motor_inputs {
    const struct dw_motor_plan *plan;
    size_t *column;           /* out, as in struct dw_follow_plan: of pin, low gate, direction, the first inputs of each such load */
    struct load_drive drive;  /* out */
};
/* Which channels feed a motor, and what the table says of its drive.
 *   returns   as gate_find; DW_BAD_USE where one channel is both gates */
enum dw_status motor_inputs_find(const struct common_options *common, const struct motor_channels *channels, const struct dw_reader *reader,
                                 struct motor_inputs *inputs, struct dw_error *error);

/* Where both gates of a leg are on. */
struct gates_seen {
    bool low_gate;            /* there is one */
    double threshold;         /* V */
    double high, low, time;   /* V, V, s, of the last row */
    double shorted, first;    /* s both were on, and when first */
    bool any;
};
void gates_row(struct gates_seen *seen, const struct dw_run_row *row);
void gates_caution(struct command *command, const struct gates_seen *seen);

/* Pairs of a thermal network, each r= and tau= or c=. */
struct thermal_network {
    struct dw_thermal_pair pairs[DW_THERMAL_PAIRS];
    size_t count;
};
enum dw_status thermal_read_pair(const struct option_spec *option, const char *argument, void *options, struct dw_error *error);

/* What asks for a steady start, in messages. */
#define START_STEADY "--start steady"

/* dw_follow with what the common options ask for; what it finds is said as soon as it is known.
 *   plan     without accuracy, uniform, encoding, made_by and found
 *   load     "ladder": for the caution that nothing damps it; NULL: none is due
 *   seen     out
 *   returns  as dw_follow; DW_BAD_INPUT also where the load cannot work on this table: no steady state, endless switching */
enum dw_status follow_table(const struct dw_follow_plan *plan, const struct common_options *common, const char *load,
                            struct dw_reader *reader, struct dw_follow_seen *seen, struct dw_error *error);

#endif
