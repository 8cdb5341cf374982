/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The ladder as others see it: outputs, scales, a system, and the plant of its drives. */
#include "load/ladder_inner.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

struct dw_ladder *dw_ladder_new(const struct dw_ladder_plan *plan, struct dw_error *error)
{
    if (ladder_check(plan, error) != DW_OK)
        return NULL;
    struct dw_ladder *ladder = calloc(1, sizeof *ladder);
    if (!ladder) {
        dw_no_memory(error);
        return NULL;
    }
    if (ladder_connect(plan, &ladder->net, error) != DW_OK ||  /* unrun: passed-on */
        ladder_reduce(&ladder->net, false, &ladder->forms, error) != DW_OK) {
        free(ladder);
        return NULL;
    }
    return ladder;
}

void dw_ladder_free(struct dw_ladder *ladder)
{
    free(ladder);
}

size_t dw_ladder_states(const struct dw_ladder *ladder)
{
    return ladder->net.states;
}

size_t dw_ladder_outputs(const struct dw_ladder *ladder)
{
    return 2 * ladder->net.count;
}

void dw_ladder_output(const struct dw_ladder *ladder, size_t output, const char **name, const char **unit)
{
    static const char *const nodes[] = { "node1", "node2", "node3", "node4", "node5", "out" };
    static const char *const currents[] = { "current1", "current2", "current3", "current4", "current5", "current6" };
    const size_t last = 2 * ladder->net.count - 1, stage = output / 2;
    const bool voltage = output == last || (output % 2 == 0 && output + 1 < last);
    *unit = voltage ? "V" : "A";
    *name = output == last ? "out" : voltage ? nodes[stage] : currents[stage];
}

void dw_ladder_charged(const struct dw_ladder *ladder, double voltage, double *state)
{
    for (size_t i = 0; i < ladder->net.states; i++)
        state[i] = ladder->net.is_current[i] ? 0 : voltage;
}

double dw_ladder_energy(const struct dw_ladder *ladder, const double *state)
{
    double sum = 0;
    for (size_t i = 0; i < ladder->net.states; i++)
        sum += ladder->net.weight[i].hi * (state[i] * state[i]) / 2;
    return sum;
}

double dw_ladder_current_scale(const struct dw_ladder *ladder, double supply)
{
    const struct ladder_net *net = &ladder->net;
    double series = net->source, l = 0, c = 0;
    for (size_t k = 1; k <= net->count; k++) {
        series += net->stages[k].r;
        l += net->stages[k].l;
        c += net->stages[k].c + net->stages[k].cd;
    }
    const size_t pin_current = net->count > 1 ? 1 : 0;
    const double step = ladder->forms.output[pin_current][FORM - 1].hi;
    const double steady = net->load > 0 ? 1 / (series + net->load) : 0;
    double ringing = l > 0 ? sqrt(c / l) : 0;
    if (net->source + net->stages[1].r > 0)
        ringing = fmin(ringing, 1 / (net->source + net->stages[1].r));
    return fabs(supply) * fmax(step, fmax(steady, ringing));
}

/* Arrays that a struct dw_matrices or dw_mode points into. */
struct arrays {
    double a[LADDER_STATES * LADDER_STATES], a_low[LADDER_STATES * LADDER_STATES];
    double b[LADDER_STATES], b_low[LADDER_STATES];
    double c[LADDER_OUTPUTS * LADDER_STATES], d[LADDER_OUTPUTS];
};

static void fill_arrays(const struct ladder_net *net, const struct ladder_forms *forms, size_t first, size_t outputs,
                        struct arrays *arrays)
{
    const size_t n = net->states;
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < n; j++) {
            arrays->a[i * n + j] = forms->rate[i][j].hi;
            arrays->a_low[i * n + j] = forms->rate[i][j].lo;
        }
        arrays->b[i] = forms->rate[i][FORM - 1].hi;
        arrays->b_low[i] = forms->rate[i][FORM - 1].lo;
    }
    for (size_t i = 0; i < outputs; i++) {
        for (size_t j = 0; j < n; j++)
            arrays->c[i * n + j] = forms->output[first + i][j].hi;
        arrays->d[i] = forms->output[first + i][FORM - 1].hi;
    }
}

static void fill_weights(const struct ladder_net *net, double *weight)
{
    for (size_t i = 0; i < net->states; i++)
        weight[i] = net->weight[i].hi;
}

