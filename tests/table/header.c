/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "suite.h"
#include <math.h>
#include <dutywright/table.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct dw_header *motor_header(void)
{
    struct dw_error error;
    struct dw_header *header = dw_header_new("time", "s", &error);
    ck_assert_ptr_nonnull(header);
    succeeds(dw_header_add(header, "made-by", "dw-pwm --duty 0.37", &error), error);
    succeeds(dw_header_add(header, "period", "0.002", &error), error);
    succeeds(dw_header_append(header, "pin", "V", &error), error);
    succeeds(dw_header_append(header, "current", "A", &error), error);
    succeeds(dw_header_append(header, "speed", "rad/s", &error), error);
    return header;
}

/* "made-by=dw-pwm|period=0.002|" */
static const char *keys_of(const struct dw_header *header)
{
    static char text[1024];
    const char *key, *value;
    size_t used = 0;
    text[0] = 0;
    for (size_t i = 0; (key = dw_header_key(header, i, &value)); i++)
        used += (size_t)snprintf(text + used, sizeof text - used, "%s=%s|", key, value);
    return text;
}

START_TEST(keys_keep_their_order_and_repeated_ones_stay_together)
{
    struct dw_error error;
    struct dw_header *header = motor_header();
    succeeds(dw_header_add(header, "made-by", "dw-motor", &error), error);
    succeeds(dw_header_set(header, "colour", " deep blue\t", &error), error);
    succeeds(dw_header_set(header, "period", "0.004", &error), error);
    ck_assert_str_eq(keys_of(header), "made-by=dw-pwm --duty 0.37|made-by=dw-motor|period=0.004|colour=deep blue|");
    struct dw_header *copy = dw_header_copy(header, &error);
    dw_header_drop(header, "made-by");
    ck_assert_str_eq(keys_of(header), "period=0.004|colour=deep blue|");
    succeeds(dw_header_set(copy, "made-by", "hand", &error), error);
    ck_assert_str_eq(keys_of(copy), "made-by=hand|period=0.004|colour=deep blue|");
    ck_assert_str_eq(dw_header_get(copy, "period"), "0.004");
    ck_assert_ptr_null(dw_header_get(copy, "origin"));
    dw_header_free(copy);
    dw_header_free(header);
    dw_header_free(NULL);
}
END_TEST

START_TEST(what_is_no_key_or_value_is_refused)
{
    struct dw_error error;
    struct dw_header *header = motor_header();
    refuses(dw_header_add(header, "period", "1", &error), DW_BAD_USE, error, "key 'period' stands twice in the header");
    refuses(dw_header_set(header, "made by", "1", &error), DW_BAD_USE, error,
            "'made by' is no header key: letters, digits, _ - . are");
    refuses(dw_header_set(header, "", "1", &error), DW_BAD_USE, error, "'' is no header key: letters, digits, _ - . are");
    static const char *const own[] = { "wave-table", "columns", "rows", "end" };
    for (size_t i = 0; i < sizeof own / sizeof own[0]; i++) {
        char text[100];
        snprintf(text, sizeof text, "'%s' is no header key: the format itself uses that name", own[i]);
        refuses(dw_header_set(header, own[i], "1", &error), DW_BAD_USE, error, text);
    }
    refuses(dw_header_set(header, "note", "one\ntwo", &error), DW_BAD_USE, error, "note: a header value is one line");
    ck_assert_str_eq(keys_of(header), "made-by=dw-pwm --duty 0.37|period=0.002|");
    dw_header_free(header);
}
END_TEST

START_TEST(a_name_already_taken_gets_a_number)
{
    struct dw_error error;
    struct dw_header *header = motor_header();
    for (int i = 0; i < 11; i++)
        succeeds(dw_header_append(header, "pin", "A", &error), error);
    ck_assert_uint_eq(dw_header_columns(header), 15);
    ck_assert_str_eq(dw_header_column(header, 4).name, "pin-2");
    ck_assert_str_eq(dw_header_column(header, 14).name, "pin-12");
    ck_assert_str_eq(dw_header_column(header, 15).name, "");
    succeeds(dw_header_append(header, "time", "", &error), error);
    ck_assert_str_eq(dw_header_column(header, 15).name, "time-2");
    dw_header_free(header);
}
END_TEST

