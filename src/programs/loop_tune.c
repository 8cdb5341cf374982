/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Settings of a law from the loop's plant, and the law as C. */
#include "loop_options.h"
#include <dutywright/tuning.h>
#include <ctype.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const char *const terms[] = { "p", "pi", "pid" };
enum { TERMS = 3 };

struct settings {
    struct dw_tuned of[TERMS];
    double gain, period;          /* ultimate */
    struct dw_lag_model model[TERMS];
};

static enum dw_status find_settings(const struct loop_options *o, const struct dw_sampled *sampled, struct settings *s, struct dw_error *error)
{
    const bool ultimate = o->tune == TUNE_ULTIMATE;
    enum dw_status status = ultimate ? dw_sampled_ultimate(sampled, &s->gain, &s->period, error) : DW_OK;
    if (status == DW_OK && ultimate && isinf(s->period))
        return dw_error_set(error, DW_NO, 0, "with a gain of %.4g the loop runs away without turning round: it has no period to tune by", s->gain);
    for (int i = 0; status == DW_OK && i < TERMS; i++) {
        if (!ultimate)
            status = dw_lag_model(sampled, o->tuned, (enum dw_law_terms)i, &s->model[i], error);
        if (status == DW_OK)
            status = ultimate ? dw_tune_ultimate(s->gain, s->period, (enum dw_law_terms)i, &s->of[i], error)
                              : dw_tune_simc(&s->model[i], o->tuned, (enum dw_law_terms)i, &s->of[i], error);
    }
    return status;
}

static void say_settings(const struct loop_options *o, const struct settings *s, struct report *report, struct dw_error *error)
{
    if (o->tune == TUNE_ULTIMATE) {
        report_finding(report, "ultimate", "gain", s->gain, "1", error);
        report_finding(report, "ultimate", "period", s->period, "s", error);
    }
    for (int i = 0; i < TERMS; i++) {
        report_finding(report, terms[i], "gain", s->of[i].gain, "1", error);
        if (isfinite(s->of[i].integral_time))
            report_finding(report, terms[i], "integral-time", s->of[i].integral_time, "s", error);
        if (s->of[i].derivative_time > 0)
            report_finding(report, terms[i], "derivative-time", s->of[i].derivative_time, "s", error);
    }
}

static void print_options(const struct dw_tuned *tuned)
{
    printf("--gain %.6g", tuned->gain);
    if (isfinite(tuned->integral_time))
        printf(" --integral-time %.6g", tuned->integral_time);
    if (tuned->derivative_time > 0)
        printf(" --derivative-time %.6g", tuned->derivative_time);
    putchar('\n');
}

enum dw_status loop_tune(struct loop_options *o, struct dw_error *error)
{
    struct dw_sampled sampled;
    struct settings settings;
    struct dw_loop *loop = dw_loop_new(&o->plan, error);
    struct report *report = loop && o->print < 0 ? report_findings(error) : NULL;
    enum dw_status status = loop ? dw_loop_sampled(loop, 0, &sampled, NULL, error) : error->status;
    if (status == DW_OK)
        status = find_settings(o, &sampled, &settings, error);
    if (status == DW_OK && o->print >= 0)
        print_options(&settings.of[o->print]);
    else if (status == DW_OK)
        say_settings(o, &settings, report, error);
    dw_loop_free(loop);
    return o->print < 0 ? report_out(report, &o->common, status, error) : status;
}

/* ---- the law as C ---- */

/* The file's name without folder and ending, as an identifier. */
static void identifier(const char *file, char name[24])
{
    const char *slash = strrchr(file, '/'), *from = slash ? slash + 1 : file;
    size_t n = 0;
    for (; *from && *from != '.' && n + 1 < 24; from++)
        name[n++] = (char)(isalnum((unsigned char)*from) ? *from : '_');
    name[n] = '\0';
    if (n == 0 || isdigit((unsigned char)*name))
        strcpy(name, "law");
}

enum dw_status loop_firmware(const struct loop_options *o, struct dw_error *error)
{
    char name[24], *text, aside[4096];
    identifier(o->firmware, name);
    snprintf(aside, sizeof aside, "%s.part", o->firmware);
    if (!(text = dw_law_firmware(o->plan.law, name, o->common.command->made_by, error)))
        return error->status;
    FILE *file = fopen(aside, "w");
    bool fine = file && fputs(text, file) >= 0;
    fine = file && !fclose(file) && fine;
    if (fine)
        fine = rename(aside, o->firmware) == 0;
    const int reason = errno;
    free(text);
    if (fine)
        return DW_OK;
    unlink(aside);
    return dw_error_set(error, DW_SYSTEM, 0, "--firmware: '%s' cannot be written: %s", o->firmware, strerror(reason));
}
