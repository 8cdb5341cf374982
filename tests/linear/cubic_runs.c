/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Runs of modes along cubics of the input: events, rows, integrals, orbits; and where those are lines. */
#include "linear/cubics.h"

static const double minus_one = -1;

/* x' = rate (u - x), y = x and u; the guard level - c x - d u leads to a mode that is the same. */
struct lag {
    double a, b, x[1], u[1], outputs[4];
    struct dw_guard guard;
    struct dw_mode modes[2];
};

static struct dw_modes *lag(struct lag *lag, double rate, double c, double d, double level)
{
    static const double y[] = { 1, 0 }, of_input[] = { 0, 1 };
    lag->a = -rate;
    lag->b = rate;
    lag->x[0] = -c;
    lag->u[0] = -d;
    lag->guard = (struct dw_guard){ .state = lag->x, .input = lag->u, .offset = level, .scale = 1, .next = 1 };
    lag->modes[0] = (struct dw_mode){ .a = &lag->a, .b = &lag->b, .c = y, .d = of_input, .guards = &lag->guard, .guard_count = 1 };
    lag->modes[1] = (struct dw_mode){ .a = &lag->a, .b = &lag->b, .c = y, .d = of_input };
    return modes_of(&(struct dw_modes_plan){ .states = 1, .inputs = 1, .outputs = 2, .modes = lag->modes, .mode_count = 2, .scale = units });
}

START_TEST(a_bulge_breaks_a_guard_that_a_line_from_end_to_end_would_miss)
{
    for (double depth = 1; depth > 1e-11; depth /= 7) {
        /* u = 4 (1 + depth) s (1 - s) over 3 s, from 0 to 0: passes 1 at s = (1 - (depth / (1 + depth))^(1/2)) / 2 */
        const double slope = 4 * (1 + depth) / 3, down = -slope, zero = 0;
        struct lag of;
        struct dw_modes *modes = lag(&of, 0.7, 0, 1, 1);
        struct dw_run *run = start_keeping(modes, 0, 0, &zero, &zero);
        feed_curve(run, 3, &zero, &slope, &down);
        ck_assert_uint_eq(dw_run_events(run), 1);
        /* in 1e-12 of the stretch; of a dip so shallow also what 4 ulp of u are worth */
        within_scale(time_of(DW_ROW_BEFORE, 0), 1.5 * (1 - sqrt(depth / (1 + depth))), 1e-12 + 4 * DBL_EPSILON / sqrt(depth), 3);
        dw_run_free(run);
        dw_modes_free(modes);
    }
}
END_TEST

/* A cubic from u0 to u1 over a length, with slopes. */
struct arc {
    double length, from, to, begin, end;
};

static double arc_at(const struct arc *arc, double t, int order)
{
    const double h = arc->length, rise = arc->to - arc->from, c1 = h * arc->begin, c2 = 3 * rise - 2 * c1 - h * arc->end,
                 c3 = c1 + h * arc->end - 2 * rise, s = t / h;
    return order == 0 ? arc->from + s * (c1 + s * (c2 + s * c3)) : order == 1 ? (c1 + s * (2 * c2 + s * 3 * c3)) / h :
           order == 2 ? (2 * c2 + s * 6 * c3) / (h * h) : 6 * c3 / (h * h * h);
}

/* x' = rate (u - x) from x0. */
static double answer_at(const struct arc *arc, double rate, double x0, double t)
{
    double p = 0, p0 = 0, power = 1;
    for (int k = 0; k < 4; k++, power /= -rate) {
        p += power * arc_at(arc, t, k);
        p0 += power * arc_at(arc, 0, k);
    }
    return p + (x0 - p0) * exp(-rate * t);
}

