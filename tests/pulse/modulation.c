/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "pulse/record.h"
#include <float.h>

static const double pi = 3.14159265358979323846;
enum { MANY = 2001 };

/* A sine and its third harmonic, sampled at unequal distances. */
static void fill_sine(double *time, double *duty, double begin, double length, double depth)
{
    for (int i = 0; i < MANY; i++) {
        const double share = (double)i / (MANY - 1);
        time[i] = begin + length * (share + 0.1 * sin(2 * pi * share) / (2 * pi));
        const double angle = 2 * pi * (time[i] - begin) / length;
        duty[i] = 0.5 + depth * (sin(angle) + sin(3 * angle + 0.3) / 6) / 2;
    }
}

static double duty_at(const struct points *points, double time)
{
    size_t i = 1;
    while (i + 1 < points->count && points->time[i] <= time)
        i++;
    const double share = (time - points->time[i - 1]) / (points->time[i] - points->time[i - 1]);
    return points->duty[i - 1] + share * (points->duty[i] - points->duty[i - 1]);
}

START_TEST(regular_sampling_holds_the_duty_at_each_periods_start)
{
    static double time[MANY], duty[MANY];
    static const enum dw_alignment alignments[] = { DW_ALIGN_LEFT, DW_ALIGN_CENTRE, DW_ALIGN_RIGHT };
    fill_sine(time, duty, 0.013, 0.02, 0.8);
    for (int a = 0; a < 3; a++) {
        struct points points = { time, duty, MANY, 0 };
        struct dw_pulse_train train = { .period = 1 / 3217.0, .high = 3.3, .low = 0.2, .alignment = alignments[a],
                                        .points = next_point, .context = &points, .steps = a ? 0 : 255 };
        const struct record record = record_of(train);
        double on[80], off[80];
        ck_assert_double_eq(record.origin, 0.013);
        ck_assert_double_eq(time_of(&record, 0), 0.013);
        ck_assert_double_eq(time_of(&record, record.count - 1), time[MANY - 1]);
        ck_assert_double_eq(record.period, 0);
        const size_t rises = crossings_of(&record, 0, 1.75, true, on, 80);
        const size_t falls = crossings_of(&record, 0, 1.75, false, off, 80);
        ck_assert_uint_ge(rises, 62);
        ck_assert_uint_ge(falls, 62);
        for (size_t k = 1; k < 62; k++) {
            const double start = 0.013 + (double)k * train.period;
            const double given = dw_duty_given(duty_at(&points, start), train.steps, NULL), width = given * train.period;
            const double begins = alignments[a] == DW_ALIGN_LEFT ? 0
                                  : alignments[a] == DW_ALIGN_CENTRE ? (train.period - width) / 2 : train.period - width;
            /* the record begins high when aligned left: no rise of period 0 */
            const double rise = on[alignments[a] == DW_ALIGN_LEFT ? k - 1 : k];
            const double fall = off[k];
            /* a few ulp of 0.033 s: start, place, their sum, and the interpolation in the duty's table */
            within_scale(rise, start + begins, 8 * DBL_EPSILON, 0.033);
            within_scale(fall, start + begins + width, 8 * DBL_EPSILON, 0.033);
        }
        free(record.rows);
    }
}
END_TEST

/* Carrier at a place 0..1 of the period. */
static double carrier(enum dw_alignment alignment, double place)
{
    return alignment == DW_ALIGN_LEFT ? place : alignment == DW_ALIGN_RIGHT ? 1 - place : fabs(1 - 2 * place);
}

