/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "ticks.h"
#include <dutywright/value.h>
#include <float.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

/* A step of mantissa * 10^power. */
struct step {
    int mantissa, power;
};

/* A tick that lies outside by so small a share of the axis, by rounding, is still on it. */
#define EDGE 1e-9

/* Share of the gap between labels that will do where there would be but one. */
#define CLOSE 0.25

/* With more digits than this, labels count from the first one. */
enum { MOST_LABEL_DIGITS = 6 };

const char *unit_shown(const char *unit)
{
    static const char *const shown[][2] = {
        { "1", "" }, { "ohm", "\xce\xa9" }, { "deg", "\xc2\xb0" }, { "degC", "\xc2\xb0" "C" },
        { "kgm2", "kg m\xc2\xb2" }, { "Nm", "N m" }, { "Nms", "N m s" },
    };
    for (size_t i = 0; i < sizeof shown / sizeof shown[0]; i++)
        if (!strcmp(unit, shown[i][0]))
            return shown[i][1];
    return unit;
}

void label_join(char *out, size_t size, const char *number, const char *prefix, const char *unit)
{
    const char *shown = unit_shown(unit);
    const bool close = !strcmp(unit, "deg") || !strcmp(unit, "1") || !*unit;
    snprintf(out, size, "%s%s%s%s", number, close ? "" : " ", prefix, shown);
}

/* Whether SI prefixes go with a unit, as the reports of all programs have it. */
void label_quantity(char *out, size_t size, double value, const char *unit, int digits)
{
    char text[64], number[64];
    dw_quantity_print(text, sizeof text, value, unit, digits);
    const size_t length = strcspn(text, " "), unit_length = strlen(unit);
    snprintf(number, sizeof number, "%.*s", (int)length, text);
    const char *rest = text[length] ? text + length + 1 : "";
    const char prefix[2] = { strlen(rest) > unit_length ? *rest : 0 };
    label_join(out, size, number, *prefix == 'u' ? "\xc2\xb5" : prefix, unit);
}

static bool takes_prefix(const char *unit)
{
    char probe[64], wanted[64];
    dw_quantity_print(probe, sizeof probe, 1000, unit, 1);
    snprintf(wanted, sizeof wanted, "1 k%s", unit);
    return !strcmp(probe, wanted);
}

/* The power of ten, a multiple of three, of the prefix that suits a value. Nobody says kiloseconds. */
static int prefix_power(double value, const char *unit)
{
    if (value == 0 || !takes_prefix(unit))
        return 0;
    const int power = 3 * (int)floor(log10(fabs(value)) / 3 + 1e-9);
    const int most = !strcmp(unit, "s") ? 0 : 15;
    return power < -18 || power > 15 ? 0 : power > most ? most : power;
}

static const char *prefix_word(int power)
{
    static const char *const words[] = { "a", "f", "p", "n", "\xc2\xb5", "m", "", "k", "M", "G", "T", "P" };
    return words[power / 3 + 6];
}

/* A decimal mantissa * 10^power as text with the SI prefix 10^prefix. Zero has no unit. */
static void spell(char out[TICK_TEXT], double mantissa, int power, int prefix, const char *unit, const char *sign)
{
    char number[40];
    const int shift = power - prefix;
    const double size = fabs(mantissa) * pow(10, shift);
    if (mantissa == 0)
        snprintf(number, sizeof number, "%s0", sign);
    else if (shift > 6 || shift < -15 || size >= 1e7 || (shift < -6 && size < 1e-5)) {
        const int digits = (int)floor(log10(fabs(mantissa)) + 1e-12);
        snprintf(number, sizeof number, "%s%.15ge%d", mantissa < 0 ? "" : sign, mantissa / pow(10, digits), shift + digits);
    } else
        snprintf(number, sizeof number, "%s%.*f", mantissa < 0 ? "" : sign, shift < 0 ? -shift : 0,
                 shift < 0 ? mantissa / pow(10, -shift) : mantissa * pow(10, shift));
    if (mantissa == 0)
        snprintf(out, TICK_TEXT, "%s", number);
    else
        label_join(out, TICK_TEXT, number, prefix_word(prefix), unit);
}

