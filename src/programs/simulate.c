/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "simulate.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* One simulation under way. */
struct course {
    const struct simulation *s;
    struct dw_reader *reader;
    struct repeating *periods;  /* NULL unless steady */
    size_t ahead_given;
    struct dw_writer *writer;
    struct dw_run *run;
    struct dw_run *exact;       /* beside one with uniform rows, which miss events and peaks, for those who watch; else NULL */
    size_t columns;
    double *before, *now, *out; /* the rows of the table around the present instant; the row written */
    unsigned long long read, extremes;  /* rows */
    double side[2][2];          /* time and value: the last vertex of the second table passed, and the next */
    double side_given;          /* its value in the last input fed */
    bool side_ended;
};

/* The table's row at a time between the last one and the present one. */
static void row_between(const struct course *c, double time, double *row)
{
    const double *a = c->before, *b = c->now;
    double weight = b[0] > a[0] ? (time - a[0]) / (b[0] - a[0]) : 1;
    for (size_t i = 1; i < c->columns; i++)
        row[i] = weight <= 0 ? a[i] : weight >= 1 ? b[i] : a[i] + weight * (b[i] - a[i]);
    row[0] = time;
}

/* A load that swings a thousand times between two rows of the table is rarely what was meant, and takes for ever. */
static void count_extremes(struct course *c)
{
    static const unsigned long long many = 20000, to_each = 2000;
    if (++c->extremes == many && many / to_each > c->read)
        command_note(c->s->common->command, "the load swings on and on: %llu extremes in the first %llu rows read, each of them a row, and rows "
                     "between; --uniform RATE writes fewer", many, c->read);
}

static enum dw_status watch_row(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    const struct simulation *s = ((struct course *)context)->s;
    return s->watch(s->context, row, error);
}

static enum dw_status write_row(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct course *c = context;
    const struct simulation *s = c->s;
    enum dw_status status = s->watch && !c->exact ? s->watch(s->context, row, error) : DW_OK;
    if (status || !c->writer || (row->repeats && row->kind != DW_ROW_INPUT))
        return status;
    row_between(c, row->time, c->out);
    size_t column = c->columns;
    for (size_t i = 0; i < s->outputs; i++)
        if (s->channel[i].factor != 0)
            c->out[column++] = row->output[i] * s->channel[i].factor;
    if (row->kind == DW_ROW_EXTREMUM)
        count_extremes(c);
    return dw_writer_row(c->writer, c->out, error);
}

static void inputs_of(struct course *c, const double *row, double side, double *input)
{
    for (size_t i = 0; i < c->s->inputs; i++)
        input[i] = c->s->input_column[i] ? row[c->s->input_column[i]] : 0;
    if (c->s->side)
        input[c->s->side_input] = c->side_given = side;
}

static enum dw_status next_side(struct course *c, struct dw_error *error)
{
    const double *row;
    memcpy(c->side[0], c->side[1], sizeof c->side[0]);
    enum dw_status status = dw_reader_row(c->s->side, &row, error);
    if (status == DW_END) {  /* after its end the last value stays */
        c->side_ended = true;
        return DW_OK;
    }
    if (!status)
        memcpy(c->side[1], row, sizeof c->side[1]);
    return status;
}

static double side_at(const struct course *c, double time)
{
    const double *a = c->side[0], *b = c->side[1];
    if (c->side_ended || time >= b[0])
        return b[1];
    return time <= a[0] || !(b[0] > a[0]) ? a[1] : a[1] + (time - a[0]) / (b[0] - a[0]) * (b[1] - a[1]);
}

static enum dw_status feed(struct course *c, double time, const double *input, struct dw_error *error)
{
    const enum dw_status status = dw_run_feed(c->run, time, input, error);
    return status || !c->exact ? status : dw_run_feed(c->exact, time, input, error);
}

/* Passes the vertices of the second table up to the first row's instant. Before its first vertex it has that one's value. */
static enum dw_status begin_side(struct course *c, double time, struct dw_error *error)
{
    if (!c->s->side)
        return DW_OK;
    enum dw_status status = next_side(c, error);
    memcpy(c->side[0], c->side[1], sizeof c->side[0]);
    while (!status && !c->side_ended && c->side[1][0] <= time)
        status = next_side(c, error);
    return status;
}

/* Feeds the vertices of the second table that lie before a time, so that both are straight lines between rows: also those
 * at the row before, which had the value ahead of a jump. */
static enum dw_status feed_side(struct course *c, double time, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    while (!status && c->s->side && !c->side_ended && c->side[1][0] < time) {
        double at = c->side[1][0], input[DW_INPUTS];
        if (at > c->before[0] || c->side[1][1] != c->side_given) {
            row_between(c, at, c->out);
            inputs_of(c, c->out, c->side[1][1], input);
            status = feed(c, at, input, error);
        }
        if (!status)
            status = next_side(c, error);
    }
    return status;
}

static enum dw_status append(const struct simulation *s, size_t output, struct dw_header *header, struct dw_error *error)
{
    const struct simulated_channel *channel = &s->channel[output];
    enum dw_status status = dw_header_append(header, channel->name, channel->unit, error);
    if (status)
        return status;
    const size_t column = dw_header_columns(header) - 1;
    if (!s->steady && !isnan(channel->initial))
        status = dw_header_set_initial(header, column, channel->initial, error);
    if (!status && s->common->uniform == 0)
        status = dw_header_set_accuracy(
            header, column, s->common->accuracy * dw_modes_scale(s->modes, output) * channel->factor, error);
    return status;
}

