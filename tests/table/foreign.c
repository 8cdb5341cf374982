/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Tables without our header: spreadsheets, bench instruments, awk. */
#include "table/fixture.h"
#include "suite.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct foreign {
    const char *text;
    const char *columns; /* "time[s] pin[V]" */
    double values[6];
    size_t count;
};

static void reads_as(const char *text, size_t size, const char *columns, const double *values, size_t count)
{
    struct dw_error error;
    struct dw_reader *reader = reader_of(text, size, false, &error);
    ck_assert_msg(reader != NULL, "%s\n%s", text, error.text);
    char found[512];
    columns_of(dw_reader_header(reader), found, sizeof found);
    ck_assert_msg(!strcmp(found, columns), "%s\n%s, wanted %s", text, found, columns);
    ck_assert_int_eq(dw_reader_encoding(reader), DW_CSV);
    dw_reader_close(reader);
    for (size_t most = 1; most < 4; most++) {
        struct whole all = read_whole(text, size, false, most);
        ck_assert_msg(all.status == DW_OK, "%s\n%s", text, all.error.text);
        ck_assert_uint_eq(all.rows * all.columns, count);
        for (size_t i = 0; i < count; i++)
            ck_assert_msg(all.values[i] == values[i], "%s\nvalue %zu is %.17g", text, i, all.values[i]);
        whole_free(&all);
    }
}

