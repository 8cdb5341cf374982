/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "config.h"
#include "table/fixture.h"
#include "suite.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

int memory_file(void)
{
    int file = memfd_create("table", 0);
    ck_assert_int_ge(file, 0);
    return file;
}

void feed(const void *bytes, size_t size)
{
    int file = memory_file();
    for (size_t done = 0; done < size;) {
        const ssize_t more = write(file, (const char *)bytes + done, size - done);
        ck_assert_int_gt(more, 0);
        done += (size_t)more;
    }
    ck_assert_int_eq(lseek(file, 0, SEEK_SET), 0);
    ck_assert_int_eq(dup2(file, STDIN_FILENO), STDIN_FILENO);
    close(file);
}

struct dw_reader *reader_of(const void *bytes, size_t size, bool partial, struct dw_error *error)
{
    feed(bytes, size);
    return dw_reader_open(NULL, &(struct dw_reader_options){ .partial = partial, .curves = true }, error);
}

struct dw_reader *reader_of_text(const char *text, struct dw_error *error)
{
    return reader_of(text, strlen(text), false, error);
}

void columns_of(const struct dw_header *header, char *out, size_t size)
{
    size_t used = 0;
    for (size_t i = 0; i < dw_header_columns(header); i++) {
        const struct dw_column column = dw_header_column(header, i);
        used += (size_t)snprintf(out + used, size - used, "%s%s[%s]", i ? " " : "", column.name, column.unit);
    }
}

struct whole read_whole(const void *bytes, size_t size, bool partial, size_t most)
{
    struct whole all = { .status = DW_OK };
    struct dw_reader *reader = reader_of(bytes, size, partial, &all.error);
    if (!reader) {
        all.status = all.error.status;
        return all;
    }
    all.columns = dw_header_columns(dw_reader_header(reader));
    const double *values;
    size_t rows;
    while ((all.status = dw_reader_rows(reader, most, &values, &rows, &all.error)) == DW_OK) {
        const size_t fresh = rows * all.columns;
        all.values = realloc(all.values, (all.rows * all.columns + fresh) * sizeof(double));
        ck_assert_ptr_nonnull(all.values);
        memcpy(all.values + all.rows * all.columns, values, fresh * sizeof(double));
        all.rows += rows;
    }
    if (all.status == DW_END)
        all.status = DW_OK;
    all.has_end = dw_reader_whole(reader);
    dw_reader_close(reader);
    return all;
}

void whole_free(struct whole *whole)
{
    free(whole->values);
    whole->values = NULL;
}

struct bytes take_bytes(int file)
{
    struct bytes got = { NULL, (size_t)lseek(file, 0, SEEK_END) };
    got.at = malloc(got.size + 1);
    ck_assert_ptr_nonnull(got.at);
    for (size_t done = 0; done < got.size;) {
        const ssize_t more = pread(file, got.at + done, got.size - done, (off_t)done);
        ck_assert_int_gt(more, 0);
        done += (size_t)more;
    }
    got.at[got.size] = 0;
    close(file);
    return got;
}

struct bytes converted(const void *bytes, size_t size, enum dw_encoding encoding)
{
    struct dw_error error;
    struct dw_reader *reader = reader_of(bytes, size, false, &error);
    ck_assert_msg(reader != NULL, "%s", error.text);
    int file = memory_file();
    struct dw_writer *writer = dw_writer_open(file, dw_reader_header(reader), encoding, &error);
    ck_assert_msg(writer != NULL, "%s", error.text);
    const double *values;
    size_t rows;
    enum dw_status status;
    while ((status = dw_reader_rows(reader, 100, &values, &rows, &error)) == DW_OK)
        succeeds(dw_writer_rows(writer, values, rows, &error), error);
    ck_assert_msg(status == DW_END, "%s", error.text);
    succeeds(dw_writer_finish(writer, &error), error);
    dw_writer_free(writer);
    dw_reader_close(reader);
    return take_bytes(file);
}