START_TEST(what_is_no_channel_is_refused)
{
    struct dw_error error;
    struct dw_header *header = motor_header();
    refuses(dw_header_append(header, "p n", "V", &error), DW_BAD_USE, error,
            "'p n' is no channel name: letters, digits, _ - . are");
    refuses(dw_header_append(header, "", "V", &error), DW_BAD_USE, error,
            "'' is no channel name: letters, digits, _ - . are");
    refuses(dw_header_append(header, "p", "m V", &error), DW_BAD_USE, error,
            "'m V' is no unit: no blanks and no brackets stand in one");
    refuses(dw_header_append(header, "p", "[V", &error), DW_BAD_USE, error,
            "'[V' is no unit: no blanks and no brackets stand in one");
    refuses(dw_header_append(header, "p", "V]", &error), DW_BAD_USE, error,
            "'V]' is no unit: no blanks and no brackets stand in one");
    refuses(dw_header_append(header, "p", "V\177", &error), DW_BAD_USE, error,
            "'V?' is no unit: no blanks and no brackets stand in one");
    refuses(dw_header_rename(header, 1, "speed", NULL, &error), DW_BAD_USE, error,
            "two channels would have the name 'speed'");
    refuses(dw_header_rename(header, 4, "x", NULL, &error), DW_BAD_USE, error, "column 4 of 4");
    refuses(dw_header_rename(header, 1, "x y", NULL, &error), DW_BAD_USE, error,
            "'x y' is no channel name: letters, digits, _ - . are");
    ck_assert_ptr_null(dw_header_new("", "s", &error));
    ck_assert_uint_eq(dw_header_columns(header), 4);
    for (int i = 0; i < 1021; i++)
        succeeds(dw_header_append(header, "c", "1", &error), error);
    refuses(dw_header_append(header, "c", "1", &error), DW_BAD_USE, error, "more than 1024 channels");
    dw_header_free(header);
}
END_TEST

START_TEST(keys_that_stand_once_are_few_enough_to_look_through)
{
    struct dw_error error;
    struct dw_header *header = motor_header();
    char key[16];
    for (int once = 1; once < 4096; once++) { /* the period is the first */
        sprintf(key, "key%d", once);
        succeeds(dw_header_add(header, key, "1", &error), error);
    }
    succeeds(dw_header_add(header, "note", "does not count", &error), error);
    refuses(dw_header_add(header, "one", "1", &error), DW_BAD_USE, error, "more than 4096 keys");
    refuses(dw_header_set(header, "one", "1", &error), DW_BAD_USE, error, "more than 4096 keys");
    succeeds(dw_header_set(header, key, "2", &error), error);
    struct dw_header *copy = dw_header_copy(header, &error);
    ck_assert_msg(copy != NULL, "%s", error.text);
    dw_header_free(copy);
    dw_header_free(header);
}
END_TEST

