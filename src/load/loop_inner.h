/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A loop from inside: its run, its process, and the map of one sample, which runs it from given states. */
#ifndef LOAD_LOOP_INNER_H
#define LOAD_LOOP_INNER_H

#include <dutywright/loop.h>

enum { TAIL_STATES = 2 };

/* An output of the plant's or the process's input, s, and a second. */
struct tail_row {
    double time, value, slope;
};

/* The process, run late by its delay. */
struct tail {
    struct dw_loop_process process;
    struct dw_system *system;
    size_t states;
    double state[TAIL_STATES];
    struct tail_row now;          /* its input up to where it is carried, as a time of the load, of which the output is late */
    struct tail_row *queue;       /* [room], a ring of rows from that time on: those which it has yet to see */
    size_t room, first, count;
};

struct pending {
    double due, duty;
};

struct dw_loop {
    struct dw_loop_plan plan;
    struct dw_law law;
    struct dw_law_state state;
    bool forced;                  /* duties are not the law's: those that pend are all */
    struct dw_run *run;
    double input[DW_INPUTS], now;
    double side_time, side_value, disturbed; /* the second table's last row, and when it last jumped */
    double duty;                  /* in force */
    struct pending *pending;      /* [room], a ring */
    size_t room, first, count;
    struct tail *tail;            /* NULL: no process */
    struct {
        double time, input[2], output[DW_OUTPUTS], slope[DW_OUTPUTS];
    } last[2];                    /* the plant's rows around the present instant, the later one second */
    bool held;                    /* what stands from sample to sample has changed since the last row */
    double *row;
};

/* The process. */
struct tail *dwi_tail_new(const struct dw_loop_process *process, struct dw_error *error);
void dwi_tail_free(struct tail *tail);
/* A row of its input: at one time the last counts from there on. */
enum dw_status dwi_tail_put(struct tail *tail, struct tail_row row, struct dw_error *error);
/* On the cubic between two rows. */
struct tail_row dwi_tail_between(struct tail_row from, struct tail_row to, double time);
/* Carries it to a time of the load. */
enum dw_status dwi_tail_go(struct tail *tail, double time, struct dw_error *error);
/* When its output is next no smooth curve or has a new piece, as a time of the load; INFINITY: not yet known. */
double dwi_tail_next(const struct tail *tail);
/*   slope    out, may be NULL */
double dwi_tail_output(const struct tail *tail, double *slope);

/* What is measured, exact. */
double dwi_loop_measured(const struct dw_loop *loop);
/* Shares of a period at which the pulse of a duty begins, has its middle, and ends. */
void dwi_loop_edges(const struct dw_loop_plan *plan, double duty, double edge[3]);
/* V, of the pin while a pulse lasts, and where none does; with a mean instead of pulses, always the latter. */
double dwi_loop_high(const struct dw_loop_plan *plan, double duty);
double dwi_loop_low(const struct dw_loop_plan *plan, double duty);
/* Goes from the beginning of period 0, where dw_run_start has put the run, to the next one in which a sample is taken. */
enum dw_status dwi_loop_one_sample(struct dw_loop *loop, struct dw_error *error);

#endif
