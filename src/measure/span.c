/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <dutywright/measure.h>
#include <dutywright/value.h>
#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* What A and B are called in a message, one of them. */
static const char *end_named(enum dw_quantity kind)
{
    return kind == DW_TIME ? "time" : "number";
}

static enum dw_status not_a_span(const char *text, enum dw_quantity kind, struct dw_error *error)
{
    return dw_error_set(error, DW_BAD_USE, 0,
                        "'%s' is not a span: wanted last, last:N (whole periods), all, or A:B (%ss)", text,
                        end_named(kind));
}

/* One end of A:B; an empty one, to which `value` is set already, is the record's. */
static enum dw_status read_end(const char *first, size_t length, enum dw_quantity kind, double *value, struct dw_error *error)
{
    char text[64];
    if (!length)
        return DW_OK;
    if (length >= sizeof text)
        return dw_error_set(error, DW_BAD_USE, 0, "'%.*s' is not a %s", (int)length, first, end_named(kind));
    memcpy(text, first, length);
    text[length] = 0;
    return dw_quantity_parse(text, kind, value, error);
}

enum dw_status dw_span_parse(const char *text, struct dw_span *span, struct dw_error *error)
{
    return dw_span_parse_along(text, DW_TIME, span, error);
}

enum dw_status dw_span_parse_along(const char *text, enum dw_quantity kind, struct dw_span *span, struct dw_error *error)
{
    if (!strcmp(text, "all")) {
        *span = (struct dw_span){ .kind = DW_SPAN_ALL };
        return DW_OK;
    }
    if (!strcmp(text, "last")) {
        *span = (struct dw_span){ .kind = DW_SPAN_LAST, .periods = 1 };
        return DW_OK;
    }
    if (!strncmp(text, "last:", 5)) {
        char *end;
        const char *digits = text + 5;
        errno = 0;
        const unsigned long long periods = strtoull(digits, &end, 10);
        if (*digits < '0' || *digits > '9' || *end || errno || !periods)
            return dw_error_set(error, DW_BAD_USE, 0, "'%s': after last: a whole number of periods, 1 or more, was wanted",
                                text);
        *span = (struct dw_span){ .kind = DW_SPAN_LAST, .periods = periods };
        return DW_OK;
    }
    const char *colon = strchr(text, ':');
    if (!colon || !text[1] || strchr(colon + 1, ':'))
        return not_a_span(text, kind, error);
    double from = -INFINITY, to = INFINITY;
    enum dw_status status = read_end(text, (size_t)(colon - text), kind, &from, error);
    if (status == DW_OK)
        status = read_end(colon + 1, strlen(colon + 1), kind, &to, error);
    if (status != DW_OK)
        return status;
    if (!(from < to))
        return dw_error_set(error, DW_BAD_USE, 0, "'%s': the span ends before it begins", text);
    *span = (struct dw_span){ .kind = DW_SPAN_BETWEEN, .from = from, .to = to };
    return DW_OK;
}
