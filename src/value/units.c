/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "value_inner.h"
#include <math.h>
#include <string.h>

#define OHM_SIGN "\xe2\x84\xa6" /* U+2126 */
#define OMEGA "\xce\xa9"        /* U+03A9 */
#define DEGREE "\xc2\xb0"       /* U+00B0 */
#define SQUARED "\xc2\xb2"      /* U+00B2 */
#define TURN_A_MINUTE (M_PI / 30) /* rad/s */

/* The first word is the symbol in tables. kg counts as g with a prefix. Words of three or more letters that begin like
 * a prefix (min, mol) are safe, since whole words are tried before prefixes. */
static const struct unit units[] = {
    { DW_TIME, "s", 0, 0, true, false },
    { DW_TIME, "min", 0, 60, false, false },
    { DW_TIME, "h", 0, 3600, false, false },
    { DW_FREQUENCY, "Hz", 0, 0, true, false },
    { DW_VOLTAGE, "V", 0, 0, true, false },
    { DW_CURRENT, "A", 0, 0, true, false },
    { DW_RESISTANCE, "ohm", 0, 0, true, false },
    { DW_RESISTANCE, "Ohm", 0, 0, true, false },
    { DW_RESISTANCE, "ohms", 0, 0, true, false },
    { DW_RESISTANCE, OMEGA, 0, 0, true, false },
    { DW_RESISTANCE, OHM_SIGN, 0, 0, true, false },
    { DW_CAPACITANCE, "F", 0, 0, true, false },
    { DW_INDUCTANCE, "H", 0, 0, true, false },
    { DW_CHARGE, "C", 0, 0, true, false },
    { DW_CHARGE, "As", 0, 0, true, false },
    { DW_POWER, "W", 0, 0, true, false },
    { DW_ENERGY, "J", 0, 0, true, false },
    { DW_ENERGY, "Ws", 0, 0, true, false },
    { DW_TORQUE, "Nm", 0, 0, true, false },
    { DW_TORQUE, "Ncm", -2, 0, true, false },
    { DW_INERTIA, "kgm2", 0, 0, false, false },
    { DW_INERTIA, "gm2", -3, 0, true, false },
    { DW_INERTIA, "gm^2", -3, 0, true, false },
    { DW_INERTIA, "gm" SQUARED, -3, 0, true, false },
    { DW_INERTIA, "gcm2", -7, 0, true, false },
    { DW_INERTIA, "gcm^2", -7, 0, true, false },
    { DW_INERTIA, "gcm" SQUARED, -7, 0, true, false },
    { DW_SPEED, "rad/s", 0, 0, true, false },
    { DW_SPEED, "rpm", 0, TURN_A_MINUTE, true, false },
    { DW_SPEED, "r/min", 0, TURN_A_MINUTE, true, false },
    { DW_MACHINE_CONSTANT, "Vs", 0, 0, true, false },
    { DW_MACHINE_CONSTANT, "Vs/rad", 0, 0, true, false },
    { DW_MACHINE_CONSTANT, "Nm/A", 0, 0, true, false },
    { DW_MACHINE_CONSTANT, "Ncm/A", -2, 0, true, false },
    { DW_MACHINE_CONSTANT, "V/rpm", 0, 1 / TURN_A_MINUTE, true, false },
    { DW_MACHINE_CONSTANT, "V/krpm", -3, 1 / TURN_A_MINUTE, true, false },
    { DW_MACHINE_CONSTANT, "rpm/V", 0, TURN_A_MINUTE, true, true },
    { DW_FRICTION, "Nms", 0, 0, true, false },
    { DW_FRICTION, "Nms/rad", 0, 0, true, false },
    { DW_FRICTION, "Nm/rpm", 0, 1 / TURN_A_MINUTE, true, false },
    { DW_FRICTION, "Nm/krpm", -3, 1 / TURN_A_MINUTE, true, false },
    { DW_TEMPERATURE, "degC", 0, 0, false, false },
    { DW_TEMPERATURE, "C", 0, 0, false, false },
    { DW_TEMPERATURE, DEGREE "C", 0, 0, false, false },
    { DW_THERMAL_RESISTANCE, "K/W", 0, 0, true, false },
    { DW_THERMAL_RESISTANCE, "degC/W", 0, 0, true, false },
    { DW_THERMAL_RESISTANCE, DEGREE "C/W", 0, 0, true, false },
    { DW_HEAT_CAPACITY, "J/K", 0, 0, true, false },
    { DW_HEAT_CAPACITY, "Ws/K", 0, 0, true, false },
    { DW_HEAT_CAPACITY, "J/degC", 0, 0, true, false },
    { DW_ANGLE, "deg", 0, 0, false, false },
    { DW_ANGLE, DEGREE, 0, 0, false, false },
    { DW_ANGLE, "rad", 0, 180 / M_PI, true, false },
    { DW_SLEW, "deg/s", 0, 0, true, false },
    { DW_SLEW, DEGREE "/s", 0, 0, true, false },
    { DW_LENGTH, "m", 0, 0, true, false },
    { DW_LENGTH, "cm", -2, 0, false, false },
    { DW_FORCE, "N", 0, 0, true, false },
    { DW_MASS, "kg", 0, 0, false, false },
    { DW_MASS, "g", -3, 0, true, false },
    { DW_SHARE, "%", -2, 0, false, false },
    { DW_PHASE, "%", -2, 0, false, false },
    { DW_PHASE, "deg", 0, 1.0 / 360, false, false },
};