START_TEST(the_highest_point_behind_a_lag_decides_however_near_the_guard_is)
{
    int interior = 0;
    for (int trial = 0; trial < 300; trial++) {
        /* a rate of 1/2 and up, lest the closed form lose its digits: 1/rate^3 times up to 60 */
        const double rate = 0.5 * pow(10, between(0, 5)), x0 = between(-1, 1), from = between(-1, 1), to = between(-1, 1), begin = between(-9, 9);
        const struct arc arc = { 1, from, to, begin, between(-9, 9) };
        double highest = x0, at = 0;
        for (int i = 0; i <= 4000; i++)
            if (answer_at(&arc, rate, x0, i / 4000.0) > highest)
                highest = answer_at(&arc, rate, x0, at = i / 4000.0);
        for (double step = 1 / 4000.0; step > 1e-9; step /= 2)
            for (int side = -1; side <= 1; side += 2)
                if (at + side * step > 0 && at + side * step < 1 && answer_at(&arc, rate, x0, at + side * step) > highest)
                    highest = answer_at(&arc, rate, x0, at += side * step);
        if (at == 0 || at == 1)
            continue;
        interior++;
        const double depth = pow(10, -between(2, 9));
        for (int above = 0; above < 2; above++) {
            struct lag of;
            /* the closed form is known to 16 ulp of its terms, up to 500 */
            const double level = highest + (above ? 1 : -1) * depth - (above ? -1 : 1) * 2e-12;
            struct dw_modes *modes = lag(&of, rate, 1, 0, level);
            struct dw_run *run = start_keeping(modes, 0, 0, &x0, &arc.from);
            if (x0 < level) {
                feed_curve(run, 1, &arc.to, &arc.begin, &arc.end);
                ck_assert_msg(dw_run_events(run) == !above, "trial %d: %g %s the highest point at %g s of rate %g", trial, depth,
                              above ? "above" : "below", at, rate);
                if (!above)  /* within the slope, 1e5, times the instant's 1e-12, and 16 ulp of terms up to 500 */
                    within_scale(answer_at(&arc, rate, x0, time_of(DW_ROW_BEFORE, 0)), level, 1e-6, 1);
            }
            dw_run_free(run);
            dw_modes_free(modes);
        }
    }
    ck_assert_int_ge(interior, 100);
}
END_TEST

/* x'' = u - x - x'/Q beside a stiff third state that follows u and turns the oscillator a little. */
static struct dw_modes *stiff_oscillator(double fast)
{
    const double a[] = { 0, 1, 0, -1, -0.2, 0.1, 0, 0, -fast }, b[] = { 0, 1, fast }, c[] = { 1, 0, 0, 0, 1, 0, 0, 0, 1 }, d[] = { 0, 0.5, 0 };
    const struct dw_mode mode = { .a = a, .b = b, .c = c, .d = d };
    return modes_of(&(struct dw_modes_plan){ .states = 3, .inputs = 1, .outputs = 3, .modes = &mode, .mode_count = 1, .scale = units });
}

START_TEST(curves_along_cubics_are_as_close_as_they_promise_monotone_and_few)
{
    static const double fast[] = { 5, 1e3, 1e8 }, lengths[] = { 0.01, 0.7, 6 };
    double worst = 0;
    for (int i = 0; i < 3; i++)
        for (int k = 0; k < 3; k++) {
            const struct drive drive = random_drive(14, lengths[k]);
            const struct asked asked = { .modes = stiff_oscillator(fast[i]), .outputs = 3, .state = nothing, .accuracy = 1e-6, .swing = 5e-5,
                                         .floor = 4e-15 };
            struct drawn d = drawn_of(&asked, &drive);
            const double share = worst_of(&asked, &drive, &d);
            ck_assert_msg(share <= 1, "rate %g, length %g: %g of what is allowed", fast[i], lengths[k], share);
            ck_assert_uint_le(d.count, 700);
            worst = fmax(worst, share);
            forget_drawn(&d);
            dw_modes_free(asked.modes);
        }
    ck_assert_double_ge(worst, 0.5);
}
END_TEST

