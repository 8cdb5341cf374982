/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A law in integers as C99: the steps of law_integers.c with their constants in their place. */
#include <ctype.h>
#include <dutywright/law.h>
#include <dutywright/value.h>
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { NAME_MOST = 24 };

/* What the text is written from: name as it stands in functions, and in macros. */
struct listing {
    FILE *out;
    const struct dw_law *law;
    char name[NAME_MOST + 1], macro[NAME_MOST + 1];
};

static enum dw_status set_name(struct listing *list, const char *name, struct dw_error *error)
{
    const size_t length = strlen(name);
    bool good = length >= 1 && length <= NAME_MOST && !isdigit((unsigned char)name[0]);
    for (size_t i = 0; i < length && good; i++) {
        good = strchr("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_", name[i]) != NULL;
        list->name[i] = name[i];
        list->macro[i] = (char)(name[i] >= 'a' && name[i] <= 'z' ? name[i] - 'a' + 'A' : name[i]);  /* unrun: implied */
    }
    return good ? DW_OK : dw_error_set(error, DW_BAD_USE, 0, "'%s': a name in C has letters, digits and '_', no digit first, and here up to %d of them",
                                       name, NAME_MOST);
}

/* ---- comments ---- */

static const char *text(char *room, double value)
{
    dw_number_print(room, dw_number_round(value, 6));
    return room;
}

static void write_law(const struct listing *list)
{
    static const char *const windups[] = { "the integral goes on where the duty is clipped", "the integral stands while it would lead the duty further out",
                                           "the integral is led back where the duty is clipped, within" };
    const struct dw_law_plan *p = &list->law->plan;
    char a[DW_NUMBER_SIZE], b[DW_NUMBER_SIZE], c[DW_NUMBER_SIZE], d[DW_NUMBER_SIZE];
    if (p->kind == DW_LAW_ON_OFF) {
        fprintf(list->out, " * On-off: on %s %s and off %s %s, counted from the wanted value.\n", p->on <= p->off ? "below" : "above",
                text(a, p->on), p->on <= p->off ? "above" : "below", text(b, p->off));
        return;
    }
    fprintf(list->out, " * Gain %s, ", text(a, p->gain));
    if (isfinite(p->integral_time))
        fprintf(list->out, "integral time %s s, ", text(b, p->integral_time));
    fprintf(list->out, "derivative time %s s with a filter of %s s,\n", text(c, p->derivative_time), text(d, p->filter));
    fprintf(list->out, " * weight of the wanted value %s; %s", text(a, p->setpoint_weight), windups[p->windup]);
    fprintf(list->out, p->windup == DW_WINDUP_BACK ? " %s s.\n" : ".\n", text(a, p->track_time));
}

static void write_head(const struct listing *list, const char *note)
{
    const struct dw_law_plan *p = &list->law->plan;
    const struct dw_converter *k = &p->converter;
    const struct dw_law_integers *w = &list->law->integers;
    char a[DW_NUMBER_SIZE], b[DW_NUMBER_SIZE];
    fputs("/* ", list->out);
    for (; *note; note++)  /* what would end the line or the comment is left out */
        fputc((unsigned char)*note < ' ' || (*note == '*' && note[1] == '/') || (*note == '/' && note[1] == '*') ? ' ' : *note, list->out);
    fputs("\n *\n", list->out);
    write_law(list);
    fprintf(list->out, " *\n * Call %s_begin once, then %s_step every %s s with two codes of the converter, 0 to %" PRId32 ":\n", list->name,
            list->name, text(a, p->sample_time), w->last_code);
    fprintf(list->out, " *     quantity = %s %c %s code\n", text(a, (k->low - k->offset) / k->gain), list->law->step < 0 ? '-' : '+',
            text(b, fabs(list->law->step)));
    fprintf(list->out, " * It returns the duty in steps, %" PRId32 " to %" PRId32 ", of which %u are a duty of 1%s.\n", w->low, w->high, p->duty_steps,
            w->low < 0 ? "; below 0 the other direction" : "");
    fprintf(list->out, " * No sum or product leaves 64 bits, whatever the codes and however many; no negative number is shifted.\n"
                       " *\n * Try it with the load unpowered, and keep a stop within reach: a loop that runs away drives at full power. */\n");
    fprintf(list->out, "#ifndef %s_LAW_H\n#define %s_LAW_H\n\n#include <stdint.h>\n\n", list->macro, list->macro);
}

/* ---- code ---- */

/* A line of the code, in which NAME and MACRO stand for the page's. */
static void write_code(const struct listing *list, const char *code)
{
    for (const char *at = code; *at;) {
        if (strncmp(at, "NAME", 4) == 0) {
            fputs(list->name, list->out);
            at += 4;
        } else if (strncmp(at, "MACRO", 5) == 0) {
            fputs(list->macro, list->out);
            at += 5;
        } else
            fputc(*at++, list->out);
    }
}

static void define(const struct listing *list, const char *what, int64_t value, const char *comment)
{
    fprintf(list->out, "#define %s_%s INT64_C(%" PRId64 ")%s%s%s\n", list->macro, what, value, comment[0] ? "  /* " : "", comment,
            comment[0] ? " */" : "");
}

static const char helpers[] =
    "\nstatic inline int64_t NAME_between(int64_t x, int64_t low, int64_t high)\n"
    "{\n"
    "    return x < low ? low : x > high ? high : x;\n"
    "}\n";
static const char share_code[] =
    "\n/* x k / 2^30 in two parts, each of which fits; k is 0 to 2^30. */\n"
    "static inline int64_t NAME_share(int64_t x, int64_t k)\n"
    "{\n"
    "    return x / MACRO_SHARE * k + x % MACRO_SHARE * k / MACRO_SHARE;\n"
    "}\n";

