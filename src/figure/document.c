/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "document.h"
#include "canvas.h"
#include "text.h"
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { COMMENT = 240 }; /* PostScript's conventions allow lines of 255 */

static enum dw_status unexpected(const char *kind, struct dw_error *error)
{
    return dw_error_set(error, DW_SYSTEM, 0, "the drawing library (libplot) wrote %s of a form not known", kind);
}

static void put_xml(FILE *out, const char *before, const char *text, const char *after)
{
    if (!*text)
        return;
    const size_t room = 6 * strlen(text) + 1; /* at most &amp; a byte */
    char *escaped = malloc(room);
    if (escaped) {
        text_for_xml(escaped, room, text);
        fprintf(out, "%s%s%s", before, escaped, after);
    }
    free(escaped);
}

/* Hands over what was written to a memory stream in place of *bytes. */
static enum dw_status replace(FILE *out, char **made, size_t *made_size, char **bytes, size_t *size,
                              struct dw_error *error)
{
    const int failed = ferror(out);
    if (fclose(out) || failed || !*made) {
        free(*made);
        return dw_no_memory(error);
    }
    free(*bytes);
    *bytes = *made;
    *size = *made_size;
    return DW_OK;
}

enum dw_status document_svg(char **bytes, size_t *size, int width, int height, const struct remarks *remarks,
                            struct dw_error *error)
{
    /* the header is our own; libplot's drawing begins where its group takes effect, its strokes' defaults stay */
    const char *group = strstr(*bytes, "<g id=\"content\"");
    const char *style = group ? strstr(group, "xml:space") : NULL;
    char *made = NULL;
    size_t made_size = 0;
    if (!style)
        return unexpected("SVG", error);
    FILE *out = open_memstream(&made, &made_size);
    if (!out)
        return dw_no_memory(error);
    fprintf(out,
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n"
            "<svg xmlns=\"http://www.w3.org/2000/svg\" version=\"1.1\" role=\"img\" width=\"%d\" height=\"%d\" "
            "viewBox=\"0 0 %d %d\">\n",
            width, height, width, height);
    put_xml(out, "<title>", *remarks->title ? remarks->title : remarks->summary, "</title>\n");
    put_xml(out, "<desc>", remarks->summary, "</desc>\n");
    put_xml(out, "<metadata>", remarks->made_by, "</metadata>\n");
    fprintf(out, "<rect width=\"%d\" height=\"%d\" fill=\"white\"/>\n<g transform=\"translate(0,%d) scale(1,-1)\" ", width,
            height, height);
    fputs(style, out);
    return replace(out, &made, &made_size, bytes, size, error);
}

/* The instant that files are said to be made at. */
static time_t file_time(void)
{
    const char *given = getenv("SOURCE_DATE_EPOCH");
    char *end;
    errno = 0;
    const long long seconds = given ? strtoll(given, &end, 10) : 0;
    return given && *given && !*end && !errno ? (time_t)seconds : time(NULL);
}

static void put_comments(FILE *out, const char *text)
{
    while (*text) {
        const size_t length = strcspn(text, "\n");
        const size_t taken = length < COMMENT ? length : COMMENT;
        char line[COMMENT + 1], plain[COMMENT + 1];
        snprintf(line, sizeof line, "%.*s", (int)taken, text);
        text_for_comment(plain, sizeof plain, line);
        fprintf(out, "%% %s\n", plain);
        text += taken;
        text += *text == '\n';
    }
}

enum dw_status document_ps(char **bytes, size_t *size, const struct remarks *remarks, struct dw_error *error)
{
    static const char creator[] = "%%Creator:", comments[] = "%%EndComments\n";
    const char *from = strstr(*bytes, creator), *kept = from ? strstr(from, "%%DocumentData:") : NULL;
    const char *end = kept ? strstr(kept, comments) : NULL;
    char *made = NULL, title[COMMENT - 20], date[64] = "";
    size_t made_size = 0;
    if (!end)
        return unexpected("PostScript", error);
    FILE *out = open_memstream(&made, &made_size);
    if (!out)
        return dw_no_memory(error);
    const time_t instant = file_time();
    struct tm utc;
    if (gmtime_r(&instant, &utc))
        strftime(date, sizeof date, "%Y-%m-%dT%H:%M:%SZ", &utc);
    text_for_comment(title, sizeof title, *remarks->title ? remarks->title : "dutywright figure");
    fwrite(*bytes, 1, (size_t)(from - *bytes), out);
    fprintf(out, "%%%%Creator: dutywright\n%%%%Title: %s\n%%%%CreationDate: %s\n", title, date);
    end += strlen(comments);
    fwrite(kept, 1, (size_t)(end - kept), out);
    put_comments(out, remarks->made_by);
    fwrite(end, 1, *size - (size_t)(end - *bytes), out);
    return replace(out, &made, &made_size, bytes, size, error);
}
