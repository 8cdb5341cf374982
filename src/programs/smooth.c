/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-smooth: a switching pin behind a ladder of resistors, coils and capacitors. */
#include "smooth.h"

static enum dw_status read_band(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    double *band = ((struct smooth_options *)options)->band;
    enum dw_status status = option_pair(option, argument, ':', "two frequencies, such as 1:100k", band, error);
    if (status == DW_OK && !(band[1] > band[0]))
        status = option_error(error, option->name, argument, "the second frequency must be above the first");
    return status;
}

static const char *const starts[] = { "rest", "steady", NULL };

#define OPTION_STRUCT struct smooth_options
static const struct option_spec options[] = {
    { "start", "rest|steady",
      "At the first row: nothing charged, or as --initial says (default), or as after periods without end, for a table that repeats",
      OPTION_WORD(steady, starts), .group = 3 },
    { "report", NULL, "Of a supply that gives way: write findings instead of the table; status 1 where it falls below --least", OPTION_FLAG(report) },
    { "response", "A:B", "Instead of a wave: gain and phase of the output from A to B (Hz); reads no table", OPTION_READ(read_band),
      .quantity = DW_FREQUENCY, OPTION_ABOVE_ZERO },
    { 0 }
};

static const struct option_rule rules[] = {
    REPORT_RULES,
    { OPTION_EXCLUDES, "report", "all", "a report has no channels" },
    { OPTION_REFUSED, "report", "!supply-line&!battery&!bulk&!no-return", "is of a supply that gives way: give --supply-line, --bulk or --battery" },
    { OPTION_EXCLUDES, "start=steady", "initial", "both set where the wave begins; give one" },
    { OPTION_EXCLUDES, "response", "load-current-from report start initial drive supply uniform lines csv=curves channel partial", "a response has no wave in time; give one" },
    { 0 }
};

static const char about[] =
    "Smooth a switching pin: carry a wave table through a ladder of 1 to 6 stages and append the channel out (V)."
    "\v"
    "Values take SI prefixes, units and the codes on parts: 2k7, 150n, 3R3, 33uH. The answer is exact at every row, and "
    "out' (V/s) beside it is its slope: the curves (cubics) between rows stay within --accuracy of the supply, and a row stands at every "
    "extremum.\n\n"
    "r, l and esr may be zero; c, leak, rd, cd, rp and lp, where given, must be above zero. A stage may lack c where it has r "
    "or l. Capacitors that stand side by side and coils in series are merged exactly.\n\n"
    "Stages of one dw-smooth load each other, as parts in a row do. Two dw-smooth in a pipe do not: the second takes the out of "
    "the first as its pin, as if an ideal amplifier stood between them, and appends out-2; with --channel pin it smooths the pin "
    "once more beside the first.\n\n"
    "One switch's supply may give way (--supply-line, --bulk, --battery); it is coupled both ways, and supply[V] is what is left of it. Findings: "
    SUPPLY_FINDINGS ".\n\n"
    "Examples:\n"
    "  dw-pwm --frequency 1.6k --duty 31.2% --periods 200 |\n"
    "    dw-smooth --stage r=2k7,c=680n --stage r=39k,c=68n --load 1M\n"
    "  dw-pwm --frequency 60k --duty 40% --high 12 |\n"
    "    dw-smooth --stage l=330u,r=0.2,c=100u,esr=50m --load 10 --start steady\n"
    "  dw-smooth --stage r=2k7,c=680n --response 1:100k";

static enum dw_status check(const struct command *command, void *options_read, struct dw_error *error)
{
    const struct smooth_options *o = options_read;
    const char *response = command_given(command, "response");
    if (response && o->common.file)
        return option_error(error, "response", response, "reads no table, '%s' is given", o->common.file);
    return DW_OK;
}

static enum dw_status smooth(void *options_read, struct dw_error *error)
{
    struct smooth_options *o = options_read;
    return o->band[1] > 0 ? smooth_response(o, error) : smooth_wave(o, error);
}

static const struct smooth_options defaults = { .common = COMMON_DEFAULTS };
static const struct program program = {
    .name = "dw-smooth", .about = about, .options = options, .rules = rules, .check = check, .run = smooth,
    .load = &smooth_kind.program, .loaded = offsetof(struct smooth_options, load),
    .shared = SHARED_INPUT | SHARED_OUTPUT | SHARED_CHANNEL | SHARED_ROWS | SHARED_LINES | SHARED_REPORT,
    PROGRAM_OPTIONS(struct smooth_options, defaults)
};
PROGRAM_MAIN(program)
