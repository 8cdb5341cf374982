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

/* Who says what is found, and of what load. */
struct teller {
    struct command *command;
    const char *load;
};

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
