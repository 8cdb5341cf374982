/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "programs/report.h" /* names and numbers that no program gives, and a report for which there is no memory */
#include "suite.h"
#include <jansson.h>
#include <stdlib.h>
#include <string.h>

/* What report_write writes, compared to the letter. */
static void writes(const struct report *report, enum report_format format, int digits, const char *wanted)
{
    char *text = NULL;
    size_t length = 0;
    struct dw_error error;
    FILE *out = open_memstream(&text, &length);
    ck_assert_ptr_nonnull(out);
    succeeds(report_write(report, format, digits, out, &error), error);
    fclose(out);
    ck_assert_str_eq(text, wanted);
    if (format == REPORT_JSON) {
        json_error_t complaint;
        json_t *read = json_loads(text, JSON_REJECT_DUPLICATES, &complaint);
        ck_assert_msg(read, "no JSON: %s in %s", complaint.text, text);
        json_decref(read);
    }
    free(text);
}

static struct report *some_findings(void)
{
    struct dw_error error;
    struct report *report = report_findings(&error);
    succeeds(report_finding(report, "out", "mean", 1.0296, "V", &error), error);
    succeeds(report_finding(report, "out", "ripple", 0.0331, "V", &error), error);
    succeeds(report_finding(report, "pin", "frequency", 18e6 / 18240, "Hz", &error), error);
    succeeds(report_finding(report, "pin", "duty", 0.1 + 0.2, "1", &error), error);
    succeeds(report_finding(report, "out", "overshoot", 0.0433, "%", &error), error);
    succeeds(report_finding_cell(report, "out", "settling-time", report_at_most(0.001875), "s", &error), error);
    succeeds(report_finding_text(report, "", "limit", "holds", &error), error);
    succeeds(report_finding(report, "", "steps", 65536, "", &error), error);
    succeeds(report_finding(report, "out", "minimum", -0.0, "V", &error), error);
    return report;
}

START_TEST(findings_tell_their_bound_and_text_has_no_more_digits_than_that)
{
    struct dw_error error;
    struct report *report = report_findings(&error);
    static const struct {
        const char *quantity;
        double value, bound;
    } findings[] = { { "far", 1.02961234, 2e-8 }, { "near", 1.02961234, 8e-3 }, { "exact", 1.02961234, 0 }, { "lost", 0.5, 3 },
                     { "none", 0, 1e-3 }, { "ten", 9.9612345, 1e-2 }, { "unknown", 7.25, INFINITY } };
    for (size_t i = 0; i < sizeof findings / sizeof findings[0]; i++)
        succeeds(report_finding_cell(report, "out", findings[i].quantity, report_within(findings[i].value, findings[i].bound), "V", &error), error);
    writes(report, REPORT_TEXT, 6,
           "out  far        1.02961  V\n"
           "out  near       1.03     V\n"
           "out  exact      1.02961  V\n"
           "out  lost     500        mV\n"
           "out  none       0.00000  V\n"
           "out  ten        9.96     V\n"
           "out  unknown    7        V\n");
    writes(report, REPORT_ROWS, 4,
           "out\tfar\t1.02961234\tV\t2e-08\n"
           "out\tnear\t1.02961234\tV\t0.008\n"
           "out\texact\t1.02961234\tV\t0\n"
           "out\tlost\t0.5\tV\t3\n"
           "out\tnone\t0\tV\t0.001\n"
           "out\tten\t9.9612345\tV\t0.01\n"
           "out\tunknown\t7.25\tV\tinf\n");
    report_free(report);
    report = report_findings(&error);
    succeeds(report_finding_cell(report, "out", "mean", report_within(1.5, 1e-7), "V", &error), error);
    succeeds(report_finding_cell(report, "out", "thd", report_within(0.5, INFINITY), "%", &error), error);
    writes(report, REPORT_JSON, 4,
           "[\n {\"channel\": \"out\", \"quantity\": \"mean\", \"value\": 1.5, \"bound\": 1e-07, \"unit\": \"V\"},\n"
           " {\"channel\": \"out\", \"quantity\": \"thd\", \"value\": 0.5, \"bound\": null, \"unit\": \"1\"}\n]\n");
    report_free(report);
}
END_TEST

START_TEST(findings_read_as_aligned_text)
{
    struct report *report = some_findings();
    writes(report, REPORT_TEXT, 4,
           "out  mean               1.030   V\n"
           "out  ripple            33.10    mV\n"
           "pin  frequency        986.8     Hz\n"
           "pin  duty               0.3000\n"
           "out  overshoot          4.330   %\n"
           "out  settling-time   <= 1.875   ms\n"
           "-    limit          holds\n"
           "-    steps          65536\n"
           "out  minimum           -0.000   V\n");
    report_free(report);
}
END_TEST

START_TEST(findings_in_rows_have_five_fields_and_all_digits)
{
    struct report *report = some_findings();
    writes(report, REPORT_ROWS, 4,
           "out\tmean\t1.0296\tV\t0\n"
           "out\tripple\t0.0331\tV\t0\n"
           "pin\tfrequency\t986.8421052631579\tHz\t0\n"
           "pin\tduty\t0.30000000000000004\t1\t0\n"
           "out\tovershoot\t0.0433\t1\t0\n"
           "out\tsettling-time\t0.001875\ts\t<\n"
           "-\tlimit\tholds\t-\t0\n"
           "-\tsteps\t65536\t-\t0\n"
           "out\tminimum\t-0\tV\t0\n");
    report_free(report);
}
END_TEST

