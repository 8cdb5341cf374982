/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Wherever memory runs out inside the library, it says so and keeps nothing: each allocation of each job below is made to
 * fail, alone and with all after it. */
#include "jobs.h"
#include "suite.h"
#include <dutywright/counter.h>
#include <dutywright/design.h>
#include <dutywright/law.h>
#include <dutywright/margins.h>
#include <dutywright/measure.h>
#include <dutywright/pulse.h>
#include <dutywright/spectrum.h>
#include <dutywright/splice.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* ---- an allocator that fails when told; a sanitizer has one of its own, and then this tries nothing ---- */

#if defined(__SANITIZE_ADDRESS__)
#define OWN_ALLOCATOR 0
#elif defined(__has_feature)
#if __has_feature(address_sanitizer) || __has_feature(memory_sanitizer)
#define OWN_ALLOCATOR 0
#else
#define OWN_ALLOCATOR 1
#endif
#else
#define OWN_ALLOCATOR 1
#endif

static struct {
    bool watching;
    long at, count, failed, live; /* at: the first that fails, 0 none */
    bool after;                   /* and all that follow */
} memory;

#if OWN_ALLOCATOR
/* NOLINTBEGIN(bugprone-reserved-identifier): what the C library calls them */
void *__libc_malloc(size_t size);
void *__libc_calloc(size_t count, size_t size);
void *__libc_realloc(void *old, size_t size);
void __libc_free(void *block);
/* NOLINTEND(bugprone-reserved-identifier) */

static bool fails(void)
{
    if (!memory.watching)
        return false;
    memory.count++;
    const bool failing = memory.at && (memory.after ? memory.count >= memory.at : memory.count == memory.at);
    memory.failed += failing;
    if (failing)
        errno = ENOMEM;
    return failing;
}

static void *counted(void *block)
{
    memory.live += memory.watching && block;
    return block;
}

/* the C library's own calls come here too */
#pragma GCC visibility push(default)
void *malloc(size_t size)
{
    return fails() ? NULL : counted(__libc_malloc(size));
}

void *calloc(size_t count, size_t size)
{
    return fails() ? NULL : counted(__libc_calloc(count, size));
}

void *realloc(void *old, size_t size)
{
    if (fails())
        return NULL;
    void *block = __libc_realloc(old, size);
    return old ? block : counted(block);
}

void free(void *block)
{
    memory.live -= memory.watching && block;
    __libc_free(block);
}
#pragma GCC visibility pop
#endif

/* ---- the jobs: whatever they do, they free what they hold ---- */

/* The facts are those of the text, also behind a call that failed: a channel's value stands there under its name. */
static void check_facts(const struct dw_header *header)
{
    for (size_t i = 0; header && i < dw_header_columns(header); i++) {
        const char *text = dw_header_get(header, "initial"), *name = dw_header_column(header, i).name;
        if (isnan(dw_header_channel_facts(header, i)->initial) || (text && strstr(text, name)))
            continue;
        memory.watching = false; /* a complaint takes memory */
        ck_abort_msg("initial: %s has a value, and the text is '%s'", name, text ? text : "");
    }
}

static enum dw_status headers(struct dw_error *error)
{
    enum dw_status status = DW_OK;
    struct dw_header *header = dw_header_new("time", "s", error), *copy = NULL, *picked = NULL, *derived = NULL;
    if (MADE(header) && RIGHT(dw_header_append(header, "pin", "V", error)) && RIGHT(dw_header_append(header, "pin", "V", error)) &&
        RIGHT(dw_header_append(header, "current", "A", error)) && RIGHT(dw_header_add(header, "made-by", "hand", error)) &&
        RIGHT(dw_header_add(header, "made-by", "another", error)) && RIGHT(dw_header_set(header, "levels", "0 5", error)) &&
        RIGHT(dw_header_set(header, "levels", "0 3.3", error)) && RIGHT(dw_header_set_number(header, "period", 0.25, error)) &&
        RIGHT(dw_header_set_initial(header, 1, 1.5, error)) && RIGHT(dw_header_set_initial(header, 3, 0.25, error)) &&
        RIGHT(dw_header_set_accuracy(header, 3, 1e-6, 1e-5, error)) &&
        RIGHT(dw_header_rename(header, 3, "coil", NULL, error)) && MADE(copy = dw_header_copy(header, error)) &&
        MADE(picked = dw_header_select(header, (const size_t[]){ 3, 1 }, 2, error)) &&
        MADE(derived = dw_header_derive(header, DW_OTHER_START, "a filter", error)) && RIGHT(dw_header_set_accuracy(copy, 3, 1e-3, 1e-3, error)))
        status = dw_header_join(header, copy, 1, error);
    check_facts(header);
    dw_header_free(header);
    dw_header_free(copy);
    dw_header_free(picked);
    dw_header_free(derived);
    return status;
}

