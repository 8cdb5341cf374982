/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From the netlist to x' = A x + B u, y = C x + D u: node equations with capacitors as voltage sources and coils as
 * current sources, solved in doubled precision. docs/theory.md, (3.1) to (3.3). */
#include "linear/matrix_inner.h"
#include "load/ladder_inner.h"
#include <string.h>

enum { UNKNOWNS = LADDER_NODES + DW_STAGES };

typedef struct doubled form[FORM];

struct equations {
    struct doubled matrix[UNKNOWNS * UNKNOWNS], right[UNKNOWNS * FORM];
    size_t count;
    int voltage[LADDER_NODES];     /* unknown of a node, -1: known */
    int slope[DW_STAGES + 1];      /* unknown di/dt of the chain that a branch begins, -1: none */
};

struct node_reduction {
    const struct ladder_net *net;
    bool floating;
    form voltage[LADDER_NODES], current[DW_STAGES + 1], rate[LADDER_STATES];
};

static void add(struct doubled *sum, const struct doubled *term, struct doubled factor)
{
    for (size_t i = 0; i < FORM; i++)
        if (term[i].hi != 0)
            sum[i] = doubled_sum(sum[i], doubled_product(factor, term[i]));
}

static void add_state(struct doubled *sum, int state, struct doubled factor)
{
    sum[state] = doubled_sum(sum[state], factor);
}

static struct doubled inverse(double x)
{
    return doubled_quotient(doubled_of(1), doubled_of(x));
}

/* Branches up to the head carry nothing while the pin floats. */
static enum branch_kind kind_of(const struct node_reduction *reduction, size_t k)
{
    const enum branch_kind kind = reduction->net->branches[k].kind;
    return reduction->floating && k <= reduction->net->head && kind != BRANCH_NONE ? BRANCH_OPEN : kind;
}

static bool begins_chain(const struct node_reduction *reduction, size_t k)
{
    const struct branch *branch = reduction->net->branches + k;
    return branch->chain >= 0 && branch->first == k && kind_of(reduction, k) != BRANCH_OPEN;
}

/* Coefficient of a node's voltage in an equation: to the matrix where unknown, to the right with the other sign. */
static void put_voltage(const struct node_reduction *reduction, struct equations *equations, size_t row, size_t node,
                        struct doubled factor)
{
    const int unknown = equations->voltage[node];
    if (unknown >= 0) {
        struct doubled *entry = equations->matrix + row * UNKNOWNS + (size_t)unknown;
        *entry = doubled_sum(*entry, factor);
    } else {
        add(equations->right + row * FORM, reduction->voltage[node], doubled_minus(factor));
    }
}

/* What flows out of a node through series branch k, sign +1 where the node is its `from`. */
static void put_branch(const struct node_reduction *reduction, struct equations *equations, size_t row, size_t k, double sign)
{
    const struct branch *branch = reduction->net->branches + k;
    struct doubled *right = equations->right + row * FORM;
    const struct doubled signed_one = doubled_of(sign);
    if (branch->chain >= 0) {
        if (kind_of(reduction, k) != BRANCH_OPEN)
            add_state(right, branch->chain, doubled_minus(signed_one));
    } else if (kind_of(reduction, k) == BRANCH_RESISTIVE) {
        const struct doubled g = doubled_product(signed_one, branch->conductance);
        put_voltage(reduction, equations, row, branch->from, g);
        put_voltage(reduction, equations, row, branch->to, doubled_minus(g));
        if (branch->coil >= 0)
            add_state(right, branch->coil, doubled_product(doubled_minus(signed_one), branch->share));
    } else if (kind_of(reduction, k) == BRANCH_COIL) {
        add_state(right, branch->coil, doubled_minus(signed_one));
        if (branch->beside >= 0)
            add_state(right, branch->beside, doubled_minus(signed_one));
    }
}

