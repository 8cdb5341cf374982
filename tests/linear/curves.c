/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rows that cubics join, of modes: as close as they promise, monotone, and few. */
#include "linear/curves.h"

static const double one = 1, minus_one = -1, zeros[DW_STATES] = { 0 };

/* One state with x' = u - x; y = c x + d u. */
static struct dw_modes *lag(const double *c, const double *d)
{
    struct dw_error error = { .status = DW_OK };
    const struct dw_mode mode = { .name = "only", .a = &minus_one, .b = &one, .c = c, .d = d };
    struct dw_modes *modes = dw_modes_new(&(struct dw_modes_plan){ .states = 1, .inputs = 1, .outputs = 1, .modes = &mode,
                                                                   .mode_count = 1, .scale = &one }, &error);
    ck_assert_msg(modes != NULL, "%s", error.text);
    return modes;
}

START_TEST(an_exponential_takes_few_pieces_and_is_the_closed_form)
{
    /* spaced by h = (384 e)^(1/4) exp(t/4) at best, which are 3, 6, 12 and 29; bounds an eighth above the derivative and rules that
     * keep the tail monotone add one in six at most */
    static const struct {
        double constants;
        size_t most;
    } cases[] = { { 0.2, 3 }, { 0.7, 6 }, { 2, 13 }, { 20, 34 }, { 40, 37 }, { 1e3, 38 }, { 1e6, 40 } };
    struct dw_modes *modes = lag(&one, NULL);
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct drive drive = { .inputs = 1 };
        drive_row(&drive, 0, 1);
        drive_row(&drive, cases[i].constants, 1);
        const struct asked asked = { .modes = modes, .outputs = 1, .state = zeros, .accuracy = 1, .swing = 1e-6, .floor = 0x1p-50 };
        struct drawn d = drawn_of(&asked, &drive);
        ck_assert_uint_le(d.count - 1, cases[i].most);
        const double allowed = 1e-6 * -expm1(-cases[i].constants);
        for (size_t k = 0; k + 1 < d.count; k++)
            for (int s = 1; s < 32 && d.time[k + 1] > d.time[k]; s++) {
                const double t = d.time[k] + s / 32.0 * (d.time[k + 1] - d.time[k]);
                within_scale(drawn_at(&d, k, 0, s / 32.0), -expm1(-t), allowed + 0x1p-50, 1);
            }
        ck_assert_double_le(worst_of(&asked, &drive, &d), 1);
        forget_drawn(&d);
    }
    dw_modes_free(modes);
}
END_TEST

/* The rows at a time. */
static size_t rows_at(const struct drawn *d, double time, size_t *first)
{
    size_t count = 0;
    for (size_t i = 0; i < d->count; i++)
        if (d->time[i] == time && count++ == 0)
            *first = i;
    return count;
}

START_TEST(where_the_input_bends_a_row_stands_for_either_side_and_only_where_the_output_feels_it)
{
    /* y = x + u/2: its slope jumps by half of that of the input */
    static const double half = 0.5;
    struct drive drive = { .inputs = 1 };
    drive_row(&drive, 0, 0);
    drive_row(&drive, 1, 0);
    drive_row(&drive, 1.5, 2);
    drive_row(&drive, 2, 4);
    drive_row(&drive, 3, 4);
    for (int feels = 0; feels < 2; feels++) {
        struct dw_modes *modes = lag(&one, feels ? &half : NULL);
        const struct asked asked = { .modes = modes, .outputs = 1, .state = zeros, .accuracy = 1e-6, .swing = 1e-6, .floor = 0x1p-50 };
        struct drawn d = drawn_of(&asked, &drive);
        size_t at = 0;
        ck_assert_uint_eq(rows_at(&d, 1, &at), feels ? 2 : 1);
        ck_assert_double_eq(d.slope[at], 0);
        near(d.slope[at + 1], feels ? 2 : d.slope[at + 1], 4 * DBL_EPSILON);  /* x is 0 still */
        ck_assert_uint_eq(rows_at(&d, 1.5, &at), 1);  /* the line goes on */
        ck_assert_uint_eq(rows_at(&d, 2, &at), feels ? 2 : 1);
        if (feels)
            near(d.slope[at] - d.slope[at + 1], 2, 1e-15 * 8);
        ck_assert_uint_eq(rows_at(&d, 0, &at), 1);
        ck_assert_double_le(worst_of(&asked, &drive, &d), 1);
        forget_drawn(&d);
        dw_modes_free(modes);
    }
}
END_TEST

/* Undamped or damped oscillator of 1 rad/s behind a jump: x'' = u - x - x'/Q. */
static struct dw_modes *oscillator(double quality)
{
    struct dw_error error = { .status = DW_OK };
    const double a[] = { 0, 1, -1, -1 / quality }, b[] = { 0, 1 }, c[] = { 1, 0 }, scale = 3;
    const struct dw_mode mode = { .name = "only", .a = a, .b = b, .c = c };
    struct dw_modes *modes = dw_modes_new(&(struct dw_modes_plan){ .states = 2, .inputs = 1, .outputs = 1, .modes = &mode,
                                                                   .mode_count = 1, .scale = &scale }, &error);
    ck_assert_msg(modes != NULL, "%s", error.text);
    return modes;
}

