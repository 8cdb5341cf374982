/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is written, byte by byte, and what happens where it cannot be. */
#include "config.h"
#include "table/fixture.h"
#include "suite.h"
#include <fcntl.h>
#include <pthread.h>
#include <signal.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/time.h>
#include <unistd.h>

static struct dw_header *meter_header(void)
{
    struct dw_error error;
    struct dw_header *header = dw_header_new("time", "s", &error);
    ck_assert_ptr_nonnull(header);
    succeeds(dw_header_add(header, "made-by", "dw-pwm --duty 0.37", &error), error);
    succeeds(dw_header_set_number(header, "period", 0.00204, &error), error);
    succeeds(dw_header_append(header, "pin", "V", &error), error);
    succeeds(dw_header_append(header, "out", "V", &error), error);
    return header;
}

static const double rows[] = { -1e-3, 0, 1.25, 1e-6, 5, 0.1, 7.0 / 3, -0.0, 5e-324 };

static struct bytes written(enum dw_encoding encoding)
{
    struct dw_error error;
    struct dw_header *header = meter_header();
    int file = memory_file();
    struct dw_writer *writer = dw_writer_open(file, header, encoding, &error);
    ck_assert_ptr_nonnull(writer);
    for (int i = 0; i < 3; i++)
        succeeds(dw_writer_row(writer, rows + 3 * i, &error), error);
    succeeds(dw_writer_finish(writer, &error), error);
    dw_writer_free(writer);
    dw_header_free(header);
    return take_bytes(file);
}

#define HEAD "# wave-table 1\n# made-by: dw-pwm --duty 0.37\n# period: 0.00204\n# columns: time[s] pin[V] out[V]\n"

START_TEST(text_and_csv_are_as_the_format_says)
{
    struct bytes text = written(DW_TEXT), csv = written(DW_CSV);
    ck_assert_str_eq(text.at, HEAD "-0.001\t0\t1.25\n1e-06\t5\t0.1\n2.3333333333333335\t-0\t5e-324\n# end: 3\n");
    ck_assert_str_eq(csv.at, "time[s],pin[V],out[V]\r\n-0.001,0,1.25\r\n1e-06,5,0.1\r\n2.3333333333333335,-0,5e-324\r\n");
    free(text.at);
    free(csv.at);
}
END_TEST

START_TEST(binary_is_the_same_header_and_little_endian_doubles)
{
    struct bytes binary = written(DW_BINARY);
    static const char head[] = HEAD "# rows: float64le\n";
    ck_assert_uint_eq(binary.size, strlen(head) + 4 * 3 * 8);
    ck_assert_mem_eq(binary.at, head, strlen(head));
    const unsigned char *at = (const unsigned char *)binary.at + strlen(head);
    for (int i = 0; i < 9; i++, at += 8) {
        uint64_t bits = 0, wanted;
        for (int k = 8; k-- > 0;)
            bits = bits << 8 | at[k];
        memcpy(&wanted, &rows[i], 8);
        ck_assert_uint_eq(bits, wanted);
    }
    for (int i = 0; i < 3; i++, at += 8)
        ck_assert_uint_eq(at[7] & 0x7f, 0x7f); /* exponent all ones, and a fraction */
    free(binary.at);
}
END_TEST

/* xorshift64* (Vigna 2016, ACM Trans. Math. Softw. 42:30), seed printed with a failure */
static uint64_t dwi_draw(uint64_t *state)
{
    *state ^= *state >> 12;
    *state ^= *state << 25;
    *state ^= *state >> 27;
    return *state * UINT64_C(2685821657736338717);
}

START_TEST(text_to_binary_to_text_gives_the_same_bytes)
{
    uint64_t seed = 20240229;
    struct dw_error error;
    struct dw_header *header = meter_header();
    int file = memory_file();
    struct dw_writer *writer = dw_writer_open(file, header, DW_TEXT, &error);
    double row[3] = { 0 };
    for (int i = 0; i < 20000; i++) {
        row[0] += i % 5 ? ldexp((double)(dwi_draw(&seed) >> 11), -70) : 0;
        for (int k = 1; k < 3; k++)
            do { /* any bit pattern that is a finite number */
                const uint64_t bits = dwi_draw(&seed);
                memcpy(&row[k], &bits, 8);
            } while (!isfinite(row[k]));
        succeeds(dw_writer_row(writer, row, &error), error);
    }
    succeeds(dw_writer_finish(writer, &error), error);
    dw_writer_free(writer);
    dw_header_free(header);
    struct bytes text = take_bytes(file), binary = converted(text.at, text.size, DW_BINARY),
                 again = converted(binary.at, binary.size, DW_TEXT), twice = converted(again.at, again.size, DW_BINARY);
    ck_assert_uint_eq(again.size, text.size);
    ck_assert_mem_eq(again.at, text.at, text.size);
    ck_assert_uint_eq(twice.size, binary.size);
    ck_assert_mem_eq(twice.at, binary.at, binary.size);
    free(text.at);
    free(binary.at);
    free(again.at);
    free(twice.at);
}
END_TEST

