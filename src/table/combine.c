/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A channel made of others: docs/theory.md, section 4.7. */
#include "header_inner.h"
#include <dutywright/beside.h>
#include <dutywright/cubic.h>
#include <dutywright/pieces.h>
#include <dutywright/value.h>
#include <float.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Shares of its largest change, and of its largest value, by which a product or ratio may be off. */
static const double of_change = 1e-6, of_value = 2e-8, rounding = 0x1p-50;
static const char *const operation[] = { "sum", "difference", "product", "ratio" };

struct dw_combine {
    enum dw_combination as;
    size_t count, *operand;     /* [count] of a row as curves */
    size_t columns, *slope;     /* of such a row, and [columns] where its slopes stand */
    bool curved;                /* the channel has a slope */
    struct dw_curves *curves;   /* makes such rows; NULL: they come so */
    size_t given, *column;      /* of a row out, and [given] where its values come from; the new channel is last */
    struct dw_header *wide;     /* of a row as curves */
    struct dw_header *header;   /* of a row out */
    double *last, *made;        /* [columns] */
    bool any;
    double largest;             /* value so far */
    double swing, turn_value, value; /* its largest change; where the present one began, and it is now */
    double *out;                /* [out_count x given] */
    size_t out_count, out_room;
};

void dw_combine_free(struct dw_combine *c)
{
    if (!c)
        return;
    free(c->operand);
    free(c->slope);
    free(c->column);
    free(c->last);
    free(c->out);
    dw_curves_free(c->curves);
    dw_header_free(c->wide);
    dw_header_free(c->header);
    free(c);
}

/* ---- the header ---- */

/* Products of two quantities that have a name of their own (SI brochure, BIPM, 9th ed., table 4). */
static const struct {
    const char *one, *other, *product;
} named[] = {
    { "V", "A", "W" }, { "A", "ohm", "V" }, { "Nm", "rad/s", "W" }, { "W", "s", "J" }, { "A", "s", "C" }, { "V", "s", "Wb" },
    { "N", "m", "Nm" }, { "N", "m/s", "W" }, { "rad/s", "s", "rad" }, { "m/s", "s", "m" }, { "A", "H", "Wb" },
};

/* The unit of a product or a ratio of two.
 *   out  at least `size` bytes */
static void unit_of_two(bool ratio, const char *one, const char *other, char *out, size_t size)
{
    const char *known = ratio && !strcmp(one, other) ? "1" : !strcmp(other, "1") ? one : !ratio && !strcmp(one, "1") ? other : NULL;
    for (size_t i = 0; !known && i < sizeof named / sizeof named[0]; i++) {
        const char *a = named[i].one, *b = named[i].other, *p = named[i].product;
        if (ratio)
            known = strcmp(one, p) ? NULL : !strcmp(other, a) ? b : !strcmp(other, b) ? a : NULL;
        else
            known = (!strcmp(one, a) && !strcmp(other, b)) || (!strcmp(one, b) && !strcmp(other, a)) ? p : NULL;
    }
    if (known || !*one || !*other)
        snprintf(out, size, "%.40s", known ? known : "");
    else if (!ratio && !strcmp(one, other))
        snprintf(out, size, "%.40s^2", one);
    else
        snprintf(out, size, "%.40s%c%.40s", one, ratio ? '/' : '*', other);
}

static enum dw_status find_unit(const struct dw_header *header, const struct dw_combine_plan *plan, char *out, size_t size,
                                struct dw_error *error)
{
    const struct dw_column first = dw_header_column(header, plan->column[0]);
    snprintf(out, size, "%.80s", first.unit);
    for (size_t i = 1; i < plan->count; i++) {
        const struct dw_column next = dw_header_column(header, plan->column[i]);
        char one[128];
        snprintf(one, sizeof one, "%s", out);
        if (plan->as == DW_PRODUCT || plan->as == DW_RATIO)
            unit_of_two(plan->as == DW_RATIO, one, next.unit, out, size);
        else if (*one && *next.unit && strcmp(one, next.unit) != 0)
            return dw_error_set(error, DW_BAD_USE, 0, "%.60s[%.20s] and %.60s[%.20s]: only like quantities have a %s", first.name, first.unit,
                                next.name, next.unit, operation[plan->as]);
        else if (!*one)
            snprintf(out, size, "%.80s", next.unit);
    }
    return DW_OK;
}

