/* SPDX-License-Identifier: GPL-3.0-or-later */
/* dw-choose: parts that smooth a switching pin. */
#include "choose_pile.h"
#include "old_keys.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct argp_option options[] = {
    { NULL, 0, NULL, 0, "The pulses:", 1 },
    { "frequency", OPTION_FREQUENCY, "F", 0, "Switching frequency (Hz)", 1 },
    { "high", OPTION_HIGH, "V", 0, "Pin when on (V; default 3.3)", 1 },
    { "low", OPTION_LOW, "V", 0, "Pin when off (V; default 0)", 1 },
    { "levels", OPTION_LEVELS, "N", 0, "Steps of duty; 1 lsb is (high - low) / N (default 256)", 1 },
    { "duty", OPTION_DUTY, "D", 0,
      "Ripple at this duty, and settling from 0 to it (default: the largest ripple of all k/N, and settling from 0 to 1)", 1 },
    { NULL, 0, NULL, 0, "The limits (one of the first two at least, unless --front is given):", 2 },
    { "ripple", OPTION_RIPPLE, "V", 0, "Ripple of the output, peak to peak: 20m, 0.5% of high - low, or 0.5lsb", 2 },
    { "settle", OPTION_SETTLE, "T", 0,
      "Settling time (s): from then on the mean over the period just ended stays within the band", 2 },
    { "band", OPTION_BAND, "SHARE", 0, "Band of settling, as a share of the change, or such as 0.5lsb (default 2%)", 2 },
    { "overshoot", OPTION_OVERSHOOT, "SHARE", 0, "How far the mean may pass its last value, share of the change (default 10%)", 2 },
    { "loading", OPTION_LOADING, "SHARE", 0,
      "How much of the mean source and load may take off through the resistances (default 5%)", 2 },
    { "pin-current", OPTION_PIN_CURRENT, "A", 0, "Peak current of the pin, the first charging included (default: any)", 2 },
    { "inductor-current", OPTION_INDUCTOR_CURRENT, "A", 0, "Peak current of the coil, the first rise included (default: any)", 2 },
    { NULL, 0, NULL, 0, "The circuit, and the parts to choose from:", 3 },
    { "source", OPTION_SOURCE, "R", 0, "Resistance of the pin itself (ohm; default 0)", 3 },
    { "load", OPTION_LOAD, "R", 0, "Resistance from the output to ground (ohm; default none)", 3 },
    { "stages", OPTION_STAGES, "A:B", 0, "How many RC stages, 1 to 3, or 0 for none, only coils (default 1:3)", 3 },
    { "resistors", OPTION_RESISTORS, "WHICH", 0,
      "Preferred values, E3 to E192, or a file: one value a line, then its tolerance and price if known: 2k7 1% 0.02 "
      "(default E12)", 3 },
    { "capacitors", OPTION_CAPACITORS, "WHICH", 0, "The same of capacitors: see --resistors (default E6)", 3 },
    { "inductors", OPTION_INDUCTORS, "WHICH", 0, "The same of coils; without it none are tried", 3 },
    { "range", OPTION_RANGE, "KEYS", 0,
      "Values to use (default r=1k:100k,c=1n:100u,l=1u:100m,rd=100m:1k; a file: all of it); rd: resistors that damp a coil", 3 },
    { "spread", OPTION_SPREAD, "KEYS", 0,
      "Tolerances where a file has none: r=1%,c=10%,l=20%; all limits then hold for the worst case (default 0)", 3 },
    { NULL, 0, NULL, 0, "The answer:", 4 },
    { "rank", OPTION_RANK, "BY", 0,
      "parts: fewest first, then by margin (default); margin: what is left of the limit that is nearest, or, with one limit on "
      "ripple and settling, the other of the two; ripple; settling; price", 4 },
    { "best", OPTION_BEST, "N", 0, "Most rows of the ranking (default 10)", 4 },
    { "front", OPTION_FRONT, NULL, 0, "Instead, the trade-off: all that no other beats in both ripple and settling", 4 },
    { "curve", OPTION_CURVE, NULL, 0, "The front as a table for dw-plot: settling[s] ripple[V]", 4 },
    { "all", OPTION_ALL, NULL, 0, "Every column in text too; rows and json always have them", 4 },
    { "samples", OPTION_SAMPLES, "N", 0,
      "Yield: the share of N filters, their parts spread evenly over their tolerances, that keep all limits, and its 95% "
      "confidence interval", 4 },
    { "seed", OPTION_SEED, "N", 0, "Which samples (default 1); the same seed gives the same ones", 4 },
    { "print", OPTION_PRINT, "PROGRAM", 0, "Instead of the ranking, the options of the best for PROGRAM, which is dw-smooth", 4 },
    { "exhaustive", OPTION_EXHAUSTIVE, NULL, 0, "Look at every candidate: the same answer, slowly", 4 },
    { NULL, 0, NULL, 0, "Shared among processes or machines:", 5 },
    { "shard", OPTION_SHARD, "K/N", 0,
      "Do the K-th of N shares of the search and write, on one line, what --merge reads; with --merge, the K-th share of the samples", 5 },
    { "merge", OPTION_MERGE, NULL, 0,
      "Put together what all N shards wrote, in any order: the answer is to the byte that of the request in one piece. The request "
      "goes to the shards; to --merge go --all, --curve, --print, --format, --digits, --binary, --text", 5 },
    { 0 },
};

