/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Choosing parts that smooth a switched pin: rungs of resistors and capacitors, or a coil with capacitors, out of what one
 * can buy. docs/theory.md, section 6. */
#ifndef DUTYWRIGHT_DESIGN_H
#define DUTYWRIGHT_DESIGN_H

#include <dutywright/status.h>
#include <dutywright/value.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

/* ---- parts on offer ---- */

/* Values between which no product of a filter's parts, nor its square, leaves what a double holds; also of frequency, source, load
 * (its least) and insulation (its least). */
#define DW_PART_LEAST 1e-12
#define DW_PART_MOST 1e12
/* s, of esr in struct dw_filter_task: a loss angle of 45 degrees at 16 Hz */
#define DW_ESR_MOST 0.01

struct dw_part {
    double value;   /* ohm, F or H, from DW_PART_LEAST to DW_PART_MOST; 0: the part is not there */
    double spread;  /* tolerance as a share: 0.05 is 5 % either way; 0 <= spread < 1 */
    double price;   /* of one, any currency; NaN: not known */
};

struct dw_parts;  /* a list, ascending by value */

/* Preferred values.
 *   series           3, 6, 12, 24, 48, 96 or 192
 *   lowest, highest  both inclusive, from DW_PART_LEAST to DW_PART_MOST
 *   spread           of each
 *   returns          NULL with DW_BAD_USE (no such series, no such range, no value in it, spread outside 0..1) or
 *                    DW_NO_MEMORY
 *   source           IEC 60063, dw_preferred_range */
DW_API struct dw_parts *dw_parts_series(int series, double lowest, double highest, double spread, struct dw_error *error);

/* A stock list: a text file, one part a line: its value, then its tolerance (with %) and its price (a plain number) if they
 * are known, separated by blanks. Empty lines, and what stands behind #, are skipped.
 *   kind             DW_RESISTANCE, DW_CAPACITANCE or DW_INDUCTANCE
 *   lowest, highest  parts outside are left out; 0 and INFINITY: none is
 *   spread           where a line has none
 *   returns          NULL with DW_BAD_INPUT (no such file; a line that does not read, named in the text; a value out of
 *                    reach; nothing in the range), DW_SYSTEM (the disk failed), DW_BAD_USE or DW_NO_MEMORY */
DW_API struct dw_parts *dw_parts_read(const char *path, enum dw_quantity kind, double lowest, double highest, double spread,
                                      struct dw_error *error);
/* A list of one's own, in any order; of parts of one value the one of smallest spread is kept.
 *   part      [count], copied
 *   returns   NULL with DW_BAD_USE (none; a value out of reach, a spread outside 0..1, a price below zero, named by its
 *             number from 1) or DW_NO_MEMORY */
DW_API struct dw_parts *dw_parts_new(const struct dw_part *part, size_t count, struct dw_error *error);
DW_API void dw_parts_free(struct dw_parts *parts);
DW_API size_t dw_parts_count(const struct dw_parts *parts);
/*   i   counted from 0, below the count */
DW_API struct dw_part dw_parts_get(const struct dw_parts *parts, size_t i);

/* ---- a filter and what it does ---- */

enum { DW_FILTER_STAGES = 3 };

/* Either RC stages, r[0] c[0] r[1] c[1] ..., or one stage with a coil: r[0] (0: none) in series with l, then c[0], and beside
 * it rd and cd in series (both 0: none). */
struct dw_filter {
    int stages;  /* 1 to DW_FILTER_STAGES; 1 with a coil */
    struct dw_part r[DW_FILTER_STAGES], c[DW_FILTER_STAGES];
    struct dw_part l;  /* value 0: RC stages */
    struct dw_part rd, cd;
};

/* What is driven, and what is asked of the filter. All limits hold for the worst case of the parts' and the load's spreads. A pin of two
 * resistances ripples as with the smaller all the time and settles and loads as with the larger; nominal figures, and filters with
 * a coil, have their mean. */
