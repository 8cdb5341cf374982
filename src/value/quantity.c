/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "value_inner.h"
#include <math.h>
#include <stdio.h>
#include <string.h>

enum {
    LONGEST = 400,          /* bytes of a spelling; more than the 300 digits that correct rounding is promised for */
    QUOTED = 40,            /* bytes of it that a message repeats */
    EXPONENT_LIMIT = 100000 /* beyond any that LONGEST digits could bring back into range */
};

/* A number as spelled: its digits as a plain decimal, and a power of ten to go with it. */
struct spelling {
    char digits[LONGEST + 32]; /* sign, digits, at most one point */
    size_t length;
    long power;
    bool point, exponent, nonzero;
};

/* What stands for the decimal point in IEC 60062, by kind; F and H by the same habit. */
struct letter {
    enum dw_quantity kind;
    const char *word;
    int power;
};
static const struct letter letters[] = {
    { DW_RESISTANCE, "R", 0 },   { DW_RESISTANCE, "L", -3 },  { DW_RESISTANCE, "m", -3 }, { DW_RESISTANCE, "K", 3 },
    { DW_RESISTANCE, "k", 3 },   { DW_RESISTANCE, "M", 6 },   { DW_RESISTANCE, "G", 9 },  { DW_RESISTANCE, "T", 12 },
    { DW_CAPACITANCE, "p", -12 }, { DW_CAPACITANCE, "n", -9 }, { DW_CAPACITANCE, "u", -6 },
    { DW_CAPACITANCE, "\xc2\xb5", -6 }, { DW_CAPACITANCE, "\xce\xbc", -6 },
    { DW_CAPACITANCE, "m", -3 }, { DW_CAPACITANCE, "F", 0 },
    { DW_INDUCTANCE, "n", -9 },  { DW_INDUCTANCE, "u", -6 },  { DW_INDUCTANCE, "\xc2\xb5", -6 },
    { DW_INDUCTANCE, "\xce\xbc", -6 }, { DW_INDUCTANCE, "m", -3 }, { DW_INDUCTANCE, "H", 0 },
};

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static const char *skip_blanks(const char *text)
{
    return text + strspn(text, " \t");
}

/* Text for a message: one line, not too long, nothing that a terminal obeys.
 *   out  QUOTED + 4 bytes */
static const char *quote(char *out, const char *text)
{
    size_t length = strlen(text), kept = length > QUOTED ? QUOTED : length;
    while (kept < length && kept && ((unsigned char)text[kept] & 0xc0) == 0x80)
        kept--; /* not inside a UTF-8 sequence */
    for (size_t i = 0; i < kept; i++)
        out[i] = (unsigned char)text[i] < 0x20 || text[i] == 0x7f ? '?' : text[i];
    strcpy(out + kept, kept < length ? "..." : "");
    return out;
}

static void take_digits(struct spelling *number, const char *from, size_t count)
{
    memcpy(number->digits + number->length, from, count);
    number->length += count;
    for (size_t i = 0; i < count; i++)
        number->nonzero = number->nonzero || from[i] != '0';
}

static void take_point(struct spelling *number)
{
    number->digits[number->length++] = '.';
    number->point = true;
}

/* The exponent where one is whole; a lone e is left for the complaint. */
static const char *take_exponent(struct spelling *number, const char *at)
{
    if (*at != 'e' && *at != 'E')
        return at;
    const char *digit = at + 1 + (at[1] == '+' || at[1] == '-');
    if (!is_digit(*digit))
        return at;
    long power = 0;
    for (; is_digit(*digit); digit++)
        power = power < EXPONENT_LIMIT ? 10 * power + (*digit - '0') : power;
    number->power += at[1] == '-' ? -power : power;
    number->exponent = true;
    return digit;
}

/* Sign, digits, point, exponent. Returns what follows; number->length counts no digit where there was none. */
static const char *take_number(struct spelling *number, const char *at)
{
    if (*at == '-')
        number->digits[number->length++] = *at;
    at += *at == '-' || *at == '+';
    size_t whole = strspn(at, "0123456789"), part = at[whole] == '.' ? strspn(at + whole + 1, "0123456789") : 0;
    take_digits(number, at, whole);
    at += whole;
    if (*at == '.' && whole + part) {
        take_point(number);
        take_digits(number, at + 1, part);
        at += 1 + part;
    }
    return whole + part ? take_exponent(number, at) : at;
}

static const struct letter *find_letter(const char *text, enum dw_quantity kind)
{
    for (size_t i = 0; i < sizeof letters / sizeof letters[0]; i++)
        if (letters[i].kind == kind && !strncmp(letters[i].word, text, strlen(letters[i].word)))
            return &letters[i];
    return NULL;
}