/* Rows at one time do not go back; between rows lines are within the accuracy of the outputs as another run has them. */
START_TEST(lines_along_a_cubic_are_within_the_accuracy_and_extrema_have_rows)
{
    const double accuracy = 1e-4;
    struct lag of;
    struct dw_error error = { .status = DW_OK };
    struct dw_modes *modes = lag(&of, 4, 1, 0, 99);
    const struct arc arc = { 2, 0, 0.3, 3, -5 };
    struct dw_run *run = start_keeping(modes, accuracy, 0, nothing, &arc.from);
    feed_curve(run, arc.length, &arc.to, &arc.begin, &arc.end);
    ck_assert_uint_ge(record.count, 40);
    ck_assert_uint_le(record.count, 240);
    for (size_t i = 0; i + 1 < record.count; i++)
        for (int s = 0; s <= 8; s++) {
            const double from = record.rows[i].time, t = from + (record.rows[i + 1].time - from) * s / 8;
            const double line = record.output[i] + (record.output[i + 1] - record.output[i]) * s / 8;
            within_scale(line, answer_at(&arc, 4, 0, t), accuracy * (1 + 1e-9), 1);
        }
    const size_t top = row_of(DW_ROW_EXTREMUM, 1);  /* that of u comes first */
    ck_assert_uint_lt(top, MOST);
    within_scale(4 * (arc_at(&arc, record.rows[top].time, 0) - record.output[top]), 0, 1e-11, 1);
    dw_run_free(run);
    size_t rows = 0;
    run = dw_run_new(modes, &(struct dw_run_options){ .uniform = 8, .sink = count_rows, .context = &rows }, &error);
    succeeds(dw_run_start(run, 0, 0, nothing, &arc.from, &error), error);
    feed_curve(run, arc.length, &arc.to, &arc.begin, &arc.end);
    succeeds(dw_run_finish(run, &error), error);
    ck_assert_uint_eq(rows, 17);
    double y[2], slope[2];
    dw_run_output(run, y, slope);
    within_scale(y[0], answer_at(&arc, 4, 0, 2), 1e-14, 1);
    within_scale(slope[0], 4 * (0.3 - y[0]), 1e-14, 1);
    within_scale(slope[1], -5, 1e-15, 5);
    dw_run_free(run);
    dw_modes_free(modes);
}
END_TEST

static enum dw_status check_uniform(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    (void)error;
    within_scale(row->output[0], answer_at(context, 4, 0, row->time), 1e-14, 1);
    within_scale(row->output[1], arc_at(context, row->time, 0), 1e-15, 4);
    return DW_OK;
}

START_TEST(uniform_rows_and_copies_are_on_the_solution)
{
    struct lag of;
    struct dw_error error = { .status = DW_OK };
    struct dw_modes *modes = lag(&of, 4, 1, 0, 99);
    struct arc arc = { 2, 0, 0.3, 3, -5 };
    struct dw_run *run = dw_run_new(modes, &(struct dw_run_options){ .uniform = 37, .sink = check_uniform, .context = &arc }, &error);
    succeeds(dw_run_start(run, 0, 0, nothing, &arc.from, &error), error);
    feed_curve(run, arc.length, &arc.to, &arc.begin, &arc.end);
    struct dw_run *copy = dw_run_copy(run, &(struct dw_run_options){ .sink = NULL }, &error);
    double slope[2][2], y[2][2];
    dw_run_output(run, y[0], slope[0]);
    dw_run_output(copy, y[1], slope[1]);
    ck_assert_mem_eq(slope[0], slope[1], sizeof slope[0]);
    feed_curve(copy, 3, &one, &minus_one, &minus_one);
    run = (dw_run_free(run), copy);
    arc = (struct arc){ 1, 0.3, 1, -1, -1 };
    within_scale(dw_run_state(run)[0], answer_at(&arc, 4, y[0][0], 1), 1e-14, 1);
    dw_run_free(run);
    dw_modes_free(modes);
}
END_TEST

/* Each from modes that have kept nothing of other lengths. */
static struct drawn drawn_afresh(bool smooth, const struct drive *drive)
{
    const struct asked asked = { .modes = smooth ? make(&halving) : stiff_oscillator(300), .outputs = smooth ? 1 : 3, .state = nothing,
                                 .accuracy = 1e-6, .swing = 5e-5 };
    const struct drawn d = drawn_of(&asked, drive);
    dw_modes_free(asked.modes);
    return d;
}