static const char about[] =
    "Choose resistors, capacitors and coils that smooth a switching pin into a voltage: a makeshift digital-to-analogue "
    "converter, or a smoothed supply."
    "\v"
    "Ripple, settling and overshoot are those that dw-measure finds behind dw-pwm and dw-smooth with these parts. Their worst "
    "case within the tolerances is proved to be that for RC stages (worst-by: proof); with a coil it is the worst of all corners and "
    "of a search between them (search). Parts are ideal: check the esr of a large capacitor and the wire of a coil with dw-smooth.\n\n"
    "A coil may be damped by the load, by r in series with it, or by rd and cd in series beside c.\n\n"
    "Columns: stages are what dw-smooth takes. loading: how much of the mean the load takes off. size: small up to 5 uJ in a "
    "capacitor (at the higher pin voltage) or coil (at its peak current), medium up to 500 uJ, else large. worst-: in the worst "
    "case within the tolerances. With --all also margin: what is left of the limit that is nearest, as a share of it; duty: where the "
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
    "    --stages 0 --inductors E6 --overshoot 20%\n"
    "  dw-pwm --frequency 60k --duty 31.2% --periods 500 |\n"
    "    dw-smooth $(dw-choose --frequency 60k --ripple 0.5lsb --settle 5m \\\n"
    "    --load 1M --print dw-smooth) | dw-measure\n"
    "  dw-choose --frequency 60k --settle 5m --load 1M --front --curve |\n"
    "    dw-plot --y-scale log --output front.svg";

static const struct argp_child children[] = { { &report_argp, 0, NULL, 6 }, { &output_argp, 0, NULL, 6 }, { &quiet_argp, 0, NULL, 6 },
                                              { 0 } };

/* The options while they are read; those that need others are kept as they are written. */
struct reading {
    struct choose_options o;
    struct choose_offers offers;
    const char *ripple, *band;
    bool merge, restored;  /* restored: the request that stands in shards */
    char **files;          /* of --merge */
    int file_count;
};

static struct reading defaults(void)
{
    return (struct reading){
        .o = { .common = common_defaults(), .seed = 1,
               .wish = { .least_stages = 1, .most_stages = 3, .best = 10,
                         .task = { .high = 3.3, .levels = 256, .duty = NAN, .load = INFINITY, .band = 0.02, .ripple = INFINITY,
                                   .settling = INFINITY, .overshoot = 0.1, .loading = 0.05, .pin_current = INFINITY,
                                   .coil_current = INFINITY } } },
        .offers = { .spec = { "E12", "E6", NULL, NULL }, .from = { 1e3, 1e-9, 1e-6, 0.1 }, .to = { 1e5, 1e-4, 0.1, 1e3 } },
    };
}

