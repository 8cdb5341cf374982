/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-plot: a figure from tables. */
#include "common.h"
#include "figure/figure.h"
#include "figure/tables.h"
#include "figure/text.h"
#include <langinfo.h>
#include <locale.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

struct plot_options {
    struct common_options common;
    const char *const *file;  /* [files], words of the line, or standard input */
    size_t files;
    struct option_texts name, panel, range, draw, y_scale;
    enum trace_style *style;  /* [draw.count] */
    enum scale *y_scales;     /* [y_scale.count] */
    const char *x_scale, *span, *title, *output, *type;
    bool mean, stack, frames;
    struct figure_form form;
};

static const char *const draw_words[] = { "lines", "stems", "marks", "joined", NULL };
static const char *const x_scale_words[] = { "linear", "log", NULL }, *const y_scale_words[] = { "linear", "log", "dB", NULL };

static enum dw_status read_size(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct figure_form *form = &((struct plot_options *)options)->form;
    char *end;
    const long width = strtol(argument, &end, 10);
    const bool first = end != argument && (*end == 'x' || *end == 'X') && end[1] >= '0' && end[1] <= '9';
    const long height = first ? strtol(end + 1, &end, 10) : 0;
    if (!first || *end)
        return option_error(error, option->name, argument, "width and height were wanted, such as 1280x720");
    if (width > FIGURE_MOST || height > FIGURE_MOST || width < 1 || height < 1)
        return option_error(error, option->name, argument, "width and height must be from 1 to %d", (int)FIGURE_MOST);
    form->width = (int)width;
    form->height = (int)height;
    return DW_OK;
}

#define OPTION_STRUCT struct plot_options
static const struct option_spec options[] = {
    { .help = "What is drawn:" },
    { "panel", "CHANNELS",
      "A panel with these channels, joined by commas; one for each panel, from the top. 2:out is channel out of the second "
      "FILE only (default: all channels, those of one unit in one panel)", OPTION_TEXTS(panel) },
    { "stack", NULL, "Give every FILE panels of its own, below one another, instead of drawing them together", OPTION_FLAG(stack) },
    { "mean", NULL, "Draw each channel's mean over the span as a dashed line, with its value", OPTION_FLAG(mean) },
    { "draw", "HOW",
      "lines, stems (a stroke from zero to each value), marks, or joined (marks joined by lines); one for all files or one for "
      "each (default: by what the table is)", OPTION_TEXTS(draw), .words = draw_words },
    { .help = "Axes:" },
    { "range", "LOW:HIGH",
      "Ends of the vertical axis of the first panel, then the second, ...; plain numbers with prefixes (default: what is drawn)",
      OPTION_TEXTS(range) },
    { "x-scale", "SCALE", "linear or log (default: log for a frequency response, else linear)", OPTION_TEXT(x_scale), .words = x_scale_words },
    { "y-scale", "SCALE",
      "linear, log, or dB (20 log10 of the values: dB re 1 V, 1 A, 1); one for all panels or one for each, from the top (default "
      "linear, the gain of a response in dB)", OPTION_TEXTS(y_scale), .words = y_scale_words },
    { .help = "Words:" },
    { "title", "TEXT", "Title above the figure", OPTION_TEXT(title) },
    { "name", "TEXT",
      "What a FILE is called in the figure, in the order of the files (default: its file name without folder and ending)",
      OPTION_TEXTS(name) },
    { .help = "The file:" },
    { "output", "FILE",
      "Write the figure there; the name's ending, .svg, .png, .ps, .gif or .txt, tells the type. - is standard output. Without it "
      "the terminal shows a preview (in ASCII where the locale is not UTF-8)", OPTION_TEXT(output) },
    { "type", "TYPE", "svg, png, ps, gif or text (the preview's characters), where the name does not tell", OPTION_TEXT(type) },
    { "size", "WxH", "Width and height in pixels (default 1280x720, higher for many panels); of text, in characters",
      OPTION_READ(read_size) },
    { "font-size", "N", "Size of letters in pixels (default: to be read from the last row)", OPTION_QUANTITY(form.font, DW_NUMBER),
      OPTION_FROM_TO(6, 400) },
    { "frames", NULL, "Make an animated GIF: each FILE is a frame, named in its corner; all have the same axes", OPTION_FLAG(frames) },
    { "frame-time", "TIME", "How long a frame is shown (s; default 200ms)", OPTION_QUANTITY(form.seconds, DW_TIME),
      OPTION_FROM_TO(0.01, 600) },
    { .help = "Input:" },
    { "partial", NULL, "Accept tables that were cut off before their end line", OPTION_FLAG(common.partial) },
    { "span", "SPAN",
      "Part of the tables: last (the last whole period), last:N (the last N periods), all, or A:B (from A to B on the horizontal "
      "axis, such as 10ms:20ms or 100:20k; either may be left out)", OPTION_TEXT(span) },
    { 0 }
};