/* What flows out of a node to ground through stage k's shunt, but for a capacitor without esr. */
static void put_shunt(const struct node_reduction *reduction, struct equations *equations, size_t row, size_t k)
{
    const struct ladder_net *net = reduction->net;
    const struct dw_stage *stage = net->stages + k;
    struct doubled *right = equations->right + row * FORM;
    const size_t node = net->node_of[k];
    if (stage->c > 0 && stage->esr > 0) {  /* unrun: implied */
        put_voltage(reduction, equations, row, node, inverse(stage->esr));
        add_state(right, net->capacitor[k], inverse(stage->esr));
    }
    if (stage->cd > 0) {
        put_voltage(reduction, equations, row, node, inverse(stage->rd));
        add_state(right, net->damper[k], inverse(stage->rd));
    }
    if (k == net->count && net->load > 0)
        put_voltage(reduction, equations, row, node, inverse(net->load));
    if (k == net->count)
        add_state(right, DRAWN, doubled_of(-1));
}

/* For each branch of a chain, l di/dt + r i = va - vb, or i = conductance (va - vb) + share x coil. */
static void chain_equations(const struct node_reduction *reduction, struct equations *equations, size_t first, size_t *row)
{
    const struct ladder_net *net = reduction->net;
    for (size_t k = first; k <= net->branches[first].last; k++, (*row)++) {
        const struct branch *branch = net->branches + k;
        struct doubled *right = equations->right + *row * FORM;
        if (branch->kind == BRANCH_COIL) {
            equations->matrix[*row * UNKNOWNS + (size_t)equations->slope[first]] = doubled_of(net->stages[k].l);
            put_voltage(reduction, equations, *row, branch->from, doubled_of(-1));
            put_voltage(reduction, equations, *row, branch->to, doubled_of(1));
            add_state(right, branch->chain, doubled_of(-net->stages[k].r));
        } else {
            put_voltage(reduction, equations, *row, branch->from, branch->conductance);
            put_voltage(reduction, equations, *row, branch->to, doubled_minus(branch->conductance));
            add_state(right, branch->chain, doubled_of(1));
            if (branch->coil >= 0)
                add_state(right, branch->coil, doubled_minus(branch->share));
        }
    }
}

static void number_unknowns(const struct node_reduction *reduction, struct equations *equations)
{
    const struct ladder_net *net = reduction->net;
    for (size_t n = 0; n < net->nodes; n++)
        equations->voltage[n] = n == 0 || net->node_state[n] >= 0 ? -1 : (int)equations->count++;
    if (reduction->floating && net->branches[0].kind == BRANCH_NONE)
        equations->voltage[0] = (int)equations->count++;
    for (size_t k = 0; k <= net->count; k++)
        equations->slope[k] = begins_chain(reduction, k) ? (int)equations->count++ : -1;
}

/* One equation an unknown: currents at a node, or where nothing flows there, equal voltages. */
static void write_equations(const struct node_reduction *reduction, struct equations *equations)
{
    const struct ladder_net *net = reduction->net;
    size_t row = 0;
    bool open_end[LADDER_NODES] = { false };
    for (size_t k = 0; k <= net->count; k++)
        if (kind_of(reduction, k) == BRANCH_OPEN && net->branches[k].from != net->branches[k].to &&
            equations->voltage[net->branches[k].from] >= 0) {
            /* the floating side: voltages up to the pin are those of the first node with a shunt */
            put_voltage(reduction, equations, row, net->branches[k].from, doubled_of(1));
            put_voltage(reduction, equations, row, net->branches[k].to, doubled_of(-1));
            open_end[net->branches[k].from] = true;
            row++;
        }
    for (size_t n = 0; n < net->nodes; n++) {
        if (equations->voltage[n] < 0 || open_end[n] || net->cut[n])
            continue;
        for (size_t k = 0; k <= net->count; k++) {
            if (net->branches[k].from != net->branches[k].to && net->branches[k].from == n)
                put_branch(reduction, equations, row, k, 1);
            if (net->branches[k].from != net->branches[k].to && net->branches[k].to == n)
                put_branch(reduction, equations, row, k, -1);
            if (k > 0 && net->node_of[k] == n)
                put_shunt(reduction, equations, row, k);
        }
        row++;
    }
    for (size_t k = 0; k <= net->count; k++)
        if (equations->slope[k] >= 0)
            chain_equations(reduction, equations, k, &row);
}

