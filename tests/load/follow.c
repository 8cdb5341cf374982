/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A plant along a table: the rows are those of a run that is fed by hand, the header says how good they are, and what cannot be
 * followed is refused. */
#include "load/pump.h"
#include "suite.h"
#include "table/fixture.h"
#include <dutywright/coil.h>
#include <dutywright/follow.h>
#include <dutywright/value.h>
#include <dutywright/ladder.h>
#include <float.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* Two periods at 1.6 kHz; beside the pin a channel that nobody asks for. */
#define PULSES "0 3.3 1\n0.000195 3.3 2\n0.000195 0 2\n0.000625 0 0\n0.000625 3.3 0\n0.00082 3.3 1\n0.00082 0 1\n0.00125 0 0\n"
#define TABLE(keys) "# wave-table 1\n" keys "# columns: time[s] pin[V] out[V]\n" PULSES "# end: 8\n"
static const double pulses[8][2] = { { 0, 3.3 }, { 0.000195, 3.3 }, { 0.000195, 0 }, { 0.000625, 0 }, { 0.000625, 3.3 },
                                     { 0.00082, 3.3 }, { 0.00082, 0 }, { 0.00125, 0 } };

static struct dw_plant *ladder_plant(struct dw_stage stage, double load, double initial, bool all)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_ladder *ladder = dw_ladder_new(&(struct dw_ladder_plan){ .stages = &stage, .count = 1, .load = load }, &error);
    ck_assert_msg(ladder != NULL, "%s", error.text);
    struct dw_plant *plant = dw_ladder_plant_new(ladder, &(struct dw_ladder_setup){ .supply = 3.3, .initial = initial, .all = all }, &error);
    ck_assert_msg(plant != NULL, "%s", error.text);
    dw_ladder_free(ladder);
    return plant;
}

#define STEADY "an orbit"  /* as messages have it */

/* What came of it. */
struct followed {
    enum dw_status status;
    struct dw_error error;
    struct dw_follow_seen seen;
    struct bytes text;
    struct whole table;
};

static struct followed follow(struct dw_follow_plan plan, const char *text)
{
    struct followed f = { .status = DW_OK };
    struct dw_reader *reader = reader_of(text, strlen(text), true, &f.error);
    ck_assert_msg(reader != NULL, "%s", f.error.text);
    plan.descriptor = memory_file();
    plan.encoding = DW_TEXT;
    f.status = dw_follow(&plan, reader, &f.seen, &f.error);
    dw_reader_close(reader);
    f.text = take_bytes(plan.descriptor);
    if (f.status == DW_OK)
        f.table = read_whole(f.text.at, f.text.size, false, 1000);
    return f;
}

static void forget(struct followed *f)
{
    free(f->text.at);
    whole_free(&f->table);
}

enum { KEPT = 4096 };

/* Rows that a writer would write, [count x (1 + width)]: values, each with its slope where there are slopes. */
struct kept {
    size_t outputs, width, count;
    double values[KEPT][7];
};

static enum dw_status keep(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct kept *k = context;
    (void)error;
    if (row->repeats && row->kind != DW_ROW_INPUT)
        return DW_OK;
    ck_assert_uint_lt(k->count, KEPT);
    k->values[k->count][0] = row->time;
    for (size_t j = 0; j < k->outputs; j++) {
        double *to = k->values[k->count] + 1 + j * k->width / k->outputs;
        *to = row->output[j];
        if (row->slope)
            to[1] = dw_number_round(row->slope[j], 8);
    }
    k->count++;
    return DW_OK;
}

