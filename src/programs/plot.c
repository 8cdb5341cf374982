/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-plot: a figure from tables. */
#include "old_common.h"
#include "figure/figure.h"
#include "figure/preview.h"
#include "figure/tables.h"
#include "figure/text.h"
#include "figure/whole_file.h"
#include "old_progress_inner.h"
#include <langinfo.h>
#include <locale.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

/* Texts of an option that may be given several times. */
struct texts {
    const char **text;
    size_t count;
};

struct plot_options {
    struct common_options common;
    struct texts file, name, panel, range;
    enum trace_style *style;
    size_t styles;
    enum scale x_scale, *y_scale;
    size_t y_scales;
    const char *title, *output, *type;
    bool mean, stack, frames;
    struct figure_form form;
};

enum {
    OPTION_OUTPUT = OPTION_OWN,
    OPTION_TYPE,
    OPTION_SIZE,
    OPTION_FONT_SIZE,
    OPTION_PANEL,
    OPTION_STACK,
    OPTION_NAME,
    OPTION_TITLE,
    OPTION_MEAN,
    OPTION_RANGE,
    OPTION_DRAW,
    OPTION_X_SCALE,
    OPTION_Y_SCALE,
    OPTION_FRAMES,
    OPTION_FRAME_TIME
};

static const struct argp_option options[] = {
    { NULL, 0, NULL, 0, "What is drawn:", 1 },
    { "panel", OPTION_PANEL, "CHANNELS", OPTION_REPEATS,
      "A panel with these channels, joined by commas; one for each panel, from the top. 2:out is channel out of the second "
      "FILE only (default: all channels, those of one unit in one panel)", 0 },
    { "stack", OPTION_STACK, NULL, 0, "Give every FILE panels of its own, below one another, instead of drawing them together", 0 },
    { "mean", OPTION_MEAN, NULL, 0, "Draw each channel's mean over the span as a dashed line, with its value", 0 },
    { "draw", OPTION_DRAW, "HOW", OPTION_REPEATS,
      "lines, stems (a stroke from zero to each value), marks, or joined (marks joined by lines); one for all files or one for "
      "each (default: by what the table is)", 0 },
    { NULL, 0, NULL, 0, "Axes:", 2 },
    { "range", OPTION_RANGE, "LOW:HIGH", OPTION_REPEATS,
      "Ends of the vertical axis of the first panel, then the second, ...; plain numbers with prefixes (default: what is drawn)", 0 },
    { "x-scale", OPTION_X_SCALE, "SCALE", 0, "linear or log (default: log for a frequency response, else linear)", 0 },
    { "y-scale", OPTION_Y_SCALE, "SCALE", OPTION_REPEATS,
      "linear, log, or dB (20 log10 of the values: dB re 1 V, 1 A, 1); one for all panels or one for each, from the top (default "
      "linear, the gain of a response in dB)", 0 },
    { NULL, 0, NULL, 0, "Words:", 3 },
    { "title", OPTION_TITLE, "TEXT", 0, "Title above the figure", 0 },
    { "name", OPTION_NAME, "TEXT", OPTION_REPEATS,
      "What a FILE is called in the figure, in the order of the files (default: its file name without folder and ending)", 0 },
    { NULL, 0, NULL, 0, "The file:", 4 },
    { "output", OPTION_OUTPUT, "FILE", 0,
      "Write the figure there; the name's ending, .svg, .png, .ps, .gif or .txt, tells the type. - is standard output. Without it "
      "the terminal shows a preview (in ASCII where its locale is not UTF-8)", 0 },
    { "type", OPTION_TYPE, "TYPE", 0, "svg, png, ps, gif or text (the preview's characters), where the name does not tell", 0 },
    { "size", OPTION_SIZE, "WxH", 0, "Width and height in pixels (default 1280x720, higher for many panels); of text, in characters", 0 },
    { "font-size", OPTION_FONT_SIZE, "N", 0, "Size of letters in pixels (default: to be read from the last row)", 0 },
    { "frames", OPTION_FRAMES, NULL, 0, "Make an animated GIF: each FILE is a frame, named in its corner; all have the same axes", 0 },
    { "frame-time", OPTION_FRAME_TIME, "TIME", 0, "How long a frame is shown (s; default 200ms)", 0 },
    { NULL, 0, NULL, 0, "Input:", 5 },
    { "partial", OPTION_PARTIAL, NULL, 0, "Accept tables that were cut off before their end line", 0 },
    { "span", OPTION_SPAN, "SPAN", 0,
      "Part of the tables: last (the last whole period), last:N (the last N periods), all, or A:B (from A to B on the horizontal "
      "axis, such as 10ms:20ms or 100:20k; either may be left out)", 0 },
    { 0 },
};

