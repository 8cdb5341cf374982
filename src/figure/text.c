/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "text.h"
#include <stdio.h>
#include <string.h>

enum { NO_CHARACTER = 0xfffd };

/* Bytes that follow the first one of a character; -1 where none begins with it. */
static int followers(unsigned char first)
{
    return first < 0x80 ? 0 : first >= 0xc2 && first < 0xe0 ? 1 : first >= 0xe0 && first < 0xf0 ? 2
         : first >= 0xf0 && first < 0xf5 ? 3 : -1;
}

unsigned text_next(const char **text)
{
    static const unsigned least[] = { 0, 0x80, 0x800, 0x10000 };
    const unsigned char *byte = (const unsigned char *)*text;
    const int more = followers(*byte);
    ++*text;
    if (more <= 0)
        return more ? NO_CHARACTER : *byte;
    unsigned character = *byte & (0x3fu >> more);
    for (int i = 1; i <= more; i++) {
        if ((byte[i] & 0xc0) != 0x80)
            return NO_CHARACTER;
        character = character << 6 | (byte[i] & 0x3fu);
    }
    if (character < least[more] || (character >= 0xd800 && character < 0xe000) || character > 0x10ffff)
        return NO_CHARACTER;
    *text += more;
    return character;
}

size_t text_length(const char *text)
{
    size_t length = 0;
    for (; *text; length++)
        text_next(&text);
    return length;
}

/* What the font shows for a character outside printable ASCII and its part of ISO 8859-1. */
static const char *sign(unsigned character)
{
    static const struct { unsigned character; const char *text; } signs[] = {
        { '\\', "\\#H0804" }, /* a bare backslash would begin an escape */
        { 0xa4, "?" }, { 0xa6, "|" }, { 0xab, "\\mk<\\rt\\r4<" }, { 0xad, "-" }, { 0xb6, "?" }, { 0xb8, "," }, { 0xbb, "\\mk>\\rt\\r4>" },
        { 0xd0, "\\mk-\\rtD" }, { 0xd8, "\\mkO\\rt/" }, { 0xf8, "\\mko\\rt/" }, { 0xde, "Th" }, { 0xf0, "d" }, { 0xfe, "th" },
        { 0x152, "OE" }, { 0x153, "oe" }, { 0x160, "S" }, { 0x161, "s" }, { 0x17d, "Z" }, { 0x17e, "z" },
        { 0x3c2, "\\*s" }, { 0x3d5, "\\*f" },
        { 0x2009, " " }, { 0x202f, " " }, { 0x2010, "-" }, { 0x2011, "-" }, { 0x2012, "-" }, { 0x2013, "-" }, { 0x2014, "-\\l4-" },
        { 0x2018, "'" }, { 0x2019, "'" }, { 0x201c, "\"" }, { 0x201d, "\"" }, { 0x201e, "\"" }, { 0x2022, "\xb7" },
        { 0x2026, "..." }, { 0x2030, "o/oo" }, { 0x2032, "'" }, { 0x2033, "\"" }, { 0x20ac, "\\r8\\mk\\l6=\\rtC" }, { 0x2126, "\\*W" },
        { 0x2190, "\\<-" }, { 0x2192, "\\->" }, { 0x2206, "\\*D" }, { 0x2211, "\\*S" }, { 0x2212, "-" }, { 0x221a, "\\sr" },
        { 0x221e, "\\if" }, { 0x2248, "\\~~" }, { 0x2260, "\\!=" }, { 0x2264, "\\<=" }, { 0x2265, "\\>=" },
    };
    for (size_t i = 0; i < sizeof signs / sizeof signs[0]; i++)
        if (signs[i].character == character)
            return signs[i].text;
    return NULL;
}

/* The escape for a Greek letter; its last character is the letter in libplot's own order. Capitals that look
 * like Latin letters are these. */
static bool greek(char *out, unsigned character)
{
    static const char lower[] = "abgdezyhiklmncoprsstufxqw", upper[] = "ABGDEZYHIKLMNCOPRSSTUFXQW";
    static const char latin[] = "AB..EZH.IK.MN.O.P..T..X..";
    if (character >= 0x3b1 && character <= 0x3c9) {
        sprintf(out, "\\*%c", lower[character - 0x3b1]);
        return true;
    }
    if (character < 0x391 || character > 0x3a9)
        return false;
    if (latin[character - 0x391] != '.')
        sprintf(out, "%c", latin[character - 0x391]);
    else
        sprintf(out, "\\*%c", upper[character - 0x391]);
    return true;
}

/* Letters of Latin Extended-A, without their accents; 0 for others. */
static char plain_letter(unsigned character)
{
    static const char letters[] = "AaAaAaCcCcCcCcDdDdEeEeEeEeEeGgGgGgGgHhHhIiIiIiIiIiIiJjKkkLlLlLlLlLlNnNnNnnNnOoOoOoOoRrRrRrSsSsSsSs"
                                  "TtTtTtUuUuUuUuUuUuWwYyYZzZzZzs";
    return character >= 0x100 && character < 0x180 ? letters[character - 0x100] : 0;
}

