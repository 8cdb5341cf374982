/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The wave table against the standards it leans on. */
#include "table/fixture.h"
#include "suite.h"
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* RFC 4180 (Shafranovich 2005), section 2, the example of each rule, as a title above a row of numbers. What our names
 * may not hold becomes a hyphen. From memory of the RFC. */
START_TEST(titles_follow_the_rules_of_rfc_4180)
{
    static const struct {
        const char *text, *names[3];
    } cases[] = {
        { "aaa,bbb,ccc\r\n1,2,3\r\n", { "aaa", "bbb", "ccc" } },                      /* rule 1: lines end in CR LF */
        { "aaa,bbb,ccc\r\n1,2,3", { "aaa", "bbb", "ccc" } },                          /* rule 2: but the last need not */
        { "field_name,field_name,field_name\r\n1,2,3\r\n", { "field_name", "field_name-2", "field_name-3" } },  /* 3: a title line */
        { "\"aaa\",\"bbb\",\"ccc\"\r\n1,2,3\r\n", { "aaa", "bbb", "ccc" } },          /* 5: fields may be quoted */
        { "\"aaa\",bbb,\"ccc\"\r\n\"1\",2,\"3\"\r\n", { "aaa", "bbb", "ccc" } },
        { "\"aaa\",\"b\r\nbb\",\"ccc\"\r\n1,2,3\r\n", { "aaa", "b-bb", "ccc" } },     /* 6: and hold line ends, */
        { "\"aaa\",\"b,bb\",\"ccc\"\r\n1,2,3\r\n", { "aaa", "b-bb", "ccc" } },        /* commas, */
        { "\"aaa\",\"b\"\"bb\",\"ccc\"\r\n1,2,3\r\n", { "aaa", "b-bb", "ccc" } },     /* 7: and quotes, doubled */
    };
    struct dw_error error;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct dw_reader *reader = reader_of_text(cases[i].text, &error);
        ck_assert_msg(reader != NULL, "%s: %s", cases[i].text, error.text);
        const double *row;
        for (size_t k = 0; k < 3; k++)
            ck_assert_str_eq(dw_header_column(dw_reader_header(reader), k).name, cases[i].names[k]);
        succeeds(dw_reader_row(reader, &row, &error), error);
        ck_assert(row[0] == 1 && row[1] == 2 && row[2] == 3);
        ck_assert_int_eq(dw_reader_row(reader, &row, &error), DW_END);
        dw_reader_close(reader);
    }
}
END_TEST

/* IEEE Std 754-2019, 3.4: sign, 11 bits of exponent with bias 1023, 52 bits of fraction, so the value is
 * (-1)^s 2^(e-1023) (1 + f/2^52), or (-1)^s 2^-1022 f/2^52 where e is 0. Bytes put together here from s, e and f. */
START_TEST(binary_rows_are_ieee_754_binary64_lowest_byte_first)
{
    static const struct {
        unsigned sign, exponent;
        uint64_t fraction;
        const char *text;
    } cases[] = {
        { 1, 0x400, 0, "-2" },
        { 1, 0, 0, "-0" },
        { 0, 0, 0, "0" },
        { 0, 0, 1, "5e-324" },
        { 0, 0, UINT64_C(0xfffffffffffff), "2.225073858507201e-308" },
        { 0, 1, 0, "2.2250738585072014e-308" },
        { 0, 0x3fb, UINT64_C(0x999999999999a), "0.1" },
        { 0, 0x3ff, 0, "1" },
        { 0, 0x3ff, 1, "1.0000000000000002" },
        { 0, 0x400, UINT64_C(0x921fb54442d18), "3.141592653589793" },
        { 0, 0x433, 0, "4.503599627370496e+15" },
        { 0, 0x7fe, UINT64_C(0xfffffffffffff), "1.7976931348623157e+308" },
    };
    enum { COUNT = sizeof cases / sizeof cases[0] };
    char text[2048];
    size_t size = (size_t)sprintf(text, "# wave-table 1\n# columns: time[s] pin[V]\n");
    for (int i = 0; i < COUNT; i++)
        size += (size_t)sprintf(text + size, "%d\t%s\n", i, cases[i].text);
    size += (size_t)sprintf(text + size, "# end: %d\n", COUNT);
    struct bytes binary = converted(text, size, DW_BINARY), again = converted(binary.at, binary.size, DW_TEXT);
    ck_assert_str_eq(again.at, text);
    const unsigned char *row = (const unsigned char *)binary.at + binary.size - 16 * (COUNT + 1);
    for (int i = 0; i < COUNT; i++, row += 16) {
        const uint64_t bits = (uint64_t)cases[i].sign << 63 | (uint64_t)cases[i].exponent << 52 | cases[i].fraction;
        for (int k = 0; k < 8; k++)
            ck_assert_uint_eq(row[8 + k], bits >> 8 * k & 0xff);
    }
    free(binary.at);
    free(again.at);
}
END_TEST

/* ISO 80000-1:2022, 7.1: the quotient of a quantity and a unit heads a column of numbers, t/ms. From memory. */
START_TEST(a_quantity_divided_by_its_unit_heads_a_column)
{
    struct dw_error error;
    struct dw_reader *reader = reader_of_text("t/ms;U / V\n250;1,5\n", &error);
    ck_assert_ptr_nonnull(reader);
    const double *row;
    ck_assert_str_eq(dw_header_column(dw_reader_header(reader), 1).name, "U");
    ck_assert_str_eq(dw_header_column(dw_reader_header(reader), 1).unit, "V");
    succeeds(dw_reader_row(reader, &row, &error), error);
    ck_assert(row[0] == 0.25 && row[1] == 1.5);
    dw_reader_close(reader);
}
END_TEST

SUITE("outside: tables", titles_follow_the_rules_of_rfc_4180, binary_rows_are_ieee_754_binary64_lowest_byte_first,
      a_quantity_divided_by_its_unit_heads_a_column)
