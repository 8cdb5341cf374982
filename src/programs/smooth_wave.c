/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A wave table through a ladder: rows in, the run's rows out with all channels of the input. */
#include "smooth.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const double LOW_VOLTAGE = 60;  /* V DC: above it a shock can kill; IEC 61140, extra-low voltage without ripple */
enum { AHEAD = 512 };                  /* rows looked at for the supply, where the header has no levels */

struct wave {
    const struct smooth_options *options;
    struct dw_reader *reader;
    struct repeating *periods;         /* NULL: from zero */
    double *ahead;                     /* rows read ahead, [ahead_count x columns] */
    size_t ahead_count, ahead_given;
    size_t columns, channel, outputs;  /* of the input; the pin's column; what is appended */
    struct dw_writer *writer;
    double *before, *after, *row;      /* input rows around the run's rows, and the row written */
};

/* One row of the run: every channel of the input on its straight line, then the outputs. */
static enum dw_status write_row(void *context, const struct dw_run_row *given, struct dw_error *error)
{
    struct wave *wave = context;
    const double *from = wave->before, *to = wave->after;
    if (given->repeats && given->kind != DW_ROW_INPUT)
        return DW_OK;
    const double share = to[0] > from[0] ? (given->time - from[0]) / (to[0] - from[0]) : 1;
    wave->row[0] = given->time;
    for (size_t i = 1; i < wave->columns; i++)
        wave->row[i] = share >= 1 ? to[i] : from[i] + fmax(share, 0) * (to[i] - from[i]);
    memcpy(wave->row + wave->columns, given->output, wave->outputs * sizeof *wave->row);
    return dw_writer_row(wave->writer, wave->row, error);
}

static enum dw_status next_row(struct wave *wave, const double **row, struct dw_error *error)
{
    if (wave->ahead_given < wave->ahead_count) {
        *row = wave->ahead + wave->ahead_given++ * wave->columns;
        return DW_OK;
    }
    return wave->periods ? repeating_row(wave->periods, row, error) : dw_reader_row(wave->reader, row, error);
}

static enum dw_status find_channel(struct wave *wave, struct dw_error *error)
{
    const struct dw_header *header = dw_reader_header(wave->reader);
    const char *wanted = wave->options->common.channel;
    const enum dw_status status = wave_needed(wave->reader, error);
    wave->columns = dw_header_columns(header);
    return status ? status : channel_find(wave->reader, "channel", wanted, "V", &wave->channel, error);
}

static double largest(const double *rows, size_t count, size_t columns, size_t channel)
{
    double most = 0;
    for (size_t i = 0; i < count; i++)
        most = fmax(most, fabs(rows[i * columns + channel]));
    return most;
}

static enum dw_status read_ahead(struct wave *wave, struct dw_error *error)
{
    wave->ahead = malloc(AHEAD * wave->columns * sizeof *wave->ahead);
    if (!wave->ahead)
        return dw_error_set(error, DW_NO_MEMORY, 0, "out of memory");
    const double *row;
    enum dw_status status = DW_OK;
    while (wave->ahead_count < AHEAD && (status = dw_reader_row(wave->reader, &row, error)) == DW_OK)
        memcpy(wave->ahead + wave->ahead_count++ * wave->columns, row, wave->columns * sizeof *row);
    return status == DW_END ? DW_OK : status;
}

