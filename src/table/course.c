/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <dutywright/repeat.h>
#include <math.h>
#include <stdlib.h>

struct dw_course {
    struct dw_reader *reader;
    double time[2], value[2];  /* the last row passed, or one long before the first; the next one, or one after the end */
};

static enum dw_status fetch(struct dw_course *course, struct dw_error *error)
{
    const double *row;
    const enum dw_status status = dw_reader_row(course->reader, &row, error);
    if (status == DW_END) {
        course->time[1] = INFINITY;
        return DW_OK;
    }
    if (status == DW_OK) {
        course->time[1] = row[0];
        course->value[1] = row[1];
    }
    return status;
}

struct dw_course *dw_course_open(const char *path, struct dw_error *error)
{
    struct dw_course *course = calloc(1, sizeof *course);
    if (!course) {
        dw_no_memory(error);
        return NULL;
    }
    enum dw_status status = (course->reader = dw_reader_open(path, NULL, error)) ? DW_OK : error->status;
    if (status == DW_OK)
        status = dw_header_needs_time(dw_reader_header(course->reader), dw_reader_name(course->reader), error);
    if (status == DW_OK && dw_header_columns(dw_reader_header(course->reader)) < 2)
        status = dw_error_set(error, DW_BAD_INPUT, 0, "%s: it has no channel", dw_reader_name(course->reader));
    if (status == DW_OK)
        status = fetch(course, error);
    if (status == DW_OK && isinf(course->time[1]))
        status = dw_error_set(error, DW_BAD_INPUT, 0, "%s: a table without rows", dw_reader_name(course->reader));
    course->time[0] = -INFINITY;
    course->value[0] = course->value[1];
    if (status == DW_OK)
        return course;
    dw_course_close(course);
    return NULL;
}

void dw_course_close(struct dw_course *course)
{
    if (!course)
        return;
    dw_reader_close(course->reader);
    free(course);
}

const char *dw_course_unit(const struct dw_course *course)
{
    return dw_header_column(dw_reader_header(course->reader), 1).unit;
}

enum dw_status dw_course_step(struct dw_course *course, struct dw_error *error)
{
    if (isinf(course->time[1]))
        return DW_OK;
    course->time[0] = course->time[1];
    course->value[0] = course->value[1];
    return fetch(course, error);
}

enum dw_status dw_course_pass(struct dw_course *course, double time, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    while (status == DW_OK && course->time[1] <= time)
        status = dw_course_step(course, error);
    return status;
}

double dw_course_at(const struct dw_course *course, double time)
{
    const double *t = course->time, *v = course->value;
    if (isinf(t[0]) || isinf(t[1]))
        return v[0];
    return v[0] + (v[1] - v[0]) * ((time - t[0]) / (t[1] - t[0]));
}

double dw_course_next(const struct dw_course *course, double *value)
{
    *value = course->value[1];
    return course->time[1];
}
