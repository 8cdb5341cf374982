/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-choose: parts that smooth a switching pin. */
#include "choose.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* ---- options of a shape of their own ---- */

static enum dw_status read_stages(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct choose_options *o = options;
    struct option_spec count = { .name = option->name, OPTION_WHOLE(0, DW_FILTER_STAGES) };
    char first[32];
    const char *second = option_halves(argument, ':', first, sizeof first);
    double least = 0, most = 0;
    if (strlen(argument) >= sizeof first)
        return option_error(error, option->name, argument, "must be such as 2 or 1:3");
    if (second && !strcmp(first, "0"))
        return option_error(error, option->name, argument, "0, only coils, stands alone; RC stages are from 1 to %d", DW_FILTER_STAGES);
    count.least = second ? 1 : 0;
    enum dw_status status = option_value(&count, second ? first : argument, &least, error);
    if (status == DW_OK)
        status = option_value(&count, second ? second : argument, &most, error);
    o->wish.least_stages = (int)least;
    o->wish.most_stages = (int)most;
    if (status == DW_OK && most < least)
        status = option_error(error, option->name, argument, "the second number must not be below the first");
    return status;
}

static enum dw_status read_spread(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    double *spread = ((struct choose_options *)options)->offers.spread;
    struct option_key keys[] = { { "r", DW_SHARE, 0, NULL }, { "c", DW_SHARE, 0, NULL }, { "l", DW_SHARE, 0, NULL },
                                 { "load", DW_SHARE, 0, NULL } };
    const enum dw_status status = option_keys(option->name, argument, keys, 4, error);
    for (int i = 0; i < 4 && status == DW_OK; i++) {
        char hint[64] = "", start[8];
        snprintf(start, sizeof start, "%s=", keys[i].name);
        const char *given = keys[i].seen ? strstr(argument, start) : "%";
        if (keys[i].value >= 1 && keys[i].value < 100 && given[strcspn(given, ",%")] != '%')
            snprintf(hint, sizeof hint, "; %g%% is %s=%g%%", keys[i].value, keys[i].name, keys[i].value);
        if (!(keys[i].value >= 0 && keys[i].value < 1))
            return option_error(error, option->name, argument, "%s: must be from 0 to below 100%%%s", keys[i].name, hint);
        *(i < 3 ? &spread[i] : &((struct choose_options *)options)->wish.task.load_spread) = keys[i].value;
    }
    spread[PART_DAMPER] = spread[PART_RESISTOR];
    return status;
}

/* Of one capacitor, or a loss angle: times its capacitance, or over the angular frequency, it is the same for all of the kind. */
static enum dw_status read_esr(const struct option_spec *option, const char *argument, void *options, struct dw_error *error)
{
    struct option_key keys[] = { { "r", DW_RESISTANCE, NAN, NULL }, { "c", DW_CAPACITANCE, NAN, NULL }, { "tan", DW_SHARE, NAN, NULL },
                                 { "frequency", DW_FREQUENCY, NAN, NULL } };
    const enum dw_status status = option_keys(option->name, argument, keys, 4, error);
    const bool angle = keys[2].seen || keys[3].seen;
    for (int i = 0; i < 4 && status == DW_OK; i++) {
        if (angle == (i >= 2) ? !keys[i].seen : keys[i].seen != NULL)
            return option_error(error, option->name, argument, "must be such as r=0.4,c=100u or tan=0.1,frequency=120");
        if (keys[i].seen && !(keys[i].value > 0 && isfinite(keys[i].value)))
            return option_error(error, option->name, argument, "%s: must be above zero", keys[i].name);
    }
    ((struct choose_options *)options)->wish.task.esr =
        angle ? keys[2].value / (2 * M_PI * keys[3].value) : keys[0].value * keys[1].value;
    return status;
}

/* ---- the tables ---- */

static const char *const ranks[] = { "parts", "margin", "ripple", "settling", "price", NULL };
static const char *const printable[] = { "dw-smooth", NULL };

