/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "suite.h"
#include <dutywright/steps.h>

static const struct dw_lamp_plan string = { .kind = DW_LAMP_LED, .supply = 12, .forward = 9.3, .resistor = 120 };
static const struct dw_lamp_plan bulb = { .kind = DW_LAMP_FILAMENT, .supply = 12, .rated_volts = 12, .rated_watts = 5, .time_constant = 0.06 };

/* The fewest bits: with one less, codes repeat; the frequency is kept as long as the clock allows it. */
START_TEST(bits_that_would_do_are_the_fewest)
{
    for (size_t count = 3; count < 2000; count = 3 * count + 1)
        for (int i = 0; i < 2; i++) {
            const struct dw_steps_plan plan = { .lamp = i ? &bulb : &string, .count = count, .bits = 1, .clock = 18e6, .prescale = 64 };
            struct dw_steps_plan enough = plan;
            ck_assert(dw_steps_refine(&enough));
            ck_assert_uint_eq(dw_steps_repeated(&enough), 0);
            ck_assert_uint_eq(enough.prescale, (unsigned long long)fmax(1, floor(64 / (ldexp(1, enough.bits) - 1))));
            near(dw_steps_frequency(&enough), 18e6 / (double)enough.prescale / (ldexp(1, enough.bits) - 1), 1e-15);
            enough.bits--;
            ck_assert(enough.bits == 0 || dw_steps_repeated(&enough) > 0);
        }
    /* dark end of an LED: 100 / 255 of lightness is Y 4.34e-4, each of the next ones that much more: 0.89 codes of 2^11 - 1 */
    struct dw_steps_plan fine = { .lamp = &string, .count = 256, .bits = 8, .prescale = 1 };
    ck_assert_uint_gt(dw_steps_repeated(&fine), 20);
    ck_assert(dw_steps_refine(&fine) && fine.bits == 12);
    ck_assert(isnan(dw_steps_frequency(&fine)));
    struct dw_steps_plan many = { .lamp = &string, .count = DW_STEPS_MOST, .bits = 32, .prescale = 1 };
    ck_assert(dw_steps_refine(&many));
}
END_TEST

/* The last step is fully on, the first is off, whatever the lamp. */
START_TEST(steps_go_from_off_to_fully_on)
{
    struct dw_lamp_plan slow = string;
    slow.rise = 5e-6;
    slow.fall = 2e-6;
    const struct dw_lamp_plan *const lamps[] = { &string, &bulb, &slow };
    for (int i = 0; i < 3; i++) {
        const struct dw_steps_plan plan = { .lamp = lamps[i], .count = 17, .bits = 10, .clock = 18e6, .prescale = 1 };
        struct dw_error error = { .status = DW_OK };
        succeeds(dw_steps_check(&plan, &error), error);
        ck_assert_uint_eq(dw_steps_step(&plan, 0).code, 0);
        ck_assert_uint_eq(dw_steps_step(&plan, 16).code, 1023);
        double before = -1;
        for (size_t k = 0; k < 17; k++) {
            const struct dw_step step = dw_steps_step(&plan, k);
            ck_assert_double_gt(step.duty, before);
            near(step.lightness, k * 6.25, 1e-15);
            before = step.duty;
        }
    }
}
END_TEST

START_TEST(refusals_name_the_value)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_lamp_plan lamp = string;
    struct dw_steps_plan plan = { .lamp = &lamp, .count = 8, .bits = 8, .prescale = 1 };
    plan.count = 1;
    refuses(dw_steps_check(&plan, &error), DW_BAD_USE, error, "1 steps: from 2 to 1048576 are possible");
    plan.count = DW_STEPS_MOST + 1;
    refuses(dw_steps_check(&plan, &error), DW_BAD_USE, error, "1048577 steps: from 2 to 1048576 are possible");
    plan.count = 8;
    plan.bits = 0;
    refuses(dw_steps_check(&plan, &error), DW_BAD_USE, error, "0 bits: from 1 to 32 are possible");
    plan.bits = 33;
    refuses(dw_steps_check(&plan, &error), DW_BAD_USE, error, "33 bits: from 1 to 32 are possible");
    plan.bits = 8;
    lamp.rise = 2e-6;
    refuses(dw_steps_check(&plan, &error), DW_BAD_USE, error,
            "a rise or fall shortens pulses by how long they are: the clock is needed, such as 18M");
    plan.clock = 18e6;
    lamp.fall = 13e-6;
    refuses(dw_steps_check(&plan, &error), DW_BAD_USE, error, "rise and fall take 1.5e-05 s, and a period of 8 bits only 1.41667e-05 s");
    ck_assert_str_eq(error.member, "rise");
    lamp.rise = 0;
    lamp.fall = 15e-6;
    refuses(dw_steps_check(&plan, &error), DW_BAD_USE, error, "rise and fall take 1.5e-05 s, and a period of 8 bits only 1.41667e-05 s");
    ck_assert_str_eq(error.member, "fall");
    lamp.fall = 240;
    ck_assert(!dw_steps_refine(&plan));  /* longer than 2^32 counts */
    ck_assert(plan.bits == 8 && plan.prescale == 1);
    lamp = string;
    lamp.direct = true;
    refuses(dw_steps_check(&plan, &error), DW_BAD_USE, error, "steps of duty are of a lamp behind a switch");
    lamp.supply = 0;
    refuses(dw_steps_check(&plan, &error), DW_BAD_USE, error, "supply 0 V: must be above zero");
}
END_TEST

SUITE("design: steps", bits_that_would_do_are_the_fewest, steps_go_from_off_to_fully_on, refusals_name_the_value)
