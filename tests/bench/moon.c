/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A chopped stepper: our modes of smooth equations against CVODE with its root-finding, which has its own model (other_stepper.h). The true answer is that
 * of CVODE at its tightest, over the first steps; CVODE is timed at the tolerance that comes near our error. A unit of work is one full step. */
#include "bench.h"
#include "outside/other_stepper.h"

enum { STEPS = 400, STEPS_CVODE = 40, STEPS_TRUE = 24 };

static const char JOB[] = "stepper";
static const double RATE = 600, TOLERANCE = 1e-13, TIGHTEST = 1e-14;
static const struct dw_stepper_plan MOON = { .resistance = 2.1, .inductance = 3.4e-3, .constant = 0.177, .inertia = 5.7e-6, .friction = 1e-3, .gear = 1,
                                             .full_steps = 200, .drive = DW_STEPPER_CURRENT, .supply = 12, .diode_drop = 0.7, .microsteps = 1,
                                             .current = 1.2, .off_time = 20e-6, .blanking = 1e-6, .fast = 0.3, .threshold = 0.5, .tolerance = 1e-8 };

/* Largest difference at a step's end, in natural sizes. */
static double worse(double error, const double *x, const double *truth)
{
    const double scale[] = { MOON.current, MOON.current, RATE * M_PI / 100, M_PI / 100 };
    for (int i = 0; i < 4; i++) {
        const double off = fabs(x[i] - truth[i]) / scale[i];
        error = off <= error ? error : off;  /* NaN stays */
    }
    return error;
}

/* Both give the error over the first steps where the truth is given, which CVODE at its tightest sets. */
static double run_ours(struct dw_plant *plant, int steps, double (*truth)[4], double *begin)
{
    struct dw_error why = { .status = DW_OK };
    double error = 0, input[DW_STEPPER_INPUTS] = { 0 }, rest[DW_STATES];
    const size_t mode = dw_plant_rest(plant, rest);
    struct dw_run *run = dw_run_new(dw_plant_modes(plant), &(struct dw_run_options){ 0 }, &why);
    bench_demand(run && dw_run_start(run, 0, mode, rest, input, &why) == DW_OK, "%s", why.text);
    for (int i = 0; begin && i < DW_STEPPER_STATES; i++)
        begin[i] = dw_run_state(run)[i];
    for (int k = 1; k <= steps; k++) {
        input[DW_STEPPER_STEP] = 0;
        enum dw_status status = dw_run_feed(run, k / RATE, input, &why);
        if (truth && k <= STEPS_TRUE)
            error = worse(error, dw_run_state(run), truth[k - 1]);
        input[DW_STEPPER_STEP] = 1;
        status = status ? status : dw_run_feed(run, k / RATE, input, &why);
        bench_demand(status == DW_OK, "%s", why.text);
    }
    dw_run_free(run);
    return error;
}

static double run_other(const double *begin, double tolerance, int steps, double (*truth)[4], bool sets)
{
    struct other_stepper o;
    double error = 0;
    bench_demand(other_open(&o, &MOON, begin, tolerance), "CVODE: cannot be set up");
    for (int k = 1; k <= steps; k++) {
        bench_demand(other_advance(&o, k / RATE), "CVODE: stops before %g s", k / RATE);
        double x[4];
        for (int i = 0; i < 4; i++)
            x[i] = NV_Ith_S(o.y, i) - (i == 3 ? begin[DW_STEPPER_FIRST] / other_teeth(&o) : 0);
        for (int i = 0; truth && sets && i < 4; i++)
            truth[k - 1][i] = x[i];
        if (truth && !sets && k <= STEPS_TRUE)
            error = worse(error, x, truth[k - 1]);
        other_step(&o, 1);
    }
    other_close(&o);
    return error;
}

int main(int argc, char **argv)
{
    const int rounds = bench_rounds(argc, argv);
    struct dw_error why = { .status = DW_OK };
    struct dw_plant *plant = dw_stepper_plant(&MOON, &why);
    double truth[STEPS_TRUE][4], begin[DW_STEPPER_STATES];
    bench_demand(plant != NULL, "%s", why.text);
    run_ours(plant, 1, NULL, begin);
    run_other(begin, TIGHTEST, STEPS_TRUE, truth, true);
    const double ours = run_ours(plant, STEPS_TRUE, truth, NULL), theirs = run_other(begin, TOLERANCE, STEPS_TRUE, truth, false);
    bench_error(JOB, "ours", ours);
    bench_error(JOB, "CVODE", theirs);
    bench_demand(ours <= theirs && ours < 1e-9, "ours is %g from the true answer, CVODE %g", ours, theirs);
    bench_work(JOB, "ours", STEPS);
    bench_work(JOB, "CVODE", STEPS_CVODE);
    for (int round = 0; round < rounds; round++) {
        const double start = bench_clock();
        run_ours(plant, STEPS, NULL, NULL);
        const double middle = bench_clock();
        run_other(begin, TOLERANCE, STEPS_CVODE, NULL, false);
        const double end = bench_clock();
        bench_time(JOB, "ours", (middle - start) / STEPS);
        bench_time(JOB, "CVODE", (end - middle) / STEPS_CVODE);
    }
    dw_plant_free(plant);
    return 0;
}
