/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Loops around a plant against closed forms of sampled first-order plants (Astrom and Wittenmark, Computer-Controlled Systems, chapter 2:
 * step invariance, from memory and derived here), and limit cycles against Peterchev and Sanders 2003, IEEE Trans. Power Electron.
 * 18:301 (from memory: a cycle where duty steps are coarser than the converter's, none where they are well finer). */
#include "outside/looped.h"
#include <dutywright/ladder.h>
#include <string.h>

#define R 4700.0
#define C 220e-9
#define TAU (R * C)

static struct dw_plant *rc(void)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_ladder *ladder = dw_ladder_new(&(struct dw_ladder_plan){ .stages = &(struct dw_stage){ .r = R, .c = C }, .count = 1 }, &error);
    struct dw_plant *plant = dw_ladder_plant_new(ladder, &(struct dw_ladder_setup){ .supply = VOLTS }, &error);
    ck_assert_msg(plant != NULL, "%s", error.text);
    dw_ladder_free(ladder);
    return plant;
}

/* y after = e^-T/RC y + (1 - e^-T/RC) V u, where u is the law's duty of this sample, or of `late` samples ago: 10,000 samples. Each takes
 * the law's difference of what is measured to some ulp, and the loop is stable, so that errors do not add up. */
static void recurrence(size_t late)
{
    const double sample = 0.31 * TAU, gain = 0.21, integral = 0.9 * TAU, keeps = exp(-sample / TAU);
    const struct dw_law law = law_of((struct dw_law_plan){ .kind = DW_LAW_PID, .sample_time = sample, .gain = gain, .integral_time = integral });
    struct dw_plant *plant = rc();
    static struct seen seen;
    seen = (struct seen){ .count = 0 };
    dw_loop_free(run((struct dw_loop_plan){ .plant = plant, .average = true, .law = &law, .wanted = 1.5, .delay = (double)late * sample,
                                            .duration = 10000 * sample }, &seen));
    ck_assert_uint_eq(seen.count, 10000);
    double y = 0, sum = 0, duty[MOST + 2] = { 0 };
    for (size_t k = 0; k < seen.count; k++) {
        within_scale(seen.measured[k], y, 1e-12, VOLTS);
        sum += gain * sample / integral * (1.5 - y);
        duty[k + late] = gain * (1.5 - y) + sum;
        within_scale(seen.duty[k], duty[k + late], 1e-12, 1);
        y = keeps * y + (1 - keeps) * VOLTS * duty[k];
    }
    near(y, 1.5, 1e-12);
    dw_plant_free(plant);
}

START_TEST(a_first_order_plant_follows_its_recurrence_for_ten_thousand_samples)
{
    recurrence(0);
}
END_TEST

START_TEST(a_duty_that_comes_one_sample_late_follows_its_recurrence)
{
    recurrence(1);
}
END_TEST

/* ---- the map of one sample ---- */

/* What lies behind the plant: of each kind, with the plant as one system. */
enum { KINDS = 4 };
#define GAIN 0.7
#define LAG (2.3 * TAU)
static const struct behind {
    bool lags, integrates;
    struct dw_matrices both;
} behind[KINDS] = {
    { true, false, { .states = 2, .inputs = 1, .outputs = 1, .a = (const double[]){ -1 / TAU, 0, GAIN / LAG, -1 / LAG },
                     .b = (const double[]){ VOLTS / TAU, 0 }, .c = (const double[]){ 0, 1 } } },
    { false, true, { .states = 2, .inputs = 1, .outputs = 1, .a = (const double[]){ -1 / TAU, 0, GAIN, 0 },
                     .b = (const double[]){ VOLTS / TAU, 0 }, .c = (const double[]){ 0, 1 } } },
    { true, true, { .states = 3, .inputs = 1, .outputs = 1, .a = (const double[]){ -1 / TAU, 0, 0, GAIN / LAG, -1 / LAG, 0, 0, 1, 0 },
                    .b = (const double[]){ VOLTS / TAU, 0, 0 }, .c = (const double[]){ 0, 0, 1 } } },
    { false, false, { .states = 1, .inputs = 1, .outputs = 1, .a = (const double[]){ -1 / TAU }, .b = (const double[]){ VOLTS / TAU },
                      .c = (const double[]){ GAIN } } },
};

