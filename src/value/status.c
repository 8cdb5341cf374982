/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <dutywright/status.h>
#include <errno.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

static void fill(struct dw_error *error, enum dw_status status, unsigned long long line, const char *member,
                 const char *format, va_list arguments)
{
    char text[sizeof error->text];  /* the old text may be one of the arguments */
    error->status = status;
    error->line = line;
    snprintf(error->member, sizeof error->member, "%s", member);
    vsnprintf(text, sizeof text, format, arguments);
    memcpy(error->text, text, strlen(text) + 1);
}

enum dw_status dw_error_set(struct dw_error *error, enum dw_status status, unsigned long long line, const char *format,
                            ...)
{
    if (error) {
        va_list arguments;
        va_start(arguments, format);
        fill(error, status, line, "", format, arguments);
        va_end(arguments);
    }
    return status;
}

enum dw_status dw_error_member(struct dw_error *error, const char *member, const char *format, ...)
{
    if (error) {
        va_list arguments;
        va_start(arguments, format);
        fill(error, DW_BAD_USE, 0, member, format, arguments);
        va_end(arguments);
    }
    return DW_BAD_USE;
}

static enum dw_status blame(int number)
{
    switch (number) {
    case ENOENT:
    case EACCES:
    case EPERM:
    case EISDIR:
    case ENOTDIR:
    case ELOOP:
    case ENAMETOOLONG: return DW_BAD_INPUT;
    case ENOMEM: return DW_NO_MEMORY;
    default: return DW_SYSTEM;
    }
}

enum dw_status dw_error_file(struct dw_error *error, const char *name, int number)
{
    return dw_error_set(error, blame(number), 0, "%.300s: %s", name, strerror(number));
}

static const char *broken(const struct dw_demand *d)
{
    const double v = d->value;
    if (!isfinite(v))
        return "must be finite";
    switch (d->rule) {
    case DW_NOT_NEGATIVE: return v >= 0 ? NULL : "must not be negative";
    case DW_ABOVE_ZERO: return v > 0 ? NULL : "must be above zero";
    case DW_NOT_ZERO: return v != 0 ? NULL : "must not be zero";
    case DW_FINITE: break;
    }
    return NULL;
}

enum dw_status dw_demands_check(const struct dw_demand *demands, size_t count, struct dw_error *error)
{
    for (size_t i = 0; i < count; i++) {
        const struct dw_demand *d = demands + i;
        const char *why = broken(d);
        if (why)
            return dw_error_member(error, d->member, "%s %g%s%s: %s", d->name, d->value, d->unit[0] ? " " : "", d->unit, why);
    }
    return DW_OK;
}

const char *dw_status_text(enum dw_status status)
{
    switch (status) {
    case DW_OK: return "done";
    case DW_END: return "no more rows";
    case DW_NO: return "the answer is no";
    case DW_BAD_USE: return "an argument is outside its range";
    case DW_BAD_INPUT: return "the input does not read";
    case DW_NO_MEMORY: return "out of memory";
    case DW_SYSTEM: return "the system failed";
    case DW_CLOSED_PIPE: return "the reader of the output has gone";
    }
    return "unknown status";
}

enum dw_status dw_no_memory(struct dw_error *error)
{
    return dw_error_set(error, DW_NO_MEMORY, 0, "%s", dw_status_text(DW_NO_MEMORY));
}
