/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How every fallible function of dutywright answers. */
#ifndef DUTYWRIGHT_STATUS_H
#define DUTYWRIGHT_STATUS_H

#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

#if defined(__GNUC__)
#define DW_API __attribute__((visibility("default")))
#define DW_PRINTF(text, first) __attribute__((format(printf, text, first)))
#else
#define DW_API
#define DW_PRINTF(text, first)
#endif

enum dw_status {
    DW_OK = 0,
    DW_END,         /* no more rows; not an error */
    DW_NO,          /* the question was understood and its answer is no: nothing fits, a limit is exceeded */
    DW_BAD_USE,     /* an argument or option is outside its range, or two contradict each other */
    DW_BAD_INPUT,   /* a table or file does not read, or does not hold what is needed */
    DW_NO_MEMORY,   /* an allocation failed */
    DW_SYSTEM,      /* the system failed: disk full, broken read */
    DW_CLOSED_PIPE  /* the reader downstream has gone away */
};

enum { DW_ERROR_TEXT = 512, DW_ERROR_MEMBER = 32 };

/* What went wrong, for a person: text is one line without a final newline and already names the place
 * (file and line). line is the line (text table) or row (binary table) of the input, 0 where none applies. member is that of
 * the plan or of the options which was refused, "diode_drop"; empty where there is none, or several are to blame alike. */
struct dw_error {
    enum dw_status status;
    unsigned long long line;
    char member[DW_ERROR_MEMBER];
    char text[DW_ERROR_TEXT];
};

/* Fills an error and returns its status, so that a refusal is one statement: return dw_error_set(error, DW_BAD_USE, ...).
 *   error    out, may be NULL; text longer than DW_ERROR_TEXT - 1 bytes is cut
 *   status   what the caller returns
 *   line     line or row of the input, 0 for none
 *   format   printf format of the text, then its arguments; the error's own text may be one of them
 *   returns  status */
DW_API enum dw_status dw_error_set(struct dw_error *error, enum dw_status status, unsigned long long line,
                                   const char *format, ...) DW_PRINTF(4, 5);

/* The same for a member of a plan that is outside its range, or does not go with another; line 0.
 *   error    out, may be NULL
 *   member   its name, shorter than DW_ERROR_MEMBER
 *   format   as above
 *   returns  DW_BAD_USE */
DW_API enum dw_status dw_error_member(struct dw_error *error, const char *member, const char *format, ...) DW_PRINTF(3, 4);

/* The same where an allocation has failed: "out of memory", line 0.
 *   error    out, may be NULL
 *   returns  DW_NO_MEMORY */
DW_API enum dw_status dw_no_memory(struct dw_error *error);

/* The same where a file cannot be opened or read, "parts.txt: No such file or directory"; line 0.
 *   error    out, may be NULL
 *   number   of <errno.h>
 *   returns  whose fault it is: DW_BAD_INPUT, of who named the file; DW_NO_MEMORY; DW_SYSTEM */
DW_API enum dw_status dw_error_file(struct dw_error *error, const char *name, int number);

/* What must hold of a value of a plan. */
struct dw_demand {
    const char *member, *name;  /* in the plan, and in a message */
    double value;
    const char *unit;           /* as in a message; "": none */
    enum dw_demand_rule { DW_FINITE, DW_NOT_NEGATIVE, DW_ABOVE_ZERO, DW_NOT_ZERO } rule;  /* all must be finite */
};

/* Tries them in order.
 *   demands  [count]
 *   error    out, may be NULL: the first that does not hold, "drag -3 N m: must not be negative"
 *   returns  DW_OK, DW_BAD_USE */
DW_API enum dw_status dw_demands_check(const struct dw_demand *demands, size_t count, struct dw_error *error);

/* One short English phrase for a status, static storage; never NULL. */
DW_API const char *dw_status_text(enum dw_status status);

#ifdef __cplusplus
}
#endif
#endif
