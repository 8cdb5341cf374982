/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Wishes for parts, as the tests of the search make them. */
#ifndef TESTS_DESIGN_WISHES_H
#define TESTS_DESIGN_WISHES_H

#include <dutywright/design.h>
#include <stdint.h>

/* One or two stages, nothing limited, no parts on offer yet. */
extern const struct dw_choice_wish nothing;

/* A series of preferred values, or the end of the test. */
struct dw_parts *series(int which, double from, double to, double spread);

/* nothing, with parts for ladders on offer, which are the wish's from then on. */
struct dw_choice_wish ladders(struct dw_parts *resistors, struct dw_parts *capacitors);

/* Random wishes of ladders and coils, with spreads and without, some of which nothing fits. */
struct dw_choice_wish random_wish(uint64_t *seed);

/* Two answers are the same to the last bit. */
void same_choices(const struct dw_choices *one, const struct dw_choices *other);

/* Frees the parts that are on offer. */
void wish_free(struct dw_choice_wish *wish);

#endif