START_TEST(natural_sampling_puts_each_edge_on_the_crossing_and_on_the_first_one)
{
    static double time[MANY], duty[MANY];
    static const enum dw_alignment alignments[] = { DW_ALIGN_LEFT, DW_ALIGN_CENTRE, DW_ALIGN_RIGHT };
    fill_sine(time, duty, 0, 0.02, 0.8);
    for (int a = 0; a < 3; a++) {
        struct points points = { time, duty, MANY, 0 };
        struct dw_pulse_train train = { .period = 1 / 2000.0, .high = 3.3, .low = 0.2, .alignment = alignments[a],
                                        .modulation = DW_NATURAL, .points = next_point, .context = &points };
        const struct record record = record_of(train);
        double edges[2][48];
        const size_t rises = crossings_of(&record, 0, 1.75, true, edges[1], 48);
        const size_t falls = crossings_of(&record, 0, 1.75, false, edges[0], 48);
        ck_assert_uint_eq(rises, alignments[a] == DW_ALIGN_LEFT ? 39 : 40);
        ck_assert_uint_eq(falls, alignments[a] == DW_ALIGN_RIGHT ? 39 : 40);
        for (int rising = 0; rising < 2; rising++) {
            if (alignments[a] == (rising ? DW_ALIGN_LEFT : DW_ALIGN_RIGHT))
                continue;  /* on the boundary, not on a crossing */
            for (int k = 0; k < 40; k++) {
                const double edge = edges[rising][k], place = (edge - k * train.period) / train.period;
                /* the carrier's slope is 2 a period, so that an ulp of 0.02 s counts 80 times */
                within_scale(duty_at(&points, edge), carrier(alignments[a], place), 200 * DBL_EPSILON, 1);
                const double from = alignments[a] == DW_ALIGN_CENTRE && !rising ? 0.5 : 0;
                for (double before = from + 1e-4; before < place - 1e-9; before += 1e-3) {
                    const double ahead = duty_at(&points, (k + before) * train.period) - carrier(alignments[a], before);
                    ck_assert_msg(rising ? ahead < 0 : ahead > 0, "period %d crosses before %g, at %g", k, place, before);
                }
            }
        }
        free(record.rows);
    }
}
END_TEST

/* A duty that jumps, turns and leaves 0..1, from a fixed crooked sequence (linear congruence, Knuth's multiplier). */
static size_t fill_jagged(double *time, double *duty, uint64_t seed)
{
    double now = 0.1;
    for (size_t i = 0; i < MANY; i++) {
        double number[3];
        for (int k = 0; k < 3; k++) {
            seed = seed * 6364136223846793005u + 1442695040888963407u;
            number[k] = (double)(seed >> 11) * 0x1p-53;
        }
        now += number[0] < 0.3 ? 0 : number[1] * 0.01;  /* three in ten are jumps */
        time[i] = now;
        duty[i] = 1.4 * number[2] - 0.2;
    }
    return MANY;
}

/* First place in [from, to] of a period, searched through all pieces in long double, where above (carrier - duty, or its
 * negative with sign -1) is zero or more; `to` where there is none. */
static long double first_place(const struct points *points, enum dw_alignment alignment, double begin, double period,
                               long double from, long double to, int sign)
{
    for (size_t i = 1; i < points->count; i++) {
        const long double length = (long double)points->time[i] - points->time[i - 1];
        const long double a = fmaxl((points->time[i - 1] - (long double)begin) / period, from);
        const long double b = fminl((points->time[i] - (long double)begin) / period, to);
        if (length <= 0 || b <= a)
            continue;
        long double g[2];
        for (int end = 0; end < 2; end++) {
            const long double place = end ? b : a, at = begin + place * period;
            const long double value = points->duty[i - 1]
                                      + ((long double)points->duty[i] - points->duty[i - 1]) * (at - points->time[i - 1]) / length;
            const long double wave = alignment == DW_ALIGN_LEFT ? place : alignment == DW_ALIGN_RIGHT ? 1 - place
                                                                                             : fabsl(1 - 2 * place);
            g[end] = sign * (wave - value);
        }
        if (g[0] >= 0)
            return a;
        if (g[1] >= 0)
            return a + (b - a) * g[0] / (g[0] - g[1]);
    }
    return to;
}

START_TEST(natural_sampling_of_a_jagged_duty_is_what_a_search_of_every_piece_finds)
{
    static double time[MANY], duty[MANY];
    for (int a = DW_ALIGN_LEFT; a <= DW_ALIGN_RIGHT; a++)
        for (uint64_t seed = 1; seed <= 6; seed++) {
            struct points points = { time, duty, fill_jagged(time, duty, seed), 0 };
            const double period = 0.003 + 0.02 * (double)(seed % 3);
            struct dw_pulse_train train = { .period = period, .high = 1, .alignment = (enum dw_alignment)a,
                                            .modulation = DW_NATURAL, .points = next_point, .context = &points };
            const struct record record = record_of(train);
            size_t row = 0;
            const double last = time[MANY - 1];
            for (double k = 0; fma(k + 1, period, time[0]) < last; k++) {
                const double begin = fma(k, period, time[0]);
                long double on = 0, off = 1;
                if (a == DW_ALIGN_LEFT)
                    off = first_place(&points, DW_ALIGN_LEFT, begin, period, 0, 1, 1);
                else if (a == DW_ALIGN_RIGHT)
                    on = first_place(&points, DW_ALIGN_RIGHT, begin, period, 0, 1, -1);
                else {
                    on = first_place(&points, DW_ALIGN_CENTRE, begin, period, 0, 0.5L, -1);
                    off = first_place(&points, DW_ALIGN_CENTRE, begin, period, 0.5L, 1, 1);
                }
                /* the level a little before, between and after both edges */
                const double places[4] = { (double)(on / 2), (double)(on + (off - on) / 1024), (double)(off - (off - on) / 1024),
                                           (double)(off + (1 - off) / 2) };
                for (int i = 0; i < 4; i++) {
                    const double at = begin + places[i] * period;
                    if ((i == 0 && on < 1e-9L) || ((i == 1 || i == 2) && off - on < 1e-9L) || (i == 3 && off > 1 - 1e-9L))
                        continue;
                    while (time_of(&record, row + 1) <= at)
                        row++;
                    ck_assert_msg(value_of(&record, row, 0) == (i == 1 || i == 2), "alignment %d, seed %d, period %g, place %g",
                                  a, (int)seed, k, places[i]);
                }
            }
            free(record.rows);
        }
}
END_TEST

