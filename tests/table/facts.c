/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "suite.h"
#include "table/fixture.h"
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct dw_header *motor_header(void)
{
    struct dw_error error;
    struct dw_header *header = dw_header_new("time", "s", &error);
    ck_assert_ptr_nonnull(header);
    succeeds(dw_header_append(header, "pin", "V", &error), error);
    succeeds(dw_header_append(header, "current", "A", &error), error);
    succeeds(dw_header_append(header, "speed", "rad/s", &error), error);
    return header;
}

static const struct dw_channel_facts *of(const struct dw_header *header, size_t column)
{
    return dw_header_channel_facts(header, column);
}

static bool same_number(double one, double other)
{
    return one == other || (isnan(one) && isnan(other));
}

static void same_facts(const struct dw_header *header, const struct dw_header *other)
{
    const struct dw_facts *one = dw_header_facts(header), *two = dw_header_facts(other);
    ck_assert_uint_eq(one->has, two->has);
    ck_assert(one->period == two->period && one->carrier_period == two->carrier_period && one->origin == two->origin);
    ck_assert(one->low == two->low && one->high == two->high && one->sampled == two->sampled && one->tick == two->tick);
    ck_assert_uint_eq(dw_header_columns(header), dw_header_columns(other));
    for (size_t i = 0; i < dw_header_columns(header); i++)
        ck_assert(same_number(of(header, i)->initial, of(other, i)->initial) &&
                  same_number(of(header, i)->accuracy, of(other, i)->accuracy) && same_number(of(header, i)->share, of(other, i)->share));
}

/* Values that read, and what they say. */
START_TEST(each_key_says_its_number_and_a_missing_one_says_nothing)
{
    struct dw_error error;
    struct dw_header *header = motor_header();
    const struct dw_facts *facts = dw_header_facts(header);
    ck_assert_uint_eq(facts->has, 0);
    ck_assert(facts->period == 0 && facts->carrier_period == 0 && facts->origin == 0 && facts->sampled == 0);
    ck_assert(facts->low == 0 && facts->high == 0 && facts->tick == 0);
    static const struct {
        const char *key, *value;
        unsigned has;
    } keys[] = {
        { "period", "0.002", DW_FACT_PERIOD },       { "carrier-period", "1e-310", DW_FACT_CARRIER_PERIOD },
        { "origin", "-0.25", DW_FACT_ORIGIN },       { "levels", "-12 \t 3.3", DW_FACT_LEVELS },
        { "sampled", "\t+48000 ", DW_FACT_SAMPLED }, { "tick", "5.555e-8", DW_FACT_TICK },
    };
    unsigned has = 0;
    for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++) {
        succeeds(dw_header_add(header, keys[i].key, keys[i].value, &error), error);
        ck_assert_uint_eq(facts->has, has |= keys[i].has);
    }
    ck_assert(facts->period == 0.002 && facts->carrier_period == 1e-310 && facts->origin == -0.25);
    ck_assert(facts->low == -12 && facts->high == 3.3 && facts->sampled == 48000 && facts->tick == 5.555e-8);
    succeeds(dw_header_set(header, "origin", "0", &error), error);
    ck_assert(facts->origin == 0 && (facts->has & DW_FACT_ORIGIN));
    for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++) {
        dw_header_drop(header, keys[i].key);
        ck_assert_uint_eq(facts->has, has &= ~keys[i].has);
    }
    ck_assert(facts->period == 0 && facts->low == 0 && facts->high == 0);
    dw_header_free(header);
}
END_TEST