struct dw_filter_task {
    double frequency;  /* Hz, of the pulses */
    double high, low;  /* V, of the pin, high > low */
    long levels;       /* steps of duty, 1 lsb = (high - low) / levels; >= 2 */
    double duty;       /* 0 < duty <= 1: the ripple is that at it, settling goes from 0 to it; NaN: the largest ripple of all
                          k / levels, settling from 0 to 1 */
    double source;     /* ohm, of the pin itself; >= 0 */
    double source_low; /* ohm, of the pin while it is low; 0: the same */
    double load;       /* ohm, from the output to ground; INFINITY: none */
    double load_spread;  /* tolerance of the load, share; 0 <= load_spread < 1 */
    double insulation; /* s, capacitance times insulation resistance of each capacitor; 0: none leaks. That of cd and its share of the
                          pin's current are left out */
    double esr;        /* s, capacitance times effective series resistance of each capacitor, a loss angle's tangent over the
                          angular frequency it is told at; 0: none, DW_ESR_MOST at most. That of cd counts in rd, and what it
                          takes off an RC filter's pin current is left out */
    double band;       /* of settling: share of the change, 0 < band < 1 */
    /* limits, > 0; INFINITY: none */
    double ripple;        /* V, peak to peak */
    double settling;      /* s */
    double overshoot;     /* furthest mean beyond the last, share of the change; RC stages have none */
    double loading;       /* share by which source, load and leakage lower the mean: the error of the gain */
    double pin_current;   /* A, peak, from rest on */
    double coil_current;  /* A, peak, from rest on; only where there is a coil */
};

/* settling, overshoot and pin_current are INFINITY where a coil rings on that hardly anything damps, in step with the pulses, and
 * 100,000 of its turns did not show them. */
struct dw_filter_figures {
    double ripple;        /* V, peak to peak */
    double duty;          /* where: the duty asked or the worst */
    double settling;      /* s: of the mean over the period just ended, as dw_settling measures it */
    bool settling_at_most; /* settled with its first mean: the time is one period, an upper bound */
    double overshoot;
    double loading;
    double pin_current;   /* A, peak: from rest, nothing charged, or from duty 0 settled, to fully on (or to the duty asked),
                             and in the steady state */
};

/* DW_OK, or DW_BAD_USE: a field is outside its range. error may be NULL. */
DW_API enum dw_status dw_filter_task_check(const struct dw_filter_task *task, struct dw_error *error);

/* Figures of a filter whose parts have just these values.
 *   figures   out; untouched on error
 *   returns   DW_OK; DW_BAD_USE: a field outside its range, parts that make no filter of the two kinds; DW_NO: a coil that
 *             nothing damps
 *   source    docs/theory.md, (6.1) to (6.16), (6.19) to (6.24)
 *   accuracy  ripple: 1e-14 / d relative for one and two RC stages, else 1e-15 / d of the pulse's height; times 1e-14 / d of the
 *             slowest time constant; d is the relative distance of the nearest two poles (for RC stages above 1e-2 in all
 *             but freak cases); with a coil never worse than 1e-10 */
DW_API enum dw_status dw_filter_nominal(const struct dw_filter_task *task, const struct dw_filter *filter,
                                        struct dw_filter_figures *figures, struct dw_error *error);

/* The same, each figure at its worst within the spreads; duty is that of the largest ripple.
 *   exact     out: true: the worst there is, at a corner that is proved to be it (theory, 6.2), or no part has a spread;
 *             false: the worst of all corners, the points half way between them, and a search around the worst of these */
DW_API enum dw_status dw_filter_worst(const struct dw_filter_task *task, const struct dw_filter *filter,
                                      struct dw_filter_figures *figures, bool *exact, struct dw_error *error);

struct dw_filter_currents {
    double coil;                                /* A, peak to peak in the coil; 0: none */
    double capacitor[DW_FILTER_STAGES];         /* A, rms, of each c; what their rating must bear */
    double damping;                             /* A, rms, of cd */
    double resistor[DW_FILTER_STAGES], rd;      /* W, mean */
};

/* How far a pin of two resistances bends the mean, V: the largest distance, over all duties, from the straight line between the outputs of
 * duty 0 and 1; nominal values.
 *   bend      out
 *   returns   DW_OK or DW_BAD_USE
 *   source    (6.32), the limit of pulses that are fast against the first stage
 *   accuracy  the share (period / (r[0] c[0]))^2 of it; with a coil the square of its current's ripple over its mean */
DW_API enum dw_status dw_filter_nonlinearity(const struct dw_filter_task *task, const struct dw_filter *filter, double *bend,
                                             struct dw_error *error);

/* Steady currents at a duty, nominal values.
 *   source    integral of the square over the periodic orbit of the ladder: dw_ladder_system, dw_system_integrals; (6.18)
 *   accuracy  1e-9, where a capacitor takes more than 1e-3 of what goes on behind it */
