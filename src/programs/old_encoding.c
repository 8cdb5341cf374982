/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "old_common.h"

enum dw_encoding output_encoding(const struct common_options *options, const struct dw_reader *reader)
{
    if (options->binary || options->text || !reader)
        return options->binary ? DW_BINARY : DW_TEXT;
    return dw_reader_encoding(reader) == DW_BINARY ? DW_BINARY : DW_TEXT;
}
