/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/spectrum_inner.h"
#include <stdarg.h>
#include <stdio.h>

/* HFT90D: the coefficients are Heinzel's, whose sum is 0, so that the ends of the span do not jump. */
static const struct taper tapers[] = {
    [DW_TAPER_NONE] = { "none", 1, { 1 } },
    [DW_TAPER_HANN] = { "Hann", 2, { 1, -1 } },
    [DW_TAPER_FLAT_TOP] = { "flat-top", 5, { 1, -1.942604, 1.340318, -0.440811, 0.043097 } },
};

const struct taper *dwi_taper_of(enum dw_taper taper)
{
    return &tapers[taper];
}

/* Line k of the wave without its mean, lines below 0 being the conjugates. */
static double part(const double *lines, size_t k, size_t minus, size_t which)
{
    if (k == minus)
        return 0;
    if (k > minus)
        return lines[2 * (k - minus) + which];
    return which ? -lines[2 * (minus - k) + 1] : lines[2 * (minus - k)];
}

void dwi_taper_apply(const struct taper *t, const double *lines, size_t stride, size_t last, double *out, double *mean)
{
    *mean = 0;
    for (size_t m = 1; m < t->terms; m++)
        *mean += t->cosine[m] * lines[2 * m]; /* twice the half of line m, and of its conjugate */
    for (size_t n = 0; n <= last; n++)
        for (size_t which = 0; which < 2; which++) {
            const size_t k = n * stride;
            double sum = part(lines, k, 0, which);
            for (size_t m = 1; m < t->terms; m++)
                sum += t->cosine[m] / 2 * (part(lines, k, m, which) + lines[2 * (k + m) + which]);
            if (which == 0 && k < t->terms) /* the weighted mean, which stands in line 0, leaks no further */
                sum -= *mean * (k ? t->cosine[k] / 2 : 1);
            out[2 * n + which] = sum;
        }
}

/* ---- what should be known about the lines ---- */

void dwi_spectrum_remark(struct dw_spectrum *s, size_t channel, bool caution, const char *format, ...)
{
    va_list arguments;
    struct spectrum_note *note = &s->note[s->notes++];
    note->channel = channel;
    note->caution = caution;
    va_start(arguments, format);
    vsnprintf(note->text, sizeof note->text, format, arguments);
    va_end(arguments);
}

enum dw_status dwi_spectrum_too_many(double lines, struct dw_error *error)
{
    return dw_error_set(error, DW_BAD_USE, 0, "%.15g lines are asked; at most %d can be had", lines, DW_LINES_MOST);
}

bool dw_spectrum_note(const struct dw_spectrum *s, size_t i, struct dw_spectrum_note *note)
{
    if (i >= s->notes)
        return false;
    *note = (struct dw_spectrum_note){ s->note[i].channel, s->note[i].caution, s->note[i].text };
    return true;
}
