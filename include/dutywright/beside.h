/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Tables beside each other, and channels made of others. */
#ifndef DUTYWRIGHT_BESIDE_H
#define DUTYWRIGHT_BESIDE_H

#include <dutywright/splice.h>
#include <dutywright/status.h>
#include <dutywright/table.h>
#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

/* ---- tables beside each other ---- */

struct dw_beside;
/* The channels of several tables in one, over the time that all of them have: a row at each instant at which one has a row, with as many
 * rows at one time as the table with the most; where the others have none, their lines and curves go on, so that all waves stay as they
 * are. Times within 4 ulp are one. Of samples there are rows at their instants only, for all have to be sampled then: what is no sample
 * is taken there, behind a jump.
 *   readers   [count], count >= 2, with their rows still to come, `curves` set; the caller's, longer than the result
 *   returns   NULL on error: DW_BAD_INPUT: a table has no rows or no time, they have no time in common, samples of different rates or
 *             not at the same instants, to a thousandth of their spacing; DW_NO_MEMORY; what reading gives */
DW_API struct dw_beside *dw_beside_new(struct dw_reader *const *readers, size_t count, struct dw_error *error);
DW_API void dw_beside_free(struct dw_beside *beside);
/* Of the rows given. A name that is taken gets -2, -3, ... Periods stay where all tables have the same and their boundaries meet;
 * `initial` where the table is not cut; of other keys the first table's stand, and made-by and note of all. */
DW_API const struct dw_header *dw_beside_header(const struct dw_beside *beside);
/* The next rows. At the end the tables are read to theirs, so that a fault behind the common time is found.
 *   out       [count x columns] of the header, valid until the next call; count above 0
 *   returns   DW_OK; DW_END; DW_BAD_INPUT, as above; DW_NO_MEMORY; what reading gives */
DW_API enum dw_status dw_beside_rows(struct dw_beside *beside, struct dw_rows *out, struct dw_error *error);

/* ---- channels made of others ---- */

enum dw_combination { DW_SUM, DW_DIFFERENCE, DW_PRODUCT, DW_RATIO };
struct dw_combine_plan {
    enum dw_combination as;
    const char *name, *unit; /* unit NULL: that of the result, such as W for V and A, or V*s and V/s where it has no name of its own */
    const size_t *column;    /* [count] channels, in order; a channel may stand twice */
    size_t count;            /* 2; of a sum or a product more */
};

struct dw_combine;
/* Appends a channel. Sums and differences of lines and curves are exact. Products and ratios are curves, and where they are none of the
 * third degree, within 1e-6 of their largest change, and 2e-8 of their largest value so far: rows are put in. Of samples, and of tables
 * that do not begin with a time, rows are combined as they are.
 *   returns   NULL on error: DW_BAD_USE: a name that is taken or is none, unlike quantities in a sum, a count that does not fit;
 *             DW_NO_MEMORY */
DW_API struct dw_combine *dw_combine_new(const struct dw_header *header, const struct dw_combine_plan *plan, struct dw_error *error);
DW_API void dw_combine_free(struct dw_combine *combine);
/* Of the rows given. `accuracy` of a sum is the sum of those of its channels where these have no share alone; of a product or ratio it
 * is a share, the sum of theirs and 1e-6. */
DW_API const struct dw_header *dw_combine_header(const struct dw_combine *combine);
/*   values    [count x columns] of the table
 *   out       what is known by now, up to one instant late
 *   returns   DW_OK; DW_BAD_INPUT: a divisor is or passes through 0, a value beyond the range of numbers; DW_NO_MEMORY
 *   source    the fourth derivative of a product by Leibniz' rule, of a quotient by the same rule solved for its last term; with
 *             equation (2.21): docs/theory.md, (4.20) */
DW_API enum dw_status dw_combine_rows(struct dw_combine *combine, const double *values, size_t count, struct dw_rows *out,
                                      struct dw_error *error);
DW_API enum dw_status dw_combine_finish(struct dw_combine *combine, struct dw_rows *out, struct dw_error *error);

#ifdef __cplusplus
}
#endif
#endif
