/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <dutywright/follow.h>
#include <dutywright/pieces.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

struct follow {
    const struct dw_follow_plan *plan;
    struct dw_follow_seen *seen;
    struct dw_reader *reader;
    struct dw_repeat *repeat;   /* the caller's, or made for a steady start; else NULL */
    size_t ahead_given;
    struct dw_writer *writer;
    struct dw_run *run;
    struct dw_run *exact;       /* beside one with uniform rows, which miss events and peaks, for the watch; else NULL */
    size_t columns, inputs, outputs;
    size_t *slope;              /* [columns] of the table's slopes */
    double *before, *now, *in;  /* [columns] the rows of the table around the present instant, and the one there */
    double *out;                /* the row written */
    double side_given;          /* its value in the last input fed */
    double fed_slope[DW_INPUTS];  /* of the inputs there, where what follows begins; NaN: it is a line */
};

/* ---- rows out ---- */

static void tell(const struct follow *f)
{
    if (f->plan->found)
        f->plan->found(f->plan->found_context, f->seen);
}

/* A plant that swings a thousand times between two rows of the table takes for ever. */
static void count_extremes(struct follow *f)
{
    static const unsigned long long many = 20000, to_each = 2000;
    if (++f->seen->extremes != many || many / to_each <= f->seen->rows)
        return;
    f->seen->swings = f->seen->rows;
    tell(f);
}

static enum dw_status write_row(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct follow *f = context;
    const struct dw_follow_plan *plan = f->plan;
    const enum dw_status status = plan->watch && !f->exact ? plan->watch(plan->context, row, error) : DW_OK;
    if (status || !f->writer || (row->repeats && row->kind != DW_ROW_INPUT))
        return status;
    dw_row_between(f->columns, f->slope, f->before, f->now, row->time, f->in);
    double *to = f->out;
    for (size_t i = 0; i < f->columns; i++)
        if (row->slope || !(i > 0 && f->slope[i - 1] == i))
            *to++ = f->in[i];
    for (size_t i = 0; i < f->outputs; i++) {
        *to++ = row->output[i];
        if (row->slope)
            *to++ = row->slope[i];
    }
    if (row->kind == DW_ROW_EXTREMUM)
        count_extremes(f);
    return dw_writer_row(f->writer, f->out, error);
}

static enum dw_status append(const struct dw_follow_plan *plan, size_t output, struct dw_header *header, struct dw_error *error)
{
    const struct dw_port port = dw_plant_port(plan->plant, output);
    enum dw_status status = dw_header_append(header, port.name, port.unit, error);
    if (status)
        return status;
    const size_t column = dw_header_columns(header) - 1;
    if (!plan->steady && !isnan(port.initial))
        status = dw_header_set_initial(header, column, port.initial, error);
    if (!status && !(plan->uniform > 0))
        status = dw_header_set_accuracy(header, column, plan->accuracy * port.scale, dw_swing(plan->accuracy), error);
    return status || plan->uniform > 0 ? status : dw_header_append_slope(header, error);
}

/* The header of what comes, and behind it, of what is written. */
static enum dw_status begin_rows(struct follow *f, struct dw_header *header, struct dw_error *error)
{
    const struct dw_follow_plan *plan = f->plan;
    enum dw_status status = DW_OK;
    if (plan->uniform > 0)
        status = dw_header_set_number(header, "sampled", plan->uniform, error);
    if (!status && plan->steady)
        dw_header_drop(header, "initial");
    for (size_t i = 0; !status && i < f->outputs; i++)
        status = append(plan, i, header, error);
    if (!status && !(f->writer = dw_writer_open_lines(plan->descriptor, header, plan->lines, plan->encoding, error)))
        status = error->status;
    return status;
}

static enum dw_status open_writer(struct follow *f, struct dw_error *error)
{
    const struct dw_follow_plan *plan = f->plan;
    const unsigned changes = plan->uniform > 0 ? 0 : DW_EXACT_ROWS;
    struct dw_header *header = dw_header_derive(dw_reader_header(f->reader), changes, plan->made_by, error);
    struct dw_header *whole = header && plan->uniform > 0 ? dw_header_without_slopes(header, error) : header;
    const enum dw_status status = whole ? begin_rows(f, whole, error) : error->status;
    if (whole != header)
        dw_header_free(whole);
    dw_header_free(header);
    return status;
}

