/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <dutywright/counter.h>
#include <math.h>
#include <stdlib.h>

/* Counting up, n steps take n counts and the largest is n - 1; up and down, 2 n counts and n: so both ways
 * frequency = clock / (prescale w n), with w = 1 or 2. (1.1), (1.2) */
struct way {
    enum dw_counting counting;
    double w;
    unsigned long long fewest, most;  /* steps within the counter's reach */
};

static struct way way_of(const struct dw_counter_wish *wish, enum dw_counting counting)
{
    const unsigned long long largest = (1ull << wish->bits) - 1;
    const bool up = counting == DW_COUNT_UP;
    const unsigned long long fewest = up ? 2 : 1;
    return (struct way){ counting, up ? 1 : 2, wish->levels > fewest ? wish->levels : fewest, up ? largest + 1 : largest };
}

static bool has_way(const struct dw_counter_wish *wish, enum dw_counting counting)
{
    return counting == DW_COUNT_UP ? wish->up : wish->up_down;
}

static enum dw_status check(const struct dw_counter_wish *wish, struct dw_error *error)
{
    if (!(wish->clock > 0 && isfinite(wish->clock)))
        return dw_error_member(error, "clock", "a clock of %g Hz: it must be above zero", wish->clock);
    if (wish->prescale_count < 1)
        return dw_error_member(error, "prescale", "no prescale: there must be one at least, 1 for none");
    for (size_t i = 0; i < wish->prescale_count; i++)
        if (wish->prescales[i] < 1 || wish->prescales[i] > 1ull << 32)
            return dw_error_member(error, "prescale", "a prescale of %llu: it must be a whole number from 1 to %llu",
                                   wish->prescales[i], 1ull << 32);
    if (wish->bits < 1 || wish->bits > 32)
        return dw_error_member(error, "bits", "a counter of %d bits: it must have from 1 to 32", wish->bits);
    if (!wish->up && !wish->up_down)
        return dw_error_member(error, "counting", "a counter that counts no way: it must count up, or up and down");
    if (!(wish->frequency >= 0 && isfinite(wish->frequency)))
        return dw_error_member(error, "frequency", "a wanted frequency of %g Hz: it must be above zero", wish->frequency);
    if (wish->levels < 1)
        return dw_error_member(error, "levels", "0 levels: there must be one at least");
    if (!(wish->within >= 0))
        return dw_error_member(error, "within", "an error within %g: it must be zero or above", wish->within);
    return DW_OK;
}

static struct dw_counter_setting setting_of(const struct dw_counter_wish *wish, const struct way *way,
                                            unsigned long long prescale, unsigned long long steps)
{
    struct dw_counter_setting setting = { .counter = { .clock = wish->clock, .prescale = prescale, .counting = way->counting,
                                                       .largest = way->counting == DW_COUNT_UP ? steps - 1 : steps },
                                          .steps = steps };
    setting.frequency = dw_counter_frequency(&setting.counter);
    setting.error = wish->frequency > 0 ? (setting.frequency - wish->frequency) / wish->frequency : 0;
    return setting;
}

/* The better of the two counts on either side of the exact one, as far as the counter reaches. */
static struct dw_counter_setting nearest(const struct dw_counter_wish *wish, const struct way *way,
                                         unsigned long long prescale)
{
    const double exact = wish->frequency > 0 ? wish->clock / ((double)prescale * way->w * wish->frequency) : 0;
    const double low = fmin(fmax(floor(exact), (double)way->fewest), (double)way->most);
    const double high = fmin(low + 1, (double)way->most);
    const struct dw_counter_setting below = setting_of(wish, way, prescale, (unsigned long long)low);
    const struct dw_counter_setting above = setting_of(wish, way, prescale, (unsigned long long)high);
    return wish->frequency > 0 && fabs(above.error) <= fabs(below.error) ? above : below;
}

static int better(const void *a, const void *b)
{
    const struct dw_counter_setting *one = a, *other = b;
    const double errors = fabs(one->error) - fabs(other->error), frequencies = other->frequency - one->frequency;
    if (errors != 0)
        return errors < 0 ? -1 : 1;
    if (one->steps != other->steps)
        return one->steps > other->steps ? -1 : 1;
    if (frequencies != 0)  /* where no frequency is wanted */
        return frequencies < 0 ? -1 : 1;
    if (one->counter.prescale != other->counter.prescale)
        return one->counter.prescale < other->counter.prescale ? -1 : 1;
    return (int)one->counter.counting - (int)other->counter.counting;
}

enum dw_status dw_counter_settings(const struct dw_counter_wish *wish, struct dw_counter_setting *settings, size_t *count,
                                   struct dw_error *error)
{
    const enum dw_status status = check(wish, error);
    *count = 0;
    if (status != DW_OK)
        return status;
    if (wish->frequency == 0 && wish->levels < 2)
        return dw_error_set(error, DW_BAD_USE, 0, "neither frequency nor levels are wanted: give one");
    for (int counting = DW_COUNT_UP; counting <= DW_COUNT_UP_DOWN; counting++) {
        const struct way way = way_of(wish, (enum dw_counting)counting);
        for (size_t i = 0; has_way(wish, way.counting) && way.fewest <= way.most && i < wish->prescale_count; i++) {
            settings[*count] = nearest(wish, &way, wish->prescales[i]);
            *count += fabs(settings[*count].error) <= wish->within;
        }
    }
    qsort(settings, *count, sizeof *settings, better);
    return *count ? DW_OK : dw_error_set(error, DW_NO, 0, "no setting of the counter fits");
}