static enum dw_status solve_voltages(struct node_reduction *reduction, struct dw_error *error)
{
    const struct ladder_net *net = reduction->net;
    struct equations equations;
    memset(&equations, 0, sizeof equations);
    for (size_t n = 0; n < net->nodes; n++)
        if (net->node_state[n] >= 0)
            reduction->voltage[n][net->node_state[n]] = doubled_of(1);
    reduction->voltage[0][PIN] = doubled_of(1);
    number_unknowns(reduction, &equations);
    write_equations(reduction, &equations);
    struct doubled packed[UNKNOWNS * UNKNOWNS];
    for (size_t i = 0; i < equations.count; i++)
        for (size_t j = 0; j < equations.count; j++)
            packed[i * equations.count + j] = equations.matrix[i * UNKNOWNS + j];
    if (!dwi_doubled_solve(packed, equations.right, equations.count, FORM))  /* unrun: passed-on */
        return dw_error_set(error, DW_BAD_USE, 0, "the ladder's node equations have no single solution");
    for (size_t n = 0; n < net->nodes; n++)
        if (equations.voltage[n] >= 0)
            memcpy(reduction->voltage[n], equations.right + (size_t)equations.voltage[n] * FORM, sizeof(form));
    for (size_t k = 0; k <= net->count; k++)
        if (equations.slope[k] >= 0)
            memcpy(reduction->rate[net->branches[k].chain], equations.right + (size_t)equations.slope[k] * FORM, sizeof(form));
    return DW_OK;
}

static void find_currents(struct node_reduction *reduction)
{
    const struct ladder_net *net = reduction->net;
    for (size_t k = 0; k <= net->count; k++) {
        const struct branch *branch = net->branches + k;
        struct doubled *current = reduction->current[k];
        if (branch->chain >= 0) {
            if (kind_of(reduction, k) != BRANCH_OPEN)
                add_state(current, branch->chain, doubled_of(1));
        } else if (kind_of(reduction, k) == BRANCH_RESISTIVE) {
            add(current, reduction->voltage[branch->from], branch->conductance);
            add(current, reduction->voltage[branch->to], doubled_minus(branch->conductance));
            if (branch->coil >= 0)
                add_state(current, branch->coil, branch->share);
        } else if (kind_of(reduction, k) == BRANCH_COIL) {
            add_state(current, branch->coil, doubled_of(1));
            if (branch->beside >= 0)
                add_state(current, branch->beside, doubled_of(1));
        }
    }
}

/* Voltage over a stage's series branch less that over r: what drives l. */
static void coil_rates(struct node_reduction *reduction, size_t k)
{
    const struct ladder_net *net = reduction->net;
    const struct branch *branch = net->branches + k;
    const struct dw_stage *stage = net->stages + k;
    if (branch->coil < 0 || branch->coil == branch->chain || kind_of(reduction, k) == BRANCH_OPEN)
        return;
    form drives = { { 0, 0 } };
    const struct doubled r = doubled_of(-stage->r);
    add(drives, reduction->voltage[branch->from], doubled_of(1));
    add(drives, reduction->voltage[branch->to], doubled_of(-1));
    add_state(drives, branch->coil, r);
    if (branch->beside >= 0)
        add_state(drives, branch->beside, r);
    struct doubled *rate = reduction->rate[branch->coil];
    const struct doubled share = branch->kind == BRANCH_RESISTIVE ? branch->share : doubled_of(1);
    add(rate, drives, doubled_quotient(share, net->weight[branch->coil]));
    if (branch->beside >= 0) {
        add_state(drives, branch->beside, doubled_of(-stage->rp));
        add(reduction->rate[branch->beside], drives, inverse(stage->lp));
    }
}

/* Rates of capacitors with a resistance of their own. */
static void shunt_rates(struct node_reduction *reduction, size_t k)
{
    const struct ladder_net *net = reduction->net;
    const struct dw_stage *stage = net->stages + k;
    const struct doubled *voltage = reduction->voltage[net->node_of[k]];
    if (stage->c > 0 && stage->esr > 0) {
        struct doubled *rate = reduction->rate[net->capacitor[k]];
        const struct doubled per_second = doubled_quotient(inverse(stage->esr), doubled_of(stage->c));
        add(rate, voltage, per_second);
        add_state(rate, net->capacitor[k], doubled_minus(per_second));
        if (stage->leak > 0)
            add_state(rate, net->capacitor[k],
                      doubled_minus(doubled_quotient(inverse(stage->leak), doubled_of(stage->c))));
    }
    if (stage->cd > 0) {
        struct doubled *rate = reduction->rate[net->damper[k]];
        const struct doubled per_second = doubled_quotient(inverse(stage->rd), doubled_of(stage->cd));
        add(rate, voltage, per_second);
        add_state(rate, net->damper[k], doubled_minus(per_second));
    }
}

