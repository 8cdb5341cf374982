/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Laws in whole numbers: against the law in doubles, at their bounds, and as C99 that a compiler with UBSan has taken. */
#include "draw.h"
#include "suite.h"
#include <dutywright/law.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* Crooked on purpose: a sensor that falls, a weight, every part. */
static const struct dw_law_plan pump = {
    .kind = DW_LAW_PID, .sample_time = 1e-3, .converter = { .gain = -0.011, .offset = 3.1, .bits = 12, .low = 0, .high = 3.3 }, .gain = 0.0037,
    .integral_time = 0.043, .derivative_time = 0.0061, .filter = 0.0037, .setpoint_weight = 0.7, .windup = DW_WINDUP_CLAMP, .initial = 0.03,
    .duty_low = -0.93, .duty_high = 0.97, .duty_steps = 9000, .integers = true
};

enum { LAWS = 5, SAMPLES = 1000000 };

/* One a kind of windup and of on-off; the last with the most of everything: codes, steps, a gain far beyond sense, a derivative that
 * nothing damps. */
static struct dw_law_plan plan_of(int n)
{
    struct dw_law_plan plan = pump;
    if (n == 1) {
        plan.windup = DW_WINDUP_BACK;
        plan.track_time = 0.013;
        plan.gain *= -1;
    } else if (n == 2 || n == 3) {
        plan.kind = DW_LAW_ON_OFF;
        plan.on = n == 2 ? -12.3 : 7.1;
        plan.off = n == 2 ? 7.1 : -12.3;
    } else if (n == 4) {
        plan.windup = DW_WINDUP_NONE;
        plan.converter.bits = DW_CONVERTER_BITS;
        plan.duty_steps = DW_LAW_STEPS;
        plan.gain = 1e9;
        plan.integral_time = plan.derivative_time = plan.sample_time;
        plan.filter = 0;
        plan.initial = -17;
    }
    return plan;
}

static struct dw_law law_of(int n)
{
    const struct dw_law_plan plan = plan_of(n);
    struct dw_error error = { .status = DW_OK };
    struct dw_law law;
    succeeds(dw_law_make(&plan, &law, &error), error);
    return law;
}

/* The codes of a sample: they wander by small steps, so that the duty is now within its range and now at a clip for long; every 64th pair
 * leaps, beyond the codes too. The compiled program has the same lines. */
static const char wander[] =
    "static uint64_t seed = 7;\n"
    "static int32_t wanted = 2000, measured = 1900;\n"
    "static void next(int32_t top)\n{\n"
    "    const uint64_t bits = drawn_bits(&seed);\n"
    "    const int leap = bits % 64 == 0;\n"
    "    wanted = leap ? (int32_t)(bits >> 8) % (2 * top) : wanted + (int32_t)(bits >> 8) % 3;\n"
    "    measured = leap ? (int32_t)(bits >> 32) % (2 * top) : measured + (int32_t)(bits >> 32) % 9;\n"
    "}\n";
static uint64_t seed = 7;
static int32_t wanted = 2000, measured = 1900;
static void next(int32_t top)
{
    const uint64_t bits = drawn_bits(&seed);
    const int leap = bits % 64 == 0;
    wanted = leap ? (int32_t)(bits >> 8) % (2 * top) : wanted + (int32_t)(bits >> 8) % 3;
    measured = leap ? (int32_t)(bits >> 32) % (2 * top) : measured + (int32_t)(bits >> 32) % 9;
}

static void write_file(const char *folder, const char *name, const char *text)
{
    char path[256];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *file = fopen(path, "w");
    ck_assert_ptr_nonnull(file);
    fputs(text, file);
    ck_assert_int_eq(fclose(file), 0);
}