START_TEST(exported_tables_read_as_they_are)
{
    static const struct foreign cases[] = {
        /* no title */
        { "0 1\n0.5 2\n", "time[s] ch1[]", { 0, 1, 0.5, 2 }, 4 },
        { "0,1\n0.5,2", "time[s] ch1[]", { 0, 1, 0.5, 2 }, 4 },
        { "0;1,5\n0,5;-2,25\n", "time[s] ch1[]", { 0, 1.5, 0.5, -2.25 }, 4 },
        { "0\t1,5\n0,5\t2\n", "time[s] ch1[]", { 0, 1.5, 0.5, 2 }, 4 },
        { "\n\n  0   1\n\n  0.5\t2  \n\n", "time[s] ch1[]", { 0, 1, 0.5, 2 }, 4 },
        { "-5e-3,+1,.25\r\n0,+2,5.\r\n", "time[s] ch1[] ch2[]", { -5e-3, 1, 0.25, 0, 2, 5 }, 6 },
        /* titles */
        { "time,pin\n0,1\n", "time[s] pin[]", { 0, 1 }, 2 },
        { "\357\273\277time[s],pin[V]\r\n0,1\r\n", "time[s] pin[V]", { 0, 1 }, 2 },
        { "[s],pin\n0,1\n", "time[s] pin[]", { 0, 1 }, 2 },
        { "time,a-title-of-more-letters-than-any-name-has-room-for-which-ends-where-there-is-no-more-of-it-however-long-it-is-in-the-file-of-an-instrument\n0,1\n",
          "time[s] a-title-of-more-letters-than-any-name-has-room-for-which-ends-[]", { 0, 1 }, 2 },
        /* a first column that is no time keeps its name; one that is says so by its unit or its name */
        { "duty,ripple (V)\n0.1,0.4\n", "duty[] ripple[V]", { 0.1, 0.4 }, 2 },
        { "frequency,gain\n10,1\n", "frequency[] gain[]", { 10, 1 }, 2 },
        { "T,pin\n10,1\n", "T[] pin[]", { 10, 1 }, 2 },
        { "time constant,pin\n10,1\n", "time-constant[] pin[]", { 10, 1 }, 2 },
        { "[rpm],pin\n10,1\n", "x[rpm] pin[]", { 10, 1 }, 2 },
        { "time (ticks),pin\n10,1\n", "time[ticks] pin[]", { 10, 1 }, 2 },
        { "t,pin\n10,1\n", "time[s] pin[]", { 10, 1 }, 2 },
        { "SECONDS,pin\n10,1\n", "time[s] pin[]", { 10, 1 }, 2 },
        { "Elapsed Time,pin\n10,1\n", "time[s] pin[]", { 10, 1 }, 2 },
        { "Time_ms,pin\n10,1\n", "time[s] pin[]", { 10 / 1e3, 1 }, 2 },
        { "t us,pin\n10,1\n", "time[s] pin[]", { 10 / 1e6, 1 }, 2 },
        { "ms,pin\n10,1\n", "time[s] pin[]", { 10 / 1e3, 1 }, 2 },
        { "milliseconds,pin\n10,1\n", "time[s] pin[]", { 10 / 1e3, 1 }, 2 },
        { "duty_ms,pin\n10,1\n", "duty_ms[] pin[]", { 10, 1 }, 2 },
        { "Time (min),pin\n1.5,1\n", "time[s] pin[]", { 90, 1 }, 2 },
        { "minutes,pin (min)\n1.5,1\n", "time[s] pin[min]", { 90, 1 }, 2 },
        { "Zeit;U\n[h];[mV]\n0,5;1\n", "time[s] U[V]", { 1800, 1e-3 }, 2 },
        { "Time,pin\nDays,V\n2,1\n", "time[s] pin[V]", { 172800, 1 }, 2 },
        { "Time,pin,out\n(ms),,(V)\n2,1,3\n", "time[s] pin[] out[V]", { 2e-3, 1, 3 }, 3 },
        /* trailing separators, empty channels, lines of nothing but separators, titles that end later or earlier */
        { "0,1,\n2,3,\n,,\n", "time[s] ch1[]", { 0, 1, 2, 3 }, 4 },
        { "Time (ms),CH1 (V),\n1,2,\n3,4,\n", "time[s] CH1[V]", { 1e-3, 2, 3e-3, 4 }, 4 },
        { "Time (ms),CH1 (V),\n1,2\n3,4\n", "time[s] CH1[V]", { 1e-3, 2, 3e-3, 4 }, 4 },
        { "Time (ms),CH1 (V)\n1,2,,\n3,4\n", "time[s] CH1[V]", { 1e-3, 2, 3e-3, 4 }, 4 },
        { "Time\tA\tB\n1\t\t2\n3\t\t4\n", "time[s] B[]", { 1, 2, 3, 4 }, 4 },
        { "Time;A;\r\n1,5;2;\r\n3;4,5;\r\n;;\r\n", "time[s] A[]", { 1.5, 2, 3, 4.5 }, 4 },
        /* words beside the first rows, on either side */
        { "Record Length,2500,Points,-1,0.5,\nSample Interval,1,s,0,0.25,\n,,,1,-0.5,\n", "time[s] ch1[]", { -1, 0.5, 0, 0.25, 1, -0.5 }, 6 },
        { "Model,X,,Time (ms),Left\n\nScale,2.5,,0,1\n\n,,,1,2\n", "time[s] Left[]", { 0, 1, 1e-3, 2 }, 4 },
        { "Time,CH1,Name,Value\n0,1,Model,X\n1,2,,\n", "time[s] CH1[]", { 0, 1, 1, 2 }, 4 },
        { "[Hz],gain [dB]\n10,1\n", "frequency[Hz] gain[dB]", { 10, 1 }, 2 },
        { "time[s],pin [m V],x [abcdefghijklmnopqrstuvwxyzabcdefghijkl]\n0,1,2\n", "time[s] pin-m-V[] x[abcdefghijklmnopqrstuvwxyzabcde]",
          { 0, 1, 2 }, 3 },
        { "time[s],pin[V\177]\n0,1\n", "time[s] pin[V]", { 0, 1 }, 2 },
        { "time[s],pin[a[b]c]\n0,1\n", "time[s] pin-a[bc]", { 0, 1 }, 2 },
        { "time[s],pin (a[b)\n0,1\n", "time[s] pin[ab]", { 0, 1 }, 2 },
        { "Zeit;Spannung (V)\n0;1,5\n", "time[s] Spannung[V]", { 0, 1.5 }, 2 },
        { "\"Time (ms)\",\"Meter, left (V)\"\n20,1\n", "time[s] Meter-left[V]", { 0.02, 1 }, 2 },
        { "\"t / us\",\"the \"\"old\"\" meter\"\n20,1\n", "time[s] the-old-meter[]", { 20e-6, 1 }, 2 },
        { "Time [ns]\tpin\n20\t1\n", "time[s] pin[]", { 20e-9, 1 }, 2 },
        { "Time [\302\265s]\tpin\n20\t1\n", "time[s] pin[]", { 20e-6, 1 }, 2 },
        { "t/\316\274s\tpin\n20\t1\n", "time[s] pin[]", { 20e-6, 1 }, 2 },
        /* Latin-1 */
        { "Zeit [\265s];Spannung [\265V];\326l [\260C]\n20;1;2\n", "time[s] Spannung[V] l[\302\260C]", { 20e-6, 1e-6, 2 }, 3 },
        { "t/\265s\tpin\n20\t1\n", "time[s] pin[]", { 20e-6, 1 }, 2 },
        { "Time (msec),Shunt (Amps),Heat (Watt)\n20,1,2\n", "time[s] Shunt[A] Heat[W]", { 0.02, 1, 2 }, 3 },
        { "TIME(S),CH1(V),Y(S)\n20,1,2\n", "time[s] CH1[V] Y[S]", { 20, 1, 2 }, 3 },
        { "# time pin\n0 1\n", "time[s] pin[]", { 0, 1 }, 2 },
        { "time,pin,pin,\n0,1,2,3\n", "time[s] pin[] pin-2[] ch3[]", { 0, 1, 2, 3 }, 4 },
        { "time,time\n0,1\n", "time[s] time-2[]", { 0, 1 }, 2 },
        { "# 0,3\n0,1\n", "time[s] 3[]", { 0, 1 }, 2 },
        { "frequency[kHz],level[dB]\n2,-3\n", "frequency[Hz] level[dB]", { 2000, -3 }, 2 },
        { "angle[deg],torque[Nm]\n2,-3\n", "angle[deg] torque[Nm]", { 2, -3 }, 2 },
        { "time,CH1 (probe 10x)\n0,1\n", "time[s] CH1-probe-10x[]", { 0, 1 }, 2 },
        { "time,in/out\n0,1\n", "time[s] in-out[]", { 0, 1 }, 2 },
        /* quoted numbers, and a title with a line end inside */
        { "\"time\",\"pin\"\n\"0\",\"1\"\n", "time[s] pin[]", { 0, 1 }, 2 },
        { "\"0,5\";\"1,25\"\n", "time[s] ch1[]", { 0.5, 1.25 }, 2 },
        { "\"time\n(ms)\",\"pin\n(V)\"\n20,1\n", "time[s] pin[V]", { 0.02, 1 }, 2 },
        /* what instruments put before their rows */
        { "Tide exhibit\nchannels,2\nspeed,slow,really\n\nTime,Left,Right\n0,1,2\n1,2,3\n", "time[s] Left[] Right[]",
          { 0, 1, 2, 1, 2, 3 }, 6 },
        { "Time,Left,Right\n(ms),(V),(mA)\n\n0,1,2\n1,2,3\n", "time[s] Left[V] Right[A]",
          { 0, 1, 2 / 1e3, 1 / 1e3, 2, 3 / 1e3 }, 6 },
        { "Time,Left\nSecond,Volt\n0,1\n", "time[s] Left[V]", { 0, 1 }, 2 },
        { "ms;V\n1;1\n", "time[s] ch1[V]", { 1e-3, 1 }, 2 },
        { "2500\n0 1\n", "time[s] ch1[]", { 0, 1 }, 2 },
        { "a 24\" screen, bought\ntime,pin\n0,1\n", "time[s] pin[]", { 0, 1 }, 2 },
        { ",,,\ntime,a,b\n0,1,2\n", "time[s] a[] b[]", { 0, 1, 2 }, 3 },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++)
        reads_as(cases[i].text, strlen(cases[i].text), cases[i].columns, cases[i].values, cases[i].count);
}
END_TEST

