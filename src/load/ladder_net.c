/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which parts a ladder may have, and how they connect: nodes, branches, states. docs/theory.md, section 3. */
#include "load/ladder_inner.h"
#include <math.h>
#include <string.h>

/* The value of each key, for checks that go through all. */
struct named_part {
    const char *name, *quantity;
    double value;
};

static enum dw_status check_values(const struct dw_stage *stage, size_t k, struct dw_error *error)
{
    const struct named_part parts[] = {
        { "r", "resistance", stage->r },    { "l", "inductance", stage->l },     { "lp", "inductance", stage->lp },
        { "rp", "resistance", stage->rp },  { "c", "capacitance", stage->c },    { "esr", "resistance", stage->esr },
        { "leak", "resistance", stage->leak }, { "rd", "resistance", stage->rd }, { "cd", "capacitance", stage->cd },
    };
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++)
        if (!(parts[i].value >= 0 && isfinite(parts[i].value)))
            return dw_error_set(error, DW_BAD_USE, 0, "stage %zu: %s=%g: %s must be finite and not below zero", k,
                                parts[i].name, parts[i].value, parts[i].quantity);
    return DW_OK;
}

/* Parts that mean something only beside another. */
static enum dw_status check_company(const struct dw_stage *stage, size_t k, struct dw_error *error)
{
    const struct {
        const char *name, *needs;
        bool there, satisfied;
    } rules[] = {
        { "lp", "l", stage->lp > 0, stage->l > 0 },     { "rp", "l", stage->rp > 0, stage->l > 0 },
        { "lp", "rp", stage->lp > 0, stage->rp > 0 },   { "esr", "c", stage->esr > 0, stage->c > 0 },
        { "leak", "c", stage->leak > 0, stage->c > 0 }, { "cd", "c", stage->cd > 0, stage->c > 0 },
        { "cd", "rd", stage->cd > 0, stage->rd > 0 },   { "rd", "cd", stage->rd > 0, stage->cd > 0 },
    };
    for (size_t i = 0; i < sizeof rules / sizeof rules[0]; i++)
        if (rules[i].there && !rules[i].satisfied)
            return dw_error_set(error, DW_BAD_USE, 0, "stage %zu: %s is there without %s", k, rules[i].name, rules[i].needs);
    if (!(stage->r > 0 || stage->l > 0 || stage->c > 0))
        return dw_error_set(error, DW_BAD_USE, 0, "stage %zu: no part: give r, l or c", k);
    return DW_OK;
}

enum dw_status dwi_ladder_check(const struct dw_ladder_plan *plan, struct dw_error *error)
{
    if (plan->count < 1 || plan->count > DW_STAGES)
        return dw_error_set(error, DW_BAD_USE, 0, "%zu stages: a ladder has 1 to %d", plan->count, DW_STAGES);
    if (!(plan->source >= 0 && isfinite(plan->source)))
        return dw_error_set(error, DW_BAD_USE, 0, "source %g ohm: must be finite and not below zero", plan->source);
    if (!(plan->load >= 0 && isfinite(plan->load)))
        return dw_error_set(error, DW_BAD_USE, 0, "load %g ohm: must be finite and not below zero", plan->load);
    bool pin = plan->source == 0;
    for (size_t k = 1; k <= plan->count; k++) {
        const struct dw_stage *stage = plan->stages + k - 1;
        enum dw_status status = check_values(stage, k, error);
        if (status == DW_OK)
            status = check_company(stage, k, error);
        if (status != DW_OK)
            return status;
        pin = pin && stage->r == 0 && stage->l == 0;
        if (pin && stage->c > 0 && stage->esr == 0)  /* unrun: implied */
            return dw_error_set(error, DW_BAD_USE, 0,
                                "stage %zu: its capacitor is straight across the pin, the current would be unbounded; give "
                                "--source, or r, l or esr",
                                k);
    }
    return DW_OK;
}

static int new_state(struct ladder_net *net, struct doubled weight, bool is_current)
{
    net->weight[net->states] = weight;
    net->is_current[net->states] = is_current;
    return (int)net->states++;
}

static bool has_shunt(const struct ladder_net *net, size_t k)
{
    return net->stages[k].c > 0 || (k == net->count && net->load > 0);
}

static void name_nodes(struct ladder_net *net)
{
    size_t tail = net->count + 1;  /* stages from here on carry no current */
    while (tail > 1 && !has_shunt(net, tail - 1))
        tail--;
    net->nodes = 1;
    net->node_of[0] = net->source > 0 ? net->nodes++ : 0;
    net->branches[0] = (struct branch){ .kind = net->source > 0 ? BRANCH_RESISTIVE : BRANCH_NONE, .to = net->node_of[0] };
    for (size_t k = 1; k <= net->count; k++) {
        struct branch *branch = net->branches + k;
        const struct dw_stage *stage = net->stages + k;
        const bool none = stage->r == 0 && stage->l == 0;
        branch->from = net->node_of[k - 1];
        if (k >= tail)
            branch->kind = BRANCH_OPEN;
        else if (none)
            branch->kind = BRANCH_NONE;
        else
            branch->kind = stage->l > 0 && !(stage->rp > 0 && stage->lp == 0) ? BRANCH_COIL : BRANCH_RESISTIVE;
        branch->to = k >= tail || none ? branch->from : net->nodes++;
        net->node_of[k] = branch->to;
    }
    if (tail == 1 && net->source > 0)
        net->branches[0].kind = BRANCH_OPEN;
}