DW_API enum dw_status dw_filter_steady_currents(const struct dw_filter_task *task, const struct dw_filter *filter, double duty,
                                                struct dw_filter_currents *currents, struct dw_error *error);

/* Where the response has fallen by 3 dB from that at frequency zero, the highest such with a coil.
 *   cutoff    out, Hz; INFINITY: it never falls so far, for series resistances of capacitors
 *   returns   DW_OK; DW_BAD_USE: no task or no filter; DW_NO_MEMORY
 *   accuracy  1e-13 times the quality of a coil's resonance */
DW_API enum dw_status dw_filter_cutoff(const struct dw_filter_task *task, const struct dw_filter *filter, double *cutoff,
                                       struct dw_error *error);

/* The parts of the worst energy decide how large a filter is: 1 small, up to 5 uJ in each capacitor (CV^2/2 at the highest
 * voltage) and coil (LI^2/2 at the peak current); 2 medium, up to 500 uJ; 3 large. Common practice has no source for it: a
 * rule of ours, at which chip, film or box, and electrolytic parts begin at 5 V. */
DW_API int dw_filter_size(const struct dw_filter_task *task, const struct dw_filter *filter, double peak_current);

/* The pin's resistance in ohm that a nominal filter has: the mean of that while high and that while low. */
DW_API double dw_filter_source(const struct dw_filter_task *task);
/* How many parts; their price together (NaN where one is not known). */
DW_API int dw_filter_parts(const struct dw_filter *filter);
DW_API double dw_filter_price(const struct dw_filter *filter);

/* ---- Monte Carlo ---- */

/* Which samples are drawn. One is the same whoever draws it, so that parts of a run can be drawn elsewhere and their counts added. */
struct dw_yield_samples {
    uint64_t seed;                   /* any */
    unsigned long long first, count; /* counted from 0; 1 to 2^40 of them */
    double confidence;               /* of the interval: 0.95 for 95 % */
};

struct dw_yield {
    unsigned long long samples, good;
    double share, least, most;  /* good / samples, and the ends of its confidence interval */
};

/* The share of filters that keep all limits if each part is spread evenly over its tolerance, independently.
 *   yield     out; untouched on error
 *   returns   DW_OK or DW_BAD_USE: no task or no filter, samples or a confidence that cannot be
 *   source    draws: Philox 4x32-10, Salmon et al. 2011, Parallel random numbers: as easy as 1, 2, 3 (SC11); interval: Clopper
 *             and Pearson 1934, Biometrika 26:404, by the beta distribution
 *   accuracy  of the interval's ends: 1e-15 sqrt(samples) */
DW_API enum dw_status dw_filter_yield(const struct dw_filter_task *task, const struct dw_filter *filter, const struct dw_yield_samples *samples,
                                      struct dw_yield *yield, struct dw_error *error);
/* How many of so many samples must be good for the interval to begin no lower than a share.
 *   share     0 < share < 1; samples, confidence as above
 *   needed    out, the least such count; untouched on error
 *   returns   DW_OK, or DW_BAD_USE: as above; a share outside 0..1; no number of them is enough, and how many samples would be
 *   source    the interval of dw_yield_interval, which rises with the count: bisection; exact */
DW_API enum dw_status dw_yield_needed(double share, unsigned long long samples, double confidence, unsigned long long *needed,
                                      struct dw_error *error);
/* The interval alone, for counts that were added. */
DW_API enum dw_status dw_yield_interval(unsigned long long good, unsigned long long samples, double confidence,
                                        struct dw_yield *yield, struct dw_error *error);

/* ---- choosing ---- */

enum dw_choice_rank {
    DW_RANK_PARTS,     /* fewest parts; then as DW_RANK_MARGIN, but with a limit on one of ripple and settling only the other
                          of the two before all */
    DW_RANK_MARGIN,    /* largest share of any limit that is used up; among equals that of ripple and settling, or the one of
                          them that has no limit */
    DW_RANK_RIPPLE,
    DW_RANK_SETTLING,
    DW_RANK_PRICE
};

enum { DW_CHOICE_SAMPLES = 100000 };

