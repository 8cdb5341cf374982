/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Numbers as text, and units. Not installed. */
#ifndef VALUE_VALUE_INNER_H
#define VALUE_VALUE_INNER_H

#include <dutywright/value.h>
#include <stdbool.h>
#include <stddef.h>

/* ---- rounded number text, point decimal whatever the locale; printf would follow the host program's ---- */

#ifdef __cplusplus
extern "C" {
#endif

/* value with so many digits after the point, correctly rounded (ties to even on the exact binary value).
 *   out       at least size bytes, NUL-terminated
 *   decimals  0..30
 *   returns   length, 0 where it does not fit or value is not finite */
size_t dw_number_fixed(char *out, size_t size, double value, int decimals);

/* The same as d.ddde+XX. */
size_t dw_number_scientific(char *out, size_t size, double value, int decimals);

#ifdef __cplusplus
}
#endif

/* ---- the words of units and prefixes, one table each ---- */

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
