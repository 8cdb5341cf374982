/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A supply that gives way, as an option of loads, and what is found of it. */
#include "load_supply.h"
#include <dutywright/cubic.h>

/* A key's value that is not below zero; NaN where it was not given. */
static enum dw_status read_keys(const struct option_spec *option, const char *argument, struct option_key *keys, size_t count,
                                struct dw_error *error)
{
    const enum dw_status status = option_keys(option->name, argument, keys, count, error);
    for (size_t i = 0; !status && i < count; i++) {
        if (isnan(keys[i].value))
            return option_error(error, option->name, argument, "%s is missing", keys[i].name);
        if (!(keys[i].value >= 0))
            return option_error(error, option->name, argument, "%s: must not be below zero", keys[i].name);
    }
    return status;
}

static struct supply_load *of(const struct option_spec *option, void *options)
{
    return (struct supply_load *)((char *)options + option->offset);
}

enum dw_status supply_read_line(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct option_key keys[] = { { "r", DW_RESISTANCE, 0, NULL }, { "l", DW_INDUCTANCE, 0, NULL } };
    const enum dw_status status = read_keys(option, argument, keys, 2, error);
    of(option, options)->parts.line_resistance = keys[0].value;
    of(option, options)->parts.line_inductance = keys[1].value;
    return status;
}

enum dw_status supply_read_bulk(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct option_key keys[] = { { "c", DW_CAPACITANCE, NAN, NULL }, { "esr", DW_RESISTANCE, 0, NULL } };
    const enum dw_status status = read_keys(option, argument, keys, 2, error);
    if (!status && !(keys[0].value > 0))
        return option_error(error, option->name, argument, "c: must be above zero");
    of(option, options)->parts.bulk = keys[0].value;
    of(option, options)->parts.bulk_resistance = keys[1].value;
    return status;
}

enum dw_status supply_read_battery(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct option_key keys[] = { { "volts", DW_VOLTAGE, NAN, NULL }, { "r0", DW_RESISTANCE, 0, NULL }, { "r1", DW_RESISTANCE, 0, NULL },
                                 { "c1", DW_CAPACITANCE, 0, NULL } };
    struct supply_load *supply = of(option, options);
    const enum dw_status status = read_keys(option, argument, keys, 4, error);
    if (!status && !(keys[0].value > 0))
        return option_error(error, option->name, argument, "volts: must be above zero");
    supply->battery = keys[0].value;
    supply->parts.inner_resistance = keys[1].value;
    supply->parts.slow_resistance = keys[2].value;
    supply->parts.slow_capacitance = keys[3].value;
    return status;
}

/* ---- what is found ---- */

enum { TIME, VOLTS, VOLTS_SLOPE, BULK, BULK_SLOPE, COLUMNS };

/* The meter of the last period, from rows as a table has them. */
static struct dw_meter *meter_of(const struct supply_seen *seen, const struct common_options *common, const struct dw_reader *reader,
                                 struct dw_error *error)
{
    static const char *const names[] = { "supply", "bulk-current" }, *const units[] = { "V", "A" };
    const struct dw_facts *facts = dw_header_facts(dw_reader_header(reader));
    const double swing = dw_swing(common->accuracy);
    struct dw_header *header = dw_header_new("time", "s", error);
    enum dw_status status = header ? DW_OK : error->status;
    if (!status && facts->period > 0)
        status = dw_header_set_number(header, "period", facts->period, error);
    if (!status && facts->carrier_period > 0)
        status = dw_header_set_number(header, "carrier-period", facts->carrier_period, error);
    if (!status && facts->origin != 0)
        status = dw_header_set_number(header, "origin", facts->origin, error);
    for (size_t i = 0; !status && i < 2; i++) {
        status = dw_header_append(header, names[i], units[i], error);
        if (!status)
            status = dw_header_set_accuracy(header, VOLTS + 2 * i, common->accuracy * seen->scale[i], swing, error);
        if (!status)
            status = dw_header_append_slope(header, error);
    }
    struct dw_meter *meter = status ? NULL : dw_meter_new(header, NULL, error);
    dw_header_free(header);
    return meter;
}

enum dw_status supply_begin(struct supply_seen *seen, const struct supply_load *supply, const struct dw_plant *plant,
                            const struct common_options *common, const struct dw_reader *reported, struct dw_error *error)
{
    const size_t outputs = dw_plant_outputs(plant), bulk = dw_plant_output(plant, "bulk-current");
    *seen = (struct supply_seen){ .volts = dw_plant_output(plant, "supply"), .bulk = bulk, .given = !dw_supply_ideal(&supply->parts),
                                  .least = supply->least, .lowest = INFINITY, .highest = -INFINITY };
    if (!seen->given)
        return DW_OK;
    seen->open = seen->scale[0] = dw_plant_port(plant, seen->volts).scale;
    seen->has_bulk = bulk < outputs;
    seen->scale[1] = seen->has_bulk ? dw_plant_port(plant, bulk).scale : 1;
    return !reported || (seen->meter = meter_of(seen, common, reported, error)) ? DW_OK : error->status;
}