/* What is known of a sum's error, and of a product's: see dw_combine_header. */
static enum dw_status set_accuracy(struct dw_combine *c, const struct dw_header *from, const struct dw_combine_plan *plan, size_t at,
                                   struct dw_error *error)
{
    const bool product = plan->as == DW_PRODUCT || plan->as == DW_RATIO;
    double number = 0, share = product && c->curved ? of_change : 0;
    for (size_t i = 0; i < plan->count; i++) {
        const struct dw_channel_facts *facts = dw_header_channel_facts(from, plan->column[i]);
        const bool exact = isnan(facts->accuracy) && isnan(facts->share);
        number += exact ? 0 : facts->accuracy;
        share += isnan(facts->share) ? 0 : facts->share;
    }
    if (product)
        return share > 0 ? dw_header_set_accuracy(c->header, at, NAN, dw_number_round(share, 8), error) : DW_OK;
    return number > 0 ? dw_header_set_accuracy(c->header, at, dw_number_round(number, 8), NAN, error) : DW_OK;
}

/* The header with a slope for each operand, so that lines come as curves. */
static enum dw_status widen(struct dw_combine *c, const struct dw_header *from, const struct dw_combine_plan *plan, struct dw_error *error)
{
    enum dw_status status = (c->wide = dw_header_copy(from, error)) ? DW_OK : DW_NO_MEMORY;
    for (size_t i = 0; status == DW_OK && i < plan->count; i++) {
        const size_t at = dw_header_find(c->wide, dw_header_column(from, plan->column[i]).name, error);
        if (c->curved && !dw_header_slope(c->wide, at))
            status = dwi_header_insert_slope(c->wide, at, error);
    }
    if (status != DW_OK)
        return status;
    c->columns = dw_header_columns(c->wide);
    if (c->columns > dw_header_columns(from) && !(c->curves = dw_curves_new(from, c->wide, error)))
        return error->status;
    return DW_OK;
}

/* Of a row as curves, what goes out: all but slopes that were put in. */
static void choose_columns(struct dw_combine *c, const struct dw_header *from, const struct dw_combine_plan *plan)
{
    dw_header_slopes(c->wide, c->slope);
    for (size_t i = 0, k = 0; i < c->columns; i++) {
        if (dw_header_is_slope(c->wide, i) && !(k < dw_header_columns(from) && dw_header_is_slope(from, k)))
            continue;
        for (size_t j = 0; j < plan->count; j++)
            if (plan->column[j] == k)
                c->operand[j] = i;
        c->column[c->given++] = i;
        k++;
    }
}

static enum dw_status set_up(struct dw_combine *c, const struct dw_header *from, const struct dw_combine_plan *plan, struct dw_error *error)
{
    const bool like = plan->as == DW_SUM || plan->as == DW_DIFFERENCE, two = plan->as == DW_DIFFERENCE || plan->as == DW_RATIO;
    char unit[128];
    if (plan->count < 2 || (two && plan->count > 2))
        return dw_error_set(error, DW_BAD_USE, 0, "a %s is of two channels%s, not %zu", operation[plan->as], two ? "" : " or more", plan->count);
    if (dw_header_find(from, plan->name, NULL))
        return dw_error_set(error, DW_BAD_USE, 0, "there is a channel '%.60s' already", plan->name);
    enum dw_status status = find_unit(from, plan, unit, sizeof unit, error);
    if (status != DW_OK)
        return status;
    c->as = plan->as;
    c->count = plan->count;
    for (size_t i = 0; i < plan->count; i++)
        c->curved = c->curved || dw_header_slope(from, plan->column[i]) || !like;
    c->curved = c->curved && !(dw_header_facts(from)->sampled > 0) && dw_header_needs_time(from, "", NULL) == DW_OK;
    status = widen(c, from, plan, error);
    if (status != DW_OK)
        return status;
    c->operand = calloc(c->count, sizeof *c->operand);
    c->slope = calloc(c->columns, sizeof *c->slope);
    c->column = calloc(c->columns, sizeof *c->column);
    c->last = calloc(2 * c->columns, sizeof *c->last);
    if (!c->operand || !c->slope || !c->column || !c->last)
        return dw_no_memory(error);
    c->made = c->last + c->columns;
    choose_columns(c, from, plan);
    if (!(c->header = dw_header_copy(from, error)))
        return DW_NO_MEMORY;
    status = dw_header_append(c->header, plan->name, plan->unit ? plan->unit : unit, error);
    if (status == DW_OK)
        status = set_accuracy(c, from, plan, dw_header_columns(from), error);
    return status == DW_OK && c->curved ? dw_header_append_slope(c->header, error) : status;
}

struct dw_combine *dw_combine_new(const struct dw_header *header, const struct dw_combine_plan *plan, struct dw_error *error)
{
    struct dw_combine *c = calloc(1, sizeof *c);
    if (!c)
        dw_no_memory(error);
    else if (set_up(c, header, plan, error) == DW_OK)
        return c;
    dw_combine_free(c);
    return NULL;
}