/* Coils in series share one current: from branch `first` to `last` no node between has a shunt. */
static enum dw_status tie_coils(struct ladder_net *net, size_t first, size_t last, struct dw_error *error)
{
    size_t coils[DW_STAGES + 1], count = 0;
    for (size_t k = first; k <= last; k++)
        if (net->branches[k].kind == BRANCH_COIL)
            coils[count++] = k;
    if (count < 2)
        return DW_OK;
    struct doubled sum = { 0, 0 };
    for (size_t i = 0; i < count; i++) {
        if (net->stages[coils[i]].lp > 0)
            return dw_error_set(error, DW_BAD_USE, 0,
                                "stage %zu: without c between them its coil is in series with that of stage %zu, and a damping "
                                "branch lp beside one of the two cannot be; give c",
                                coils[i], coils[i > 0 ? i - 1 : 1]);
        sum = doubled_sum(sum, doubled_of(net->stages[coils[i]].l));
    }
    const int state = new_state(net, sum, true);
    for (size_t k = first; k <= last; k++) {
        struct branch *branch = net->branches + k;
        branch->chain = state;
        branch->first = first;
        branch->last = last;
        if (branch->kind == BRANCH_COIL)
            branch->coil = state;
        if (k < last)
            net->cut[branch->to] = true;
    }
    return DW_OK;
}

static enum dw_status find_chains(struct ladder_net *net, struct dw_error *error)
{
    size_t first = net->branches[0].kind == BRANCH_NONE ? 1 : 0;
    for (size_t k = first; k <= net->count && net->branches[k].kind != BRANCH_OPEN; k++) {
        if (k == 0 || !has_shunt(net, k))
            continue;
        const enum dw_status status = tie_coils(net, first, k, error);
        if (status != DW_OK)
            return status;
        first = k + 1;
    }
    return DW_OK;
}

static void coil_states(struct ladder_net *net, size_t k)
{
    struct branch *branch = net->branches + k;
    const struct dw_stage *stage = net->stages + k;
    if (branch->coil >= 0 || branch->kind == BRANCH_OPEN || branch->kind == BRANCH_NONE || stage->l == 0)
        return;
    branch->coil = new_state(net, doubled_of(stage->l), true);
    if (stage->lp > 0)
        branch->beside = new_state(net, doubled_of(stage->lp), true);
}

static void shunt_states(struct ladder_net *net, size_t k)
{
    const struct dw_stage *stage = net->stages + k;
    const size_t node = net->node_of[k];
    if (stage->c > 0 && stage->esr > 0) {
        net->capacitor[k] = new_state(net, doubled_of(stage->c), false);
    } else if (stage->c > 0) {
        int *state = net->node_state + node;
        if (*state < 0)
            *state = new_state(net, doubled_of(stage->c), false);
        else
            net->weight[*state] = doubled_sum(net->weight[*state], doubled_of(stage->c));
        net->capacitor[k] = *state;
    }
    if (stage->cd > 0)
        net->damper[k] = new_state(net, doubled_of(stage->cd), false);
}

static void set_conductances(struct ladder_net *net)
{
    for (size_t k = 0; k <= net->count; k++) {
        struct branch *branch = net->branches + k;
        const struct doubled r = doubled_of(k == 0 ? net->source : net->stages[k].r);
        const struct doubled rp = doubled_of(k == 0 ? 0 : net->stages[k].rp);
        if (branch->kind != BRANCH_RESISTIVE)
            continue;
        branch->conductance = doubled_quotient(doubled_of(1), doubled_sum(r, rp));
        branch->share = doubled_product(rp, branch->conductance);
    }
}

enum dw_status dwi_ladder_connect(const struct dw_ladder_plan *plan, struct ladder_net *net, struct dw_error *error)
{
    memset(net, 0, sizeof *net);
    memcpy(net->stages + 1, plan->stages, plan->count * sizeof *plan->stages);
    net->count = plan->count;
    net->source = plan->source;
    net->load = plan->load;
    name_nodes(net);
    for (size_t n = 0; n < LADDER_NODES; n++)
        net->node_state[n] = -1;
    for (size_t k = 0; k <= net->count; k++) {
        struct branch *branch = net->branches + k;
        branch->coil = branch->beside = branch->chain = net->capacitor[k] = net->damper[k] = -1;
    }
    const enum dw_status status = find_chains(net, error);
    if (status != DW_OK)
        return status;
    for (size_t k = 1; k <= net->count; k++) {
        coil_states(net, k);
        shunt_states(net, k);
    }
    set_conductances(net);
    while (net->head < net->count && (net->head == 0 || !has_shunt(net, net->head)))
        net->head++;
    /* unrun: implied */
    if (net->branches[0].kind != BRANCH_NONE && net->branches[1].kind == BRANCH_NONE && has_shunt(net, 1))
        net->head = 0;
    if (net->states == 0)
        return dw_error_set(error, DW_BAD_USE, 0, "nothing in the ladder stores anything: give c, or l with a load");
    return DW_OK;
}