static void reading_free(struct reading *reading)
{
    free(reading->o.words);
    free(reading->files);
    dw_parts_free(reading->o.resistors);
    dw_parts_free(reading->o.capacitors);
    dw_parts_free(reading->o.coils);
    dw_parts_free(reading->o.dampers);
}

/* The command line as it was typed: argp moves words to its end. */
static void keep_words(struct reading *reading, char **words, int count)
{
    reading->o.words = calloc((size_t)count + 1, sizeof *words);
    reading->files = calloc((size_t)count + 1, sizeof *words);
    if (!reading->o.words || !reading->files)
        program_fail(DW_NO_MEMORY, "%s", dw_status_text(DW_NO_MEMORY));
    memcpy(reading->o.words, words, (size_t)count * sizeof *words);
    reading->o.word_count = count;
}

double choose_lsb(const struct dw_filter_task *task)
{
    return (task->high - task->low) / (double)task->levels;
}

/* "0.5lsb" as a multiple of what one lsb is; false: not of this form. */
static bool in_lsb(const char *option, const char *argument, double *value)
{
    char number[64];
    const size_t length = strlen(argument);
    if (length < 4 || strcmp(argument + length - 3, "lsb") || length - 3 >= sizeof number)
        return false;
    memcpy(number, argument, length - 3);
    number[length - 3] = '\0';
    if (length > 4 && number[length - 4] == ' ')
        number[length - 4] = '\0';
    struct dw_error reason;
    if (dw_quantity_parse(number, DW_NUMBER, value, &reason) != DW_OK)
        option_error(option, argument, "%s", reason.text);
    return true;
}

static void resolve(struct reading *reading)
{
    struct dw_filter_task *task = &reading->o.wish.task;
    if (!(task->high > task->low))
        program_fail(DW_BAD_USE, "--high, %g V, must be above --low, %g V", task->high, task->low);
    if (reading->ripple) {
        double value;
        if (in_lsb("ripple", reading->ripple, &value)) {
            reading->o.wish.ripple_unit = choose_lsb(task);
            value *= choose_lsb(task);
        } else if (strchr(reading->ripple, '%')) {
            reading->o.wish.ripple_unit = task->high - task->low;
            value = option_quantity("ripple", reading->ripple, DW_SHARE) * (task->high - task->low);
        } else {
            value = option_quantity("ripple", reading->ripple, DW_VOLTAGE);
        }
        if (!(value > 0))
            option_error("ripple", reading->ripple, "must be above zero");
        task->ripple = value;
    }
    if (reading->band) {
        double value;
        if (in_lsb("band", reading->band, &value))
            value /= (double)task->levels * (isnan(task->duty) ? 1 : task->duty);
        else
            value = option_quantity("band", reading->band, DW_SHARE);
        if (!(value > 0 && value < 1))
            option_error("band", reading->band, "must be above 0 and below 100%% of the change");
        task->band = value;
    }
}

/* What goes to the shards and what to --merge. */
static void check_shards(const struct reading *reading)
{
    static const char *const shapes[] = { "all", "curve", "print", "format", "digits", "binary", "text", NULL };
    if (reading->restored && (reading->merge || reading->o.shards > 0 || reading->file_count > 0))
        program_fail(DW_BAD_INPUT, "the shards' request is none: it holds --shard, --merge or a file");
    if (!reading->merge && reading->file_count > 0)
        program_fail(DW_BAD_USE, "'%s': a file goes with --merge", reading->files[0]);
    for (int i = 0; shapes[i] && !reading->merge; i++)
        option_conflict("shard", shapes[i], "a shard writes no report; give the latter with --merge");
    for (const struct argp_option *option = options; reading->merge && (option->name || option->doc); option++) {
        bool fits = !option->name || option->key == OPTION_SHARD || option->key == OPTION_MERGE;
        for (int i = 0; shapes[i] && !fits; i++)
            fits = !strcmp(option->name, shapes[i]);
        if (!fits)
            option_conflict("merge", option->name, "the request stands in the shards; give the latter there");
    }
}