struct dw_system *dw_ladder_system(const struct dw_ladder *ladder, struct dw_error *error)
{
    const struct ladder_net *net = &ladder->net;
    struct arrays arrays;
    double weight[LADDER_STATES];
    fill_arrays(net, &ladder->forms, 0, 2 * net->count, &arrays);
    fill_weights(net, weight);
    return dw_system_new(&(struct dw_matrices){ .states = net->states, .inputs = 1, .outputs = 2 * net->count, .a = arrays.a,
                                                .b = arrays.b, .c = arrays.c, .d = arrays.d, .a_low = arrays.a_low,
                                                .b_low = arrays.b_low, .weight = weight },
                         error);
}

enum { ON, FREEWHEEL, BACKFEED, OFF, MODES };

/* What all modes of a one-switch drive share, and each mode's own arrays. */
struct one_switch {
    struct arrays arrays[MODES];
    double e[MODES][LADDER_STATES], e_low[MODES][LADDER_STATES], f[MODES][LADDER_OUTPUTS];
    double current[LADDER_STATES], pin[LADDER_STATES];
    double minus_current[LADDER_STATES], minus_pin[LADDER_STATES];
    double still[LADDER_STATES * LADDER_STATES];
    struct dw_guard guards[MODES][4];
    struct dw_mode modes[MODES];
};

/* A mode in which the pin stands at a voltage: b u becomes the constant e, d u becomes f. */
static void fixed_pin(const struct ladder_net *net, const struct ladder_forms *forms, size_t outputs, double voltage,
                      struct one_switch *drive, int mode)
{
    for (size_t i = 0; i < net->states; i++) {
        const struct doubled e = doubled_product(forms->rate[i][FORM - 1], doubled_of(voltage));
        drive->e[mode][i] = e.hi;
        drive->e_low[mode][i] = e.lo;
    }
    for (size_t i = 0; i < outputs; i++)
        drive->f[mode][i] = drive->arrays[mode].d[i] * voltage;
}

/* The reset into the mode off: no current in the coils before the first shunt. */
static void still_reset(const struct ladder_net *net, double *reset)
{
    const size_t n = net->states;
    memset(reset, 0, n * n * sizeof *reset);
    for (size_t i = 0; i < n; i++)
        reset[i * n + i] = 1;
    for (size_t k = 0; k <= net->head; k++)
        if (net->branches[k].coil >= 0)
            reset[(size_t)net->branches[k].coil * (n + 1)] = 0;
}

static void set_guards(const struct dw_ladder *ladder, const struct dw_ladder_setup *setup, struct one_switch *drive)
{
    static const double up = 1, down = -1;
    const struct ladder_net *net = &ladder->net;
    const struct doubled *current = ladder->forms.output[net->count > 1 ? 1 : 0];
    const double amperes = dw_ladder_current_scale(ladder, setup->supply), through = current[FORM - 1].hi;
    const double low = -setup->diode_drop, high = setup->supply + setup->diode_drop;
    for (size_t i = 0; i < net->states; i++) {
        drive->current[i] = current[i].hi;
        drive->minus_current[i] = -current[i].hi;
        drive->minus_pin[i] = -drive->pin[i];
    }
    const struct dw_guard opens = { .input = &up, .offset = -setup->threshold, .scale = setup->supply, .next = FREEWHEEL };
    const struct dw_guard closes = { .input = &down, .offset = setup->threshold, .scale = setup->supply, .next = ON };
    drive->guards[ON][0] = opens;
    drive->guards[FREEWHEEL][0] = drive->guards[BACKFEED][0] = drive->guards[OFF][0] = closes;
    /* a current that would turn round is first tried the other way: back-feed ends at once where it is just zero */
    drive->guards[FREEWHEEL][1] = (struct dw_guard){ .state = drive->current, .offset = through * low, .scale = amperes,
                                                     .next = BACKFEED };
    drive->guards[BACKFEED][1] = (struct dw_guard){ .state = drive->minus_current, .offset = -through * high,
                                                    .scale = amperes, .next = OFF, .reset = drive->still };
    drive->guards[OFF][1] = (struct dw_guard){ .state = drive->pin, .offset = -low, .scale = setup->supply,
                                               .next = FREEWHEEL };
    drive->guards[OFF][2] = (struct dw_guard){ .state = drive->minus_pin, .offset = high, .scale = setup->supply,
                                               .next = BACKFEED };
}