/* Without zeros at the end. */
static void spell_shortest(char out[TICK_TEXT], double mantissa, int power, int prefix, const char *unit)
{
    for (; mantissa != 0 && fmod(mantissa, 10) == 0; power++)
        mantissa /= 10;
    spell(out, mantissa, power, prefix, unit, "");
}

/* log10(to / from), also where the quotient is beyond the range of doubles. */
static double decades(double from, double to)
{
    const double ratio = to / from;
    return ratio > 0 && isfinite(ratio) ? log10(ratio) : log10(to) - log10(from);
}

double axis_place(const struct axis *axis, double value)
{
    if (axis->logarithmic)
        return decades(axis->low, value) / decades(axis->low, axis->high);
    return (value - axis->low) / (axis->high - axis->low);
}

/* Keeps the arithmetic of ticks away from the ends of the range of doubles. */
static double on_axis(double value)
{
    return fabs(value) < AXIS_LEAST ? 0 : fmin(fmax(value, -AXIS_MOST), AXIS_MOST);
}

bool axis_is_flat(const struct axis *axis)
{
    return !(axis->high - axis->low > 64 * DBL_EPSILON * fmax(fabs(axis->low), fabs(axis->high)));
}

void axis_widen(struct axis *axis)
{
    if (axis->logarithmic) {
        axis->low = fmin(fmax(axis->low, AXIS_LEAST), AXIS_MOST);
        axis->high = fmin(fmax(axis->high, AXIS_LEAST), AXIS_MOST);
    } else {
        axis->low = on_axis(axis->low);
        axis->high = on_axis(axis->high);
    }
    const double size = fmax(fabs(axis->low), fabs(axis->high));
    if (axis->logarithmic) {
        const double air = axis_is_flat(axis) ? 2 : pow(axis->high / axis->low, 0.05);
        axis->low /= air;
        axis->high *= air;
        return;
    }
    if (axis_is_flat(axis)) {
        /* flat: up from zero or down to it */
        axis->low = size == 0 ? -1 : fmin(axis->low, 0);
        axis->high = size == 0 ? 1 : fmax(axis->high, 0);
    }
    if (axis->low > 0 && axis->low < 0.4 * axis->high)
        axis->low = 0;
    if (axis->high < 0 && axis->high > 0.4 * axis->low)
        axis->high = 0;
    const double air = 0.05 * (axis->high - axis->low);
    axis->low -= air;
    axis->high += air;
}

/* ---- linear ---- */

static double step_size(struct step step)
{
    return step.power < 0 ? step.mantissa / pow(10, -step.power) : step.mantissa * pow(10, step.power);
}

/* First and last multiple of the step on the axis, a rounding outside still being inside. */
static void multiples(const struct axis *axis, struct step step, double *first, double *last)
{
    const double size = step_size(step), slack = EDGE * (axis->high - axis->low) / size;
    *first = ceil(axis->low / size - slack);
    *last = floor(axis->high / size + slack);
}

/* Whether labels would have too many digits, so that all but the first count from it. */
static bool counts_from_first(double first, double last, int mantissa)
{
    return fmax(fabs(first), fabs(last)) * mantissa >= pow(10, MOST_LABEL_DIGITS);
}