static void write_on_off(const struct listing *list)
{
    const struct dw_law_integers *w = &list->law->integers;
    define(list, "LAST_CODE", w->last_code, "");
    define(list, "ON_AT", w->on_at, w->below ? "codes above the wanted one: on below" : "codes above the wanted one: on above");
    define(list, "OFF_AT", w->off_at, w->below ? "off above" : "off below");
    write_code(list, "\nstruct NAME_law {\n    int on;\n};\n\nstatic inline void NAME_begin(struct NAME_law *law)\n{\n    law->on = 0;\n}\n");
    write_code(list, helpers);
    write_code(list, "\nstatic inline int32_t NAME_step(struct NAME_law *law, int32_t wanted, int32_t measured)\n{\n"
                     "    const int64_t above = NAME_between(measured, 0, MACRO_LAST_CODE) - NAME_between(wanted, 0, MACRO_LAST_CODE);\n");
    fprintf(list->out, "    if (above %c %s_ON_AT)\n        law->on = 1;\n    else if (above %c %s_OFF_AT)\n        law->on = 0;\n", w->below ? '<' : '>',
            list->macro, w->below ? '>' : '<', list->macro);
    fprintf(list->out, "    return law->on ? %" PRId32 " : %" PRId32 ";\n}\n", w->high, w->low);
}

static void write_constants(const struct listing *list)
{
    const struct dw_law_integers *w = &list->law->integers;
    const int64_t step = INT64_C(1) << w->shift;
    define(list, "LAST_CODE", w->last_code, "");
    define(list, "STEP", step, "parts of a step of the duty; in parts:");
    define(list, "LOW", w->low * step, "least duty");
    define(list, "HIGH", w->high * step, "most");
    define(list, "GAIN", w->gain, "per code measured");
    define(list, "WEIGHT", w->weight, "per code wanted");
    define(list, "OFFSET", w->offset, "");
    define(list, "INTEGRATES", w->integrates, "per code of error, each sample");
    define(list, "DIFFERENTIATES", w->differentiates, "per code of change");
    define(list, "FIRST", w->initial, "the integral at first");
    define(list, "LIMIT", INT64_C(1) << 60, "of the integral");
    define(list, "SHARE", INT64_C(1) << 30, "shares are of this:");
    define(list, "KEEPS", w->keeps, "of the derivative, each sample");
    define(list, "TRACKS", w->tracks, "of what was clipped, each sample");
}

static void write_pid(const struct listing *list)
{
    write_constants(list);
    write_code(list, "\nstruct NAME_law {\n    int64_t integral, derivative;\n    int64_t measured;  /* at the sample before, -1: none */\n};\n"
                     "\nstatic inline void NAME_begin(struct NAME_law *law)\n{\n    law->integral = MACRO_FIRST;\n    law->derivative = 0;\n"
                     "    law->measured = -1;\n}\n");
    write_code(list, helpers);
    write_code(list, share_code);
    write_code(list,
        "\nstatic inline int32_t NAME_step(struct NAME_law *law, int32_t wanted, int32_t measured)\n{\n"
        "    const int64_t r = NAME_between(wanted, 0, MACRO_LAST_CODE), y = NAME_between(measured, 0, MACRO_LAST_CODE);\n"
        "    const int64_t adds = MACRO_INTEGRATES * (r - y), change = law->measured < 0 ? 0 : y - law->measured;\n"
        "    int64_t rest, integral, asked, clipped;\n"
        "    law->measured = y;\n"
        "    law->derivative = NAME_share(law->derivative, MACRO_KEEPS) - MACRO_DIFFERENTIATES * change;\n"
        "    rest = MACRO_WEIGHT * r - MACRO_GAIN * y + MACRO_OFFSET + law->derivative;\n"
        "    integral = NAME_between(law->integral + adds, -MACRO_LIMIT, MACRO_LIMIT);\n"
        "    asked = rest + integral;\n"
        "    clipped = NAME_between(asked, MACRO_LOW, MACRO_HIGH);\n");
    if (list->law->plan.windup == DW_WINDUP_CLAMP)
        write_code(list,
            "    if ((asked <= clipped || adds <= 0) && (asked >= clipped || adds >= 0))  /* what would lead further out is not kept */\n    ");
    write_code(list,
        "    law->integral = NAME_between(integral + NAME_share(clipped - asked, MACRO_TRACKS), -MACRO_LIMIT, MACRO_LIMIT);\n"
        "    return (int32_t)(clipped < 0 ? -((MACRO_STEP / 2 - clipped) / MACRO_STEP) : (clipped + MACRO_STEP / 2) / MACRO_STEP);\n"
        "}\n");
}

char *dw_law_firmware(const struct dw_law *law, const char *name, const char *note, struct dw_error *error)
{
    struct listing list = { .law = law };
    char *made = NULL;
    size_t size;
    if (set_name(&list, name, error))
        return NULL;
    if (!law->plan.integers) {
        dw_error_member(error, "integers", "the law is not in integers: what is written is what was tried");
        return NULL;
    }
    list.out = open_memstream(&made, &size);
    bool whole = list.out != NULL;
    if (whole) {
        write_head(&list, note ? note : "A law that sets a duty, in whole numbers.");
        if (law->plan.kind == DW_LAW_PID)
            write_pid(&list);
        else
            write_on_off(&list);
        fputs("\n#endif\n", list.out);
        whole = !ferror(list.out);
        whole = fclose(list.out) == 0 && whole && made;  /* unrun: passed-on */
    }
    if (!whole) {
        free(made);
        made = NULL;
        dw_no_memory(error);
    }
    return made;
}
