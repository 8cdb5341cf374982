/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "drive.h"
#include <dutywright/value.h>
#include <math.h>
#include <string.h>

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

/* The channels that options name, or that are called so. */
static enum dw_status find_others(const struct common_options *common, const struct motor_channels *channels, const struct dw_reader *reader,
                                  struct motor_inputs *inputs, struct dw_error *error)
{
    const enum dw_motor_drive way = inputs->plan->drive;
    const struct channel_wish low = { "low-channel", channels->low, NULL }, direction = { "direction", channels->direction, NULL };
    size_t *const column = inputs->column;
    enum dw_status status = channels->low ? channel_find(common->command, reader, &low, &column[DW_MOTOR_LOW], error) : DW_OK;
    if (!status && channels->direction)
        status = channel_find(common->command, reader, &direction, &column[DW_MOTOR_DIRECTION], error);
    if (!status && (way == DW_DRIVE_BRIDGE_SLOW || way == DW_DRIVE_BRIDGE_FAST) && !channels->direction)
        column[DW_MOTOR_DIRECTION] = dw_header_find(dw_reader_header(reader), "direction", NULL);
    if (!status && channels->low && column[DW_MOTOR_LOW] == column[DW_MOTOR_PIN])
        return dw_error_set(error, DW_BAD_USE, 0, "--low-channel: '%s' is the gate of the other transistor: both on short the supply",
                            channels->low);
    return status;
}

enum dw_status motor_inputs_find(const struct common_options *common, const struct motor_channels *channels, const struct dw_reader *reader,
                                 struct motor_inputs *inputs, struct dw_error *error)
{
    const struct channel_wish wish = { "channel", common->channel, "V" };
    struct gate gate = { 0, NAN };
    enum dw_status status = wave_needed(reader, error);
    if (!status)
        status = gate_find(common->command, reader, &wish, inputs->plan->drive == DW_DRIVE_DIRECT ? 0 : inputs->plan->threshold, &gate, error);
    if (status)
        return status;
    inputs->column[DW_MOTOR_PIN] = gate.column;
    status = find_others(common, channels, reader, inputs, error);
    inputs->drive = (struct load_drive){ .threshold = gate.threshold, .low_gate = inputs->column[DW_MOTOR_LOW] != 0,
                                         .direction = inputs->column[DW_MOTOR_DIRECTION] != 0, .accuracy = common->accuracy };
    return status;
}

/* Who says what is found, and of what load. */
struct teller {
    struct command *command;
    const char *load;
};

/* Between rows both gates are straight lines, and a row stands where one crosses the threshold: the middle decides. */
void gates_row(struct gates_seen *seen, const struct dw_run_row *row)
{
    const double high = row->input[DW_MOTOR_PIN], low = row->input[DW_MOTOR_LOW], length = seen->any ? row->time - seen->time : 0;
    if (seen->low_gate && length > 0 && (seen->high + high) / 2 > seen->threshold && (seen->low + low) / 2 > seen->threshold) {
        if (seen->shorted == 0)
            seen->first = seen->time;
        seen->shorted += length;
    }
    seen->high = high;
    seen->low = low;
    seen->time = row->time;
    seen->any = true;
}

void gates_caution(struct command *command, const struct gates_seen *seen)
{
    if (seen->shorted > 0)
        command_caution(command, "both transistors of a leg are on for %.3g s, first at %.6g s: they short the supply, which is not "
                        "counted here; dw-pwm --dead-time keeps them apart", seen->shorted, seen->first);
}

enum dw_status thermal_read_pair(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct thermal_network *network = (struct thermal_network *)((char *)options + option->offset);
    struct option_key keys[] = { { "r", DW_THERMAL_RESISTANCE, NAN, NULL }, { "tau", DW_TIME, NAN, NULL },
                                 { "c", DW_HEAT_CAPACITY, NAN, NULL } };
    if (network->count == DW_THERMAL_PAIRS)
        return option_error(error, option->name, argument, "at most %d pairs", DW_THERMAL_PAIRS);
    const enum dw_status status = option_keys(option->name, argument, keys, 3, error);
    if (status != DW_OK)
        return status;
    const double r = keys[0].value, tau = keys[1].value, c = keys[2].value;
    if (isnan(r))
        return option_error(error, option->name, argument, "r is missing");
    if (!(r > 0))
        return option_error(error, option->name, argument, "r must be above zero");
    if (tau < 0 || c < 0)
        return option_error(error, option->name, argument, "%s must not be below zero", tau < 0 ? "tau" : "c");
    if (isnan(tau) == isnan(c))
        return option_error(error, option->name, argument,
                            isnan(c) ? "give tau or c" : "tau and c both set the time constant; give one");
    network->pairs[network->count++] = (struct dw_thermal_pair){ r, isnan(tau) ? r * c : tau };
    return DW_OK;
}

static void tell(void *context, const struct dw_follow_seen *seen)
{
    const struct teller *t = context;
    if (seen->swings)
        command_note(t->command, "the load swings on and on: %llu extremes in the first %llu rows read, each of them a row, and rows "
                     "between; --uniform RATE writes fewer", seen->extremes, seen->swings);
    else if (seen->steady.lasting && t->load)
        command_caution(t->command, "nothing damps this %s: the steady wave is shown, but one that begins elsewhere never comes to it",
                        t->load);
}

enum dw_status follow_table(const struct dw_follow_plan *plan, const struct common_options *common, const char *load,
                            struct dw_reader *reader, struct dw_follow_seen *seen, struct dw_error *error)
{
    struct teller teller = { common->command, load };
    struct dw_follow_plan all = *plan;
    all.accuracy = common->accuracy;
    all.uniform = common->uniform;
    all.lines = lines_wanted(common);
    all.encoding = output_encoding(common, reader);
    all.made_by = common->command->made_by;
    all.found = tell;
    all.found_context = &teller;
    const enum dw_status status = dw_follow(&all, reader, seen, error);
    /* no steady state, and endless switching, are not an answer, but a table that the load cannot work on */
    return status == DW_NO ? (error->status = DW_BAD_INPUT) : status;
}