static bool label_linear(struct ticks *ticks, const struct axis *axis, struct step step)
{
    double first, last;
    multiples(axis, step, &first, &last);
    ticks->count = 0;
    /* multiples beyond 2 / DBL_EPSILON are not told apart: the loop below would not end */
    if (!(last - first < MOST_TICKS - 1) || last < first || fmax(fabs(first), fabs(last)) > 2 / DBL_EPSILON)
        return false;
    const bool relative = counts_from_first(first, last, step.mantissa);
    const double origin = relative ? first : 0, size = step_size(step);
    const int absolute = prefix_power(fmax(fabs(first), fabs(last)) * size, axis->unit);
    const int prefix = prefix_power(fmax(fabs(first - origin), fabs(last - origin)) * size, axis->unit);
    for (double n = first; n <= last; n++) {
        struct tick *tick = &ticks->at[ticks->count++];
        tick->value = step.power < 0 ? n * step.mantissa / pow(10, -step.power) : n * size;
        if (relative && n > first)
            spell(tick->text, (n - origin) * step.mantissa, step.power, prefix, axis->unit, "+");
        else if (relative)
            spell_shortest(tick->text, n * step.mantissa, step.power, absolute, axis->unit);
        else
            spell(tick->text, n * step.mantissa, step.power, absolute, axis->unit, "");
    }
    return true;
}

/* ---- logarithmic ---- */

/* Ticks at 1 to 9 of each decade, labels at those whose digit is in `digits` in every `every`-th decade. */
static bool label_logarithmic(struct ticks *ticks, const struct axis *axis, const char *digits, int every)
{
    const int first = (int)floor(log10(axis->low) - 1e-9), last = (int)ceil(log10(axis->high) + 1e-9);
    const bool fine = last - first <= 12;
    ticks->count = 0;
    for (int power = first; power <= last; power++)
        for (int digit = 1; digit <= (fine ? 9 : power % every == 0); digit++) {
            const double value = step_size((struct step){ digit, power });
            const double place = axis_place(axis, value);
            if (!(place >= -EDGE && place <= 1 + EDGE))
                continue;
            if (ticks->count == MOST_TICKS)
                return false;
            struct tick *tick = &ticks->at[ticks->count++];
            tick->value = value;
            *tick->text = 0;
            if (strchr(digits, '0' + digit) && power % every == 0)
                spell(tick->text, digit, power, prefix_power(value, axis->unit), axis->unit, "");
        }
    return true;
}

/* ---- choosing ---- */

static bool labels_fit(const struct ticks *ticks, const struct axis *axis, const struct label_space *space)
{
    double end = -HUGE_VAL;
    int labels = 0;
    for (int i = 0; i < ticks->count; i++) {
        if (!*ticks->at[i].text)
            continue;
        const double half = space->room(space->context, ticks->at[i].text) / 2;
        const double centre = space->length * axis_place(axis, ticks->at[i].value);
        if (centre - half < end)
            return false;
        end = centre + half + space->gap;
        labels++;
    }
    return labels <= space->most;
}

static int labels_of(const struct ticks *ticks)
{
    int labels = 0;
    for (int i = 0; i < ticks->count; i++)
        labels += *ticks->at[i].text != 0;
    return labels;
}

static bool choose_logarithmic(struct ticks *ticks, const struct axis *axis, const struct label_space *space)
{
    static const struct { const char *digits; int every; } ways[] = {
        { "123456789", 1 }, { "12357", 1 }, { "125", 1 }, { "13", 1 }, { "1", 1 }, { "1", 2 }, { "1", 3 }, { "1", 6 }, { "1", 12 },
        { "1", 24 }, { "1", 48 }, { "1", 96 }, { "1", 192 },
    };
    for (size_t i = 0; i < sizeof ways / sizeof ways[0]; i++)
        if (label_logarithmic(ticks, axis, ways[i].digits, ways[i].every) && labels_fit(ticks, axis, space))
            return labels_of(ticks) >= 2 || axis->high > 10 * axis->low;
    ticks->count = 0;
    return axis->high > 10 * axis->low; /* no room for labels */
}

static const int decimal[] = { 1, 2, 5 };
enum { DECIMALS = 3, POWERS = 5 };

/* The power of ten below which an axis would have too many ticks. */
static int finest_power(const struct axis *axis)
{
    return (int)floor(log10((axis->high - axis->low) / MOST_TICKS));
}

