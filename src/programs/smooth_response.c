/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Gain and phase of a ladder against frequency, as a table. */
#include "smooth.h"
#include <string.h>
#include <unistd.h>

/* How far lines between points are off where --accuracy, which is about curves, is not given. */
static const double LINES_OFF = 1e-5;

struct response {
    const struct dw_header *header;
    enum dw_encoding encoding;
    struct dw_writer *writer;  /* opened with the first point: where there is no response, no table begins */
    size_t first, count;       /* outputs given */
};

static enum dw_status write_point(void *context, double frequency, const double *gain, const double *phase,
                                  struct dw_error *error)
{
    struct response *response = context;
    if (!response->writer)
        response->writer = dw_writer_open(STDOUT_FILENO, response->header, response->encoding, error);
    if (!response->writer)
        return error->status;
    double row[1 + 2 * DW_OUTPUTS];
    row[0] = frequency;
    for (size_t i = 0; i < response->count; i++) {
        row[1 + 2 * i] = gain[response->first + i];
        row[2 + 2 * i] = phase[response->first + i];
    }
    return dw_writer_row(response->writer, row, error);
}

/* gain[1] phase[deg] of the output, or with --all of each output by its name; that of a current is in siemens. */
static enum dw_status append_columns(struct dw_header *header, const char *made_by, const struct dw_ladder *ladder,
                                     const struct response *response, struct dw_error *error)
{
    enum dw_status status = dw_header_add(header, "made-by", made_by, error);
    for (size_t i = 0; i < response->count && status == DW_OK; i++) {
        const char *output, *unit;
        char gain[32], phase[32];
        dw_ladder_output(ladder, response->first + i, &output, &unit);
        const bool last = i + 1 == response->count;
        snprintf(gain, sizeof gain, "%s%sgain", last ? "" : output, last ? "" : "-");
        snprintf(phase, sizeof phase, "%s%sphase", last ? "" : output, last ? "" : "-");
        status = dw_header_append(header, gain, strcmp(unit, "V") == 0 ? "1" : "S", error);
        if (status == DW_OK)
            status = dw_header_append(header, phase, "deg", error);
    }
    return status;
}

enum dw_status smooth_response(const struct smooth_options *options, struct dw_error *error)
{
    struct dw_ladder *ladder = smooth_ladder(&options->load, error);
    const size_t all = ladder ? dw_ladder_outputs(ladder) : 1;
    struct response response = { .first = options->load.setup.all ? 0 : all - 1, .count = options->load.setup.all ? all : 1 };
    struct dw_header *header = ladder ? dw_header_new("frequency", "Hz", error) : NULL;
    struct dw_system *system = header ? dw_ladder_system(ladder, error) : NULL;
    enum dw_status status =
        system ? append_columns(header, options->common.command->made_by, ladder, &response, error) : error->status;
    response.header = header;
    response.encoding = output_encoding(&options->common, NULL);
    const struct dw_sweep sweep = { .first = options->band[0], .last = options->band[1],
                                    .accuracy = command_given(options->common.command, "accuracy") ? options->common.accuracy : LINES_OFF };
    if (status == DW_OK)
        status = dw_system_sweep(system, &sweep, write_point, &response, error);
    if (status == DW_OK)
        status = dw_writer_finish(response.writer, error);
    dw_writer_free(response.writer);
    dw_system_free(system);
    dw_header_free(header);
    dw_ladder_free(ladder);
    if (status == DW_NO)
        return option_error(error, "response", command_given(options->common.command, "response"), "%s", error->text);
    return status;
}
