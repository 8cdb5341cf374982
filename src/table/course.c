/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <dutywright/pieces.h>
#include <dutywright/repeat.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

struct dw_course {
    struct dw_reader *reader;
    double row[2][2];  /* time and value: the last row passed, or one long before the first; the next one, or one after the end */
};

static enum dw_status fetch(struct dw_course *course, struct dw_error *error)
{
    const double *row;
    const enum dw_status status = dw_reader_row(course->reader, &row, error);
    if (status == DW_END) {
        course->row[1][0] = INFINITY;
        return DW_OK;
    }
    if (status == DW_OK)
        memcpy(course->row[1], row, sizeof course->row[1]);
    return status;
}

struct dw_course *dw_course_open(const char *path, struct dw_error *error)
{
    struct dw_course *course = calloc(1, sizeof *course);
    if (!course) {
        dw_no_memory(error);
        return NULL;
    }
    course->reader = dw_reader_open(path, NULL, error);
    enum dw_status status =
        course->reader ? dw_header_needs_time(dw_reader_header(course->reader), dw_reader_name(course->reader), error) : error->status;
    if (status == DW_OK)
        status = fetch(course, error);
    if (status == DW_OK && isinf(course->row[1][0]))
        status = dw_error_set(error, DW_BAD_INPUT, 0, "%s: a table without rows", dw_reader_name(course->reader));
    course->row[0][0] = -INFINITY;
    course->row[0][1] = course->row[1][1];
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
    if (isinf(course->row[1][0]))
        return DW_OK;
    memcpy(course->row[0], course->row[1], sizeof course->row[0]);
    return fetch(course, error);
}

enum dw_status dw_course_pass(struct dw_course *course, double time, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    while (status == DW_OK && course->row[1][0] <= time)
        status = dw_course_step(course, error);
    return status;
}

double dw_course_at(const struct dw_course *course, double time)
{
    const double *from = course->row[0], *to = course->row[1];
    double row[2];
    if (isinf(from[0]) || isinf(to[0]))
        return from[1];
    dw_row_between(2, NULL, from, to, time, row);
    return row[1];
}

double dw_course_next(const struct dw_course *course, double *value)
{
    *value = course->row[1][1];
    return course->row[1][0];
}