/* Gives whether there are two at least. */
static bool finest_linear(struct ticks *ticks, const struct axis *axis, const struct label_space *space)
{
    static const int degrees[] = { 15, 30, 45, 90, 180, 360 };
    const bool angle = !strcmp(axis->unit, "deg") && axis->high - axis->low > 60;
    for (int i = 0; angle && i < 6; i++)
        if (label_linear(ticks, axis, (struct step){ degrees[i], 0 }) && labels_fit(ticks, axis, space))
            return ticks->count >= 2;
    for (int i = 0; i < POWERS * DECIMALS; i++)
        if (label_linear(ticks, axis, (struct step){ decimal[i % DECIMALS], finest_power(axis) + i / DECIMALS }) && labels_fit(ticks, axis, space))
            return ticks->count >= 2;
    ticks->count = 0;
    return false;
}

/* The lowest and the highest multiple of a step alone, of the coarsest that will do. */
static bool lowest_and_highest(struct ticks *ticks, const struct axis *axis, const struct label_space *space)
{
    for (int i = POWERS * DECIMALS; i-- > 0;) {
        if (!label_linear(ticks, axis, (struct step){ decimal[i % DECIMALS], finest_power(axis) + i / DECIMALS })
            || ticks->count < 2)
            continue;
        ticks->at[1] = ticks->at[ticks->count - 1];
        ticks->count = 2;
        if (labels_fit(ticks, axis, space))
            return true;
    }
    return false;
}

/* One label alone says nothing of the scale: where there is little room, two stand closer. */
static void choose_linear(struct ticks *ticks, const struct axis *axis, const struct label_space *space)
{
    struct label_space closer = *space;
    closer.gap *= CLOSE;
    if (!finest_linear(ticks, axis, space) && !finest_linear(ticks, axis, &closer) && !lowest_and_highest(ticks, axis, &closer))
        finest_linear(ticks, axis, space);
}

/* Puts a mark at a value, in place of those whose labels it leaves no room. */
static void add_level(struct ticks *ticks, const struct axis *axis, double value, const struct label_space *space)
{
    enum { MOST_LEVEL_DIGITS = 4 };
    struct tick level = { value, "" };
    int digits = 1, kept = 0, below = 0;
    while (digits < MOST_LEVEL_DIGITS && dw_number_round(value, digits) != value)
        digits++;
    label_quantity(level.text, sizeof level.text, value, axis->unit, digits);
    const double half = space->room(space->context, level.text) / 2, centre = space->length * axis_place(axis, value);
    for (int i = 0; i < ticks->count; i++) {
        const double apart = fabs(space->length * axis_place(axis, ticks->at[i].value) - centre);
        if (ticks->at[i].value != 0 && apart < half + space->room(space->context, ticks->at[i].text) / 2 + space->gap)
            continue;
        ticks->at[kept++] = ticks->at[i];
        below += ticks->at[i].value < value;
    }
    if (kept == MOST_TICKS)
        return;
    memmove(ticks->at + below + 1, ticks->at + below, (size_t)(kept - below) * sizeof *ticks->at);
    ticks->at[below] = level;
    ticks->count = kept + 1;
}

bool axis_has_no_stem(const struct axis *axis, double value)
{
    return strcmp(axis->unit, "dB") != 0 && fabs(value) <= 1e-9 * (axis->high - axis->low);
}

void ticks_choose(struct ticks *ticks, const struct axis *axis, const struct label_space *space)
{
    /* part of a decade may hold no two round numbers of that kind */
    if (axis->logarithmic && choose_logarithmic(ticks, axis, space))
        return;
    choose_linear(ticks, axis, space);
    for (int i = 0; i < 2 && ticks->count && !axis->logarithmic; i++)
        if (axis->level[i] != 0 && axis->level[i] >= axis->low && axis->level[i] <= axis->high)
            add_level(ticks, axis, axis->level[i], space);
}
