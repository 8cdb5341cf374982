/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The load behind dw-loop's `--`. */
#include "loop_options.h"
#include <stdlib.h>
#include <string.h>

static const struct load_kind *const kinds[] = { &smooth_kind, &motor_kind, &coil_kind, &lamp_kind, &servo_kind, &actuator_kind };
enum { KINDS = sizeof kinds / sizeof *kinds };  /* NOLINT(bugprone-sizeof-expression): pointers are what is counted */

/* What the loads' own programs take, and a load in a loop does not. */
static const struct {
    const char *options, *why;
} elsewhere[] = {
    { " accuracy uniform lines csv binary text report format digits quiet ", "dw-loop has it: give it before --" },
    { " partial channel low-channel direction ", "a load in a loop reads no table: the duty drives it" },
    { " start ", "a loop begins at rest" },
};

/* The load's name before what was said of it. */
static enum dw_status of_load(const struct loop_load *load, struct dw_error *error)
{
    struct dw_error said = *error;
    return dw_error_set(error, said.status, 0, "%s: %s", load->program.name, said.text);
}

static enum dw_status find_kind(const char *name, struct loop_load *load, struct dw_error *error)
{
    char names[DW_ERROR_TEXT] = "";
    for (size_t i = 0; i < KINDS; i++) {
        if (!strcmp(kinds[i]->program.name, name))
            load->kind = kinds[i];
        strcat(names, i ? ", " : "");
        strcat(names, kinds[i]->program.name);
    }
    return load->kind ? DW_OK : dw_error_set(error, DW_BAD_USE, 0, "'%s' is no load; the loads are %s", name, names);
}

/* Options of tables by name, with who has them instead. */
static enum dw_status refuse_elsewhere(int count, char **word, struct dw_error *error)
{
    for (int i = 1; i < count; i++) {
        const int length = (int)strcspn(word[i], "=") - 2;
        char name[32];
        if (strncmp(word[i], "--", 2) || length < 1 || (size_t)length > sizeof name - 3)
            continue;
        snprintf(name, sizeof name, " %.*s ", length, word[i] + 2);
        for (size_t k = 0; k < sizeof elsewhere / sizeof *elsewhere; k++)
            if (strstr(elsewhere[k].options, name))
                return dw_error_set(error, DW_BAD_USE, 0, "--%.*s: %s", length, word[i] + 2, elsewhere[k].why);
    }
    return DW_OK;
}

static enum dw_status read_words(struct loop_load *load, int count, char **word, struct dw_error *error)
{
    enum dw_status status = refuse_elsewhere(count, word, error);
    if (status == DW_OK)
        status = command_parse(&load->command, &load->program, load->values, count, word, error);
    if (status == DW_BAD_USE)
        command_place(&load->command, error);
    if (status == DW_OK && load->command.word_count)
        status = dw_error_set(error, DW_BAD_USE, 0, "'%s': a load in a loop reads no table: the duty drives it", load->command.words[0]);
    return status == DW_OK || status == DW_NO_MEMORY ? status : of_load(load, error);
}

enum dw_status loop_load_read(const struct command *command, struct loop_load *load, struct dw_error *error)
{
    if (!command->word_count)
        return dw_error_set(error, DW_BAD_USE, 0, "the load is missing: give its command line behind --, such as -- dw-smooth --stage r=2k7,c=680n");
    const int count = (int)command->word_count;  /* they are the last of the line */
    char **word = command->argv + command->argc - count;
    if (strcmp(word[-1], "--") != 0 || word[0] != command->words[0])
        return dw_error_set(error, DW_BAD_USE, 0, "'%s': the load's command line stands behind --, as the last", command->words[0]);
    const enum dw_status status = find_kind(word[0], load, error);
    if (status != DW_OK)
        return status;
    for (int i = 1; i < count; i++)
        load->help = load->help || !strcmp(word[i], "--help");
    load->program = load->kind->program;
    load->program.words = "";
    load->values = malloc(load->program.size);
    if (!load->values)
        return dw_no_memory(error);
    memcpy(load->values, load->program.defaults, load->program.size);
    return load->help ? DW_OK : read_words(load, count, word, error);
}

void loop_load_free(struct loop_load *load)
{
    if (load->command.program)
        command_free(&load->command, load->values);
    free(load->values);
}

struct dw_plant *loop_load_plant(const struct loop_options *o, struct dw_error *error)
{
    const struct loop_load *load = &o->load;
    const enum load_pin pin = load->kind->pin ? load->kind->pin(load->values) : PIN_GATE;
    const struct load_drive drive = { .threshold = (o->plan.low + o->plan.high) / 2, .supply = o->plan.high, .direction = pin == PIN_BRIDGE,
                                      .accuracy = o->common.accuracy };
    struct dw_plant *plant = NULL;
    if (pin == PIN_GATE && o->law.duty_low < 0)
        dw_error_set(error, DW_BAD_USE, 0, "%s: it has one direction only, and --duty-range goes below 0: that takes a bridge, or a load whose "
                     "pin is a voltage", load->program.name);
    else if (pin != PIN_VOLTAGE && o->plan.average)
        dw_error_set(error, DW_BAD_USE, 0, "%s: its pin is a gate, whose mean says nothing: --carrier average is for loads that take it as a "
                     "voltage, such as dw-motor --drive direct", load->program.name);
    else if (!(plant = load->kind->plant(load->values, &drive, error))) {
        command_place(&load->command, error);
        of_load(load, error);
    }
    return plant;
}