const struct dw_header *dw_combine_header(const struct dw_combine *c)
{
    return c->header;
}

/* ---- values ---- */

/* Of one operand after another: the value so far and its slope. */
static void join(enum dw_combination as, double *value, double *slope, double next, double next_slope)
{
    switch (as) {
    case DW_SUM:
        *value += next;
        *slope += next_slope;
        break;
    case DW_DIFFERENCE:
        *value -= next;
        *slope -= next_slope;
        break;
    case DW_PRODUCT:
        *slope = *slope * next + *value * next_slope;
        *value *= next;
        break;
    case DW_RATIO:
        *value /= next;
        *slope = (*slope - *value * next_slope) / next;
        break;
    }
}

static double slope_of(const struct dw_combine *c, size_t i, const double *row)
{
    return c->curved ? row[c->slope[c->operand[i]]] : 0;
}

static double value_of(const struct dw_combine *c, const double *row)
{
    double value = row[c->operand[0]], slope = 0;
    for (size_t i = 1; i < c->count; i++)
        join(c->as, &value, &slope, row[c->operand[i]], 0);
    return value;
}

static enum dw_status give(struct dw_combine *c, const double *row, struct dw_error *error)
{
    const size_t width = c->given + 1 + c->curved;
    double value = row[c->operand[0]], slope = slope_of(c, 0, row);
    if (c->out_count == c->out_room) {
        const size_t room = 2 * c->out_room + 64;
        double *grown = realloc(c->out, room * width * sizeof *grown);
        if (!grown)
            return dw_no_memory(error);
        c->out = grown;
        c->out_room = room;
    }
    double *out = c->out + c->out_count++ * width;
    for (size_t i = 1; i < c->count; i++)
        join(c->as, &value, &slope, row[c->operand[i]], slope_of(c, i, row));
    if (c->as == DW_RATIO && row[c->operand[1]] == 0)
        return dw_error_set(error, DW_BAD_INPUT, 0, "%s is 0 at %.9g, and nothing can be divided by it; a --span may leave that out",
                            dw_header_column(c->wide, c->operand[1]).name, row[0]);
    if (!isfinite(value) || !isfinite(slope))
        return dw_error_set(error, DW_BAD_INPUT, 0, "the %s is beyond the range of numbers at %.9g", operation[c->as], row[0]);
    for (size_t i = 0; i < c->given; i++)
        out[i] = row[c->column[i]];
    out[c->given] = value;
    if (c->curved)
        out[c->given + 1] = slope;
    /* a change is from turn to turn */
    if ((value - c->value) * (c->value - c->turn_value) < 0)
        c->turn_value = c->value;
    c->value = value;
    c->largest = fmax(c->largest, fabs(value));
    c->swing = fmax(c->swing, fabs(value - c->turn_value));
    return DW_OK;
}

/* ---- products and ratios between two rows ---- */

enum { ORDERS = 5 };

/* Bounds of a cubic and its derivatives by its share, from a share on over a width. */
static void bound_cubic(const struct dw_cubic *cubic, double share, double width, double bound[ORDERS])
{
    const double *c = cubic->c, u = width;
    const double at[4] = { fabs(dw_cubic_at(cubic, share)), fabs(c[1] + share * (2 * c[2] + 3 * share * c[3])), fabs(dw_cubic_bend(cubic, share)),
                           fabs(6 * c[3]) };
    bound[0] = at[0] + u * (at[1] + u * (at[2] / 2 + u * at[3] / 6));
    bound[1] = at[1] + u * (at[2] + u * at[3] / 2);
    bound[2] = at[2] + u * at[3];
    bound[3] = at[3];
    bound[4] = 0;
}

static const double binomial[ORDERS][ORDERS] = { { 1 }, { 1, 1 }, { 1, 2, 1 }, { 1, 3, 3, 1 }, { 1, 4, 6, 4, 1 } };

/* Leibniz' rule: bounds of a product's derivatives. */
static void bound_product(double a[ORDERS], const double b[ORDERS])
{
    double product[ORDERS] = { 0 };
    for (int k = 0; k < ORDERS; k++)
        for (int j = 0; j <= k; j++)
            product[k] += binomial[k][j] * a[j] * b[k - j];
    memcpy(a, product, sizeof product);
}

/* The same of a = r b, for r's last derivative.
 *   least  of |b| */
static void bound_ratio(double a[ORDERS], const double b[ORDERS], double least)
{
    for (int k = 0; k < ORDERS; k++) {
        for (int j = 0; j < k; j++)
            a[k] += binomial[k][j] * a[j] * b[k - j];
        a[k] /= least;
    }
}