#define OPTION_STRUCT struct choose_options
static const struct option_spec options[] = {
    { .help = "The pulses:" },
    { "frequency", "F", "Switching frequency (Hz)", OPTION_QUANTITY(wish.task.frequency, DW_FREQUENCY), OPTION_ABOVE_ZERO },
    { "high", "V", "Pin when on (V; default 3.3)", OPTION_QUANTITY(wish.task.high, DW_VOLTAGE), .also = "low" },
    { "low", "V", "Pin when off (V; default 0)", OPTION_QUANTITY(wish.task.low, DW_VOLTAGE) },
    { "duty-steps", "N", "Steps of duty; 1 lsb is (high - low) / N (default 256)", OPTION_COUNT(wish.task.levels, 2, 1LL << 32) },
    { "duty", "D",
      "Ripple at this duty, and settling from 0 to it (default: the largest ripple of all k/N, and settling from 0 to 1)",
      OPTION_QUANTITY(wish.task.duty, DW_SHARE), OPTION_FROM_TO(0, 1) },
    { .help = "The limits (one of the first two at least, unless --front is given):" },
    { "ripple", "V", "Ripple of the output, peak to peak: 20m, 0.5% of high - low, or 0.5lsb", OPTION_TEXT(ripple) },
    { "settle", "T", "Settling time (s): from then on the mean over the period just ended stays within the band",
      OPTION_QUANTITY(wish.task.settling, DW_TIME), OPTION_ABOVE_ZERO },
    { "band", "SHARE", "Band of settling, as a share of the change, or such as 0.5lsb (default 2%, but 0.5lsb where --ripple is in lsb)",
      OPTION_TEXT(band) },
    { "overshoot", "SHARE", "How far the mean may pass its last value, share of the change (default 10%)",
      OPTION_QUANTITY(wish.task.overshoot, DW_SHARE), OPTION_ABOVE_ZERO },
    { "loading", "SHARE", "How much of the mean source and load may take off through the resistances (default 5%)",
      OPTION_QUANTITY(wish.task.loading, DW_SHARE), OPTION_ABOVE_ZERO },
    { "pin-current", "A", "Peak current of the pin, the first charging included (default: any)",
      OPTION_QUANTITY(wish.task.pin_current, DW_CURRENT), OPTION_ABOVE_ZERO },
    { "inductor-current", "A", "Peak current of the coil, the first rise included (default: any)",
      OPTION_QUANTITY(wish.task.coil_current, DW_CURRENT), OPTION_ABOVE_ZERO },
    { .help = "The circuit, and the parts to choose from:" },
    { "source", "R", "Resistance of the pin itself (ohm; default 0)", OPTION_QUANTITY(wish.task.source, DW_RESISTANCE),
      OPTION_NOT_NEGATIVE },
    { "source-low", "R", "The same while the pin is low, where it differs: what that bends the output is told (ohm)",
      OPTION_QUANTITY(wish.task.source_low, DW_RESISTANCE), OPTION_ABOVE_ZERO },
    { "load", "R", "Resistance from the output to ground (ohm; default none)", OPTION_QUANTITY(wish.task.load, DW_RESISTANCE),
      OPTION_ABOVE_ZERO },
    { "insulation", "T", "Leakage of the capacitors: capacitance times insulation resistance, such as 1000 s of film, 100 s of electrolytic "
      "ones (default: none leaks)", OPTION_QUANTITY(wish.task.insulation, DW_TIME), OPTION_ABOVE_ZERO },
    { "esr", "KEYS", "Series resistance of the capacitors: r=0.4,c=100u, that of one of the kind; or tan=0.1,frequency=120, the tangent of "
      "their loss angle and where it is told; capacitance times resistance is that of all (default: none)", OPTION_READ(read_esr), .also = "esr" },
    { "stage-count", "A:B", "How many RC stages, 1 to 3, or 0 for none, only coils (default 1:3)", OPTION_READ(read_stages) },
    { "resistors", "WHICH",
      "Preferred values, E3 to E192, or a file: one value a line, then its tolerance and price if known: 2k7 1% 0.02 "
      "(default E12)", OPTION_TEXT(offers.spec[PART_RESISTOR]) },
    { "capacitors", "WHICH", "The same of capacitors: see --resistors (default E6)", OPTION_TEXT(offers.spec[PART_CAPACITOR]) },
    { "inductors", "WHICH", "The same of coils; without it none are tried", OPTION_TEXT(offers.spec[PART_COIL]) },
    { "values", "KEYS",
      "Those to use (default r=1k:100k,c=1n:100u,l=1u:100m,rd=100m:1k; a file: all of it); rd: resistors that damp a coil",
      OPTION_READ(choose_range) },
    { "spread", "KEYS",
      "Tolerances where a file has none: r=1%,c=10%,l=20%, and load=5% of --load; all limits then hold for the worst case (default 0)",
      OPTION_READ(read_spread) },
    { .help = "The answer:" },
    { "rank", "BY",
      "parts: fewest first, then by margin, but with a limit on one of ripple and settling by the other (default); margin: what is "
      "left of the limit that is nearest, loading and all; ripple; settling; price", OPTION_WORD(wish.rank, ranks) },
    { "best", "N", "Most rows of the ranking (default 10)", OPTION_COUNT(wish.best, 1, 1000000) },
    { "front", NULL, "Instead, the trade-off: all that no other beats in both ripple and settling", OPTION_FLAG(wish.front) },
    { "curve", NULL, "The front as a table for dw-plot: settling[s] ripple[V]", OPTION_FLAG(curve) },
    { "all", NULL, "Every column in text too; rows and json always have them", OPTION_FLAG(all) },
    { "yield-target", "SHARE",
      "All limits hold for this share of the samples, as the lower end of its 95% confidence interval shows, and for the nominal values, "
      "instead of for the worst case: such as 95%", OPTION_QUANTITY(wish.yield, DW_SHARE), OPTION_ABOVE_ZERO },
    { "samples", "N",
      "Yield: the share of N filters, their parts spread evenly over their tolerances, that keep all limits, and its 95% "
      "confidence interval (default with --yield-target 1000)", OPTION_COUNT(samples, 1, 1LL << 40) },
    { "seed", "N", "Which samples (default 1); the same seed gives the same ones", OPTION_COUNT(seed, 0, 1LL << 53) },
    { "print", "PROGRAM", "Instead of the ranking, the options of the best for PROGRAM, which is dw-smooth. In $(...) without quotes the shell splits "
      "them into words (zsh: ${=$(...)})", OPTION_TEXT(print),
      .words = printable },
    { "exhaustive", NULL, "Look at every candidate: the same answer, slowly", OPTION_FLAG(wish.exhaustive) },
    { "jobs", "N", "Threads to search with (default: one a processor); the answer is the same to the byte", OPTION_COUNT(jobs, 1, 1024) },
    { .help = "Shared among processes or machines:" },
    { "shard", "K/N",
      "Do the K-th of N shares of the search and write, on one line, what --merge reads; with --merge, the K-th share of the samples",
      OPTION_READ(choose_read_shard) },
    { "merge", NULL,
      "Put together what all N shards wrote, in any order: the answer is to the byte that of the request in one piece. The request "
      "goes to the shards; to --merge go --all, --curve, --print, --format, --digits, --binary, --text", OPTION_FLAG(merge) },
    { 0 }
};

