/* SPDX-License-Identifier: GPL-3.0-or-later */
/* An option is a row of a table: how it is written, what is read into which member of the program's options, its help.
 *
 *     #define OPTION_STRUCT struct smooth_options
 *     static const struct option_spec options[] = {
 *         { .help = "The ladder:" },
 *         { "load", "R", "From the output to ground (ohm)", OPTION_QUANTITY(plan.load, DW_RESISTANCE), OPTION_ABOVE_ZERO },
 *         { "drive", "HOW", "push-pull or one-switch", OPTION_WORD(setup.drive, drives) },
 *         { "stage", "KEYS", "One stage; repeat in order", OPTION_READ(add_stage), .repeats = true,
 *           .required = "such as r=2k7,c=150n" },
 *         { 0 }
 *     };
 *
 * What options have to do with each other are rows too (struct option_rule). Not installed. */
#ifndef PROGRAMS_OPTION_H
#define PROGRAMS_OPTION_H

#include <dutywright/status.h>
#include <dutywright/value.h>
#include <math.h>
#include <stdbool.h>
#include <stddef.h>

enum option_kind { OPTION_IS_FLAG, OPTION_IS_QUANTITY, OPTION_IS_COUNT, OPTION_IS_WORD, OPTION_IS_TEXT, OPTION_IS_TEXTS, OPTION_IS_READ };

enum option_range {
    OPTION_ANY,
    OPTION_POSITIVE,  /* above zero */
    OPTION_CLOSED,    /* from least to most; an infinite limit is none */
    OPTION_OPEN       /* above least and below most */
};

/* What an option that may be given several times was given. */
struct option_texts {
    const char **text;  /* [count], words of the command line; freed with the command */
    size_t count;
};

struct option_spec {
    const char *name;      /* without dashes; NULL: help is the title of the rows behind it */
    const char *argument;  /* as --help calls it; NULL: a flag */
    const char *help;
    const char *bare;      /* the argument where none is given, which then stands behind a = only; NULL: it must be given */
    enum option_kind kind;
    size_t offset, size;   /* of the member in the program's options; size 0: none */
    const char *member;    /* its name: a refused member of a plan, "diode_drop", leads back to the option */
    enum dw_quantity quantity;
    enum option_range range;
    double least, most;
    bool whole;                /* a whole number */
    const char *const *words;  /* NULL-terminated; of OPTION_WORD the member becomes the index */
    /* OPTION_READ: puts the argument into the program's options, by the helpers below. */
    enum dw_status (*read)(const struct option_spec *option, const char *argument, void *options, struct dw_error *error);
    const char *also;      /* other members of plans that it sets, between blanks */
    const char *required;  /* it must be given: completes "--duty is missing: give it, " */
    bool repeats;          /* may be given several times */
    int group;             /* of --help: 0: that of the row before, of a title the next one */
};

/* The member of OPTION_STRUCT, which must be of this type, and what is read into it. */
#define OPTION_AT(m) .offset = offsetof(OPTION_STRUCT, m), .size = sizeof ((OPTION_STRUCT *)NULL)->m, .member = #m
/* NOLINTBEGIN(bugprone-macro-parentheses): a type in brackets is none */
#define OPTION_OF_TYPE(m, type) \
    .offset = offsetof(OPTION_STRUCT, m), .size = sizeof *_Generic(&((OPTION_STRUCT *)NULL)->m, type * : (type *)NULL), .member = #m
