/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A wave table through a ladder. */
#include "simulate.h"
#include "smooth.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double LOW_VOLTAGE = 60;  /* V DC: above it a shock can kill; IEC 61140, extra-low voltage without ripple */
enum { AHEAD = 512 };                  /* rows looked at for the supply, where the header has no levels */

struct wave {
    const struct smooth_options *options;
    const struct dw_ladder *ladder;
    struct dw_ladder_setup setup;
    struct dw_reader *reader;
    struct repeating *periods;         /* NULL: from zero */
    double *ahead;                     /* rows read ahead, [ahead_count x columns] */
    size_t ahead_count, columns, channel;
};

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
    /* NOLINTNEXTLINE(clang-analyzer-optin.portability.UnixAPI): a table has a column of time at least */
    wave->ahead = malloc(AHEAD * wave->columns * sizeof *wave->ahead);
    if (!wave->ahead)
        return dw_no_memory(error);
    const double *row;
    enum dw_status status = DW_OK;
    while (wave->ahead_count < AHEAD && (status = dw_reader_row(wave->reader, &row, error)) == DW_OK)
        memcpy(wave->ahead + wave->ahead_count++ * wave->columns, row, wave->columns * sizeof *row);
    return status == DW_END ? DW_OK : status;
}

/* Supply and threshold: as asked, else from the levels in the header, else the supply from the first rows. */
static enum dw_status complete_setup(struct wave *wave, struct dw_error *error)
{
    struct dw_ladder_setup *setup = &wave->setup;
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

static void caution(void *context, const double *state)
{
    const struct wave *wave = context;
    const double energy = dw_ladder_energy(wave->ladder, state), worth_saying = 1;  /* J; common practice, no source */
    if (wave->setup.supply > LOW_VOLTAGE)
        program_caution("%g V: over 60 V DC can kill, and capacitors stay charged after switching off; local electrical codes "
                        "and a licensed person decide", wave->setup.supply);
    if (energy > worth_saying)
        program_caution("%.3g J stay stored in the ladder: let capacitors discharge before touching them", energy);
}

static enum dw_status run_wave(struct wave *wave, struct dw_error *error)
{
    struct simulated_channel channels[DW_OUTPUTS];
    struct simulation s = { .common = &wave->options->common, .inputs = 1, .channel = channels, .load = "ladder",
                            .steady = wave->options->steady, .finished = caution, .context = wave };
    enum dw_status status = complete_setup(wave, error);
    struct dw_modes *modes = status == DW_OK ? dw_ladder_modes(wave->ladder, &wave->setup, error) : NULL;
    if (!modes)
        return status == DW_OK ? error->status : status;
    s.modes = modes;
    s.input_column[0] = wave->channel;
    s.periods = wave->periods;
    s.ahead = wave->ahead;
    s.ahead_count = wave->ahead_count;
    const size_t all = dw_ladder_outputs(wave->ladder);
    s.outputs = wave->setup.all ? all : 1;
    for (size_t i = 0; i < s.outputs; i++) {
        channels[i] = (struct simulated_channel){ .factor = 1, .initial = i + 1 < s.outputs ? NAN : wave->options->initial };
        dw_ladder_output(wave->ladder, all - s.outputs + i, &channels[i].name, &channels[i].unit);
    }
    dw_ladder_charged(wave->ladder, wave->options->initial, s.state);
    status = simulate(&s, wave->reader, error);
    dw_modes_free(modes);
    return status;
}

enum dw_status smooth_wave(const struct smooth_options *options, const struct dw_ladder *ladder, struct dw_error *error)
{
    struct wave wave = { .options = options, .ladder = ladder, .setup = options->setup,
                         .reader = input_open(&options->common, true, error) };
    enum dw_status status = wave.reader ? find_channel(&wave, error) : error->status;
    if (status == DW_OK && options->steady) {
        wave.periods = repeating_new(wave.reader, error);
        status = wave.periods ? DW_OK : error->status;
    }
    if (status == DW_OK)
        status = run_wave(&wave, error);
    free(wave.ahead);
    repeating_free(wave.periods);
    dw_reader_close(wave.reader);
    return status;
}
