/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-spectrum: the lines of a wave's spectrum, as a table against frequency or as a report. */
#include "common.h"
#include "report.h"
#include <dutywright/spectrum.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct spectrum_options {
    struct common_options common;
    struct option_texts channels;  /* none: all */
    struct dw_spectrum_options how;
    bool report;
};

static const char *const tapers[] = { "none", "hann", "flat-top", NULL };

#define OPTION_STRUCT struct spectrum_options
static const struct option_spec options[] = {
    { "channel", "NAMES", "Channels to take, joined by commas or given one by one (default: all)", OPTION_TEXTS(channels) },
    { "fundamental", "F", "Frequency whose harmonics are wanted (Hz; default: 1 / period, where the table says its period, else 1 / carrier-period)",
      OPTION_QUANTITY(how.fundamental, DW_FREQUENCY), OPTION_ABOVE_ZERO },
    { "harmonics", "N", "How many lines (default 40)", OPTION_COUNT(how.harmonics, 1, DW_LINES_MOST) },
    { "to", "F", "All lines up to this frequency (Hz), instead of a number of them", OPTION_QUANTITY(how.highest, DW_FREQUENCY),
      OPTION_ABOVE_ZERO },
    { "taper", "NAME", "Weight the span by none, hann or flat-top, for a record that holds no whole number of periods (default none)",
      OPTION_WORD(how.taper, tapers) },
    { "report", NULL, "Write mean, rms, THD and the harmonics as a report instead of a table", OPTION_FLAG(report) },
    { 0 }
};

static const struct option_rule rules[] = {
    { OPTION_EXCLUDES, "harmonics", "to", "both say how many lines; give one" },
    { OPTION_EXCLUDES, "report", "binary", "a report is no table" },
    { OPTION_EXCLUDES, "report", "text", "a report is no table; --format says how it is written" },
    { OPTION_REFUSED, "format digits", "!report", "belongs to --report, which is missing" },
    { 0 }
};

static const char doc[] =
    "Write the spectrum of the channels of a wave table: amplitude, level and phase of every harmonic. Between rows a "
    "channel is the cubic with their values and slopes where it has slopes, else a straight line; edges are ideal jumps. The "
    "Fourier integrals are exact for those, so nothing aliases however high the harmonic."
    "\v"
    "The table written has a row for each line and begins with frequency[Hz]. A channel pin[V] becomes pin[V], its amplitude "
    "(peak, not rms); pin-level[dB], re the fundamental; and pin-phase[deg]. The wave is the sum over the rows of amplitude "
    "* cos(2 pi frequency (t - start) + phase), where start is the first number of the key span. Row 0 Hz is the mean "
    "(phase 180 where it is negative). The phase of a line below 1e-12 of the largest is rounding and written as 0; a line "
    "without any amplitude has -400 dB. dw-plot draws such a table as stems.\n"
    "\n"
    "The span, by default, is the last whole period where the table says its period; where only --fundamental or the carrier is "
    "known, and with a taper, all whole periods; else the whole table, whose lines are then 1 / length apart, and half as many of them "
    "as rows. Lines of several periods are those of their mean. A span that begins at a given time is cut into periods from "
    "there. Levels are re the largest line where no fundamental is known.\n"
    "\n"
    "Tapers: hann is 1 - cos(2 pi t / T) over the span T (Harris 1978, Proc. IEEE 66:51): a sine on a line shows in three. "
    "flat-top is HFT90D of Heinzel, Ruediger and Schilling 2002: a sine anywhere between lines shows within 0.0039 dB of its "
    "amplitude, in nine. Amplitudes are corrected for the mean weight. Where a period is known, hann needs 2 of them, flat-top "
    "5.\n"
    "\n"
    "THD: root sum square of harmonics 2 and up, as a share of harmonic 1. thd has all of them, by Parseval's theorem (and "
    "what does not repeat from period to period); thd-40 those up to 40, or as many as --harmonics says.\n"
    "\n"
    "Rows of --report --format rows: channel, quantity, value, unit, bound (how far the value may be off, 0, or < for at most), separated by tabs; harmonic 3 is amplitude-3, level-3, "
    "phase-3.\n"
    "\n"
    "Where the table says that it is sampled, and without a taper, lines are fitted to the samples: the fundamental, where it is not known, "
    "by the four-parameter sine fit of IEEE Std 1057 (of several channels by that of which it leaves least), the harmonics below half the "
    "rate by least squares; thd is of those, and sinad the fundamental over all else, noise and distortion. At most 72 MiB of rows are kept.\n"
    "\n"
    "Memory does not grow with the table but with what the span holds: where the period is known and there is no taper, at "
    "most some 150 MB for the last period or for all, and 600 bytes a line and channel, however long the table. Many periods "
    "of pulses with all edges on the same few ticks, such as a counter's, take no more than 15 MB in all. With "
    "--span last:N the rows of N periods; else all rows of the span.\n"
    "\n"
    "Examples:\n"
    "  dw-pwm --frequency 1.6k --duty 31.2% | dw-spectrum --report\n"
    "  dw-pwm --frequency 1.6k --duty 31.2% | dw-spectrum --to 20k |\n"
    "    dw-plot --panel pin-level --output lines.svg\n"
    "  dw-spectrum meter.tsv | awk '!/^#/ && $1 > 0 { print $1, $2 / sqrt(2) }'\n"
    "  dw-spectrum --taper flat-top --channel probe capture.csv\n"
    "\n"
    "Exit status: 0 done, 2 bad use or bad input, 3 the system failed.";