START_TEST(findings_in_json_keep_units_apart)
{
    struct report *report = some_findings();
    writes(report, REPORT_JSON, 4,
           "[\n"
           " {\"channel\": \"out\", \"quantity\": \"mean\", \"value\": 1.0296, \"unit\": \"V\"},\n"
           " {\"channel\": \"out\", \"quantity\": \"ripple\", \"value\": 0.0331, \"unit\": \"V\"},\n"
           " {\"channel\": \"pin\", \"quantity\": \"frequency\", \"value\": 986.8421052631579, \"unit\": \"Hz\"},\n"
           " {\"channel\": \"pin\", \"quantity\": \"duty\", \"value\": 0.30000000000000004, \"unit\": \"1\"},\n"
           " {\"channel\": \"out\", \"quantity\": \"overshoot\", \"value\": 0.0433, \"unit\": \"1\"},\n"
           " {\"channel\": \"out\", \"quantity\": \"settling-time\", \"value\": 0.001875, \"at-most\": true, \"unit\": \"s\"},\n"
           " {\"channel\": null, \"quantity\": \"limit\", \"value\": \"holds\", \"unit\": null},\n"
           " {\"channel\": null, \"quantity\": \"steps\", \"value\": 65536, \"unit\": null},\n"
           " {\"channel\": \"out\", \"quantity\": \"minimum\", \"value\": -0, \"unit\": \"V\"}\n"
           "]\n");
    report_free(report);
}
END_TEST

static const struct report_column columns[] = {
    { "rank", "" },     { "frequency", "Hz" }, { "error", "%" },
    { "steps", "" },    { "duty-step", "1" },  { "counting", NULL },
};
enum { COLUMNS = sizeof columns / sizeof columns[0] };

static struct report *some_ranks(void)
{
    struct dw_error error;
    struct report *report = report_new(columns, COLUMNS, &error);
    const struct report_cell first[COLUMNS] = { report_number(1),   report_number(986.842), report_number(0.00039216),
                                                report_number(912), report_number(1 / 912.), report_text("updown") };
    const struct report_cell last[COLUMNS] = { report_number(10),    report_number(4394.53125), report_number(-0.5),
                                               report_number(65536), report_number(NAN),     report_text("up") };
    succeeds(report_row(report, first, &error), error);
    succeeds(report_row(report, last, &error), error);
    ck_assert_uint_eq(report_rows(report), 2);
    return report;
}

START_TEST(a_ranked_table_reads_as_aligned_text_under_titles)
{
    struct report *report = some_ranks();
    writes(report, REPORT_TEXT, 4,
           "rank  frequency     error         steps  duty-step  counting\n"
           "   1  986.8    Hz     0.03922  %    912   0.001096  updown\n"
           "  10    4.395  kHz  -50.00     %  65536   -         up\n");
    writes(report, REPORT_TEXT, 2,
           "rank  frequency   error       steps  duty-step  counting\n"
           "   1  990    Hz     0.039  %    912     0.0011  updown\n"
           "  10    4.4  kHz  -50      %  65536     -       up\n");
    report_free(report);
}
END_TEST

START_TEST(a_ranked_table_in_rows_begins_with_its_titles)
{
    struct report *report = some_ranks();
    writes(report, REPORT_ROWS, 4,
           "# rank\tfrequency[Hz]\terror[1]\tsteps\tduty-step[1]\tcounting\n"
           "1\t986.842\t0.00039216\t912\t0.0010964912280701754\tupdown\n"
           "10\t4394.53125\t-0.5\t65536\tnan\tup\n");
    report_free(report);
}
END_TEST

START_TEST(a_ranked_table_in_json_has_a_unit_key_beside_each_number)
{
    struct report *report = some_ranks();
    writes(report, REPORT_JSON, 4,
           "[\n"
           " {\"rank\": 1, \"frequency\": 986.842, \"frequency-unit\": \"Hz\", \"error\": 0.00039216, \"error-unit\": \"1\", "
           "\"steps\": 912, \"duty-step\": 0.0010964912280701754, \"duty-step-unit\": \"1\", \"counting\": \"updown\"},\n"
           " {\"rank\": 10, \"frequency\": 4394.53125, \"frequency-unit\": \"Hz\", \"error\": -0.5, \"error-unit\": \"1\", "
           "\"steps\": 65536, \"duty-step\": null, \"duty-step-unit\": \"1\", \"counting\": \"up\"}\n"
           "]\n");
    report_free(report);
}
END_TEST

