/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Command lines as values: several at once, none of which ends the process. */
#include "programs/load_kind.h" /* no program yet holds two command lines, or a load of another program */
#include "suite.h"
#include <float.h>
#include <string.h>

#define WORDS(...) ((char *[]){ __VA_ARGS__, NULL })

static enum dw_status read_words(struct command *command, const struct load_kind *kind, void *values, char **words,
                                 struct dw_error *error)
{
    int count = 0;
    while (words[count])
        count++;
    memcpy(values, kind->program.defaults, kind->program.size);
    return command_parse(command, &kind->program, values, count, words, error);
}

static char **const motor_words = WORDS("dw-motor", "--resistance", "2", "--inductance=1m", "--constant", "20m", "--inertia", "10u",
                                        "--supply", "12", "--drive", "one-switch", "--speed-unit", "rpm");
static char **const coil_words = WORDS("dw-coil", "--resistance", "15", "--inductance", "0.11", "--supply", "24", "--clamp", "zener=36",
                                       "--resistance-at", "25");

START_TEST(two_lines_are_held_at_once)
{
    struct command motor, coil;
    struct motor_load m;
    struct coil_load c;
    struct dw_error error;
    succeeds(read_words(&motor, &motor_kind, &m, motor_words, &error), error);
    succeeds(read_words(&coil, &coil_kind, &c, coil_words, &error), error);
    ck_assert_double_eq(m.plan.resistance, 2);
    ck_assert_double_eq(m.plan.supply, 12);
    ck_assert_int_eq(m.plan.drive, DW_DRIVE_ONE_SWITCH);
    ck_assert_double_eq(c.plan.resistance, 15);
    ck_assert_double_eq(c.plan.clamp_value, 36);
    ck_assert_str_eq(command_given(&motor, "supply"), "12");
    ck_assert_str_eq(command_given(&coil, "supply"), "24");
    ck_assert_ptr_null(command_given(&coil, "drive"));
    ck_assert_str_eq(coil.made_by, "dw-coil --resistance 15 --inductance 0.11 --supply 24 --clamp zener=36 --resistance-at 25");
    command_free(&motor, &m);
    ck_assert_str_eq(command_given(&coil, "clamp"), "zener=36");
    command_free(&coil, &c);
}
END_TEST

START_TEST(a_line_gives_a_plant)
{
    struct command command;
    struct motor_load values;
    struct dw_error error;
    const struct load_drive drive = { .threshold = 1.65 };
    succeeds(read_words(&command, &motor_kind, &values, motor_words, &error), error);
    struct dw_plant *plant = motor_kind.plant(&values, &drive, &error);
    ck_assert_msg(plant != NULL, "%s", error.text);
    ck_assert_uint_eq(dw_plant_outputs(plant), 2);
    ck_assert_str_eq(dw_plant_port(plant, 0).name, "current");
    ck_assert_str_eq(dw_plant_port(plant, 1).unit, "rpm");
    ck_assert_uint_eq(dw_plant_output(plant, "speed"), 1);
    ck_assert_uint_eq(dw_plant_output(plant, "light"), dw_plant_outputs(plant));
    /* 30 / pi, to the roundings of both products */
    ck_assert_double_eq_tol(dw_plant_port(plant, 1).scale, 9.549296585513721 * dw_motor_no_load_speed(&values.plan),
                            2 * DBL_EPSILON * dw_plant_port(plant, 1).scale);
    ck_assert_ptr_eq(dw_motor_plant(dw_plant_load(plant)), plant);
    dw_plant_free(plant);
    command_free(&command, &values);
}
END_TEST

/* A refusal of the line, or of what its check makes of it; the option is named as a program would name it. */
static void is_refused(const struct load_kind *kind, char **words, const char *message)
{
    struct command command;
    union {
        struct smooth_load smooth;
        struct motor_load motor;
        struct coil_load coil;
    } values;
    struct dw_error error = { .status = DW_OK };
    const enum dw_status status = read_words(&command, kind, &values, words, &error);
    command_place(&command, &error);
    refuses(status, DW_BAD_USE, error, message);
    command_free(&command, &values);
}

START_TEST(a_refusal_comes_back_as_an_error)
{
    is_refused(&smooth_kind, WORDS("dw-smooth", "--stage", "r=1k,c=0"), "--stage: 'c=0': capacitance must be above zero");
    is_refused(&smooth_kind, WORDS("dw-smooth", "--load", "1k"), "--stage is missing: give it, such as r=2k7,c=150n");
    is_refused(&smooth_kind, WORDS("dw-smooth", "--stage", "r=1k,c=1u", "--diode-drop", "1"),
               "--diode-drop: '1': goes with --drive one-switch");
    is_refused(&motor_kind, WORDS("dw-motor", "--rated", "volts=12", "--resistance", "1"),
               "--rated: 'volts=12': free-speed is missing");
    is_refused(&coil_kind, WORDS("dw-coil", "--resistance", "15", "--inductance", "0.11", "--supply", "12", "--clamp", "diode",
                                 "--pull-in", "1"),
               "--drop-out is missing: give it, the current at which the armature lets go");
}
END_TEST

START_TEST(a_member_leads_back_to_its_option_before_anything_is_opened)
{
    is_refused(&coil_kind, WORDS("dw-coil", "--resistance", "15", "--inductance", "0.11", "--supply", "12", "--clamp", "zener=5",
                                 "--clamp-at", "switch"),
               "--clamp: zener 5 V across the switch: must be above the supply, 12 V, or the coil is never off");
    is_refused(&motor_kind, WORDS("dw-motor", "--resistance", "2", "--inductance", "1m", "--constant", "20m", "--inertia", "10u",
                                  "--supply", "12", "--drive", "one-switch", "--diode-drop", "13"),
               "--diode-drop: diode drop 13 V: must be below the supply, 12 V");
}
END_TEST

START_TEST(what_reads_a_table_is_no_option_of_a_load)
{
    is_refused(&motor_kind, WORDS("dw-motor", "--channel", "pin"), "--channel is no option; --help lists them");
    is_refused(&coil_kind, WORDS("dw-coil", "pin.tsv"), "'pin.tsv': no word is expected here");
    is_refused(&smooth_kind, WORDS("dw-smooth", "--response", "1:10"), "--response is no option; --help lists them");
}
END_TEST

SUITE("programs: command lines", two_lines_are_held_at_once, a_line_gives_a_plant, a_refusal_comes_back_as_an_error,
      a_member_leads_back_to_its_option_before_anything_is_opened, what_reads_a_table_is_no_option_of_a_load)