static const struct argp_child children[] = { { &quiet_argp, 0, NULL, -1 }, { 0 } };

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

static void add_text(struct texts *texts, const char *text)
{
    const char **more = realloc(texts->text, (texts->count + 1) * sizeof *more);
    if (!more)
        program_fail(DW_NO_MEMORY, "%s", dw_status_text(DW_NO_MEMORY));
    texts->text = more;
    texts->text[texts->count++] = text;
}

static void add_style(struct plot_options *o, const char *argument)
{
    static const char *const words[] = { "lines", "stems", "marks", "joined", NULL };
    enum trace_style *more = realloc(o->style, (o->styles + 1) * sizeof *more);
    if (!more)
        program_fail(DW_NO_MEMORY, "%s", dw_status_text(DW_NO_MEMORY));
    o->style = more;
    o->style[o->styles++] = (enum trace_style)option_word("draw", argument, words);
}

static enum scale read_x_scale(const char *argument)
{
    static const char *const words[] = { "linear", "log", NULL };
    return option_word("x-scale", argument, words) ? SCALE_LOG : SCALE_LINEAR;
}

static void add_scale(struct plot_options *o, const char *argument)
{
    enum scale *more = realloc(o->y_scale, (o->y_scales + 1) * sizeof *more);
    if (!more)
        program_fail(DW_NO_MEMORY, "%s", dw_status_text(DW_NO_MEMORY));
    static const char *const words[] = { "linear", "log", "dB", NULL };
    static const enum scale scales[] = { SCALE_LINEAR, SCALE_LOG, SCALE_DECIBELS };
    o->y_scale = more;
    o->y_scale[o->y_scales++] = scales[option_word("y-scale", argument, words)];
}

static void read_size(struct plot_options *o, const char *argument)
{
    char *end;
    const long width = strtol(argument, &end, 10);
    const bool first = end != argument && (*end == 'x' || *end == 'X') && end[1] >= '0' && end[1] <= '9';
    const long height = first ? strtol(end + 1, &end, 10) : 0;
    if (!first || *end)
        option_error("size", argument, "width and height were wanted, such as 1280x720");
    if (width > FIGURE_MOST || height > FIGURE_MOST || width < 1 || height < 1)
        option_error("size", argument, "width and height must be from 1 to %d", (int)FIGURE_MOST);
    o->form.width = (int)width;
    o->form.height = (int)height;
}

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

static void choose_type(struct plot_options *o)
{
    static const char *const words[] = { "svg", "png", "ps", "gif", "text", NULL };
    if (o->type)
        o->form.type = (enum figure_type)option_word("type", o->type, words);
    else if (o->output)
        o->form.type = type_of_name(o->output);
    else
        o->form.type = FIGURE_TEXT;
    if (!o->output && o->form.type != FIGURE_TEXT)
        option_required("output", "such as figure.svg, or - for standard output");
    if (o->form.type == FIGURE_TYPES)
        option_error("output", o->output, "the name should end with .svg, .png, .ps, .gif or .txt; or give --type");
    if (!o->output && !o->type && !isatty(STDOUT_FILENO))
        program_fail(DW_BAD_USE, "standard output is no terminal to show a preview on: add --output figure.svg (or .png, .ps, .gif), "
                                 "or --type text for the preview");
}

