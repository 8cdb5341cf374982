/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "suite.h"
#include <errno.h>
#include <stdio.h>
#include <string.h>

START_TEST(every_status_has_its_own_phrase)
{
    for (int a = DW_OK; a <= DW_CLOSED_PIPE; a++) {
        ck_assert_str_ne(dw_status_text((enum dw_status)a), "unknown status");
        for (int b = DW_OK; b < a; b++)
            ck_assert_str_ne(dw_status_text((enum dw_status)a), dw_status_text((enum dw_status)b));
    }
    ck_assert_str_eq(dw_status_text((enum dw_status)99), "unknown status");
}
END_TEST

START_TEST(an_error_is_cut_to_its_buffer_and_needs_none)
{
    struct dw_error error;
    char text[2 * DW_ERROR_TEXT];
    memset(text, 'x', sizeof text - 1);
    text[sizeof text - 1] = 0;
    ck_assert_int_eq(dw_error_set(&error, DW_SYSTEM, 7, "%s", text), DW_SYSTEM);
    ck_assert_uint_eq(strlen(error.text), DW_ERROR_TEXT - 1);
    ck_assert_uint_eq(error.line, 7);
    ck_assert_int_eq(error.status, DW_SYSTEM);
    ck_assert_int_eq(dw_error_set(NULL, DW_BAD_USE, 0, "unseen"), DW_BAD_USE);
}
END_TEST

START_TEST(an_error_can_be_put_into_other_words_with_its_own_text)
{
    struct dw_error error;
    dw_error_set(&error, DW_NO, 0, "nothing damps it");
    ck_assert_int_eq(dw_error_set(&error, DW_BAD_INPUT, 3, "--start %s: %s", "steady", error.text), DW_BAD_INPUT);
    ck_assert_str_eq(error.text, "--start steady: nothing damps it");
}
END_TEST

START_TEST(a_file_that_cannot_be_read_is_named_and_who_is_to_blame)
{
    static const struct {
        int number;
        enum dw_status status;
    } cases[] = { { ENOENT, DW_BAD_INPUT }, { EISDIR, DW_BAD_INPUT }, { ENOMEM, DW_NO_MEMORY }, { EIO, DW_SYSTEM } };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct dw_error error;
        char text[DW_ERROR_TEXT];
        ck_assert_int_eq(dw_error_file(&error, "parts.txt", cases[i].number), cases[i].status);
        ck_assert_int_eq(error.status, cases[i].status);
        snprintf(text, sizeof text, "parts.txt: %s", strerror(cases[i].number));
        ck_assert_str_eq(error.text, text);
    }
}
END_TEST

START_TEST(memory_that_runs_out_is_told_in_the_status_s_own_words)
{
    struct dw_error error = { .line = 9 };
    ck_assert_int_eq(dw_no_memory(&error), DW_NO_MEMORY);
    ck_assert_int_eq(error.status, DW_NO_MEMORY);
    ck_assert_uint_eq(error.line, 0);
    ck_assert_str_eq(error.text, "out of memory");
    ck_assert_int_eq(dw_no_memory(NULL), DW_NO_MEMORY);
}
END_TEST

START_TEST(a_refused_member_is_named_until_the_error_is_put_into_other_words)
{
    struct dw_error error;
    ck_assert_int_eq(dw_error_member(&error, "diode_drop", "diode drop %g V", -1.0), DW_BAD_USE);
    ck_assert_int_eq(error.status, DW_BAD_USE);
    ck_assert_uint_eq(error.line, 0);
    ck_assert_str_eq(error.member, "diode_drop");
    ck_assert_str_eq(error.text, "diode drop -1 V");
    dw_error_set(&error, DW_BAD_INPUT, 3, "%s", error.text);
    ck_assert_str_eq(error.member, "");
    ck_assert_int_eq(dw_error_member(NULL, "diode_drop", "unseen"), DW_BAD_USE);
}
END_TEST

SUITE("value: status", a_file_that_cannot_be_read_is_named_and_who_is_to_blame,
      a_refused_member_is_named_until_the_error_is_put_into_other_words, every_status_has_its_own_phrase,
      memory_that_runs_out_is_told_in_the_status_s_own_words, an_error_is_cut_to_its_buffer_and_needs_none,
      an_error_can_be_put_into_other_words_with_its_own_text)