static void goes_with_inductors(const char *option, const char *key, const char *other)
{
    const char *given = option_given(option);
    if (given && !option_given("inductors") && (!key || strstr(given, key) || (other && strstr(given, other))))
        option_error(option, given, "goes with --inductors: without it no coils are tried");
}

static void check_together(struct reading *reading)
{
    const struct choose_options *o = &reading->o;
    static const char *const shapes[] = { "front", "best", "all", "samples", "format", "digits", NULL };
    option_required("frequency", "such as 60k");
    resolve(reading);
    if (!option_given("ripple") && !option_given("settle") && !option_given("front"))
        program_fail(DW_BAD_USE, "--ripple or --settle is missing: give one, such as --ripple 0.5lsb");
    if (o->wish.most_stages == 0 && !option_given("inductors"))
        option_error("stages", option_given("stages"), "leaves nothing to choose without --inductors");
    goes_with_inductors("inductor-current", NULL, NULL);
    goes_with_inductors("range", "l=", "rd=");
    goes_with_inductors("spread", "l=", NULL);
    if (option_given("seed") && !option_given("samples"))
        option_error("seed", option_given("seed"), "goes with --samples");
    if (option_given("curve") && !option_given("front"))
        option_error("curve", NULL, "goes with --front");
    if ((option_given("binary") || option_given("text")) && !option_given("curve"))
        option_error(option_given("binary") ? "binary" : "text", NULL, "goes with --front --curve");
    option_conflict("front", "rank", "the front is not ranked; give one");
    option_conflict("front", "best", "the front is given whole; give one");
    for (int i = 0; shapes[i]; i++) {
        /* what was asked of shards may serve several reports */
        if (!reading->restored || (strcmp(shapes[i], "best") && strcmp(shapes[i], "samples")))
            option_conflict("print", shapes[i], "one prints options, the other shapes the report; give one");
        if (i > 0)
            option_conflict("curve", shapes[i], "a table has no such columns; give one");
    }
}

static void read_stages(struct choose_options *o, const char *argument)
{
    char text[32];
    char *colon;
    if (strlen(argument) >= sizeof text)
        option_error("stages", argument, "must be such as 2 or 1:3");
    strcpy(text, argument);
    colon = strchr(text, ':');
    if (colon)
        *colon = '\0';
    o->wish.least_stages = (int)option_count("stages", text, colon ? 1 : 0, DW_FILTER_STAGES);
    o->wish.most_stages = colon ? (int)option_count("stages", colon + 1, 1, DW_FILTER_STAGES) : o->wish.least_stages;
    if (o->wish.most_stages < o->wish.least_stages)
        option_error("stages", argument, "the second number must not be below the first");
}

static void read_spread(struct choose_offers *offers, const char *argument)
{
    struct option_key keys[] = { { "r", DW_SHARE, 0, NULL }, { "c", DW_SHARE, 0, NULL }, { "l", DW_SHARE, 0, NULL } };
    option_keys("spread", argument, keys, 3);
    for (int i = 0; i < 3; i++) {
        if (!(keys[i].value >= 0 && keys[i].value < 1))
            option_error("spread", argument, "%s: must be from 0 to below 100%%", keys[i].name);
        offers->spread[i] = keys[i].value;
    }
    offers->spread[PART_DAMPER] = offers->spread[PART_RESISTOR];
}