/* A program that runs every law and writes its duties as they are in memory. */
static void write_program(const char *folder)
{
    char program[8192], headers[1024] = "", runs[4096] = "", name[16], file[24];
    struct dw_error error = { .status = DW_OK };
    for (int n = 0; n < LAWS; n++) {
        const struct dw_law law = law_of(n);
        snprintf(name, sizeof name, "pump%d", n);
        snprintf(file, sizeof file, "%s.h", name);
        char *text = dw_law_firmware(&law, name, n ? "of a test\n/* odd */" : NULL, &error);
        ck_assert_msg(text != NULL, "%s", error.text);
        write_file(folder, file, text);
        free(text);
        snprintf(headers + strlen(headers), sizeof headers - strlen(headers), "#include \"%s\"\n", file);
        snprintf(runs + strlen(runs), sizeof runs - strlen(runs),
                 "    {\n        struct %s_law law;\n        int n;\n        %s_begin(&law);\n        for (n = 0; n < %d; n++) {\n            int32_t duty;\n"
                 "            next(%d);\n            duty = %s_step(&law, wanted, measured);\n"
                 "            if (fwrite(&duty, sizeof duty, 1, stdout) != 1)\n                return 1;\n        }\n    }\n",
                 name, name, SAMPLES, (int)law.integers.last_code, name);
    }
    snprintf(program, sizeof program, "#include <stdio.h>\n%s#include \"draw.h\"\n%sint main(void)\n{\n%s    return 0;\n}\n", headers, wander, runs);
    write_file(folder, "program.c", program);
}

/* Bit for bit over a million samples of each law; UBSan stops it at the first overflow, and the last law is where one would be. */
START_TEST(compiled_law_is_the_librarys)
{
    char folder[] = "firmware-XXXXXX", command[1024];
    const char *here = getenv("srcdir");
    ck_assert_ptr_nonnull(mkdtemp(folder));
    write_program(folder);
    snprintf(command, sizeof command, "${CC:-gcc} -std=c99 -pedantic -Wall -Wextra -Werror -O1 -fsanitize=undefined -fno-sanitize-recover=all "
             "-I '%s/tests' -o %s/program %s/program.c && %s/program", here ? here : ".", folder, folder, folder);
    FILE *duties = popen(command, "r");  /* NOLINT(cert-env33-c): a program of this test's own */
    ck_assert_ptr_nonnull(duties);
    size_t negative = 0, low = 0, high = 0;
    for (int n = 0; n < LAWS; n++) {
        const struct dw_law law = law_of(n);
        struct dw_law_state state;
        dw_law_begin(&law, &state);
        int k = 0;
        for (; k < SAMPLES; k++) {
            int32_t duty = 0;
            next(law.integers.last_code);
            if (fread(&duty, sizeof duty, 1, duties) != 1 || duty != dw_law_integers_step(&law, &state, wanted, measured))
                break;
            negative += duty < 0;
            low += duty == law.integers.low;
            high += duty == law.integers.high;
        }
        ck_assert_msg(k == SAMPLES, "law %d: another duty, or none, at sample %d", n, k);
    }
    ck_assert_int_eq(pclose(duties), 0);
    ck_assert(negative > SAMPLES / 10 && low > SAMPLES / 10 && high > SAMPLES / 10);
    snprintf(command, sizeof command, "rm -r %s", folder);
    ck_assert_int_eq(system(command), 0); /* NOLINT(cert-env33-c): a folder of this test's own, by a name of its own making */
}
END_TEST

/* Nothing is ever larger than docs/theory.md, (16.6), says: inputs that push each part furthest. */
START_TEST(bounds_hold)
{
    const struct dw_law law = law_of(4);
    struct dw_law_state state;
    dw_law_begin(&law, &state);
    int64_t integral = 0, derivative = 0;
    for (int n = 0; n < 200000; n++) {
        const int32_t top = law.integers.last_code, code = n < 100000 ? (n & 1 ? top : 0) : (n / 3 & 1 ? top : 0);
        dw_law_integers_step(&law, &state, n < 150000 ? top : 0, code);
        integral = llabs(state.whole.integral) > integral ? llabs(state.whole.integral) : integral;
        derivative = llabs(state.whole.derivative) > derivative ? llabs(state.whole.derivative) : derivative;
    }
    ck_assert_int_eq(integral, INT64_C(1) << 60);
    ck_assert(derivative <= (INT64_C(1) << 56) + (INT64_C(1) << 32) && derivative > INT64_C(1) << 54);
    ck_assert(llabs(law.integers.gain) >> 39 == 1);  /* the most that a constant has */
}
END_TEST

/* Both laws on one course of codes: constants are right to 2^-20 of themselves, and the duty of either lies within the step's
 * rounding of what it asks for. */
