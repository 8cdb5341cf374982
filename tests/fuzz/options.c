/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any command line of a program ends it with a status of 0 to 3, or 141; with 2 there is one line on standard error.
 * All programs are linked in (mains.h), and called as main calls them: nothing in them exits. The first word names one, as dw-pwm; each byte 0 or line end parts two words. Standard
 * input is a small table, standard output a full disk, so that what would write without end stops, and so is any file for a
 * figure. What may rightly take long is cut short: a search among parts, a large
 * picture. The linker turns what stands here as __wrap_ into
 * calls of that (--wrap). */
#include "config.h"
#include "promise.h"
#include "figure/figure.h"
#include "mains.h"
#include "programs/common.h" /* a program runs again and again in one process, and must forget */
#include <dutywright/design.h>
#include <fcntl.h>
#include <stdio_ext.h>
#include <sys/mman.h>
#include <unistd.h>

const int replay_changes = 600; /* scripts/fuzz short: 4000 inputs */

/* Of the types of what they stand for: the linker looks at names alone. */
__typeof__(fclose) __wrap_fclose, __real_fclose;
__typeof__(whole_file_write) __wrap_whole_file_write, __real_whole_file_write;
__typeof__(figure_render) __wrap_figure_render, __real_figure_render;
__typeof__(dw_choose) __wrap_dw_choose, __real_dw_choose;
__typeof__(dw_filter_yield) __wrap_dw_filter_yield, __real_dw_filter_yield;

enum { SMALL_WIDTH = 320, SMALL_HEIGHT = 200 };
enum { MOST_WORDS = 60, MOST_BYTES = 4000, MOST_PROGRAMS = 32, MOST_SAMPLES = 20, MOST_STEPS = 3, TABLE = 30 };
static const struct program *program[MOST_PROGRAMS];
static int programs;
static bool inside;

/* Standard output stays for the next command line. */
int __wrap_fclose(FILE *file)
{
    return inside && file == stdout ? fflush(stdout) : __real_fclose(file);
}

enum dw_status __wrap_whole_file_write(const char *path, const char *bytes, size_t size, struct dw_error *error)
{
    (void)path;
    return __real_whole_file_write("-", bytes, size, error);
}

enum dw_status __wrap_figure_render(const struct figure *figure, const struct figure_form *form, char **bytes, size_t *size, struct dw_error *error)
{
    struct figure_form small = *form;
    if ((form->type == FIGURE_PNG || form->type == FIGURE_GIF)
        && !(form->width > 0 && form->width * form->height <= SMALL_WIDTH * SMALL_HEIGHT)) {
        small.width = SMALL_WIDTH;
        small.height = SMALL_HEIGHT;
    }
    return __real_figure_render(figure, &small, bytes, size, error);
}

static bool count_step(void *context, double share)
{
    (void)share;
    return ++*(int *)context < MOST_STEPS;
}

enum dw_status __wrap_dw_choose(const struct dw_choice_wish *wish, struct dw_choices **choices, struct dw_error *error)
{
    int steps = 0;
    struct dw_choice_wish brief = *wish;
    brief.progress = count_step;
    brief.context = &steps;
    return __real_dw_choose(&brief, choices, error);
}

enum dw_status __wrap_dw_filter_yield(const struct dw_filter_task *task, const struct dw_filter *filter, const struct dw_yield_samples *samples,
                                      struct dw_yield *yield, struct dw_error *error)
{
    struct dw_yield_samples few = *samples;
    few.count = few.count < MOST_SAMPLES ? few.count : MOST_SAMPLES;
    return __real_dw_filter_yield(task, filter, &few, yield, error);
}

static bool has_option(const struct program *of, const char *name)
{
    struct command_set sets[COMMAND_SETS];
    const size_t count = command_sets(of, sets);
    for (size_t i = 0; i < count; i++)
        for (const struct option_spec *o = sets[i].options; o->name || o->help; o++)
            if (o->name && !strcmp(o->name, name))
                return true;
    return false;
}

/* A misspelt name in a rule would make a rule that nothing breaks. */
static void check_names(const struct program *of, const char *list)
{
    char text[1000], *rest = text;
    snprintf(text, sizeof text, "%s", list ? list : "");
    for (char *term; (term = strsep(&rest, " &"));) {
        term += *term == '!';
        term[strcspn(term, "=")] = 0;
        demand(!*term || has_option(of, term), "the rules of a program are about its options");
    }
}