START_TEST(initial_and_accuracy_are_kept_by_channel)
{
    struct dw_error error;
    struct dw_header *header = motor_header();
    for (size_t i = 0; i < 6; i++)
        ck_assert(isnan(of(header, i)->initial) && isnan(of(header, i)->accuracy));
    succeeds(dw_header_set(header, "initial", "speed -1e-7  current\t0.5", &error), error);
    succeeds(dw_header_set_initial(header, 2, 0.25, &error), error);
    ck_assert_str_eq(dw_header_get(header, "initial"), "current 0.25 speed -1e-07");
    succeeds(dw_header_set_accuracy(header, 1, 0, NAN, &error), error);
    ck_assert_str_eq(dw_header_get(header, "accuracy"), "pin 0");
    ck_assert(of(header, 2)->initial == 0.25 && of(header, 3)->initial == -1e-7);
    ck_assert(of(header, 1)->accuracy == 0 && isnan(of(header, 1)->initial));
    refuses(dw_header_set_initial(header, 0, 1, &error), DW_BAD_USE, error, "initial: column 0 of 4");
    refuses(dw_header_set_accuracy(header, 4, 1, NAN, &error), DW_BAD_USE, error, "accuracy: column 4 of 4");
    refuses(dw_header_set_initial(header, 2, NAN, &error), DW_BAD_USE, error, "key 'initial': nan is not finite");
    refuses(dw_header_set_accuracy(header, 1, INFINITY, NAN, &error), DW_BAD_USE, error,
            "key 'accuracy': inf is not finite");
    refuses(dw_header_set_accuracy(header, 1, -1, NAN, &error), DW_BAD_USE, error,
            "accuracy: '-1' of channel pin is not a number of zero or more");
    ck_assert(of(header, 1)->accuracy == 0 && of(header, 2)->initial == 0.25);
    dw_header_drop(header, "initial");
    ck_assert(isnan(of(header, 2)->initial) && isnan(of(header, 3)->initial));
    /* a channel may be called as a share is written */
    succeeds(dw_header_rename(header, 2, "4", NULL, &error), error);
    succeeds(dw_header_set(header, "accuracy", "pin 1e-3 4 0.5 speed 2 3", &error), error);
    ck_assert(of(header, 1)->accuracy == 1e-3 && isnan(of(header, 1)->share) && of(header, 2)->accuracy == 0.5 && of(header, 3)->share == 3);
    refuses(dw_header_set(header, "accuracy", "pin 1e-3 4", &error), DW_BAD_USE, error,
            "accuracy: '' of channel 4 is not a number of zero or more");
    dw_header_free(header);
}
END_TEST

START_TEST(a_renamed_channel_keeps_its_facts)
{
    struct dw_error error;
    struct dw_header *header = motor_header();
    succeeds(dw_header_set(header, "initial", "speed 3 current 1", &error), error);
    succeeds(dw_header_set(header, "accuracy", "speed 1e-02", &error), error);
    succeeds(dw_header_rename(header, 1, "gate", NULL, &error), error);
    succeeds(dw_header_rename(header, 0, "frequency", "Hz", &error), error);
    ck_assert_str_eq(dw_header_get(header, "initial"), "speed 3 current 1");
    succeeds(dw_header_rename(header, 3, "shaft", "1/s", &error), error);
    ck_assert_str_eq(dw_header_get(header, "initial"), "current 1 shaft 3");
    ck_assert_str_eq(dw_header_get(header, "accuracy"), "shaft 0.01");
    ck_assert_str_eq(dw_header_column(header, 3).name, "shaft");
    ck_assert_str_eq(dw_header_column(header, 3).unit, "1/s");
    ck_assert_str_eq(dw_header_column(header, 1).unit, "V");
    ck_assert_str_eq(dw_header_column(header, 0).name, "frequency");
    ck_assert(of(header, 3)->initial == 3 && of(header, 3)->accuracy == 0.01);
    dw_header_free(header);
}
END_TEST

START_TEST(selected_channels_keep_their_facts_and_those_of_others_go)
{
    struct dw_error error;
    struct dw_header *header = motor_header();
    succeeds(dw_header_set(header, "accuracy", "current 1", &error), error);
    succeeds(dw_header_set(header, "levels", "0 3.3", &error), error);
    succeeds(dw_header_set(header, "initial", "speed 3 current 1", &error), error);
    struct dw_header *chosen = dw_header_select(header, (size_t[]){ 3, 1 }, 2, &error);
    ck_assert_uint_eq(dw_header_columns(chosen), 3);
    ck_assert_str_eq(dw_header_column(chosen, 0).name, "time");
    ck_assert_str_eq(dw_header_column(chosen, 1).name, "speed");
    ck_assert_str_eq(dw_header_column(chosen, 2).unit, "V");
    ck_assert_str_eq(dw_header_key(chosen, 0, NULL), "levels");
    ck_assert_str_eq(dw_header_key(chosen, 1, NULL), "initial");
    ck_assert_ptr_null(dw_header_key(chosen, 2, NULL));
    ck_assert_str_eq(dw_header_get(chosen, "initial"), "speed 3");
    ck_assert(of(chosen, 1)->initial == 3 && dw_header_facts(chosen)->high == 3.3);
    dw_header_free(chosen);
    ck_assert_ptr_null(dw_header_select(header, (size_t[]){ 1, 1 }, 2, &error));
    ck_assert_str_eq(error.text, "two channels have the name 'pin'");
    ck_assert_ptr_null(dw_header_select(header, (size_t[]){ 4 }, 1, &error));
    ck_assert_str_eq(error.text, "'' is no channel name: letters, digits, _ - . are");
    dw_header_free(header);
}
END_TEST