/* ---- rows in ---- */

static void inputs_of(struct follow *f, const double *row, double side, double *input)
{
    for (size_t i = 0; i < f->inputs; i++)
        input[i] = f->plan->input_column[i] ? row[f->plan->input_column[i]] : 0;
    if (f->plan->side)
        input[f->plan->side_input] = f->side_given = side;
}

static void slopes_of(const struct follow *f, const double *row, double *slope)
{
    for (size_t i = 0; i < f->inputs; i++) {
        const size_t column = f->slope[f->plan->input_column[i]];  /* time has none */
        slope[i] = column ? row[column] : NAN;
    }
}

/* Goes on to an instant of the table, whose row is given. */
static enum dw_status feed(struct follow *f, const double *row, const double *input, struct dw_error *error)
{
    double slope[DW_INPUTS];
    slopes_of(f, row, slope);
    enum dw_status status = dw_run_feed_curve(f->run, row[0], input, f->fed_slope, slope, error);
    if (!status && f->exact)
        status = dw_run_feed_curve(f->exact, row[0], input, f->fed_slope, slope, error);
    memcpy(f->fed_slope, slope, sizeof slope);
    return status;
}

/* Feeds the vertices of the second table that lie before a time, so that both are straight lines between rows: also those
 * at the row before, which had the value ahead of a jump. */
static enum dw_status feed_side(struct follow *f, double time, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    double value = 0, input[DW_INPUTS];
    for (double at; !status && f->plan->side && (at = dw_course_next(f->plan->side, &value)) < time;) {
        if (at > f->before[0] || value != f->side_given) {
            dw_row_between(f->columns, f->slope, f->before, f->now, at, f->in);
            inputs_of(f, f->in, value, input);
            status = feed(f, f->in, input, error);
        }
        if (!status)
            status = dw_course_step(f->plan->side, error);
    }
    return status;
}

static enum dw_status read_row(struct follow *f, struct dw_error *error)
{
    const double *row;
    enum dw_status status = DW_OK;
    if (f->ahead_given < f->plan->ahead_count)
        row = f->plan->ahead + f->ahead_given++ * f->columns;
    else
        status = f->repeat ? dw_repeat_row(f->repeat, &row, error) : dw_reader_row(f->reader, &row, error);
    if (status)
        return status;
    memcpy(f->now, row, f->columns * sizeof *row);
    f->seen->rows++;
    return DW_OK;
}

/* ---- from the start to the end ---- */

/* The orbit reached from rest, where the start is steady. */
static enum dw_status find_start(struct follow *f, size_t *mode, double *state, struct dw_error *error)
{
    *mode = dw_plant_rest(f->plan->plant, state);
    if (!f->plan->steady)
        return DW_OK;
    size_t count;
    const double *lap = dw_repeat_lap(f->repeat, &count);
    double *time = malloc(count * sizeof *time), *input = malloc((2 * count * f->inputs + 1) * sizeof *input);
    enum dw_status status = DW_NO_MEMORY;
    if (time && input) {
        double *const slope = input + count * f->inputs;
        for (size_t i = 0; i < count; i++) {
            time[i] = lap[i * f->columns];
            inputs_of(f, lap + i * f->columns, 0, input + i * f->inputs);
            slopes_of(f, lap + i * f->columns, slope + i * f->inputs);
        }
        status = dw_modes_steady(dw_plant_modes(f->plan->plant), &(struct dw_period){ time, input, count, slope }, mode, state,
                                 &f->seen->steady, error);
    } else {
        dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for one period");
    }
    free(time);
    free(input);
    if (status == DW_NO)
        return dw_error_set(error, DW_NO, 0, "%s: %s", f->plan->steady, error->text);
    if (!status)
        tell(f);
    return status;
}

static enum dw_status begin(struct follow *f, struct dw_error *error)
{
    size_t mode;
    double state[DW_STATES], input[DW_INPUTS];
    enum dw_status status = find_start(f, &mode, state, error);
    if (!status && f->plan->descriptor >= 0)
        status = open_writer(f, error);
    if (!status)
        status = read_row(f, error);
    if (status == DW_END)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: a table without rows", dw_reader_name(f->reader));
    if (!status && f->plan->side)
        status = dw_course_pass(f->plan->side, f->now[0], error);
    if (status)
        return status;
    memcpy(f->before, f->now, f->columns * sizeof *f->now);
    inputs_of(f, f->now, f->plan->side ? dw_course_at(f->plan->side, f->now[0]) : 0, input);
    slopes_of(f, f->now, f->fed_slope);
    status = dw_run_start(f->run, f->now[0], mode, state, input, error);
    return status || !f->exact ? status : dw_run_start(f->exact, f->now[0], mode, state, input, error);
}