static struct dw_loop_process process_of(const struct behind *kind, double delay)
{
    return (struct dw_loop_process){ .given = true, .gain = GAIN, .lag = kind->lags ? LAG : 0, .delay = delay, .integrates = kind->integrates };
}

/* Against dw_sampled_hold of both as one system; what integrates also from a duty that has come to its end. */
START_TEST(a_mean_behind_a_process_is_the_plant_held)
{
    const double sample = 0.31 * TAU;
    const double late[][2] = { { 0, 0 }, { 0.3, 0 }, { 1.3, 0 }, { 0, 0.4 }, { 0.2, 2.4 }, { 0, 1 }, { 2, 0 } };
    const struct dw_law law = law_of((struct dw_law_plan){ .kind = DW_LAW_PID, .sample_time = sample, .gain = 0.2, .integral_time = TAU });
    struct dw_error error = { .status = DW_OK };
    struct dw_plant *plant = rc();
    for (size_t n = 0; n < KINDS; n++) {
        struct dw_system *system = dw_system_new(&behind[n].both, &error);
        for (size_t i = 0; i < sizeof late / sizeof *late; i++) {
            struct dw_sampled got, want;
            static struct seen seen;
            seen.count = 0;
            struct dw_loop *loop = run((struct dw_loop_plan){
                .plant = plant, .average = true, .period = i == 5 ? sample : 0, .law = &law, .wanted = 0.8, .delay = late[i][0] * sample,
                .duration = (i % 2 ? 40 : 10) * sample,
                .process = process_of(&behind[n], late[i][1] * sample) }, &seen);
            succeeds(dw_loop_sampled(loop, 0, &got, NULL, &error), error);
            succeeds(dw_sampled_hold(system, &(struct dw_hold){ 0, 0, sample, (late[i][0] + late[i][1]) * sample }, &want, &error), error);
            same_response(&got, &want, 1e-8);  /* differences of 1e-3 of full scale, over rows that are off by 1e-12 */
            dw_loop_free(loop);
        }
        dw_system_free(system);
    }
    dw_plant_free(plant);
}
END_TEST

/* Rows of the table: the plant's output with its slope, and the process. */
struct table {
    size_t out, out_slope, process, slope, count;
    double row[1000][16];
};

static enum dw_status keep_row(void *context, const double *row, struct dw_error *error)
{
    struct table *table = context;
    (void)error;
    ck_assert(table->count < 1000);
    for (size_t i = 0; i <= table->slope; i++)
        table->row[table->count][i] = row[i];
    table->count++;
    return DW_OK;
}

/* T z' + z = g y, or the integrals of both sides: what is drawn of z, its slope included, solves that along the rows. */
START_TEST(rows_of_a_process_solve_its_equation)
{
    const double sample = 0.31 * TAU;
    const struct dw_law law = law_of((struct dw_law_plan){ .kind = DW_LAW_PID, .sample_time = sample, .gain = 0.2, .integral_time = TAU });
    struct dw_plant *plant = rc();
    for (size_t n = 0; n < KINDS; n++) {
        struct dw_error error = { .status = DW_OK };
        static struct table table;
        const struct dw_loop_plan plan = { .plant = plant, .average = true, .law = &law, .wanted = 0.8, .duration = 12 * sample, .high = VOLTS,
                                           .every = 1, .accuracy = 1e-6, .row = keep_row, .context = &table, .process = process_of(&behind[n], 0) };
        struct dw_loop *loop = dw_loop_new(&plan, &error);
        ck_assert_msg(loop != NULL, "%s", error.text);
        struct dw_header *header = dw_loop_header(loop, NULL, &error);
        table = (struct table){ .out = dw_header_find(header, "out", &error), .process = dw_header_find(header, "process", &error) };
        table.out_slope = dw_header_slope(header, table.out);
        table.slope = dw_header_slope(header, table.process);
        ck_assert(table.out && table.out_slope && table.slope && table.slope < 16);
        succeeds(dw_loop_run(loop, &error), error);
        ck_assert_uint_gt(table.count, 12);
        double given = 0;  /* the integral of g y */
        for (size_t i = 0; i < table.count; i++) {
            const double *row = table.row[i], *before = table.row[i ? i - 1 : 0], step = row[0] - before[0], z = row[table.process], drawn = row[table.slope];
            const double y = row[table.out], lag = behind[n].lags ? LAG : 0;
            given += GAIN * step * ((y + before[table.out]) / 2 + step / 12 * (before[table.out_slope] - row[table.out_slope]));
            if (behind[n].integrates)
                within_scale(lag * drawn + z, given, 1e-6, VOLTS * TAU);
            else
                within_scale(lag * drawn + z, GAIN * y, 1e-6, VOLTS);
            if (!behind[n].lags)
                within_scale(drawn, GAIN * (behind[n].integrates ? y : row[table.out_slope]), 1e-9, VOLTS / TAU);
        }
        dw_header_free(header);
        dw_loop_free(loop);
    }
    dw_plant_free(plant);
}
END_TEST

