/* SPDX-License-Identifier: GPL-3.0-or-later */
/* IEC 60063:2015, Preferred number series for resistors and capacitors. The lists below are its tables 1 and 2 written
 * down from memory, in hundredths; they are no copy of what the library computes. */
#include "suite.h"
#include <dutywright/value.h>
#include <stdbool.h>

static const int e3[] = { 100, 220, 470 };
static const int e6[] = { 100, 150, 220, 330, 470, 680 };
static const int e12[] = { 100, 120, 150, 180, 220, 270, 330, 390, 470, 560, 680, 820 };
static const int e24[] = { 100, 110, 120, 130, 150, 160, 180, 200, 220, 240, 270, 300,
                           330, 360, 390, 430, 470, 510, 560, 620, 680, 750, 820, 910 };
static const int e48[] = { 100, 105, 110, 115, 121, 127, 133, 140, 147, 154, 162, 169, 178, 187, 196, 205,
                           215, 226, 237, 249, 261, 274, 287, 301, 316, 332, 348, 365, 383, 402, 422, 442,
                           464, 487, 511, 536, 562, 590, 619, 649, 681, 715, 750, 787, 825, 866, 909, 953 };
static const int e96[] = {
    100, 102, 105, 107, 110, 113, 115, 118, 121, 124, 127, 130, 133, 137, 140, 143, 147, 150, 154, 158, 162, 165, 169, 174,
    178, 182, 187, 191, 196, 200, 205, 210, 215, 221, 226, 232, 237, 243, 249, 255, 261, 267, 274, 280, 287, 294, 301, 309,
    316, 324, 332, 340, 348, 357, 365, 374, 383, 392, 402, 412, 422, 432, 442, 453, 464, 475, 487, 499, 511, 523, 536, 549,
    562, 576, 590, 604, 619, 634, 649, 665, 681, 698, 715, 732, 750, 768, 787, 806, 825, 845, 866, 887, 909, 931, 953, 976,
};
/* those of E192 that are not in E96 */
static const int e192_between[] = {
    101, 104, 106, 109, 111, 114, 117, 120, 123, 126, 129, 132, 135, 138, 142, 145, 149, 152, 156, 160, 164, 167, 172, 176,
    180, 184, 189, 193, 198, 203, 208, 213, 218, 223, 229, 234, 240, 246, 252, 258, 264, 271, 277, 284, 291, 298, 305, 312,
    320, 328, 336, 344, 352, 361, 370, 379, 388, 397, 407, 417, 427, 437, 448, 459, 470, 481, 493, 505, 517, 530, 542, 556,
    569, 583, 597, 612, 626, 642, 657, 673, 690, 706, 723, 741, 759, 777, 796, 816, 835, 856, 876, 898, 920, 942, 965, 988,
};

static void compare(int series, const int *listed, int first, int step)
{
    double values[192];
    struct dw_error error;
    succeeds(dw_preferred_values(series, values, &error), error);
    for (int i = 0, k = first; k < series; i++, k += step) /* the division is correctly rounded, so equality holds */
        ck_assert_msg(values[k] == listed[i] / 100.0, "E%d: %g, the standard has %g", series, values[k], listed[i] / 100.0);
}

START_TEST(series_up_to_e24_are_those_listed_in_iec_60063)
{
    compare(3, e3, 0, 1);
    compare(6, e6, 0, 1);
    compare(12, e12, 0, 1);
    compare(24, e24, 0, 1);
}
END_TEST

START_TEST(series_from_e48_are_those_listed_in_iec_60063)
{
    compare(48, e48, 0, 1);
    compare(96, e96, 0, 1);
    compare(192, e96, 0, 2);
    compare(192, e192_between, 1, 2);
}
END_TEST

/* Where the standard departs from its own formula, 10^(k/n) rounded to two or three digits: eight values of E24, and
 * 9.20 of E192. In extended precision, so that the formula here is not the one in the library. */
START_TEST(the_standard_departs_from_its_formula_only_at_the_known_values)
{
    static const int series[] = { 3, 6, 12, 24, 48, 96, 192 };
    static const int odd[] = { 270, 300, 330, 360, 390, 430, 470, 820 };
    for (int s = 0; s < 7; s++) {
        double values[192];
        const long double scale = series[s] <= 24 ? 10 : 100;
        ck_assert_int_eq(dw_preferred_values(series[s], values, NULL), DW_OK);
        for (int k = 0; k < series[s]; k++) {
            const double formula = (double)(roundl(scale * powl(10, (long double)k / series[s])) / scale);
            bool known = series[s] == 192 && k == 185;
            for (int i = 0; i < 8; i++)
                known = known || (series[s] <= 24 && values[k] == odd[i] / 100.0);
            ck_assert_msg((values[k] == formula) != known, "E%d: %g, by the formula %g", series[s], values[k], formula);
        }
    }
}
END_TEST

SUITE("outside: preferred values of IEC 60063", series_up_to_e24_are_those_listed_in_iec_60063,
      series_from_e48_are_those_listed_in_iec_60063, the_standard_departs_from_its_formula_only_at_the_known_values)