/* The same by hand: input [rows x (1 + inputs)], time first. */
static void by_hand(const struct dw_plant *plant, const struct dw_run_options *options, const double *input, size_t rows, struct kept *k)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_run_options all = *options;
    double state[DW_STATES];
    const size_t mode = dw_plant_rest(plant, state), width = 1 + dw_plant_inputs(plant);
    *k = (struct kept){ .outputs = dw_plant_outputs(plant) };
    k->width = (options->curves ? 2 : 1) * k->outputs;
    all.sink = keep;
    all.context = k;
    struct dw_run *run = dw_run_new(dw_plant_modes(plant), &all, &error);
    ck_assert_msg(run != NULL, "%s", error.text);
    succeeds(dw_run_start(run, input[0], mode, state, input + 1, &error), error);
    for (size_t i = 1; i < rows; i++)
        succeeds(dw_run_feed(run, input[i * width], input + i * width + 1, &error), error);
    succeeds(dw_run_finish(run, &error), error);
    dw_run_free(run);
}

/* Time and outputs, the last columns, to the last bit. */
static void same(const struct followed *f, const struct kept *k)
{
    ck_assert_msg(f->status == DW_OK, "%s", f->error.text);
    ck_assert_uint_eq(f->table.rows, k->count);
    for (size_t i = 0; i < k->count; i++) {
        const double *row = f->table.values + i * f->table.columns, *outputs = row + f->table.columns - k->width;
        ck_assert_msg(row[0] == k->values[i][0], "row %zu at %.17g, by hand %.17g", i, row[0], k->values[i][0]);
        for (size_t j = 0; j < k->width; j++)
            ck_assert_msg(outputs[j] == k->values[i][1 + j], "row %zu, column %zu", i, j);
    }
}

START_TEST(a_motor_along_a_table_is_the_run_that_is_fed_with_its_rows)
{
    static struct kept k;
    struct dw_motor *motor = motor_made(&pump);
    double input[8][1 + DW_MOTOR_INPUTS] = { { 0 } };
    for (int i = 0; i < 8; i++)
        memcpy(input[i], pulses[i], sizeof pulses[i]);
    by_hand(dw_motor_plant(motor), &(struct dw_run_options){ .accuracy = 1e-4, .curves = true, .swing = DW_SWING * 1e-4 }, input[0], 8, &k);
    struct followed f = follow((struct dw_follow_plan){ .plant = dw_motor_plant(motor), .accuracy = 1e-4, .made_by = "a test",
                                                        .input_column = { [DW_MOTOR_PIN] = 1 } }, TABLE(""));
    same(&f, &k);
    ck_assert_uint_eq(f.seen.rows, 8);
    ck_assert(f.seen.swings == 0);
    ck_assert(f.seen.state[DW_MOTOR_SPEED] == k.values[k.count - 1][3]);
    ck_assert_ptr_nonnull(strstr(f.text.at, "# made-by: a test\n"));
    ck_assert_ptr_nonnull(strstr(f.text.at, "# initial: current 0 speed 0\n"));
    ck_assert_ptr_nonnull(strstr(f.text.at, "# columns: time[s] pin[V] out[V] current[A] current'[A/s] speed[rad/s] speed'[rad/s/s]\n"));
    /* the table's own channels are the straight lines that they were */
    for (size_t i = 0; i < f.table.rows; i++) {
        const double *row = f.table.values + i * f.table.columns, into = fmod(row[0], 0.000625);
        if (row[0] < 0.000195)
            within_scale(row[2], 1 + into / 0.000195, 8 * DBL_EPSILON, 2);
    }
    forget(&f);
    dw_motor_free(motor);
}
END_TEST

/* A table in a file that is gone once it is open. */
static struct dw_course *course_of(const char *text, struct dw_error *error)
{
    char path[] = "side-XXXXXX";
    const int file = mkstemp(path);
    ck_assert_int_ge(file, 0);
    ck_assert_int_eq(write(file, text, strlen(text)), (ssize_t)strlen(text));
    close(file);
    struct dw_course *course = dw_course_open(path, error);
    unlink(path);
    return course;
}

static struct dw_course *second_table(const char *text)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_course *course = course_of(text, &error);
    ck_assert_msg(course != NULL, "%s", error.text);
    return course;
}