/* Pulses sampled where they begin, one a sample: with p = P/RC, and a share f of what a pulse of duty d leaves of its period before it, the
 * output is s at the period's beginning, y = s exp(-f (1 - d) p) at the sample, t = V - (V - y) exp(-d p) at the pulse's end and
 * t exp(-(1 - f) (1 - d) p) at that of the period. So the valley is held, below the mean V d. At the left, f = 0, a duty acts in its sample's
 * period, else in the next: then it is a state. */
START_TEST(pulses_move_their_edges_and_hold_the_valley)
{
    const double p = 0.8, period = p * TAU, e = exp(-p), wanted = 1.1;
    const struct dw_law law = law_of((struct dw_law_plan){ .kind = DW_LAW_PID, .sample_time = period, .gain = 0.05, .integral_time = TAU });
    struct dw_plant *plant = rc();
    for (int i = 0; i < 3; i++) {
        static const enum dw_alignment alignments[] = { DW_ALIGN_LEFT, DW_ALIGN_CENTRE, DW_ALIGN_RIGHT };
        static struct seen seen;
        const double f = i / 2.0;
        struct dw_error error = { .status = DW_OK };
        struct dw_sampled got;
        struct dw_loop_stand stand;
        seen.count = 0;
        struct dw_loop *loop = run((struct dw_loop_plan){ .plant = plant, .period = period, .alignment = alignments[i], .law = &law, .wanted = wanted,
                                                          .duration = 900 * period }, &seen);
        succeeds(dw_loop_sampled(loop, 0, &got, &stand, &error), error);
        const double duty = 1 + log(wanted * (1 - e) / VOLTS + e) / p;
        near(seen.measured[seen.count - 1], wanted, 1e-12);
        near(seen.duty[seen.count - 1], duty, 1e-12);
        near(stand.duty, duty, 1e-11);
        near(stand.measured, wanted, 1e-11);
        near(stand.mean, VOLTS * duty, 1e-9);
        ck_assert_msg(stand.mean - stand.measured > 0.1 * wanted, "the valley is %g, the mean %g", stand.measured, stand.mean);
        const double before = exp(-f * (1 - duty) * p), after = exp(-(1 - f) * (1 - duty) * p), on = exp(-duty * p);
        const double s = wanted / before, t = VOLTS - (VOLTS - wanted) * on;
        const double moves = after * (on * before * f * p * s + p * on * (VOLTS - wanted) + (1 - f) * p * t);
        const struct dw_sampled want = i == 0 ? (struct dw_sampled){ .states = 1, .sample_time = period, .a = { e }, .b = { moves }, .c = { 1 } }
            : (struct dw_sampled){ .states = 2, .sample_time = period, .a = { e, moves, 0, 0 }, .b = { 0, 1 }, .c = { before, before * f * p * s } };
        same_response(&got, &want, 1e-7);  /* central differences of 1e-4: 1e-8 / 6 */
        dw_loop_free(loop);
    }
    dw_plant_free(plant);
}
END_TEST

