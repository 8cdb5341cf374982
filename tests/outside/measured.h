/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a user measures in the table that a load writes at default settings. */
#ifndef TESTS_OUTSIDE_MEASURED_H
#define TESTS_OUTSIDE_MEASURED_H

#include "suite.h"
#include "table/fixture.h"
#include <dutywright/follow.h>
#include <dutywright/measure.h>
#include <stdio.h>
#include <stdlib.h>

static const double TABLE_ACCURACY = 2e-8;  /* the default of --accuracy */

/* So many pulses of 5 V from rest, through the plant's input `pin`, as text; the meter has read all of it: channel 0 is the pin, the
 * others are the plant's outputs. */
static struct dw_meter *measured_in_table(struct dw_plant *plant, size_t pin, int periods, double period, double duty)
{
    struct dw_error error = { .status = DW_OK };
    char text[2000], *at = text + sprintf(text, "# wave-table 1\n# levels: 0 5\n# columns: time[s] pin[V]\n");
    for (int lap = 0; lap < periods; lap++)
        for (int row = 0; row < 4; row++)
            at += sprintf(at, "%.17g %d\n", (lap + (row == 0 ? 0 : row < 3 ? duty : 1)) * period, row < 2 ? 5 : 0);
    sprintf(at, "# end: %d\n", 4 * periods);
    struct dw_follow_plan plan = { .plant = plant, .accuracy = TABLE_ACCURACY, .descriptor = memory_file(), .encoding = DW_TEXT };
    plan.input_column[pin] = 1;
    struct dw_reader *reader = reader_of_text(text, &error);
    ck_assert_msg(reader != NULL, "%s", error.text);
    succeeds(dw_follow(&plan, reader, NULL, &error), error);
    dw_reader_close(reader);
    struct bytes out = take_bytes(plan.descriptor);
    struct whole table = read_whole(out.at, out.size, false, 1000);
    reader = reader_of(out.at, out.size, false, &error);
    struct dw_meter *meter = dw_meter_new(dw_reader_header(reader), &(struct dw_meter_options){ .span = { .kind = DW_SPAN_ALL } }, &error);
    ck_assert_msg(meter != NULL, "%s", error.text);
    succeeds(dw_meter_rows(meter, table.values, table.rows, &error), error);
    succeeds(dw_meter_finish(meter, &error), error);
    dw_reader_close(reader);
    whole_free(&table);
    free(out.at);
    return meter;
}

#endif