/* Current to ground behind stage k, the capacitor without esr left out. */
static void resistive_shunt(const struct node_reduction *reduction, size_t k, struct doubled factor, struct doubled *sum)
{
    const struct ladder_net *net = reduction->net;
    const struct dw_stage *stage = net->stages + k;
    const struct doubled *voltage = reduction->voltage[net->node_of[k]];
    if (stage->c > 0 && stage->esr > 0) {
        const struct doubled g = doubled_product(factor, inverse(stage->esr));
        add(sum, voltage, g);
        add_state(sum, net->capacitor[k], doubled_minus(g));
    } else if (stage->leak > 0) {
        add(sum, voltage, doubled_product(factor, inverse(stage->leak)));
    }
    if (stage->cd > 0) {
        const struct doubled g = doubled_product(factor, inverse(stage->rd));
        add(sum, voltage, g);
        add_state(sum, net->damper[k], doubled_minus(g));
    }
    if (k == net->count && net->load > 0)
        add(sum, voltage, doubled_product(factor, inverse(net->load)));
    if (k == net->count)
        add_state(sum, DRAWN, factor);
}

/* Rates of the capacitors without esr: what flows into their node. */
static void node_rates(struct node_reduction *reduction)
{
    const struct ladder_net *net = reduction->net;
    for (size_t n = 0; n < net->nodes; n++) {
        if (net->node_state[n] < 0)
            continue;
        const struct doubled into = doubled_quotient(doubled_of(1), net->weight[net->node_state[n]]);
        struct doubled *rate = reduction->rate[net->node_state[n]];
        for (size_t k = 0; k <= net->count; k++) {
            const struct branch *branch = net->branches + k;
            if (branch->from != branch->to && branch->from == n)
                add(rate, reduction->current[k], doubled_minus(into));
            if (branch->from != branch->to && branch->to == n)
                add(rate, reduction->current[k], into);
            if (k > 0 && net->node_of[k] == n)
                resistive_shunt(reduction, k, doubled_minus(into), rate);
        }
    }
}

/* Current of a branch without impedance: all that flows to ground behind it. */
static void currents_of_merged(struct node_reduction *reduction)
{
    const struct ladder_net *net = reduction->net;
    for (size_t k = net->count; k >= 1; k--) {
        if (kind_of(reduction, k) != BRANCH_NONE)
            continue;
        struct doubled *current = reduction->current[k];
        if (k < net->count)
            add(current, reduction->current[k + 1], doubled_of(1));
        resistive_shunt(reduction, k, doubled_of(1), current);
        if (net->stages[k].c > 0 && net->stages[k].esr == 0)  /* unrun: implied */
            add(current, reduction->rate[net->capacitor[k]], doubled_of(net->stages[k].c));
    }
}

enum dw_status dwi_ladder_reduce(const struct ladder_net *net, bool floating, struct ladder_forms *forms,
                                 struct dw_error *error)
{
    struct node_reduction reduction;
    memset(&reduction, 0, sizeof reduction);
    reduction.net = net;
    reduction.floating = floating;
    const enum dw_status status = solve_voltages(&reduction, error);
    if (status != DW_OK)  /* unrun: passed-on */
        return status;
    find_currents(&reduction);
    for (size_t k = 1; k <= net->count; k++) {
        coil_rates(&reduction, k);
        shunt_rates(&reduction, k);
    }
    node_rates(&reduction);
    currents_of_merged(&reduction);
    memset(forms, 0, sizeof *forms);
    memcpy(forms->rate, reduction.rate, sizeof forms->rate);
    memcpy(forms->pin, reduction.voltage[net->node_of[0]], sizeof(form));
    for (size_t k = 1; k <= net->count; k++) {
        const size_t at = k < net->count ? 2 * (k - 1) : 2 * net->count - 1;
        memcpy(forms->output[at], reduction.voltage[net->node_of[k]], sizeof(form));
        memcpy(forms->output[2 * (k - 1) + (k < net->count)], reduction.current[k], sizeof(form));
    }
    return DW_OK;
}