/* The caller's law may change or go as soon as the loop is made, and a process that is not given has no delay either. */
START_TEST(a_loop_keeps_what_it_was_given_and_nothing_else)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_law law = law_of((struct dw_law_plan){ .kind = DW_LAW_PID, .sample_time = 0.31 * TAU, .gain = 0.2, .integral_time = TAU });
    struct dw_plant *plant = rc();
    const struct dw_loop_plan plan = { .plant = plant, .average = true, .every = 1, .high = VOLTS, .law = &law, .wanted = 0.8, .duration = 10 * TAU,
                                       .process = { .gain = 0.7, .lag = TAU, .delay = 0.4 * TAU } };
    struct dw_sampled got;
    struct dw_loop *loop = dw_loop_new(&plan, &error);
    ck_assert_msg(loop != NULL, "%s", error.text);
    law = (struct dw_law){ .low = -1 };
    struct dw_header *header = dw_loop_header(loop, NULL, &error);
    ck_assert_str_eq(dw_header_get(header, "levels"), "0 3.3");
    succeeds(dw_loop_sampled(loop, 0, &got, NULL, &error), error);
    const struct dw_sampled want = { .states = 1, .sample_time = 0.31 * TAU, .a = { exp(-0.31) }, .b = { -VOLTS * expm1(-0.31) }, .c = { 1 } };
    same_response(&got, &want, 1e-9);
    dw_header_free(header);
    dw_loop_free(loop);
    dw_plant_free(plant);
}
END_TEST

/* ---- margins, by raising the gain ---- */

/* 200 samples, each third period, of pulses in the centre, whose duty acts a period late. */
static struct dw_loop *run_centred(struct dw_plant *plant, double gain, struct dw_law *law, struct seen *seen)
{
    const double period = 0.1 * TAU;
    *law = law_of((struct dw_law_plan){ .kind = DW_LAW_PID, .sample_time = 3 * period, .gain = gain, .integral_time = TAU });
    seen->count = 0;
    return run((struct dw_loop_plan){ .plant = plant, .period = period, .every = 3, .alignment = DW_ALIGN_CENTRE, .instant = DW_SAMPLE_MIDDLE,
                                      .delay = period, .law = law, .wanted = 1.5, .duration = 600 * period }, seen);
}

static double late_over_early(double gain)
{
    struct dw_plant *plant = rc();
    static struct seen seen;
    struct dw_law law;
    dw_loop_free(run_centred(plant, gain, &law, &seen));
    double early = 0, late = 0;
    for (size_t k = 50; k < 100; k++)
        early = fmax(early, fabs(seen.measured[k] - 1.5));
    for (size_t k = 150; k < 200; k++)
        late = fmax(late, fabs(seen.measured[k] - 1.5));
    dw_plant_free(plant);
    return late / early;
}

START_TEST(a_loop_oscillates_on_and_on_from_its_gain_margin_on)
{
    const double gain = 0.1;
    struct dw_law law;
    struct dw_plant *plant = rc();
    static struct seen seen;
    struct dw_error error = { .status = DW_OK };
    struct dw_sampled sampled;
    struct dw_margins margins;
    struct dw_loop *loop = run_centred(plant, gain, &law, &seen);
    succeeds(dw_loop_sampled(loop, 0, &sampled, NULL, &error), error);
    succeeds(dw_loop_margins(&sampled, &law, &margins, &error), error);
    /* in 100 samples a pole of 1 - 0.01 shrinks by e; one above 1 grows until the duty clips */
    const double below = late_over_early(0.98 * gain * margins.gain_high), above = late_over_early(1.02 * gain * margins.gain_high);
    ck_assert_msg(below < 0.5 && above > 0.95, "below the margin %g, above it %g", below, above);
    dw_loop_free(loop);
    dw_plant_free(plant);
}
END_TEST

/* ---- limit cycles ---- */

/* Peak to peak in the end, of a converter of 8 bits over 3.3 V, 12.9 mV a code, and so many steps of the duty. */
static double cycle(unsigned steps)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_law_plan plan = { .kind = DW_LAW_PID, .sample_time = 0.05 * TAU, .gain = 0.1, .integral_time = 2 * TAU, .duty_steps = steps };
    struct dw_loop_findings found;
    plan.converter.bits = 8;
    plan.converter.high = VOLTS;
    const struct dw_law law = law_of(plan);
    struct dw_plant *plant = rc();
    static struct seen seen;
    seen = (struct seen){ .meter = dw_loop_meter_new(&error) };
    dw_loop_free(run((struct dw_loop_plan){ .plant = plant, .period = 0.05 * TAU, .law = &law, .wanted = 1.5, .duration = 4000 * 0.05 * TAU }, &seen));
    dw_loop_meter_end(seen.meter, &found);
    dw_loop_meter_free(seen.meter);
    dw_plant_free(plant);
    return found.cycle_amplitude;
}

