/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Runs a command and says what it took: s of processor time, s in all, KiB of memory at most, exit status. A small program,
 * since a process is charged with the memory of the one that started it.
 *   weigh DESCRIPTOR COMMAND [ARGUMENT...]   the numbers go to the descriptor, in one line */
#include <stdio.h>
#include <stdlib.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

static double seconds(struct timeval t)
{
    return (double)t.tv_sec + 1e-6 * (double)t.tv_usec;
}

int main(int argc, char **argv)
{
    struct timespec start, end;
    struct rusage use;
    int status;
    if (argc < 3) {
        fprintf(stderr, "usage: weigh DESCRIPTOR COMMAND [ARGUMENT...]\n");
        return 2;
    }
    const int descriptor = (int)strtol(argv[1], NULL, 10);
    clock_gettime(CLOCK_MONOTONIC, &start);
    const pid_t child = vfork();
    if (child == 0) {
        execvp(argv[2], argv + 2);
        _exit(127);
    }
    if (child < 0 || wait4(child, &status, 0, &use) != child)
        return 3;
    clock_gettime(CLOCK_MONOTONIC, &end);
    const double all = (double)(end.tv_sec - start.tv_sec) + 1e-9 * (double)(end.tv_nsec - start.tv_nsec);
    dprintf(descriptor, "%.6f %.6f %ld %d\n", seconds(use.ru_utime) + seconds(use.ru_stime), all, use.ru_maxrss,
            WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status));
    return 0;
}
