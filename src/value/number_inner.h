/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rounded number text, point decimal whatever the locale; printf would follow the host program's. Not installed. */
#ifndef VALUE_NUMBER_INNER_H
#define VALUE_NUMBER_INNER_H

#include <stddef.h>

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
#endif
