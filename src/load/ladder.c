/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The ladder as others see it: outputs, scales, a system, and the plant of its drives. */
#include "load/ladder_inner.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

struct dw_ladder *dw_ladder_new(const struct dw_ladder_plan *plan, struct dw_error *error)
{
    if (dwi_ladder_check(plan, error) != DW_OK)
        return NULL;
    struct dw_ladder *ladder = calloc(1, sizeof *ladder);
    if (!ladder) {
        dw_no_memory(error);
        return NULL;
    }
    if (dwi_ladder_connect(plan, &ladder->net, error) != DW_OK ||  /* unrun: passed-on */
        dwi_ladder_reduce(&ladder->net, false, &ladder->forms, error) != DW_OK) {
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
    const double step = ladder->forms.output[pin_current][PIN].hi;
    const double steady = net->load > 0 ? 1 / (series + net->load) : 0;
    double ringing = l > 0 ? sqrt(c / l) : 0;
    if (net->source + net->stages[1].r > 0)
        ringing = fmin(ringing, 1 / (net->source + net->stages[1].r));
    return fabs(supply) * fmax(step, fmax(steady, ringing));
}

static void fill_arrays(const struct ladder_net *net, const struct ladder_forms *forms, size_t first, size_t outputs,
                        struct build *build)
{
    const size_t n = net->states, all = build->states;
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < n; j++) {
            build->a[i * all + j] = forms->rate[i][j].hi;
            build->a_low[i * all + j] = forms->rate[i][j].lo;
        }
        for (size_t j = 0; j < build->inputs; j++) {
            build->b[i * build->inputs + j] = forms->rate[i][PIN + j].hi;
            build->b_low[i * build->inputs + j] = forms->rate[i][PIN + j].lo;
        }
    }
    for (size_t i = 0; i < outputs; i++) {
        for (size_t j = 0; j < n; j++)
            build->c[i * all + j] = forms->output[first + i][j].hi;
        for (size_t j = 0; j < build->inputs; j++)
            build->d[i * build->inputs + j] = forms->output[first + i][PIN + j].hi;
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
    struct build build;
    double weight[LADDER_STATES];
    dwi_build_begin(&build, net->states, 1);
    fill_arrays(net, &ladder->forms, 0, 2 * net->count, &build);
    fill_weights(net, weight);
    return dw_system_new(&(struct dw_matrices){ .states = net->states, .inputs = 1, .outputs = 2 * net->count, .a = build.a,
                                                .b = build.b, .c = build.c, .d = build.d, .a_low = build.a_low,
                                                .b_low = build.b_low, .weight = weight },
                         error);
}

_Static_assert((int)LADDER_STATES + SUPPLY_STATES <= (int)BUILD_STATES && (int)LADDER_OUTPUTS + SUPPLY_PORTS <= (int)BUILD_OUTPUTS,
               "a ladder fits the builder");

enum { ON, OFF, FREEWHEEL, BACKFEED, PATHS };

/* A ladder behind its drive. */
struct driven {
    struct dw_ladder ladder;  /* first: the plant's load */
    size_t first, outputs;    /* of the ladder's, those given */
    size_t inputs;
    bool all;
    /* of one switch */
    struct ladder_forms floating;
    struct path path[PATHS];
    struct paths paths;
    struct load_source source;
    double current[BUILD_STATES], pin[BUILD_STATES], still[BUILD_STATES * BUILD_STATES];
    struct build build;       /* of the mode made last */
};

static void make_push_pull(void *of, size_t mode, struct dw_mode *out)
{
    struct driven *driven = of;
    (void)mode;
    dwi_build_begin(&driven->build, driven->ladder.net.states, driven->inputs);
    fill_arrays(&driven->ladder.net, &driven->ladder.forms, driven->first, driven->outputs, &driven->build);
    *out = dwi_build_end(&driven->build, "push-pull");
}

/* The pin is no input: it stands at a voltage, so that b u goes into a and the constant e, d u into c and f, or floats. */
static void fix_pin(struct build *build, size_t outputs, const struct row *voltage)
{
    const size_t n = build->states, m = build->inputs;
    for (size_t i = 0; i < n; i++) {
        double *b = &build->b[i * m], *b_low = &build->b_low[i * m];
        const struct doubled e = doubled_product((struct doubled){ *b, *b_low }, doubled_of(voltage->alone));
        for (size_t j = 0; j < n; j++)
            build->a[i * n + j] += *b * voltage->state[j];
        build->e[i] += e.hi;
        build->e_low[i] += e.lo;
        *b = *b_low = 0;
    }
    for (size_t i = 0; i < outputs; i++) {
        double *d = &build->d[i * m];
        for (size_t j = 0; j < n; j++)
            build->c[i * n + j] += *d * voltage->state[j];
        build->f[i] = *d * voltage->alone;
        *d = 0;
    }
}

