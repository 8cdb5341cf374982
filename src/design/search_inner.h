/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The search: what is kept of what was found, and what may be skipped. Not installed. */
#ifndef DESIGN_SEARCH_INNER_H
#define DESIGN_SEARCH_INNER_H

#include "poles_inner.h"
#include <stdatomic.h>

/* Parts on offer, with what the search asks of them. */
struct dw_parts {
    size_t count;
    struct dw_part *part;      /* [count], ascending by value */
};

/* ---- pairs of a resistor and a capacitor ---- */

struct part_pair {
    uint32_t r, c;  /* places in the lists */
};

/* A range of pairs, and its bounds, with their logarithms. A resistance of the first stage holds that of the source. */
struct pair_logs {
    double r_least, r_most, time_least, time_most;
};
struct pair_node {
    /* of parts at their highest, time: r c; of parts at their lowest */
    struct { double r_least, r_most, time_least, time_most; struct pair_logs ln; } slow;
    struct { double r_least, r_most, c_least, c_most, time_least, time_most; struct pair_logs ln; } fast;
    double ln_slower;         /* least time at the highest over that at the lowest */
    double ln_r_slower[2];    /* least and most resistance at the highest over that at the lowest */
    double resistance, price; /* least; without the source */
    uint32_t from, count;
};

struct pairs {
    const struct dw_parts *resistors, *capacitors;
    double source[2];         /* ohm, least and most, in series with each resistance */
    bool nominal;
    struct part_pair *pair;        /* [count] */
    struct pair_node *node;   /* [2 count - 1], the first is the whole */
    size_t count;
};

/* How much a range of resistances counts against one of time constants: as few boxes as by trial. It decides only the speed. */
static const double PAIRS_RESISTANCE = 0.8;

/* The pairs of two lists.
 *   nominal  whatever their spreads
 *   returns  false: no memory; some 500 bytes a pair are taken */
bool dwi_pairs_new(struct pairs *pairs, const struct dw_parts *resistors, const struct dw_parts *capacitors, const double source[2],
                   bool nominal);
void dwi_pairs_free(struct pairs *pairs);
/* A half of a range of more than one pair. */
const struct pair_node *dwi_pairs_half(const struct pair_node *node, int half);

/* ---- the search ---- */

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
    unsigned long change;  /* the one that it was put here by */
};

struct search {
    struct task_terms terms, bounds;  /* bounds: of the least figures of a candidate; terms of nominal values where samples decide */
    struct kept_samples samples;      /* room: ours, taken when it is first wanted */
    enum goal goal;
    bool count_parts;        /* fewer parts before all */
    size_t room;             /* how many are kept; with GOAL_FRONT as many as there are */
    struct candidate **kept;     /* [count], with room for [allocated]: by rank; GOAL_FRONT: by settling, ripple falling */
    size_t count, allocated;
    unsigned long changes;       /* how often one was put there */
    double evaluations;
    bool exhaustive;
    bool no_memory, stopped;
    atomic_bool *halt;            /* tells other threads that it ended early */
    bool (*progress)(void *context, double share);  /* NULL: another thread tells */
    void *context;
    double share_from, share_to;  /* of the whole, for progress: this part of the search */
    unsigned long looked;         /* boxes */
};
/* Stopped, out of memory, or another thread is. */
bool dwi_search_ended(struct search *search);
/* Takes over what another search has kept since some change of its own, 0 all; what it kept before must have been taken over already.
 *   returns  its last change */
unsigned long dwi_search_join(struct search *search, const struct search *other, unsigned long since);

/* Whether nothing under this bound can be kept. */
bool dwi_search_hopeless(const struct search *search, const struct bound *bound, bool coil);
/* Figures beyond which a candidate of this bound will not be kept. */
struct filter_limits dwi_search_limits(const struct search *search, const struct bound *bound);
/* Keeps a candidate if it is good enough: by its worst case, or by its samples.
 *   limits    beyond them it is not kept anyway; may be NULL */
void dwi_search_offer(struct search *search, const struct dw_filter *filter, const struct filter_limits *limits);
/* Frees what a search holds. */
void dwi_search_free(struct search *search);
/* Tells progress: at once; each so many boxes. */
void dwi_search_tell(struct search *search, double share);
void dwi_search_looked(struct search *search, double share);

/* What candidates are made of: first, a resistor of the first stage or a coil, with the capacitor behind it (all of both, or
 * those of a shard); then any of the others. */
struct offer {
    const struct dw_parts *first, *second;
    const struct dw_parts *resistors, *capacitors;  /* of later stages; resistors and larger capacitors that damp a coil. With
                                                       a coil resistors may be NULL */
};

/* A range of RC ladders: one of pairs for each stage. */
struct search_box {
    int stages;
    const struct pair_node *node[DW_FILTER_STAGES];
    struct bound bound;
    double promise;  /* which is to be looked at first: the least */
};
/* Finds the bound; returns false where nothing in the box can be kept. */
bool dwi_box_bounded(struct search *search, struct search_box *box);

/* A ladder's time constants, from the first stage on, then each resistance over the next; bounds are planes in their logarithms. */
enum { TIMES = DW_FILTER_STAGES, COORDINATES = 2 * DW_FILTER_STAGES - 1 };

/* The part of a box that is still in question. */
struct part_box {
    int stages;
    struct pair_node node[DW_FILTER_STAGES];
};

/* ln of the ripple, V, is at least level less the sum of so many times the logarithm of each coordinate, of parts at their lowest. */
struct box_harmonics {
    double level, share[COORDINATES], most[COORDINATES], width[COORDINATES];
    double digits;  /* V: a candidate's own may be told off by so much, a share of what its poles let pass */
};
/* No ladder of the box ripples less: the first harmonic less what others may take off. (6.30) */
struct box_harmonics dwi_box_harmonics(const struct task_terms *terms, const struct part_box *part);

/* Ladders of so many stages, out of pairs for the first stage and such as any of the others may have. */
struct space {
    int stages;
    const struct pairs *first, *others;
};
enum { FRONTIER = 256 };
/* The boxes into which all candidates are cut that are to be looked at: [FRONTIER]; returns how many. */
size_t dwi_rc_frontier(struct search *search, const struct space *space, struct search_box *boxes);
/* Looks at a box by branch and bound. */
void dwi_search_box(struct search *search, const struct space *space, const struct search_box *box);
/* Looks at every candidate whose first pair is number `piece` or every `pieces`-th behind it. */
void dwi_search_every(struct search *search, const struct space *space, size_t piece, size_t pieces);
/* Filters with a coil: from pair number `piece` of coil and capacitor on every `pieces`-th. */
void dwi_search_lc(struct search *search, const struct offer *offer, size_t piece, size_t pieces);
/* Number of candidates that each looks at. */
double dwi_rc_candidates(int stages, const struct offer *offer);
double dwi_lc_candidates(const struct offer *offer, bool damped_already);

/* Every kind of filter in turn, those of fewest parts first, cut into pieces that threads take one after another. What is kept at
 * the end does not hang on how many threads there are, for the order of candidates is a total one.
 *   returns   how many candidates there were */
double dwi_search_all(struct search *search, const struct dw_choice_wish *wish, const struct offer *rc, const struct offer *lc);

/* Every step-th part, from number `from` on, which there is; NULL: no memory. */
struct dw_parts *dwi_parts_every(const struct dw_parts *parts, size_t from, size_t step);

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