static const struct option_rule rules[] = {
    { OPTION_EXCLUDES, "frames", "stack", "a frame is a figure of its own; give one" },
    { OPTION_REFUSED, "frame-time", "!frames", "there are frames only with --frames" },
    { 0 }
};

static const char doc[] =
    "Draw tables as a figure that can be read from the last row of a lecture room: panels above one another with one "
    "horizontal axis, round values on the axes, each curve named at its end."
    "\v"
    "A table of time is drawn as lines, a jump as a vertical edge. A table that begins with frequency[Hz] is drawn as stems "
    "where its rows are equally spaced (a spectrum), and else as lines on a logarithmic axis (a response). Any other table is "
    "drawn as marks against its first column, as lines where it has more than 60 rows.\n"
    "\n"
    "Several FILEs are drawn together; a curve then has the name of its channel, or of its file where the channels are the same. "
    "Rows that share a column of pixels are drawn from the lowest to the highest value among them, so that tables of any "
    "length can be drawn and no peak is lost. Where pulses stand too close to be told apart they become a shaded band, through "
    "which the mean and other curves are seen. Lines that share a panel carry marks, so that no one needs colours.\n"
    "\n"
    "The commands that made the tables are kept in the figure's file.\n"
    "\n"
    "Examples:\n"
    "  dw-pwm --frequency 1.6k --duty 31.2% --periods 5 |\n"
    "    dw-plot --mean --output duty.svg\n"
    "  dw-pwm --frequency 1.6k --duty 31.2% | dw-plot\n"
    "  dw-plot --panel pin,out --panel current --span last:4 \\\n"
    "    --title 'Pump motor' --output pump.png pump.tsv\n"
    "  dw-plot --y-scale dB --panel pin,out,gain --output cut.svg \\\n"
    "    before.tsv after.tsv response.tsv\n"
    "  dw-plot --frames --mean --output duty.gif \\\n"
    "    'duty 12 %.tsv' 'duty 40 %.tsv' 'duty 85 %.tsv'\n"
    "  dw-plot --y-scale log --output front.png front.tsv\n"
    "\n"
    "Exit status: 0 done, 2 bad use or bad input, 3 the system failed.";

/* ---- the type of file ---- */

static enum figure_type type_of_name(const char *output)
{
    static const struct { const char *ending; enum figure_type type; } endings[] = {
        { ".svg", FIGURE_SVG }, { ".png", FIGURE_PNG }, { ".ps", FIGURE_PS }, { ".eps", FIGURE_PS }, { ".gif", FIGURE_GIF },
        { ".txt", FIGURE_TEXT },
    };
    const char *dot = strrchr(output, '.');
    for (size_t i = 0; dot && i < sizeof endings / sizeof endings[0]; i++)
        if (!strcasecmp(dot, endings[i].ending))
            return endings[i].type;
    return FIGURE_TYPES;
}

static enum dw_status choose_type(struct plot_options *o, struct dw_error *error)
{
    static const char *const words[] = { "svg", "png", "ps", "gif", "text", NULL };
    const struct option_spec spec = { .name = "type", .words = words };
    int index = FIGURE_TEXT;
    if (o->type && option_index(&spec, o->type, &index, error) != DW_OK)
        return DW_BAD_USE;
    o->form.type = o->output && !o->type ? type_of_name(o->output) : (enum figure_type)index;
    if (!o->output && o->form.type != FIGURE_TEXT)
        return dw_error_set(error, DW_BAD_USE, 0, "--output is missing: give it, such as figure.svg, or - for standard output");
    if (o->form.type == FIGURE_TYPES)
        return option_error(error, "output", o->output, "the name should end with .svg, .png, .ps, .gif or .txt; or give --type");
    if (!o->output && !o->type && !isatty(STDOUT_FILENO))
        return dw_error_set(error, DW_BAD_USE, 0, "standard output is no terminal to show a preview on: add --output figure.svg (or "
                            ".png, .ps, .gif), or --type text for the preview");
    return DW_OK;
}

