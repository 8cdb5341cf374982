/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Runs the fuzzed function over kept inputs, and over some thousand changes of each, always the same ones. Without
 * arguments the inputs are those of tests/fuzz/kept/NAME, where NAME is the program's. */
#include "config.h"
#include "promise.h"
#include <dirent.h>
#include <errno.h>
#include <signal.h>
#include <sys/time.h>
#include <unistd.h>

enum { MOST = 1 << 16, LIMIT = 60 /* seconds of processor time for one call: beyond, something hangs */ };

/* xorshift64* (Vigna 2016, ACM Trans. Math. Softw. 42:30) */
static uint64_t dwi_draw(uint64_t *state)
{
    *state ^= *state >> 12;
    *state ^= *state << 25;
    *state ^= *state >> 27;
    return *state * UINT64_C(2685821657736338717) >> 16;
}

/* One change: a byte, a bit, a cut, a piece doubled or taken out, or what a table is made of put in. */
static size_t change(uint8_t *data, size_t size, uint64_t *state)
{
    static const char *const pieces[] = { "\t", "\n", "\r\n", ",", ";", " ", "#", "# end: ", "\"", "-", "+", "e", "nan",
                                          "1e999", ":", "[", "]", "# columns: time[s] a b\n", "# rows: float64le\n", "0" };
    const size_t at = size ? dwi_draw(state) % size : 0;
    const size_t length = size - at < 40 ? size - at : 1 + dwi_draw(state) % 40;
    const char *piece = pieces[dwi_draw(state) % (sizeof pieces / sizeof pieces[0])];
    switch (dwi_draw(state) % 6) {
    case 0:
        if (size)
            data[at] = (uint8_t)dwi_draw(state);
        return size;
    case 1:
        if (size)
            data[at] ^= (uint8_t)(1 << dwi_draw(state) % 8);
        return size;
    case 2: return at;
    case 3:
        if (size + length > MOST)
            return size;
        memmove(data + at + length, data + at, size - at);
        return size + length;
    case 4: memmove(data + at, data + at + length, size - at - length); return size - length;
    default:
        if (size + strlen(piece) > MOST)
            return size;
        memmove(data + at + strlen(piece), data + at, size - at);
        memcpy(data + at, piece, strlen(piece));
        return size + strlen(piece);
    }
}

/* What is being tried, for the one who must find out why it failed. */
static struct {
    const char *path;
    int change;
    const uint8_t *data;
    size_t size;
} tried;

/* NOLINTBEGIN(bugprone-signal-handler): the process has crashed already; what can still be said is better said */
static void leave_behind(int signal)
{
    FILE *file = fopen("broken-input", "wb");
    fprintf(stderr, "%s, change %d (left as broken-input): %s\n", tried.path, tried.change, strsignal(signal));
    if (file) {
        fwrite(tried.data, 1, tried.size, file);
        fclose(file);
    }
    _exit(1);
}
/* NOLINTEND(bugprone-signal-handler) */

static void try_input(const char *path, int change, const uint8_t *data, size_t size)
{
    tried.path = path;
    tried.change = change;
    tried.data = data;
    tried.size = size;
    setitimer(ITIMER_PROF, &(struct itimerval){ .it_value.tv_sec = LIMIT }, NULL);
    LLVMFuzzerTestOneInput(data, size);
}

static int replay(const char *path)
{
    static uint8_t kept[MOST], data[MOST];
    FILE *file = fopen(path, "rb");
    if (!file) {
        perror(path);
        return 1;
    }
    const size_t size = fread(kept, 1, sizeof kept, file);
    fclose(file);
    try_input(path, 0, kept, size);
    uint64_t state = 20240229;
    for (int i = 1; i <= replay_changes; i++) {
        size_t now = size;
        memcpy(data, kept, size);
        for (uint64_t k = dwi_draw(&state) % 4 + 1; k > 0; k--)
            now = change(data, now, &state);
        try_input(path, i, data, now);
    }
    return 0;
}

int main(int argc, char **argv)
{
    char folder[4096], path[8192];
    int failed = 0, count = 0;
    signal(SIGABRT, leave_behind);
    signal(SIGPROF, leave_behind);
    for (int i = 1; i < argc; i++, count++)
        failed |= replay(argv[i]);
    if (argc > 1)
        return failed;
    const char *source = getenv("SRCDIR");
    snprintf(folder, sizeof folder, "%s/tests/fuzz/kept/%s", source ? source : ".", program_invocation_short_name);
    DIR *all = opendir(folder);
    for (struct dirent *one; all && (one = readdir(all));)
        if (one->d_name[0] != '.') {
            snprintf(path, sizeof path, "%s/%s", folder, one->d_name);
            failed |= replay(path);
            count++;
        }
    if (all)
        closedir(all);
    if (!count)
        fprintf(stderr, "%s holds no inputs\n", folder);
    return failed || !count;
}
