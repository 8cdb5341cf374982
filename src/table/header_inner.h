/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Headers, and what rows are cut and judged by. Not installed. */
#ifndef TABLE_HEADER_INNER_H
#define TABLE_HEADER_INNER_H

#include <dutywright/splice.h>
#include <dutywright/table.h>
#include <dutywright/value.h>
#include <math.h>
#include <stdbool.h>
#include <stddef.h>

/* ---- times that meet, the instants at which a record is cut, and rows that may be in a table ---- */

/* Whether two times are the same to 4 units in the last place. Infinite ones meet nothing: the bound is then no number. */
static inline bool times_meet(double a, double b)
{
    const double size = fmax(fabs(a), fabs(b));
    return fabs(a - b) <= 4 * (nextafter(size, INFINITY) - size);
}

/* ---- instants at which a record is cut: boundaries of periods, or the two ends of a span ---- */

struct clock {
    double origin, period;  /* period 0: instants are `once` and then `twice` */
    double once, twice;
    double k;               /* period clocks: number of the next boundary */
    double next;            /* the next instant, INFINITY where none follows */
    double earliest, latest;/* a row in this window is on it */
    double blurred_from;    /* s: beyond, on either side of 0, boundaries are too close for doubles to tell them apart */
};

/* No instant at all; instants at both ends of a span (either may be infinite). */
struct clock dwi_clock_none(void);
struct clock dwi_clock_between(double from, double to);
/* Boundaries origin + k * period from the first at or after `start` (within 4 ulp). */
struct clock dwi_clock_periods(double origin, double period, double start);
/* Goes to the instant after the present one. */
void dwi_clock_advance(struct clock *clock);
/* Period clocks: goes on so that at most `keep` boundaries before `time` are still to come; false where that is so already. */
bool dwi_clock_skip(struct clock *clock, double time, double keep);

/* ---- which rows a table may hold: finite numbers, time never going back ---- */

/* How many leading rows are good.
 *   values   [rows x columns], row after row, time first
 *   last     in: time of the row before them; out: of the last good one */
size_t dwi_good_rows(const double *values, size_t rows, size_t columns, double *last);

/* ---- what the reader and the writer know of a header beyond its public face ---- */

/* Limits of what is read and written; docs/wave-table.md names them. */
enum { HEADER_LIMIT = 1 << 20, LINE_LIMIT = 1 << 20, CHANNEL_LIMIT = 1024, KEY_LIMIT = 4096 };

/* Spells of the format itself: no header key may have these names. */
#define TABLE_MARK "# wave-table 1"
#define BINARY_MARK "float64le"

struct header_entry {
    char *key, *value;
    unsigned long long line; /* of the file where it stood; 0: none */
};
/* What a key says of one channel; NaN: nothing. Only `accuracy` has a second number. */
struct pair {
    double number, share;
};
struct header_column {
    char *name, *unit;
    bool slope;   /* of the column before */
    struct dw_channel_facts facts;
    struct pair fresh; /* while a key is read: what it says of this channel */
};
struct dw_header {
    struct header_entry *entries;
    size_t entry_count, entry_room;
    struct header_column *columns; /* column 0 is time */
    size_t column_count, column_room;
    struct dw_facts facts;
    unsigned long long line; /* of the file, while that is read */
};

/* Whether a first column of this name, without a unit, is a time in s: time, t, seconds and the like. */
bool dwi_is_time_name(const char *name);
bool dwi_header_name_is_good(const char *name);
bool dwi_header_unit_is_good(const char *unit);
/* Whether a column other than `except` has this name. */
bool dwi_header_name_is_taken(const struct dw_header *header, const char *name, size_t except);
/* DW_BAD_USE where a name or unit cannot stand in the columns line. */
enum dw_status dwi_header_check_column(const char *name, const char *unit, struct dw_error *error);

/* Room for one more of what an array holds: at least doubles, so that appending stays linear. */
bool dwi_make_room(void **array, size_t *room, size_t count, size_t size);