START_TEST(slopes_of_the_chord_give_the_rows_of_lines_to_the_bit)
{
    for (int i = 0; i < 24; i++) {
        struct drive drive = random_drive(2, 0.7);
        drive.slope[0][0] = drive.slope[1][0] = (drive.input[1][0] - drive.input[0][0]) / drive.time[1];
        struct drawn cubic = drawn_afresh(i % 2, &drive);
        drive.bent = false;
        struct drawn line = drawn_afresh(i % 2, &drive);
        ck_assert_uint_eq(line.count, cubic.count);
        ck_assert_mem_eq(line.time, cubic.time, line.count * sizeof(double));
        ck_assert_mem_eq(line.value, cubic.value, line.count * line.outputs * sizeof(double));
        ck_assert_mem_eq(line.slope, cubic.slope, line.count * line.outputs * sizeof(double));
        forget_drawn(&line);
        forget_drawn(&cubic);
    }
}
END_TEST

START_TEST(integrals_go_on_from_piece_to_piece_and_through_an_event)
{
    static const struct dw_integrand integrand[] = { { 0, DW_ALONE }, { 0, 0 }, { 0, 1 } };
    for (int event = 0; event < 2; event++) {
        struct lag of;
        struct dw_error error = { .status = DW_OK };
        /* an event between two modes that are the same changes nothing */
        struct dw_modes *modes = lag(&of, 4, 1, 0, event ? 0.5 : 99);
        struct dw_run *run = dw_run_new(modes, &(struct dw_run_options){ .integrand = integrand, .integrand_count = 3 }, &error);
        double time = 0, want[3] = { 0 }, x0 = 0;
        succeeds(dw_run_start(run, 0, 0, nothing, nothing, &error), error);
        const struct arc arcs[] = { { 2, 0, 0.3, 3, -5 }, { 0.4, 0.3, -1, 2, 1 }, { 0.7, -1, 1, 2 / 0.7, 2 / 0.7 } };
        for (int k = 0; k < 3; k++) {
            const struct arc *arc = arcs + k;
            feed_curve(run, time += arc->length, &arc->to, &arc->begin, &arc->end);
            enum { PARTS = 400 };  /* Simpson's rule: h^4/180 of a fourth derivative of up to 1e4, with h of 1/400 of 2 s */
            for (int i = 0; i <= PARTS; i++) {
                const double t = arc->length * i / PARTS, w = arc->length / PARTS / 3 * (i % PARTS == 0 ? 1 : i % 2 ? 4 : 2);
                const double x = answer_at(arc, 4, x0, t), u = arc_at(arc, t, 0);
                want[0] += w * x;
                want[1] += w * x * x;
                want[2] += w * x * u;
            }
            x0 = answer_at(arc, 4, x0, arc->length);
        }
        ck_assert_uint_eq(dw_run_events(run), event);
        for (int k = 0; k < 3; k++)
            within_scale(dw_run_integrals(run)[k], want[k], 1e-7, 1);
        static double without[3];
        for (int k = 0; k < 3; k++) {
            if (event)  /* the instant of the event is of no account; sums of four parts instead of three */
                within_scale(dw_run_integrals(run)[k], without[k], 1e-14, 2);
            without[k] = dw_run_integrals(run)[k];
        }
        dw_run_free(run);
        dw_modes_free(modes);
    }
}
END_TEST

