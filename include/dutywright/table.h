/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The wave table: header, reader, writer, and the instants of its periods. docs/wave-table.md is the format. */
#ifndef DUTYWRIGHT_TABLE_H
#define DUTYWRIGHT_TABLE_H

#include <dutywright/status.h>
#include <stdbool.h>
#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

/* ---- header: keys in order, and the columns. Column 0 is time (or frequency); channels count from 1. ---- */

enum dw_encoding { DW_TEXT, DW_BINARY, DW_CSV };

struct dw_column {
    const char *name;  /* letters, digits, _ - . */
    const char *unit;  /* "V"; "1" for a pure number; "" unknown (foreign table) */
};

struct dw_header;
DW_API struct dw_header *dw_header_new(const char *first_name, const char *first_unit, struct dw_error *error);
DW_API struct dw_header *dw_header_copy(const struct dw_header *header, struct dw_error *error);
DW_API void dw_header_free(struct dw_header *header);

/* First value of a key or NULL. made-by and note may occur several times; the others once. Keys are letters, digits, _ - .
 * and a value is one line, without blanks at its ends. What the format itself uses (wave-table, columns, rows, end) is
 * no key. set replaces all of a key or appends it; add is DW_BAD_USE where the key is there and may not occur twice, and
 * both are where a key of dw_header_facts does not read. There may be 4,096 keys that stand once. */
DW_API const char *dw_header_get(const struct dw_header *header, const char *key);
DW_API enum dw_status dw_header_set(struct dw_header *header, const char *key, const char *value, struct dw_error *error);
DW_API enum dw_status dw_header_add(struct dw_header *header, const char *key, const char *value, struct dw_error *error);
DW_API void dw_header_drop(struct dw_header *header, const char *key);
/* The same with a number; DW_BAD_USE where it is not finite. */
DW_API enum dw_status dw_header_set_number(struct dw_header *header, const char *key, double value,
                                           struct dw_error *error);
/* Whether the first column is a time in s, without which there is no wave; one without a unit is taken as s where its name is that of
 * a time, such as time, t or seconds.
 *   place    as above
 *   returns  DW_OK; DW_BAD_INPUT where it is another */
DW_API enum dw_status dw_header_needs_time(const struct dw_header *header, const char *place, struct dw_error *error);
/* Keys in order, for printing and for passing on: i from 0 until NULL is returned. */
DW_API const char *dw_header_key(const struct dw_header *header, size_t i, const char **value);

DW_API size_t dw_header_columns(const struct dw_header *header);  /* of a row: time and slopes included */
DW_API struct dw_column dw_header_column(const struct dw_header *header, size_t column);
/* Appends a channel; a name already taken gets -2, -3, ... */
DW_API enum dw_status dw_header_append(struct dw_header *header, const char *name, const char *unit,
                                       struct dw_error *error);
/* Where the slope of a column stands in a row, in its unit / s: between two rows of different time the channel is then the cubic
 * with their values and slopes; of rows at one time the first ends the piece before, the last begins the piece after. 0: there is
 * none, and straight lines join the rows. A slope is no channel: it is found, renamed and chosen with the one that it goes with. */
DW_API size_t dw_header_slope(const struct dw_header *header, size_t column);
/* Whether a column is the slope of the one before it. */
DW_API bool dw_header_is_slope(const struct dw_header *header, size_t column);
/* All at once, as struct dw_pieces_plan wants them.
 *   slope    out, [columns]; may be NULL
 *   returns  how many there are */
DW_API size_t dw_header_slopes(const struct dw_header *header, size_t *slope);
/* Gives the last channel a slope, which becomes the last column.
 *   returns  DW_OK; DW_BAD_USE where it is one, or where the first column is no time; DW_NO_MEMORY */
DW_API enum dw_status dw_header_append_slope(struct dw_header *header, struct dw_error *error);
/* Another name for a channel; its unit too, unless NULL. DW_BAD_USE where the name is taken or is none. */
DW_API enum dw_status dw_header_rename(struct dw_header *header, size_t column, const char *name, const char *unit,
                                       struct dw_error *error);
/* A header with the same keys, column 0 and these channels in this order, each with its slope.
 *   columns  [count], 1 to columns - 1, each once, no slopes */
DW_API struct dw_header *dw_header_select(const struct dw_header *header, const size_t *columns, size_t count,
                                          struct dw_error *error);
/* A header with the same keys and channels, but without slopes.
 *   returns  NULL on error: DW_NO_MEMORY */
DW_API struct dw_header *dw_header_without_slopes(const struct dw_header *header, struct dw_error *error);
/* Column of a channel by name ("pin" or "pin[V]"), 0 where there is none: then DW_BAD_USE and the nearest name. */
DW_API size_t dw_header_find(const struct dw_header *header, const char *name, struct dw_error *error);
/* Whether values in one unit become values in another by moving the point: both are the same unit, and where one has an SI
 * prefix, it is V, A, W, Hz, ohm, s, J or Nm.
 *   from, to         units as in a header, "mV"
 *   divisor, factor  out: by these a value is divided and then multiplied; one of them is 1, the other a power of ten, so
 *                    that one rounding is all that converting costs; untouched where the answer is no
 *   returns          the answer
 *   source           prefixes: BIPM, SI brochure, 9th ed., those from pico to giga */