static struct dw_column channel_of(const struct dw_header *header, const struct dw_spectrum *s, size_t channel)
{
    return dw_header_column(header, dw_spectrum_column(s, channel));
}

/* ---- in ---- */

static struct dw_spectrum *new_spectrum(const struct spectrum_options *o, const struct dw_reader *reader,
                                        struct dw_error *error)
{
    size_t *column = NULL;
    struct dw_spectrum_options how = o->how;
    const enum dw_status status = channels_find(&o->channels, dw_reader_header(reader), &column, &how.channels, error);
    how.span = o->common.span;
    how.column = column;
    how.place = dw_reader_name(reader);
    struct dw_spectrum *s = status == DW_OK ? dw_spectrum_new(dw_reader_header(reader), &how, error) : NULL;
    free(column);
    return s;
}

/* Blocks of the same rows however the system cuts its reads: sums of blocks would differ in their last bit. */
static enum dw_status read_rows(struct dw_reader *reader, struct dw_spectrum *s, struct dw_error *error)
{
    enum { BLOCK = 4096 };
    const size_t columns = dw_header_columns(dw_reader_header(reader));
    double *block = calloc(BLOCK * columns, sizeof *block);
    if (!block)
        return dw_no_memory(error);
    const double *values;
    size_t rows, held = 0;
    enum dw_status status = DW_OK, read = DW_OK;
    while (status == DW_OK && (read = dw_reader_rows(reader, BLOCK - held, &values, &rows, error)) == DW_OK) {
        memcpy(block + held * columns, values, rows * columns * sizeof *block);
        held += rows;
        if (held == BLOCK) {
            status = dw_spectrum_rows(s, block, held, error);
            held = 0;
        }
    }
    if (status == DW_OK && held) { /* what is wrong with earlier rows comes before what ended the reading */
        struct dw_error earlier = { .status = DW_OK };
        if ((status = dw_spectrum_rows(s, block, held, &earlier)) != DW_OK)
            *error = earlier;
    }
    free(block);
    if (status != DW_OK)
        return status;
    return read == DW_END ? dw_spectrum_finish(s, error) : read;
}

static void say(struct command *command, const struct dw_header *header, const struct dw_spectrum *s)
{
    struct dw_spectrum_note note;
    for (size_t i = 0; dw_spectrum_note(s, i, &note); i++) {
        const bool one = note.channel < dw_spectrum_channels(s);
        (note.caution ? command_caution : command_note)(command, "%s%s%s", one ? channel_of(header, s, note.channel).name : "",
                                                        one ? ": " : "", note.text);
    }
}

/* ---- out, as a table ---- */

/* A cell must be finite, and equation 5.12 has no level for nothing. */
static const double level_of_nothing = -400;

static enum dw_status append_channel(struct dw_header *header, struct dw_column column, struct dw_error *error)
{
    char name[256];
    enum dw_status status = dw_header_append(header, column.name, column.unit, error);
    snprintf(name, sizeof name, "%.200s-level", column.name);
    if (status == DW_OK)
        status = dw_header_append(header, name, "dB", error);
    snprintf(name, sizeof name, "%.200s-phase", column.name);
    return status == DW_OK ? dw_header_append(header, name, "deg", error) : status;
}