static enum dw_status read_to(const char *input, int out, enum dw_encoding encoding, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    struct dw_reader *reader = dw_reader_open(input, NULL, error);
    struct dw_writer *writer = NULL;
    if (MADE(reader))
        writer = dw_writer_open(out, dw_reader_header(reader), encoding, error);
    if (reader && MADE(writer))
        status = write_all(reader, writer, error);
    dw_writer_free(writer);
    dw_reader_close(reader);
    return status;
}

/* Files, each a table; they are made before anything fails. */
char ours[] = "ours-XXXXXX", curved[] = "curved-XXXXXX";
static char foreign[] = "foreign-XXXXXX";

static void make_file(char *path, const char *text)
{
    const int file = mkstemp(path);
    ck_assert_int_ge(file, 0);
    ck_assert_int_eq(write(file, text, strlen(text)), (ssize_t)strlen(text));
    close(file);
}

static enum dw_status read_and_write(const char *input, struct dw_error *error)
{
    const int out = open("/dev/null", O_WRONLY | O_CLOEXEC);
    enum dw_status status = DW_OK;
    for (int encoding = DW_TEXT; encoding <= DW_CSV && status == DW_OK; encoding++)
        status = read_to(input, out, (enum dw_encoding)encoding, error);
    close(out);
    return status;
}

static enum dw_status our_tables(struct dw_error *error)
{
    return read_and_write(ours, error);
}

static enum dw_status foreign_tables(struct dw_error *error)
{
    struct dw_reader *asked = dw_reader_open(foreign, &(struct dw_reader_options){ .columns = "2,1" }, error);
    const enum dw_status status = asked ? read_and_write(foreign, error) : error->status;
    dw_reader_close(asked);
    return status;
}

static const double wave[][2] = { { 0, 5 }, { 0.5, 5 }, { 0.5, 0 }, { 1, 0 }, { 1, 5 }, { 1.5, 5 }, { 1.5, 0 }, { 2, 0 }, { 2, 5 } };
enum { WAVE = sizeof wave / sizeof wave[0] };

static enum dw_status spans(struct dw_error *error)
{
    enum dw_status status = DW_OK;
    struct dw_rows some;
    struct dw_excerpt *span = dw_excerpt_new(&(struct dw_excerpt_plan){ .columns = 2, .from = 0.25, .to = 1.75 }, error), *last = NULL;
    const struct dw_excerpt_plan period = { .columns = 2, .period = 1, .periods = 1 };
    struct dw_join *join = NULL;
    if (MADE(span) && MADE(last = dw_excerpt_new(&period, error)) && MADE(join = dw_join_new(2, error)))
        for (int i = 0; i < 2 * WAVE && status == DW_OK; i++) {
            if (i < WAVE && RIGHT(dw_excerpt_rows(span, wave[i], 1, &some, error)))
                status = dw_excerpt_rows(last, wave[i], 1, &some, error);
            if (i == WAVE)
                dw_join_next(join);
            if (status == DW_OK)
                status = dw_join_row(join, wave[i % WAVE], &some, error);
        }
    if (RIGHT(dw_excerpt_finish(last, &some, error)))
        status = dw_join_finish(join, &some, error);
    dw_excerpt_free(span);
    dw_excerpt_free(last);
    dw_join_free(join);
    return status;
}

