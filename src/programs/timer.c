/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-timer: settings of a counter for a wanted frequency. */
#include "common.h"
#include "report.h"
#include <dutywright/counter.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct timer_options {
    struct common_options common;
    struct dw_counter_wish wish;
    unsigned long long *prescales;  /* [wish.prescale_count], ours */
    long long best;
    int way;                        /* of way_words */
    const char *print;
};

static const char about[] =
    "Find the settings of a timer's counter for a wanted switching frequency: which prescale, which largest count, and "
    "counting which way."
    "\v"
    "For each prescale and way of counting the nearest count is taken. They are ranked by error, then by steps of duty. "
    "Counting up to M takes M + 1 counts a period and has M + 1 steps; counting up to M and down again takes 2 M counts and "
    "has M steps.\n\n"
    "Status 1: nothing fits; the message says what would.\n\n"
    "Examples:\n"
    "  dw-timer --clock 18M --prescale 1:4096 --counter 14 --frequency 1.7k\n"
    "  dw-timer --clock 18M --prescale 1,4,6,18 --counter 14 --duty-steps 3000\n"
    "  dw-pwm --duty 31.2% \\\n"
    "    $(dw-timer --clock 18M --prescale 1:4096 --counter 14 --frequency 1.6k \\\n"
    "      --print dw-pwm)";

static const char *const way_words[] = { "up", "updown", "both", NULL };

/* Adds the prescales of one item, N or A:B. */
static enum dw_status add_prescales(struct timer_options *o, const struct option_spec *option, char *item, struct dw_error *error)
{
    enum { MOST = 1 << 20 };
    struct option_spec rest = *option;
    double last = 0;
    char *colon = strchr(item, ':');
    if (colon)
        *colon = 0;
    enum dw_status status = option_value(option, item, &rest.least, error);
    if (status == DW_OK)
        status = option_value(&rest, colon ? colon + 1 : item, &last, error);
    if (status != DW_OK)
        return status;
    const size_t count = o->wish.prescale_count, more = (size_t)(last - rest.least);
    if (more >= MOST - count)
        return option_error(error, option->name, command_given(o->common.command, option->name), "names more than %d prescales",
                            (int)MOST);
    unsigned long long *larger = realloc(o->prescales, (count + more + 1) * sizeof *larger);
    if (!larger)
        return dw_error_set(error, DW_NO_MEMORY, 0, "no memory for the prescales");
    o->prescales = larger;
    for (size_t i = 0; i <= more; i++)
        o->prescales[o->wish.prescale_count++] = (unsigned long long)rest.least + i;
    return DW_OK;
}

static int ascending(const void *a, const void *b)
{
    const unsigned long long one = *(const unsigned long long *)a, other = *(const unsigned long long *)b;
    return one < other ? -1 : one > other;
}

/* A list with commas; one named twice counts once. */
static enum dw_status read_prescales(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct timer_options *o = options;
    char *list = strdup(argument), *next = list;
    enum dw_status status = list ? DW_OK : dw_error_set(error, DW_NO_MEMORY, 0, "no memory for the prescales");
    while (next && status == DW_OK)
        status = add_prescales(o, option, strsep(&next, ","), error);
    free(list);
    if (status != DW_OK)
        return status;
    qsort(o->prescales, o->wish.prescale_count, sizeof *o->prescales, ascending);
    size_t kept = 1;
    for (size_t i = 1; i < o->wish.prescale_count; i++)
        if (o->prescales[i] != o->prescales[kept - 1])
            o->prescales[kept++] = o->prescales[i];
    o->wish.prescale_count = kept;
    o->wish.prescales = o->prescales;
    return DW_OK;
}

static const char *const printable[] = { "dw-pwm", NULL };

#define OPTION_STRUCT struct timer_options
static const struct option_spec options[] = {
    { .help = "The timer:" },
    { "clock", "F", "Its clock (Hz)", OPTION_QUANTITY(wish.clock, DW_FREQUENCY), OPTION_FROM_TO(1, INFINITY), .required = "such as 18M" },
    { "prescale", "LIST", "Prescales that it offers: 1:4096 for each of them, or a list such as 1,4,6,18", OPTION_READ(read_prescales),
      OPTION_WHOLE(1, 1LL << 32), OPTION_AT(prescales), .required = "such as 1:4096 (1 where the timer has none)" },
    { "counter", "BITS", "Width of its counter, which then counts to 2^BITS - 1 at most", OPTION_COUNT(wish.bits, 1, 32),
      .required = "such as 14" },
    { "counting", "WAY", "up, updown, or both may be used (default both)", OPTION_WORD(way, way_words) },
    { .help = "The wish (one or both of the first two):" },
    { "frequency", "F", "Switching frequency (Hz)", OPTION_QUANTITY(wish.frequency, DW_FREQUENCY), OPTION_ABOVE_ZERO },
    { "duty-steps", "N", "Steps of duty, at least. Without --frequency: how fast the timer can be with just so many",
      OPTION_COUNT(wish.levels, 2, 1LL << 32) },
    { "within", "SHARE", "Largest error of the frequency (default 5%)", OPTION_QUANTITY(wish.within, DW_SHARE), OPTION_NOT_NEGATIVE },
    { .help = "The answer:" },
    { "best", "N", "Most rows of the ranking (default 10)", OPTION_COUNT(best, 1, 1000000) },
    { "print", "PROGRAM", "Instead of the ranking, the options of the best setting for PROGRAM, which is dw-pwm. In $(...) without quotes the shell "
      "splits them into words (zsh: ${=$(...)})", OPTION_TEXT(print),
      .words = printable },
    { 0 }
};

