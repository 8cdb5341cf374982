/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any spelling is a finite value or a clear refusal, and what is printed reads back. The first byte chooses the kind. */
#include "config.h"
#include "promise.h"
#include <dutywright/value.h>
#include <ctype.h>

const int replay_changes = 1500; /* scripts/fuzz short: 300000 inputs */

/* Number text: what reads prints, and reads again as the same double; the C library reads the same. */
static void read_number(const char *text, size_t length)
{
    char printed[DW_NUMBER_SIZE];
    double value = -7, again = -7;
    const char *end = dw_number_read(text, text + length, &value);
    demand(end >= text && end <= text + length, "reading stays within the text");
    if (end == text) {
        demand(value == -7, "a value that was not read is untouched");
        return;
    }
    const size_t size = dw_number_print(printed, value);
    demand(size < DW_NUMBER_SIZE && strlen(printed) == size, "a number fits its room");
    demand(dw_number_read(printed, printed + size, &again) == printed + size, "what is printed reads whole");
    demand(isnan(value) ? isnan(again) : value == again && signbit(value) == signbit(again), "a number comes back");
    demand(isnan(value) || strtod(printed, NULL) == value, "the C library reads the same from what is printed");
    char taken[512];
    if ((size_t)(end - text) < sizeof taken) {
        memcpy(taken, text, (size_t)(end - text));
        taken[end - text] = 0;
        demand(isnan(value) || strtod(taken, NULL) == value, "the C library reads the same from what was given");
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static char text[4096];
    if (size < 1 || size > sizeof text)
        return 0;
    const enum dw_quantity kind = data[0] % (DW_PHASE + 1);
    memcpy(text, data + 1, size - 1);
    text[size - 1] = 0;
    struct dw_error error = { .status = DW_OK };
    double value = -7;
    if (dw_quantity_parse(text, kind, &value, &error) == DW_OK) {
        char shown[64];
        demand(isfinite(value), "a quantity is finite");
        demand(dw_quantity_print(shown, sizeof shown, value, dw_quantity_unit(kind), 4) < sizeof shown, "a quantity fits");
        demand(strlen(shown) > 0, "a quantity shows");
        char plain[DW_NUMBER_SIZE];
        double again;
        dw_number_print(plain, value);
        demand(dw_quantity_parse(plain, kind, &again, &error) == DW_OK && again == value, "its SI value reads back");
    } else {
        demand(value == -7, "a value that was refused is untouched");
        demand_error(&error, DW_BAD_USE, DW_BAD_USE);
    }
    read_number(text, size - 1);
    return 0;
}