static enum dw_status go(struct follow *f, struct dw_error *error)
{
    double input[DW_INPUTS];
    enum dw_status status = begin(f, error);
    while (!status && !(status = read_row(f, error))) {
        status = feed_side(f, f->now[0], error);
        inputs_of(f, f->now, f->plan->side ? dw_course_at(f->plan->side, f->now[0]) : 0, input);
        if (!status)
            status = feed(f, f->now, input, error);
        memcpy(f->before, f->now, f->columns * sizeof *f->now);
    }
    if (status != DW_END)
        return status;
    status = dw_run_finish(f->run, error);
    f->seen->mode = dw_run_mode(f->run);
    memcpy(f->seen->state, dw_run_state(f->run), dw_plant_states(f->plan->plant) * sizeof *f->seen->state);
    return status || !f->writer ? status : dw_writer_finish(f->writer, error);  /* unrun: passed-on */
}

static enum dw_status prepare(struct follow *f, struct dw_error *error)
{
    const struct dw_follow_plan *plan = f->plan;
    const struct dw_facts *facts = dw_header_facts(dw_reader_header(f->reader));
    const struct dw_run_options options = {
        .accuracy = plan->accuracy, .uniform = plan->uniform, .curves = !(plan->uniform > 0), .swing = dw_swing(plan->accuracy),
        .carrier = facts->carrier_period > 0 ? facts->carrier_period : facts->period,
        .sink = write_row, .context = f, .integrand = plan->integrand, .integrand_count = plan->integrand_count };
    struct dw_run_options exact = options;
    exact.uniform = 0;
    exact.curves = true;
    exact.sink = plan->watch;
    exact.context = plan->context;
    struct dw_modes *modes = dw_plant_modes(plan->plant);
    f->before = calloc(4 * f->columns + 2 * f->outputs, sizeof *f->before);
    f->slope = calloc(f->columns, sizeof *f->slope);
    if (!f->before || !f->slope) {
        dw_error_set(error, DW_NO_MEMORY, 0, "out of memory for a row");
        return DW_NO_MEMORY;
    }
    f->now = f->before + f->columns;
    f->in = f->now + f->columns;
    f->out = f->in + f->columns;
    dw_header_slopes(dw_reader_header(f->reader), f->slope);
    if (plan->steady && plan->side)
        return dw_error_set(error, DW_BAD_USE, 0, "%s needs a load that repeats: not one from a second table", plan->steady);
    if (plan->steady && !f->repeat && !(f->repeat = dw_repeat_new(f->reader, plan->steady, error)))
        return error->status;
    if (f->repeat)
        dw_repeat_compare(f->repeat, plan->input_column, f->inputs);
    if (!(f->run = dw_run_new(modes, &options, error)))
        return error->status;
    if (plan->watch && plan->uniform > 0 && !(f->exact = dw_run_new(modes, &exact, error)))
        return error->status;
    return DW_OK;
}

enum dw_status dw_follow(const struct dw_follow_plan *plan, struct dw_reader *reader, struct dw_follow_seen *seen,
                         struct dw_error *error)
{
    struct dw_error own_error = { .status = DW_OK };
    struct dw_follow_seen own_seen = { 0 };
    struct follow f = { .plan = plan, .seen = seen ? seen : &own_seen, .reader = reader, .repeat = plan->repeat,
                        .columns = dw_header_columns(dw_reader_header(reader)), .inputs = dw_plant_inputs(plan->plant),
                        .outputs = dw_plant_outputs(plan->plant) };
    *f.seen = (struct dw_follow_seen){ 0 };
    error = error ? error : &own_error;
    enum dw_status status = prepare(&f, error);
    if (!status)
        status = go(&f, error);
    dw_run_free(f.run);
    dw_run_free(f.exact);
    dw_writer_free(f.writer);
    if (f.repeat != plan->repeat)
        dw_repeat_free(f.repeat);
    free(f.before);
    free(f.slope);
    return status;
}
