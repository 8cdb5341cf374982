/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Reading from what gives little at a time, is interrupted, or fails. */
#include "config.h"
#include "table/fixture.h"
#include "suite.h"
#include <fcntl.h>
#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/time.h>
#include <unistd.h>

static const char text[] = "# wave-table 1\n# note: tide\n# columns: time[s] pin[V]\n"
                           "0\t5\n7.4e-4\t5\n0.00074\t0\n0.002\t0\n0.002\t5\n0.003\t1.2345678901234567\n# end: 6\n";

struct drip {
    int to;
    const char *bytes;
    size_t size, bite;
};

static void *drip(void *with)
{
    struct drip *drip = with;
    for (size_t done = 0; done < drip->size;) {
        const size_t some = drip->size - done < drip->bite ? drip->size - done : drip->bite;
        const ssize_t more = write(drip->to, drip->bytes + done, some);
        done += more > 0 ? (size_t)more : 0;
        usleep(150);
    }
    close(drip->to);
    return NULL;
}

static void ignore(int number)
{
    (void)number;
}

/* Reads what drips out of a pipe while alarms break into the waiting, without SA_RESTART. */
static void drips(const char *bytes, size_t size, size_t bite, bool blocking)
{
    struct dw_error error;
    int ends[2];
    pthread_t writer;
    ck_assert_int_eq(pipe(ends), 0);
    ck_assert_int_eq(dup2(ends[0], STDIN_FILENO), STDIN_FILENO);
    if (!blocking)
        ck_assert_int_eq(fcntl(STDIN_FILENO, F_SETFL, O_NONBLOCK), 0);
    struct drip source = { ends[1], bytes, size, bite };
    ck_assert_int_eq(sigaction(SIGALRM, &(struct sigaction){ .sa_handler = ignore }, NULL), 0);
    ck_assert_int_eq(pthread_create(&writer, NULL, drip, &source), 0);
    const struct itimerval often = { { 0, 300 }, { 0, 300 } }, never = { { 0, 0 }, { 0, 0 } };
    setitimer(ITIMER_REAL, &often, NULL);
    struct dw_reader *reader = dw_reader_open("-", NULL, &error);
    ck_assert_msg(reader != NULL, "%s", error.text);
    const double *row;
    enum dw_status status;
    size_t rows = 0;
    double last = 0;
    while ((status = dw_reader_row(reader, &row, &error)) == DW_OK) {
        rows++;
        last = row[1];
    }
    setitimer(ITIMER_REAL, &never, NULL);
    ck_assert_msg(status == DW_END, "%s", error.text);
    ck_assert_uint_eq(rows, 6);
    ck_assert_double_eq(last, 1.2345678901234567);
    dw_reader_close(reader);
    pthread_join(writer, NULL);
    close(ends[0]);
}

START_TEST(a_table_that_drips_is_read_whole)
{
    struct bytes binary = converted(text, strlen(text), DW_BINARY);
    for (int blocking = 0; blocking < 2; blocking++)
        for (size_t bite = 1; bite < 40; bite = 3 * bite + 2) {
            drips(text, strlen(text), bite, blocking);
            drips(binary.at, binary.size, bite, blocking);
        }
    free(binary.at);
}
END_TEST

START_TEST(rows_at_hand_are_given_before_more_are_waited_for)
{
    struct dw_error error;
    struct bytes binary = converted(text, strlen(text), DW_BINARY);
    const char *const sources[] = { text, binary.at };
    /* up to some place within the fifth row (seven in binary, with the end) */
    const size_t sizes[] = { (size_t)(strstr(text, "0.002\t5") - text) + 4, binary.size - 2 * 16 - 5 };
    for (int i = 0; i < 2; i++) {
        int ends[2];
        ck_assert_int_eq(pipe(ends), 0);
        ck_assert_int_eq(dup2(ends[0], STDIN_FILENO), STDIN_FILENO);
        ck_assert_int_eq(write(ends[1], sources[i], sizes[i]), (ssize_t)sizes[i]);
        alarm(20); /* a reader that waits for more is ended by this */
        struct dw_reader *reader = dw_reader_open(NULL, NULL, &error);
        ck_assert_msg(reader != NULL, "%s", error.text);
        const double *values;
        size_t all = 0, rows;
        while (all < 4) {
            succeeds(dw_reader_rows(reader, 100, &values, &rows, &error), error);
            all += rows;
        }
        ck_assert_uint_eq(all, 4);
        alarm(0);
        dw_reader_close(reader);
        close(ends[0]);
        close(ends[1]);
    }
    free(binary.at);
}
END_TEST