/* What does not read, and what is said of it: the same where it is set, added and read. */
static const struct bad {
    const char *key, *value, *message;
} bad[] = {
    { "period", "0", "'period: 0' is not a number above zero" },
    { "period", "-1", "'period: -1' is not a number above zero" },
    { "period", "soon", "'period: soon' is not a number above zero" },
    { "period", "0.002 s", "'period: 0.002 s' is not a number above zero" },
    { "period", "0.002 0.003", "'period: 0.002 0.003' is not a number above zero" },
    { "period", "", "'period: ' is not a number above zero" },
    { "period", "nan", "'period: nan' is not a number above zero" },
    { "period", "inf", "'period: inf' is not a number above zero" },
    { "period", "1e999", "'period: 1e999' is not a number above zero" },
    { "period", "1,5", "'period: 1,5' is not a number above zero" },
    { "carrier-period", "-3", "'carrier-period: -3' is not a number above zero" },
    { "sampled", "0", "'sampled: 0' is not a number above zero" },
    { "sampled", "1k", "'sampled: 1k' is not a number above zero" },
    { "tick", "-0.0", "'tick: -0.0' is not a number above zero" },
    { "origin", "here", "'origin: here' is not a number" },
    { "origin", "-inf", "'origin: -inf' is not a number" },
    { "origin", "0x1", "'origin: 0x1' is not a number" },
    { "levels", "5 0", "'levels: 5 0' is not two numbers, the low one first" },
    { "levels", "5 5", "'levels: 5 5' is not two numbers, the low one first" },
    { "levels", "5", "'levels: 5' is not two numbers, the low one first" },
    { "levels", "0 5 7", "'levels: 0 5 7' is not two numbers, the low one first" },
    { "levels", "off on", "'levels: off on' is not two numbers, the low one first" },
    { "levels", "0 5x", "'levels: 0 5x' is not two numbers, the low one first" },
    { "levels", "0 inf", "'levels: 0 inf' is not two numbers, the low one first" },
    { "levels", "nan 5", "'levels: nan 5' is not two numbers, the low one first" },
    { "levels", "", "'levels: ' is not two numbers, the low one first" },
    { "initial", "pin x", "initial: 'x' of channel pin is not a number" },
    { "initial", "speed 3 current", "initial: '' of channel current is not a number" },
    { "initial", "speed 3 current inf", "initial: 'inf' of channel current is not a number" },
    { "initial", "pin 1 pin 2", "initial: channel pin stands twice" },
    { "initial", "time 0", "initial: no channel 'time'; there are pin[V], current[A], speed[rad/s]" },
    { "initial", "pin 1 curent 2", "initial: no channel 'curent'; did you mean 'current'?" },
    { "initial", "", "initial: no channel ''; there are pin[V], current[A], speed[rad/s]" },
    { "accuracy", "out 1e-6", "accuracy: no channel 'out'; there are pin[V], current[A], speed[rad/s]" },
    { "accuracy", "pin -1 out", "accuracy: '-1' of channel pin is not a number of zero or more" },
    { "accuracy", "pin 1 -1", "accuracy: the share -1 of channel pin is not a number of zero or more" },
    { "accuracy", "pin 1 inf", "accuracy: the share inf of channel pin is not a number of zero or more" },
    { "accuracy", "pin 1 out", "accuracy: no channel 'out'; there are pin[V], current[A], speed[rad/s]" },
    { "accuracy", "current nan", "accuracy: 'nan' of channel current is not a number of zero or more" },
    { "levels", "a text that goes on and on until a message can no longer hold all that was found",
      "'levels: a text that goes on and on until a message can no longer hol...' is not two numbers, the low one first" },
};
enum { BAD = sizeof bad / sizeof bad[0] };

