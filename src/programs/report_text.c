/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The text a person reads: columns aligned, numbers at their decimal points, units in line. */
#include "report.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* Parts of a cell: words, or a number up to its point, from its point, and its unit. Widths in characters. */
struct shown {
    char text[96];
    int before, after, unit;  /* up to the point, from the point on, symbol */
    const char *symbol;       /* within text */
};
struct widths {
    int before, after, unit, whole;
};

static int characters(const char *text, size_t length)
{
    int count = 0;
    for (size_t i = 0; i < length; i++)
        count += ((unsigned char)text[i] & 0xc0) != 0x80;
    return count;
}

/* As many digits as the bound leaves sure, one at least: the last one is worth as much as the bound, or up to ten times. */
static int sure_digits(const struct report_cell *cell, int digits)
{
    if (!(cell->bound > 0) || !(fabs(cell->number) > 0))
        return digits;
    const double sure = floor(log10(fabs(cell->number))) - ceil(log10(cell->bound)) + 1;
    return sure >= digits ? digits : sure > 1 ? (int)sure : 1;
}

/* Number and unit as printed, cut into parts. */
static void show_number(struct shown *shown, const struct report_cell *cell, const char *unit, int digits)
{
    char *text = stpcpy(shown->text, cell->at_most ? "<= " : "");
    const size_t room = sizeof shown->text - 4;
    if (isnan(cell->number))
        strcpy(text, "-");
    else if (!*unit && cell->number == floor(cell->number) && fabs(cell->number) < 1e15)
        dw_number_print(text, cell->number);
    else
        dw_quantity_print(text, room, cell->number, unit, sure_digits(cell, digits));
    char *blank = strchr(text, ' ');
    shown->symbol = blank ? blank + 1 : "";
    if (blank)
        *blank = 0;
    char *point = text + strcspn(text, ".e");
    shown->before = (int)(point - shown->text);
    shown->after = (int)strlen(point);
    shown->unit = characters(shown->symbol, strlen(shown->symbol));
}

static void widen(struct widths *widths, const struct shown *shown)
{
    widths->before = shown->before > widths->before ? shown->before : widths->before;
    widths->after = shown->after > widths->after ? shown->after : widths->after;
    widths->unit = shown->unit > widths->unit ? shown->unit : widths->unit;
}

static int number_width(const struct widths *widths)
{
    return widths->before + widths->after + (widths->unit ? 2 + widths->unit : 0);
}

/* Findings print their unit with the value; a column of its own would say it twice. */
static size_t columns_shown(const struct report *report)
{
    return report->findings ? FINDING_UNIT : report->count;
}

static struct widths measure(const struct report *report, size_t column, int digits)
{
    struct widths widths = { 0, 0, 0, 0 };
    struct shown shown;
    const char *name = report->columns[column].name;
    int words = report->findings ? 0 : characters(name, strlen(name));
    for (size_t r = 0; r < report->rows; r++) {
        const struct report_cell *cell = report_cell_at(report, r, column);
        if (cell->text) {
            const int width = *cell->text ? characters(cell->text, strlen(cell->text)) : 1;
            words = width > words ? width : words;
        } else {
            show_number(&shown, cell, report_cell_unit(report, r, column), digits);
            widen(&widths, &shown);
        }
    }
    const int number = number_width(&widths);
    widths.whole = number > words ? number : words;
    return widths;
}

/* Numbers without units stand under the end of their title. */
static bool right_aligned(const struct report *report, size_t column, const struct widths *widths)
{
    return report->columns[column].unit && !widths->unit;
}

static void blanks(int count, FILE *out)
{
    if (count > 0)
        fprintf(out, "%*s", count, "");
}

/* Words, control characters as blanks; gives their width. */
static int write_words(const char *text, FILE *out)
{
    for (const char *c = *text ? text : "-"; *c; c++)
        fputc((unsigned char)*c < 0x20 || *c == 0x7f ? ' ' : *c, out);
    return *text ? characters(text, strlen(text)) : 1;
}

static void write_cell(const struct report *report, size_t row, size_t column, const struct widths *widths, int digits,
                       FILE *out)
{
    const struct report_cell *cell = report_cell_at(report, row, column);
    const bool last = column + 1 == columns_shown(report);
    int width;
    if (cell->text) {
        width = write_words(cell->text, out);
    } else {
        struct shown shown;
        show_number(&shown, cell, report_cell_unit(report, row, column), digits);
        const int indent = right_aligned(report, column, widths) ? widths->whole - number_width(widths) : 0;
        blanks(indent + widths->before - shown.before, out);
        fputs(shown.text, out);
        width = indent + widths->before + shown.after;
        if (*shown.symbol) {
            blanks(widths->after - shown.after + 2, out);
            fputs(shown.symbol, out);
            width = indent + widths->before + widths->after + 2 + shown.unit;
        }
    }
    if (!last)
        blanks(widths->whole - width + 2, out);
}

/* A title stands over the words' beginning, or over the numbers' end. */
static void write_titles(const struct report *report, const struct widths *widths, FILE *out)
{
    const char *no_colour = getenv("NO_COLOR"), *terminal = getenv("TERM");
    const bool bold = isatty(fileno(out)) && !(no_colour && *no_colour) && terminal && *terminal && strcmp(terminal, "dumb");
    fputs(bold ? "\033[1m" : "", out);
    for (size_t c = 0; c < report->count; c++) {
        const char *name = report->columns[c].name;
        const int free_width = widths[c].whole - characters(name, strlen(name));
        const bool right = right_aligned(report, c, &widths[c]);
        blanks(right ? free_width : 0, out);
        fputs(name, out);
        if (c + 1 < report->count)
            blanks((right ? 0 : free_width) + 2, out);
    }
    fputs(bold ? "\033[0m\n" : "\n", out);
}

enum dw_status report_write_text(const struct report *report, int digits, FILE *out, struct dw_error *error)
{
    struct widths *widths = calloc(report->count, sizeof *widths);
    if (!widths)
        return dw_no_memory(error);
    for (size_t c = 0; c < report->count; c++)
        widths[c] = measure(report, c, digits);
    if (!report->findings)
        write_titles(report, widths, out);
    for (size_t r = 0; r < report->rows; r++) {
        for (size_t c = 0; c < columns_shown(report); c++)
            write_cell(report, r, c, &widths[c], digits, out);
        fputc('\n', out);
    }
    free(widths);
    return DW_OK;
}