DW_API bool dw_unit_converts(const char *from, const char *to, double *divisor, double *factor);
/* The last channel whose unit is `unit`; where no channel has a unit at all (foreign table), the last channel. 0: none, and
 * the text says how to convert one that only has another SI prefix. */
DW_API size_t dw_header_last_with_unit(const struct dw_header *header, const char *unit, struct dw_error *error);

/* Which of the known keys are there. */
enum dw_fact {
    DW_FACT_PERIOD = 1,
    DW_FACT_CARRIER_PERIOD = 2,
    DW_FACT_ORIGIN = 4,
    DW_FACT_LEVELS = 8,
    DW_FACT_SAMPLED = 16,
    DW_FACT_TICK = 32
};
/* What the known keys say of the table; 0 where a key is missing. Only the library makes these, so that they may grow. */
struct dw_facts {
    unsigned has;           /* of enum dw_fact, joined by | */
    double period;          /* s, above 0: the whole pattern repeats after it */
    double carrier_period;  /* s, above 0: the switching period, where it is another */
    double origin;          /* s: a boundary of the periods */
    double low, high;       /* V, low below high: levels of the pin */
    double sampled;         /* 1/s, above 0: rows are equally spaced samples, so many a second */
    double tick;            /* s, above 0: edges stand at whole multiples of it from the origin */
};
/* What they say of one channel, in its unit; NaN where nothing is said. */
struct dw_channel_facts {
    double initial;   /* value before the first row */
    double accuracy;  /* 0 or above: how far the true wave may be from the lines or curves; */
    double share;     /* 0 or above: likewise, of the largest change of the channel from row to row, or rather from turn to turn, within
                         the last period of the carrier, and the lesser counts; NaN with accuracy alone */
};
/* Both hold until the header is next changed, and say what its keys say at all times: a known key that does not read, is
 * outside the range above, or names a channel that is not there is refused where it is set and where a table is read.
 *   column   beyond the last: nothing is said of it */
DW_API const struct dw_facts *dw_header_facts(const struct dw_header *header);
DW_API const struct dw_channel_facts *dw_header_channel_facts(const struct dw_header *header, size_t column);
/* Sets what `initial` or `accuracy` say of a channel.
 *   column   1 to columns - 1, no slope
 *   share    NaN: not said; then value must be
 *   value    of accuracy NaN where only a share is said
 *   returns  DW_OK; DW_BAD_USE: no such channel, or a number is not finite or outside the range above; DW_NO_MEMORY */
DW_API enum dw_status dw_header_set_initial(struct dw_header *header, size_t column, double value,
                                            struct dw_error *error);
DW_API enum dw_status dw_header_set_accuracy(struct dw_header *header, size_t column, double value, double share,
                                             struct dw_error *error);

/* What a program does to rows and channels, as far as header keys depend on it. A simulator that keeps its input's
 * channels and appends its own does none of this: 0. */
enum dw_change {
    DW_OTHER_PATTERN = 1,   /* the whole does not repeat as it did: ends period, duty */
    DW_OTHER_CARRIER = 2,   /* the switching instants are others: ends carrier-period, origin, tick */
    DW_OTHER_START = 4,     /* the first row is another: ends initial */
    DW_OTHER_CHANNELS = 8,  /* the channels read are not passed on: ends levels, duty, initial, accuracy */
    DW_OTHER_AXIS = 16,     /* the first column is another quantity: ends all known keys but levels and duty */
    DW_EXACT_ROWS = 32      /* rows are vertices whatever the input was: ends sampled */
};
/* The header of a filter's output from that of its input: a copy without the keys that `changes` ends, and one more
 * made-by line. Keys that the library does not know are passed on.
 *   changes  of enum dw_change, joined by |
 *   made_by  may be NULL
 *   returns  NULL on error */
DW_API struct dw_header *dw_header_derive(const struct dw_header *input, unsigned changes, const char *made_by,
                                          struct dw_error *error);

/* ---- reader ---- */

#define DW_LINES_READ 1e-5

struct dw_reader;
struct dw_reader_options {
    bool partial;  /* accept a table of ours without its end */
    bool curves;   /* rows as they stand, slopes included. Else curves come as straight lines, as dw_lines_new has them with a
                      share of DW_LINES_READ, and neither header nor rows have slopes */
    bool skip_bad; /* pass over rows of a table without our header in which a channel is empty or holds a word, such as an overflow */
    /* Of a table without our header only these columns, in this order, the first as the time: positions from 1, or titles as
     * they stand there, with commas between them and quotes (RFC 4180) around those that hold one; NULL: all that hold something.
     * What stands in the others does not matter. DW_BAD_USE where the table is ours or has no such column. */
    const char *columns;
    /* Told each time that bytes have come in, and once more at their end, where bytes == size; may be NULL.
     *   name   as dw_reader_name
     *   bytes  so far
     *   size   of the file behind where reading began; 0 where it is not known, as in a pipe */
    void (*progress)(void *context, const char *name, unsigned long long bytes, unsigned long long size);
    void *context;
};
/* Opens and reads the header.
 *   path     NULL or "-": standard input
 *   options  may be NULL
 *   returns  NULL on error */