START_TEST(a_duty_coarser_than_the_converter_cycles_and_a_finer_one_rests)
{
    ck_assert_msg(cycle(60) > VOLTS / 256, "60 steps of 55 mV: %g V", cycle(60));
    ck_assert_msg(cycle(2200) == 0, "2200 steps of 1.5 mV: %g V", cycle(2200));
}
END_TEST

/* ---- on-off ---- */

/* Between thresholds low and high the plant rises in RC ln((V - low)/(V - high)) and falls in RC ln(high/low). Sampled, each turn comes
 * up to a sample late: the recurrence holds to the last digit, and with shrinking samples so does the closed form. */
START_TEST(on_off_turns_at_its_thresholds)
{
    const double low = 1.4, high = 1.7, closed = TAU * (log((VOLTS - low) / (VOLTS - high)) + log(high / low));
    for (int fine = 0; fine < 2; fine++) {
        const double sample = (fine ? 1e-3 : 0.017) * TAU, keeps = exp(-sample / TAU);
        const struct dw_law law = law_of((struct dw_law_plan){ .kind = DW_LAW_ON_OFF, .sample_time = sample, .on = low - 1.5, .off = high - 1.5 });
        struct dw_plant *plant = rc();
        static struct seen seen;
        struct dw_error error = { .status = DW_OK };
        struct dw_loop_findings found;
        seen = (struct seen){ .meter = dw_loop_meter_new(&error) };
        dw_loop_free(run((struct dw_loop_plan){ .plant = plant, .average = true, .law = &law, .wanted = 1.5, .duration = 10000 * sample }, &seen));
        double y = 0;
        bool on = false;
        for (size_t k = 0; k < seen.count; k++) {
            within_scale(seen.measured[k], y, 1e-12, VOLTS);
            on = y < low || (on && y <= high);
            y = keeps * y + (1 - keeps) * (on ? VOLTS : 0);
        }
        dw_loop_meter_end(seen.meter, &found);
        if (fine) {  /* two turns a cycle, each late by a sample at most, which costs the way back too; at 1.9 V/RC at most */
            within_scale(found.cycle_frequency * closed, 1, 4 * sample / closed, 1);
            within_scale(found.cycle_amplitude, high - low, 2 * 1.9 * sample / TAU, 1);
        }
        dw_loop_meter_free(seen.meter);
        dw_plant_free(plant);
    }
}
END_TEST

/* More delay than a map has states for is refused, with or without words for it. */
START_TEST(a_delay_of_many_samples_has_no_map)
{
    const double sample = 0.31 * TAU;
    const struct dw_law law = law_of((struct dw_law_plan){ .kind = DW_LAW_PID, .sample_time = sample, .gain = 0.2, .integral_time = TAU });
    struct dw_plant *plant = rc();
    struct dw_error error = { .status = DW_OK };
    struct dw_sampled got;
    struct dw_loop *loop = dw_loop_new(&(struct dw_loop_plan){ .plant = plant, .average = true, .law = &law, .wanted = 0.8, .high = VOLTS, .every = 1,
                                                               .duration = 10 * sample }, NULL);
    ck_assert_ptr_nonnull(loop);
    ck_assert_int_eq(dw_loop_run(loop, NULL), DW_OK);
    ck_assert_int_eq(dw_loop_sampled(loop, 26 * sample, &got, NULL, NULL), DW_OK);
    ck_assert_uint_eq(got.states, 27);
    refuses(dw_loop_sampled(loop, 40 * sample, &got, NULL, &error), DW_BAD_USE, error, "a delay of 40 samples: 27 at most have margins here");
    dw_loop_free(loop);
    dw_plant_free(plant);
}
END_TEST

SUITE("outside: runs of loops", a_first_order_plant_follows_its_recurrence_for_ten_thousand_samples,
      a_duty_that_comes_one_sample_late_follows_its_recurrence, a_mean_behind_a_process_is_the_plant_held, rows_of_a_process_solve_its_equation, a_delay_of_many_samples_has_no_map,
      pulses_move_their_edges_and_hold_the_valley, a_loop_keeps_what_it_was_given_and_nothing_else,
      a_loop_oscillates_on_and_on_from_its_gain_margin_on,
      a_duty_coarser_than_the_converter_cycles_and_a_finer_one_rests, on_off_turns_at_its_thresholds)