START_TEST(a_second_table_drives_its_input_with_all_its_vertices_and_jumps)
{
    static struct kept k;
    /* before its first row that one's value, after its last that one's; a jump between two rows, and a vertex in another */
    static const char torque[] = "# wave-table 1\n# columns: time[s] torque[Nm] other[1]\n0.0001 0.001 5\n0.0003 0.001 5\n0.0003 0.004 5\n"
                                 "0.001 0.002 5\n# end: 4\n";
    static const double vertices[4][2] = { { 0.0001, 0.001 }, { 0.0003, 0.001 }, { 0.0003, 0.004 }, { 0.001, 0.002 } };
    struct dw_motor *motor = motor_made(&pump);
    double input[12][1 + DW_MOTOR_INPUTS] = { { 0 } };
    for (int i = 0, p = 0, v = 0; i < 12; i++) {
        const bool vertex = v < 4 && vertices[v][0] < pulses[p][0];
        const double time = vertex ? vertices[v][0] : pulses[p][0];
        const double *a = vertices[v ? v - 1 : 0], *b = vertices[v < 4 ? v : 3];
        input[i][0] = time;
        input[i][1 + DW_MOTOR_PIN] = vertex ? pulses[p - 1][1] : pulses[p][1];
        input[i][1 + DW_MOTOR_TORQUE] = vertex ? b[1] : time <= a[0] || a == b ? a[1] : a[1] + (time - a[0]) / (b[0] - a[0]) * (b[1] - a[1]);
        *(vertex ? &v : &p) += 1;
    }
    by_hand(dw_motor_plant(motor), &(struct dw_run_options){ .accuracy = 1e-3, .curves = true, .swing = DW_SWING * 1e-3 }, input[0], 12, &k);
    struct dw_follow_plan plan = { .plant = dw_motor_plant(motor), .accuracy = 1e-3, .input_column = { [DW_MOTOR_PIN] = 1 },
                                   .side = second_table(torque), .side_input = DW_MOTOR_TORQUE };
    struct followed f = follow(plan, TABLE(""));
    same(&f, &k);
    forget(&f);
    dw_course_close(plan.side);
    plan.side = second_table(torque);
    plan.steady = STEADY;
    f = follow(plan, TABLE("# period: 0.000625\n"));
    ck_assert_int_eq(f.status, DW_BAD_USE);
    ck_assert_str_eq(f.error.text, "an orbit needs a load that repeats: not one from a second table");
    ck_assert_uint_eq(f.text.size, 0);
    forget(&f);
    dw_course_close(plan.side);
    dw_motor_free(motor);
}
END_TEST

