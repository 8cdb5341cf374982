/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <dutywright/chain.h>
#include <dutywright/follow.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* One whole period of what drives the plant. */
struct drive_period {
    double *time, *input;  /* [count], [count x inputs] */
    size_t count, room, inputs;
    double period;         /* s */
};

static bool grow(double **array, size_t count)
{
    double *grown = realloc(*array, count * sizeof *grown);
    *array = grown ? grown : *array;
    return grown;
}

static enum dw_status make_room(struct drive_period *drive, size_t room, struct dw_error *error)
{
    drive->room = room;
    return grow(&drive->time, room) && grow(&drive->input, room * drive->inputs) ? DW_OK : dw_no_memory(error);
}

static enum dw_status keep_row(struct drive_period *drive, double time, double pin, struct dw_error *error)
{
    if (drive->count == drive->room && make_room(drive, 2 * drive->room, error) != DW_OK)
        return DW_NO_MEMORY;
    double *input = drive->input + drive->count * drive->inputs;
    memset(input, 0, drive->inputs * sizeof *input);
    drive->time[drive->count++] = time;
    input[0] = pin;
    return DW_OK;
}

static enum dw_status take_pulses(struct drive_period *drive, struct dw_pulse *pulse, struct dw_error *error)
{
    double rows[3 * DW_PULSE_ROWS];
    size_t count;
    enum dw_status status;
    const size_t pin = dw_pulse_channels(pulse);  /* behind its complement, where there is one */
    drive->period = dw_pulse_period(pulse);
    if (!(drive->period > 0))
        return dw_error_set(error, DW_BAD_USE, 0, "the train does not repeat");
    while ((status = dw_pulse_rows(pulse, rows, DW_PULSE_ROWS, &count, error)) == DW_OK)
        for (size_t i = 0; i < count; i++)
            if ((status = keep_row(drive, rows[i * (1 + pin)], rows[i * (1 + pin) + pin], error)) != DW_OK)
                return status;
    return status == DW_END ? DW_OK : status;  /* unrun: passed-on */
}

static enum dw_status drive_new(struct drive_period *drive, const struct dw_chain *chain, struct dw_error *error)
{
    struct dw_pulse_train train = *chain->train;
    train.periods = 1;
    train.duration = 0;
    *drive = (struct drive_period){ .inputs = dw_plant_inputs(chain->plant) };
    enum dw_status status = make_room(drive, 16, error);
    struct dw_pulse *pulse = status == DW_OK ? dw_pulse_new(&train, error) : NULL;
    if (status == DW_OK)
        status = pulse ? take_pulses(drive, pulse, error) : error->status;
    dw_pulse_free(pulse);
    return status;
}

/* A table of one channel, which the meter is told of. */
static struct dw_meter *meter_new(const struct dw_chain *chain, double period, struct dw_error *error)
{
    const struct dw_port port = dw_plant_port(chain->plant, chain->output);
    struct dw_header *header = dw_header_new("time", "s", error);
    struct dw_meter *meter = NULL;
    if (header && dw_header_append(header, port.name, port.unit, error) == DW_OK
        && dw_header_set_number(header, "period", period, error) == DW_OK
        && dw_header_set_accuracy(header, 1, chain->accuracy * port.scale, dw_swing(chain->accuracy), error) == DW_OK
        && dw_header_append_slope(header, error) == DW_OK)
        meter = dw_meter_new(header, NULL, error);
    dw_header_free(header);
    return meter;
}

struct metered {
    struct dw_meter *meter;
    size_t output;
};

static enum dw_status measure_row(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    const struct metered *to = context;
    const double values[3] = { row->time, row->output[to->output], row->slope[to->output] };
    return dw_meter_rows(to->meter, values, 1, error);
}

static enum dw_status run_period(const struct dw_chain *chain, const struct drive_period *drive, struct dw_meter *meter,
                                 struct dw_error *error)
{
    double state[DW_STATES];
    size_t mode = dw_plant_rest(chain->plant, state);
    struct dw_modes *modes = dw_plant_modes(chain->plant);
    struct metered to = { meter, chain->output };
    const struct dw_run_options options = { .accuracy = chain->accuracy, .curves = true, .swing = dw_swing(chain->accuracy),
                                            .carrier = drive->period, .sink = measure_row, .context = &to };
    enum dw_status status = dw_modes_steady(modes, &(struct dw_period){ drive->time, drive->input, drive->count, NULL }, &mode, state, NULL, error);
    struct dw_run *run = status == DW_OK ? dw_run_new(modes, &options, error) : NULL;
    if (status == DW_OK)
        status = run ? dw_run_start(run, drive->time[0], mode, state, drive->input, error) : error->status;
    for (size_t i = 1; i < drive->count && status == DW_OK; i++)
        status = dw_run_feed(run, drive->time[i], drive->input + i * drive->inputs, error);
    if (status == DW_OK)
        status = dw_run_finish(run, error);
    dw_run_free(run);
    return status == DW_OK ? dw_meter_finish(meter, error) : status;
}

enum dw_status dw_chain_measure(const struct dw_chain *chain, struct dw_result result[DW_MEASURES], struct dw_error *error)
{
    struct drive_period drive;
    struct dw_error why = { .status = DW_OK };
    if (chain->output >= dw_plant_outputs(chain->plant))
        return dw_error_set(error, DW_BAD_USE, 0, "output %zu of %zu", chain->output, dw_plant_outputs(chain->plant));
    enum dw_status status = drive_new(&drive, chain, &why);
    struct dw_meter *meter = status == DW_OK ? meter_new(chain, drive.period, &why) : NULL;
    if (status == DW_OK)
        status = meter ? run_period(chain, &drive, meter, &why) : why.status;
    for (int measure = 0; measure < DW_MEASURES && status == DW_OK; measure++)
        result[measure] = dw_meter_result(meter, 0, (enum dw_measure)measure);
    dw_meter_free(meter);
    free(drive.time);
    free(drive.input);
    if (status != DW_OK && error)
        *error = why;
    return status;
}
