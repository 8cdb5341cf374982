/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "bench.h"
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

double bench_clock(void)
{
    struct timespec now;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

int bench_rounds(int argc, char **argv)
{
    const long rounds = argc > 1 ? strtol(argv[1], NULL, 10) : 5;
    bench_demand(argc <= 2 && rounds >= 1 && rounds <= 1000, "usage: %s [ROUNDS]", argv[0]);
    return (int)rounds;
}

void bench_error(const char *job, const char *side, double error)
{
    printf("error\t%s\t%s\t%.3g\n", job, side, error);
}

void bench_work(const char *job, const char *side, int units)
{
    printf("work\t%s\t%s\t%d\n", job, side, units);
}

void bench_time(const char *job, const char *side, double seconds)
{
    printf("time\t%s\t%s\t%.9g\n", job, side, seconds);
    fflush(stdout);
}

void bench_demand(int holds, const char *format, ...)
{
    if (holds)
        return;
    va_list arguments;
    va_start(arguments, format);
    vfprintf(stderr, format, arguments);
    va_end(arguments);
    fputc('\n', stderr);
    exit(1);
}