START_TEST(rows_that_no_reader_would_take_are_refused)
{
    static const struct {
        double row[3];
        const char *message;
    } cases[] = {
        { { 1, NAN, 0 }, "row 2 of the output: pin is not a number" },
        { { 1, 0, -INFINITY }, "row 2 of the output: out is infinite" },
        { { NAN, 0, 0 }, "row 2 of the output: time is not a number" },
        { { 0.25, 0, 0 }, "row 2 of the output: time goes back from 0.5 to 0.25" },
    };
    struct dw_error error;
    struct dw_header *header = meter_header();
    for (enum dw_encoding encoding = DW_TEXT; encoding <= DW_CSV; encoding++)
        for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
            const double both[6] = { 0.5, 1, 2, cases[i].row[0], cases[i].row[1], cases[i].row[2] };
            int file = memory_file();
            struct dw_writer *writer = dw_writer_open(file, header, encoding, &error);
            succeeds(dw_writer_row(writer, both, &error), error);
            refuses(dw_writer_row(writer, cases[i].row, &error), DW_BAD_INPUT, error, cases[i].message);
            dw_writer_free(writer);
            ck_assert_int_eq(ftruncate(file, 0), 0);
            writer = dw_writer_open(file, header, encoding, &error);
            refuses(dw_writer_rows(writer, both, 2, &error), DW_BAD_INPUT, error, cases[i].message);
            dw_writer_free(writer);
            close(file);
        }
    dw_header_free(header);
}
END_TEST

START_TEST(a_table_given_up_has_its_rows_but_no_end)
{
    struct dw_error error;
    struct dw_header *header = meter_header();
    int file = memory_file();
    struct dw_writer *writer = dw_writer_open(file, header, DW_TEXT, &error);
    succeeds(dw_writer_row(writer, rows, &error), error);
    dw_writer_free(writer);
    struct bytes text = take_bytes(file);
    ck_assert_str_eq(text.at, HEAD "-0.001\t0\t1.25\n");
    free(text.at);
    dw_header_free(header);
}
END_TEST

static enum dw_status fill(int descriptor, size_t count, struct dw_error *error)
{
    struct dw_header *header = meter_header();
    struct dw_writer *writer = dw_writer_open(descriptor, header, DW_BINARY, error);
    enum dw_status status = writer ? DW_OK : error->status;
    for (size_t i = 0; status == DW_OK && i < count; i++)
        status = dw_writer_row(writer, (double[]){ (double)i, 5, 1.25 }, error);
    if (status == DW_OK)
        status = dw_writer_finish(writer, error);
    dw_writer_free(writer);
    dw_header_free(header);
    return status;
}

START_TEST(a_full_disk_is_a_failure_of_the_system)
{
    struct dw_error error;
    int full = open("/dev/full", O_WRONLY);
    ck_assert_int_ge(full, 0);
    refuses(fill(full, 1, &error), DW_SYSTEM, error, "output: No space left on device");
    refuses(fill(full, 100000, &error), DW_SYSTEM, error, "output: No space left on device");
    struct dw_header *header = meter_header();
    struct dw_writer *writer = dw_writer_open(full, header, DW_TEXT, &error);
    refuses(dw_writer_finish(writer, &error), DW_SYSTEM, error, "output: No space left on device");
    refuses(dw_writer_finish(writer, &error), DW_SYSTEM, error, "output: an earlier write has failed");
    dw_writer_free(writer);
    dw_header_free(header);
    ck_assert_int_eq(dup2(full, STDOUT_FILENO), STDOUT_FILENO);
    refuses(fill(STDOUT_FILENO, 1, &error), DW_SYSTEM, error, "standard output: No space left on device");
}
END_TEST