/* The supply's outputs before the last one. */
static void insert_outputs(struct driven *driven, bool all, const struct supplied *supplied)
{
    struct build *b = &driven->build;
    struct dw_port port[SUPPLY_PORTS];
    struct row value[SUPPLY_PORTS];
    const size_t extras = dwi_supply_outputs(&driven->source, all, supplied, port, value), n = b->states, last = driven->outputs - 1;
    memmove(b->c + (last + extras) * n, b->c + last * n, n * sizeof *b->c);
    memmove(b->d + (last + extras) * b->inputs, b->d + last * b->inputs, b->inputs * sizeof *b->d);
    b->f[last + extras] = b->f[last];
    for (size_t i = 0; i < extras; i++) {
        memcpy(b->c + (last + i) * n, value[i].state, n * sizeof *b->c);
        memset(b->d + (last + i) * b->inputs, 0, b->inputs * sizeof *b->d);
        b->f[last + i] = value[i].alone;
    }
}

static void make_one_switch(void *of, size_t mode, struct dw_mode *out)
{
    struct driven *driven = of;
    struct build *build = &driven->build;
    struct paths *p = &driven->paths;
    const size_t path = mode % PATHS;
    const double share = driven->path[path].share;
    struct row drawn = { .alone = share * p->through * driven->path[path].own };
    for (size_t i = 0; i < driven->ladder.net.states; i++)
        drawn.state[i] = share * p->current[i];
    p->base = mode - path;
    dwi_build_begin(build, driven->source.states, driven->inputs);
    const struct supplied supplied = dwi_supply_join(&driven->source, build, p->base > 0, &drawn, share * share * p->through,
                                                     path + PATHS - p->base);
    p->volts = supplied.volts;
    fill_arrays(&driven->ladder.net, path == OFF ? &driven->floating : &driven->ladder.forms, driven->first, driven->outputs, build);
    const struct row nothing = { .alone = 0 }, pin = dwi_path_volts(p, path);
    fix_pin(build, driven->outputs, path == OFF ? &nothing : &pin);
    insert_outputs(driven, driven->all, &supplied);
    dwi_path_guards(p, build, path, 0);
    *out = dwi_build_end(build, driven->path[path].name);
}

/* The reset into the mode off, of so many states: no current in the coils before the first shunt. */
static void still_reset(const struct ladder_net *net, size_t n, double *reset)
{
    for (size_t i = 0; i < n; i++)
        reset[i * n + i] = 1;
    for (size_t k = 0; k <= net->head; k++)
        if (net->branches[k].coil >= 0)
            reset[(size_t)net->branches[k].coil * (n + 1)] = 0;
}

static enum dw_status one_switch(struct driven *driven, const struct dw_ladder_setup *setup, struct dw_error *error)
{
    const struct path path[PATHS] = {
        [ON] = { .name = "switch on", .high = GATE_ON, .low = GATE_ANY, .conduction = CONDUCTS_BOTH, .share = 1 },
        [OFF] = { .name = "both off", .high = GATE_OFF, .low = GATE_ANY, .conduction = BLOCKS },
        [FREEWHEEL] = { .name = "diode conducts", .high = GATE_OFF, .low = GATE_ANY, .conduction = CONDUCTS_FORWARD,
                        .own = -setup->diode_drop },
        [BACKFEED] = { .name = "current flows back", .high = GATE_OFF, .low = GATE_ANY, .conduction = CONDUCTS_BACK, .share = 1,
                       .own = setup->diode_drop }
    };
    const struct ladder_net *net = &driven->ladder.net;
    const struct doubled *current = driven->ladder.forms.output[net->count > 1 ? 1 : 0];
    for (size_t k = 1; k <= net->head; k++)
        if (net->stages[k].rp > 0)
            return dw_error_set(error, DW_BAD_USE, 0,
                                "stage %zu: rp: with one switch the coil behind the pin takes no damping branch beside it", k);
    if (setup->drawn && current[DRAWN].hi != 0)
        return dw_error_member(error, "drawn", "a current drawn behind one switch needs a coil in the first stage, or no esr in the last");
    const enum dw_status status = dwi_ladder_reduce(net, true, &driven->floating, error);
    memcpy(driven->path, path, sizeof path);
    for (size_t i = 0; i < net->states; i++) {
        driven->current[i] = current[i].hi;
        driven->pin[i] = driven->floating.pin[i].hi;
    }
    still_reset(net, driven->source.states, driven->still);
    driven->paths = (struct paths){
        .path = driven->path, .count = PATHS, .each = 1, .supply = setup->supply, .threshold = setup->threshold,
        .gate_scale = setup->supply, .amperes = dw_ladder_current_scale(&driven->ladder, setup->supply),
        .current = driven->current, .emf = driven->pin, .emf_drawn = driven->floating.pin[DRAWN].hi,
        .drawn = setup->drawn ? DW_LADDER_DRAWN : 0, .through = current[PIN].hi, .no_current = driven->still
    };
    return status;
}