static void set_modes(const struct dw_ladder *ladder, const struct dw_ladder_setup *setup, size_t first, size_t outputs,
                      const struct ladder_forms *floating, struct one_switch *drive)
{
    static const char *const names[MODES] = { "switch on", "diode conducts", "current flows back", "both off" };
    static const size_t guards[MODES] = { 1, 2, 2, 3 };
    const double voltage[MODES] = { setup->supply, -setup->diode_drop, setup->supply + setup->diode_drop, 0 };
    for (int i = 0; i < MODES; i++) {
        struct arrays *arrays = drive->arrays + i;
        fill_arrays(&ladder->net, i == OFF ? floating : &ladder->forms, first, outputs, arrays);
        if (i != OFF)
            fixed_pin(&ladder->net, &ladder->forms, outputs, voltage[i], drive, i);
        drive->modes[i] = (struct dw_mode){ .name = names[i], .a = arrays->a, .a_low = arrays->a_low, .e = drive->e[i],
                                            .e_low = drive->e_low[i], .c = arrays->c, .f = drive->f[i],
                                            .guards = drive->guards[i], .guard_count = guards[i] };
    }
}

static struct dw_plant *one_switch_plant(const struct dw_ladder *ladder, const struct dw_ladder_setup *setup,
                                         struct dw_plant_plan *plan, size_t first, struct dw_error *error)
{
    const struct ladder_net *net = &ladder->net;
    for (size_t k = 1; k <= net->head; k++)
        if (net->stages[k].rp > 0) {
            dw_error_set(error, DW_BAD_USE, 0,
                         "stage %zu: rp: with one switch the coil behind the pin takes no damping branch beside it", k);
            return NULL;
        }
    struct ladder_forms *floating = malloc(sizeof *floating);
    struct one_switch *drive = calloc(1, sizeof *drive);
    struct dw_plant *plant = NULL;
    if (!floating || !drive) {
        dw_no_memory(error);
    } else if (ladder_reduce(net, true, floating, error) == DW_OK) {  /* unrun: passed-on */
        for (size_t i = 0; i < net->states; i++)
            drive->pin[i] = floating->pin[i].hi;
        still_reset(net, drive->still);
        set_guards(ladder, setup, drive);
        set_modes(ladder, setup, first, plan->modes.outputs, floating, drive);
        plan->modes.modes = drive->modes;
        plan->modes.mode_count = MODES;
        plant = dw_plant_new(plan, error);
    }
    free(floating);
    free(drive);
    return plant;
}

static struct dw_plant *push_pull_plant(const struct dw_ladder *ladder, struct dw_plant_plan *plan, size_t first, struct dw_error *error)
{
    struct arrays arrays;
    fill_arrays(&ladder->net, &ladder->forms, first, plan->modes.outputs, &arrays);
    const struct dw_mode mode = { .name = "push-pull", .a = arrays.a, .a_low = arrays.a_low, .b = arrays.b,
                                  .b_low = arrays.b_low, .c = arrays.c, .d = arrays.d };
    plan->modes.modes = &mode;
    plan->modes.mode_count = 1;
    return dw_plant_new(plan, error);
}

struct dw_plant *dw_ladder_plant_new(const struct dw_ladder *ladder, const struct dw_ladder_setup *setup,
                                     struct dw_error *error)
{
    const struct ladder_net *net = &ladder->net;
    const size_t outputs = setup->all ? 2 * net->count : 1, first = 2 * net->count - outputs;
    double weight[LADDER_STATES], rest[LADDER_STATES];
    struct dw_port port[LADDER_OUTPUTS];
    if (!(setup->supply > 0 && isfinite(setup->supply)) || !(setup->diode_drop >= 0 && isfinite(setup->diode_drop))) {
        dw_error_member(error, setup->supply > 0 && isfinite(setup->supply) ? "diode_drop" : "supply",
                        "supply %g V must be above zero, diode drop %g V not below", setup->supply, setup->diode_drop);
        return NULL;
    }
    struct dw_ladder *copy = malloc(sizeof *copy);
    if (!copy) {
        dw_no_memory(error);
        return NULL;
    }
    *copy = *ladder;
    const double amperes = dw_ladder_current_scale(ladder, setup->supply);
    fill_weights(net, weight);
    dw_ladder_charged(ladder, setup->initial, rest);
    for (size_t i = 0; i < outputs; i++) {
        port[i].initial = i + 1 < outputs ? NAN : setup->initial;
        dw_ladder_output(ladder, first + i, &port[i].name, &port[i].unit);
        port[i].scale = port[i].unit[0] == 'V' || amperes == 0 ? setup->supply : amperes;  /* unrun: implied */
    }
    struct dw_plant_plan plan = { .modes = { .states = net->states, .inputs = 1, .outputs = outputs, .weight = weight },
                                  .ports = port, .rest = rest, .load = copy, .release = free };
    struct dw_plant *plant = setup->drive == DW_ONE_SWITCH ? one_switch_plant(ladder, setup, &plan, first, error)
                                                           : push_pull_plant(ladder, &plan, first, error);
    if (!plant)
        free(copy);
    return plant;
}