static enum dw_status check_frames(const struct plot_options *o, struct dw_error *error)
{
    if (o->frames && o->form.type != FIGURE_GIF)
        return option_error(error, "frames", NULL, "only GIF files hold frames: give --output a name with .gif");
    if (o->frames && o->files < 2)
        return option_error(error, "frames", NULL, "each FILE is a frame, and there %s: give two or more", o->files ? "is one" : "is none");
    return DW_OK;
}

static enum dw_status check_counts(const struct plot_options *o, struct dw_error *error)
{
    const size_t files = o->files ? o->files : 1; /* standard input */
    const char *plural = files == 1 ? "" : "s";
    const struct figure_form *form = &o->form;
    if (o->draw.count > 1 && o->draw.count != files)
        return option_error(error, "draw", o->draw.text[o->draw.count - 1], "given %zu times for %zu file%s: give one for all, or one for "
                            "each", o->draw.count, files, plural);
    if (o->name.count > files)
        return option_error(error, "name", o->name.text[o->name.count - 1], "given %zu times for %zu file%s", o->name.count, files,
                            plural);
    if (form->type != FIGURE_TEXT && form->width && (form->width < FIGURE_LEAST || form->height < FIGURE_LEAST))
        return option_error(error, "size", command_given(o->common.command, "size"), "width and height must be from %d to %d",
                            (int)FIGURE_LEAST, (int)FIGURE_MOST);
    if (form->type == FIGURE_TEXT && command_given(o->common.command, "font-size"))
        return option_error(error, "font-size", command_given(o->common.command, "font-size"),
                            "text has the letters of the screen that shows it");
    return DW_OK;
}

static size_t word_index(const char *const *words, const char *word)
{
    size_t i = 0;
    while (words[i] && strcmp(words[i], word) != 0)
        i++;
    return i;
}

static enum dw_status read_words(struct plot_options *o, struct dw_error *error)
{
    static const enum scale scales[] = { SCALE_LINEAR, SCALE_LOG, SCALE_DECIBELS, SCALE_BY_ITSELF }; /* as y_scale_words, its end too */
    o->style = calloc(o->draw.count + 1, sizeof *o->style);
    o->y_scales = calloc(o->y_scale.count + 1, sizeof *o->y_scales);
    if (!o->style || !o->y_scales)
        return dw_no_memory(error);
    for (size_t i = 0; i < o->draw.count; i++)
        o->style[i] = (enum trace_style)word_index(draw_words, o->draw.text[i]);
    for (size_t i = 0; i < o->y_scale.count; i++)
        o->y_scales[i] = scales[word_index(y_scale_words, o->y_scale.text[i])];
    return DW_OK;
}

/* The figure would take the place of a table before that is read again. */
static enum dw_status check_output(const struct plot_options *o, struct dw_error *error)
{
    struct dw_error why;
    if (o->output && whole_file_check(o->output, &why) != DW_OK)
        return option_error(error, "output", NULL, "%s", why.text);
    bool read = o->output && whole_file_is(o->output, "/dev/stdin") && !o->files;
    for (size_t i = 0; o->output && i < o->files; i++)
        read = read || whole_file_is(o->output, strcmp(o->file[i], "-") ? o->file[i] : "/dev/stdin");
    return read ? option_error(error, "output", o->output, "the figure would replace a table that it is drawn from") : DW_OK;
}

static enum dw_status check(const struct command *command, void *options_read, struct dw_error *error)
{
    struct plot_options *o = options_read;
    o->file = command->words;
    o->files = command->word_count;
    enum dw_status status = choose_type(o, error);
    if (status == DW_OK)
        status = check_frames(o, error);
    if (status == DW_OK)
        status = check_counts(o, error);
    if (status == DW_OK)
        status = check_output(o, error);
    return status == DW_OK ? read_words(o, error) : status;
}

/* ---- drawing ---- */

/* What the terminal is like, as far as a preview goes on one. */
static void look_at_terminal(struct plot_options *o)
{
    struct winsize size = { 0 };
    const char *no_colour = getenv("NO_COLOR"), *terminal = getenv("TERM");
    const bool shown = !o->output && isatty(STDOUT_FILENO);
    setlocale(LC_CTYPE, "");
    o->form.ascii = strcmp(nl_langinfo(CODESET), "UTF-8");
    if (!shown)
        return;
    o->form.colour = !(no_colour && *no_colour) && terminal && *terminal && strcmp(terminal, "dumb");
    if (!o->form.width && !ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) && size.ws_col >= PREVIEW_LEAST_COLUMNS) {
        o->form.width = size.ws_col;
        o->form.height = size.ws_row;
    }
}

