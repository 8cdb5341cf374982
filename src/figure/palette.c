/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "palette.h"

struct look palette_look(size_t i)
{
    static const unsigned colours[COLOURS] = {
        0x0072b2, /* blue */
        0xd55e00, /* vermillion */
        0x009e73, /* bluish green */
        0xcc79a7, /* reddish purple */
        0xe69f00, /* orange */
        0x56b4e9, /* sky blue */
        0x000000,
    };
    i %= LOOKS;
    return (struct look){ colours[i % COLOURS], (int)(i / COLOURS), (enum mark)(i % MARKS) };
}

unsigned palette_tint(unsigned colour, double share)
{
    unsigned tint = 0;
    for (int shift = 0; shift <= 16; shift += 8) {
        const double part = colour >> shift & 0xff, paper = PAPER >> shift & 0xff;
        tint |= (unsigned)(paper + share * (part - paper) + 0.5) << shift;
    }
    return tint;
}