static void choose_frames(const struct plot_options *o)
{
    option_conflict("frames", "stack", "a frame is a figure of its own; give one");
    if (o->frames && o->form.type != FIGURE_GIF)
        option_error("frames", NULL, "only GIF files hold frames: give --output a name with .gif");
    if (o->frames && o->file.count < 2)
        option_error("frames", NULL, "each FILE is a frame, and there %s: give two or more", o->file.count ? "is one" : "is none");
    if (option_given("frame-time") && !o->frames)
        option_error("frame-time", option_given("frame-time"), "there are frames only with --frames");
}

static void check(struct plot_options *o)
{
    struct dw_error error;
    choose_type(o);
    choose_frames(o);
    if (!o->file.count)
        add_text(&o->file, "-");
    if (o->styles > 1 && o->styles != o->file.count)
        option_error("draw", option_given("draw"), "given %zu times for %zu file%s: give one for all, or one for each", o->styles,
                     o->file.count, o->file.count == 1 ? "" : "s");
    if (o->name.count > o->file.count)
        option_error("name", option_given("name"), "given %zu times for %zu file%s", o->name.count, o->file.count,
                     o->file.count == 1 ? "" : "s");
    if (o->form.type != FIGURE_TEXT && o->form.width && (o->form.width < FIGURE_LEAST || o->form.height < FIGURE_LEAST))
        option_error("size", option_given("size"), "width and height must be from %d to %d", (int)FIGURE_LEAST, (int)FIGURE_MOST);
    if (o->form.type == FIGURE_TEXT && option_given("font-size"))
        option_error("font-size", option_given("font-size"), "text has the letters of the screen that shows it");
    if (o->output && whole_file_check(o->output, &error) != DW_OK)
        option_error("output", NULL, "%s", error.text);
}

static error_t parse(int key, char *argument, struct argp_state *state)
{
    struct plot_options *o = state->input;
    switch (key) {
    case ARGP_KEY_INIT: state->child_inputs[0] = &o->common; return 0;
    case ARGP_KEY_ARG: add_text(&o->file, argument); return 0;
    case OPTION_PANEL: add_text(&o->panel, argument); return 0;
    case OPTION_NAME: add_text(&o->name, argument); return 0;
    case OPTION_RANGE: add_text(&o->range, argument); return 0;
    case OPTION_DRAW: add_style(o, argument); return 0;
    case OPTION_X_SCALE: o->x_scale = read_x_scale(argument); return 0;
    case OPTION_Y_SCALE: add_scale(o, argument); return 0;
    case OPTION_TITLE: o->title = argument; return 0;
    case OPTION_OUTPUT: o->output = argument; return 0;
    case OPTION_TYPE: o->type = argument; return 0;
    case OPTION_SIZE: read_size(o, argument); return 0;
    case OPTION_FONT_SIZE: o->form.font = option_between("font-size", argument, DW_NUMBER, 6, 400); return 0;
    case OPTION_MEAN: o->mean = true; return 0;
    case OPTION_STACK: o->stack = true; return 0;
    case OPTION_FRAMES: o->frames = true; return 0;
    case OPTION_FRAME_TIME: o->form.seconds = option_between("frame-time", argument, DW_TIME, 0.01, 600); return 0;
    case OPTION_PARTIAL: o->common.partial = true; return 0;
    case OPTION_SPAN: o->common.span = argument; return 0;
    case ARGP_KEY_END: check(o); return 0;
    default: return ARGP_ERR_UNKNOWN;
    }
}

static const struct argp argp = { options, parse, "[FILE...]", doc, children, NULL, NULL };

/* ---- drawing ---- */

/* What the terminal is like, as far as a preview goes on one. */
static void look_at_terminal(struct plot_options *o)
{
    struct winsize size = { 0 };
    const char *no_colour = getenv("NO_COLOR"), *terminal = getenv("TERM");
    const bool shown = !o->output && isatty(STDOUT_FILENO);
    if (!shown)
        return;
    o->form.colour = !(no_colour && *no_colour) && terminal && strcmp(terminal, "dumb");
    if (!o->form.width && !ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) && size.ws_col >= PREVIEW_LEAST_COLUMNS) {
        o->form.width = size.ws_col;
        o->form.height = size.ws_row;
    }
    setlocale(LC_CTYPE, "");
    o->form.ascii = strcmp(nl_langinfo(CODESET), "UTF-8");
}

