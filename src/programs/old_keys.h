/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Options whose argument holds several quantities by name: --stage r=2k7,c=150n. Not installed. */
#ifndef PROGRAMS_KEYS_H
#define PROGRAMS_KEYS_H

#include <dutywright/value.h>
#include <stddef.h>

struct option_key {
    const char *name;
    enum dw_quantity kind;
    double value;      /* in: the default (NaN: none); out: what was given */
    const char *seen;  /* in: NULL; out: not NULL where it was given */
};

/* Reads name=value,name=value,...; bad use ends the program, naming the option and the key.
 *   keys  [count], in any order, each at most once */
void option_keys(const char *option, const char *argument, struct option_key *keys, size_t count);

#endif
