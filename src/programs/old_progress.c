/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A line on the terminal that says how far long work is. It comes late enough that short work shows none, is written
 * over itself, and goes before anything else is said. */
#include "old_common.h"
#include "old_progress_inner.h"
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

static const double silence = 1, pause_between = 0.2; /* s: before the first, between two */

static bool shown;
static double first = NAN, latest; /* s: when the work began, when the line was written */

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* Whether nobody else writes on that terminal meanwhile: of a pipeline only the program that ends the flow of rows. */
static bool is_wanted(bool rows_out)
{
    static signed char wanted[2] = { -1, -1 }; /* asked once: both are system calls */
    struct stat out;
    if (wanted[rows_out] < 0)
        wanted[rows_out] = isatty(STDERR_FILENO) && !program_quiet()
                           && (!rows_out || (!fstat(STDOUT_FILENO, &out) && S_ISREG(out.st_mode)));
    return wanted[rows_out];
}

void progress_erase(void)
{
    if (shown)
        fprintf(stderr, "\r%*s\r", PROGRESS_WIDTH, "");
    shown = false;
    first = NAN;
}

/* Whether the line is due. */
static bool is_due(double time)
{
    if (isnan(first))
        first = latest = time;
    if (time - first < silence || (shown && time - latest < pause_between))
        return false;
    latest = time;
    return true;
}

static void write_line(const char *text)
{
    char line[PROGRESS_WIDTH + 1];
    if (snprintf(line, sizeof line, "%s: %s", program_name(), text) < 0)
        return; /* too long a line is cut */
    fprintf(stderr, "\r%-*s", PROGRESS_WIDTH, line);
    shown = true;
}

/* ", 12 s left", from how long the share so far has taken; at the beginning it would be a guess. */
static void add_rest(char *text, size_t size, double share, double elapsed)
{
    const size_t used = strlen(text);
    const double rest = elapsed * (1 - share) / share;
    if (share >= 0.02 && rest >= 1)
        snprintf(text + used, size - used, rest < 120 ? ", %.0f s left" : ", %.0f min left", rest < 120 ? rest : rest / 60);
}

/* Whether a line is to be written now; at the end it goes.
 *   elapsed   out: s since the work began */
static bool is_time(bool rows_out, bool done, double *elapsed)
{
    if (!is_wanted(rows_out))
        return false;
    const double time = now();
    const bool due = !done && is_due(time);
    if (done)
        progress_erase();
    *elapsed = time - first;
    return due;
}

void program_progress(const char *doing, double share, bool rows_out)
{
    char text[PROGRESS_WIDTH];
    double elapsed;
    if (!is_time(rows_out, share >= 1, &elapsed))
        return;
    snprintf(text, sizeof text, "%.24s%s%.0f %%", doing ? doing : "", doing ? ": " : "", floor(100 * share));
    add_rest(text, sizeof text, share, elapsed);
    write_line(text);
}

static void told(const char *name, unsigned long long bytes, unsigned long long size, bool rows_out)
{
    char text[PROGRESS_WIDTH], amount[40];
    double elapsed;
    if (!is_time(rows_out, size && bytes >= size, &elapsed))
        return;
    if (size) {
        const double share = (double)bytes / (double)size;
        const char *base = strrchr(name, '/');
        snprintf(text, sizeof text, "%.24s: %.0f %% read", base ? base + 1 : name, floor(100 * share));
        add_rest(text, sizeof text, share, elapsed);
    } else {
        dw_quantity_print(amount, sizeof amount, (double)bytes, "B", 3);
        snprintf(text, sizeof text, "%s read", amount);
    }
    write_line(text);
}

static void told_by_judge(void *context, const char *name, unsigned long long bytes, unsigned long long size)
{
    (void)context;
    told(name, bytes, size, false);
}

static void told_by_filter(void *context, const char *name, unsigned long long bytes, unsigned long long size)
{
    (void)context;
    told(name, bytes, size, true);
}

struct dw_reader_options input_options_of(const struct common_options *options, bool rows_out)
{
    return (struct dw_reader_options){ .partial = options->partial, .progress = rows_out ? told_by_filter : told_by_judge };
}

struct dw_reader *input_open(const struct common_options *options, bool rows_out, struct dw_error *error)
{
    const struct dw_reader_options how = input_options_of(options, rows_out);
    return dw_reader_open(options->file, &how, error);
}
