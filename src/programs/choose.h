/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The parts of dw-choose. Not installed. */
#ifndef PROGRAMS_CHOOSE_H
#define PROGRAMS_CHOOSE_H

#include "common.h"
#include <dutywright/design.h>
#include <jansson.h>

/* What shards found. */
struct choose_merged {
    json_t *request;           /* words of their command line; not ours */
    struct dw_filter *filters; /* [count] */
    unsigned long long *good;  /* [count], of the samples; NULL: none are drawn yet */
    size_t count;
};

/* Keys of --values and --spread. */
enum choose_part { PART_RESISTOR, PART_CAPACITOR, PART_COIL, PART_DAMPER, PARTS };
struct choose_offers {
    const char *spec[PARTS];  /* E12 or a file; PART_DAMPER follows PART_RESISTOR; coils: NULL for none */
    double from[PARTS], to[PARTS];
    bool ranged[PARTS];
    double spread[PARTS];
};

struct choose_options {
    struct common_options common;
    struct dw_choice_wish wish;
    struct dw_parts *resistors, *capacitors, *coils, *dampers;  /* ours; the wish points to them */
    unsigned long long samples;
    uint64_t seed;
    const char *ripple, *band;  /* as they are written: they need other options */
    bool all;     /* every column in the text report */
    bool curve;   /* the front as a table */
    const char *print;   /* options for dw-smooth; NULL: not asked */
    long jobs;           /* threads; 0: one a processor */
    long shard, shards;  /* 0: the whole */
    bool merge, restored;  /* restored: the request that stands in shards */
    const struct choose_merged *merged;  /* NULL: search */
    struct choose_offers offers;
};

/* Makes the lists. */
enum dw_status choose_offers(struct choose_options *o, struct dw_error *error);
/* Lets the wish point to the lists; refuses parts without a price where one is needed. */
enum dw_status choose_use_lists(struct choose_options *o, struct dw_error *error);
/* Of options: --values r=1k:100k,c=1n:10u, --shard 2/7. */
enum dw_status choose_range(const struct option_spec *option, const char *argument, void *options, struct dw_error *error);
enum dw_status choose_read_shard(const struct option_spec *option, const char *argument, void *options, struct dw_error *error);

/* Ripple and band in SI, once the options that they need are read. */
enum dw_status choose_resolve(struct choose_options *o, struct dw_error *error);
/* A yield is shown by samples, of which there must be enough: takes over how many, and which. */
enum dw_status choose_check_yield(const struct command *command, struct choose_options *o, struct dw_error *error);
/* Whether ripple or band are asked for in lsb. */
bool choose_in_lsb(const struct choose_options *o);
/* 1 lsb, V. */
double choose_lsb(const struct dw_filter_task *task);

/* A value as a part's is written, without special characters, so that it reads back to the same double: 4.7k, 100n.
 *   out   at least 40 bytes */
void choose_spell(char *out, double value);
/* "r=4.7k,c=100n r=10k,c=22n": the stages of a filter, each after `before`.
 *   losses  the capacitors' esr and leaks are told, too; may be NULL */
void choose_stages(char *out, size_t size, const struct dw_filter *filter, const char *before, const struct dw_filter_task *losses);

/* The ranking, or the front. */
enum dw_status choose_report(const struct choose_options *o, const struct dw_choices *choices, struct dw_error *error);
/* The front as a table: settling[s] ripple[V]. */
enum dw_status choose_curve(const struct choose_options *o, const struct dw_choices *choices, struct dw_error *error);
/* ---- searches in shards ---- */

enum { CHOOSE_SHARDS = 1000000 };
/* Names of the lists in what a shard writes. */
extern const char *const choose_lists[PARTS];
/* How many of the samples are this shard's, and the first of them. */
unsigned long long choose_share(const struct choose_options *o, unsigned long long *first);
/* What --merge reads: the filters that were found or, with o->merged, this shard's share of their samples.
 *   fits   the choices keep the limits; else they are the nearest miss, of which no samples are drawn */
enum dw_status choose_write_shard(const struct choose_options *o, const struct dw_choices *choices, bool fits,
                                  struct dw_error *error);
/* Good samples of a filter, all shards together. */
enum dw_status choose_merged_good(const struct choose_merged *merged, const struct dw_filter *filter, unsigned long long *good,
                                  struct dw_error *error);
void choose_merged_free(struct choose_merged *merged);

/* Draws samples first to first + samples - 1. */
enum dw_status choose_draw(const struct choose_options *o, const struct dw_filter *filter, unsigned long long first,
                           unsigned long long samples, unsigned long long *good, struct dw_error *error);
/* The yield of a filter: from what shards drew, else from all samples drawn now. */
enum dw_status choose_yield(const struct choose_options *o, const struct dw_filter *filter, struct dw_yield *yield,
                            struct dw_error *error);

/* How far the work is, on a terminal; the library's search says so by itself. */
void choose_progress(const struct choose_options *o, const char *doing, double share);

/* What is the matter where nothing fits: fills the error, DW_NO. */
enum dw_status choose_explain(const struct choose_options *o, const struct dw_choices *nearest, struct dw_error *error);

/* ---- dw-choose --merge: what its shards wrote ---- */

/* One line that was read; all but `place` belong to `root`. */
struct choose_shard {
    char *place;  /* file and line, for messages */
    json_t *root;
    const char *made_by, *version, *work;
    json_t *request, *lists[PARTS], *found;
    int number, of;
};

struct choose_pile {
    struct choose_shard *shard;
    size_t count, room;
};

/* Reads files of any number of lines each, and checks that they are all the shards of one request, each once.
 *   pile    empty; to be freed also after an error
 *   files   [count], "-" for standard input; none: standard input */
enum dw_status choose_pile_read(struct choose_pile *pile, const char *const *files, size_t count, struct dw_error *error);
void choose_pile_free(struct choose_pile *pile);

/* The command line that the shards were given, with this one's options of the report behind it: to be freed, its words not.
 * NULL: no memory.
 *   whole   out, how many words it has */
char **choose_pile_line(const struct choose_pile *pile, const struct command *command, int *whole);

/* What the shards found, and the lists that they chose from, into options that are otherwise read.
 *   merged  empty; to be freed also after an error */
enum dw_status choose_pile_gather(const struct choose_pile *pile, struct choose_options *o, struct choose_merged *merged,
                                  struct dw_error *error);

#endif
