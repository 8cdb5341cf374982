/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/waves.h"
#include "suite.h"
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

void wave_add(struct wave *wave, double time, double value)
{
    if (wave->count == wave->room) {
        wave->room = wave->room ? 2 * wave->room : 64;
        wave->row = realloc(wave->row, wave->room * 2 * sizeof *wave->row);
        ck_assert_ptr_nonnull(wave->row);
    }
    wave->row[2 * wave->count] = time;
    wave->row[2 * wave->count++ + 1] = value;
}

void wave_free(struct wave *wave)
{
    free(wave->row);
    *wave = (struct wave){ 0 };
}

struct wave wave_pulses(double origin, double period, double first, double last, double low, double high, double rise,
                        double width, double fall)
{
    struct wave wave = { 0 };
    for (double k = first; k < last; k++) {
        const double start = dw_period_boundary(origin, period, k);
        wave_add(&wave, start, low);
        wave_add(&wave, start + rise, high);
        wave_add(&wave, start + rise + width, high);
        wave_add(&wave, start + rise + width + fall, low);
    }
    wave_add(&wave, dw_period_boundary(origin, period, last), low);
    return wave;
}

double random_next(uint64_t *state)
{
    *state ^= *state >> 12;
    *state ^= *state << 25;
    *state ^= *state >> 27;
    return (double)(int64_t)(*state * UINT64_C(2685821657736338717)) * 0x1p-63;
}

struct wave wave_random(uint64_t *state, size_t count, size_t cells)
{
    struct wave wave = { 0 };
    for (size_t i = 0; i <= count; i++) {
        double place = ((double)i + 0.45 * random_next(state)) / (double)count;
        if (cells)
            place = rint(place * (double)cells) / (double)cells;
        place = i == 0 ? 0 : i == count ? 1 : place;
        wave_add(&wave, place, 5 * random_next(state));
        if (i % 3 == 1 && i < count)
            wave_add(&wave, place, 5 * random_next(state));
        if (i % 7 == 2 && i < count && !cells)
            wave_add(&wave, place + 1e-12, 5 * random_next(state));
    }
    return wave;
}

struct dw_header *header_with(const char *key, ...)
{
    struct dw_error error;
    struct dw_header *header = dw_header_new("time", "s", &error);
    ck_assert_ptr_nonnull(header);
    succeeds(dw_header_append(header, "pin", "V", &error), error);
    va_list more;
    va_start(more, key);
    for (; key; key = va_arg(more, const char *))
        succeeds(dw_header_set(header, key, va_arg(more, const char *), &error), error);
    va_end(more);
    return header;
}

struct dw_meter *meter_of(const struct dw_header *header, const struct dw_meter_options *options, const struct wave *wave)
{
    struct dw_error error;
    struct dw_meter *meter = dw_meter_new(header, options, &error);
    ck_assert_msg(meter != NULL, "%s", error.text);
    double block[2 * 37];
    for (size_t done = 0, size = 1; done < wave->count; done += size, size = size % 37 + 1) {
        size = size < wave->count - done ? size : wave->count - done;
        memcpy(block, wave->row + 2 * done, 2 * size * sizeof *block);
        succeeds(dw_meter_rows(meter, block, size, &error), error);
        memset(block, 0xff, sizeof block); /* the meter may not look at a block again */
    }
    succeeds(dw_meter_finish(meter, &error), error);
    return meter;
}

double measured(const struct dw_meter *meter, enum dw_measure measure)
{
    const struct dw_result result = dw_meter_result(meter, 0, measure);
    ck_assert_msg(result.had, "%s was left out", dw_measure_name(measure));
    return result.value;
}

bool left_out(const struct dw_meter *meter, enum dw_measure measure)
{
    return !dw_meter_result(meter, 0, measure).had;
}

bool noted(const struct dw_meter *meter, const char *text)
{
    struct dw_meter_note note;
    for (size_t i = 0; dw_meter_note(meter, i, &note); i++)
        if (!strcmp(note.text, text))
            return true;
    return false;
}

struct dw_spectrum *spectrum_of(const struct dw_header *header, const struct dw_spectrum_options *options,
                                       const struct wave *wave)
{
    struct dw_error error = { .status = DW_OK };
    struct dw_spectrum *s = dw_spectrum_new(header, options, &error);
    ck_assert_msg(s != NULL, "%s", error.text);
    for (size_t at = 0, block = 1; at < wave->count; at += block, block = block % 7 + 1) {
        if (block > wave->count - at)
            block = wave->count - at;
        succeeds(dw_spectrum_rows(s, wave->row + 2 * at, block, &error), error);
    }
    succeeds(dw_spectrum_finish(s, &error), error);
    return s;
}

bool said(const struct dw_spectrum *s, bool caution, const char *text)
{
    struct dw_spectrum_note note;
    for (size_t i = 0; dw_spectrum_note(s, i, &note); i++)
        if (!strcmp(note.text, text))
            return note.caution == caution;
    return false;
}

bool silent(const struct dw_spectrum *s)
{
    struct dw_spectrum_note note;
    return !dw_spectrum_note(s, 0, &note);
}