/* What the font shows for a character.
 *   own       [8]: room for it
 *   returns   NULL: it has nothing like it */
static const char *strokes_of(char *own, unsigned character)
{
    const char *found = sign(character);
    const bool blank = character < 0x20 || (character >= 0x7f && character <= 0xa0);
    if (found || greek(own, character))
        return found ? found : own;
    own[0] = (char)(blank ? ' ' : character < 0x100 ? (int)character : plain_letter(character));
    own[1] = 0;
    return own[0] ? own : NULL;
}

bool text_has_strokes(const char *utf8)
{
    bool all = true;
    for (char own[8]; *utf8;)
        all = strokes_of(own, text_next(&utf8)) && all;
    return all;
}

/* Whether it still fits, whole. */
static bool append(char *out, size_t size, size_t *used, const char *shown)
{
    const size_t length = strlen(shown);
    if (*used + length >= size)
        return false;
    memcpy(out + *used, shown, length);
    *used += length;
    return true;
}

void text_for_strokes(char *out, size_t size, const char *utf8)
{
    size_t used = 0;
    while (*utf8) {
        char own[8];
        const char *shown = strokes_of(own, text_next(&utf8));
        shown = shown ? shown : "?";
        if (!append(out, size, &used, shown))
            break;
    }
    out[used] = 0;
}

void text_for_xml(char *out, size_t size, const char *utf8)
{
    size_t used = 0;
    while (*utf8) {
        const char *from = utf8;
        const unsigned character = text_next(&utf8);
        char bytes[8] = { 0 };
        const char *shown = bytes;
        if (character == '&' || character == '<' || character == '>')
            shown = character == '&' ? "&amp;" : character == '<' ? "&lt;" : "&gt;";
        else if (character == NO_CHARACTER || character == 0xfffe || character == 0xffff)
            shown = "\xef\xbf\xbd";
        else if (character < 0x20)
            shown = character == '\n' ? "\n" : " ";
        else
            memcpy(bytes, from, (size_t)(utf8 - from));
        if (!append(out, size, &used, shown))
            break;
    }
    out[used] = 0;
}

void text_for_comment(char *out, size_t size, const char *utf8)
{
    size_t used = 0;
    while (*utf8 && used + 1 < size) {
        const unsigned character = text_next(&utf8);
        out[used++] = (char)(character < 0x20 ? ' ' : character < 0x7f ? (int)character : '?');
    }
    out[used] = 0;
}

/* own: [2], room for a letter without its accent */
static const char *in_ascii(char *own, unsigned character)
{
    static const char latin[] = "AAAAAAACEEEEIIIIDNOOOOOxOUUUUYTsaaaaaaaceeeeiiiidnooooo/ouuuuyty";
    switch (character) {
    case 0xab: case 0xbb: return character == 0xab ? "<<" : ">>";
    case 0xb0: return "deg";
    case 0xb1: return "+-";
    case 0xb2: case 0xb3: case 0xb9: return character == 0xb2 ? "2" : character == 0xb3 ? "3" : "1";
    case 0xb5: case 0x3bc: return "u";
    case 0x3a9: case 0x2126: return "ohm";
    case 0xb7: return ".";
    case 0x2010: case 0x2011: case 0x2012: case 0x2013: case 0x2014: case 0x2212: return "-";
    case 0x2018: case 0x2019: return "'";
    case 0x201c: case 0x201d: return "\"";
    case 0x2026: return "...";
    case 0x20ac: return "EUR";
    case 0x2264: case 0x2265: return character == 0x2264 ? "<=" : ">=";
    default: break;
    }
    own[0] = character >= 0xc0 && character < 0x100 ? latin[character - 0xc0] : plain_letter(character);
    own[1] = 0;
    return *own ? own : "?";
}

void text_for_terminal(char *out, size_t size, const char *utf8, bool ascii)
{
    size_t used = 0;
    while (*utf8) {
        const char *from = utf8;
        const unsigned character = text_next(&utf8);
        char bytes[8] = { 0 };
        const char *shown = bytes;
        if (character < 0x20 || (character >= 0x7f && character < 0xa0))
            shown = " ";
        else if (character == NO_CHARACTER)
            shown = "?";
        else if (ascii && character > 0x7e)
            shown = in_ascii(bytes, character);
        else
            memcpy(bytes, from, (size_t)(utf8 - from));
        if (!append(out, size, &used, shown))
            break;
    }
    out[used] = 0;
}

void text_shorten(char *out, size_t size, const char *utf8, size_t most)
{
    const size_t length = text_length(utf8);
    if (length <= most) {
        snprintf(out, size, "%s", utf8);
        return;
    }
    const size_t tail = (most - 1) / 3, head = most - 1 - tail;
    const char *cut = utf8, *rest = utf8;
    for (size_t i = 0; i < head; i++)
        text_next(&cut);
    for (size_t i = 0; i < length - tail; i++)
        text_next(&rest);
    snprintf(out, size, "%.*s\xe2\x80\xa6%s", (int)(cut - utf8), utf8, rest);
}