/* Two lags, the first of which changes its rate where it meets the input from below, and gives some of itself to the input's part. */
static struct dw_modes *changing(void)
{
    static const double a[2][4] = { { -1, 0, 1, -3 }, { -5, 0, 1, -3 } }, b[] = { 1, 0 }, c[] = { 1, 0 };
    static const double up[] = { -1, 0 }, down[] = { 1, 0 }, input[] = { 0.8 }, away[] = { -0.8 }, reset[] = { 0.9, 0, 0, 1 },
                        of_input[] = { 0.05, 0 };
    static const struct dw_guard guards[] = {
        { .state = up, .input = input, .offset = 0.05, .scale = 1, .next = 1, .reset = reset, .reset_input = of_input },
        { .state = down, .input = away, .offset = 0.05, .scale = 1, .next = 0 } };
    static const struct dw_mode modes[] = { { .name = "slow", .a = a[0], .b = b, .c = c, .guards = guards, .guard_count = 1 },
                                            { .name = "fast", .a = a[1], .b = b, .c = c, .guards = guards + 1, .guard_count = 1 } };
    return modes_of(&(struct dw_modes_plan){ .states = 2, .inputs = 1, .outputs = 1, .modes = modes, .mode_count = 2, .scale = units });
}

/* One lap from a state; the events in it. */
static unsigned long long go_round(struct dw_modes *modes, size_t mode, double *x)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_run *run = start_quietly(modes, mode, x, lap_input);
    for (int i = 1; i < LAP; i++)
        feed_curve(run, lap_time[i], lap_input + i, lap_slope + i - 1, lap_slope + i);
    succeeds(dw_run_feed(run, lap_time[LAP - 1], lap_input, &error), error);
    memcpy(x, dw_run_state(run), 2 * sizeof *x);
    const unsigned long long events = dw_run_events(run);
    dw_run_free(run);
    return events;
}

START_TEST(an_orbit_through_modes_along_cubics_comes_back_and_its_map_is_that_of_differences)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_modes *modes = changing();
    struct dw_steady steady;
    double x[2] = { 0 }, side[2][2];
    size_t mode = 0;
    const struct dw_period period = { lap_time, lap_input, LAP, lap_slope };
    succeeds(dw_modes_steady(modes, &period, &mode, x, &steady, &error), error);
    double after[] = { x[0], x[1] };
    ck_assert_uint_ge(go_round(modes, mode, after), 2);
    within_scale(after[0], x[0], 1e-12, 1);
    within_scale(after[1], x[1], 1e-12, 1);
    /* the map is triangular: its eigenvalues are the derivatives of each state by itself; an event is within 1e-12 of its stretch */
    double radius = 0;
    for (int j = 0; j < 2; j++) {
        for (int s = 0; s < 2; s++) {
            memcpy(side[s], x, sizeof x);
            side[s][j] += s ? 1e-4 : -1e-4;
            go_round(modes, mode, side[s]);
        }
        radius = fmax(radius, fabs(side[1][j] - side[0][j]) / 2e-4);
    }
    within_scale(steady.radius, radius, 1e-6, 1);
    dw_modes_free(modes);
}
END_TEST

/* Lags one behind the other, the second seeing the first through an ideal buffer. */
static const double first_rate = 1 / 4.7e-3, second_rate = 1 / 2.1e-3;

static struct dw_modes *filters(size_t count)
{
    const double a1[] = { -first_rate }, b1[] = { first_rate }, a2[] = { -first_rate, 0, second_rate, -second_rate }, b2[] = { first_rate, 0 };
    const double c1[] = { 1 }, c2[] = { 1, 0, 0, 1 };
    const struct dw_mode mode = { .a = count == 1 ? a1 : a2, .b = count == 1 ? b1 : b2, .c = count == 1 ? c1 : c2 };
    return modes_of(&(struct dw_modes_plan){ .states = count, .inputs = 1, .outputs = count, .modes = &mode, .mode_count = 1, .scale = units });
}