static error_t parse(int key, char *argument, struct argp_state *state)
{
    static const char *const ranks[] = { "parts", "margin", "ripple", "settling", "price", NULL };
    static const char *const printable[] = { "dw-smooth", NULL };
    const double most = INFINITY;
    struct reading *reading = state->input;
    struct choose_options *o = &reading->o;
    struct dw_filter_task *task = &o->wish.task;
    switch (key) {
    case ARGP_KEY_INIT:
        for (int i = 0; i < 3; i++)
            state->child_inputs[i] = &o->common;
        keep_words(reading, state->argv, state->argc);
        return 0;
    case ARGP_KEY_ARG: reading->files[reading->file_count++] = argument; return 0;
    case OPTION_FREQUENCY: task->frequency = option_positive("frequency", argument, DW_FREQUENCY); return 0;
    case OPTION_HIGH: task->high = option_quantity("high", argument, DW_VOLTAGE); return 0;
    case OPTION_LOW: task->low = option_quantity("low", argument, DW_VOLTAGE); return 0;
    case OPTION_LEVELS: task->levels = option_count("levels", argument, 2, 1L << 32); return 0;
    case OPTION_DUTY:
        task->duty = option_between("duty", argument, DW_SHARE, 0, 1);
        if (!(task->duty > 0))
            option_error("duty", argument, "must be above zero");
        return 0;
    case OPTION_RIPPLE: reading->ripple = argument; return 0;
    case OPTION_SETTLE: task->settling = option_positive("settle", argument, DW_TIME); return 0;
    case OPTION_BAND: reading->band = argument; return 0;
    case OPTION_OVERSHOOT: task->overshoot = option_positive("overshoot", argument, DW_SHARE); return 0;
    case OPTION_LOADING: task->loading = option_positive("loading", argument, DW_SHARE); return 0;
    case OPTION_PIN_CURRENT: task->pin_current = option_positive("pin-current", argument, DW_CURRENT); return 0;
    case OPTION_INDUCTOR_CURRENT: task->coil_current = option_positive("inductor-current", argument, DW_CURRENT); return 0;
    case OPTION_SOURCE: task->source = option_between("source", argument, DW_RESISTANCE, 0, most); return 0;
    case OPTION_LOAD: task->load = option_positive("load", argument, DW_RESISTANCE); return 0;
    case OPTION_STAGES: read_stages(o, argument); return 0;
    case OPTION_RESISTORS: reading->offers.spec[PART_RESISTOR] = argument; return 0;
    case OPTION_CAPACITORS: reading->offers.spec[PART_CAPACITOR] = argument; return 0;
    case OPTION_INDUCTORS: reading->offers.spec[PART_COIL] = argument; return 0;
    case OPTION_RANGE: choose_range(&reading->offers, argument); return 0;
    case OPTION_SPREAD: read_spread(&reading->offers, argument); return 0;
    case OPTION_RANK: o->wish.rank = (enum dw_choice_rank)option_word("rank", argument, ranks); return 0;
    case OPTION_BEST: o->wish.best = (size_t)option_count("best", argument, 1, 1000000); return 0;
    case OPTION_FRONT: o->wish.front = true; return 0;
    case OPTION_CURVE: o->curve = true; return 0;
    case OPTION_ALL: o->all = true; return 0;
    case OPTION_SAMPLES: o->samples = (unsigned long long)option_count("samples", argument, 1, 1L << 40); return 0;
    case OPTION_SEED: o->seed = (uint64_t)option_count("seed", argument, 0, 1L << 53); return 0;
    case OPTION_EXHAUSTIVE: o->wish.exhaustive = true; return 0;
    case OPTION_PRINT:
        option_word("print", argument, printable);
        o->print = true;
        return 0;
    case OPTION_SHARD: choose_read_shard(o, argument); return 0;
    case OPTION_MERGE: reading->merge = true; return 0;
    case ARGP_KEY_END:
        check_shards(reading);
        if (!reading->merge)
            check_together(reading);
        return 0;
    default: return ARGP_ERR_UNKNOWN;
    }
}

