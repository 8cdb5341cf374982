/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "suite.h"
#include <stdlib.h>
#include <string.h>

int rounds(int usual, int all)
{
    const char *asked = getenv("LONG");
    return asked && !strcmp(asked, "yes") ? all : usual;
}

int suite_run(const char *name, const TTest *const *tests, size_t count)
{
    Suite *suite = suite_create(name);
    TCase *all = tcase_create("all");
    tcase_set_timeout(all, 300);
    for (size_t i = 0; i < count; i++)
        tcase_add_test(all, tests[i]);
    suite_add_tcase(suite, all);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner), run = srunner_ntests_run(runner);
    srunner_free(runner);
    /* an empty suite proves nothing */
    return failed || !run ? EXIT_FAILURE : EXIT_SUCCESS;
}
