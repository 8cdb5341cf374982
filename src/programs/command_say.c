/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Words on standard error; and a line on the terminal that says how far long work is. That comes late enough that short work
 * shows none, is written over itself, and goes before anything else is said. */
#include "common.h"
#include <dutywright/value.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

enum { PROGRESS_WIDTH = 64 };                         /* columns; a terminal has more */
static const double silence = 1, pause_between = 0.2; /* s: before the first line, between two */

/* One line whatever stands in it: file names and arguments may hold line ends, or what a terminal takes for commands. */
void command_say(struct command *command, const char *kind, const char *text)
{
    char line[2 * DW_ERROR_TEXT];
    snprintf(line, sizeof line, "%s", text);
    for (char *c = line; *c; c++)
        if ((unsigned char)*c < 0x20 || *c == 0x7f)
            *c = '?';
    command_progress_erase(command);
    fprintf(stderr, "%s: %s%s\n", command->program->name, kind, line);
}

static void say(struct command *command, const char *kind, const char *format, va_list arguments)
{
    char text[2 * DW_ERROR_TEXT];
    vsnprintf(text, sizeof text, format, arguments);
    command_say(command, kind, text);
}

const char *in_words(char *out, double value, const char *unit, int digits)
{
    dw_quantity_print(out, 64, value, unit, digits);
    return out;
}

void command_note(struct command *command, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    if (!command->quiet)
        say(command, "note: ", format, arguments);
    va_end(arguments);
}

void command_caution(struct command *command, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    say(command, "caution: ", format, arguments);
    va_end(arguments);
}

void command_caution_voltage(struct command *command, double volts, const char *also)
{
    if (volts > COMMAND_LOW_VOLTAGE)
        command_caution(command, "%g V: over 60 V DC can kill%s; local electrical codes and a licensed person decide", volts, also);
}

/* ---- progress ---- */

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* Whether nobody else writes on that terminal meanwhile: of a pipeline only the program that ends the flow of rows. */
static bool is_wanted(struct command *command, bool rows_out)
{
    signed char *wanted = &command->progress.wanted[rows_out]; /* asked once: both are system calls */
    struct stat out;
    if (!*wanted)
        *wanted = isatty(STDERR_FILENO) && !command->quiet && (!rows_out || (!fstat(STDOUT_FILENO, &out) && S_ISREG(out.st_mode)))
                      ? 1 : -1;
    return *wanted > 0;
}

void command_progress_erase(struct command *command)
{
    if (command->progress.shown)
        fprintf(stderr, "\r%*s\r", PROGRESS_WIDTH, "");
    command->progress.shown = false;
    command->progress.first = 0;
}

/* Whether a line is to be written now; at the end it goes.
 *   elapsed   out: s since the work began */
static bool is_time(struct command *command, bool rows_out, bool done, double *elapsed)
{
    if (!is_wanted(command, rows_out))
        return false;
    const double time = now();
    if (command->progress.first == 0)
        command->progress.first = command->progress.latest = time;
    *elapsed = time - command->progress.first;
    if (done)
        command_progress_erase(command);
    if (done || *elapsed < silence || (command->progress.shown && time - command->progress.latest < pause_between))
        return false;
    command->progress.latest = time;
    return true;
}

static void write_line(struct command *command, const char *text)
{
    char line[PROGRESS_WIDTH + 1];
    if (snprintf(line, sizeof line, "%s: %s", command->program->name, text) < 0)
        return; /* too long a line is cut */
    fprintf(stderr, "\r%-*s", PROGRESS_WIDTH, line);
    command->progress.shown = true;
}

/* ", 12 s left", from how long the share so far has taken; at the beginning it would be a guess. */
static void add_rest(char *text, size_t size, double share, double elapsed)
{
    const size_t used = strlen(text);
    const double rest = elapsed * (1 - share) / share;
    if (share >= 0.02 && rest >= 1)
        snprintf(text + used, size - used, rest < 120 ? ", %.0f s left" : ", %.0f min left", rest < 120 ? rest : rest / 60);
}

void command_progress(struct command *command, const char *doing, double share, bool rows_out)
{
    char text[PROGRESS_WIDTH];
    double elapsed;
    if (!is_time(command, rows_out, share >= 1, &elapsed))
        return;
    snprintf(text, sizeof text, "%.24s%s%.0f %%", doing ? doing : "", doing ? ": " : "", floor(100 * share));
    add_rest(text, sizeof text, share, elapsed);
    write_line(command, text);
}

static void tell(struct command *command, const char *name, double bytes, double size, bool rows_out)
{
    char text[PROGRESS_WIDTH], amount[40];
    double elapsed;
    if (!is_time(command, rows_out, size > 0 && bytes >= size, &elapsed))
        return;
    if (size > 0) {
        const char *base = strrchr(name, '/');
        snprintf(text, sizeof text, "%.24s: %.0f %% read", base ? base + 1 : name, floor(100 * bytes / size));
        add_rest(text, sizeof text, bytes / size, elapsed);
    } else {
        dw_quantity_print(amount, sizeof amount, bytes, "B", 3);
        snprintf(text, sizeof text, "%s read", amount);
    }
    write_line(command, text);
}

static void tell_of_judge(void *context, const char *name, unsigned long long bytes, unsigned long long size)
{
    tell(context, name, (double)bytes, (double)size, false);
}

static void tell_of_filter(void *context, const char *name, unsigned long long bytes, unsigned long long size)
{
    tell(context, name, (double)bytes, (double)size, true);
}

struct dw_reader_options command_reading(struct command *command, bool partial, bool rows_out)
{
    return (struct dw_reader_options){ .partial = partial, .progress = rows_out ? tell_of_filter : tell_of_judge, .context = command };
}