static struct request request_of(const struct plot_options *o)
{
    const int preview = o->form.width ? o->form.width : PREVIEW_COLUMNS;
    const int width = o->form.type == FIGURE_TEXT ? 4 * preview : o->form.width ? o->form.width : FIGURE_WIDTH;
    return (struct request){
        .file = o->file.text, .files = o->file.count, .name = o->name.text, .names = o->name.count,
        .panel = o->panel.text, .panels = o->panel.count, .range = o->range.text, .ranges = o->range.count,
        .style = o->style, .styles = o->styles, .x_scale = o->x_scale, .y_scale = o->y_scale, .y_scales = o->y_scales,
        .arrangement = o->frames ? FRAMES : o->stack ? STACKED : TOGETHER,
        .title = o->title, .span = o->common.span, .mean = o->mean, .reading = input_options_of(&o->common, false),
        .strips = 4 * (size_t)width,
    };
}

/* The stroke font has Latin and Greek letters only. */
static void note_letters(const struct plot_options *o)
{
    if (o->title && !text_has_strokes(o->title))
        program_note("--title: the figure's letters do not have all of '%s': ? stands for what is missing", o->title);
    for (size_t i = 0; i < o->name.count; i++)
        if (!text_has_strokes(o->name.text[i]))
            program_note("--name: the figure's letters do not have all of '%s': ? stands for what is missing", o->name.text[i]);
}

/* Where memory runs out, libplot says so in its own words and calls exit. */
static bool drawing_library;
static void end_with_it(void)
{
    if (drawing_library) {
        fprintf(stderr, "%s: %s for the drawing library\n", program_name(), dw_status_text(DW_NO_MEMORY));
        _exit(3);
    }
}

static enum dw_status draw(struct plot_options *o, const struct drawing *drawing, struct dw_error *error)
{
    char *bytes = NULL, made_by[4096];
    size_t size;
    snprintf(made_by, sizeof made_by, "%s%s", drawing->made_by, program_made_by());
    const struct remarks remarks = { o->title ? o->title : "", made_by, drawing->summary };
    struct dw_error why = { .status = DW_OK };
    if (o->form.type != FIGURE_TEXT)
        note_letters(o);
    drawing_library = true;
    enum dw_status status = figure_render(drawing->sheet, drawing->sheets, &o->form, &remarks, &bytes, &size, &why);
    drawing_library = false;
    if (status == DW_BAD_USE)
        return dw_error_set(error, status, 0, "--size: %s", why.text);
    if (status != DW_OK)
        return dw_error_set(error, status, 0, "%s", why.text);
    status = whole_file_write(o->output ? o->output : "-", bytes, size, error);
    free(bytes);
    return status;
}

static enum dw_status plot(struct plot_options *o, struct dw_error *error)
{
    look_at_terminal(o);
    const struct request request = request_of(o);
    struct drawing *drawing = drawing_new(&request, error);
    enum dw_status status = drawing ? DW_OK : error->status;
    for (size_t i = 0; drawing && i < drawing->notes; i++)
        program_note("%s", drawing->note[i]);
    if (drawing)
        status = draw(o, drawing, error);
    drawing_free(drawing);
    return status;
}

int main(int argc, char **argv)
{
    struct plot_options options_given = { .common = common_defaults(), .form = { .seconds = 0.2 } };
    struct dw_error error = { .status = DW_OK };
    atexit(end_with_it);
    program_start("dw-plot", &argp, &options_given, argc, argv);
    const enum dw_status status = plot(&options_given, &error);
    free(options_given.file.text);
    free(options_given.name.text);
    free(options_given.panel.text);
    free(options_given.range.text);
    free(options_given.style);
    free(options_given.y_scale);
    return program_finish(status, &error);
}