/* Rows of equal spacing, as far as the digits of their times can tell, are samples, and the rate is the one that was meant. */
START_TEST(equal_spacing_makes_samples)
{
    static const struct {
        int rows;
        double spacing, jitter;   /* s; every fifth row is so much late */
        double first;
        const char *format;       /* of a time */
        const char *sampled;      /* NULL: they are not */
        bool uneven;
    } cases[] = {
        { 16, 1.0 / 10300, 0, 0, "%.17g", "10300", false },
        { 200, 1.0 / 10300, 0, 0, "%.6g", "10300", false },
        { 200, 1.0 / 44100, 0, -1.5, "%.6f", "44100", false },
        { 70, 2.5e-6, 0, 0, "%g", "400000", false },
        { 70, 0.3, 0, 0, "%.17g", "3.3333333333333335", false },
        { 70, 1, 0, 100, "%g", "1", false },
        { 15, 1, 0, 0, "%g", NULL, false },         /* too few to tell */
        { 70, 1, 0.02, 0, "%g", NULL, true },
        { 70, 1, 1e-9, 0, "%.12g", NULL, true },    /* its times are exact */
        { 70, 1e-5, 0, 0, "%.5f", "100000", false },
        { 70, 0.6e-5, 0, 0, "%.5f", NULL, false },  /* rounded onto each other */
        { 70, 1.3e-5, 0, 0, "%.5f", NULL, true },   /* rounded by more than half of it */
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char text[8192];
        size_t used = 0;
        for (int k = 0; k < cases[i].rows; k++) {
            const double time = cases[i].first + k * cases[i].spacing + (k % 5 == 4) * cases[i].jitter;
            used += (size_t)snprintf(text + used, sizeof text - used, cases[i].format, time);
            used += (size_t)snprintf(text + used, sizeof text - used, " %d\n", k % 7);
        }
        struct dw_error error;
        struct dw_reader *reader = reader_of(text, used, false, &error);
        ck_assert_msg(reader != NULL, "case %zu: %s", i, error.text);
        const char *sampled = dw_header_get(dw_reader_header(reader), "sampled");
        ck_assert_msg(cases[i].sampled ? sampled && !strcmp(sampled, cases[i].sampled) : !sampled, "case %zu: %s", i, sampled ? sampled : "none");
        ck_assert_msg(dw_reader_uneven(reader) == cases[i].uneven, "case %zu", i);
        const double *row;
        for (int k = 0; k < cases[i].rows; k++) {
            succeeds(dw_reader_row(reader, &row, &error), error);
            ck_assert_double_eq(row[1], k % 7);
            ck_assert_uint_eq(dw_reader_line(reader), k + 1);
        }
        ck_assert_int_eq(dw_reader_row(reader, &row, &error), DW_END);
        dw_reader_close(reader);
    }
}
END_TEST