/* Keys of the input that still hold, those of the spectrum, and the columns. */
static struct dw_header *new_header(const char *made_by, const struct dw_header *input, const struct dw_spectrum *s,
                                    struct dw_error *error)
{
    struct dw_header *kept = dw_header_derive(input, DW_OTHER_AXIS | DW_OTHER_PATTERN, made_by, error);
    struct dw_header *header = kept ? dw_header_new("frequency", "Hz", error) : NULL;
    enum dw_status status = header ? DW_OK : DW_NO_MEMORY;
    const char *key, *value;
    char span[2 * DW_NUMBER_SIZE + 1];
    double from, to, periods;
    for (size_t i = 0; status == DW_OK && (key = dw_header_key(kept, i, &value)); i++)
        status = dw_header_add(header, key, value, error);
    dw_spectrum_span(s, &from, &to, &periods);
    const size_t length = dw_number_print(span, from);
    span[length] = ' ';
    dw_number_print(span + length + 1, to);
    if (status == DW_OK)
        status = dw_header_set(header, "span", span, error);
    if (status == DW_OK && dw_spectrum_harmonic(s))
        status = dw_header_set_number(header, "fundamental", dw_spectrum_spacing(s), error);
    for (size_t i = 0; status == DW_OK && i < dw_spectrum_channels(s); i++)
        status = append_channel(header, channel_of(input, s, i), error);
    dw_header_free(kept);
    if (status == DW_OK)
        return header;
    dw_header_free(header);
    return NULL;
}

static enum dw_status write_rows(const struct dw_spectrum *s, struct dw_writer *writer, struct dw_error *error)
{
    const size_t channels = dw_spectrum_channels(s);
    double *row = calloc(1 + 3 * channels, sizeof *row);
    enum dw_status status = row ? DW_OK : dw_no_memory(error);
    for (size_t n = 0; status == DW_OK && n <= dw_spectrum_highest(s); n++) {
        for (size_t i = 0; i < channels; i++) {
            const struct dw_line line = dw_spectrum_line(s, i, n);
            row[0] = line.frequency;
            row[1 + 3 * i] = line.amplitude;
            row[2 + 3 * i] = fmax(line.level, level_of_nothing);
            row[3 + 3 * i] = line.has_phase ? line.phase * 180 / M_PI : 0;
        }
        status = dw_writer_row(writer, row, error);
    }
    free(row);
    return status;
}

static enum dw_status write_table(const struct spectrum_options *o, const struct dw_reader *reader,
                                  const struct dw_spectrum *s, struct dw_error *error)
{
    struct dw_header *header = new_header(o->common.command->made_by, dw_reader_header(reader), s, error);
    struct dw_writer *writer =
        header ? dw_writer_open(STDOUT_FILENO, header, output_encoding(&o->common, reader), error) : NULL;
    enum dw_status status = writer ? write_rows(s, writer, error) : error->status;
    if (status == DW_OK)
        status = dw_writer_finish(writer, error);
    dw_writer_free(writer);
    dw_header_free(header);
    return status;
}

/* ---- out, as a report ---- */

static enum dw_status add_distortion(struct report *report, const struct dw_spectrum *s, size_t channel,
                                     struct dw_column column, struct dw_error *error)
{
    const struct dw_distortion d = dw_spectrum_distortion(s, channel);
    char lines[40];
    snprintf(lines, sizeof lines, "thd-%zu", dw_spectrum_highest(s));
    const struct {
        const char *quantity, *unit;
        struct report_cell value;
        bool had;
    } cells[] = { { "mean", column.unit, report_within(d.mean, d.mean_bound), true },
                  { "rms", column.unit, report_within(d.rms, d.rms_bound), true },
                  { "ac-rms", column.unit, report_within(d.ac_rms, d.rms_bound), true },
                  { dw_spectrum_harmonic(s) ? "fundamental" : "line-spacing", "Hz", report_number(dw_spectrum_spacing(s)), true },
                  { "thd", "%", d.at_most ? report_at_most(d.thd_all) : report_within(d.thd_all, d.thd_all_bound), d.has_thd_all },
                  { "sinad", "dB", report_number(d.sinad), d.has_sinad },
                  { lines, "%", report_within(d.thd_lines, d.thd_lines_bound), d.has_thd && dw_spectrum_highest(s) > 1 } };
    enum dw_status status = DW_OK;
    for (size_t i = 0; status == DW_OK && i < sizeof cells / sizeof cells[0]; i++)
        if (cells[i].had)
            status = report_finding_cell(report, column.name, cells[i].quantity, cells[i].value, cells[i].unit, error);
    return status;
}