/* A letter for the point, with the digits and the unit that may follow it. */
static bool take_letter_code(struct spelling *number, const char *at, enum dw_quantity kind)
{
    const struct letter *letter = find_letter(at, kind);
    if (!letter)
        return false;
    const char *after = at + strlen(letter->word);
    size_t part = strspn(after, "0123456789");
    if (part && (number->point || number->exponent))
        return false;
    const char *unit = part ? skip_blanks(after + part) : after;
    if (*unit || unit != after + part) {
        const struct unit *found = dwi_unit_find(unit, kind);
        if (!found || (letter->power == 0 && (!part || strcmp(letter->word, "R"))))
            return false;
    }
    if (part) {
        take_point(number);
        take_digits(number, after, part);
    }
    number->power += letter->power;
    return true;
}

/* The whole of `rest` as prefix and unit, either of which may be missing.
 *   unit  out, NULL where none is written */
static bool take_unit(struct spelling *number, const char *rest, enum dw_quantity kind, const struct unit **unit)
{
    *unit = dwi_unit_find(rest, kind);
    if (*unit || !*rest) {
        number->power += *unit ? (*unit)->power : 0;
        return true;
    }
    const struct prefix *prefix;
    for (size_t i = 0; (prefix = dwi_prefix_at(i)); i++) {
        const size_t length = strlen(prefix->word);
        if (strncmp(prefix->word, rest, length))
            continue;
        *unit = dwi_unit_find(rest + length, kind);
        if (rest[length] ? *unit && (*unit)->prefixed : dwi_quantity_words(kind)->prefixed) {
            number->power += prefix->power + (*unit ? (*unit)->power : 0);
            return true;
        }
    }
    *unit = NULL;
    return false;
}

static double spelled(struct spelling *number)
{
    double value = 0;
    number->length += (size_t)snprintf(number->digits + number->length, sizeof number->digits - number->length, "e%ld",
                                       number->power);
    dw_number_read(number->digits, number->digits + number->length, &value);
    return value;
}

static enum dw_status refuse(struct dw_error *error, enum dw_quantity kind, const char *complaint)
{
    const struct quantity_words *words = dwi_quantity_words(kind);
    return dw_error_set(error, DW_BAD_USE, 0, "%s; expected %s, such as %s", complaint, words->name, words->examples);
}

static char lower(char c)
{
    return c >= 'A' && c <= 'Z' ? (char)(c - 'A' + 'a') : c;
}

/* How many letters of two words agree in case too; -1 where they differ beyond case. */
static int same_but_case(const char *one, const char *other)
{
    int same = 0;
    for (; *one && lower(*one) == lower(*other); one++, other++)
        same += *one == *other;
    return *one || *other ? -1 : same;
}

/* The spelling of prefix and unit that differs from `rest` in case alone, for a hint.
 *   out  at least 32 bytes; the best one found, else empty */
static void find_case(const char *rest, enum dw_quantity kind, char *out)
{
    int best = -1;
    out[0] = 0;
    for (size_t u = 0;; u++) {
        const struct unit *unit = dwi_unit_at(u);
        if (unit && unit->kind != kind)
            continue;
        for (size_t p = 0;; p++) {
            const struct prefix *prefix = dwi_prefix_at(p);
            /* a bare g is grams or a slip, seldom giga */
            const bool fits = unit ? unit->prefixed || !prefix
                                   : prefix && dwi_quantity_words(kind)->prefixed && lower(*prefix->word) == *prefix->word;
            char word[32];
            snprintf(word, sizeof word, "%s%s", prefix ? prefix->word : "", unit ? unit->word : "");
            const int same = fits ? same_but_case(word, rest) : -1;
            if (same > best) {
                best = same;
                strcpy(out, word);
            }
            if (!prefix)
                break;
        }
        if (!unit)
            break;
    }
}

/* The kind of quantity that `rest` would make it, where it is a unit of another. */
static const char *other_kind(const char *rest)
{
    struct spelling unused = { .length = 0 };
    const struct unit *unit;
    for (int kind = 0; kind <= DW_PHASE; kind++)
        if (take_unit(&unused, rest, (enum dw_quantity)kind, &unit) && unit)
            return dwi_quantity_words((enum dw_quantity)kind)->name;
    return NULL;
}

