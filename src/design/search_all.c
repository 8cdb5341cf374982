/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The whole of a search: every kind of filter, in pieces, by as many threads as are wanted. */
#include "search_inner.h"
#include <math.h>
#include <pthread.h>
#include <stdlib.h>

/* RC stages out of all parts, or out of every second of the level above: what is found there makes the bounds sharp from the start. */
struct level {
    struct offer rc;
    struct dw_parts *own[4];  /* the offer's lists, but of the first level */
    struct pairs first, behind;     /* of the first stage, and of later ones: none of their own where both would be the same */
};

/* Filters of one kind, and how they are cut. */
struct kind {
    int stages;         /* 0: with a coil */
    struct level *level;
    size_t pieces;      /* of RC stages that are pruned: known when it begins */
    double from, work;  /* of progress, where it begins and how much it is */
};

enum { LEVELS = 5, KINDS = LEVELS * DW_FILTER_STAGES + 1, PIECES = 64 };

/* What the threads have in common. */
struct work {
    struct search *whole;
    const struct offer *lc;
    struct level level[LEVELS];
    struct kind kind[KINDS];
    int levels, kinds;
    double all;               /* of all kinds' work */
    pthread_mutex_t lock;     /* of the whole and of what comes next */
    int next_kind;
    size_t next_piece;
    struct search_box boxes[FRONTIER];  /* pieces of the kind at hand */
};

/* Adds a kind, with what it is expected to cost: of RC stages, of which nearly all are pruned, far less than it has candidates. */
static double add_kind(struct work *work, int stages, struct level *level, double candidates)
{
    struct kind *kind = &work->kind[work->kinds++];
    *kind = (struct kind){ .stages = stages, .level = level, .pieces = PIECES, .from = work->all,
                           .work = stages == 0 ? candidates / 10 : cbrt(candidates) };
    work->all += kind->work;
    return candidates;
}

/* Those of the last level, of which all candidates are, come last. */
static double add_kinds(struct work *work, const struct dw_choice_wish *wish)
{
    const bool damped = wish->task.source > 0 || isfinite(wish->task.load);
    double candidates = 0;
    for (int i = work->levels - 1; i >= 0; i--)
        for (int stages = 1; stages <= DW_FILTER_STAGES; stages++) {
            struct level *level = &work->level[i];
            double all = 0;
            if (level->rc.first && stages >= wish->least_stages && stages <= wish->most_stages)
                all = add_kind(work, stages, level, dwi_rc_candidates(stages, &level->rc));
            if (i == 0 && work->lc->first && stages == 1)
                all += add_kind(work, 0, NULL, dwi_lc_candidates(work->lc, damped));
            candidates += i == 0 ? all : 0;
        }
    return candidates;
}

static void levels_free(struct work *work)
{
    for (int i = 0; i < work->levels; i++) {
        dwi_pairs_free(&work->level[i].first);
        dwi_pairs_free(&work->level[i].behind);
        for (int k = 0; k < 4; k++)
            dw_parts_free(work->level[i].own[k]);
    }
}

/* returns  false: no memory */
static bool level_new(struct level *level, const struct level *above, const struct search *search)
{
    const double *source = search->bounds.source;
    const bool nominal = search->samples.count > 0;
    static const double none[2] = { 0, 0 };
    bool there = true;
    if (above) {
        const struct dw_parts *lists[4] = { above->rc.first, above->rc.second, above->rc.resistors, above->rc.capacitors };
        for (int k = 0; k < 4; k++)
            there = (level->own[k] = dwi_parts_every(lists[k], 0, 2)) && there;
        level->rc = (struct offer){ level->own[0], level->own[1], level->own[2], level->own[3] };
    }
    const struct offer *rc = &level->rc;
    /* unrun: implied */
    const bool same = rc->first == rc->resistors && rc->second == rc->capacitors && !(source[1] > 0);
    if (there && rc->first)
        there = dwi_pairs_new(&level->first, rc->first, rc->second, source, nominal) &&
                (same || dwi_pairs_new(&level->behind, rc->resistors, rc->capacitors, none, nominal));
    return there;
}

/* A front, which many are near, is worth levels. */
static bool levels_new(struct work *work, const struct dw_choice_wish *wish, const struct offer *rc)
{
    work->level[0].rc = *rc;
    bool there = level_new(&work->level[0], NULL, work->whole);
    work->levels = 1;
    while (there && wish->front && !wish->exhaustive && rc->first && work->levels < LEVELS &&
           dwi_rc_candidates(wish->most_stages, &work->level[work->levels - 1].rc) > 1e6) {
        there = level_new(&work->level[work->levels], &work->level[work->levels - 1], work->whole);
        work->levels++;
    }
    return there;
}

static struct space space_of(const struct kind *kind)
{
    const struct level *level = kind->level;
    return (struct space){ kind->stages, &level->first, level->behind.pair ? &level->behind : &level->first };
}

