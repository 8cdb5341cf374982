/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-choose --merge: what its shards wrote. Not installed. */
#ifndef PROGRAMS_CHOOSE_PILE_H
#define PROGRAMS_CHOOSE_PILE_H

#include "choose.h"
#include <jansson.h>

/* One line that was read; all but `place` belong to `root`. */
struct choose_shard {
    char *place;  /* file and line, for messages */
    json_t *root;
    const char *made_by, *version, *work;
    json_t *request, *lists[PARTS], *found;
    int number, of;
};

struct choose_pile {
    struct choose_shard *shard;
    size_t count, room;
};

/* Reads files of any number of lines each, and checks that they are all the shards of one request, each once.
 *   pile    empty; to be freed also after an error
 *   files   [count], "-" for standard input; none: standard input */
enum dw_status choose_pile_read(struct choose_pile *pile, const char *const *files, size_t count, struct dw_error *error);
void choose_pile_free(struct choose_pile *pile);

/* The command line that the shards were given, with this one's options of the report behind it: to be freed, its words not.
 * NULL: no memory.
 *   whole   out, how many words it has */
char **choose_pile_line(const struct choose_pile *pile, const struct command *command, int *whole);

/* What the shards found, and the lists that they chose from, into options that are otherwise read.
 *   merged  empty; to be freed also after an error */
enum dw_status choose_pile_gather(const struct choose_pile *pile, struct choose_options *o, struct choose_merged *merged,
                                  struct dw_error *error);

#endif