static const struct option_rule rules[] = {
    { OPTION_ONE_OF, "frequency duty-steps", NULL, "such as --frequency 1.6k" },
    { OPTION_REFUSED, "within", "!frequency", "is about the error from --frequency: give that too" },
    { OPTION_EXCLUDES, "print", "format best digits", "one prints options, the other shapes the ranking; give one" },
    { 0 }
};

static const char *way_word(const struct dw_counter_setting *setting)
{
    return way_words[setting->counter.counting == DW_COUNT_UP ? 0 : 1];
}

/* Every option that makes the setting, in words without special characters. */
static void spell_setting(char *out, size_t size, const struct dw_counter_setting *setting)
{
    char clock[DW_NUMBER_SIZE];
    dw_number_print(clock, setting->counter.clock);
    snprintf(out, size, "--clock %s --prescale %llu --count-to %llu --counting %s", clock, setting->counter.prescale,
             setting->counter.largest, way_word(setting));
}

static enum dw_status write_ranking(const struct timer_options *o, const struct dw_counter_setting *settings, size_t count,
                                    struct dw_error *error)
{
    static const struct report_column columns[] = { { "rank", "" }, { "frequency", "Hz" }, { "error", "%" }, { "steps", "" },
                                                    { "duty-step", "%" }, { "prescale", "" }, { "count-to", "" },
                                                    { "counting", NULL } };
    struct report *report = report_new(columns, sizeof columns / sizeof columns[0], error);
    for (size_t i = 0; i < count && i < (size_t)o->best; i++) {
        const struct dw_counter_setting *s = &settings[i];
        report_row(report, (struct report_cell[]){ report_number((double)i + 1), report_number(s->frequency),
                                                   report_number(o->wish.frequency > 0 ? s->error : NAN),
                                                   report_number((double)s->steps), report_number(1 / (double)s->steps),
                                                   report_number((double)s->counter.prescale),
                                                   report_number((double)s->counter.largest),
                                                   report_text(way_word(s)) }, error);
    }
    return report_out(report, &o->common, DW_OK, error);
}

/* The highest frequency that still gives the steps asked. */
static void note_fastest(const struct timer_options *o, struct dw_counter_setting *settings)
{
    struct dw_counter_wish wish = o->wish;
    size_t count;
    char frequency[64], setting[200];
    wish.frequency = 0;
    if (dw_counter_settings(&wish, settings, &count, NULL) != DW_OK)
        return;
    dw_quantity_print(frequency, sizeof frequency, settings[0].frequency, "Hz", o->common.digits);
    spell_setting(setting, sizeof setting, &settings[0]);
    command_note(o->common.command, "the highest frequency with %llu duty steps is %s: %s", wish.levels, frequency, setting);
}

/* A wish with one thing changed; prescale is where a changed one is kept. */
static struct dw_counter_wish changed(const struct dw_counter_wish *wish, enum dw_counter_change_kind kind, double value,
                                      unsigned long long *prescale)
{
    struct dw_counter_wish other = *wish;
    switch (kind) {
    case DW_CHANGE_FREQUENCY: other.frequency = value; break;
    case DW_CHANGE_WITHIN: other.within = value; break;
    case DW_CHANGE_CLOCK: other.clock = value; break;
    case DW_CHANGE_LEVELS: other.levels = (unsigned long long)value; break;
    case DW_CHANGE_BITS: other.bits = (int)value; break;
    case DW_CHANGE_PRESCALE:
        *prescale = (unsigned long long)value;
        other.prescales = prescale;
        other.prescale_count = 1;
        break;
    }
    return other;
}