START_TEST(a_pipe_without_a_reader_is_told_apart)
{
    struct dw_error error;
    int ends[2];
    ck_assert_int_eq(pipe(ends), 0);
    close(ends[0]);
    ck_assert(signal(SIGPIPE, SIG_IGN) != SIG_ERR);
    refuses(fill(ends[1], 1, &error), DW_CLOSED_PIPE, error, "output: its reader has gone away");
}
END_TEST

static void ignore(int number)
{
    (void)number;
}

/* Takes a pipe's bytes in small, slow bites. */
static void *bite(void *with)
{
    struct bytes *got = with;
    const int from = (int)got->size;
    char *at = got->at;
    for (ssize_t more; (more = read(from, at, 4093)) != 0;)
        if (more > 0)
            at += more;
    got->size = (size_t)(at - got->at);
    return NULL;
}

START_TEST(signals_short_writes_and_non_blocking_pipes_lose_nothing)
{
    struct dw_error error;
    enum { ROWS = 60000 };
    for (int blocking = 0; blocking < 2; blocking++) {
        int ends[2];
        ck_assert_int_eq(pipe(ends), 0);
        if (!blocking)
            ck_assert_int_eq(fcntl(ends[1], F_SETFL, O_NONBLOCK), 0);
        struct bytes got = { malloc(30 * ROWS), (size_t)ends[0] };
        ck_assert_ptr_nonnull(got.at);
        /* an alarm every 200 us, without SA_RESTART, breaks into the waiting calls */
        ck_assert_int_eq(sigaction(SIGALRM, &(struct sigaction){ .sa_handler = ignore }, NULL), 0);
        const struct itimerval often = { { 0, 200 }, { 0, 200 } }, never = { { 0, 0 }, { 0, 0 } };
        pthread_t reader;
        ck_assert_int_eq(pthread_create(&reader, NULL, bite, &got), 0);
        setitimer(ITIMER_REAL, &often, NULL);
        succeeds(fill(ends[1], ROWS, &error), error);
        setitimer(ITIMER_REAL, &never, NULL);
        close(ends[1]);
        pthread_join(reader, NULL);
        struct whole all = read_whole(got.at, got.size, false, 999);
        ck_assert_msg(all.status == DW_OK, "%s", all.error.text);
        ck_assert_uint_eq(all.rows, ROWS);
        ck_assert_double_eq(all.values[3 * (ROWS - 1)], ROWS - 1);
        whole_free(&all);
        free(got.at);
        close(ends[0]);
    }
}
END_TEST

START_TEST(a_header_that_no_table_can_have_is_refused)
{
    struct dw_error error;
    struct dw_header *header = dw_header_new("time", "s", &error);
    ck_assert_ptr_null(dw_writer_open(1, header, DW_TEXT, &error));
    ck_assert_str_eq(error.text, "the columns hold no channel beside time");
    succeeds(dw_header_append(header, "pin", "V", &error), error);
    char *note = malloc(1 << 20);
    ck_assert_ptr_nonnull(note);
    memset(note, 'n', (1 << 20) - 1);
    note[(1 << 20) - 1] = 0;
    succeeds(dw_header_set(header, "note", note, &error), error);
    ck_assert_ptr_null(dw_writer_open(1, header, DW_TEXT, &error));
    ck_assert_str_eq(error.text, "the header would be longer than 1 MiB");
    /* one longer than the writer's buffer passes */
    note[200000] = 0;
    succeeds(dw_header_set(header, "note", note, &error), error);
    int file = memory_file();
    struct dw_writer *writer = dw_writer_open(file, header, DW_TEXT, &error);
    ck_assert_ptr_nonnull(writer);
    succeeds(dw_writer_finish(writer, &error), error);
    dw_writer_free(writer);
    struct bytes text = take_bytes(file);
    struct dw_reader *reader = reader_of_text(text.at, &error);
    ck_assert_str_eq(dw_header_get(dw_reader_header(reader), "note"), note);
    dw_reader_close(reader);
    free(text.at);
    free(note);
    dw_header_free(header);
}
END_TEST

SUITE("table: writer", text_and_csv_are_as_the_format_says, binary_is_the_same_header_and_little_endian_doubles,
      text_to_binary_to_text_gives_the_same_bytes, rows_that_no_reader_would_take_are_refused,
      a_table_given_up_has_its_rows_but_no_end, a_full_disk_is_a_failure_of_the_system,
      a_pipe_without_a_reader_is_told_apart, signals_short_writes_and_non_blocking_pipes_lose_nothing,
      a_header_that_no_table_can_have_is_refused)
