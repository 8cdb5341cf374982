/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What should be known about the lines of a spectrum. */
#include "measure/spectrum_inner.h"
#include <stdarg.h>
#include <stdio.h>

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