static enum dw_status next_point(void *context, double *time, double *duty, struct dw_error *error)
{
    (void)error;
    int *at = context;
    *time = *at;
    *duty = 0.3 + 0.1 * *at;
    return (*at)++ < 3 ? DW_OK : DW_END;
}

static enum dw_status pulses(struct dw_error *error)
{
    enum dw_status status = DW_OK;
    int at = 0;
    struct dw_pulse *pulse = dw_pulse_new(&(struct dw_pulse_train){ .period = 0.37, .high = 5, .modulation = DW_NATURAL, .jitter = 0.01,
        .complement = true, .dead_time = 0.01, .rise = 0.01, .points = next_point, .context = &at }, error);
    double rows[64 * 3];
    size_t count;
    if (MADE(pulse))
        while (RIGHT(dw_pulse_rows(pulse, rows, 64, &count, error)))
            continue;
    dw_pulse_free(pulse);
    return status == DW_END ? DW_OK : status;
}

static enum dw_status measures(struct dw_error *error)
{
    enum dw_status status = DW_OK;
    struct dw_header *header = dw_header_new("time", "s", error);
    struct dw_meter *meter = NULL;
    if (MADE(header) && RIGHT(dw_header_append(header, "pin", "V", error)) && RIGHT(dw_header_set_number(header, "period", 1, error)) &&
        MADE(meter = dw_meter_new(header, &(struct dw_meter_options){ .place = "here" }, error)) &&
        RIGHT(dw_meter_rows(meter, wave[0], WAVE, error)))
        status = dw_meter_finish(meter, error);
    dw_meter_free(meter);
    dw_header_free(header);
    return status;
}

static enum dw_status settings(struct dw_error *error)
{
    static const unsigned long long prescales[] = { 1, 8, 64 };
    struct dw_counter_wish wish = { .clock = 16e6, .prescales = prescales, .prescale_count = 3, .bits = 8, .up = true, .up_down = true,
                                    .frequency = 490, .levels = 100, .within = INFINITY };
    struct dw_counter_setting setting[8];
    struct dw_counter_change change[8];
    size_t count = 8;
    enum dw_status status = dw_counter_settings(&wish, setting, &count, error);
    wish.levels = 100000;
    count = 8;
    if (status == DW_OK)
        status = dw_counter_changes(&wish, change, &count, error);
    return status;
}

static enum dw_status parts(struct dw_error *error)
{
    enum dw_status status = DW_OK;
    struct dw_parts *resistors = dw_parts_series(6, 1e3, 1e5, 0.01, error), *capacitors = NULL;
    struct dw_choices *choices = NULL;
    struct dw_choice_wish wish = { .task = { .frequency = 487.8, .high = 5, .levels = 256, .duty = NAN, .load = 1e6, .band = 0.02,
        .ripple = 0.01, .settling = 0.2, .overshoot = INFINITY, .loading = INFINITY, .pin_current = INFINITY, .coil_current = INFINITY },
        .least_stages = 1, .most_stages = 2, .best = 3 };
    if (MADE(resistors) && MADE(capacitors = dw_parts_series(3, 1e-8, 1e-5, 0.1, error))) {
        wish.resistors = resistors;
        wish.capacitors = capacitors;
        if (RIGHT(dw_choose(&wish, &choices, error)))
            dw_choices_free(choices);
        wish.front = true;
        if (RIGHT(dw_choose(&wish, &choices, error)))
            dw_choices_free(choices);
        wish.front = false;
        wish.yield = 0.5;
        wish.samples = 20;
        wish.jobs = 2;
        if (RIGHT(dw_choose(&wish, &choices, error)))
            dw_choices_free(choices);
    }
    dw_parts_free(resistors);
    dw_parts_free(capacitors);
    return status;
}

static char stock[] = "stock-XXXXXX";