DW_API struct dw_reader *dw_reader_open(const char *path, const struct dw_reader_options *options,
                                        struct dw_error *error);
DW_API void dw_reader_close(struct dw_reader *reader);
DW_API const struct dw_header *dw_reader_header(const struct dw_reader *reader);
DW_API enum dw_encoding dw_reader_encoding(const struct dw_reader *reader);  /* DW_CSV: not our header */
DW_API const char *dw_reader_name(const struct dw_reader *reader);           /* "standard input" or the path */
/* Line (text) or row (binary) last read, counted from 1: for messages of the caller's own. */
DW_API unsigned long long dw_reader_line(const struct dw_reader *reader);
/* Whether the first rows of a table without our header look like samples, but are not equally spaced: all at different times, 16 or
 * more, up to 64. Where they are, its header has the key `sampled`. */
DW_API bool dw_reader_uneven(const struct dw_reader *reader);
/* Whether the table's own end was seen: after DW_END with `partial`, false tells that it was cut or changed. */
DW_API bool dw_reader_whole(const struct dw_reader *reader);
/* What was passed over so far by skip_bad.
 *   out      at least `size` bytes: what was wrong with the first row, "NAME, line 7: 'OVL' is not a number"; untouched without one
 *   returns  how many rows */
DW_API unsigned long long dw_reader_skipped(const struct dw_reader *reader, char *out, size_t size);
/* "standard input, line 814" or "tide.bin, row 12": place of the last row read.
 *   out      at least `size` bytes, cut to fit */
DW_API void dw_reader_place(const struct dw_reader *reader, char *out, size_t size);
/* Next row.
 *   row      out: [columns], valid until the next call; untouched unless DW_OK
 *   returns  DW_OK, DW_END after the table's end, or an error that names file and line */
DW_API enum dw_status dw_reader_row(struct dw_reader *reader, const double **row, struct dw_error *error);
/* Up to `most` rows at once, for speed: row after row, [*rows x columns], valid until the next call. DW_END: none left. */
DW_API enum dw_status dw_reader_rows(struct dw_reader *reader, size_t most, const double **values, size_t *rows,
                                     struct dw_error *error);

/* ---- writer ---- */

struct dw_writer;
/* Writes the header to standard output's or another descriptor.
 *   descriptor  stays the caller's; not closed
 *   encoding    DW_CSV: RFC 4180 title line and commas, no header, no end */
DW_API struct dw_writer *dw_writer_open(int descriptor, const struct dw_header *header, enum dw_encoding encoding,
                                        struct dw_error *error);
/* The same, but curves go out as straight lines: rows come with their slopes, and the table written has none.
 *   share    as in dw_lines_new (splice.h); 0, or a header without slopes: no lines are made
 *   returns  NULL on error, as dw_writer_open and dw_lines_new */
DW_API struct dw_writer *dw_writer_open_lines(int descriptor, const struct dw_header *header, double share,
                                              enum dw_encoding encoding, struct dw_error *error);
/* One row.
 *   row      [columns] of the header given; slopes are rounded to 8 significant digits, whatever the encoding
 *   returns  DW_OK; DW_BAD_INPUT where a value is not finite or time goes back; DW_SYSTEM, DW_CLOSED_PIPE; of lines also DW_NO_MEMORY */
DW_API enum dw_status dw_writer_row(struct dw_writer *writer, const double *row, struct dw_error *error);
/* Many rows, [rows x columns], as if one by one. */
DW_API enum dw_status dw_writer_rows(struct dw_writer *writer, const double *values, size_t rows, struct dw_error *error);
/* Writes the end and flushes: only after DW_OK is the table whole. */
DW_API enum dw_status dw_writer_finish(struct dw_writer *writer, struct dw_error *error);
DW_API void dw_writer_free(struct dw_writer *writer);

/* ---- periods ---- */

/* s, 4 ulp: how far from an instant a row may stand that is on it. Nothing of an infinite time. */
DW_API double dw_time_slack(double time);

/* Boundary k of the periods: origin + k * period, rounded once (fma). Writers and readers use this one. */
DW_API double dw_period_boundary(double origin, double period, double k);
/* Largest k whose boundary is at or before time, where a time within 4 ulp of a boundary is on it.
 *   on_boundary  out, may be NULL
 *   returns      a whole number, negative before the origin; NaN where period is not above zero, where something is not
 *                finite, or where there are 2^52 periods or more, which cannot be told apart */
DW_API double dw_period_index(double origin, double period, double time, bool *on_boundary);

#ifdef __cplusplus
}
#endif
#endif
