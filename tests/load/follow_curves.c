/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A plant along a table whose channels are curves: it is fed with the cubics, cut where a second table bends, and its orbit is that
 * along them. */
#include "linear/rows.h"
#include "suite.h"
#include "table/fixture.h"
#include <dutywright/follow.h>
#include <dutywright/linear.h>
#include <float.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* x' = u + 0.5 v - x, y = x: u a curve of the table, v another channel or a second table. */
static const double a = -1, b[] = { 1, 0.5 }, c = 1;

static struct dw_plant *lag(void)
{
    struct dw_error error = { .status = DW_OK };
    const struct dw_mode mode = { .a = &a, .b = b, .c = &c };
    static const struct dw_port port = { "out", "V", 1, 0 };
    struct dw_plant *plant = dw_plant_new(&(struct dw_plant_plan){ .modes = { .states = 1, .inputs = 2, .outputs = 1, .modes = &mode,
                                                                              .mode_count = 1 }, .ports = &port }, &error);
    ck_assert_msg(plant != NULL, "%s", error.text);
    return plant;
}

enum { SEEN = 64 };

/* Rows at inputs. */
struct seen {
    size_t count;
    double time[SEEN], x[SEEN];
};

static enum dw_status see(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct seen *seen = context;
    (void)error;
    if (row->kind != DW_ROW_INPUT)
        return DW_OK;
    ck_assert_uint_lt(seen->count, SEEN);
    seen->time[seen->count] = row->time;
    seen->x[seen->count++] = row->state[0];
    return DW_OK;
}

/* Its rows, the table read as curves. */
static struct seen seen_along(const char *text, struct dw_course *side, const char *steady)
{
    struct seen seen = { .count = 0 };
    struct dw_error error = { .status = DW_OK };
    feed(text, strlen(text));
    struct dw_reader *reader = dw_reader_open(NULL, &(struct dw_reader_options){ .curves = true }, &error);
    ck_assert_msg(reader != NULL, "%s", error.text);
    struct dw_plant *plant = lag();
    struct dw_follow_plan plan = { .plant = plant, .accuracy = 1e-6, .input_column = { 1, side ? 0 : 3 }, .side = side, .side_input = 1,
                                   .steady = steady, .descriptor = -1, .watch = see, .context = &seen };
    succeeds(dw_follow(&plan, reader, NULL, &error), error);
    dw_plant_free(plant);
    dw_reader_close(reader);
    return seen;
}

/* u goes up and down again between the rows; it jumps at 2 s, and v with it. */
#define ROWS "0 0 3 0\n1 0.5 -1 1\n2 1 2 -1\n2 0 -1 0.5\n3.5 0 0 0.5\n"
#define TABLE(keys) "# wave-table 1\n" keys "# columns: time[s] u[V] u'[V/s] v[V]\n" ROWS "# end: 5\n"
static const double rows[5][4] = { { 0, 0, 3, 0 }, { 1, 0.5, -1, 1 }, { 2, 1, 2, -1 }, { 2, 0, -1, 0.5 }, { 3.5, 0, 0, 0.5 } };

/* One row on, v a line. */
static double next_state(double x, const double *from, const double *to)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_system *system = dw_system_new(&(struct dw_matrices){ .states = 1, .inputs = 2, .a = &a, .b = b }, &error);
    const double start[] = { from[1], from[3] }, end[] = { to[1], to[3] }, slope[] = { from[2], NAN, to[2], NAN };
    succeeds(dw_system_advance(system, &(struct dw_interval){ &x, start, end, to[0] - from[0], slope }, 0, &x, &error), error);
    dw_system_free(system);
    return x;
}

START_TEST(a_channel_that_is_a_curve_drives_as_its_cubics_beside_one_of_lines)
{
    const struct seen seen = seen_along(TABLE(""), NULL, NULL);
    ck_assert_uint_eq(seen.count, 5);
    double x = 0;
    for (size_t i = 0; i < 5; i++) {
        x = i == 0 ? 0 : next_state(x, rows[i - 1], rows[i]);
        ck_assert_double_eq(seen.time[i], rows[i][0]);
        within_scale(seen.x[i], x, 4 * DBL_EPSILON, 1);
    }
}
END_TEST

/* From a file that has no name any more. */
static struct dw_course *second_table(const char *text)
{
    struct dw_error error = { .status = DW_OK };
    char path[] = "side-XXXXXX";
    const int file = mkstemp(path);
    ck_assert_int_ge(file, 0);
    ck_assert_int_eq(write(file, text, strlen(text)), (int)strlen(text));
    close(file);
    struct dw_course *course = dw_course_open(path, &error);
    ck_assert_msg(course != NULL, "%s", error.text);
    unlink(path);
    return course;
}