START_TEST(a_second_table_without_time_or_rows_is_refused)
{
    static const char *const cases[][2] = {
        { "# wave-table 1\n# columns: frequency[Hz] torque[Nm]\n1 0.001\n# end: 1\n", "frequency" },
        { "# wave-table 1\n# columns: time[s] torque[Nm]\n# end: 0\n", ": a table without rows" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct dw_error error = { .status = DW_OK };
        ck_assert_ptr_null(course_of(cases[i][0], &error));
        ck_assert_int_eq(error.status, DW_BAD_INPUT);
        ck_assert_msg(strstr(error.text, "side-") && strstr(error.text, cases[i][1]), "%s", error.text);
    }
}
END_TEST

START_TEST(a_steady_start_is_the_orbit_and_rows_that_were_read_already_are_not_read_again)
{
    /* of one capacitor: charged by 1 - exp(-t/RC) in the pulse, then down by exp(-t/RC); at the period's start
     * v = V (exp(-(T - t)/RC) - exp(-T/RC)) / (1 - exp(-T/RC)); the orbit comes within 1e-12 of it, modes.h */
    const double rc = 2700 * 680e-9, T = 0.000625, t = 0.000195, v = 3.3 * (exp(-(T - t) / rc) - exp(-T / rc)) / (1 - exp(-T / rc));
    struct dw_plant *plant = ladder_plant((struct dw_stage){ .r = 2700, .c = 680e-9 }, 0, 1, false);
    struct dw_follow_plan plan = { .plant = plant, .accuracy = 1e-3, .input_column = { 1 }, .steady = STEADY };
    struct followed f = follow(plan, TABLE("# period: 0.000625\n# initial: out 1\n"));
    ck_assert_msg(f.status == DW_OK, "%s", f.error.text);
    within_scale(f.table.values[3], v, 1e-12, 3.3);
    within_scale(f.table.values[f.table.rows * 5 - 2], v, 2e-12, 3.3);
    ck_assert(!f.seen.steady.lasting && f.seen.steady.radius < 1);
    ck_assert_ptr_null(strstr(f.text.at, "# initial"));  /* the orbit has been there always */
    ck_assert_ptr_nonnull(strstr(f.text.at, "# accuracy: out-2 0.0033 0.05\n"));
    ck_assert_ptr_nonnull(strstr(f.text.at, "# columns: time[s] pin[V] out[V] out-2[V] out-2'[V/s]\n"));
    forget(&f);
    /* the same with a period that the caller has read, as it stands on the reader */
    struct dw_error error = { .status = DW_OK };
    struct dw_reader *reader = reader_of_text(TABLE("# period: 0.000625\n"), &error);
    plan.repeat = dw_repeat_new(reader, STEADY, &error);
    ck_assert_msg(plan.repeat != NULL, "%s", error.text);
    plan.descriptor = -1;
    struct dw_follow_seen seen;
    succeeds(dw_follow(&plan, reader, &seen, &error), error);
    ck_assert_uint_eq(seen.rows, 8);
    within_scale(seen.state[0], v, 2e-12, 3.3);
    dw_repeat_free(plan.repeat);
    dw_reader_close(reader);
    /* and from rest, the first two rows in the caller's memory */
    static struct kept k;
    by_hand(plant, &(struct dw_run_options){ .accuracy = 1e-3, .curves = true, .swing = DW_SWING * 1e-3 }, pulses[0], 8, &k);
    const double first[2][3] = { { 0, 3.3, 1 }, { 0.000195, 3.3, 2 } };
    f = follow((struct dw_follow_plan){ .plant = plant, .accuracy = 1e-3, .input_column = { 1 }, .ahead = first[0], .ahead_count = 2 },
               "# wave-table 1\n# columns: time[s] pin[V] out[V]\n" "0.000195 0 2\n0.000625 0 0\n0.000625 3.3 0\n0.00082 3.3 1\n"
               "0.00082 0 1\n0.00125 0 0\n# end: 6\n");
    same(&f, &k);
    ck_assert(f.table.values[3] == 1);
    ck_assert_ptr_nonnull(strstr(f.text.at, "# initial: out-2 1\n"));
    forget(&f);
    dw_plant_free(plant);
}
END_TEST

/* A capacitor that a pin charges through 1 ms below half of 3.3 V, and through 2 ms above: smooth in each half. */
static void lag(const void *of, size_t mode, double time, const double *x, const double *u, double *rate)
{
    (void)of, (void)time;
    rate[0] = (u[0] - x[0]) / (mode ? 2e-3 : 1e-3);
}

static void shown(const void *of, size_t mode, double time, const double *x, const double *u, double *output)
{
    (void)of, (void)mode, (void)time, (void)u;
    output[0] = x[0];
}

static void half(const void *of, size_t mode, double time, const double *x, const double *u, double *guard)
{
    (void)of, (void)time, (void)u;
    guard[0] = (mode ? -1 : 1) * (1.65 - x[0]) / 3.3;
}

static size_t other_half(const void *of, size_t mode, size_t guard, double time, double *x, const double *u)
{
    (void)of, (void)guard, (void)time, (void)x, (void)u;
    return !mode;
}

static void count_free(void *load)
{
    ++*(int *)load;
}

START_TEST(a_plant_of_smooth_equations_goes_along_a_table_and_frees_its_load)
{
    static const struct dw_equations_mode halves[] = { { "lower half", 1 }, { "upper half", 1 } };
    static const double scale[] = { 3.3 };
    const struct dw_port port = { "capacitor", "V", 3.3, 1 };
    const struct dw_equations equations = { .states = 1, .inputs = 1, .outputs = 1, .modes = halves, .mode_count = 2,
        .state_scale = scale, .tolerance = 1e-12, .rate = lag, .output = shown, .guards = half, .leave = other_half };
    int freed = 0;
    struct dw_error error = { .status = DW_OK };
    struct dw_plant_plan plan = { .equations = &equations, .ports = &port, .rest = (const double[]){ 1 }, .mode = 2, .load = &freed,
                                  .release = count_free };
    ck_assert_ptr_null(dw_plant_new(&plan, &error));
    ck_assert_str_eq(error.text, "a plant rests in mode 3 of 2");
    ck_assert_int_eq(freed, 0);
    plan.mode = 0;
    struct dw_plant *plant = dw_plant_new(&plan, &error);
    ck_assert_msg(plant != NULL, "%s", error.text);
    ck_assert_ptr_eq(dw_plant_load(plant), &freed);
    struct followed f = follow((struct dw_follow_plan){ .plant = plant, .accuracy = 1e-4, .input_column = { 1 } },
                               "# wave-table 1\n# columns: time[s] pin[V]\n0 3.3\n0.004 3.3\n# end: 2\n");
    ck_assert_msg(f.status == DW_OK, "%s", f.error.text);
    ck_assert_ptr_nonnull(strstr(f.text.at, "# initial: capacitor 1\n"));
    ck_assert_ptr_nonnull(strstr(f.text.at, "# accuracy: capacitor 0.00033 0.005\n"));
    /* 3.3 V - 2.3 V exp(-t/1 ms) up to 1.65 V at ln(2.3/1.65) ms, from there on 3.3 V - 1.65 V exp(-(t - that)/2 ms). Below a
     * thousand steps of 1e-12 each, on values and on the crossing's instant */
    const double crossing = 1e-3 * log(2.3 / 1.65);
    for (size_t i = 0; i < f.table.rows; i++) {
        const double *row = f.table.values + i * 4, t = row[0];
        within_scale(row[2], t < crossing ? 3.3 - 2.3 * exp(-t / 1e-3) : 3.3 - 1.65 * exp(-(t - crossing) / 2e-3), 2e-9, 3.3);
    }
    ck_assert_uint_eq(f.seen.mode, 1);
    forget(&f);
    dw_plant_free(plant);
    ck_assert_int_eq(freed, 1);
}
END_TEST

struct counts {
    size_t rows, events;
};

static enum dw_status count_rows(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct counts *c = context;
    c->rows++;
    c->events += row->kind == DW_ROW_AFTER;
    return c->rows < 1000 ? DW_OK : dw_error_set(error, DW_NO, 0, "enough");
}

START_TEST(uniform_rows_stand_at_their_rate_and_the_watch_sees_the_events_between_them)
{
    static struct kept k;
    struct counts c = { 0 };
    const struct dw_coil_plan valve = { .resistance = 15, .inductance = 0.11, .supply = 12, .clamp = DW_CLAMP_ZENER, .clamp_value = 24,
                                        .diode_drop = 0.7, .pull_in = 0.01, .drop_out = 0.005, .threshold = 1.65 };
    struct dw_error error = { .status = DW_OK };
    struct dw_coil *coil = dw_coil_new(&valve, &error);
    ck_assert_msg(coil != NULL, "%s", error.text);
    struct dw_follow_plan plan = { .plant = dw_coil_plant(coil), .accuracy = 1e-4, .uniform = 4096, .input_column = { 1 },
                                   .watch = count_rows, .context = &c };
    struct followed f = follow(plan, TABLE(""));
    ck_assert_msg(f.status == DW_OK, "%s", f.error.text);
    by_hand(dw_coil_plant(coil), &(struct dw_run_options){ .accuracy = 1e-4, .uniform = 4096 }, pulses[0], 8, &k);
    ck_assert_uint_eq(f.table.rows, 6);  /* 0 to 5 of 4096 Hz within 1.25 ms */
    ck_assert_uint_eq(f.table.rows, k.count);
    for (size_t i = 0; i < 6; i++) {
        ck_assert(f.table.values[i * 6] == (double)i / 4096);
        ck_assert(f.table.values[i * 6 + 3] == k.values[i][1]);
        ck_assert(f.table.values[i * 6 + 5] == k.values[i][3]);
    }
    ck_assert_uint_ge(c.events, 4);  /* the clamp and the armature, and the switch's own */
    ck_assert_ptr_nonnull(strstr(f.text.at, "# sampled: 4096\n"));
    ck_assert_ptr_null(strstr(f.text.at, "# accuracy"));
    ck_assert_ptr_nonnull(strstr(f.text.at, "# columns: time[s] pin[V] out[V] current[A] switch[V] armature[1]\n"));
    forget(&f);
    dw_coil_free(coil);
}
END_TEST

enum { SWINGS = 1, LASTING = 100 };

static void note(void *context, const struct dw_follow_seen *seen)
{
    *(unsigned *)context += seen->swings ? SWINGS : seen->steady.lasting ? LASTING : 0;
}

START_TEST(what_is_found_is_told_and_a_watch_can_stop_it)
{
    /* 5 GHz between two rows; the rows go nowhere else */
    struct dw_plant *ring = ladder_plant((struct dw_stage){ .l = 1e-9, .c = 1e-12 }, 0, 0, false);
    unsigned found = 0;
    struct followed f = follow((struct dw_follow_plan){ .plant = ring, .accuracy = 0.1, .input_column = { 1 }, .found = note,
                                                        .found_context = &found },
                               "# wave-table 1\n# columns: time[s] pin[V]\n0 0\n0 3.3\n3e-6 3.3\n# end: 3\n");
    ck_assert_msg(f.status == DW_OK, "%s", f.error.text);
    ck_assert_uint_eq(f.seen.swings, 3);
    ck_assert_uint_ge(f.seen.extremes, 20000);
    ck_assert_uint_eq(found, SWINGS);  /* once */
    forget(&f);
    struct counts c = { 0 };
    f = follow((struct dw_follow_plan){ .plant = ring, .accuracy = 0.1, .input_column = { 1 }, .watch = count_rows, .context = &c },
               "# wave-table 1\n# columns: time[s] pin[V]\n0 0\n0 3.3\n3e-6 3.3\n# end: 3\n");
    ck_assert_int_eq(f.status, DW_NO);
    ck_assert_str_eq(f.error.text, "enough");
    ck_assert_uint_eq(c.rows, 1000);
    forget(&f);
    dw_plant_free(ring);
    /* 1 mH and 1 uF: 5033 Hz, no harmonic of 1600 Hz, and nothing damps it */
    struct dw_plant *lasting = ladder_plant((struct dw_stage){ .l = 1e-3, .c = 1e-6 }, 0, 0, false);
    f = follow((struct dw_follow_plan){ .plant = lasting, .accuracy = 0.1, .input_column = { 1 }, .steady = STEADY, .found = note,
                                        .found_context = &found }, TABLE("# period: 0.000625\n"));
    ck_assert_msg(f.status == DW_OK, "%s", f.error.text);
    ck_assert(f.seen.steady.lasting);
    ck_assert_uint_eq(found, SWINGS + LASTING);
    forget(&f);
    dw_plant_free(lasting);
}
END_TEST

START_TEST(what_cannot_be_followed_is_refused_before_a_table_begins)
{
    static const struct {
        const char *text;
        enum dw_status status;
        const char *why;
    } cases[] = {
        { TABLE(""), DW_BAD_INPUT, "standard input: an orbit needs a table that repeats: its header has no period" },
        { TABLE("# period: 0.002\n"), DW_BAD_INPUT,
          "standard input: an orbit needs one whole period of 0.002 s; the table ends after 0.00125 s" },
        /* 1 mH and 1 uF on the period that is theirs */
        { "# wave-table 1\n# period: 0.00019869176531592203\n# columns: time[s] pin[V]\n0 3.3\n5e-5 3.3\n5e-5 0\n0.00019869176531592203 0\n# end: 4\n",
          DW_NO, "an orbit: no steady state: nothing damps the oscillation at 5032.92 Hz, which stands on harmonic 1 of the period of "
          "0.000198692 s, so it grows without end" },
    };
    struct dw_plant *plant = ladder_plant((struct dw_stage){ .l = 1e-3, .c = 1e-6 }, 0, 0, false);
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct followed f = follow((struct dw_follow_plan){ .plant = plant, .accuracy = 0.1, .input_column = { 1 }, .steady = STEADY },
                                   cases[i].text);
        ck_assert_int_eq(f.status, cases[i].status);
        ck_assert_str_eq(f.error.text, cases[i].why);
        ck_assert_uint_eq(f.text.size, 0);
        forget(&f);
    }
    struct followed f = follow((struct dw_follow_plan){ .plant = plant, .accuracy = 0.1, .input_column = { 1 } },
                               "# wave-table 1\n# columns: time[s] pin[V]\n# end: 0\n");
    refuses(f.status, DW_BAD_INPUT, f.error, "standard input: a table without rows");
    forget(&f);
    f = follow((struct dw_follow_plan){ .plant = plant, .accuracy = 0.1, .input_column = { 1 }, .steady = STEADY },
               "# wave-table 1\n# period: 1e-3\n# columns: time[s] pin[V]\n0 3.3\n5e-4 3.3\n5e-4 0\n1e-3 0\n1e-3 3.3\n1.2e-3 0\n");
    refuses(f.status, DW_BAD_INPUT, f.error, "standard input, line 9: the table does not repeat: 'pin' is 0 at 0.0012 s, in its first period "
            "3.3; a steady start needs periods that are equal");
    forget(&f);
    /* a plant that has no such place to rest, or outputs without a size */
    struct dw_error error;
    const struct dw_mode mode = { .name = "only" };
    struct dw_plant_plan bad = { .modes = { .states = 1, .outputs = 1, .modes = &mode, .mode_count = 1 },
                                 .ports = (const struct dw_port[]){ { "out", "V", 1, NAN } }, .mode = 1 };
    ck_assert_ptr_null(dw_plant_new(&bad, &error));
    ck_assert_str_eq(error.text, "a plant rests in mode 2 of 1");
    bad.mode = 0;
    bad.ports = (const struct dw_port[]){ { "out", "V", 0, NAN } };
    ck_assert_ptr_null(dw_plant_new(&bad, &error));
    ck_assert_str_eq(error.text, "output 1: a natural scale of 0: expected from 1e-100 to 1e+100");
    dw_plant_free(NULL);
    dw_plant_free(plant);
}
END_TEST

SUITE("load: along a table", a_motor_along_a_table_is_the_run_that_is_fed_with_its_rows,
      a_second_table_drives_its_input_with_all_its_vertices_and_jumps, a_second_table_without_time_or_rows_is_refused,
      a_steady_start_is_the_orbit_and_rows_that_were_read_already_are_not_read_again,
      a_plant_of_smooth_equations_goes_along_a_table_and_frees_its_load,
      uniform_rows_stand_at_their_rate_and_the_watch_sees_the_events_between_them, what_is_found_is_told_and_a_watch_can_stop_it,
      what_cannot_be_followed_is_refused_before_a_table_begins)
