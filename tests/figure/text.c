/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "figure/text.h"
#include "suite.h"

START_TEST(utf_8_becomes_what_the_stroke_font_has)
{
    static const char *const cases[][2] = {
        { "mean 1.25 V", "mean 1.25 V" },
        { "4.7 k\xce\xa9, 4.7 k\xe2\x84\xa6", "4.7 k\\*W, 4.7 k\\*W" },  /* Greek letter, ohm sign */
        { "3 \xc2\xb5s 3 \xce\xbcs", "3 \xb5s 3 \\*ms" },                /* micro sign, Greek letter */
        { "\xc2\xb0" "C \xc2\xb1 \xc3\xa4\xc3\xb6\xc3\xbc", "\xb0" "C \xb1 \xe4\xf6\xfc" },
        { "C:\\sp\\*W", "C:\\#H0804sp\\#H0804*W" },                      /* a backslash is no escape */
        { "\xe2\x88\x92" "5 \xe2\x89\xa4 x \xe2\x89\xa5 \xe2\x88\x9e", "-5 \\<= x \\>= \\if" },
        { "\xce\x91\xce\x94\xcf\x80", "A\\*D\\*p" },                     /* Alpha looks like A */
        { "\xc5\xbdlu\xc5\xa5ou\xc4\x8dk\xc3\xbd \xc4\x80\xc5\xbf", "Zlutouck\xfd As" }, /* the letter without its accent */
        { "5 \xe2\x82\xac \xe2\x80\x94 \xc3\x98", "5 \\r8\\mk\\l6=\\rtC -\\l4- \\mkO\\rt/" }, /* overlaid: euro, dash, O with a stroke */
        { "\xe6\xb0\xb4 \xf0\x9f\x98\x80", "? ?" },
        { "a\tb\nc\x01", "a b c " },
        { "\xff\xc3 \xe2\x82", "?? ??" },                                /* bytes that are no UTF-8 */
        { "\xc0\xaf \xed\xa0\x80", "?? ???" },                           /* overlong, surrogate */
        { "", "" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char got[64];
        text_for_strokes(got, sizeof got, cases[i][0]);
        ck_assert_str_eq(got, cases[i][1]);
    }
    ck_assert(text_has_strokes("4.7 k\xce\xa9 \xc4\x8d ?") && !text_has_strokes("a \xe6\xb0\xb4 b") && !text_has_strokes("\xff"));
    char cut[6];
    text_for_strokes(cut, sizeof cut, "ab\xce\xa9\xce\xa9");
    ck_assert_str_eq(cut, "ab\\*W"); /* never half an escape */
}
END_TEST

START_TEST(xml_text_is_valid_whatever_comes)
{
    static const char *const cases[][2] = {
        { "a < b & c > d", "a &lt; b &amp; c &gt; d" },
        { "dw-pwm\ndw-plot", "dw-pwm\ndw-plot" },
        { "\x1b[0m\x02", " [0m " },
        { "\xff", "\xef\xbf\xbd" },
        { "\xef\xbf\xbf", "\xef\xbf\xbd" }, /* U+FFFF is no character */
        { "\xc2\xb5", "\xc2\xb5" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char got[64];
        text_for_xml(got, sizeof got, cases[i][0]);
        ck_assert_str_eq(got, cases[i][1]);
    }
    char cut[6];
    text_for_xml(cut, sizeof cut, "ab&&");
    ck_assert_str_eq(cut, "ab");
}
END_TEST

START_TEST(a_long_text_loses_its_middle)
{
    static const struct {
        const char *text;
        size_t most;
        const char *want;
    } cases[] = {
        { "out", 5, "out" },
        { "exactly-12-c", 12, "exactly-12-c" },
        { "speed-of-the-pump-motor-2", 12, "speed-of\xe2\x80\xa6r-2" },
        { "\xc3\xa4\xc3\xb6\xc3\xbc\xc3\xa4\xc3\xb6\xc3\xbc", 3, "\xc3\xa4\xc3\xb6\xe2\x80\xa6" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char got[64];
        text_shorten(got, sizeof got, cases[i].text, cases[i].most);
        ck_assert_str_eq(got, cases[i].want);
        ck_assert_uint_le(text_length(got), cases[i].most);
    }
}
END_TEST

START_TEST(comments_are_printable_ascii)
{
    char got[32];
    text_for_comment(got, sizeof got, "4.7 k\xce\xa9\x07 ~");
    ck_assert_str_eq(got, "4.7 k?  ~");
}
END_TEST

START_TEST(a_terminal_gets_no_control_characters)
{
    static const struct { const char *text, *utf8, *ascii; } cases[] = {
        { "4.7 k\xce\xa9 \xc2\xb5 \xce\xbc \xe2\x88\x92""1 \xc2\xb0""C", "4.7 k\xce\xa9 \xc2\xb5 \xce\xbc \xe2\x88\x92""1 \xc2\xb0""C",
          "4.7 kohm u u -1 degC" },
        { "a\033[1m\r\x7f\xc2\x9b""2", "a [1m   2", "a [1m   2" },
        { "\xff\xc3!", "?" "?!", "?" "?!" },
        { "\xe6\xb0\xb4\xe2\x80\xa6", "\xe6\xb0\xb4\xe2\x80\xa6", "?..." },
        { "5 \xe2\x82\xac \xe2\x80\x93 \xc3\xa9\xc5\xa1 \xc2\xb1", "5 \xe2\x82\xac \xe2\x80\x93 \xc3\xa9\xc5\xa1 \xc2\xb1", "5 EUR - es +-" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char got[64];
        text_for_terminal(got, sizeof got, cases[i].text, false);
        ck_assert_str_eq(got, cases[i].utf8);
        text_for_terminal(got, sizeof got, cases[i].text, true);
        ck_assert_str_eq(got, cases[i].ascii);
    }
    char cut[4];
    text_for_terminal(cut, sizeof cut, "ab\xce\xa9", false); /* never half a character */
    ck_assert_str_eq(cut, "ab");
}
END_TEST

SUITE("figure: text", utf_8_becomes_what_the_stroke_font_has, xml_text_is_valid_whatever_comes, a_long_text_loses_its_middle,
      comments_are_printable_ascii, a_terminal_gets_no_control_characters)