/* Supply and threshold: as asked, else from the levels in the header, else the supply from the first rows. */
static enum dw_status complete_setup(struct wave *wave, struct dw_ladder_setup *setup, struct dw_error *error)
{
    const struct dw_header *header = dw_reader_header(wave->reader);
    const bool one_switch = setup->drive == DW_ONE_SWITCH;
    double low = 0, high = 0;
    const bool known = header_levels(header, &low, &high);
    if (one_switch) {
        struct gate gate;
        const char *name = dw_header_column(header, wave->channel).name;
        const enum dw_status status = gate_find(wave->reader, "channel", name, setup->threshold, &gate, error);
        if (status != DW_OK)
            return status;
        setup->threshold = gate.threshold;
    }
    if (setup->supply == 0 && known)
        setup->supply = one_switch ? high : fmax(fabs(low), fabs(high));
    if (setup->supply == 0 && wave->periods) {
        size_t count;
        const double *lap = repeating_lap(wave->periods, &count);
        setup->supply = largest(lap, count, wave->columns, wave->channel);
    } else if (setup->supply == 0) {
        const enum dw_status status = read_ahead(wave, error);
        if (status != DW_OK)
            return status;
        setup->supply = largest(wave->ahead, wave->ahead_count, wave->columns, wave->channel);
    }
    if (one_switch && !(setup->supply > 0))
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: its high level is %g V: one switch needs a --supply above zero",
                            dw_reader_name(wave->reader), setup->supply);
    if (setup->supply == 0)
        setup->supply = 1;  /* a wave of nothing but zeros: any scale will do */
    return DW_OK;
}

/* How far straight lines between the rows may be from the wave, as dw_ladder_modes scales outputs. */
static double line_error(const struct wave *wave, const struct dw_ladder *ladder, double supply, const char *unit)
{
    const double amperes = dw_ladder_current_scale(ladder, supply);
    return wave->options->common.accuracy * (*unit == 'V' || amperes == 0 ? supply : amperes);
}

static enum dw_status open_writer(struct wave *wave, const struct dw_ladder *ladder, double supply, struct dw_error *error)
{
    const struct smooth_options *o = wave->options;
    struct dw_header *header = dw_header_derive(dw_reader_header(wave->reader), 0, program_made_by(), error);
    enum dw_status status = header ? DW_OK : error->status;
    const size_t all = dw_ladder_outputs(ladder);
    for (size_t i = all - wave->outputs; i < all && status == DW_OK; i++) {
        const char *name, *unit;
        dw_ladder_output(ladder, i, &name, &unit);
        status = dw_header_append(header, name, unit, error);
        name = dw_header_column(header, dw_header_columns(header) - 1).name;
        if (status == DW_OK && o->common.uniform == 0)
            status = dw_header_set_of_channel(header, "accuracy", name, line_error(wave, ladder, supply, unit), error);
    }
    if (status == DW_OK && !o->steady)
        status = dw_header_set_initial(header, dw_header_column(header, dw_header_columns(header) - 1).name, o->initial, error);
    if (status == DW_OK && o->common.uniform > 0)
        status = dw_header_set_number(header, "sampled", o->common.uniform, error);
    if (status == DW_OK) {
        wave->writer = dw_writer_open(STDOUT_FILENO, header, output_encoding(&o->common, wave->reader), error);
        status = wave->writer ? DW_OK : error->status;
    }
    dw_header_free(header);
    return status;
}

/* The orbit's state at the first row. */
static enum dw_status find_steady(const struct wave *wave, struct dw_modes *modes, size_t *mode, double *state,
                                  struct dw_error *error)
{
    size_t count;
    const double *lap = repeating_lap(wave->periods, &count);
    double *time = malloc(2 * count * sizeof *time);
    struct dw_steady steady = { .lasting = false };
    if (!time)
        return dw_error_set(error, DW_NO_MEMORY, 0, "out of memory");
    double *input = time + count;
    for (size_t i = 0; i < count; i++) {
        time[i] = lap[i * wave->columns];
        input[i] = lap[i * wave->columns + wave->channel];
    }
    const enum dw_status status = dw_modes_steady(modes, time, input, count, mode, state, &steady, error);
    free(time);
    if (status == DW_OK && steady.lasting)
        program_caution("nothing damps this ladder: the steady wave is shown, but one that begins elsewhere never comes to it");
    return status;
}