/* Why what follows the number cannot stand there. */
static enum dw_status refuse_rest(struct dw_error *error, const char *text, const char *after, enum dw_quantity kind)
{
    char head[LONGEST + 1], quoted[QUOTED + 4], front[QUOTED + 4], word[32], complaint[3 * QUOTED + 64];
    const char *rest = skip_blanks(after), *name = other_kind(rest);
    snprintf(head, sizeof head, "%.*s", (int)(after - text), text);
    quote(quoted, *rest ? rest : after);
    quote(front, head);
    find_case(rest, kind, word);
    if (*rest == ',' && is_digit(rest[1]))
        snprintf(complaint, sizeof complaint, "'%s' was not understood after %s: the decimal sign is a point", quoted,
                 front);
    else if (name)
        snprintf(complaint, sizeof complaint, "'%s' makes it %s", quoted, name);
    else if (*word)
        snprintf(complaint, sizeof complaint, "'%s' was not understood after %s: case counts, did you mean %s?", quoted,
                 front, word);
    else
        snprintf(complaint, sizeof complaint, "'%s' was not understood after %s", quoted, front);
    return refuse(error, kind, complaint);
}

/* What is wrong with the whole text: "'10kk' WHAT". */
static enum dw_status refuse_all(struct dw_error *error, const char *text, enum dw_quantity kind, const char *what)
{
    char quoted[QUOTED + 4], complaint[QUOTED + 64];
    snprintf(complaint, sizeof complaint, "'%s' %s", quote(quoted, text), what);
    return refuse(error, kind, complaint);
}

static enum dw_status refuse_text(struct dw_error *error, const char *text, enum dw_quantity kind)
{
    const char *word = text + (*text == '+' || *text == '-');
    if (!*text)
        return refuse(error, kind, "nothing is written");
    const bool infinite = same_but_case(word, "inf") >= 0 || same_but_case(word, "infinity") >= 0;
    return refuse_all(error, text, kind,
                      infinite || same_but_case(word, "nan") >= 0 ? "is not a finite number" : "is not a number");
}

/* a/b, both whole counts; one correctly rounded division as long as they are below 2^53. */
static enum dw_status parse_counts(const char *text, const char *slash, enum dw_quantity kind, double *value,
                                   struct dw_error *error)
{
    const char *end = text + strlen(text), *digits = "0123456789";
    double count = 0, most = 0;
    const bool whole = text + strspn(text, digits) == slash && slash[1] && slash + 1 + strspn(slash + 1, digits) == end;
    if (whole) {
        dw_number_read(text, slash, &count);
        dw_number_read(slash + 1, end, &most);
    }
    if (whole && most > 0 && most < 0x1p53 && count < 0x1p53) {
        *value = count / most;
        return DW_OK;
    }
    return refuse_all(error, text, kind, !whole ? "is not one whole count over another"
                                         : most > 0 ? "counts to 2^53 or beyond" : "is a share of nothing");
}

/* Applies the unit and judges the range; the last step of every spelling. */
static enum dw_status finish(struct spelling *number, const struct unit *unit, const char *text, enum dw_quantity kind,
                             double *value, struct dw_error *error)
{
    double result = spelled(number);
    if (unit && unit->reciprocal)
        result = 1 / (unit->factor * result);
    else if (unit && unit->factor != 0)
        result *= unit->factor;
    if (isfinite(result) && (result != 0 || !number->nonzero)) {
        *value = result;
        return DW_OK;
    }
    return refuse_all(error, text, kind, result == 0 ? "is too small" : "is too large");
}

enum dw_status dw_quantity_parse(const char *text, enum dw_quantity kind, double *value, struct dw_error *error)
{
    struct spelling number = { .length = 0 };
    const struct unit *unit = NULL;
    if (strlen(text) > LONGEST) {
        char complaint[64];
        snprintf(complaint, sizeof complaint, "%zu characters are too many", strlen(text));
        return refuse(error, kind, complaint);
    }
    const char *after = take_number(&number, text), *rest = skip_blanks(after);
    const size_t sign = number.digits[0] == '-';
    if (number.length == sign) { /* no digit: R47, or nonsense */
        const struct letter *letter = find_letter(after, kind);
        if (!letter || !is_digit(after[strlen(letter->word)]))
            return refuse_text(error, text, kind);
        take_digits(&number, "0", 1);
        if (!take_letter_code(&number, after, kind))
            return refuse_text(error, text, kind);
        return finish(&number, NULL, text, kind, value, error);
    }
    if (*rest == '/' && (kind == DW_SHARE || kind == DW_PHASE))
        return parse_counts(text, rest, kind, value, error);
    if (kind == DW_LENGTH && rest == after && !strcmp(rest, "m")) /* milli elsewhere, metres here: nobody guesses */
        return refuse_all(error, text, kind, "may be millimetres or metres");
    if (*rest || rest == after) { /* blanks at the end are left over */
        struct spelling whole = number;
        if (take_unit(&whole, rest, kind, &unit))
            return finish(&whole, unit, text, kind, value, error);
        if (take_letter_code(&number, rest, kind))
            return finish(&number, NULL, text, kind, value, error);
    }
    return refuse_rest(error, text, after, kind);
}