START_TEST(integers_follow_doubles)
{
    for (int n = 0; n < 4; n++) {
        struct dw_law_plan plan = plan_of(n);
        struct dw_error error;
        struct dw_law doubles;
        const struct dw_law whole = law_of(n);
        struct dw_law_state one, other;
        plan.integers = false;
        succeeds(dw_law_make(&plan, &doubles, &error), error);
        dw_law_begin(&doubles, &one);
        dw_law_begin(&whole, &other);
        double duties = 0, asked = 0, integral = 0;
        int apart = 0;
        for (int k = 0; k < 100000; k++) {
            const double y = 100 + 170 * sin(k * 2e-4) + 20 * sin(k * 0.01), r = 100 + 120 * sin(k * 1.7e-4);
            const double duty = dw_law_step(&whole, &other, r, y);
            duties = fmax(duties, fabs(dw_law_step(&doubles, &one, r, y) - duty));
            asked = fmax(asked, fabs(one.asked - other.asked));
            integral = fmax(integral, fabs(one.integral - other.integral));
            apart += one.on != other.on;
        }
        within_scale(duties, 0, 1.001, 1.0 / plan.duty_steps);
        within_scale(asked, 0, 1e-5, 1);
        within_scale(integral, 0, 1e-5, 1);
        ck_assert_int_eq(apart, 0);
    }
}
END_TEST

static void refuses_plan(struct dw_law_plan plan, const char *member, const char *text)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_law law;
    refuses(dw_law_make(&plan, &law, &error), DW_BAD_USE, error, text);
    ck_assert_str_eq(error.member, member);
}

START_TEST(refusals)
{
    struct dw_law_plan plan = pump;
    plan.converter.bits = 0;
    refuses_plan(plan, "converter", "a law in integers needs a converter with bits: without one nothing is rounded");
    plan = pump;
    plan.duty_steps = 0;
    refuses_plan(plan, "duty_steps", "a law in integers needs the steps of the duty: without them it is not rounded");
    plan = pump;
    plan.integral_time = 1e9;
    refuses_plan(plan, "integral_time", "integral time 1e+09 s: too long for integers: what it adds in a sample of 0.001 s would not be right to one "
                 "in a thousand beside the other parts");
    plan = pump;
    plan.filter = 1e6;
    plan.derivative_time = 1e6;
    refuses_plan(plan, "filter", "filter 1e+06 s: too long for integers: what it adds in a sample of 0.001 s would not be right to one in a "
                 "thousand beside the other parts");
    plan = pump;
    plan.derivative_time = 1e-12;
    refuses_plan(plan, "derivative_time", "derivative time 1e-12 s: too long for integers: what it adds in a sample of 0.001 s would not be right to "
                 "one in a thousand beside the other parts");
    plan = pump;
    plan.windup = DW_WINDUP_BACK;
    plan.track_time = 1e6;
    refuses_plan(plan, "track_time", "led back within 1e+06 s: too long for integers: what it adds in a sample of 0.001 s would not be right to one "
                 "in a thousand beside the other parts");
    plan = pump;
    plan.gain = 1e12;
    refuses_plan(plan, "gain", "gain 1e+12: in integers a code may change the duty by up to 2^40 steps");

    struct dw_error error = { .status = DW_OK };
    struct dw_law law = law_of(0);
    ck_assert_ptr_null(dw_law_firmware(&law, "2nd", NULL, &error));
    ck_assert_str_eq(error.text, "'2nd': a name in C has letters, digits and '_', no digit first, and here up to 24 of them");
    plan = pump;
    plan.integral_time = INFINITY;
    succeeds(dw_law_make(&plan, &law, &error), error);
    char *text = dw_law_firmware(&law, "pump", NULL, &error);
    ck_assert(text && strstr(text, "Gain 0.0037, derivative time") != NULL);
    free(text);
    plan.initial = 1e30;
    refuses_plan(plan, "gain", "gain 0.0037: in integers a code may change the duty by up to 2^40 steps");
    ck_assert_ptr_null(dw_law_firmware(&law, "", NULL, &error));
    ck_assert_str_eq(error.text, "'': a name in C has letters, digits and '_', no digit first, and here up to 24 of them");
    ck_assert_ptr_null(dw_law_firmware(&law, "pump_of_the_tide_exhibit_1", NULL, &error));
    ck_assert_str_eq(error.text, "'pump_of_the_tide_exhibit_1': a name in C has letters, digits and '_', no digit first, and here up to 24 of them");
    law.plan.integers = false;
    ck_assert_ptr_null(dw_law_firmware(&law, "pump", NULL, &error));
    ck_assert_str_eq(error.text, "the law is not in integers: what is written is what was tried");
}
END_TEST

SUITE("pulse: laws in integers", compiled_law_is_the_librarys, bounds_hold, integers_follow_doubles, refusals)