START_TEST(times_convert_with_one_rounding)
{
    /* a quotient or product of two exact numbers is rounded once; 1e-3 as a factor would round twice */
    static const char *const units[] = { "ms", "us", "ns", "ps" };
    static const double divisor[] = { 1e3, 1e6, 1e9, 1e12 };
    char text[4096];
    for (size_t u = 0; u < 4; u++) {
        size_t size = (size_t)sprintf(text, "time[%s],pin\n", units[u]);
        for (int i = 0; i < 100; i++)
            size += (size_t)sprintf(text + size, "%d.5,1\n", 7 * i);
        struct whole all = read_whole(text, size, false, 7);
        ck_assert_msg(all.status == DW_OK, "%s", all.error.text);
        for (int i = 0; i < 100; i++)
            ck_assert_double_eq(all.values[2 * i], (7 * i + 0.5) / divisor[u]);
        whole_free(&all);
    }
}
END_TEST

START_TEST(units_with_a_prefix_convert_with_one_rounding)
{
    /* the value, rounded from its decimals, is divided or multiplied by an exact power of ten: one rounding more */
    static const struct {
        const char *unit, *plain;
        double divisor, factor;
    } cases[] = {
        { "mV", "V", 1e3, 1 }, { "uV", "V", 1e6, 1 }, { "kV", "V", 1, 1e3 }, { "mA", "A", 1e3, 1 }, { "nA", "A", 1e9, 1 },
        { "\302\265A", "A", 1e6, 1 }, { "\316\274A", "A", 1e6, 1 }, { "kHz", "Hz", 1, 1e3 }, { "Mohm", "ohm", 1, 1e6 },
        { "mNm", "Nm", 1e3, 1 }, { "GHz", "Hz", 1, 1e9 }, { "pA", "A", 1e12, 1 }, { "V", "V", 1, 1 }, { "mm", "mm", 1, 1 },
        { "pH", "pH", 1, 1 }, { "min", "min", 1, 1 }, { "m", "m", 1, 1 }, { "", "", 1, 1 },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        char text[128], columns[64];
        const int size = sprintf(text, "time [ms],level [%s],pin\n7.5,-3.7,2\n8,0.3,4\n", cases[i].unit);
        const double values[] = { 7.5e-3, -3.7 / cases[i].divisor * cases[i].factor, 2,
                                  8e-3,   0.3 / cases[i].divisor * cases[i].factor,  4 };
        sprintf(columns, "time[s] level[%s] pin[]", cases[i].plain);
        reads_as(text, (size_t)size, columns, values, 6);
    }
    static const char huge[] = "time,level [GHz]\n0,1\n1,1e305\n";
    struct whole all = read_whole(huge, sizeof huge - 1, false, 7);
    ck_assert_int_eq(all.status, DW_BAD_INPUT);
    ck_assert_str_eq(all.error.text, "standard input, line 3: a value is beyond the range of numbers");
    whole_free(&all);
}
END_TEST