START_TEST(a_vertex_of_the_second_table_cuts_a_cubic_and_changes_nothing_of_it)
{
    static const char *const sides[] = { "# wave-table 1\n# columns: time[s] v[V]\n0 0.25\n9 0.25\n# end: 2\n",
                                         "# wave-table 1\n# columns: time[s] v[V]\n0 0.25\n0.3 0.25\n0.9 0.25\n2.75 0.25\n9 0.25\n# end: 5\n" };
    double x[2];
    for (int i = 0; i < 2; i++) {
        struct dw_course *side = second_table(sides[i]);
        const struct seen seen = seen_along(TABLE(""), side, NULL);
        ck_assert_uint_eq(seen.count, i ? 8 : 5);
        x[i] = seen.x[seen.count - 1];
        dw_course_close(side);
    }
    within_scale(x[1], x[0], 8 * DBL_EPSILON, 1);
}
END_TEST

START_TEST(a_steady_start_is_on_the_orbit_along_the_cubics)
{
    const struct seen seen = seen_along(TABLE("# period: 3.5\n"), NULL, "a steady start");
    double x = seen.x[0];
    for (size_t i = 1; i < 5; i++)
        x = next_state(x, rows[i - 1], rows[i]);
    within_scale(x, seen.x[0], 8 * DBL_EPSILON, 1);
    ck_assert_double_gt(fabs(x), 0.01);
}
END_TEST

/* Along both tables, rows at a rate; without an error to fill each second time. */
static enum dw_status along_both(const char *side_text, size_t rows_taken, int out)
{
    struct dw_error error = { .status = DW_OK };
    feed(TABLE(""), strlen(TABLE("")));
    struct dw_reader *reader = dw_reader_open(NULL, &(struct dw_reader_options){ .curves = true }, &error);
    ck_assert_msg(reader != NULL, "%s", error.text);
    struct dw_plant *plant = lag();
    struct dw_course *side = second_table(side_text);
    const struct dw_follow_plan plan = { .plant = plant, .accuracy = 1e-6, .uniform = 2, .input_column = { 1 }, .side = side, .side_input = 1,
                                         .descriptor = out, .made_by = "hand", .watch = take_some, .context = &rows_taken };
    const enum dw_status status = dw_follow(&plan, reader, NULL, rows_taken % 2 ? &error : NULL);
    dw_course_close(side);
    dw_plant_free(plant);
    dw_reader_close(reader);
    return status;
}

START_TEST(a_run_along_two_tables_ends_where_anyone_refuses)
{
    static const char side[] = "# wave-table 1\n# columns: time[s] v[V]\n0 0.25\n0.3 0.25\n0.9 0.5\n9 0.25\n# end: 4\n";
    enum dw_status status = DW_CLOSED_PIPE;
    size_t taken = 0;
    for (; status != DW_OK; taken++) {
        status = along_both(side, taken, -1);
        ck_assert(status == DW_OK || status == DW_CLOSED_PIPE);
    }
    ck_assert_uint_gt(taken, 10);
    ck_assert_int_eq(along_both("time[s] v[V]\n0 0.25\n0.3 0.25\nnone 1\n", 1000, -1), DW_BAD_INPUT);
}
END_TEST

/* Rows at a rate have no slopes: those of the table's own channels stay behind. */
START_TEST(rows_at_a_rate_leave_slopes_behind)
{
    const int file = memory_file();
    ck_assert_int_eq(along_both("# wave-table 1\n# columns: time[s] v[V]\n0 0\n9 0\n# end: 2\n", 1000, file), DW_OK);
    const struct bytes text = take_bytes(file);
    ck_assert_ptr_nonnull(strstr(text.at, "# columns: time[s] u[V] v[V] out[V]\n"));
    ck_assert_ptr_nonnull(strstr(text.at, "\n3.5\t0\t0.5\t"));
    free(text.at);
}
END_TEST

SUITE("load: follow curves", a_run_along_two_tables_ends_where_anyone_refuses, rows_at_a_rate_leave_slopes_behind, a_channel_that_is_a_curve_drives_as_its_cubics_beside_one_of_lines,
      a_vertex_of_the_second_table_cuts_a_cubic_and_changes_nothing_of_it, a_steady_start_is_on_the_orbit_along_the_cubics)