START_TEST(a_ringing_of_quality_1000_has_its_extrema_as_rows_with_no_slope)
{
    struct dw_modes *modes = oscillator(1000);
    struct drive drive = { .inputs = 1 };
    drive_row(&drive, 0, 1);
    drive_row(&drive, 400, 1);
    const struct asked asked = { .modes = modes, .outputs = 1, .state = zeros, .accuracy = 2e-8, .swing = 1e-6, .floor = 0x1p-50 };
    struct drawn d = drawn_of(&asked, &drive);
    const double damping = 0.5e-3, rate = sqrt(1 - damping * damping);
    size_t turns = 0;
    for (size_t i = 0; i < d.count; i++) {
        if (d.kind[i] != DW_ROW_EXTREMUM)
            continue;
        turns++;
        ck_assert_double_eq(d.slope[i], 0);
        /* x' = exp(-t/2Q) sin(w t)/w; an instant to some ulp of the cell's derivative */
        within_scale(d.time[i], (double)turns * acos(-1) / rate, 1e-13, 400);
        near(d.value[i], 1 + (turns % 2 ? 1 : -1) * exp(-damping * (double)turns * acos(-1) / rate), 1e-13);
    }
    ck_assert_uint_eq(turns, (size_t)(400 * rate / acos(-1)));
    /* at best the integral of the fourth root of |y''''| / 384 e, of |sin| and of the decay; a tenth for bounds above that */
    const double mean = tgamma(0.625) / (sqrt(acos(-1)) * tgamma(1.125)), decay = -expm1(-100 * damping) / (100 * damping);
    ck_assert_double_le((double)d.count, 1.1 * 400 * mean * decay / pow(384 * 6e-8, 0.25));
    ck_assert_double_le(worst_of(&asked, &drive, &d), 1);
    forget_drawn(&d);
    dw_modes_free(modes);
}
END_TEST

START_TEST(a_swing_of_a_millionth_of_the_mean_is_known_to_a_millionth_of_itself)
{
    /* a lag of 1 s, switched within microseconds, on its orbit from the start */
    const double period = 4e-6, duty = 0.312, lowest = expm1(duty * period) / expm1(period);
    struct dw_modes *modes = lag(&one, NULL);
    const struct drive drive = pulses(12, period, duty, 1, 0);
    const struct asked asked = { .modes = modes, .outputs = 1, .state = &lowest, .accuracy = 1, .swing = 1e-6, .carrier = period,
                                 .floor = 0x1p-50 };
    struct drawn d = drawn_of(&asked, &drive);
    ck_assert_uint_le(d.count, 12 * 4 + 1);
    ck_assert_double_le(worst_of(&asked, &drive, &d), 1);
    double low = INFINITY, high = -INFINITY;
    for (size_t i = d.count / 2; i < d.count; i++) {
        low = fmin(low, d.value[i]);
        high = fmax(high, d.value[i]);
    }
    /* a dozen periods of two roundings each */
    within_scale(high - low, expm1(-duty * period) * expm1((duty - 1) * period) / -expm1(-period), 12 * DBL_EPSILON, 1);
    forget_drawn(&d);
    dw_modes_free(modes);
}
END_TEST

/* ---- at random ---- */

static uint64_t seed = 20261129;

static double uniform(void)
{
    seed = seed * 6364136223846793005u + 1442695040888963407u;
    return (double)(seed >> 11) * 0x1p-53;
}

/* A stable system of 1 to 5 states: damping between them and outside, oscillation at will. */
static struct dw_modes *random_modes(size_t *outputs)
{
    const size_t n = 1 + (size_t)(uniform() * 5), p = 1 + (size_t)(uniform() * 3);
    double a[25], b[5], c[15], d[3] = { 0 };
    const double scale[] = { 1, 1, 1 };
    for (size_t i = 0; i < n; i++) {
        b[i] = uniform() - 0.5;
        for (size_t j = 0; j < i; j++) {
            a[i * n + j] = 2 * uniform() - 1;
            a[j * n + i] = -a[i * n + j];
        }
        a[i * n + i] = -pow(10, -3 * uniform());
    }
    for (size_t k = 0; k < n * p; k++)
        c[k] = uniform() - 0.5;
    for (size_t k = 0; k < p; k++)
        d[k] = uniform() < 0.3 ? uniform() : 0;
    struct dw_error error = { .status = DW_OK };
    const struct dw_mode mode = { .name = "only", .a = a, .b = b, .c = c, .d = d };
    struct dw_modes *modes = dw_modes_new(
        &(struct dw_modes_plan){ .states = n, .inputs = 1, .outputs = p, .modes = &mode, .mode_count = 1, .scale = scale }, &error);
    ck_assert_msg(modes != NULL, "%s", error.text);
    *outputs = p;
    return modes;
}