/* A piece that was taken. */
struct search_piece {
    const struct kind *kind;
    size_t number;
    struct search_box box;  /* of RC stages that are pruned */
};

static void look_at_piece(const struct work *work, struct search *search, const struct search_piece *piece)
{
    const struct kind *kind = piece->kind;
    const double each = kind->work / (double)kind->pieces;
    search->share_from = (kind->from + each * (double)piece->number) / work->all;
    search->share_to = (kind->from + each * (double)(piece->number + 1)) / work->all;
    if (kind->stages == 0) {
        dwi_search_lc(search, work->lc, piece->number, kind->pieces);
    } else {
        const struct space space = space_of(kind);
        if (search->exhaustive)
            dwi_search_every(search, &space, piece->number, kind->pieces);
        else
            dwi_search_box(search, &space, &piece->box);
    }
}

/* Takes the next piece; under the lock.
 *   returns  false: there is none left */
static bool take(struct work *work, struct search_piece *piece)
{
    while (work->next_kind < work->kinds) {
        struct kind *kind = &work->kind[work->next_kind];
        if (work->next_piece == 0 && kind->stages > 0 && !work->whole->exhaustive) {
            const struct space space = space_of(kind);
            kind->pieces = dwi_rc_frontier(work->whole, &space, work->boxes);
        }
        if (work->next_piece < kind->pieces) {
            *piece = (struct search_piece){ .kind = kind, .number = work->next_piece, .box = work->boxes[work->next_piece % FRONTIER] };
            work->next_piece++;
            return true;
        }
        work->next_kind++;
        work->next_piece = 0;
    }
    return false;
}

/* Piece after piece, each begun with what all have found so far. */
static void take_part(struct work *work, struct search *own)
{
    struct search_piece piece;
    unsigned long seen = 0;
    pthread_mutex_lock(&work->lock);
    while (!dwi_search_ended(own) && take(work, &piece)) {
        if (own != work->whole)
            seen = dwi_search_join(own, work->whole, seen);
        const unsigned long begun = own->changes;
        pthread_mutex_unlock(&work->lock);
        look_at_piece(work, own, &piece);
        pthread_mutex_lock(&work->lock);
        if (own != work->whole)
            dwi_search_join(work->whole, own, begun);
    }
    pthread_mutex_unlock(&work->lock);
}

struct helper {
    pthread_t thread;
    struct work *work;
    struct search search;
};

static void *help(void *context)
{
    struct helper *helper = context;
    take_part(helper->work, &helper->search);
    return NULL;
}

/* A search like the whole, with nothing kept yet. */
static struct search like(const struct search *whole)
{
    struct search own = *whole;
    own.kept = NULL;
    own.samples.room = NULL;
    own.count = own.allocated = 0;
    own.evaluations = 0;
    return own;
}

static void leave(struct work *work, struct search *own)
{
    work->whole->evaluations += own->evaluations;
    work->whole->no_memory = work->whole->no_memory || own->no_memory;
    work->whole->stopped = own->stopped;  /* that of the caller's thread, which alone is asked and leaves last */
    dwi_search_free(own);
}

/* With helpers beside the caller's thread; where none can be had it goes on with those there are. */
static void share_out(struct work *work, int jobs)
{
    struct helper *helpers = calloc((size_t)jobs, sizeof *helpers);
    atomic_bool halt = false;
    int there = 0;
    work->whole->halt = &halt;
    struct search own = like(work->whole);
    for (int i = 1; i < jobs && helpers; i++) {
        struct helper *helper = &helpers[there];
        *helper = (struct helper){ .work = work, .search = own };
        helper->search.progress = NULL;
        if (pthread_create(&helper->thread, NULL, help, helper) != 0)
            break;
        there++;
    }
    take_part(work, &own);
    for (int i = 0; i < there; i++)
        pthread_join(helpers[i].thread, NULL);
    for (int i = 0; i < there; i++)
        leave(work, &helpers[i].search);
    leave(work, &own);
    work->whole->halt = NULL;
    free(helpers);
}

double dwi_search_all(struct search *search, const struct dw_choice_wish *wish, const struct offer *rc, const struct offer *lc)
{
    const double enough = 100;  /* work; with less, threads take longer to begin */
    struct work work = { .whole = search, .lc = lc, .lock = PTHREAD_MUTEX_INITIALIZER };
    double candidates = 0;
    search->no_memory = !levels_new(&work, wish, rc);
    if (!search->no_memory)
        candidates = add_kinds(&work, wish);
    if (wish->jobs > 1 && work.all > enough)
        share_out(&work, wish->jobs);
    else
        take_part(&work, search);
    search->share_to = 1;
    dwi_search_tell(search, 1);
    levels_free(&work);
    return candidates;
}