void offer_program(const struct program *offered)
{
    struct command_set sets[COMMAND_SETS];
    const size_t count = command_sets(offered, sets);
    for (size_t i = 0; i < count; i++)
        for (const struct option_rule *rule = sets[i].rules; rule && rule->options; rule++) {
            check_names(offered, rule->options);
            check_names(offered, rule->with);
        }
    demand(programs < MOST_PROGRAMS, "there is room for every program");
    program[programs++] = offered;
}

/* The program that a first word names, NULL for none. */
static const struct program *find_program(const char *word)
{
    for (int i = 0; i < programs; i++)
        if (!strcmp(program[i]->name, word))
            return program[i];
    return NULL;
}

/* None of the programs that the build has (PROGRAMS, where a test asks) is forgotten here. */
static void look_for_all(void)
{
    const char *names = getenv("PROGRAMS");
    char list[2048], *rest = list;
    snprintf(list, sizeof list, "%s", names ? names : "");
    for (const char *word; (word = strtok_r(rest, " ", &rest)) != NULL;)
        demand(find_program(word) != NULL, "every program is linked in");
}

static int memory_file(const char *text)
{
    const int file = memfd_create("fuzz", 0);
    demand(file >= 0 && write(file, text, strlen(text)) == (ssize_t)strlen(text), "a memory file can be written");
    return file;
}

/* Runs a program on words; gives its status. said: out, what it wrote on standard error. */
static int run(const struct program *which, int argc, char **argv, char *said, size_t size)
{
    static int input = -1, messages = -1, full = -1, words = -1;
    if (input < 0) {
        look_for_all();
        input = memory_file("# wave-table 1\n# period: 0.002\n# levels: 0 5\n# columns: time[s] pin[V]\n0 5\n0.0005 5\n0.0005 0\n"
                            "0.002 0\n0.002 5\n# end: 5\n");
        messages = memory_file("");
        full = open("/dev/full", O_WRONLY);
        words = fcntl(2, F_DUPFD, 10);
        demand(full >= 0 && words >= 0, "there is a full disk");
        demand(dup2(input, TABLE) == TABLE, "the table can be opened by a name");
    }
    demand(dup2(input, 0) == 0 && lseek(0, 0, SEEK_SET) == 0, "the input is read again");
    demand(dup2(full, 1) == 1 && ftruncate(messages, 0) == 0 && lseek(messages, 0, SEEK_SET) == 0, "the outputs begin again");
    fflush(stderr);
    demand(dup2(messages, 2) == 2, "messages are kept");
    clearerr(stdout);
    inside = true;
    const int ended = program_main(which, argc, argv);
    inside = false;
    __fpurge(stdout);
    const ssize_t length = pread(messages, said, size - 1, 0);
    said[length < 0 ? 0 : length] = 0;
    dup2(words, 2);
    return ended;
}

/* Lines that are neither notes nor cautions. */
static int count_errors(const char *said)
{
    int count = 0;
    for (const char *line = said, *end; *line; line = end + 1) {
        end = strchr(line, '\n');
        demand(end != NULL, "a message ends its line");
        const char *colon = strchr(line, ':');
        demand(!strncmp(line, "dw-", 3) && colon && colon < end, "a message names the program");
        count += strncmp(colon, ": note: ", 8) && strncmp(colon, ": caution: ", 11);
    }
    return count;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static char text[MOST_BYTES + 1], said[1 << 16];
    char *argv[MOST_WORDS + 2] = { NULL };
    int argc = 0;
    if (size > MOST_BYTES)
        return 0;
    memcpy(text, data, size);
    text[size] = 0;
    for (size_t i = 0; i < size && argc <= MOST_WORDS; i++) {
        const bool parts = !data[i] || data[i] == '\n';
        if (parts)
            text[i] = 0;
        else if (i == 0 || !text[i - 1])
            argv[argc++] = text + i;
    }
    const struct program *which = argc > 0 ? find_program(argv[0]) : NULL;
    if (!which)
        return 0;
    const int status = run(which, argc, argv, said, sizeof said);
    demand((status >= 0 && status <= 3) || status == 141, "a program ends with a status of its own");
    const int errors = count_errors(said);
    demand(status == 2 || status == 3 ? errors == 1 : errors <= (status == 1), "a failure is one message, success none");
    return 0;
}
