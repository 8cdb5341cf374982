/* SPDX-License-Identifier: GPL-3.0-or-later */
/* UTF-8 as people give it, and what the stroke font of the figures can show of it. */
#ifndef FIGURE_TEXT_H
#define FIGURE_TEXT_H

#include <stdbool.h>
#include <stddef.h>

enum { TEXT_LENGTH = 1024 };

/* The next character; bytes that are no UTF-8 count as U+FFFD, one each.
 *   text     not at its end; moved past the character */
unsigned text_next(const char **text);

/* Characters of UTF-8. */
size_t text_length(const char *text);

/* Translates UTF-8 for libplot's stroke fonts: ISO 8859-1 with escapes for Greek letters and mathematical signs; what the
 * font does not have becomes what comes nearest, in the end a question mark. Control characters become blanks.
 *   out       NUL-terminated, cut at `size` */
void text_for_strokes(char *out, size_t size, const char *utf8);

/* Whether that shows the text without such question marks. */
bool text_has_strokes(const char *utf8);

/* UTF-8 as valid XML character data: markup escaped, what is no UTF-8 or no XML character replaced.
 *   out       NUL-terminated, cut at `size` between characters */
void text_for_xml(char *out, size_t size, const char *utf8);

/* Printable ASCII for a comment in a file. */
void text_for_comment(char *out, size_t size, const char *utf8);

/* For a terminal: control characters become blanks, so that no text from elsewhere steers it, and what is no UTF-8 a question
 * mark.
 *   ascii     also what is beyond ASCII: u for micro, ohm, deg, - for a minus sign, ... for an ellipsis, else ? */
void text_for_terminal(char *out, size_t size, const char *utf8, bool ascii);

/* Cuts the middle out of a text, so that at most so many characters are left, one of them an ellipsis.
 *   most      >= 3 */
void text_shorten(char *out, size_t size, const char *utf8, size_t most);

#endif