START_TEST(a_channel_is_found_by_name_and_unit)
{
    struct dw_error error;
    struct dw_header *header = motor_header();
    ck_assert_uint_eq(dw_header_find(header, "pin", &error), 1);
    ck_assert_uint_eq(dw_header_find(header, "pin[V]", &error), 1);
    ck_assert_uint_eq(dw_header_find(header, "speed[rad/s]", NULL), 3);
    static const struct {
        const char *name, *message;
    } cases[] = {
        { "pim", "no channel 'pim'; did you mean 'pin'?" },
        { "curent", "no channel 'curent'; did you mean 'current'?" },
        { "pin[A]", "no channel 'pin[A]'; there are pin[V], current[A], speed[rad/s]" },
        { "pin[mV]", "no channel 'pin[mV]'; there are pin[V], current[A], speed[rad/s]" },
        { "time", "no channel 'time'; there are pin[V], current[A], speed[rad/s]" },
        { "", "no channel ''; there are pin[V], current[A], speed[rad/s]" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        ck_assert_uint_eq(dw_header_find(header, cases[i].name, &error), 0);
        ck_assert_int_eq(error.status, DW_BAD_USE);
        ck_assert_str_eq(error.text, cases[i].message);
    }
    for (int i = 0; i < 7; i++)
        succeeds(dw_header_append(header, "node", "V", &error), error);
    ck_assert_uint_eq(dw_header_find(header, "flag", &error), 0);
    ck_assert_str_eq(error.text, "no channel 'flag'; there are pin[V], current[A], speed[rad/s], node[V], node-2[V], "
                                 "node-3[V], node-4[V], node-5[V] and 2 more");
    dw_header_free(header);
}
END_TEST

START_TEST(the_default_channel_is_the_last_with_the_unit)
{
    struct dw_error error;
    struct dw_header *header = motor_header();
    ck_assert_uint_eq(dw_header_last_with_unit(header, "V", &error), 1);
    ck_assert_uint_eq(dw_header_last_with_unit(header, "W", &error), 0);
    ck_assert_int_eq(error.status, DW_BAD_INPUT);
    ck_assert_str_eq(error.text, "no channel in W; there are pin[V], current[A], speed[rad/s]");
    succeeds(dw_header_append(header, "out", "V", &error), error);
    ck_assert_uint_eq(dw_header_last_with_unit(header, "V", &error), 4);
    dw_header_free(header);
    /* a table of another's, whose channels have no units at all */
    header = dw_header_new("time", "s", &error);
    ck_assert_uint_eq(dw_header_last_with_unit(header, "V", &error), 0);
    ck_assert_str_eq(error.text, "no channel in V; there are none");
    succeeds(dw_header_append(header, "ch1", "", &error), error);
    succeeds(dw_header_append(header, "ch2", "", &error), error);
    ck_assert_uint_eq(dw_header_last_with_unit(header, "V", &error), 2);
    dw_header_free(header);
}
END_TEST

START_TEST(a_message_lists_as_many_channels_as_it_holds)
{
    struct dw_error error;
    struct dw_header *header = dw_header_new("time", "s", &error);
    char wanted[512] = "no channel 'pin'; there are ";
    for (int i = 0; i < 8; i++) {
        char name[41], unit[21];
        for (int k = 0; k < 40; k++)
            name[k] = (char)('a' + i);
        for (int k = 0; k < 20; k++)
            unit[k] = 'V';
        name[40] = unit[20] = 0;
        succeeds(dw_header_append(header, name, unit, &error), error);
        snprintf(wanted + strlen(wanted), sizeof wanted - strlen(wanted), "%s%s[%s]", i ? ", " : "", name, unit);
    }
    wanted[strlen("no channel 'pin'; there are ") + 359] = 0; /* a list is 359 bytes at most */
    ck_assert_uint_eq(dw_header_find(header, "pin", &error), 0);
    ck_assert_str_eq(error.text, wanted);
    dw_header_free(header);
}
END_TEST

START_TEST(a_filter_ends_only_the_keys_that_its_change_makes_untrue)
{
    static const struct {
        unsigned changes;
        const char *kept;
    } cases[] = {
        { 0, "period carrier-period origin levels duty sampled tick initial accuracy colour " },
        { DW_OTHER_PATTERN, "carrier-period origin levels sampled tick initial accuracy colour " },
        { DW_OTHER_PATTERN | DW_OTHER_CARRIER, "levels sampled initial accuracy colour " },
        { DW_OTHER_START, "period carrier-period origin levels duty sampled tick accuracy colour " },
        { DW_OTHER_CHANNELS, "period carrier-period origin sampled tick colour " },
        { DW_OTHER_AXIS, "levels duty colour " },
        { DW_EXACT_ROWS, "period carrier-period origin levels duty tick initial accuracy colour " },
    };
    static const char *const keys[] = { "period", "carrier-period", "origin", "levels", "duty",
                                        "sampled", "tick", "initial", "accuracy", "colour" };
    static const char *const values[] = { "1", "1", "1", "0 1", "1", "1", "1", "pin 1", "pin 1", "1" };
    struct dw_error error;
    struct dw_header *header = motor_header();
    for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++)
        succeeds(dw_header_set(header, keys[i], values[i], &error), error);
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct dw_header *derived = dw_header_derive(header, cases[i].changes, "dw-motor --drag 0.01", &error);
        ck_assert_ptr_nonnull(derived);
        char kept[200] = "";
        for (size_t k = 0; k < sizeof keys / sizeof keys[0]; k++)
            if (dw_header_get(derived, keys[k]))
                strcat(strcat(kept, keys[k]), " ");
        ck_assert_str_eq(kept, cases[i].kept);
        const char *value;
        ck_assert_str_eq(dw_header_key(derived, 1, &value), "made-by");
        ck_assert_str_eq(value, "dw-motor --drag 0.01");
        ck_assert_uint_eq(dw_header_columns(derived), 4);
        dw_header_free(derived);
    }
    struct dw_header *derived = dw_header_derive(header, 0, NULL, &error);
    ck_assert_str_eq(dw_header_key(derived, 1, NULL), "period");
    dw_header_free(derived);
    ck_assert_ptr_null(dw_header_derive(header, 0, "one\ntwo", &error));
    ck_assert_str_eq(error.text, "made-by: a header value is one line");
    dw_header_free(header);
}
END_TEST

START_TEST(units_convert_where_only_a_prefix_differs)
{
    static const struct {
        const char *from, *to;
        bool good;
        double divisor, factor;
    } cases[] = {
        { "mV", "V", true, 1e3, 1 },  { "V", "mV", true, 1, 1e3 },  { "uA", "mA", true, 1e3, 1 }, { "kHz", "MHz", true, 1e3, 1 },
        { "mV", "mV", true, 1, 1 },   { "V", "V", true, 1, 1 },     { "GHz", "Hz", true, 1, 1e9 }, { "ns", "ms", true, 1e6, 1 },
        { "mV", "A", false, 0, 0 },   { "rpm", "Hz", false, 0, 0 }, { "mm", "m", false, 0, 0 },    { "mV", "", false, 0, 0 },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        double divisor = 0, factor = 0;
        ck_assert_int_eq(dw_unit_converts(cases[i].from, cases[i].to, &divisor, &factor), cases[i].good);
        ck_assert_double_eq(divisor, cases[i].divisor);
        ck_assert_double_eq(factor, cases[i].factor);
    }
}
END_TEST

SUITE("table: header", keys_keep_their_order_and_repeated_ones_stay_together, what_is_no_key_or_value_is_refused,
      a_name_already_taken_gets_a_number, keys_that_stand_once_are_few_enough_to_look_through, what_is_no_channel_is_refused,
      a_channel_is_found_by_name_and_unit, the_default_channel_is_the_last_with_the_unit,
      a_message_lists_as_many_channels_as_it_holds, a_filter_ends_only_the_keys_that_its_change_makes_untrue,
      units_convert_where_only_a_prefix_differs)