/* s, of a piece below a voltage: where between two rows it crosses. */
static double below(const struct dw_cubic *cubic, double level, double length)
{
    const double first = cubic->c[0] - level, last = dw_cubic_at(cubic, 1) - level;
    double from = 0, to = 1;
    if ((first < 0) == (last < 0))
        return first < 0 ? length : 0;
    for (double middle = 0.5; from < middle && middle < to; middle = (from + to) / 2)
        *((dw_cubic_at(cubic, middle) < level) == (first < 0) ? &from : &to) = middle;
    return length * (first < 0 ? from : 1 - from);
}

enum dw_status supply_row(struct supply_seen *seen, const struct dw_run_row *row, struct dw_error *error)
{
    if (!seen->given)
        return DW_OK;
    const double volts = row->output[seen->volts], slope = row->slope[seen->volts], length = seen->any ? row->time - seen->time : 0;
    if (volts < seen->lowest)
        seen->lowest_at = row->time;
    seen->lowest = fmin(seen->lowest, volts);
    seen->highest = fmax(seen->highest, volts);
    if (length > 0 && seen->least > 0) {
        const struct dw_cubic between = dw_cubic_through(seen->before, length * seen->slope, volts, length * slope);
        const double under = below(&between, seen->least, length);
        if (under > 0 && !(seen->under > 0))
            seen->under_at = seen->before < seen->least ? seen->time : row->time - under;
        seen->under += under;
    }
    seen->any = true;
    seen->time = row->time;
    seen->before = volts;
    seen->slope = slope;
    if (!seen->meter)
        return DW_OK;
    const double bulk = seen->has_bulk ? row->output[seen->bulk] : 0, bulk_slope = seen->has_bulk ? row->slope[seen->bulk] : 0;
    return dw_meter_rows(seen->meter, (const double[COLUMNS]){ row->time, volts, slope, bulk, bulk_slope }, 1, error);
}

enum dw_status supply_findings(struct supply_seen *seen, struct report *report, struct dw_error *error)
{
    if (!seen->given)
        return DW_OK;
    enum dw_status status = dw_meter_finish(seen->meter, error);
    if (status)
        return status;
    const struct dw_result ripple = dw_meter_result(seen->meter, 0, DW_MEASURE_RIPPLE), mean = dw_meter_result(seen->meter, 0, DW_MEASURE_MEAN);
    const struct dw_result bulk = dw_meter_result(seen->meter, 1, DW_MEASURE_RMS);
    const struct offered rows[] = {
        { true, "supply", "mean", report_within(mean.value, mean.bound), "V" },
        { true, "supply", "ripple", report_within(ripple.value, ripple.bound), "V" },
        { true, "supply", "lowest", report_within(seen->lowest, mean.bound), "V" },
        { true, "supply", "sag", report_within(fmax(seen->open - seen->lowest, 0), mean.bound), "V" },
        { seen->highest > seen->open, "supply", "rise", report_within(seen->highest - seen->open, mean.bound), "V" },
        { seen->has_bulk, "supply", "bulk-rms", report_within(bulk.value, bulk.bound), "A" },
        { seen->least > 0, "supply", "brown-out", report_number(seen->under), "s" },
    };
    return report_wanted(report, rows, sizeof rows / sizeof rows[0], error);
}

enum dw_status supply_report(struct supply_seen *seen, const struct common_options *common, struct dw_error *error)
{
    struct report *report = report_findings(error);
    enum dw_status status = report ? supply_findings(seen, report, error) : error->status;
    return report_out(report, common, status, error);
}

enum dw_status supply_end(struct supply_seen *seen, struct command *command, bool judged, struct dw_error *error)
{
    static const double LIFTED = 1.05;  /* times its voltage: worth a caution; common practice, no source */
    char lowest[64], least[64], lasts[64], at[64], high[64];
    dw_meter_free(seen->meter);
    seen->meter = NULL;
    if (!seen->given || !seen->any || !command)
        return DW_OK;
    if (seen->highest > LIFTED * seen->open)
        command_caution(command, "the load feeds back and lifts the supply to %s: a supply that cannot take current needs something that does, "
                        "and all that hangs on it must stand that voltage", in_words(high, seen->highest, "V", 3));
    if (!(seen->under > 0))
        return DW_OK;
    in_words(lowest, seen->lowest, "V", 3);
    in_words(least, seen->least, "V", 3);
    in_words(lasts, seen->under, "s", 3);
    in_words(at, seen->under_at, "s", 3);
    if (judged)
        return dw_error_set(error, DW_NO, 0, "brown-out: the supply is below %s for %s, first at %s, and falls to %s", least, lasts, at, lowest);
    command_note(command, "brown-out: the supply is below %s for %s, first at %s, and falls to %s", least, lasts, at, lowest);
    return DW_OK;
}
