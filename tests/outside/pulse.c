/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Pulse trains against sources outside the project. */
#include "pulse/train_inner.h"
#include "pulse/record.h"
#include <float.h>

START_TEST(an_8_bit_timer_at_16_mhz_runs_at_the_rates_of_the_trade)
{
    /* common practice, no source: an 8-bit timer behind a prescaler of 64 gives "490 Hz" counting up and down (510 counts)
     * and "977 Hz" counting up (256 counts); stated to four digits, so half a unit of the fourth */
    const struct dw_counter both = { 16e6, 64, 255, DW_COUNT_UP_DOWN }, up = { 16e6, 64, 255, DW_COUNT_UP };
    ck_assert_double_le(fabs(dw_counter_frequency(&both) - 490.2), 0.05);
    ck_assert_double_le(fabs(dw_counter_frequency(&up) - 976.6), 0.05);
}
END_TEST

START_TEST(a_quarter_of_a_5_volt_pin_averages_1_25_volts)
{
    /* common practice, no source: duty 64/256 of 5 V is 1.25 V, half is 2.5 V */
    struct dw_pulse_train train = { .period = 1 / 1612.9, .duty = 64.0 / 256, .high = 5, .periods = 10 };
    struct record record = record_of(train);
    near(mean_of(&record, 0), 1.25, 60 * DBL_EPSILON);  /* 6 eps a period, as in tests/pulse/train.c */
    free(record.rows);
    train.duty = 0.5;
    record = record_of(train);
    near(mean_of(&record, 0), 2.5, 60 * DBL_EPSILON);
    free(record.rows);
}
END_TEST

START_TEST(a_hobby_servos_centre_pulse_lasts_1_5_ms)
{
    /* common practice, no source: 1.5 ms every 20 ms is the centre; the duty that asks for it gives it back */
    const struct dw_pulse_train train = { .period = 0.02, .duty = 1.5e-3 / 0.02, .high = 5, .periods = 4 };
    const struct record record = record_of(train);
    for (size_t i = 1; i < record.count; i += 4)
        within_scale(time_of(&record, i) - time_of(&record, i - 1), 1.5e-3, 2 * DBL_EPSILON, 0.08);
    free(record.rows);
}
END_TEST

START_TEST(pulse_duration_between_50_percent_instants_is_the_duty)
{
    /* IEEE Std 181-2011, definitions (from memory): pulse duration is the time between the 50 % reference level instants
     * of its two transitions; duty factor is pulse duration over waveform period. With equal transitions both delays are
     * half a transition and cancel. */
    const struct dw_pulse_train train = { .period = 1 / 977.0, .duty = 0.37, .high = 4.87, .low = -0.3, .rise = 1.3e-4,
                                          .fall = 1.3e-4, .periods = 6, .alignment = DW_ALIGN_CENTRE };
    const struct record record = record_of(train);
    double on[8], off[8];
    const double half = (train.high + train.low) / 2;
    ck_assert_uint_eq(crossings_of(&record, 0, half, true, on, 8), 6);
    ck_assert_uint_eq(crossings_of(&record, 0, half, false, off, 8), 6);
    for (int k = 0; k < 6; k++)  /* two instants, each of two rows, all within an ulp of 6 periods */
        within_scale((off[k] - on[k]) / train.period, train.duty, 4 * DBL_EPSILON, 6);
    free(record.rows);
}
END_TEST

START_TEST(transitions_last_from_10_to_90_percent_eight_tenths_of_the_rise)
{
    /* IEEE Std 181-2011 (from memory): transition duration is between the 10 % and 90 % reference level instants; --rise
     * counts 0 to 100 %, so that a straight edge has 0.8 of it */
    const struct dw_pulse_train train = { .period = 1, .duty = 0.5, .high = 3, .low = 1, .rise = 0.25, .periods = 1 };
    const struct record record = record_of(train);
    double tenth[2], ninety[2];
    ck_assert_uint_eq(crossings_of(&record, 0, 1.2, true, tenth, 2), 1);
    ck_assert_uint_eq(crossings_of(&record, 0, 2.8, true, ninety, 2), 1);
    within_scale(ninety[0] - tenth[0], 0.2, 4 * DBL_EPSILON, 1);
    free(record.rows);
}
END_TEST

START_TEST(philox_gives_its_authors_known_answers)
{
    /* Known answers that the authors of Salmon et al. 2011 (SC11) publish for Philox4x32-10, from memory: counter and key
     * all zeros, and digits of pi. */
    static const struct {
        uint32_t counter[4], key[2], want[4];
    } cases[] = {
        { { 0, 0, 0, 0 }, { 0, 0 }, { 0x6627e8d5, 0xe169c58d, 0xbc57ac4c, 0x9b00dbd8 } },
        { { 0x243f6a88, 0x85a308d3, 0x13198a2e, 0x03707344 }, { 0xa4093822, 0x299f31d0 },
          { 0xd16cfe09, 0x94fdcceb, 0x5001e420, 0x24126ea1 } },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        uint32_t out[4];
        dwi_philox(cases[i].counter, cases[i].key, out);
        for (int word = 0; word < 4; word++)
            ck_assert_msg(out[word] == cases[i].want[word], "case %zu, word %d: %08x, wanted %08x", i, word, out[word],
                          cases[i].want[word]);
    }
}
END_TEST

SUITE("outside: pulse", an_8_bit_timer_at_16_mhz_runs_at_the_rates_of_the_trade,
      a_quarter_of_a_5_volt_pin_averages_1_25_volts, a_hobby_servos_centre_pulse_lasts_1_5_ms,
      pulse_duration_between_50_percent_instants_is_the_duty,
      transitions_last_from_10_to_90_percent_eight_tenths_of_the_rise, philox_gives_its_authors_known_answers)