/* The least of |b| from a share on over a width, at least: what it can come down to from its ends. */
static double least_between(const struct dw_cubic *cubic, double share, double width, const double bound[ORDERS])
{
    const double first = dw_cubic_at(cubic, share), last = dw_cubic_at(cubic, share + width);
    return first * last > 0 ? fmin(fabs(first), fabs(last)) - width * bound[1] / 2 : 0;
}

static struct dw_cubic cubic_of(const struct dw_combine *c, size_t i, const double *from, const double *to)
{
    const size_t at = c->operand[i], s = c->slope[at];
    const double h = to[0] - from[0];
    return dw_cubic_through(from[at], h * from[s], to[at], h * to[s]);
}

/* The width from a share on over which the new channel is a cubic within its tolerance; 0: a divisor comes to 0.
 *   end  its value at the end */
static double reach(const struct dw_combine *c, const double *from, const double *to, double share, double end)
{
    const double largest = fmax(c->largest, fabs(end)), swing = fmax(c->swing, fabs(end - c->value));
    const double tolerance = fmax(rounding * largest, fmin(of_value * largest, of_change * swing));
    for (double width = 1 - share; width > DBL_EPSILON; width /= 2) {
        struct dw_cubic cubic = cubic_of(c, 0, from, to);
        double bound[ORDERS], next[ORDERS], least = 1;
        bound_cubic(&cubic, share, width, bound);
        for (size_t i = 1; i < c->count; i++) {
            cubic = cubic_of(c, i, from, to);
            bound_cubic(&cubic, share, width, next);
            if (c->as == DW_PRODUCT)
                bound_product(bound, next);
            else if ((least = least_between(&cubic, share, width, next)) > 0)
                bound_ratio(bound, next, least);
        }
        if (least > 0 && dw_cubic_reach(tolerance, bound[4]) >= width)
            return width;
    }
    return 0;
}

static enum dw_status put_between(struct dw_combine *c, const double *to, struct dw_error *error)
{
    const double *from = c->last, length = to[0] - from[0], finest = 4 * dw_time_slack(to[0]) / length;
    const double end = value_of(c, to);
    enum dw_status status = DW_OK;
    for (double share = 0, width = 0; status == DW_OK && share < 1; share += width) {  /* unrun: count */
        width = reach(c, from, to, share, end);
        if (width == 0 && c->as == DW_RATIO)  /* unrun: implied */
            return dw_error_set(error, DW_BAD_INPUT, 0, "%s passes through 0 near %.9g, and nothing can be divided by it; a --span may leave that out",
                                dw_header_column(c->wide, c->operand[1]).name, from[0] + share * length);
        width = fmax(width, finest);
        if (share + width >= 1 - finest)
            break;
        dw_row_between(c->columns, c->slope, from, to, from[0] + (share + width) * length, c->made);
        status = give(c, c->made, error);
    }
    return status;
}

static enum dw_status add_row(struct dw_combine *c, const double *row, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    const bool bends = c->curved && (c->as == DW_PRODUCT || c->as == DW_RATIO);
    if (!c->any) {
        c->turn_value = c->value = value_of(c, row);
        c->largest = fabs(c->value);
    } else if (bends && row[0] > c->last[0]) {
        status = put_between(c, row, error);
    }
    c->any = true;
    memcpy(c->last, row, c->columns * sizeof *row);
    return status == DW_OK ? give(c, row, error) : status;
}

static enum dw_status add_rows(struct dw_combine *c, struct dw_rows some, struct dw_rows *out, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    for (size_t k = 0; status == DW_OK && k < some.count; k++)
        status = add_row(c, some.values + k * c->columns, error);
    *out = (struct dw_rows){ c->out, c->out_count };
    return status;
}

enum dw_status dw_combine_rows(struct dw_combine *c, const double *values, size_t count, struct dw_rows *out, struct dw_error *error)
{
    struct dw_rows some = { values, count };
    const enum dw_status status = c->curves ? dw_curves_rows(c->curves, values, count, &some, error) : DW_OK;
    c->out_count = 0;
    return status == DW_OK ? add_rows(c, some, out, error) : status;
}

enum dw_status dw_combine_finish(struct dw_combine *c, struct dw_rows *out, struct dw_error *error)
{
    struct dw_rows some = { NULL, 0 };
    const enum dw_status status = c->curves ? dw_curves_finish(c->curves, &some, error) : DW_OK;
    c->out_count = 0;
    return status == DW_OK ? add_rows(c, some, out, error) : status;  /* unrun: passed-on */
}