START_TEST(a_filter_fed_with_the_curves_of_another_has_the_orbit_of_both_in_one)
{
    static const double carriers[] = { 1e3, 200, 30 };
    for (int i = 0; i < 3; i++) {
        const double period = 1 / carriers[i], time[] = { 0, 0.312 * period, 0.312 * period, period }, pin[] = { 1, 1, 0, 0 };
        const struct dw_period pulses = { time, pin, 4, NULL };
        struct dw_error error = { .status = DW_OK };
        struct dw_modes *first = filters(1), *both = filters(2), *second;
        double x[1], whole[2], y[1] = { 0 };
        size_t mode = 0;
        succeeds(dw_modes_steady(first, &pulses, &mode, x, NULL, &error), error);
        succeeds(dw_modes_steady(both, &pulses, &mode, whole, NULL, &error), error);
        struct drawn d = { .outputs = 1 };
        struct dw_run *run = dw_run_new(first, &(struct dw_run_options){ .accuracy = 2e-8, .swing = 1e-6, .curves = true, .sink = dwi_draw,
                                                                         .context = &d }, &error);
        succeeds(dw_run_start(run, 0, 0, x, pin, &error), error);
        for (int k = 1; k < 4; k++)
            succeeds(dw_run_feed(run, time[k], pin + k, &error), error);
        dw_run_free(run);
        const double a = -second_rate;
        second = modes_of(&(struct dw_modes_plan){ .states = 1, .inputs = 1, .outputs = 1, .mode_count = 1, .scale = units,
            .modes = &(struct dw_mode){ .a = &a, .b = &second_rate, .c = &one } });
        const struct dw_period curves = { d.time, d.value, d.count, d.slope };
        succeeds(dw_modes_steady(second, &curves, &mode, y, NULL, &error), error);
        /* a lag's gain is at most one, for what curves are off by, too */
        within_scale(y[0], whole[1], 2e-8, 1);
        struct dw_run *behind = start_quietly(second, 0, y, d.value), *beside = start_quietly(both, 0, whole, pin);
        for (size_t k = 1, at = 1; k < d.count; k++) {
            feed_curve(behind, d.time[k], d.value + k, d.slope + k - 1, d.slope + k);
            for (; at < 4 && time[at] <= d.time[k]; at++)
                succeeds(dw_run_feed(beside, time[at], pin + at, &error), error);
            if (at < 4)
                succeeds(dw_run_feed(beside, d.time[k], pin + at, &error), error);
            within_scale(dw_run_state(behind)[0], dw_run_state(beside)[1], 2e-8, 1);
        }
        dw_run_free(behind);
        dw_run_free(beside);
        forget_drawn(&d);
        dw_modes_free(first);
        dw_modes_free(second);
        dw_modes_free(both);
    }
}
END_TEST

START_TEST(a_slope_that_is_not_finite_makes_a_line_and_in_no_time_it_says_nothing)
{
    struct lag of;
    struct dw_modes *modes = lag(&of, 4, 1, 0, 99);
    struct dw_run *run = start_quietly(modes, 0, nothing, nothing);
    const double nan = NAN, steep = 1e40;
    feed_curve(run, 0, &one, &steep, &steep);  /* a jump */
    double y[2], slope[2];
    dw_run_output(run, y, slope);
    ck_assert_double_eq(y[1], 1);
    ck_assert_double_eq(slope[1], 0);
    feed_curve(run, 1e-31, &one, &steep, &steep);
    within_scale(dw_run_state(run)[0], 4e-31, 1e-15, 4e-31);
    feed_curve(run, 1, &nothing[0], &nan, &steep);
    dw_run_output(run, y, slope);
    ck_assert_double_eq(slope[1], -1);
    dw_run_free(run);
    dw_modes_free(modes);
}
END_TEST

SUITE("linear: runs along cubics", a_bulge_breaks_a_guard_that_a_line_from_end_to_end_would_miss,
      the_highest_point_behind_a_lag_decides_however_near_the_guard_is, curves_along_cubics_are_as_close_as_they_promise_monotone_and_few,
      lines_along_a_cubic_are_within_the_accuracy_and_extrema_have_rows, uniform_rows_and_copies_are_on_the_solution,
      slopes_of_the_chord_give_the_rows_of_lines_to_the_bit, integrals_go_on_from_piece_to_piece_and_through_an_event,
      an_orbit_through_modes_along_cubics_comes_back_and_its_map_is_that_of_differences,
      a_filter_fed_with_the_curves_of_another_has_the_orbit_of_both_in_one,
      a_slope_that_is_not_finite_makes_a_line_and_in_no_time_it_says_nothing)
