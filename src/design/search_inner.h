/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The search: what is kept of what was found, and what may be skipped. Not installed. */
#ifndef DESIGN_SEARCH_INNER_H
#define DESIGN_SEARCH_INNER_H

#include "filter_inner.h"

/* Parts on offer, with what the search asks of them. */
struct dw_parts {
    size_t count;
    struct dw_part *part;      /* [count], ascending by value */
    double *low, *high;        /* [count], value (1 - spread) and value (1 + spread) */
    double *most_low;          /* [count], largest low up to here: low itself where all spreads are equal */
    double *least_high;        /* [count], smallest high from here on */
};

/* What is made small. All but GOAL_NEAREST take only what keeps every limit. */
enum goal {
    GOAL_BALANCE,  /* DW_RANK_PARTS, DW_RANK_MARGIN */
    GOAL_RIPPLE,
    GOAL_SETTLING,
    GOAL_OVERSHOOT,
    GOAL_LOADING,
    GOAL_PIN,
    GOAL_PRICE,
    GOAL_FRONT,
    GOAL_NEAREST
};

/* What is known of all candidates of a box: none has less. */
struct bound {
    int parts;
    double price, resistance;  /* of the RC stages together; 0 does for a coil */
    struct dw_filter_figures figures;
};

struct candidate {
    struct dw_filter filter;
    struct dw_filter_figures worst;
    bool exact;
    double margin, score, second;  /* scores rounded, the second among equals: theory, 6.4 */
    double ripple, settling; /* rounded, for the front */
    double price, resistance, capacitance;
    int parts, size;
};

struct search {
    struct task_terms terms;
    enum goal goal;
    bool count_parts;        /* fewer parts before all */
    size_t room;             /* how many are kept; with GOAL_FRONT as many as there are */
    struct candidate *kept;      /* [count]: by rank; GOAL_FRONT: by settling, ripple falling */
    size_t count, allocated;
    double evaluations;
    bool exhaustive;
    bool no_memory, stopped;
    bool (*progress)(void *context, double share);
    void *context;
    double share_from, share_to;  /* of the whole, for progress: this part of the search */
};

/* Whether nothing under this bound can be kept. */
bool dwi_search_hopeless(const struct search *search, const struct bound *bound, bool coil);
/* Figures beyond which a candidate of this bound will not be kept. */
struct filter_limits dwi_search_limits(const struct search *search, const struct bound *bound);
/* Keeps a candidate if it is good enough. */
void dwi_search_offer(struct search *search, const struct dw_filter *filter, const struct dw_filter_figures *worst, bool exact);
/* Tells progress; now and then. */
void dwi_search_tell(struct search *search, double share);

/* What candidates are made of: first, a resistor of the first stage or a coil, with the capacitor behind it (all of both, or
 * those of a shard); then any of the others. */
struct offer {
    const struct dw_parts *first, *second;
    const struct dw_parts *resistors, *capacitors;  /* of later stages; resistors and larger capacitors that damp a coil. With
                                                       a coil resistors may be NULL */
};

/* RC stages by branch and bound. */
void dwi_search_rc(struct search *search, int stages, const struct offer *offer);
/* Filters with a coil. */
void dwi_search_lc(struct search *search, const struct offer *offer);
/* Number of candidates that each looks at. */
double dwi_rc_candidates(int stages, const struct offer *offer);
double dwi_lc_candidates(const struct offer *offer, bool damped_already);

/* One shard's share of all pairs of a part of each list. The first list is dealt out to the shards; where there are more
 * shards than that has parts, those of one part deal out the second.
 *   shard    1 to shards
 *   share    out, to be freed: all parts of one with all of the other; both NULL where no pair is left for it
 *   returns  false: no memory */
bool dwi_parts_share(const struct dw_parts *first, const struct dw_parts *second, int shard, int shards, struct dw_parts *share[2]);

/* dw_choose with a goal of its own.
 *   nearest   where nothing fits, the nearest miss is looked for; else there is no choice then */
enum dw_status dwi_choose_with(const struct dw_choice_wish *wish, enum goal goal, bool nearest, struct dw_choices **choices,
                               struct dw_error *error);

#endif
