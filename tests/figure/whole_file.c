/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "figure/figure.h"
#include "suite.h"
#include <dirent.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

static char folder[4096];

static void enter_folder(void)
{
    const char *parent = getenv("TMPDIR");
    snprintf(folder, sizeof folder, "%s/dw-figure-XXXXXX", parent ? parent : "/tmp");
    ck_assert_ptr_nonnull(mkdtemp(folder));
    ck_assert_int_eq(chmod(folder, 0777), 0);
    ck_assert_int_eq(chdir(folder), 0);
}

static void leave_folder(void)
{
    char command[2 * sizeof folder + 64];
    snprintf(command, sizeof command, "chmod -R u+w '%s'; rm -r '%s'", folder, folder);
    ck_assert_int_eq(chdir("/"), 0);
    ck_assert_int_eq(system(command), 0); /* NOLINT(cert-env33-c): a folder of this test's own, by a name of its own making */
}

static int files_here(void)
{
    int count = 0;
    DIR *here = opendir(".");
    for (const struct dirent *entry; (entry = readdir(here));)
        count += strcmp(entry->d_name, ".") && strcmp(entry->d_name, "..");
    closedir(here);
    return count;
}

static void holds(const char *path, const char *want)
{
    char got[64] = "";
    FILE *file = fopen(path, "r");
    ck_assert_ptr_nonnull(file);
    got[fread(got, 1, sizeof got - 1, file)] = 0;
    fclose(file);
    ck_assert_str_eq(got, want);
}

START_TEST(a_file_appears_whole_and_alone_with_the_usual_permissions)
{
    struct dw_error error;
    struct stat found;
    enter_folder();
    umask(022);
    succeeds(whole_file_check("a.svg", &error), error);
    succeeds(whole_file_write("a.svg", "figure", 6, &error), error);
    holds("a.svg", "figure");
    ck_assert_int_eq(files_here(), 1);
    ck_assert_int_eq(stat("a.svg", &found), 0);
    ck_assert_uint_eq(found.st_mode & 0777, 0644);
    leave_folder();
}
END_TEST

START_TEST(a_file_is_replaced_in_place_of_its_link_keeping_its_permissions)
{
    struct dw_error error;
    struct stat found;
    enter_folder();
    succeeds(whole_file_write("a.svg", "old", 3, &error), error);
    ck_assert_int_eq(chmod("a.svg", 0640), 0);
    ck_assert_int_eq(symlink("a.svg", "link.svg"), 0);
    succeeds(whole_file_check("link.svg", &error), error);
    succeeds(whole_file_write("link.svg", "new", 3, &error), error);
    holds("a.svg", "new");
    ck_assert_int_eq(files_here(), 2);
    ck_assert(!lstat("link.svg", &found) && S_ISLNK(found.st_mode));
    ck_assert(!stat("a.svg", &found) && (found.st_mode & 0777) == 0640);
    leave_folder();
}
END_TEST

/* What an ordinary user is told, also where the tests run as root. */
static void refused_as_user(const char *path, const char *message)
{
    const pid_t child = fork();
    if (!child) {
        struct dw_error error = { .text = "" };
        if (geteuid() == 0 && (setgid(65534) || setuid(65534)))
            _exit(3);
        const enum dw_status status = whole_file_check(path, &error);
        if (status != DW_BAD_USE || strcmp(error.text, message))
            fprintf(stderr, "%s: status %d, %s\n", path, (int)status, error.text);
        _exit(status == DW_BAD_USE && !strcmp(error.text, message) ? 0 : 1);
    }
    int status;
    ck_assert(waitpid(child, &status, 0) == child && WIFEXITED(status));
    ck_assert_int_eq(WEXITSTATUS(status), 0);
}

START_TEST(a_name_that_cannot_be_written_is_refused_beforehand)
{
    struct dw_error error;
    enter_folder();
    ck_assert_int_eq(mkdir("locked", 0555), 0);
    succeeds(whole_file_write("a.svg", "old", 3, &error), error);
    succeeds(whole_file_write("ro.svg", "old", 3, &error), error);
    ck_assert_int_eq(chmod("ro.svg", 0444), 0);
    refused_as_user("locked/b.svg", "'locked/b.svg': the folder locked is not writable");
    refused_as_user("ro.svg", "'ro.svg' is read-only");
    refused_as_user("locked", "'locked' is a folder");
    refused_as_user("none/b.svg", "'none/b.svg': none: No such file or directory");
    refused_as_user("a.svg/b.svg", "'a.svg/b.svg': a.svg is no folder");
    holds("ro.svg", "old");
    leave_folder();
}
END_TEST

START_TEST(a_full_device_is_reported_and_nothing_stays_aside)
{
    struct dw_error error;
    static char bytes[100000];
    enter_folder();
    succeeds(whole_file_check("/dev/full", &error), error);
    refuses(whole_file_write("/dev/full", bytes, sizeof bytes, &error), DW_SYSTEM, error, "/dev/full: No space left on device");
    refuses(whole_file_write("none/b.svg", bytes, sizeof bytes, &error), DW_SYSTEM, error, "none/b.svg: No such file or directory");
    ck_assert_int_eq(files_here(), 0);
    leave_folder();
}
END_TEST

START_TEST(a_limit_reached_while_writing_leaves_the_old_file)
{
    struct dw_error error;
    enter_folder();
    succeeds(whole_file_write("a.svg", "old", 3, &error), error);
    const pid_t child = fork();
    if (!child) {
        /* as on a disk that fills up: a write of what is too much fails */
        static char bytes[1 << 20];
        struct sigaction ignore = { .sa_handler = SIG_IGN };
        sigaction(SIGXFSZ, &ignore, NULL);
        const struct rlimit limit = { 4096, 4096 };
        setrlimit(RLIMIT_FSIZE, &limit);
        const enum dw_status status = whole_file_write("a.svg", bytes, sizeof bytes, &error);
        _exit(status == DW_SYSTEM && !strcmp(error.text, "a.svg: File too large") ? 0 : 1);
    }
    int status;
    ck_assert(waitpid(child, &status, 0) == child && WIFEXITED(status));
    ck_assert_int_eq(WEXITSTATUS(status), 0);
    holds("a.svg", "old");
    ck_assert_int_eq(files_here(), 1);
    leave_folder();
}
END_TEST

SUITE("figure: whole files", a_file_appears_whole_and_alone_with_the_usual_permissions,
      a_file_is_replaced_in_place_of_its_link_keeping_its_permissions, a_name_that_cannot_be_written_is_refused_beforehand,
      a_full_device_is_reported_and_nothing_stays_aside, a_limit_reached_while_writing_leaves_the_old_file)