START_TEST(natural_sampling_of_a_constant_is_regular_sampling)
{
    static const double time[] = { 0, 0.5, 2.2 }, duty[] = { 0.37, 0.37, 0.37 };
    for (int a = DW_ALIGN_LEFT; a <= DW_ALIGN_RIGHT; a++)
        for (int phase = 0; phase < 2; phase++) {
            struct dw_pulse_train train = { .period = 0.1, .high = 5, .alignment = (enum dw_alignment)a,
                                            .points = next_point, .periods = 20, .phase = 0.3 * phase };
            struct record records[2];
            for (int natural = 0; natural < 2; natural++) {
                struct points points = { time, duty, 3, 0 };
                train.context = &points;
                train.modulation = natural ? DW_NATURAL : DW_REGULAR;
                records[natural] = record_of(train);
            }
            ck_assert_uint_eq(records[0].count, records[1].count);
            for (size_t i = 0; i < records[0].count; i++) {
                within_scale(time_of(&records[1], i), time_of(&records[0], i), 2 * DBL_EPSILON, 2);
                ck_assert_double_eq(value_of(&records[1], i, 0), value_of(&records[0], i, 0));
            }
            free(records[0].rows);
            free(records[1].rows);
        }
}
END_TEST

START_TEST(a_jump_of_the_duty_through_the_carrier_is_an_edge_at_the_jump)
{
    static const double time[] = { 0, 0.2, 0.2, 1.75, 1.75, 3 }, duty[] = { 0.3, 0.3, 0.9, 0.9, 0.1, 0.1 };
    struct points points = { time, duty, 6, 0 };
    struct dw_pulse_train train = { .period = 1, .high = 1, .alignment = DW_ALIGN_RIGHT, .modulation = DW_NATURAL,
                                    .points = next_point, .context = &points, .periods = 3 };
    struct record record = record_of(train);
    double edges[8];
    ck_assert_uint_eq(crossings_of(&record, 0, 0.5, true, edges, 8), 3);
    ck_assert_double_eq(edges[0], 0.2);  /* duty 0.9 is above the ramp's 0.8 at once */
    ck_assert_double_eq(edges[1], 1.1);
    ck_assert_double_eq(edges[2], 2.9);
    free(record.rows);
    points.next = 0;
    train.alignment = DW_ALIGN_LEFT;
    record = record_of(train);
    ck_assert_uint_eq(crossings_of(&record, 0, 0.5, false, edges, 8), 3);
    near(edges[0], 0.9, DBL_EPSILON);     /* the jump lifts the duty before the ramp is there */
    ck_assert_double_eq(edges[1], 1.75);  /* and here drops it below */
    ck_assert_double_eq(edges[2], 2.1);
    free(record.rows);
}
END_TEST

START_TEST(a_touch_of_the_carrier_is_a_crossing)
{
    static const double time[] = { 0, 0.5, 0.5, 1 }, duty[] = { 0, 0, 0.5, -1 };  /* to the ramp, then down faster */
    struct points points = { time, duty, 4, 0 };
    struct dw_pulse_train train = { .period = 1, .high = 1, .alignment = DW_ALIGN_RIGHT, .modulation = DW_NATURAL,
                                    .points = next_point, .context = &points, .periods = 1 };
    const struct record record = record_of(train);
    double on = 0;
    ck_assert_uint_eq(crossings_of(&record, 0, 0.5, true, &on, 1), 1);
    ck_assert_double_eq(on, 0.5);
    free(record.rows);
}
END_TEST

