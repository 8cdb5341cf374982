/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIGURE_DRAW_H
#define FIGURE_DRAW_H

#include "layout.h"

/* Draws a sheet as it was laid out. DW_OK or DW_NO_MEMORY. */
enum dw_status sheet_draw(const struct sheet *sheet, const struct layout *layout, struct canvas *canvas,
                          struct dw_error *error);

#endif
