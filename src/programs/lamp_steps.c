/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Steps that look even: a table of duties, and the counter that can tell them apart. */
#include "lamp_options.h"
#include <unistd.h>

/* How the counter counts 2^bits - 1 a period, as options of dw-pwm. */
static void spell(char *out, size_t size, const struct dw_steps_plan *plan)
{
    char clock[DW_NUMBER_SIZE];
    dw_number_print(clock, plan->clock);
    snprintf(out, size, "--clock %s --prescale %llu --count-to %llu --counting up", clock, plan->prescale, (1ULL << plan->bits) - 2);
}

/* Codes that repeat, and what would do. */
static void note_repeated(const struct lamp_options *o, const struct dw_steps_plan *plan)
{
    struct dw_steps_plan better = *plan;
    const size_t repeated = dw_steps_repeated(plan);
    char enough[400] = "", frequency[64], spelling[200];
    if (!repeated)
        return;
    if (dw_steps_refine(&better)) {
        snprintf(enough, sizeof enough, ": the dark end needs %d bits", better.bits);
        if (plan->clock > 0) {
            dw_quantity_print(frequency, sizeof frequency, dw_steps_frequency(&better), "Hz", 4);
            spell(spelling, sizeof spelling, &better);
            snprintf(enough, sizeof enough, ": the dark end needs %d bits, which this clock counts at %s: %s", better.bits, frequency, spelling);
        }
    }
    command_note(o->common.command, "%zu of %zu steps repeat the code of the one before%s", repeated, plan->count, enough);
}

static enum dw_status write_steps(const struct lamp_options *o, const struct dw_steps_plan *plan, struct dw_writer *writer,
                                  struct dw_error *error)
{
    enum dw_status status = DW_OK;
    for (size_t k = 0; !status && k < plan->count; k++) {
        const struct dw_step step = dw_steps_step(plan, k);
        double row[] = { (double)k * o->step_time, (double)step.code / (ldexp(1, plan->bits) - 1), step.lightness,
                         (double)step.code };
        status = dw_writer_row(writer, row, error);
        row[0] = (double)(k + 1) * o->step_time;
        if (!status)
            status = dw_writer_row(writer, row, error);
    }
    return status ? status : dw_writer_finish(writer, error);
}

static enum dw_status write_table(const struct lamp_options *o, const struct dw_steps_plan *plan, struct dw_error *error)
{
    static const char *const names[] = { "duty", "lightness", "code" };
    struct dw_header *header = dw_header_new("time", "s", error);
    enum dw_status status = header ? dw_header_add(header, "made-by", o->common.command->made_by, error) : error->status;
    for (size_t i = 0; !status && i < sizeof names / sizeof names[0]; i++)
        status = dw_header_append(header, names[i], "1", error);
    struct dw_writer *writer = status ? NULL : dw_writer_open(STDOUT_FILENO, header, output_encoding(&o->common, NULL), error);
    if (!status)
        status = writer ? write_steps(o, plan, writer, error) : error->status;
    dw_writer_free(writer);
    dw_header_free(header);
    return status;
}

/* The counter with the fewest bits that do. */
static enum dw_status print_options(const struct dw_steps_plan *plan, struct dw_error *error)
{
    struct dw_steps_plan enough = *plan;
    char spelling[200];
    if (!dw_steps_refine(&enough))
        return dw_error_set(error, DW_NO, 0, "no counter of up to %d bits has a code for each of %zu steps", (int)DW_STEPS_BITS_MOST,
                            plan->count);
    spell(spelling, sizeof spelling, &enough);
    puts(spelling);
    return DW_OK;
}

enum dw_status lamp_steps(const struct lamp_options *o, struct dw_error *error)
{
    struct dw_lamp_plan lamp = o->load.plan;
    struct dw_steps_plan plan = o->steps;
    lamp.threshold = 0;
    plan.lamp = &lamp;
    const enum dw_status status = o->print ? print_options(&plan, error) : write_table(o, &plan, error);
    if (!status && !o->print)
        note_repeated(o, &plan);
    return status;
}