/* Writes the change as an option, with the fewest digits, four or more, with which it still fits. */
static void spell_change(char *out, size_t size, const struct timer_options *o, const struct dw_counter_change *change,
                         struct dw_counter_setting *settings)
{
    static const char *const names[] = { "frequency", "within", "clock", "duty-steps", "counter", "prescale" };
    double value = change->value;
    const bool whole = change->kind != DW_CHANGE_FREQUENCY && change->kind != DW_CHANGE_WITHIN && change->kind != DW_CHANGE_CLOCK;
    for (int digits = whole ? 17 : 4; digits < 17; digits++) {
        char text[DW_NUMBER_SIZE];
        unsigned long long prescale;
        size_t count;
        /* an error is rounded up */
        const double up = change->kind == DW_CHANGE_WITHIN ? 1 + pow(10, 1 - digits) / 2 : 1;
        snprintf(text, sizeof text, "%.*e", digits - 1, change->value * up);
        dw_number_read(text, text + strlen(text), &value);
        const struct dw_counter_wish wish = changed(&o->wish, change->kind, value, &prescale);
        if (dw_counter_settings(&wish, settings, &count, NULL) == DW_OK)
            break;
        value = change->value;
    }
    char number[DW_NUMBER_SIZE];
    dw_number_print(number, value);
    snprintf(out, size, "--%s %s", names[change->kind], number);
}

/* Status 1, and a message with what would fit. */
static enum dw_status explain(const struct timer_options *o, struct dw_counter_setting *settings, struct dw_error *error)
{
    struct dw_counter_change changes[DW_COUNTER_CHANGES];
    size_t count;
    const enum dw_status status = dw_counter_changes(&o->wish, changes, &count, error);
    if (status != DW_OK)
        return status;
    char wish[200] = "", text[400] = "", frequency[64];
    if (o->wish.levels > 1)
        snprintf(wish, sizeof wish, " with %llu duty steps", o->wish.levels);
    if (o->wish.frequency > 0) {
        dw_quantity_print(frequency, sizeof frequency, o->wish.frequency, "Hz", o->common.digits);
        snprintf(wish + strlen(wish), sizeof wish - strlen(wish), " is within %.4g%% of %s", 100 * o->wish.within, frequency);
    } else {
        snprintf(wish + strlen(wish), sizeof wish - strlen(wish), " exists");
    }
    for (size_t i = 0; i < count; i++) {
        char one[64];
        if (changes[i].kind == DW_CHANGE_WITHIN && changes[i].value >= 1)
            continue;  /* off by all of it: no advice */
        spell_change(one, sizeof one, o, &changes[i], settings);
        snprintf(text + strlen(text), sizeof text - strlen(text), "%s%s",
                 *text == 0 ? "" : i + 1 == count ? " or " : ", ", one);
    }
    return dw_error_set(error, DW_NO, 0, "no setting%s; %s%s", wish, count ? "what would do: " : "no single change would do",
                        text);
}

static enum dw_status answer(const struct timer_options *o, struct dw_counter_setting *settings, struct dw_error *error)
{
    size_t count;
    char spelling[200];
    enum dw_status status = dw_counter_settings(&o->wish, settings, &count, error);
    if (status == DW_OK && o->print) {
        spell_setting(spelling, sizeof spelling, &settings[0]);
        puts(spelling);
    } else if (status == DW_OK) {
        status = write_ranking(o, settings, count, error);
        if (o->wish.levels > 1 && o->wish.frequency > 0)
            note_fastest(o, settings);
    } else if (status == DW_NO) {
        if (!o->print && o->common.format != REPORT_TEXT)
            status = write_ranking(o, settings, 0, error);  /* no rows: still a table or a list to those who read one */
        if (status == DW_NO || status == DW_OK)
            status = explain(o, settings, error);
    }
    return status;
}

static enum dw_status timer(void *options_read, struct dw_error *error)
{
    struct timer_options *o = options_read;
    o->wish.up = o->way != 1;
    o->wish.up_down = o->way != 0;
    struct dw_counter_setting *settings = calloc(2 * o->wish.prescale_count, sizeof *settings);
    if (!settings)
        return dw_error_set(error, DW_NO_MEMORY, 0, "no memory for the settings");
    const enum dw_status status = answer(o, settings, error);
    free(settings);
    return status;
}

static void release(void *options_read)
{
    free(((struct timer_options *)options_read)->prescales);
}

static const struct timer_options defaults = { .common = COMMON_DEFAULTS, .wish = { .levels = 1, .within = 0.05 }, .best = 10, .way = 2 };
static const struct program program = {
    .name = "dw-timer", .about = about, .options = options, .rules = rules, .shared = SHARED_REPORT, .run = timer, .release = release,
    PROGRAM_OPTIONS(struct timer_options, defaults)
};
PROGRAM_MAIN(program)