/* Two shards of a search, put together, with what each best one bears; then a wish that nothing fits. */
static enum dw_status shards(struct dw_error *error)
{
    enum dw_status status = DW_OK;
    struct dw_parts *read = dw_parts_read(stock, DW_CAPACITANCE, 0, INFINITY, 0.1, error), *coils = NULL;
    struct dw_filter filters[8];
    struct dw_choices *choices = NULL;
    size_t count = 0;
    struct dw_choice_wish wish = { .task = { .frequency = 1e5, .high = 5, .levels = 16, .duty = 0.37, .load = 10, .band = 0.02,
        .ripple = 1, .settling = INFINITY, .overshoot = INFINITY, .loading = INFINITY, .pin_current = INFINITY, .coil_current = INFINITY },
        .best = 20, .shards = 2 };
    const struct dw_part own[] = { { 1e-4, 0, NAN }, { 2.2e-4, 0, NAN } };
    if (MADE(read) && MADE(coils = dw_parts_new(own, 2, error))) {
        wish.capacitors = read;
        wish.coils = coils;
        for (wish.shard = 1; wish.shard <= 2 && status == DW_OK; wish.shard++) {
            if (RIGHT(dw_choose(&wish, &choices, error)))
                for (size_t i = 0; i < dw_choices_count(choices) && i < 4; i++)
                    filters[count++] = dw_choices_get(choices, i)->filter;
            dw_choices_free(choices);
        }
        wish.shard = wish.shards = 0;
        choices = NULL;
        if (RIGHT(dw_choices_merge(&wish, filters, count, &choices, error))) {
            struct dw_filter_currents currents;
            status = dw_filter_steady_currents(&wish.task, &dw_choices_get(choices, 0)->filter, 0.37, &currents, error);
        }
        dw_choices_free(choices);
        wish.task.ripple = 1e-9;
        struct dw_remedy remedies[DW_REMEDIES];
        if (status == DW_OK)
            status = dw_choice_remedies(&wish, remedies, &count, error);
        if (status == DW_OK && dw_choices_merge(&wish, filters, 1, &choices, error) != DW_NO)
            status = error->status;
        if (status == DW_OK)
            dw_choices_free(choices);
    }
    dw_parts_free(read);
    dw_parts_free(coils);
    return status;
}

static enum dw_status laws(struct dw_error *error)
{
    static const struct dw_law_plan plan = { .kind = DW_LAW_PID, .sample_time = 1e-3, .converter = { .gain = 1, .bits = 12, .high = 3.3 }, .gain = 0.2,
        .integral_time = 0.04, .setpoint_weight = 1, .windup = DW_WINDUP_CLAMP, .duty_high = 1, .duty_steps = 9000, .integers = true };
    static const double a = -20, b = 66, c = 1;
    struct dw_law law;
    struct dw_sampled sampled;
    struct dw_margins margins;
    enum dw_status status = DW_OK;
    struct dw_system *system = dw_system_new(&(struct dw_matrices){ .states = 1, .inputs = 1, .outputs = 1, .a = &a, .b = &b, .c = &c }, error);
    char *text = NULL;
    if (MADE(system) && RIGHT(dw_law_make(&plan, &law, error)) && MADE(text = dw_law_firmware(&law, "panel", "the panel's voltage", error)) &&
        RIGHT(dw_sampled_hold(system, &(struct dw_hold){ 0, 0, 1e-3, 1.7e-3 }, &sampled, error)))
        status = dw_loop_margins(&sampled, &law, &margins, error);
    free(text);
    dw_system_free(system);
    return status;
}

/* ---- each allocation of each job ---- */

static const struct job jobs[] = {
    { "headers", headers }, { "our tables", our_tables }, { "foreign tables", foreign_tables }, { "spans", spans }, { "pulses", pulses },
    { "measures", measures }, { "settings", settings }, { "parts", parts }, { "shards", shards }, { "laws", laws }
};