START_TEST(a_known_key_that_does_not_read_is_refused_where_it_is_set_and_changes_nothing)
{
    struct dw_error error;
    struct dw_header *empty = motor_header(), *full = motor_header();
    static const char *const good[] = { "period", "2", "carrier-period", "1", "origin", "3", "levels", "0 5",
                                        "tick", "0.1", "sampled", "1024", "initial", "current 4", "accuracy", "pin 1" };
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i += 2)
        succeeds(dw_header_set(full, good[i], good[i + 1], &error), error);
    struct dw_header *before = dw_header_copy(full, &error);
    for (size_t i = 0; i < BAD; i++) {
        refuses(dw_header_add(empty, bad[i].key, bad[i].value, &error), DW_BAD_USE, error, bad[i].message);
        refuses(dw_header_set(empty, bad[i].key, bad[i].value, &error), DW_BAD_USE, error, bad[i].message);
        refuses(dw_header_set(full, bad[i].key, bad[i].value, &error), DW_BAD_USE, error, bad[i].message);
        ck_assert_int_eq(dw_header_set(full, bad[i].key, bad[i].value, NULL), DW_BAD_USE);
        ck_assert_ptr_null(dw_header_key(empty, 0, NULL));
        ck_assert_uint_eq(dw_header_facts(empty)->has, 0);
        ck_assert_str_eq(dw_header_get(full, bad[i].key), dw_header_get(before, bad[i].key));
        same_facts(full, before);
    }
    refuses(dw_header_set_number(full, "period", INFINITY, &error), DW_BAD_USE, error,
            "key 'period': inf is not finite");
    refuses(dw_header_set_number(full, "sampled", -0.5, &error), DW_BAD_USE, error,
            "'sampled: -0.5' is not a number above zero");
    same_facts(full, before);
    dw_header_free(before);
    dw_header_free(empty);
    dw_header_free(full);
}
END_TEST

static void check_refusal(const char *table, unsigned long long line, const char *message)
{
    struct dw_error error;
    char wanted[400];
    snprintf(wanted, sizeof wanted, "standard input, line %llu: %s", line, message);
    ck_assert_ptr_null(reader_of_text(table, &error));
    ck_assert_str_eq(error.text, wanted);
    ck_assert_int_eq(error.status, DW_BAD_INPUT);
    ck_assert_uint_eq(error.line, line);
}

/* wherever the key stands, its own line is named: above the columns, below them, and in a binary table */
START_TEST(a_known_key_that_does_not_read_is_refused_where_a_table_is_read_with_its_line)
{
#define TABLE "# wave-table 1\n"
#define COLUMNS "# columns: time[s] pin[V] current[A] speed[rad/s]\n"
    for (size_t i = 0; i < BAD; i++) {
        const char *key = bad[i].key, *value = bad[i].value;
        char table[600];
        snprintf(table, sizeof table, TABLE "# note: a\n# %s: %s\n# duty: b\n" COLUMNS "# end: 0\n", key, value);
        check_refusal(table, 3, bad[i].message);
        snprintf(table, sizeof table, TABLE "\n" COLUMNS "# %s:%s\r\n0 1 2 3\n# end: 1\n", key, value);
        check_refusal(table, 4, bad[i].message);
        snprintf(table, sizeof table, TABLE "#%s: %s \t\n" COLUMNS "# rows: float64le\n", key, value);
        check_refusal(table, 2, bad[i].message);
    }
    check_refusal(TABLE "# tick: 1\n# tick: 1\n" COLUMNS "# end: 0\n", 3, "key 'tick' stands twice in the header");
}
END_TEST

START_TEST(keys_that_are_not_known_may_hold_anything)
{
    static const char table[] = "# wave-table 1\n# Period: -1\n# levels-2: 5 0\n# duty: high\n# ticks:\n"
                                "# initially: x\n# columns: time[s] pin[V]\n0\t1\n# end: 1\n";
    const struct bytes written = converted(table, sizeof table - 1, DW_TEXT);
    ck_assert_str_eq(written.at, table);
    free(written.at);
    struct dw_error error;
    struct dw_reader *reader = reader_of_text("# period: -1\n# levels: 5 0\ntime,pin\n0,1\n1,2\n", &error);
    ck_assert_msg(reader != NULL, "%s", error.text);
    ck_assert_uint_eq(dw_header_facts(dw_reader_header(reader))->has, 0); /* a table of another's, and its remarks */
    dw_reader_close(reader);
}
END_TEST

