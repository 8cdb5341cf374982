/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIGURE_LABELS_INNER_H
#define FIGURE_LABELS_INNER_H

#include "layout.h"

/* MOST_LABELS: traces that one panel can hold */
enum { MOST_LABELS = 256 };

#define LABEL_LEADING 1.2 /* distance of lines, as a share of the size of letters */

/* Fills layout->label [panel->traces] with texts that fit beside layout->box, of which the height is known: lines and
 * letters become smaller until all fit; after that the last traces go without. */
void labels_fit(struct panel_layout *layout, const struct panel *panel, double font);
double labels_width(const struct panel_layout *layout, struct canvas *canvas);
/* Puts them beside layout->box. */
void labels_place(struct panel_layout *layout, const struct panel *panel, const struct axis *x, double font);

#endif