START_TEST(a_duty_outside_zero_to_one_is_clipped_and_said)
{
    static const double time[] = { 0, 10 }, duty[] = { -0.5, 1.5 };
    for (int modulation = DW_REGULAR; modulation <= DW_DENSITY; modulation++) {
        struct points points = { time, duty, 2, 0 };
        struct dw_pulse_train train = { .period = 0.01, .high = 1, .alignment = DW_ALIGN_CENTRE, .points = next_point,
                                        .modulation = (enum dw_modulation)modulation, .context = &points };
        const struct record record = record_of(train);
        ck_assert(record.findings.clipped);
        ck_assert_double_eq(record.findings.lowest, -0.5);
        within_scale(record.findings.highest, 1.5, 1.1e-3, 1);  /* met last a period before the end: slope 0.2/s */
        ck_assert(!record.findings.ended_early);
        double on[1200], off[1200];
        const size_t n = crossings_of(&record, 0, 0.5, true, on, 1200), m = crossings_of(&record, 0, 0.5, false, off, 1200);
        ck_assert_uint_eq(n, m + 1);  /* it ends high */
        if (modulation != DW_DENSITY)
            within_scale(mean_of(&record, 0), 0.5, modulation == DW_NATURAL ? 1e-6 : 1.1e-3, 1);
        ck_assert_double_ge(on[0], 2.5);
        /* near duty 1 a density is off once in 1/(1 - duty) clocks: the last time when the integral of 1 - duty over the
         * clocks still to come until 7.5 s is one, at 0.32 s before, or up to as much again earlier */
        ck_assert_double_ge(on[n - 1], modulation == DW_DENSITY ? 6.8 : 7.4);
        ck_assert_double_le(on[n - 1], 7.51);
        free(record.rows);
    }
}
END_TEST

START_TEST(rounding_outside_zero_to_one_is_not_clipping)
{
    static const double time[] = { 0, 1 }, duty[] = { -4.4e-16, 1 + 8.8e-16 };
    struct points points = { time, duty, 2, 0 };
    struct dw_pulse_train train = { .period = 1e-3, .high = 1, .points = next_point, .context = &points, .periods = 1e3 };
    const struct record record = record_of(train);
    ck_assert(!record.findings.clipped);
    free(record.rows);
}
END_TEST

START_TEST(the_train_ends_with_its_points_however_it_was_cut)
{
    static const double time[] = { 0.5, 0.6, 0.7013 }, duty[] = { 0.2, 1, 1 };
    static const double periods[] = { 0.001, 0.01, 0.03, 0.19, 0.25, 3 };
    for (int i = 0; i < 6; i++)
        for (int modulation = DW_REGULAR; modulation <= DW_DENSITY; modulation++)
            for (int jitter = 0; jitter < 2; jitter++)
                for (int asked = 0; asked < 2; asked++) {
                    struct points points = { time, duty, 3, 0 };
                    struct dw_pulse_train train = { .period = periods[i], .high = 1, .points = next_point,
                                                    .context = &points, .modulation = (enum dw_modulation)modulation,
                                                    .jitter = jitter * 0.4 * periods[i], .duration = asked * 9.0 };
                    const struct record record = record_of(train);
                    ck_assert_double_eq(time_of(&record, 0), 0.5);
                    ck_assert_double_eq(time_of(&record, record.count - 1), 0.7013);
                    ck_assert(record.findings.ended_early == (asked == 1));
                    free(record.rows);
                }
}
END_TEST

START_TEST(points_that_end_with_the_record_but_for_rounding_do_not_end_early)
{
    /* three periods of 0.1 s end one ulp behind 0.3 s */
    static const double time[] = { 0, 0.3 }, duty[] = { 0.2, 0.8 };
    struct points points = { time, duty, 2, 0 };
    const struct record record = record_of((struct dw_pulse_train){ .period = 0.1, .high = 1, .periods = 3, .points = next_point,
                                                                    .context = &points });
    ck_assert(3 * 0.1 > 0.3);
    ck_assert(!record.findings.ended_early);
    free(record.rows);
}
END_TEST

START_TEST(a_record_shorter_than_its_points_does_not_read_them_all)
{
    static double time[MANY], duty[MANY];
    fill_sine(time, duty, 0, 1, 0.8);
    struct points points = { time, duty, MANY, 0 };
    struct dw_pulse_train train = { .period = 1e-3, .high = 1, .points = next_point, .context = &points, .duration = 0.1 };
    const struct record record = record_of(train);
    ck_assert(!record.findings.ended_early);
    ck_assert_double_eq(record.findings.end, 0.1);
    ck_assert_uint_lt(points.next, MANY / 5);
    free(record.rows);
}
END_TEST