struct dw_choice_wish {
    struct dw_filter_task task;
    const struct dw_parts *resistors, *capacitors;  /* of RC stages; capacitors also beside a coil */
    const struct dw_parts *coils;                   /* NULL: no filter with a coil */
    const struct dw_parts *dampers;                 /* resistors beside a coil: r and rd; NULL: none */
    int least_stages, most_stages;  /* RC stages, 1 to DW_FILTER_STAGES; both 0: no RC filter */
    enum dw_choice_rank rank;
    bool front;                     /* instead of the best: all that no other beats in both ripple and settling */
    size_t best;                    /* how many, >= 1 */
    bool exhaustive;                /* look at every candidate: slower, same answer */
    double yield;                   /* 0: all limits hold for the worst case. Else for the nominal values and for so many of `samples`
                                       samples of dw_filter_yield that its 95 % interval begins at this share or above; each figure,
                                       and the margin, is then the largest of as many samples, the best by it, and of the nominal
                                       values. 0 < yield < 1 */
    unsigned long long samples;     /* with yield: 1 to DW_CHOICE_SAMPLES */
    uint64_t seed;
    double ripple_unit;             /* V, in which a remedy's ripple has its three digits; 0: 1 V */
    int shard, shards;              /* only the shard-th part (from 1) of the candidates, of so many; 0, 0: all */
    int jobs;                       /* threads, the caller's counted; 0: one. The answer is the same to the bit */
    bool (*progress)(void *context, double share);  /* called now and then, by the caller's thread; false ends the search; may be
                                                       NULL */
    void *context;
};

struct dw_choice {
    struct dw_filter filter;
    struct dw_filter_figures nominal, worst;
    bool exact;      /* of worst, as in dw_filter_worst; false with a yield */
    double margin;   /* largest share of any limit that is used up; fits: <= 1 */
    double price;
    int parts, size;
};

struct dw_choices;

/* The best filters of a wish, ranked.
 *   choices   out; to be freed also after DW_NO
 *   returns   DW_OK; DW_NO: nothing fits: the only choice is the nearest miss, that of the smallest margin (none where no
 *             candidate exists at all); DW_END: progress said to stop; DW_BAD_USE; DW_NO_MEMORY
 *   source    branch and bound; safe since ripple falls and settling rises with each resistance and capacitance of RC stages
 *             (theory, 6.2), and since the worst case of a filter with a coil is no better than the nominal one
 *   Candidates with a coil are: no damping branch (where source or load damp); r within a factor 3 of sqrt(l/c); cd from c to
 *   10 c with rd within a factor 3 of the value of least peak impedance (Erickson and Maksimovic, Fundamentals of Power
 *   Electronics, 2001, 10.4.1). Scores that agree to 1e-9 are equal: then the smaller size, the smaller resistance, the
 *   smaller capacitance, the smaller values decide. */
DW_API enum dw_status dw_choose(const struct dw_choice_wish *wish, struct dw_choices **choices, struct dw_error *error);
DW_API void dw_choices_free(struct dw_choices *choices);
DW_API size_t dw_choices_count(const struct dw_choices *choices);
DW_API const struct dw_choice *dw_choices_get(const struct dw_choices *choices, size_t i);
/* How many candidates there were, and how often ripple or settling of one or of a bound was computed. */
DW_API double dw_choices_candidates(const struct dw_choices *choices);
DW_API double dw_choices_evaluations(const struct dw_choices *choices);

/* Puts choices of several shards, or any, into one ranking, as if found at once. */
DW_API enum dw_status dw_choices_merge(const struct dw_choice_wish *wish, const struct dw_filter *filters, size_t count,
                                       struct dw_choices **choices, struct dw_error *error);

/* One change to a wish that makes something fit. */
enum dw_remedy_kind {
    DW_REMEDY_FREQUENCY,  /* value: frequency, Hz */
    DW_REMEDY_STAGES,     /* value: RC stages */
    DW_REMEDY_RIPPLE,     /* value: limit, V; the next ones likewise, each in its unit */
    DW_REMEDY_SETTLING,
    DW_REMEDY_OVERSHOOT,
    DW_REMEDY_LOADING,
    DW_REMEDY_PIN,
    DW_REMEDY_COIL_CURRENT
};
enum { DW_REMEDIES = 8 };
struct dw_remedy {
    enum dw_remedy_kind kind;
    double value;             /* three digits, rounded to the side that fits; a ripple: of the wish's ripple_unit */
    struct dw_choice choice;  /* the best one of fewest parts then */
};

/* What would make a wish fit that nothing fits, each by itself, and each tried by dw_choose just as it is told.
 *   remedies  out, [DW_REMEDIES], one of each kind at most
 *   count     out */
DW_API enum dw_status dw_choice_remedies(const struct dw_choice_wish *wish, struct dw_remedy *remedies, size_t *count,
                                        struct dw_error *error);

#ifdef __cplusplus
}
#endif
#endif