/* Amplitude, level, phase: NaN where there is none. */
static void cells_of_line(const struct dw_line *line, struct report_cell cells[3])
{
    cells[0] = report_within(line->amplitude, line->amplitude_bound);
    cells[1] = report_within(isfinite(line->level) ? line->level : NAN, line->level_bound);
    cells[2] = report_within(line->has_phase ? line->phase * 180 / M_PI : NAN, line->phase_bound * 180 / M_PI);
}

static enum dw_status add_line(struct report *report, const char *channel, const char *unit, size_t n,
                               const struct dw_line *line, struct dw_error *error)
{
    const char *const quantities[] = { "amplitude", "level", "phase" }, *const units[] = { unit, "dB", "deg" };
    struct report_cell cells[3];
    enum dw_status status = DW_OK;
    cells_of_line(line, cells);
    for (size_t i = 0; status == DW_OK && i < 3; i++) {
        char name[40];
        snprintf(name, sizeof name, "%s-%zu", quantities[i], n);
        if (!isnan(cells[i].number))
            status = report_finding_cell(report, channel, name, cells[i], units[i], error);
    }
    return status;
}

/* A table of the lines for reading. */
static enum dw_status write_lines(const struct spectrum_options *o, const struct dw_spectrum *s, size_t channel,
                                  const char *unit, struct dw_error *error)
{
    const struct report_column columns[] = { { dw_spectrum_harmonic(s) ? "harmonic" : "line", "" },
                                             { "frequency", "Hz" },
                                             { "amplitude", unit },
                                             { "level", "dB" },
                                             { "phase", "deg" } };
    struct report *report = report_new(columns, 5, error);
    enum dw_status status = report ? DW_OK : DW_NO_MEMORY;
    for (size_t n = 1; status == DW_OK && n <= dw_spectrum_highest(s); n++) {
        const struct dw_line line = dw_spectrum_line(s, channel, n);
        struct report_cell cells[5] = { report_number((double)n), report_number(line.frequency) };
        cells_of_line(&line, cells + 2);
        status = report_row(report, cells, error);
    }
    if (status == DW_OK)
        status = report_write(report, REPORT_TEXT, o->common.digits, stdout, error);
    report_free(report);
    return status;
}

/* Text: for each channel findings, then its lines as a table. Rows and JSON: all as findings. */
static enum dw_status write_report(const struct spectrum_options *o, const struct dw_header *header,
                                   const struct dw_spectrum *s, struct dw_error *error)
{
    const bool text = o->common.format == REPORT_TEXT;
    struct report *report = report_findings(error);
    enum dw_status status = report ? DW_OK : DW_NO_MEMORY;
    for (size_t i = 0; status == DW_OK && i < dw_spectrum_channels(s); i++) {
        const struct dw_column column = channel_of(header, s, i);
        status = add_distortion(report, s, i, column, error);
        for (size_t n = 1; !text && status == DW_OK && n <= dw_spectrum_highest(s); n++) {
            const struct dw_line line = dw_spectrum_line(s, i, n);
            status = add_line(report, column.name, column.unit, n, &line, error);
        }
    }
    if (status == DW_OK)
        status = report_write(report, o->common.format, o->common.digits, stdout, error);
    for (size_t i = 0; text && status == DW_OK && i < dw_spectrum_channels(s); i++) {
        const struct dw_column column = channel_of(header, s, i);
        printf(dw_spectrum_channels(s) > 1 ? "\n%s\n" : "\n", column.name);
        status = write_lines(o, s, i, column.unit, error);
    }
    report_free(report);
    return status;
}

static enum dw_status spectrum(void *options_read, struct dw_error *error)
{
    const struct spectrum_options *o = options_read;
    struct dw_reader *reader = input_open(&o->common, false, error); /* rows come only after the reading */
    struct dw_spectrum *s = reader ? new_spectrum(o, reader, error) : NULL;
    enum dw_status status = s ? read_rows(reader, s, error) : error->status;
    if (status == DW_OK) {
        input_note_uneven(o->common.command, reader);
        say(o->common.command, dw_reader_header(reader), s);
        status = o->report ? write_report(o, dw_reader_header(reader), s, error) : write_table(o, reader, s, error);
    }
    dw_spectrum_free(s);
    dw_reader_close(reader);
    return status;
}

static const struct spectrum_options defaults = { .common = COMMON_DEFAULTS };
static const struct program program = {
    .name = "dw-spectrum", .about = doc, .options = options, .rules = rules, .run = spectrum,
    .shared = SHARED_INPUT | SHARED_OUTPUT | SHARED_SPAN | SHARED_REPORT, PROGRAM_OPTIONS(struct spectrum_options, defaults)
};
PROGRAM_MAIN(program)
