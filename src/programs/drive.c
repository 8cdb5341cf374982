/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "drive.h"
#include <dutywright/value.h>
#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Instants that mean the same differ by a few roundings of the time: the same 4 ulp as of a period's boundary. */
enum { TIME_ULPS = 4 };
/* Values that mean the same differ by what a simulator upstream may have rounded, of the channel's range. */
static const double VALUE_SLACK = 1e-9;

enum dw_status wave_needed(const struct dw_reader *reader, struct dw_error *error)
{
    return dw_header_needs_time(dw_reader_header(reader), dw_reader_name(reader), error);
}

enum dw_status channel_find(struct command *command, const struct dw_reader *reader, const struct channel_wish *wish, size_t *column,
                            struct dw_error *error)
{
    const struct dw_header *header = dw_reader_header(reader);
    const char *option = wish->option, *unit = wish->unit;
    struct dw_error why = { .status = DW_OK };
    *column = wish->name ? dw_header_find(header, wish->name, &why) : dw_header_last_with_unit(header, unit, &why);
    if (!*column)
        return wish->name ? dw_error_set(error, DW_BAD_INPUT, 0, "--%s: %s", option, why.text)
                          : dw_error_set(error, DW_BAD_INPUT, 0, "%s: %s", dw_reader_name(reader), why.text);
    const struct dw_column found = dw_header_column(header, *column);
    double divisor = 1, factor = 1;
    if (unit && dw_unit_converts(found.unit, unit, &divisor, &factor) && divisor != factor)
        return dw_error_set(error, DW_BAD_INPUT, 0, "--%s: '%s' is in %s, not %s; dw-table --rename '%s=%s[%s]' converts it", option,
                            found.name, found.unit, unit, found.name, found.name, unit);
    if (wish->name && unit && *found.unit && strcmp(found.unit, "1") != 0 && strcmp(found.unit, unit) != 0)
        command_note(command, "--%s: '%s' is in %s; its values are taken in %s", option, found.name, found.unit, unit);
    return DW_OK;
}

enum dw_status gate_find(struct command *command, const struct dw_reader *reader, const struct channel_wish *wish, double threshold,
                         struct gate *gate, struct dw_error *error)
{
    const struct dw_header *header = dw_reader_header(reader);
    size_t column = wish->name ? 0 : dw_header_find(header, "pin", NULL);
    const enum dw_status status = column ? DW_OK : channel_find(command, reader, wish, &column, error);
    if (status)
        return status;
    if (isnan(threshold)) {
        const struct dw_facts *facts = dw_header_facts(header);
        if (!(facts->has & DW_FACT_LEVELS))
            return dw_error_set(error, DW_BAD_INPUT, 0,
                                "%s: the table does not say which levels of '%s' are on and off (key levels): give "
                                "--threshold V", dw_reader_name(reader), dw_header_column(header, column).name);
        threshold = facts->low + (facts->high - facts->low) / 2;
    }
    *gate = (struct gate){ column, threshold };
    return DW_OK;
}

struct repeating {
    struct dw_reader *reader;
    size_t columns;
    double period, start;
    double *rows;            /* as read: the period, and the first row after it where one was read */
    size_t count, room, given;
    double *lap;             /* the period alone */
    size_t lap_count;
    double *low, *high;      /* of each channel in the lap */
    size_t near;             /* row of the lap at which the last comparison ended */
    const size_t *compared;  /* [compared_count]; NULL: all */
    size_t compared_count;
};

static double slack(double time)
{
    return TIME_ULPS * DBL_EPSILON * fabs(time);
}

static enum dw_status keep_row(struct repeating *r, const double *row, struct dw_error *error)
{
    if (r->count == r->room) {
        size_t room = r->room ? 2 * r->room : 64;
        double *rows = realloc(r->rows, room * r->columns * sizeof *rows);
        if (!rows)
            return dw_error_set(error, DW_NO_MEMORY, 0, "out of memory: --start steady keeps one period, so far %zu rows",
                                r->count);
        r->rows = rows;
        r->room = room;
    }
    memcpy(r->rows + r->count++ * r->columns, row, r->columns * sizeof *row);
    return DW_OK;
}

/* The lap from the rows: up to the period's end, before a jump that stands there. */
static enum dw_status make_lap(struct repeating *r, struct dw_error *error)
{
    size_t n = r->columns, count = 0;
    double end = r->start + r->period;
    if (!(end - slack(end) > r->start))
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: a period of %g s is too short to be told apart at a time of %g s",
                            dw_reader_name(r->reader), r->period, r->start);
    while (count < r->count && r->rows[count * n] < end - slack(end))
        count++;
    r->lap = malloc((count + 1) * n * sizeof *r->lap);
    r->low = malloc(2 * n * sizeof *r->low);
    if (!r->lap || !r->low)
        return dw_error_set(error, DW_NO_MEMORY, 0, "out of memory: --start steady keeps one period, %zu rows", count);
    r->high = r->low + n;
    memcpy(r->lap, r->rows, count * n * sizeof *r->lap);
    const double *a = r->rows + (count - 1) * n, *b = a + n;
    double *last = r->lap + count * n, weight = b[0] > a[0] ? fmin((end - a[0]) / (b[0] - a[0]), 1) : 1;
    for (size_t i = 1; i < n; i++)
        last[i] = weight < 1 ? a[i] + weight * (b[i] - a[i]) : b[i];
    last[0] = end;
    r->lap_count = count + 1;
    for (size_t i = 0; i < n; i++) {
        r->low[i] = INFINITY;
        r->high[i] = -INFINITY;
        for (size_t k = 0; k < r->lap_count; k++) {
            r->low[i] = fmin(r->low[i], r->lap[k * n + i]);
            r->high[i] = fmax(r->high[i], r->lap[k * n + i]);
        }
    }
    return DW_OK;
}

