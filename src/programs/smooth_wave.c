/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A wave table through a ladder. */
#include "drive.h"
#include "smooth.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { AHEAD = 512 };                  /* rows looked at for the supply, where the header has no levels */

struct wave {
    struct smooth_options *options;
    struct load_drive drive;           /* as the table has it */
    struct supply_seen seen;
    double supply;                     /* V, which holds */
    struct dw_reader *reader;
    struct dw_repeat *periods;         /* NULL: from zero */
    double *ahead;                     /* rows read ahead, [ahead_count x columns] */
    size_t ahead_count, columns, channel;
};

static enum dw_status find_channel(struct wave *wave, struct dw_error *error)
{
    const struct dw_header *header = dw_reader_header(wave->reader);
    const struct channel_wish wish = { "channel", wave->options->common.channel, "V" };
    const enum dw_status status = wave_needed(wave->reader, error);
    wave->columns = dw_header_columns(header);
    return status ? status : channel_find(wave->options->common.command, wave->reader, &wish, &wave->channel, error);
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

/* The supply where it is not asked for: from the levels in the header, else from the first rows. */
static enum dw_status find_supply(struct wave *wave, struct dw_error *error)
{
    const struct dw_facts *facts = dw_header_facts(dw_reader_header(wave->reader));
    wave->supply = wave->options->load.setup.drive == DW_ONE_SWITCH ? facts->high : fmax(fabs(facts->low), fabs(facts->high));
    if (wave->supply != 0)
        return DW_OK;
    if (wave->periods) {
        size_t count;
        const double *lap = dw_repeat_lap(wave->periods, &count);
        wave->supply = largest(lap, count, wave->columns, wave->channel);
        return DW_OK;
    }
    const enum dw_status status = read_ahead(wave, error);
    if (status == DW_OK)
        wave->supply = largest(wave->ahead, wave->ahead_count, wave->columns, wave->channel);
    return status;
}

static enum dw_status complete_drive(struct wave *wave, struct dw_error *error)
{
    const struct dw_ladder_setup *setup = &wave->options->load.setup;
    const bool one_switch = setup->drive == DW_ONE_SWITCH;
    struct gate gate = { 0, 0 };
    if (one_switch) {
        const struct channel_wish wish = { "channel", dw_header_column(dw_reader_header(wave->reader), wave->channel).name, "V" };
        const enum dw_status status =
            gate_find(wave->options->common.command, wave->reader, &wish, setup->threshold, &gate, error);
        if (status != DW_OK)
            return status;
    }
    wave->supply = setup->supply;
    const enum dw_status status = wave->supply == 0 ? find_supply(wave, error) : DW_OK;
    if (status != DW_OK)
        return status;
    if (one_switch && !(wave->supply > 0))
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s: its high level is %g V: one switch needs a --supply above zero",
                            dw_reader_name(wave->reader), wave->supply);
    if (wave->supply == 0)
        wave->supply = 1;  /* a wave of nothing but zeros: any scale will do */
    wave->drive = (struct load_drive){ .threshold = gate.threshold, .supply = wave->supply };
    return DW_OK;
}

static void caution(const struct wave *wave, const struct dw_ladder *ladder, const double *state)
{
    struct command *command = wave->options->common.command;
    const double energy = dw_ladder_energy(ladder, state), worth_saying = 1;  /* J; common practice, no source */
    command_caution_voltage(command, wave->supply, ", and capacitors stay charged after switching off");
    if (energy > worth_saying)
        command_caution(command, "%.3g J stay stored in the ladder: let capacitors discharge before touching them", energy);
}

static enum dw_status watch(void *wave, const struct dw_run_row *row, struct dw_error *error)
{
    return supply_row(&((struct wave *)wave)->seen, row, error);
}

static enum dw_status run_wave(struct wave *wave, struct dw_error *error)
{
    const bool gives_way = !dw_supply_ideal(&wave->options->load.feed.parts), report = wave->options->report;
    struct smooth_load *load = &wave->options->load;
    load->setup.all = load->setup.all || report;  /* findings are of all its channels */
    enum dw_status status = complete_drive(wave, error);
    struct dw_plant *plant = status == DW_OK ? smooth_kind.plant(load, &wave->drive, error) : NULL;
    if (!plant)
        return status == DW_OK ? error->status : status;
    struct dw_course *side = load->current_from ? dw_course_open(load->current_from, error) : NULL;
    const struct dw_follow_plan follow = { .plant = plant, .steady = wave->options->steady ? START_STEADY : NULL,
                                           .input_column = { wave->channel }, .side = side, .side_input = DW_LADDER_DRAWN,
                                           .repeat = wave->periods, .ahead = wave->ahead, .ahead_count = wave->ahead_count, .descriptor = report ? -1 : STDOUT_FILENO,
                                           .watch = gives_way ? watch : NULL, .context = wave };
    struct dw_follow_seen seen;
    status = load->current_from && !side ? error->status : DW_OK;
    if (status == DW_OK)
        status = supply_begin(&wave->seen, &load->feed, plant, &wave->options->common, report ? wave->reader : NULL, error);
    if (status == DW_OK)
        status = follow_table(&follow, &wave->options->common, "ladder", wave->reader, &seen, error);
    if (status == DW_OK && report)
        status = supply_report(&wave->seen, &wave->options->common, error);
    if (status == DW_OK)
        caution(wave, dw_plant_load(plant), seen.state);
    const enum dw_status judged = supply_end(&wave->seen, status ? NULL : wave->options->common.command, report, error);
    dw_plant_free(plant);
    dw_course_close(side);
    return status ? status : judged;
}

enum dw_status smooth_wave(struct smooth_options *options, struct dw_error *error)
{
    struct wave wave = { .options = options, .reader = input_open(&options->common, !options->report, error) };
    enum dw_status status = wave.reader ? find_channel(&wave, error) : error->status;
    if (status == DW_OK && options->steady) {
        wave.periods = dw_repeat_new(wave.reader, START_STEADY, error);
        status = wave.periods ? DW_OK : error->status;
    }
    if (status == DW_OK)
        status = run_wave(&wave, error);
    free(wave.ahead);
    dw_repeat_free(wave.periods);
    dw_reader_close(wave.reader);
    return status;
}