/* NOLINTEND(bugprone-macro-parentheses) */
#define OPTION_FLAG(m) .kind = OPTION_IS_FLAG, OPTION_OF_TYPE(m, bool)
#define OPTION_QUANTITY(m, q) .kind = OPTION_IS_QUANTITY, .quantity = (q), OPTION_OF_TYPE(m, double)
#define OPTION_COUNT(m, a, b) .kind = OPTION_IS_COUNT, OPTION_WHOLE(a, b), OPTION_AT(m)   /* of int or a 64-bit type */
#define OPTION_WORD(m, list) .kind = OPTION_IS_WORD, .words = (list), OPTION_AT(m)         /* of an enum, int or bool */
#define OPTION_TEXT(m) .kind = OPTION_IS_TEXT, OPTION_OF_TYPE(m, const char *)
#define OPTION_TEXTS(m) .kind = OPTION_IS_TEXTS, .repeats = true, OPTION_OF_TYPE(m, struct option_texts)
#define OPTION_READ(reader) .kind = OPTION_IS_READ, .read = (reader)
#define OPTION_ABOVE_ZERO .range = OPTION_POSITIVE
#define OPTION_FROM_TO(a, b) .range = OPTION_CLOSED, .least = (a), .most = (b)
#define OPTION_NOT_NEGATIVE OPTION_FROM_TO(0, INFINITY)
#define OPTION_BETWEEN(a, b) .range = OPTION_OPEN, .least = (a), .most = (b)
#define OPTION_WHOLE(a, b) .whole = true, OPTION_FROM_TO(a, b)

/* What options have to do with each other; checked in their order once all are read.
 *   options   names between blanks
 *   with      conditions between blanks, of which one is enough; each is NAME (given), NAME=WORD (given with this argument) or
 *             !NAME, or several joined by &. NULL: always */
struct option_rule {
    enum option_rule_kind {
        OPTION_EXCLUDES = 1,  /* each of options beside each of with, conditions too; with NULL: any two of options */
        OPTION_ONE_OF,        /* one of options must be given where `with` holds: completes "--ripple or --settle is missing: give one, " */
        OPTION_REFUSED,       /* each of options where `with` holds: completes "--seed '7': " */
        OPTION_NEEDED         /* each of options must be given where `with` holds: completes "--edge is missing: give it, " */
    } kind;
    const char *options, *with, *words;
};

/* ---- for readers: each fills the error with the option's name, as of a bad argument, and returns DW_BAD_USE ---- */

/* `--option: 'argument': reason`, `--option: reason` where argument is NULL. */
enum dw_status option_error(struct dw_error *error, const char *option, const char *argument, const char *format, ...)
    __attribute__((format(printf, 4, 5)));
/* A number of the row's quantity within its range. */
enum dw_status option_value(const struct option_spec *option, const char *argument, double *value, struct dw_error *error);
/* Which word of the row's list the argument is. */
enum dw_status option_index(const struct option_spec *option, const char *argument, int *index, struct dw_error *error);
enum dw_status option_append(struct option_texts *texts, const char *text, struct dw_error *error);
/* Puts the argument where the row says.
 *   options   the struct that its offset is of */
enum dw_status option_store(const struct option_spec *option, const char *argument, void *options, struct dw_error *error);
/* The two sides of A:B, given the room for the first.
 *   returns   the second, NULL where there is no such sign, or the first is too long */
const char *option_halves(const char *argument, char sign, char *first, size_t size);
/* Both sides, each read as the row says.
 *   expected  ends the message `must be ...` where there is no such sign */
enum dw_status option_pair(const struct option_spec *option, const char *argument, char sign, const char *expected, double pair[2],
                           struct dw_error *error);

/* A key of an argument such as r=2k7,c=150n. */
struct option_key {
    const char *name;
    enum dw_quantity kind;
    double value;      /* in: the default (NaN: none); out: what was given */
    const char *seen;  /* in: NULL; out: not NULL where it was given */
};
/* Reads name=value,name=value,...
 *   keys   [count], in any order, each at most once */
enum dw_status option_keys(const char *option, const char *argument, struct option_key *keys, size_t count, struct dw_error *error);
/* Marks a key as given; a second time, the error names both.
 *   seen   NULL at the start, kept by the reader */
enum dw_status option_once(const char *option, const char *argument, const char **seen, struct dw_error *error);

/* ---- what was meant ---- */

/* The word that stands now for one of the release before: of an option, or of what an option takes.
 *   of   the program, or the option whose word it is; returns NULL where it was none */
const char *option_renamed(const char *of, const char *old);
/* How far `candidate` is from what was typed: 0 where that is its beginning; -1: too far. */
int option_farness(const char *typed, const char *candidate);
/* The nearest word of a NULL-terminated list, NULL where none is near. */
const char *option_nearest(const char *typed, const char *const *words);

#endif