static void try_job(const struct job *job, long at, bool after)
{
    struct dw_error error = { .text = "" };
    memory.at = at;
    memory.after = after;
    memory.count = memory.failed = memory.live = 0;
    memory.watching = OWN_ALLOCATOR;
    const enum dw_status status = job->run(&error);
    memory.watching = false;
    const char *why = after ? " and all after it" : "";
    ck_assert_msg(memory.live == 0, "%s, allocation %ld%s: %ld blocks are left", job->name, at, why, memory.live);
    if (status == DW_OK)
        return; /* it did without, or none failed */
    ck_assert_msg(memory.failed, "%s: status %d: %s", job->name, (int)status, error.text);
    ck_assert_msg(status == DW_NO_MEMORY && error.status == status && strstr(error.text, "memory"), "%s, allocation %ld%s: status %d, %s",
                  job->name, at, why, (int)status, error.text);
}

static void try_each(const struct job *job)
{
    try_job(job, 0, false);
    const long count = memory.count;
    ck_assert_msg(count > 0 || !OWN_ALLOCATOR, "%s: no allocation was seen", job->name);
    for (long at = 1; at <= count; at++)
        for (int after = 0; after < 2; after++) {
            try_job(job, at, after);
            ck_assert_msg(memory.failed, "%s: it never came to allocation %ld", job->name, at);
        }
}

START_TEST(memory_that_runs_out_anywhere_is_told_and_none_is_kept)
{
    make_file(ours, "# wave-table 1\n# made-by: hand\n# period: 2\n# initial: out 1\n# columns: time[s] pin[V] out[V]\n0 5 1\n1 5 2\n1 0 2\n2 0 1\n# end: 4\n");
    make_file(curved, "# wave-table 1\n# made-by: hand\n# note: a curve\n# period: 2\n# columns: time[s] pin[V] out[V] out'[V/s]\n0 5 1 1\n1 5 2 1\n1 0 2 -1\n2 0 1 -1\n2 5 1 1\n"
              "3 5 2 1\n3 0 2 -1\n4 0 1 -1\n# end: 8\n");
    make_file(foreign, "an instrument\nmore of it\n\"time (ms)\";\"pin, of the clock [V]\"\n0;0,5\n1;4,5\n2;0,5\n");
    make_file(stock, "1u 5% 0.1\n2.2u\n4.7u\n");
    for (size_t i = 0; i < sizeof jobs / sizeof jobs[0]; i++)
        try_each(&jobs[i]);
    for (size_t i = 0; i < LOAD_JOBS; i++)
        try_each(&load_jobs[i]);
    for (size_t i = 0; i < TABLE_JOBS; i++)
        try_each(&table_jobs[i]);
    unlink(ours);
    unlink(curved);
    unlink(foreign);
    unlink(stock);
}
END_TEST

/* Who does not ask why is told that memory ran out all the same. */
START_TEST(without_a_place_for_words_the_status_says_so)
{
    struct dw_error error = { .text = "" };
    struct dw_header *header = dw_header_new("time", "s", &error);
    succeeds(dw_header_append(header, "pin", "V", &error), error);
    succeeds(dw_header_set_number(header, "period", 1, &error), error);
    for (int analyses = 0; analyses < 2; analyses++) {
        enum dw_status status = DW_NO_MEMORY;
        for (long at = 1; status != DW_OK; at++) {
            memory.at = at;
            memory.after = true;
            memory.count = memory.failed = memory.live = 0;
            memory.watching = OWN_ALLOCATOR;
            struct dw_meter *m = analyses ? NULL : dw_meter_new(header, NULL, NULL);
            struct dw_spectrum *s = analyses ? dw_spectrum_new(header, NULL, NULL) : NULL;
            status = m ? dw_meter_rows(m, wave[0], WAVE, NULL) : s ? dw_spectrum_rows(s, wave[0], WAVE, NULL) : DW_NO_MEMORY;
            dw_meter_free(m);
            dw_spectrum_free(s);
            memory.watching = false;
            ck_assert((status == DW_OK || (status == DW_NO_MEMORY && memory.failed)) && memory.live == 0);
        }
    }
    dw_header_free(header);
}
END_TEST

SUITE("faults: memory of the library", memory_that_runs_out_anywhere_is_told_and_none_is_kept,
      without_a_place_for_words_the_status_says_so)