static enum dw_status open_writer(struct course *c, struct dw_error *error)
{
    const struct simulation *s = c->s;
    unsigned changes = s->common->uniform > 0 ? 0 : DW_EXACT_ROWS;
    struct dw_header *header = dw_header_derive(dw_reader_header(c->reader), changes, s->common->command->made_by, error);
    enum dw_status status = header ? DW_OK : error->status;
    if (!status && s->common->uniform > 0)
        status = dw_header_set_number(header, "sampled", s->common->uniform, error);
    if (!status && s->steady)
        dw_header_drop(header, "initial");
    for (size_t i = 0; !status && i < s->outputs; i++)
        if (s->channel[i].factor != 0)
            status = append(s, i, header, error);
    if (!status && !(c->writer = dw_writer_open(STDOUT_FILENO, header, output_encoding(s->common, c->reader), error)))
        status = error->status;
    dw_header_free(header);
    return status;
}

/* The orbit reached from rest, where the start is steady. */
static enum dw_status find_start(struct course *c, size_t *mode, double *state, struct dw_error *error)
{
    *mode = c->s->mode;
    memcpy(state, c->s->state, sizeof c->s->state);
    if (!c->periods)
        return DW_OK;
    size_t count;
    const double *lap = repeating_lap(c->periods, &count);
    double *time = malloc(count * sizeof *time), *input = malloc(count * c->s->inputs * sizeof *input);
    enum dw_status status = time && input ? DW_OK : dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for one period");
    for (size_t i = 0; !status && i < count; i++) {
        time[i] = lap[i * c->columns];
        inputs_of(c, lap + i * c->columns, 0, input + i * c->s->inputs);
    }
    struct dw_steady steady = { .lasting = false };
    if (!status)
        status = dw_modes_steady(c->s->modes, time, input, count, mode, state, &steady, error);
    free(time);
    free(input);
    if (status == DW_NO)
        return dw_error_set(error, DW_BAD_INPUT, 0, "--start steady: %s", error->text);
    if (!status && steady.lasting && c->s->load)
        command_caution(c->s->common->command, "nothing damps this %s: the steady wave is shown, but one that begins elsewhere never comes to it", c->s->load);
    return status;
}

static enum dw_status read_row(struct course *c, struct dw_error *error)
{
    const double *row;
    c->read++;
    if (c->ahead_given < c->s->ahead_count) {
        memcpy(c->now, c->s->ahead + c->ahead_given++ * c->columns, c->columns * sizeof *c->now);
        return DW_OK;
    }
    enum dw_status status = c->periods ? repeating_row(c->periods, &row, error) : dw_reader_row(c->reader, &row, error);
    if (!status)
        memcpy(c->now, row, c->columns * sizeof *row);
    return status;
}

static enum dw_status go(struct course *c, struct dw_error *error)
{
    size_t mode;
    double state[DW_STATES], input[DW_INPUTS];
    enum dw_status status = find_start(c, &mode, state, error);
    if (!status && !c->s->no_table)
        status = open_writer(c, error);
    if (!status)
        status = read_row(c, error);
    if (status == DW_END)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: a table without rows", dw_reader_name(c->reader));
    if (!status)
        status = begin_side(c, c->now[0], error);
    if (!status) {
        memcpy(c->before, c->now, c->columns * sizeof *c->now);
        inputs_of(c, c->now, side_at(c, c->now[0]), input);
        status = dw_run_start(c->run, c->now[0], mode, state, input, error);
        if (!status && c->exact)
            status = dw_run_start(c->exact, c->now[0], mode, state, input, error);
    }
    while (!status && !(status = read_row(c, error))) {
        status = feed_side(c, c->now[0], error);
        inputs_of(c, c->now, side_at(c, c->now[0]), input);
        if (!status)
            status = feed(c, c->now[0], input, error);
        memcpy(c->before, c->now, c->columns * sizeof *c->now);
    }
    if (status != DW_END)
        return status;
    status = dw_run_finish(c->run, error);
    if (!status && c->s->finished)
        c->s->finished(c->s->context, dw_run_state(c->run));
    return status || !c->writer ? status : dw_writer_finish(c->writer, error);
}

enum dw_status simulate(const struct simulation *s, struct dw_reader *reader, struct dw_error *error)
{
    struct course c = { .s = s, .reader = reader, .columns = dw_header_columns(dw_reader_header(reader)), .periods = s->periods };
    const struct dw_run_options options = { .accuracy = s->common->accuracy, .uniform = s->common->uniform,
                                            .sink = write_row, .context = &c },
                                exact = { .accuracy = s->common->accuracy, .sink = watch_row, .context = &c };
    double *rows = calloc(3 * c.columns + s->outputs, sizeof *rows);
    enum dw_status status = rows ? DW_OK : dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for a row");
    c.before = rows;
    c.now = rows ? rows + c.columns : NULL;
    c.out = rows ? rows + 2 * c.columns : NULL;
    if (!status && s->steady && s->side)
        status = dw_error_set(error, DW_BAD_USE, 0, "--start steady needs a load that repeats: not one from a second table");
    if (!status && s->steady && !c.periods && !(c.periods = repeating_new(reader, error)))
        status = error->status;
    if (c.periods)
        repeating_compare(c.periods, s->input_column, s->inputs);
    if (!status && !(c.run = dw_run_new(s->modes, &options, error)))
        status = error->status;
    if (!status && s->watch && s->common->uniform > 0 && !(c.exact = dw_run_new(s->modes, &exact, error)))
        status = error->status;
    if (!status)
        status = go(&c, error);
    dw_run_free(c.run);
    dw_run_free(c.exact);
    dw_writer_free(c.writer);
    if (c.periods != s->periods)
        repeating_free(c.periods);
    free(rows);
    /* endless switching is not an answer, but a table that the load cannot work on */
    return status == DW_NO ? (error->status = DW_BAD_INPUT) : status;
}