/* A shard's, and what is wanted before ripple and band can be told. */
static const struct option_rule first_rules[] = {
    { OPTION_EXCLUDES, "shard", "all curve print format digits binary text", "a shard writes no report; give the latter with --merge" },
    { OPTION_NEEDED, "frequency", NULL, "such as 60k" },
    { 0 }
};
static const struct option_rule request_rules[] = {
    { OPTION_ONE_OF, "ripple settle", "!front", "such as --ripple 0.5lsb" },
    { OPTION_REFUSED, "inductor-current", "!inductors", "goes with --inductors: without it no coils are tried" },
    { OPTION_REFUSED, "source-low", "!source", "goes with --source, the resistance while the pin is high" },
    { OPTION_REFUSED, "seed", "!samples&!yield-target", "goes with --samples or --yield-target" },
    { OPTION_REFUSED, "curve", "!front", "goes with --front" },
    { OPTION_REFUSED, "binary text", "!curve", "goes with --front --curve" },
    { OPTION_EXCLUDES, "front", "rank", "the front is not ranked; give one" },
    { OPTION_EXCLUDES, "front", "best", "the front is given whole; give one" },
    { OPTION_EXCLUDES, "print", "front all format digits", "one prints options, the other shapes the report; give one" },
    { OPTION_EXCLUDES, "curve", "best all samples format digits", "a table has no such columns; give one" },
    { 0 }
};
/* Not of a request that stands in shards: it may serve several reports. */
static const struct option_rule whole_rules[] = {
    { OPTION_EXCLUDES, "print", "best samples", "one prints options, the other shapes the report; give one" },
    { 0 }
};