START_TEST(a_copy_of_a_run_gives_the_curves_that_the_run_would_have_given)
{
    /* a swing a hundred times smaller behind the copy: what went before still counts */
    struct dw_modes *modes = lag(&one, NULL);
    struct dw_error error = { .status = DW_OK };
    struct drawn d = { .outputs = 1 }, other = { .outputs = 1 };
    struct dw_run_options options = { .accuracy = 1, .swing = 1e-6, .curves = true, .sink = dwi_draw, .context = &d };
    const double after = 0.99;
    struct dw_run *run = dw_run_new(modes, &options, &error);
    succeeds(dw_run_start(run, 0, 0, zeros, &one, &error), error);
    succeeds(dw_run_feed(run, 5, &one, &error), error);
    options.context = &other;
    struct dw_run *copy = dw_run_copy(run, &options, &error);
    ck_assert_msg(copy != NULL, "%s", error.text);
    const size_t before = d.count;
    for (int i = 0; i < 2; i++) {
        succeeds(dw_run_feed(i ? copy : run, 5, &after, &error), error);
        succeeds(dw_run_feed(i ? copy : run, 9, &after, &error), error);
    }
    ck_assert_uint_eq(other.count, d.count - before);
    ck_assert_mem_eq(other.time, d.time + before, other.count * sizeof *d.time);
    ck_assert_mem_eq(other.slope, d.slope + before, other.count * sizeof *d.slope);
    dw_run_free(copy);
    dw_run_free(run);
    forget_drawn(&d);
    forget_drawn(&other);
    dw_modes_free(modes);
}
END_TEST

START_TEST(random_systems_are_within_the_tolerance_everywhere_and_monotone_between_rows)
{
    double worst = 0;
    for (int i = 0; i < 200; i++) {
        struct asked asked = { .state = zeros, .accuracy = pow(10, -4 - 4 * uniform()), .swing = pow(10, -3 - 3 * uniform()) };
        asked.modes = random_modes(&asked.outputs);
        asked.floor = 0x1p-49;  /* the outputs sum up to some scales, as do the reference's */
        const double period = pow(10, 3 * uniform() - 2);
        const struct drive drive = pulses(5, period, 0.01 + 0.98 * uniform(), 1, uniform() < 0.5 ? 0 : 1e-3 * period);
        asked.carrier = uniform() < 0.5 ? period : 0;
        struct drawn d = drawn_of(&asked, &drive);
        const double share = worst_of(&asked, &drive, &d);
        ck_assert_msg(share <= 1, "system %d from seed 20261129: %g of what is allowed", i, share);
        worst = fmax(worst, share);
        forget_drawn(&d);
        dw_modes_free(asked.modes);
    }
    ck_assert_double_ge(worst, 0.9);  /* the bounds are sharp, too */
}
END_TEST

/* Counts rows, and those that have slopes. */
static enum dw_status count_slopes(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    size_t *count = context;
    (void)error;
    count[0]++;
    count[1] += row->slope != NULL;
    return DW_OK;
}

START_TEST(curves_need_a_swing_that_is_a_number_and_no_slopes_come_with_lines_or_at_a_rate)
{
    struct dw_modes *modes = lag(&one, NULL);
    struct dw_error error = { .status = DW_OK };
    for (int i = 0; i < 3; i++) {
        size_t count[2] = { 0 };
        struct dw_run *run = dw_run_new(modes, &(struct dw_run_options){ .accuracy = 1e-4, .swing = 1e-4, .curves = i > 0,
                                               .uniform = i == 1 ? 10 : 0, .sink = count_slopes, .context = count }, &error);
        ck_assert_msg(run != NULL, "%s", error.text);
        succeeds(dw_run_start(run, 0, 0, zeros, &one, &error), error);
        succeeds(dw_run_feed(run, 1, &one, &error), error);
        succeeds(dw_run_finish(run, &error), error);
        ck_assert_uint_ge(count[0], 3);
        ck_assert_uint_eq(count[1], i == 2 ? count[0] : 0);
        dw_run_free(run);
    }
    ck_assert_ptr_null(dw_run_new(modes, &(struct dw_run_options){ .curves = true, .swing = -1 }, &error));
    ck_assert_str_eq(error.text, "swing -1, carrier period 0 s: must be finite and not below zero");
    ck_assert_ptr_null(dw_run_new(modes, &(struct dw_run_options){ .curves = true, .carrier = NAN }, &error));
    ck_assert_str_eq(error.text, "swing 0, carrier period nan s: must be finite and not below zero");
    dw_modes_free(modes);
}
END_TEST

SUITE("linear: curves", an_exponential_takes_few_pieces_and_is_the_closed_form,
      where_the_input_bends_a_row_stands_for_either_side_and_only_where_the_output_feels_it,
      a_ringing_of_quality_1000_has_its_extrema_as_rows_with_no_slope,
      a_swing_of_a_millionth_of_the_mean_is_known_to_a_millionth_of_itself,
      a_copy_of_a_run_gives_the_curves_that_the_run_would_have_given,
      random_systems_are_within_the_tolerance_everywhere_and_monotone_between_rows,
      curves_need_a_swing_that_is_a_number_and_no_slopes_come_with_lines_or_at_a_rate)