START_TEST(faults_of_foreign_tables_are_named_to_the_letter)
{
    static const struct {
        const char *text, *message;
    } cases[] = {
        { "time\tpin\n", "standard input: no row of numbers in its first 1 line; the first is 'time?pin'" },
        { "hello\nworld\n", "standard input: no row of numbers in its first 2 lines; the first is 'hello'" },
        { "1\n2\n", "standard input: no row of numbers in its first 2 lines; the first is '1'" },
        { "\037\213\010\n", "standard input is compressed by gzip; unpack it first, as with gzip -dc" },
        { "0,5 1,2\n", "standard input: no row of numbers in its first 1 line; the first is '0,5 1,2'" },
        { "0,1,\n1,2,3\n", "standard input, line 2: field 3 holds '3', but nothing in the first row, line 1" },
        { ",1,2\n1,2,3\n", "standard input, line 2: field 1 holds '1', but nothing in the first row, line 1" },
        { "0,1,\n1,2,,\n", "standard input, line 2: 4 fields where 2 were expected" },
        { "Time,CH1,Start,Step\n0,1,-0.5,1e-3\n1,2,,\n", "standard input, line 3: field 3 is empty" },
        { "Time,CH1,Name\n0,1,Model\n1,2,\n2,3,X\n", "standard input, line 4: field 3 holds 'X', but nothing in the first row, line 3" },
        { "a,,0,OL\nb,,1,2\n,,2,3\n", "standard input, line 1: 'OL' is not a number" },
        { "Record Length,2500,0,1\nInterval,1,1,2\n", "standard input: no row of numbers in its first 2 lines; the first is 'Record Length,2500,0,1'" },
        /* titles for other columns than there are */
        { "Time (ms)  Left (V)\n0 1\n", "standard input, line 1: 'Time (ms)  Left (V)' does not fit the 2 columns of the rows below" },
        { "Time (min),A,B\n\n0,1\n", "standard input, line 1: 'Time (min),A,B' does not fit the 2 columns of the rows below" },
        { "0,1\n1,-9.9E37\n", "standard input, line 2: '-9.9E37' stands for a value that is out of range or missing" },
        { "0,1\n1,9.91e+37\n", "standard input, line 2: '9.91e+37' stands for a value that is out of range or missing" },
        { "0 1 # first\n1 2\n", "standard input, line 1: '#' is not a number" },
        { "time,pin\n0,1,OK\n\n1,2\n", "standard input, line 2: 'OK' is not a number" },
        { "0 1 2 3x\n1 2\n", "standard input, line 1: '3x' is not a number" },
        { "10 20 steps\ntime pin\n0 1\n", NULL },
        { "3 channels here\n\n0 1\n", NULL },
        { "time,pin\n\n0,OL\n1,2\n", "standard input, line 3: 'OL' is not a number" },
        { "time;pin;out\n0;1;1.234,5\n1;2;3\n", "standard input, line 2: '1.234,5' is not a number" },
        { "time,pin\n0,1\n1,\n", "standard input, line 3: field 2 is empty" },
        { "0 1\n1 2 3\n", "standard input, line 2: 3 fields where 2 were expected" },
        { "0 1\n1 x\n", "standard input, line 2: 'x' is not a number" },
        { "0,1\n1;2\n", "standard input, line 2: '1;2' is not a number" },
        { "0 1\n-1 1\n", "standard input, line 2: time goes back from 0 to -1" },
        { "0 1\n1 inf\n", "standard input, line 2: 'inf' is not a finite number" },
        { "0 1\n1 2\n# end: 2\n",
          "standard input, line 3: '# end: 2', but no '# wave-table 1' at the start; was the header cut off?" },
        /* ours, with something above its start, sorted, or cut at both ends */
        { "# a note of mine\n# wave-table 1\n# columns: time[s] pin[V]\n0\t1\n",
          "standard input, line 2: '# wave-table 1' is not the first line; take out what stands above it" },
        { "note\n\"# wave-table 1\",\n0,1\n", "standard input, line 2: '\"# wave-table 1\",' is not the first line; take out what stands above it" },
        { "# columns: time[s] pin[V]\n# end: 1\n# wave-table 1\n0\t1\n",
          "standard input, line 1: '# columns: time[s] pin[V]', but no '# wave-table 1' as the first line" },
        { "# duty: 1\n# end: 1\n# wave-table 1\n0\t1\n",
          "standard input, line 2: '# end: 1', but no '# wave-table 1' as the first line" },
        { "0\t1\n# wave-table 1\n1\t1\n", "standard input, line 2: '# wave-table 1' stands among the rows" },
        { "# columns: time pin\n0 1\n", NULL },
        /* one decimal sign for a table */
        { "t;v\n0;999,5\n1;1.000\n", "standard input, line 3: '1.000' has a decimal point, but line 2 a decimal comma" },
        { "t\tv\n0\t1\n\n1\t0.5\n2\t3\n3\t1,5\n", "standard input, line 6: '1,5' has a decimal comma, but line 4 a decimal point" },
        { "0;0.5\n0,1;1\n", "standard input, line 2: '0,1' has a decimal comma, but line 1 a decimal point" },
        { "\"0,5\";0.5\n1;1\n", "standard input, line 1: '0.5' has a decimal point, but line 1 a decimal comma" },
        { "0;1\n1;2\n2,5;1\n3;4\n", NULL },
        { "time[ks],pin\n0,1\n", NULL },
        { "time[ks],pin\n1e307,1\n", "standard input, line 2: the time is beyond the range of numbers" },
        { "time[ks],pin\n0,1\n1,1\n1e307,1\n", "standard input, line 4: the time is beyond the range of numbers" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct whole all = read_whole(cases[i].text, strlen(cases[i].text), false, 3);
        ck_assert_int_eq(all.status, cases[i].message ? DW_BAD_INPUT : DW_OK);
        if (cases[i].message)
            ck_assert_str_eq(all.error.text, cases[i].message);
        whole_free(&all);
    }
}
END_TEST

START_TEST(the_lines_before_the_rows_hold_no_more_than_a_mebibyte)
{
    enum { LINE = 600000, BLANK = (1 << 20) + 5 };
    char *text = malloc(2 * (size_t)LINE + 16);
    ck_assert_ptr_nonnull(text);
    memset(text, 'x', 2 * (size_t)LINE);
    text[LINE] = '\n';
    strcpy(text + 2 * (size_t)LINE, "\n0 1\n");
    struct whole all = read_whole(text, strlen(text), false, 3);
    ck_assert_str_eq(all.error.text, "standard input, line 2: the lines before the first row are longer than 1 MiB");
    whole_free(&all);
    memset(text, '\n', BLANK);
    strcpy(text + BLANK, "0 1\n"); /* blank lines are none of them */
    all = read_whole(text, strlen(text), false, 3);
    ck_assert_int_eq(all.status, DW_OK);
    ck_assert_uint_eq(all.rows, 1);
    whole_free(&all);
    free(text);
}
END_TEST

START_TEST(up_to_10000_lines_may_come_before_the_rows)
{
    char *text = malloc(1 << 20);
    ck_assert_ptr_nonnull(text);
    for (int lines = 10000; lines <= 10001; lines++) {
        size_t size = 0;
        for (int i = 1; i < lines; i++)
            size += (size_t)sprintf(text + size, "remark %d\n", i);
        size += (size_t)sprintf(text + size, "time,pin\n0,1\n");
        struct whole all = read_whole(text, size, false, 3);
        if (lines == 10000)
            ck_assert_int_eq(all.status, DW_OK);
        else
            ck_assert_str_eq(all.error.text,
                             "standard input: no row of numbers in its first 10001 lines; the first is 'remark 1'");
        whole_free(&all);
    }
    free(text);
}
END_TEST

START_TEST(files_that_are_no_text_in_utf_8_are_named)
{
    static const struct {
        const char *bytes;
        size_t size;
        const char *message;
    } cases[] = {
        { "\377\376t\0,\0", 6, "standard input is UTF-16 text; save it as UTF-8" },
        { "\376\377\0t\0,", 6, "standard input is UTF-16 text; save it as UTF-8" },
        { "t\0,\0v\0\n\0", 8, "standard input is UTF-16 text; save it as UTF-8" },
        { "\0t\0,\0v\0\n", 8, "standard input is UTF-16 text; save it as UTF-8" },
        { "\377\376\0\0t\0\0\0", 8, "standard input is UTF-32 text; save it as UTF-8" },
        { "\0\0\376\377\0\0\0t", 8, "standard input is UTF-32 text; save it as UTF-8" },
        { "t\0\0\0,\0\0\0", 8, "standard input is UTF-32 text; save it as UTF-8" },
        { "\0\0\0t\0\0\0,", 8, "standard input is UTF-32 text; save it as UTF-8" },
        { "\3757zXZ\0\0\4", 8, "standard input is compressed by xz; unpack it first, as with xz -dc" },
        { "(\265/\375\4X", 6, "standard input is compressed by zstd; unpack it first, as with zstd -dc" },
        { "BZh91AY&SY", 10, "standard input is compressed by bzip2; unpack it first, as with bzip2 -dc" },
        { "PK\3\4\24\0", 6, "standard input is a ZIP archive, or a spreadsheet's own file; unpack it, or save it as CSV" },
        { "\320\317\21\340\241\261", 6, "standard input is a spreadsheet's own file; save it as CSV" },
        { "BZh, bought\n0,1\n", 16, "" }, /* a remark */
        { "0 1", 3, "" },
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct whole all = read_whole(cases[i].bytes, cases[i].size, false, 3);
        ck_assert_int_eq(all.status, *cases[i].message ? DW_BAD_INPUT : DW_OK);
        ck_assert_str_eq(all.status == DW_OK ? "" : all.error.text, cases[i].message);
        whole_free(&all);
    }
}
END_TEST

START_TEST(a_thousand_and_twenty_four_channels_are_the_most)
{
    char *text = malloc(8192);
    ck_assert_ptr_nonnull(text);
    for (int channels = 1024; channels <= 1025; channels++) {
        size_t size = 0;
        for (int i = 0; i <= channels; i++)
            size += (size_t)sprintf(text + size, i ? ",1" : "1");
        size += (size_t)sprintf(text + size, "\n");
        struct whole all = read_whole(text, size, false, 3);
        if (channels == 1024) {
            ck_assert_msg(all.status == DW_OK, "%s", all.error.text);
            ck_assert_uint_eq(all.columns, 1025);
        } else {
            ck_assert_str_eq(all.error.text, "standard input, line 1: more than 1024 channels");
        }
        whole_free(&all);
    }
    free(text);
}
END_TEST

START_TEST(an_end_line_without_its_header_passes_as_partial)
{
    static const char text[] = "0 1\n1 2\n# end: 7\n";
    struct whole all = read_whole(text, strlen(text), true, 3);
    ck_assert_int_eq(all.status, DW_OK);
    ck_assert_uint_eq(all.rows, 2);
    ck_assert(!all.has_end);
    whole_free(&all);
}
END_TEST

SUITE("table: foreign tables", exported_tables_read_as_they_are, equal_spacing_makes_samples, times_convert_with_one_rounding,
      units_with_a_prefix_convert_with_one_rounding,
      faults_of_foreign_tables_are_named_to_the_letter, up_to_10000_lines_may_come_before_the_rows,
      files_that_are_no_text_in_utf_8_are_named,
      the_lines_before_the_rows_hold_no_more_than_a_mebibyte,
      a_thousand_and_twenty_four_channels_are_the_most, an_end_line_without_its_header_passes_as_partial)