/* To --merge go only options that shape the report: all of the request stand in the shards. */
static enum dw_status check_merge(const struct command *command, struct dw_error *error)
{
    static const char *const shapes[] = { "all", "curve", "print", "shard", "merge", NULL };
    enum dw_status status = DW_OK;
    for (const struct option_spec *option = options; status == DW_OK && (option->name || option->help); option++) {
        const struct option_rule rule[2] = { { OPTION_EXCLUDES, "merge", option->name,
                                               "the request stands in the shards; give the latter there" } };
        size_t i = 0;
        while (option->name && shapes[i] && strcmp(shapes[i], option->name) != 0)
            i++;
        if (option->name && !shapes[i])
            status = command_check(command, rule, error);
    }
    return status;
}

/* Of an option whose keys are of several parts: refuses those of coils where none are tried. */
static enum dw_status need_coils(const struct command *command, const char *option, const char *key, const char *other,
                                 struct dw_error *error)
{
    const char *given = command_given(command, option);
    if (given && !command_given(command, "inductors") && (strstr(given, key) || strstr(given, other)))
        return option_error(error, option, given, "goes with --inductors: without it no coils are tried");
    return DW_OK;
}

static enum dw_status check_request(const struct command *command, struct choose_options *o, struct dw_error *error)
{
    enum dw_status status = command_check(command, first_rules, error);
    if (status == DW_OK && o->wish.task.duty <= 0)
        status = option_error(error, "duty", command_given(command, "duty"), "must be above zero");
    if (status == DW_OK)
        status = choose_resolve(o, error);
    if (status == DW_OK && o->wish.most_stages == 0 && !command_given(command, "inductors"))
        status = option_error(error, "stage-count", command_given(command, "stage-count"), "leaves nothing to choose without --inductors");
    if (status == DW_OK)
        status = need_coils(command, "values", "l=", "rd=", error);
    if (status == DW_OK)
        status = need_coils(command, "spread", "l=", "l=", error);
    if (status == DW_OK && o->wish.task.load_spread > 0 && isinf(o->wish.task.load))
        status = option_error(error, "spread", command_given(command, "spread"), "load: goes with --load");
    if (status == DW_OK)
        status = command_check(command, request_rules, error);
    if (status == DW_OK)
        status = choose_check_yield(command, o, error);
    return status == DW_OK && !o->restored ? command_check(command, whole_rules, error) : status;
}

static enum dw_status check(const struct command *command, void *options_read, struct dw_error *error)
{
    struct choose_options *o = options_read;
    if (o->restored && (o->merge || o->shards > 0 || command->word_count))
        return dw_error_set(error, DW_BAD_INPUT, 0, "the shards' request is none: it holds --shard, --merge or a file");
    if (!o->merge && command->word_count)
        return dw_error_set(error, DW_BAD_USE, 0, "'%s': a file goes with --merge", command->words[0]);
    return o->merge ? check_merge(command, error) : check_request(command, o, error);
}