/* Not E: 1E would pass for a cut exponent. Not h, da, d, c: no part is sold by them, and h and d are times. */
static const struct prefix prefixes[] = {
    { "a", -18 }, { "f", -15 }, { "p", -12 }, { "n", -9 }, { "u", -6 }, { "\xc2\xb5", -6 }, { "\xce\xbc", -6 },
    { "m", -3 },  { "k", 3 },   { "M", 6 },   { "G", 9 },  { "T", 12 }, { "P", 15 },
};

static const struct quantity_words quantities[] = {
    [DW_NUMBER] = { "1", "a number", "12, 1e3 or 10k", true },
    [DW_SHARE] = { "1", "a share", "0.312, 31.2% or 3510/11250", false },
    [DW_TIME] = { "s", "a time", "2m, 2ms or 0.002", true },
    [DW_FREQUENCY] = { "Hz", "a frequency", "1600, 22.5k or 22.5kHz", true },
    [DW_VOLTAGE] = { "V", "a voltage", "12, 3.3V or 100mV", true },
    [DW_CURRENT] = { "A", "a current", "20m, 20mA or 0.02", true },
    [DW_RESISTANCE] = { "ohm", "a resistance", "2.7k, 2k7 or 2.7kohm", true },
    [DW_CAPACITANCE] = { "F", "a capacitance", "150n, 2n7 or 2.7nF", true },
    [DW_INDUCTANCE] = { "H", "an inductance", "10m, 4u7 or 10mH", true },
    [DW_CHARGE] = { "C", "a charge", "10n or 10nC", true },
    [DW_POWER] = { "W", "a power", "0.3 or 300mW", true },
    [DW_ENERGY] = { "J", "an energy", "1m or 1mJ", true },
    [DW_TORQUE] = { "Nm", "a torque", "0.02, 20mNm or 2Ncm", true },
    [DW_INERTIA] = { "kgm2", "a moment of inertia", "1.2e-6, 1.2e-6kgm2 or 12gcm2", true },
    [DW_SPEED] = { "rad/s", "a speed", "314, 314rad/s or 3000rpm", true },
    [DW_MACHINE_CONSTANT] = { "Vs", "a machine constant", "0.02, 20mVs, 20mNm/A or 2.1V/krpm", true },
    [DW_FRICTION] = { "Nms", "a viscous friction", "1e-6 or 1uNms", true },
    [DW_TEMPERATURE] = { "degC", "a temperature", "25 or 25degC", false },
    [DW_THERMAL_RESISTANCE] = { "K/W", "a thermal resistance", "12 or 12K/W", true },
    [DW_HEAT_CAPACITY] = { "J/K", "a heat capacity", "0.5, 500m or 0.5J/K", true },
    [DW_ANGLE] = { "deg", "an angle", "30, 30deg or 0.5rad", false },
    [DW_SLEW] = { "deg/s", "a rate of turning", "500 or 500deg/s", true },
    [DW_LENGTH] = { "m", "a length", "0.08, 80mm or 8cm", true },
    [DW_FORCE] = { "N", "a force", "900 or 900N", true },
    [DW_MASS] = { "kg", "a mass", "40, 40kg or 800g", true },
    [DW_PHASE] = { "1", "a phase", "0.2, 20%, 1/5 or 72deg", false },
};

const struct quantity_words *dwi_quantity_words(enum dw_quantity kind)
{
    return &quantities[kind];
}

const struct unit *dwi_unit_at(size_t i)
{
    return i < sizeof units / sizeof units[0] ? &units[i] : NULL;
}

const struct prefix *dwi_prefix_at(size_t i)
{
    return i < sizeof prefixes / sizeof prefixes[0] ? &prefixes[i] : NULL;
}

const struct unit *dwi_unit_find(const char *text, enum dw_quantity kind)
{
    for (size_t i = 0; i < sizeof units / sizeof units[0]; i++)
        if (units[i].kind == kind && !strcmp(units[i].word, text))
            return &units[i];
    return NULL;
}

const char *dw_quantity_unit(enum dw_quantity kind)
{
    return quantities[kind].symbol;
}
