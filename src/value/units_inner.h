/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The words of units and prefixes, one table each. Not installed. */
#ifndef VALUE_UNITS_INNER_H
#define VALUE_UNITS_INNER_H

#include <dutywright/value.h>
#include <stdbool.h>

struct unit {
    enum dw_quantity kind;
    const char *word;
    int power;       /* decimal exponent to the SI unit */
    double factor;   /* to the SI unit beside that, 0 for none */
    bool prefixed;   /* takes SI prefixes */
    bool reciprocal; /* the quantity is factor / number */
};

struct prefix {
    const char *word;
    int power;
};

struct quantity_words {
    const char *symbol;   /* in a table's brackets */
    const char *name;     /* with its article, for messages */
    const char *examples; /* for messages */
    bool prefixed;        /* a bare number takes a prefix: 4.7k */
};

const struct quantity_words *dwi_quantity_words(enum dw_quantity kind);
const struct unit *dwi_unit_at(size_t i);      /* NULL after the last */
const struct prefix *dwi_prefix_at(size_t i);  /* NULL after the last */
const struct unit *dwi_unit_find(const char *text, enum dw_quantity kind);  /* the whole text; NULL where there is none */

#endif