START_TEST(a_density_is_as_even_as_can_be)
{
    static const struct {
        int p, q;
    } cases[] = { { 3, 8 }, { 1, 2 }, { 5, 8 }, { 37, 100 }, { 64, 255 }, { 1, 97 }, { 96, 97 }, { 610, 987 } };
    for (size_t c = 0; c < sizeof cases / sizeof cases[0]; c++) {
        const int p = cases[c].p, q = cases[c].q;
        struct dw_pulse_train train = { .period = 1, .high = 1, .duty = (double)p / q, .modulation = DW_DENSITY, .periods = 2 };
        const struct record record = record_of(train);
        ck_assert_double_eq(record.period, q);
        ck_assert_double_eq(time_of(&record, record.count - 1), 2 * q);
        bool on[2 * 1000];
        size_t row = 0;
        for (int n = 0; n < 2 * q; n++) {
            while (time_of(&record, row + 1) <= n)
                row++;
            on[n] = value_of(&record, row + 1, 0) == 1;
        }
        for (int from = 0; from < q; from++) {
            ck_assert(on[from] == on[from + q]);
            for (int length = 1, count = 0; length <= q; length++) {
                count += on[from + length - 1];  /* any stretch holds its share but for less than one clock */
                ck_assert_msg(abs(count * q - length * p) < q, "%d/%d: %d on of %d from %d", p, q, count, length, from);
            }
        }
        ck_assert(on[0]);
        within_scale(mean_of(&record, 0), (double)p / q, 4 * q * DBL_EPSILON, 1);
        free(record.rows);
    }
}
END_TEST

START_TEST(a_density_that_changes_owes_less_than_a_clock)
{
    static double time[MANY], duty[MANY];
    fill_sine(time, duty, 0, 1, 0.9);
    struct points points = { time, duty, MANY, 0 };
    struct dw_pulse_train train = { .period = 1 / 8192.0, .high = 1, .points = next_point, .context = &points,
                                    .modulation = DW_DENSITY };
    const struct record record = record_of(train);
    double wanted = 0, got = 0;
    size_t row = 0;
    for (int n = 0; n < 8192; n++) {
        while (time_of(&record, row + 1) <= n / 8192.0)
            row++;
        wanted += duty_at(&points, n / 8192.0);
        got += value_of(&record, row + 1, 0);
        ck_assert_double_lt(got - wanted, 1);
        ck_assert_double_gt(got - wanted, -1e-9);  /* rounding of 8192 additions */
    }
    free(record.rows);
}
END_TEST

START_TEST(short_pulses_with_slow_edges_turn_round_and_are_counted)
{
    static const double time[] = { 0, 4 }, duty[] = { 0.1, 0.1 };
    struct points points = { time, duty, 2, 0 };
    struct dw_pulse_train train = { .period = 1, .high = 4, .points = next_point, .context = &points, .rise = 0.2, .fall = 0.4 };
    const struct record record = record_of(train);
    static const double rows[][2] = { { 0, 0 }, { 0.1, 2 }, { 0.3, 0 }, { 1, 0 }, { 1.1, 2 }, { 1.3, 0 } };
    for (size_t i = 0; i < 6; i++) {
        within_scale(time_of(&record, i), rows[i][0], 4 * DBL_EPSILON, 1.3);
        within_scale(value_of(&record, i, 0), rows[i][1], 16 * DBL_EPSILON, 4);
    }
    ck_assert_uint_eq(record.findings.partial, 4);
    free(record.rows);
}
END_TEST

SUITE("pulse: modulation", regular_sampling_holds_the_duty_at_each_periods_start,
      natural_sampling_puts_each_edge_on_the_crossing_and_on_the_first_one,
      natural_sampling_of_a_jagged_duty_is_what_a_search_of_every_piece_finds,
      natural_sampling_of_a_constant_is_regular_sampling, a_jump_of_the_duty_through_the_carrier_is_an_edge_at_the_jump,
      a_touch_of_the_carrier_is_a_crossing,
      a_duty_outside_zero_to_one_is_clipped_and_said, rounding_outside_zero_to_one_is_not_clipping,
      the_train_ends_with_its_points_however_it_was_cut, points_that_end_with_the_record_but_for_rounding_do_not_end_early,
      a_record_shorter_than_its_points_does_not_read_them_all,
      a_density_is_as_even_as_can_be, a_density_that_changes_owes_less_than_a_clock,
      short_pulses_with_slow_edges_turn_round_and_are_counted)
