/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Memory that runs out: the linker sends a program's malloc and calloc here, where it is linked with --wrap=malloc,--wrap=calloc. Of such a
 * program one file includes this. */
#ifndef TESTS_FAILING_H
#define TESTS_FAILING_H

#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>

/* Those of all threads are counted while they are watched. */
static struct {
    bool watched, all_after;
    atomic_size_t seen;
    size_t fails_at;
} allocations;

/* From now on the allocation of this number fails, and with it all that follow, or it alone; 0 and it alone: none does. */
static inline void watch_allocations(size_t fails_at, bool all_after)
{
    allocations.seen = 0;
    allocations.fails_at = fails_at;
    allocations.all_after = all_after;
    allocations.watched = true;
}

static bool fails(void)
{
    if (!allocations.watched)
        return false;
    const size_t now = ++allocations.seen;
    return now == allocations.fails_at || (allocations.all_after && now > allocations.fails_at);
}

void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);

void *__wrap_malloc(size_t size)
{
    return fails() ? NULL : __real_malloc(size);
}

void *__wrap_calloc(size_t count, size_t size)
{
    return fails() ? NULL : __real_calloc(count, size);
}

#endif