/* Keys that hold channels and their numbers: "out 0 current 0.5". */
enum pair_key { INITIAL, ACCURACY, PAIR_KEYS };
extern const char *const dwi_pair_keys[];
/* PAIR_KEYS: another key. */
enum pair_key dwi_pair_key_of(const char *key);
struct pair dwi_pair_of(const struct dw_channel_facts *facts, enum pair_key key);
void dwi_pair_put(struct dw_channel_facts *facts, enum pair_key key, struct pair pair);
bool dwi_pair_is_there(struct pair pair);

/* NULL: no such key. */
struct header_entry *dwi_header_find_entry(const struct dw_header *header, const char *key);

/* Takes in what a known key says; on error the facts are as before. What is said of channels waits for the columns.
 *   value    as it will stand, without blanks at its ends; NULL: the key is gone
 *   returns  DW_OK, also for other keys; DW_BAD_USE where it does not read; DW_NO_MEMORY */
enum dw_status dwi_header_take(struct dw_header *header, const char *key, const char *value, struct dw_error *error);

/* A header without even a first column, for readers. */
struct dw_header *dwi_header_new_empty(struct dw_error *error);
/* Appends a column as it is, a slope too: a name already taken is an error. */
enum dw_status dwi_header_append_exactly(struct dw_header *header, const char *name, const char *unit, struct dw_error *error);

/* Names a slope and its unit after its channel, without a look at what stood there. false: no memory, and it has neither. */
bool dwi_header_name_slope(const struct header_column *of, struct header_column *slope);
/* Puts a slope behind a channel that has none. */
enum dw_status dwi_header_insert_slope(struct dw_header *header, size_t column, struct dw_error *error);
void dwi_header_free_column(const struct header_column *column);

/* One header line without its line end, "# key: value"; the columns line fills the columns.
 *   first, last  the line's bytes; may be changed
 *   binary       out: set where the line says that rows are binary, and so is the last of the header
 *   error        out, not NULL; its text names neither file nor line, line is that of a key above or 0
 *   returns      DW_OK, DW_NO_MEMORY, or another where it does not read */
enum dw_status dwi_header_parse_line(struct dw_header *header, char *first, char *last, bool *binary, struct dw_error *error);
/* Whether a table can have this header: a first column in its plain unit, a channel, and no line left out. */
enum dw_status dwi_header_check(const struct dw_header *header, struct dw_error *error);
/* The header as it stands in a file, NUL-terminated; the caller frees it. NULL on error.
 *   size   out: bytes without the NUL */
char *dwi_header_text(const struct dw_header *header, enum dw_encoding encoding, size_t *size, struct dw_error *error);

/* What a first column's unit is multiplied by to give s or Hz; 0 where the unit is neither.
 *   power   out: the unit is 10^power of the plain one
 *   plain   out: "s" or "Hz" */
bool dwi_header_unit_power(const char *unit, int *power, const char **plain);
/* The same for any column: a unit of the SI or ohm with an SI prefix, such as mV, uA or kHz. */
bool dwi_header_unit_prefixed(const char *unit, int *power, const char **plain);

/* What a value is divided and then multiplied by; one of the two is 1, so that one rounding is all that converting costs. */
struct unit_scale {
    double divisor, factor;
};
/* From a unit that is 10^power of the other to that. */
struct unit_scale dwi_unit_scale_of(int power);

/* DW_BAD_USE where a key's number is not finite. */
enum dw_status dwi_header_check_finite(const char *key, double value, struct dw_error *error);

/* Bytes of the UTF-8 letter at `at`: 0 where none begins there, or it is a control character. */
size_t dwi_letter_length(const char *at, const char *last);

/* A few bytes of input for a message: printable, cut to fit. Returns out.
 *   out    [size], size >= 8 */
const char *dwi_quoted(char *out, size_t size, const char *first, const char *last);

#endif