static const char about[] =
    "Choose resistors, capacitors and coils that smooth a switching pin into a voltage: a makeshift digital-to-analogue "
    "converter, or a smoothed supply."
    "\v"
    "Ripple, settling and overshoot are those that dw-measure finds behind dw-pwm and dw-smooth with these parts. Their worst "
    "case within the tolerances is proved to be that for RC stages (extremes-by: proof); with a coil it is the worst of all corners and "
    "of a search between them (search). Coils are ideal: check their wire with dw-smooth. Capacitors have what --esr and --insulation "
    "say, nominally as in the worst case; that of cd counts in rd.\n\n"
    "A coil may be damped by the load, by r in series with it, or by rd and cd in series beside c.\n\n"
    "Columns: stages are what dw-smooth takes. loading: how much of the mean load, source and leakage take off. gain-error: the same in "
    "the worst case, with its sign, also in lsb of full scale where limits are in lsb. bend-lsb: how far a pin of two resistances bends "
    "the line of mean against duty. size: small up to 5 uJ in a capacitor (at the higher pin voltage) or coil (at its peak current), "
    "medium up to 500 uJ, else large. -highest, -longest, -peak: in the worst case within the tolerances, or with --yield-target what the share of samples "
    "keeps. With --all also margin: what is left of the limit that is nearest, as a share of it; duty: where the "
    "ripple is largest; cutoff: -3 dB of the ladder; coil-swing: peak-to-peak current of the coil; capacitor-current (rms) and "
    "resistor-power: of the part that has most.\n\n"
    "A shard ends with status 0 also where nothing fits in its share. Its line holds the request and the parts on offer, so that "
    "merging needs nothing else; it refuses shards of different requests, missing, doubled and cut off ones. What draws samples "
    "for long can be shared too, in a second round.\n\n"
    "Status 1: nothing fits; the message names the nearest miss and what would do, each tried before it is told.\n\n"
    "Examples:\n"
    "  dw-choose --frequency 60k --ripple 0.5lsb --settle 2m --load 1M \\\n"
    "    --spread r=1%,c=10%\n"
    "  dw-choose --frequency 100k --high 12 --duty 40% --load 10 --ripple 0.5% \\\n"
    "    --stage-count 0 --inductors E6 --overshoot 20%\n"
    "  dw-pwm --frequency 60k --duty 31.2% --periods 500 |\n"
    "    dw-smooth $(dw-choose --frequency 60k --ripple 0.5lsb --settle 5m \\\n"
    "    --load 1M --print dw-smooth) | dw-measure\n"
    "  dw-choose --frequency 60k --settle 5m --load 1M --front --curve |\n"
    "    dw-plot --y-scale log --output front.svg";

/* All options of the best, to paste behind dw-smooth. */
static void print_options(const struct choose_options *o, const struct dw_filter *filter)
{
    char stages[400], value[40];
    choose_stages(stages, sizeof stages, filter, "--stage ", &o->wish.task);
    printf("%s", stages);
    if (o->wish.task.source > 0) {
        choose_spell(value, dw_filter_source(&o->wish.task));
        printf(" --source %s", value);
    }
    if (isfinite(o->wish.task.load)) {
        choose_spell(value, o->wish.task.load);
        printf(" --load %s", value);
    }
    putchar('\n');
}

static void remark(const struct choose_options *o, const struct dw_choices *choices)
{
    const struct dw_filter_task *task = &o->wish.task;
    const struct dw_filter *best = &dw_choices_get(choices, 0)->filter;
    double resistance = task->source;
    for (int k = 0; k < best->stages; k++)
        resistance += best->r[k].value;
    command_caution_voltage(o->common.command, fmax(fabs(task->high), fabs(task->low)),
                            ", and capacitors stay charged after switching off");
    if (isinf(task->load) && resistance > 0 && !o->print) {
        char text[64];
        dw_quantity_print(text, sizeof text, resistance, "ohm", 3);
        command_note(o->common.command, "no --load is given: the best has %s between pin and output, which whatever it feeds must not load", text);
    }
}

/* From the search, or from what shards found. */
static enum dw_status find(struct choose_options *o, struct dw_choices **choices, struct dw_error *error)
{
    if (o->merged)
        return dw_choices_merge(&o->wish, o->merged->filters, o->merged->count, choices, error);
    const long processors = sysconf(_SC_NPROCESSORS_ONLN);
    o->wish.jobs = (int)(o->jobs ? o->jobs : processors > 0 ? processors : 1);
    o->wish.shard = (int)o->shard;
    o->wish.shards = (int)o->shards;
    return dw_choose(&o->wish, choices, error);
}

static enum dw_status answer(struct choose_options *o, const struct dw_choices *choices, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    if (o->print)
        print_options(o, &dw_choices_get(choices, 0)->filter);
    else
        status = o->curve ? choose_curve(o, choices, error) : choose_report(o, choices, error);
    if (status == DW_OK)
        remark(o, choices);
    return status;
}

static enum dw_status refuse(struct choose_options *o, const struct dw_choices *choices, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    if (!o->print && !o->curve && o->common.format != REPORT_TEXT)
        status = choose_report(o, NULL, error);  /* no rows: still a list to those who read one */
    return status == DW_OK ? choose_explain(o, choices, error) : status;
}