START_TEST(an_empty_report_is_still_valid_in_each_format)
{
    struct dw_error error;
    struct report *ranks = report_new(columns, COLUMNS, &error), *findings = report_findings(&error);
    writes(ranks, REPORT_TEXT, 4, "rank  frequency  error  steps  duty-step  counting\n");
    writes(ranks, REPORT_ROWS, 4, "# rank\tfrequency[Hz]\terror[1]\tsteps\tduty-step[1]\tcounting\n");
    writes(ranks, REPORT_JSON, 4, "[]\n");
    writes(findings, REPORT_TEXT, 4, "");
    writes(findings, REPORT_ROWS, 4, "");
    writes(findings, REPORT_JSON, 4, "[]\n");
    ck_assert_uint_eq(report_rows(findings), 0);
    report_free(ranks);
    report_free(findings);
    report_free(NULL);
}
END_TEST

START_TEST(strange_names_break_neither_rows_nor_json)
{
    struct dw_error error;
    struct report *report = report_findings(&error);
    succeeds(report_finding(report, "a\tb\nc", "mean", 1, "V", &error), error);
    succeeds(report_finding(report, "say \"5\\\"", "mean", 1, "V", &error), error);
    succeeds(report_finding(report, "temp\xe9rature", "mean", 1, "V", &error), error); /* Latin-1 */
    succeeds(report_finding(report, "\xc3\xa9t\xc3\xa9", "mean", 1, "V", &error), error); /* two wide letters in UTF-8 */
    writes(report, REPORT_ROWS, 4,
           "a b c\tmean\t1\tV\t0\nsay \"5\\\"\tmean\t1\tV\t0\ntemp\xe9rature\tmean\t1\tV\t0\n\xc3\xa9t\xc3\xa9\tmean\t1\tV\t0\n");
    writes(report, REPORT_TEXT, 2,
           "a b c        mean  1.0  V\n"
           "say \"5\\\"     mean  1.0  V\n"
           "temp\xe9rature  mean  1.0  V\n"
           "\xc3\xa9t\xc3\xa9          mean  1.0  V\n");
    writes(report, REPORT_JSON, 4,
           "[\n"
           " {\"channel\": \"a\\tb\\nc\", \"quantity\": \"mean\", \"value\": 1, \"unit\": \"V\"},\n"
           " {\"channel\": \"say \\\"5\\\\\\\"\", \"quantity\": \"mean\", \"value\": 1, \"unit\": \"V\"},\n"
           " {\"channel\": \"temp\xef\xbf\xbdrature\", \"quantity\": \"mean\", \"value\": 1, \"unit\": \"V\"},\n"
           " {\"channel\": \"\xc3\xa9t\xc3\xa9\", \"quantity\": \"mean\", \"value\": 1, \"unit\": \"V\"}\n"
           "]\n");
    report_free(report);
}
END_TEST

START_TEST(the_report_keeps_its_own_words)
{
    struct dw_error error;
    char channel[] = "out", quantity[] = "mean", unit[] = "V";
    struct report *report = report_findings(&error);
    for (int i = 0; i < 100; i++)
        succeeds(report_finding(report, channel, quantity, i, unit, &error), error);
    memset(channel, 'x', 3);
    memset(quantity, 'x', 4);
    unit[0] = 'x';
    ck_assert_uint_eq(report_rows(report), 100);
    char *text = NULL;
    size_t length = 0;
    FILE *out = open_memstream(&text, &length);
    succeeds(report_write(report, REPORT_ROWS, 4, out, &error), error);
    fclose(out);
    ck_assert_ptr_null(strchr(text, 'x'));
    ck_assert_ptr_nonnull(strstr(text, "out\tmean\t99\tV\t0\n"));
    free(text);
    report_free(report);
}
END_TEST

START_TEST(a_full_disk_is_told)
{
    FILE *full = fopen("/dev/full", "w");
    if (!full)
        return; /* no such device here: the pipeline cases, which need one too, say so */
    struct report *report = some_findings();
    for (int format = REPORT_TEXT; format <= REPORT_JSON; format++) {
        struct dw_error error = { .status = DW_OK };
        refuses(report_write(report, (enum report_format)format, 4, full, &error), DW_SYSTEM, error,
                "standard output: No space left on device");
    }
    report_free(report);
    fclose(full);
}
END_TEST

START_TEST(a_report_for_which_memory_ran_out_is_refused_not_followed)
{
    struct dw_error error;
    refuses(report_finding(NULL, "out", "mean", 1, "V", &error), DW_NO_MEMORY, error, "out of memory");
    refuses(report_write(NULL, REPORT_TEXT, 4, stdout, &error), DW_NO_MEMORY, error, "out of memory");
    ck_assert_uint_eq(report_rows(NULL), 0);
}
END_TEST

SUITE("programs: report", findings_tell_their_bound_and_text_has_no_more_digits_than_that,
      findings_read_as_aligned_text, findings_in_rows_have_five_fields_and_all_digits,
      findings_in_json_keep_units_apart, a_ranked_table_reads_as_aligned_text_under_titles,
      a_ranked_table_in_rows_begins_with_its_titles, a_ranked_table_in_json_has_a_unit_key_beside_each_number,
      an_empty_report_is_still_valid_in_each_format, strange_names_break_neither_rows_nor_json,
      the_report_keeps_its_own_words, a_full_disk_is_told, a_report_for_which_memory_ran_out_is_refused_not_followed)