static struct request request_of(const struct plot_options *o)
{
    const int preview = o->form.width ? o->form.width : PREVIEW_COLUMNS;
    const int width = o->form.type == FIGURE_TEXT ? 4 * preview : o->form.width ? o->form.width : FIGURE_WIDTH;
    static const char *const standard_input[] = { "-" };
    struct dw_reader_options reading = command_reading(o->common.command, o->common.partial, false);
    reading.curves = true;
    return (struct request){
        .file = o->files ? o->file : standard_input, .files = o->files ? o->files : 1, .name = o->name.text, .names = o->name.count,
        .panel = o->panel.text, .panels = o->panel.count, .range = o->range.text, .ranges = o->range.count,
        .style = o->style, .styles = o->draw.count, .y_scale = o->y_scales, .y_scales = o->y_scale.count,
        .x_scale = !o->x_scale ? SCALE_BY_ITSELF : strcmp(o->x_scale, "log") ? SCALE_LINEAR : SCALE_LOG,
        .arrangement = o->frames ? FRAMES : o->stack ? STACKED : TOGETHER,
        .title = o->title, .span = o->span, .mean = o->mean, .reading = reading,
        .strips = 4 * (size_t)width,
    };
}

/* The stroke font has Latin and Greek letters only; that of an SVG file is the viewer's. */
static void note_letters(const struct plot_options *o)
{
    if (o->title && !text_has_strokes(o->title))
        command_note(o->common.command, "--title: the figure's letters do not have all of '%s': ? stands for what is missing", o->title);
    for (size_t i = 0; i < o->name.count; i++)
        if (!text_has_strokes(o->name.text[i]))
            command_note(o->common.command, "--name: the figure's letters do not have all of '%s': ? stands for what is missing", o->name.text[i]);
}

/* Where memory runs out, libplot says so in its own words and calls exit. */
static bool drawing_library;
static void end_with_it(void)
{
    if (drawing_library) {
        fprintf(stderr, "dw-plot: %s for the drawing library\n", dw_status_text(DW_NO_MEMORY));
        _exit(3);
    }
}

static enum dw_status draw(struct plot_options *o, const struct drawing *drawing, struct dw_error *error)
{
    char *bytes = NULL, made_by[4096];
    size_t size;
    snprintf(made_by, sizeof made_by, "%s%s", drawing->made_by, o->common.command->made_by);
    const struct remarks remarks = { o->title ? o->title : "", made_by, drawing->summary };
    const struct figure figure = { drawing->sheet, drawing->sheets, &remarks };
    struct dw_error why = { .status = DW_OK };
    if (o->form.type != FIGURE_TEXT && o->form.type != FIGURE_SVG)
        note_letters(o);
    drawing_library = true;
    enum dw_status status = figure_render(&figure, &o->form, &bytes, &size, &why);
    drawing_library = false;
    if (status == DW_BAD_USE)
        return dw_error_set(error, status, 0, "--size: %s", why.text);
    if (status != DW_OK)
        return dw_error_set(error, status, 0, "%s", why.text);
    status = whole_file_write(o->output ? o->output : "-", bytes, size, error);
    free(bytes);
    return status;
}

static enum dw_status plot(void *options_read, struct dw_error *error)
{
    struct plot_options *o = options_read;
    atexit(end_with_it);
    look_at_terminal(o);
    const struct request request = request_of(o);
    struct drawing *drawing = drawing_new(&request, error);
    enum dw_status status = drawing ? DW_OK : error->status;
    for (size_t i = 0; drawing && i < drawing->notes; i++)
        command_note(o->common.command, "%s", drawing->note[i]);
    if (drawing)
        status = draw(o, drawing, error);
    drawing_free(drawing);
    return status;
}

static void release(void *options_read)
{
    struct plot_options *o = options_read;
    free(o->style);
    free(o->y_scales);
}

static const struct plot_options defaults = { .common = COMMON_DEFAULTS, .form = { .seconds = 0.2 } };
static const struct program program = {
    .name = "dw-plot", .about = doc, .words = "[FILE...]", .options = options, .rules = rules, .check = check, .run = plot,
    .release = release, PROGRAM_OPTIONS(struct plot_options, defaults)
};
PROGRAM_MAIN(program)