/* One wish with something changed, tried. */
struct trial {
    struct dw_counter_setting *settings;  /* [2 prescale_count] */
    struct dw_counter_change *changes;
    size_t *count;
};

/* Keeps a change that works. */
static bool try(struct trial *trial, const struct dw_counter_wish *wish, enum dw_counter_change_kind kind, double value)
{
    size_t found;
    if (dw_counter_settings(wish, trial->settings, &found, NULL) != DW_OK)
        return false;
    trial->changes[(*trial->count)++] = (struct dw_counter_change){ kind, value, trial->settings[0] };
    return true;
}

/* Changes that follow from the setting nearest to the wanted frequency, whatever its error. */
static void try_nearest(struct trial *trial, const struct dw_counter_wish *wish)
{
    struct dw_counter_wish changed = *wish;
    size_t found;
    changed.within = INFINITY;
    if (dw_counter_settings(&changed, trial->settings, &found, NULL) != DW_OK)
        return;
    const struct dw_counter_setting nearest = trial->settings[0];
    changed = *wish;
    changed.frequency = nearest.frequency;
    try(trial, &changed, DW_CHANGE_FREQUENCY, changed.frequency);
    changed = *wish;
    changed.within = fabs(nearest.error);
    try(trial, &changed, DW_CHANGE_WITHIN, changed.within);
    changed = *wish;
    changed.clock = wish->frequency * (double)nearest.counter.prescale * (double)dw_counter_counts(&nearest.counter);
    try(trial, &changed, DW_CHANGE_CLOCK, changed.clock);
}

/* The most steps: as slow as `within` allows. */
static void try_levels(struct trial *trial, const struct dw_counter_wish *wish)
{
    struct dw_counter_wish changed = *wish;
    unsigned long long most = 0;
    changed.levels = 1;
    for (int counting = DW_COUNT_UP; counting <= DW_COUNT_UP_DOWN; counting++) {
        const struct way way = way_of(&changed, (enum dw_counting)counting);
        for (size_t i = 0; has_way(wish, way.counting) && i < wish->prescale_count; i++) {
            const double slowest = wish->frequency * (1 - fmin(wish->within, 1));
            const double room = wish->clock / ((double)wish->prescales[i] * way.w * slowest);  /* infinite at 0 */
            const unsigned long long steps = (unsigned long long)fmin(room, (double)way.most);
            if (steps >= way.fewest && steps > most
                && fabs(setting_of(wish, &way, wish->prescales[i], steps).error) <= wish->within)
                most = steps;
        }
    }
    changed.levels = most;
    if (most > 0 && most < wish->levels)  /* unrun: implied */
        try(trial, &changed, DW_CHANGE_LEVELS, (double)most);
}

static void try_bits(struct trial *trial, const struct dw_counter_wish *wish)
{
    struct dw_counter_wish changed = *wish;
    while (changed.bits < 32) {
        changed.bits++;
        if (try(trial, &changed, DW_CHANGE_BITS, changed.bits))
            return;
    }
}

/* Smallest prescale, one of `tries` from the first that brings the count within the counter, that works for one way. */
static bool try_prescales(struct trial *trial, const struct dw_counter_wish *wish, const struct way *way, double first)
{
    static const int tries = 4096;
    const double last = fmin(fmin(first + tries, 0x1p32), wish->clock / (way->w * wish->frequency * (double)way->fewest) + 1);
    for (double value = first; value <= last; value++) {
        const unsigned long long prescale = (unsigned long long)value;
        struct dw_counter_wish changed = *wish;
        changed.prescales = &prescale;
        changed.prescale_count = 1;
        if (try(trial, &changed, DW_CHANGE_PRESCALE, value))
            return true;
    }
    return false;
}

/* The smaller prescale of both ways of counting: it has more steps. */
static void try_prescale(struct trial *trial, const struct dw_counter_wish *wish)
{
    const size_t before = *trial->count;
    for (int counting = DW_COUNT_UP; counting <= DW_COUNT_UP_DOWN; counting++) {
        const struct way way = way_of(wish, (enum dw_counting)counting);
        if (!has_way(wish, way.counting) || way.fewest > way.most)  /* unrun: implied */
            continue;
        const double first = fmax(ceil(wish->clock / (way.w * wish->frequency * (double)way.most)), 1);
        const bool second = *trial->count > before;
        const struct dw_counter_change other = second ? trial->changes[before] : (struct dw_counter_change){ 0 };
        *trial->count = before;
        const bool works = try_prescales(trial, wish, &way, first);
        if (second && (!works || other.value <= trial->changes[before].value))  /* unrun: half-prescale */
            trial->changes[before] = other;
        *trial->count = before + (works || second);  /* unrun: half-prescale */
    }
}

enum dw_status dw_counter_changes(const struct dw_counter_wish *wish, struct dw_counter_change *changes, size_t *count,
                                  struct dw_error *error)
{
    const enum dw_status status = check(wish, error);
    *count = 0;
    if (status != DW_OK)
        return status;
    struct trial trial = { calloc(2 * wish->prescale_count, sizeof *trial.settings), changes, count };
    if (!trial.settings)
        return dw_error_set(error, DW_NO_MEMORY, 0, "no memory for %zu prescales", wish->prescale_count);
    if (wish->frequency > 0)
        try_nearest(&trial, wish);
    try_levels(&trial, wish);
    try_bits(&trial, wish);
    if (wish->frequency > 0)
        try_prescale(&trial, wish);
    free(trial.settings);
    return DW_OK;
}
