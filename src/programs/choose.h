/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The parts of dw-choose. Not installed. */
#ifndef PROGRAMS_CHOOSE_H
#define PROGRAMS_CHOOSE_H

#include "common.h"
#include <dutywright/design.h>

struct choose_options {
    struct common_options common;
    struct dw_choice_wish wish;
    struct dw_parts *resistors, *capacitors, *coils, *dampers;  /* ours; the wish points to them */
    unsigned long long samples;
    uint64_t seed;
    bool all;     /* every column in the text report */
    bool curve;   /* the front as a table */
    bool print;   /* options for dw-smooth */
};

/* Keys of --range and --spread. */
enum choose_part { PART_RESISTOR, PART_CAPACITOR, PART_COIL, PART_DAMPER, PARTS };
struct choose_offers {
    const char *spec[PARTS];  /* E12 or a file; PART_DAMPER follows PART_RESISTOR; coils: NULL for none */
    double from[PARTS], to[PARTS];
    bool ranged[PARTS];
    double spread[PARTS];
};
/* Makes the lists; bad use or a bad file ends the program. */
void choose_offers(struct choose_options *o, const struct choose_offers *offers);
/* --range r=1k:100k,c=1n:10u */
void choose_range(struct choose_offers *offers, const char *argument);

/* 1 lsb, V. */
double choose_lsb(const struct dw_filter_task *task);

/* A value as a part's is written, without special characters, so that it reads back to the same double: 4.7k, 100n.
 *   out   at least 40 bytes */
void choose_spell(char *out, double value);
/* "r=4.7k,c=100n r=10k,c=22n": the stages of a filter, each after `before`. */
void choose_stages(char *out, size_t size, const struct dw_filter *filter, const char *before);

/* The ranking, or the front. */
enum dw_status choose_report(const struct choose_options *o, const struct dw_choices *choices, struct dw_error *error);
/* The front as a table: settling[s] ripple[V]. */
enum dw_status choose_curve(const struct choose_options *o, const struct dw_choices *choices, struct dw_error *error);
/* What is the matter where nothing fits: fills the error, DW_NO. */
enum dw_status choose_explain(const struct choose_options *o, const struct dw_choices *nearest, struct dw_error *error);

#endif