static enum dw_status feed_rows(struct wave *wave, struct dw_run *run, size_t mode, const double *state,
                                struct dw_error *error)
{
    const double *row;
    enum dw_status status = next_row(wave, &row, error);
    if (status == DW_END)
        return DW_OK;
    if (status != DW_OK)
        return status;
    memcpy(wave->before, row, wave->columns * sizeof *row);
    memcpy(wave->after, row, wave->columns * sizeof *row);
    status = dw_run_start(run, row[0], mode, state, row + wave->channel, error);
    while (status == DW_OK && (status = next_row(wave, &row, error)) == DW_OK) {
        memcpy(wave->after, row, wave->columns * sizeof *row);
        status = dw_run_feed(run, row[0], row + wave->channel, error);
        double *kept = wave->before;
        wave->before = wave->after;
        wave->after = kept;
    }
    if (status != DW_END)
        return status;
    memcpy(wave->after, wave->before, wave->columns * sizeof *row);
    return dw_run_finish(run, error);
}

static void caution(const struct dw_ladder_setup *setup, const struct dw_ladder *ladder, const struct dw_run *run)
{
    const double energy = dw_ladder_energy(ladder, dw_run_state(run)), worth_saying = 1;  /* J; common practice, no source */
    if (setup->supply > LOW_VOLTAGE)
        program_caution("%g V: over 60 V DC can kill, and capacitors stay charged after switching off; local electrical codes "
                        "and a licensed person decide", setup->supply);
    if (energy > worth_saying)
        program_caution("%.3g J stay stored in the ladder: let capacitors discharge before touching them", energy);
}

static enum dw_status run_wave(struct wave *wave, const struct dw_ladder *ladder, struct dw_error *error)
{
    struct dw_ladder_setup setup = wave->options->setup;
    const struct dw_run_options how = { .accuracy = wave->options->common.accuracy, .uniform = wave->options->common.uniform,
                                        .sink = write_row, .context = wave };
    double state[DW_STATES];
    size_t mode = 0;
    enum dw_status status = complete_setup(wave, &setup, error);
    if (status != DW_OK)
        return status;
    wave->outputs = setup.all ? dw_ladder_outputs(ladder) : 1;
    wave->row = malloc((3 * wave->columns + wave->outputs) * sizeof *wave->row);
    struct dw_modes *modes = dw_ladder_modes(ladder, &setup, error);
    struct dw_run *run = modes ? dw_run_new(modes, &how, error) : NULL;
    if (!wave->row)
        status = dw_error_set(error, DW_NO_MEMORY, 0, "out of memory");
    else if (!run)
        status = error->status;
    dw_ladder_charged(ladder, wave->options->initial, state);
    if (status == DW_OK && wave->periods)
        status = find_steady(wave, modes, &mode, state, error);
    /* only now: where there is no steady state, no table begins */
    if (status == DW_OK)
        status = open_writer(wave, ladder, setup.supply, error);
    if (status == DW_OK) {
        wave->before = wave->row + wave->columns + wave->outputs;
        wave->after = wave->before + wave->columns;
        status = feed_rows(wave, run, mode, state, error);
    }
    if (status == DW_OK)
        status = dw_writer_finish(wave->writer, error);
    if (status == DW_OK)
        caution(&setup, ladder, run);
    dw_run_free(run);
    dw_modes_free(modes);
    /* no steady state, endless switching: not an answer of this program, but a table it cannot work on */
    return status == DW_NO ? (error->status = DW_BAD_INPUT) : status;
}

enum dw_status smooth_wave(const struct smooth_options *options, const struct dw_ladder *ladder, struct dw_error *error)
{
    struct wave wave = { .options = options, .reader = input_open(&options->common, true, error) };
    enum dw_status status = wave.reader ? find_channel(&wave, error) : error->status;
    if (status == DW_OK && options->steady) {
        wave.periods = repeating_new(wave.reader, error);
        status = wave.periods ? DW_OK : error->status;
    }
    if (status == DW_OK)
        status = run_wave(&wave, ladder, error);
    free(wave.row);
    free(wave.ahead);
    dw_writer_free(wave.writer);
    repeating_free(wave.periods);
    dw_reader_close(wave.reader);
    return status;
}