static const struct argp argp = { options, parse, "\n--merge [FILE]...", about, children, NULL, NULL };

/* All options of the best, to paste behind dw-smooth. */
static void print_options(const struct choose_options *o, const struct dw_filter *filter)
{
    char stages[300], value[40];
    choose_stages(stages, sizeof stages, filter, "--stage ");
    printf("%s", stages);
    if (o->wish.task.source > 0) {
        choose_spell(value, o->wish.task.source);
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
    const double volts = fmax(fabs(task->high), fabs(task->low));
    const struct dw_filter *best = &dw_choices_get(choices, 0)->filter;
    double resistance = task->source;
    for (int k = 0; k < best->stages; k++)
        resistance += best->r[k].value;
    if (volts > 60)
        program_caution("%g V: over 60 V DC can kill, and capacitors stay charged after switching off; local electrical codes "
                        "and a licensed person decide", volts);
    if (isinf(task->load) && resistance > 0 && !o->print) {
        char text[64];
        dw_quantity_print(text, sizeof text, resistance, "ohm", 3);
        program_note("no --load is given: the best has %s between pin and output, which whatever it feeds must not load", text);
    }
}

/* From the search, or from what shards found. */
static enum dw_status find(struct choose_options *o, struct dw_choices **choices, struct dw_error *error)
{
    if (o->merged)
        return dw_choices_merge(&o->wish, o->merged->filters, o->merged->count, choices, error);
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

static enum dw_status choose(struct choose_options *o, struct dw_error *error)
{
    struct dw_choices *choices = NULL;
    o->wish.progress = choose_progress;
    enum dw_status status = find(o, &choices, error);
    choose_progress(NULL, 1);
    if (o->shards > 0 && (status == DW_OK || status == DW_NO))
        status = choose_write_shard(o, choices, status == DW_OK, error);
    else if (status == DW_NO)
        status = refuse(o, choices, error);
    else if (status == DW_OK)
        status = answer(o, choices, error);
    dw_choices_free(choices);
    return status;
}

/* What the request would have answered, from what its shards found. */
static enum dw_status merge(const struct reading *given, struct dw_error *error)
{
    struct choose_pile pile = { NULL, 0, 0 };
    struct choose_merged merged = { NULL, NULL, NULL, 0 };
    struct reading reading = defaults();
    int count = 0;
    enum dw_status status = choose_pile_read(&pile, given->files, given->file_count, error);
    char **line = status == DW_OK ? choose_pile_line(&pile, given->o.words, given->o.word_count, &count) : NULL;
    if (status == DW_OK && !line)
        status = dw_no_memory(error);
    if (status == DW_OK) {
        reading.restored = true;
        program_again(&argp, &reading, count, line);
        reading.o.shard = given->o.shard;
        reading.o.shards = given->o.shards;
        status = choose_pile_gather(&pile, &reading.o, &merged, error);
    }
    if (status == DW_OK && merged.good && reading.o.shards > 0)
        status = dw_error_set(error, DW_BAD_USE, 0, "--shard: the samples are drawn already; merge them without it");
    else if (status == DW_OK && reading.o.shards > 0 && reading.o.samples == 0)
        status = dw_error_set(error, DW_BAD_USE, 0, "--shard: with --merge it shares out the samples, and the request has no --samples");
    if (status == DW_OK)
        status = choose(&reading.o, error);
    reading_free(&reading);
    choose_merged_free(&merged);
    free(line);
    choose_pile_free(&pile);
    return status;
}

int main(int argc, char **argv)
{
    struct reading reading = defaults();
    struct dw_error error = { .status = DW_OK };
    enum dw_status status;
    program_start("dw-choose", &argp, &reading, argc, argv);
    if (reading.merge) {
        status = merge(&reading, &error);
    } else {
        choose_offers(&reading.o, &reading.offers);
        status = choose(&reading.o, &error);
    }
    reading_free(&reading);
    return program_finish(status, &error);
}