struct repeating *repeating_new(struct dw_reader *reader, struct dw_error *error)
{
    const struct dw_header *header = dw_reader_header(reader);
    const double period = dw_header_facts(header)->period;
    if (period == 0) {
        dw_error_set(error, DW_BAD_INPUT, 0, "%s: --start steady needs a table that repeats: its header has no period",
                     dw_reader_name(reader));
        return NULL;
    }
    struct repeating *r = calloc(1, sizeof *r);
    if (!r) {
        dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for one period");
        return NULL;
    }
    r->reader = reader;
    r->columns = dw_header_columns(header);
    r->period = period;
    const double *row;
    enum dw_status status = DW_OK;
    bool whole = false;
    while (!status && !whole && !(status = dw_reader_row(reader, &row, error))) {
        if (!r->count)
            r->start = row[0];
        whole = row[0] >= r->start + period - slack(row[0]);
        status = keep_row(r, row, error);
    }
    if (status == DW_END)
        status = dw_error_set(error, DW_BAD_INPUT, 0,
                              "%s: --start steady needs one whole period of %g s; the table ends after %g s",
                              dw_reader_name(reader), period,
                              r->count ? r->rows[(r->count - 1) * r->columns] - r->start : 0.0);
    if (!status)
        status = make_lap(r, error);
    if (status) {
        repeating_free(r);
        return NULL;
    }
    return r;
}

void repeating_free(struct repeating *r)
{
    if (!r)
        return;
    free(r->rows);
    free(r->lap);
    free(r->low);
    free(r);
}

void repeating_compare(struct repeating *r, const size_t *columns, size_t count)
{
    r->compared = columns;
    r->compared_count = count;
}

double repeating_period(const struct repeating *r)
{
    return r->period;
}

const double *repeating_lap(const struct repeating *r, size_t *count)
{
    *count = r->lap_count;
    return r->lap;
}

/* Range of a channel in the lap over instants within `width` of `into`; a jump there is part of it. */
static void lap_range(const struct repeating *r, size_t channel, double into, double width, double *low, double *high)
{
    size_t n = r->columns;
    *low = INFINITY;
    *high = -INFINITY;
    for (size_t k = r->near; k + 1 < r->lap_count; k++) {
        const double *a = r->lap + k * n, *b = a + n;
        double from = a[0] - r->start, to = b[0] - r->start;
        if (from > into + width)
            break;
        if (to < into - width)
            continue;
        for (int side = -1; side <= 1; side++) {
            double t = fmin(fmax(into + side * width, from), to), weight = to > from ? (t - from) / (to - from) : 0;
            double value = a[channel] + weight * (b[channel] - a[channel]);
            *low = fmin(*low, fmin(value, to > from ? value : b[channel]));
            *high = fmax(*high, fmax(value, to > from ? value : b[channel]));
        }
    }
}

static enum dw_status compare(struct repeating *r, const double *row, struct dw_error *error)
{
    size_t n = r->columns;
    double periods = floor((row[0] - r->start) / r->period), width = 2 * slack(row[0]) + slack(r->start);
    double into = row[0] - dw_period_boundary(r->start, r->period, periods);
    if (into < 0)
        into = 0;
    /* the lap is gone through again with each period: comparing costs no search */
    if (r->lap[r->near * n] - r->start >= into - width)
        r->near = 0;
    while (r->near + 2 < r->lap_count && r->lap[(r->near + 1) * n] - r->start < into - width)
        r->near++;
    for (size_t k = 1; k < (r->compared ? r->compared_count + 1 : n); k++) {
        const size_t i = r->compared ? r->compared[k - 1] : k;
        if (!i)
            continue;
        double low, high, allowed = VALUE_SLACK * (r->high[i] - r->low[i]);
        lap_range(r, i, into, width, &low, &high);
        if (into <= width || r->period - into <= width) {  /* the boundary: end and start meet here */
            double first = r->lap[i], last = r->lap[(r->lap_count - 1) * n + i];
            low = fmin(low, fmin(first, last));
            high = fmax(high, fmax(first, last));
        }
        if (!(row[i] >= low - allowed && row[i] <= high + allowed)) {
            char place[DW_ERROR_TEXT / 2];
            dw_reader_place(r->reader, place, sizeof place);
            return dw_error_set(error, DW_BAD_INPUT, dw_reader_line(r->reader),
                                "%s: the table does not repeat: '%s' is %.9g at %.9g s, in its first period %.9g; a steady "
                                "start needs periods that are equal", place,
                                dw_header_column(dw_reader_header(r->reader), i).name, row[i], row[0],
                                row[i] < low ? low : high);
        }
    }
    return DW_OK;
}

enum dw_status repeating_row(struct repeating *r, const double **row, struct dw_error *error)
{
    if (r->given < r->count) {
        *row = r->rows + r->given++ * r->columns;
        return DW_OK;
    }
    enum dw_status status = dw_reader_row(r->reader, row, error);
    return status ? status : compare(r, *row, error);
}