/* A header as it is read back from a table that has it. */
static struct dw_header *read_back(const struct dw_header *header)
{
    struct dw_error error;
    const int file = memory_file();
    struct dw_writer *writer = dw_writer_open(file, header, DW_TEXT, &error);
    ck_assert_msg(writer != NULL, "%s", error.text);
    succeeds(dw_writer_finish(writer, &error), error);
    dw_writer_free(writer);
    const struct bytes bytes = take_bytes(file);
    struct dw_reader *reader = reader_of(bytes.at, bytes.size, false, &error);
    ck_assert_msg(reader != NULL, "%s\n%s", error.text, bytes.at);
    struct dw_header *copy = dw_header_copy(dw_reader_header(reader), &error);
    dw_reader_close(reader);
    free(bytes.at);
    return copy;
}

static size_t below(uint64_t *state, size_t limit)
{
    *state = *state * UINT64_C(6364136223846793005) + 1442695040888963407;
    return (size_t)(*state >> 33) % limit;
}

/* One change of a header, any; what is refused must change nothing. */
static struct dw_header *changed(struct dw_header *header, uint64_t *state)
{
    static const char *const names[] = { "pin", "out", "current", "speed", "node" };
    static const char *const keys[] = { "period",  "carrier-period", "origin",  "levels",
                                        "sampled", "tick",           "initial", "accuracy" };
    static const char *const values[] = { "1",   "0.5",   "-2",          "0 5",                "-1 1",
                                          "5 0", "pin 1", "pin 2 out 3", "current 0 speed -4", "x" };
    struct dw_error error;
    struct dw_header *other = NULL;
    const size_t columns = dw_header_columns(header), column = 1 + below(state, columns - 1), two[] = { column, 1 };
    const char *key = keys[below(state, 8)];
    switch (below(state, 9)) {
    case 0: dw_header_set(header, key, values[below(state, 10)], &error); break;
    case 1: dw_header_add(header, key, values[below(state, 10)], &error); break;
    case 2: dw_header_drop(header, key); break;
    case 3: dw_header_rename(header, column, names[below(state, 5)], NULL, &error); break;
    case 4: dw_header_set_initial(header, column, (double)below(state, 9) - 4, &error); break;
    case 5: dw_header_set_accuracy(header, column, (double)below(state, 9) - 4, below(state, 2) ? NAN : (double)below(state, 5) - 1, &error); break;
    case 6: dw_header_append(header, names[below(state, 5)], "V", &error); break;
    case 7: other = dw_header_select(header, two, column == 1 ? 1 : 2, &error); break;
    default: other = dw_header_derive(header, (unsigned)below(state, 64), NULL, &error); break;
    }
    if (other)
        dw_header_free(header);
    return other ? other : header;
}

/* After any changes, refused ones too, the facts are those that a reader of the same header finds. */
START_TEST(facts_never_go_stale)
{
    uint64_t state = 20260113;
    struct dw_header *header = motor_header();
    unsigned seen = 0;
    size_t pairs = 0;
    for (int i = 0; i < 20000; i++) {
        header = changed(header, &state);
        if (i % 7)
            continue;
        struct dw_header *read = read_back(header);
        same_facts(header, read);
        dw_header_free(read);
        seen |= dw_header_facts(header)->has;
        for (size_t k = 1; k < dw_header_columns(header); k++)
            pairs += !isnan(of(header, k)->initial) && !isnan(of(header, k)->accuracy);
    }
    ck_assert_msg(seen == 63 && pairs > 100, "seed 20260113: facts %u, %zu channels with both: too few to judge by",
                  seen, pairs);
    dw_header_free(header);
}
END_TEST

SUITE("table: facts", each_key_says_its_number_and_a_missing_one_says_nothing, initial_and_accuracy_are_kept_by_channel,
      a_renamed_channel_keeps_its_facts, selected_channels_keep_their_facts_and_those_of_others_go,
      a_known_key_that_does_not_read_is_refused_where_it_is_set_and_changes_nothing,
      a_known_key_that_does_not_read_is_refused_where_a_table_is_read_with_its_line,
      keys_that_are_not_known_may_hold_anything, facts_never_go_stale)