static bool show_search(void *context, double share)
{
    choose_progress(context, "searching", share);
    return true;
}

static enum dw_status choose(struct choose_options *o, struct dw_error *error)
{
    struct dw_choices *choices = NULL;
    o->wish.progress = show_search;
    o->wish.context = o;
    enum dw_status status = find(o, &choices, error);
    choose_progress(o, "searching", 1);
    if (o->shards > 0 && (status == DW_OK || status == DW_NO))
        status = choose_write_shard(o, choices, status == DW_OK, error);
    else if (status == DW_NO)
        status = refuse(o, choices, error);
    else if (status == DW_OK)
        status = answer(o, choices, error);
    dw_choices_free(choices);
    return status;
}

/* ---- all of it ---- */

static const struct choose_options defaults = {
    .common = COMMON_DEFAULTS, .seed = 1,
    .wish = { .least_stages = 1, .most_stages = 3, .best = 10,
              .task = { .high = 3.3, .levels = 256, .duty = NAN, .load = INFINITY, .band = 0.02, .ripple = INFINITY, .settling = INFINITY,
                        .overshoot = 0.1, .loading = 0.05, .pin_current = INFINITY, .coil_current = INFINITY } },
    .offers = { .spec = { "E12", "E6", NULL, NULL }, .from = { 1e3, 1e-9, 1e-6, 0.1 }, .to = { 1e5, 1e-4, 0.1, 1e3 } },
};

static void release(void *options_read)
{
    struct choose_options *o = options_read;
    dw_parts_free(o->resistors);
    dw_parts_free(o->capacitors);
    dw_parts_free(o->coils);
    dw_parts_free(o->dampers);
}

/* Answers a request that shards have worked on. */
static enum dw_status answer_merged(struct choose_options *request, const struct choose_options *given, const struct choose_pile *pile,
                                    struct dw_error *error)
{
    struct choose_merged merged = { NULL, NULL, NULL, 0 };
    request->shard = given->shard;
    request->shards = given->shards;
    enum dw_status status = choose_pile_gather(pile, request, &merged, error);
    if (status == DW_OK && merged.good && request->shards > 0)
        status = dw_error_set(error, DW_BAD_USE, 0, "--shard: the samples are drawn already; merge them without it");
    else if (status == DW_OK && request->shards > 0 && request->samples == 0)
        status = dw_error_set(error, DW_BAD_USE, 0, "--shard: with --merge it shares out the samples, and the request has no --samples");
    if (status == DW_OK)
        status = choose(request, error);
    choose_merged_free(&merged);
    return status;
}

/* What the request would have answered, from what its shards found: its command line is read as if it stood here. */
static enum dw_status merge(const struct choose_options *given, struct dw_error *error)
{
    const struct command *command = given->common.command;
    struct choose_pile pile = { NULL, 0, 0 };
    struct choose_options request = defaults;
    struct command again = { .program = command->program };
    int count = 0;
    request.restored = true;
    enum dw_status status = choose_pile_read(&pile, command->words, command->word_count, error);
    char **line = status == DW_OK ? choose_pile_line(&pile, command, &count) : NULL;
    if (status == DW_OK)
        status = line ? command_parse(&again, command->program, &request, count, line, error) : dw_no_memory(error);
    if (status == DW_OK)
        status = answer_merged(&request, given, &pile, error);
    if (status == DW_END)
        status = dw_error_set(error, DW_BAD_INPUT, 0, "the shards' request is none: it asks for help");
    command_progress_erase(&again);
    if (again.count)
        command_place(&again, error);
    release(&request);
    command_free(&again, &request);
    free(line);
    choose_pile_free(&pile);
    return status;
}

static enum dw_status run(void *options_read, struct dw_error *error)
{
    struct choose_options *o = options_read;
    if (o->merge)
        return merge(o, error);
    const enum dw_status status = choose_offers(o, error);
    return status == DW_OK ? choose(o, error) : status;
}

static const struct program program = {
    .name = "dw-choose", .about = about, .words = "\n--merge [FILE]...", .options = options, .check = check, .run = run,
    .release = release, .shared = SHARED_OUTPUT | SHARED_REPORT, PROGRAM_OPTIONS(struct choose_options, defaults)
};
PROGRAM_MAIN(program)