START_TEST(a_failing_read_is_a_failure_of_the_system)
{
    struct dw_error error;
    int null = open("/dev/null", O_WRONLY);
    ck_assert_int_ge(null, 0);
    ck_assert_int_eq(dup2(null, STDIN_FILENO), STDIN_FILENO);
    ck_assert_ptr_null(dw_reader_open(NULL, NULL, &error));
    ck_assert_int_eq(error.status, DW_SYSTEM);
    ck_assert_str_eq(error.text, "standard input: Bad file descriptor");
}
END_TEST

START_TEST(a_read_that_fails_later_keeps_the_rows_before_it)
{
    struct dw_error error;
    /* the buffer is full of rows, then the descriptor is swapped for one that cannot be read */
    enum { ROWS = 40000 };
    char *many = malloc(16 * ROWS + 100);
    ck_assert_ptr_nonnull(many);
    size_t size = (size_t)sprintf(many, "# wave-table 1\n# columns: time[s] pin[V]\n");
    for (int i = 0; i < ROWS; i++)
        size += (size_t)sprintf(many + size, "%d\t5\n", i);
    struct dw_reader *reader = reader_of(many, size, false, &error);
    ck_assert_ptr_nonnull(reader);
    int null = open("/dev/null", O_WRONLY);
    ck_assert_int_eq(dup2(null, STDIN_FILENO), STDIN_FILENO);
    const double *row;
    enum dw_status status;
    double last = -1;
    while ((status = dw_reader_row(reader, &row, &error)) == DW_OK) {
        ck_assert_double_eq(row[0], last + 1);
        last = row[0];
    }
    ck_assert_int_eq(status, DW_SYSTEM);
    ck_assert_str_eq(error.text, "standard input: Bad file descriptor");
    ck_assert_double_gt(last, 1000);
    dw_reader_close(reader);
    free(many);
}
END_TEST

struct told {
    unsigned calls;
    unsigned long long bytes, size;
    bool backwards, guessed;
};

static void remember(void *context, const char *name, unsigned long long bytes, unsigned long long size)
{
    struct told *told = context;
    ck_assert_str_eq(name, "standard input");
    told->backwards |= bytes < told->bytes;
    told->guessed |= told->calls && told->size && size && size != told->size;
    *told = (struct told){ told->calls + 1, bytes, size, told->backwards, told->guessed };
}

/* from: bytes of the file that were read before */
static struct told progress_of(const char *bytes, size_t size, off_t from, bool pipe_in)
{
    struct told told = { 0 };
    struct dw_error error;
    const struct dw_reader_options options = { .progress = remember, .context = &told };
    int ends[2];
    if (pipe_in) {
        ck_assert_int_eq(pipe(ends), 0);
        ck_assert_int_eq(write(ends[1], bytes, size), (ssize_t)size);
        close(ends[1]);
        ck_assert_int_eq(dup2(ends[0], STDIN_FILENO), STDIN_FILENO);
        close(ends[0]);
    } else {
        feed(bytes, size);
        ck_assert_int_eq(lseek(STDIN_FILENO, from, SEEK_SET), from);
    }
    struct dw_reader *reader = dw_reader_open(NULL, &options, &error);
    ck_assert_msg(reader != NULL, "%s", error.text);
    const double *row;
    enum dw_status status;
    while ((status = dw_reader_row(reader, &row, &error)) == DW_OK)
        ;
    ck_assert_int_eq(status, DW_END);
    dw_reader_close(reader);
    return told;
}

START_TEST(progress_goes_up_to_all_that_there_is)
{
    const size_t size = strlen(text);
    for (int pipe_in = 0; pipe_in < 2; pipe_in++) {
        const struct told told = progress_of(text, size, 0, pipe_in);
        ck_assert_uint_ge(told.calls, 2);
        ck_assert(!told.backwards && !told.guessed);
        ck_assert_uint_eq(told.bytes, size);
        ck_assert_uint_eq(told.size, size); /* at the end a pipe's is known, too */
    }
    char *led = malloc(size + 8);
    ck_assert_ptr_nonnull(led);
    memcpy(led, "lead-in", 7);
    memcpy(led + 7, text, size + 1);
    const struct told told = progress_of(led, size + 7, 7, false);
    ck_assert_uint_eq(told.size, size);
    free(led);
}
END_TEST

SUITE("table: streams", progress_goes_up_to_all_that_there_is, a_table_that_drips_is_read_whole,
      rows_at_hand_are_given_before_more_are_waited_for, a_failing_read_is_a_failure_of_the_system,
      a_read_that_fails_later_keeps_the_rows_before_it)