static enum dw_status check_setup(const struct ladder_net *net, const struct dw_ladder_setup *setup, struct dw_error *error)
{
    if (setup->drawn && !(net->stages[net->count].c > 0))
        return dw_error_member(error, "drawn", "a current drawn at the end needs a capacitor there: give the last stage c");
    const bool powered = setup->supply > 0 && isfinite(setup->supply);
    if (!powered || !(setup->diode_drop >= 0 && isfinite(setup->diode_drop)))
        return dw_error_member(error, powered ? "diode_drop" : "supply", "supply %g V must be above zero, diode drop %g V not below",
                               setup->supply, setup->diode_drop);
    if (setup->drive != DW_PUSH_PULL)
        return dw_supply_check(&setup->source, error);
    return dw_supply_ideal(&setup->source) ? DW_OK : dw_error_member(error, "drive",
        "a supply that gives way goes with one switch: a push-pull pin gives its voltage as it stands");
}

static struct driven *driven_new(const struct dw_ladder *ladder, const struct dw_ladder_setup *setup, struct dw_error *error)
{
    const struct ladder_net *net = &ladder->net;
    struct driven *driven = calloc(1, sizeof *driven);
    if (!driven) {
        dw_no_memory(error);
        return NULL;
    }
    driven->ladder = *ladder;
    driven->inputs = setup->drawn ? DW_LADDER_INPUTS : DW_LADDER_DRAWN;
    dwi_supply_place(&driven->source, &setup->source, setup->supply, dw_ladder_current_scale(ladder, setup->supply), net->states);
    driven->outputs = setup->all ? 2 * net->count : 1;
    driven->first = 2 * net->count - driven->outputs;
    driven->all = setup->all;
    if (setup->drive == DW_PUSH_PULL || one_switch(driven, setup, error) == DW_OK)
        return driven;
    free(driven);
    return NULL;
}

struct dw_plant *dw_ladder_plant_new(const struct dw_ladder *ladder, const struct dw_ladder_setup *setup,
                                     struct dw_error *error)
{
    const bool push_pull = setup->drive == DW_PUSH_PULL;
    const double amperes = dw_ladder_current_scale(ladder, setup->supply);
    double weight[BUILD_STATES], rest[BUILD_STATES] = { 0 };
    struct dw_port port[BUILD_OUTPUTS];
    struct driven *driven = check_setup(&ladder->net, setup, error) == DW_OK ? driven_new(ladder, setup, error) : NULL;
    if (!driven)
        return NULL;
    const size_t outputs = driven->outputs;
    fill_weights(&ladder->net, weight);
    dw_ladder_charged(ladder, setup->initial, rest);
    for (size_t i = 0; i < outputs; i++) {
        port[i].initial = i + 1 < outputs ? NAN : setup->initial;
        dw_ladder_output(ladder, driven->first + i, &port[i].name, &port[i].unit);
        port[i].scale = port[i].unit[0] == 'V' || amperes == 0 ? setup->supply : amperes;  /* unrun: implied */
    }
    const struct dw_port out = port[outputs - 1];
    const size_t extras = dwi_supply_outputs(&driven->source, setup->all, NULL, port + outputs - 1, NULL);
    port[outputs - 1 + extras] = out;
    dwi_supply_rest(&driven->source, weight, rest);
    struct dw_plant *plant = dw_plant_new(&(struct dw_plant_plan){
        .modes = { .states = driven->source.states, .inputs = driven->inputs, .outputs = outputs + extras, .weight = weight,
                   .mode_count = push_pull ? 1 : PATHS * driven->source.conditions,
                   .make = push_pull ? make_push_pull : make_one_switch, .of = driven },
        .ports = port, .rest = rest, .load = driven, .release = free }, error);
    if (!plant)
        free(driven);
    return plant;
}
