/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Filaments against an independent solver: SUNDIALS CVODE (Hindmarsh et al. 2005, ACM Trans. Math. Softw. 31:363), Adams at tight
 * tolerance, of the temperature in kelvin with a resistance and a heat capacity of its own. Exponents: common practice, no source. */
#include "outside/cvode.h"
#include "suite.h"
#include <dutywright/lamp.h>

static const double HOT = 2800, COLD = 293.15;

struct other {
    const struct dw_lamp_plan *p;
    double volts;
};

static double ohms(const struct dw_lamp_plan *p, double kelvin)
{
    return p->rated_volts * p->rated_volts / p->rated_watts * pow(kelvin / HOT, 1.2);
}

/* C T' = i^2 R - a (T^4 - T0^4), a such that the rated power holds 2800 K; C such that the linearised equation there, at the rated voltage,
 * has the time constant: C = tau (d loss/dT - d heat/dT). T, and behind it the energies in, heat taken up and light. */
static int right_side(realtype t, N_Vector y, N_Vector dy, void *data)
{
    (void)t;
    const struct other *o = data;
    const struct dw_lamp_plan *p = o->p;
    const double kelvin = NV_Ith_S(y, 0), a = p->rated_watts / (pow(HOT, 4) - pow(COLD, 4));
    const double capacity = p->time_constant * (4 * a * pow(HOT, 3) + 1.2 * p->rated_watts / HOT);
    const double current = o->volts / (p->resistor + ohms(p, kelvin)), heat = current * current * ohms(p, kelvin);
    NV_Ith_S(dy, 0) = (heat - a * (pow(kelvin, 4) - pow(COLD, 4))) / capacity;
    NV_Ith_S(dy, 1) = pow(kelvin / HOT, 8.84);
    return 0;
}

static void integrate(struct solver *s, struct other *o, double from, double to, double volts)
{
    double t = from;
    o->volts = volts;
    solver_begin(s, from);
    solver_go(s, to, &t);
}

static struct dw_run *begin(const struct dw_lamp_plan *plan, struct dw_lamp **lamp, double pin, dw_run_sink *sink, void *context)
{
    struct dw_error error = { .status = DW_OK };
    double rest[DW_STATES];
    *lamp = dw_lamp_new(plan, &error);
    ck_assert_msg(*lamp != NULL, "%s", error.text);
    struct dw_plant *plant = dw_lamp_plant(*lamp);
    struct dw_run *run = dw_run_new(dw_plant_modes(plant), &(struct dw_run_options){ .accuracy = 1e-8, .curves = true, .swing = 1e-6,
                                                                                     .sink = sink, .context = context }, &error);
    ck_assert_msg(run != NULL, "%s", error.text);
    const size_t mode = dw_plant_rest(plant, rest);
    succeeds(dw_run_start(run, 0, mode, rest, &pin, &error), error);
    return run;
}

/* Extremes, means and inrush of a run's rows. */
struct summed {
    double time, light, slope, area, peak, least, most, from;
};

static enum dw_status sum(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    (void)error;
    struct summed *s = context;
    const double h = row->time - s->time;
    if (row->time > s->from) {  /* the area of the cubic: theory, (4.13) */
        s->area += h * (s->light + row->output[1]) / 2 + h * h * (s->slope - row->slope[1]) / 12;
        s->least = fmin(s->least, row->output[1]);
        s->most = fmax(s->most, row->output[1]);
    }
    s->peak = fmax(s->peak, row->output[0]);
    s->time = row->time;
    s->light = row->output[1];
    s->slope = row->slope[1];
    return DW_OK;
}

/* From cold through pulses of 100 Hz: the temperature at each edge within 1e-9 of the rated one, the light's area within 1e-8; the ripple of
 * the last of them within 1e-7 of full. */
START_TEST(a_filament_at_100_hertz_is_that_of_another_solver)
{
    for (int k = 0; k < 4; k++) {
        const struct dw_lamp_plan plan = { .kind = DW_LAMP_FILAMENT, .supply = k < 2 ? 12 : 11.3, .rated_volts = 12, .rated_watts = 4.7,
                                           .time_constant = k % 2 ? 0.23 : 0.041, .resistor = k < 3 ? 0 : 1.3, .threshold = 1.65 };
        struct other other = { .p = &plan };
        struct solver solver;
        solver_open(&solver, CV_ADAMS, 2, right_side, &other, 1e-13);
        NV_Ith_S(solver.y, 0) = COLD;
        struct dw_lamp *lamp;
        struct summed seen = { .from = 0.19, .least = INFINITY };
        struct dw_run *run = begin(&plan, &lamp, 3.3, sum, &seen);
        struct dw_error error = { .status = DW_OK };
        double high = 0, before = 0;
        for (int period = 0; period < 20; period++)
            for (int edge = 0; edge < 2; edge++) {
                const double from = edge ? (period + 0.37) / 100 : period / 100.0, to = edge ? (period + 1) / 100.0 : (period + 0.37) / 100;
                before = period == 19 && !edge ? NV_Ith_S(solver.y, 1) : before;
                succeeds(dw_run_feed(run, to, (const double[]){ edge ? 0 : 3.3 }, &error), error);
                succeeds(dw_run_feed(run, to, (const double[]){ edge ? 3.3 : 0 }, &error), error);
                integrate(&solver, &other, from, to, edge ? 0 : plan.supply);
                within_scale(dw_run_state(run)[0], NV_Ith_S(solver.y, 0) / HOT, 1e-9, 1);
                high = edge ? high : NV_Ith_S(solver.y, 0);
            }
        const double full = pow(dw_lamp_temperature(&plan, 1) / HOT, 8.84);
        within_scale(seen.area, (NV_Ith_S(solver.y, 1) - before) / full, 1e-8, 0.01);
        within_scale(seen.most, pow(high / HOT, 8.84) / full, 1e-7, 1);
        near(seen.peak, plan.supply / (plan.resistor + ohms(&plan, COLD)), 1e-12);
        near(seen.peak, dw_lamp_cold_current(&plan), 1e-12);
        dw_run_free(run);
        dw_lamp_free(lamp);
        solver_close(&solver);
    }
}
END_TEST

/* At the rated voltage it settles at 2800 K with the rated power; a small step of the voltage then takes its time constant: a fall of e
 * within what the curvature of so small a step, 1e-5, leaves. */
START_TEST(a_filament_settles_as_its_ratings_say)
{
    struct dw_lamp_plan plan = { .kind = DW_LAMP_FILAMENT, .supply = 12, .direct = true, .rated_volts = 12, .rated_watts = 4.7,
                                 .time_constant = 0.041 };
    struct dw_error error = { .status = DW_OK };
    struct dw_lamp *lamp;
    struct dw_run *run = begin(&plan, &lamp, 12, NULL, NULL);
    succeeds(dw_run_feed(run, 4, (const double[]){ 12 }, &error), error);
    near(dw_run_state(run)[0], 1, 1e-9);
    near(dw_lamp_full_current(&plan), 4.7 / 12, 1e-12);
    near(dw_lamp_temperature(&plan, 1), HOT, 1e-14);
    double out[2];
    dw_run_output(run, out, NULL);
    near(out[1], 1, 1e-8);
    near(out[0], 4.7 / 12, 1e-8);
    succeeds(dw_run_feed(run, 4, (const double[]){ 12 * (1 + 1e-5) }, &error), error);
    const double begins = dw_run_state(run)[0];
    succeeds(dw_run_feed(run, 4.041, (const double[]){ 12 * (1 + 1e-5) }, &error), error);
    const double after = dw_run_state(run)[0];
    succeeds(dw_run_feed(run, 8, (const double[]){ 12 * (1 + 1e-5) }, &error), error);
    const double ends = dw_run_state(run)[0];
    near((ends - after) / (ends - begins), exp(-1), 1e-4);
    /* light goes with the 3.4th power of the voltage */
    dw_run_output(run, out, NULL);
    near((out[1] - 1) / 1e-5, 3.4, 1e-2);
    dw_run_free(run);
    dw_lamp_free(lamp);
}
END_TEST

/* ---- on a line with a bulk capacitor ---- */

/* A that the lamp draws at a voltage of the bulk and a line's current: by bisection on the node's own equation, since what an LED's driver
 * draws falls with the voltage. */
static double drawn_at(const struct other *o, const double *y, bool on)
{
    const struct dw_lamp_plan *p = o->p;
    const double esr = p->source.bulk_resistance, power = p->current * (p->forward + p->current * p->dynamic_resistance);
    double low = p->forward, high = 2 * p->supply;
    if (!on)
        return 0;
    if (p->kind == DW_LAMP_FILAMENT)
        return (y[3] + esr * y[2]) / (esr + p->resistor + ohms(p, y[0]));
    for (int i = 0; i < 80; i++) {
        const double v = (low + high) / 2;
        *(v > y[3] + esr * (y[2] - power / v) ? &high : &low) = v;
    }
    return power / low;
}

static int supplied_side(realtype t, N_Vector state, N_Vector rate, void *data)
{
    const struct other *o = data;
    const struct dw_lamp_plan *p = o->p;
    const double *y = NV_DATA_S(state), drawn = drawn_at(o, y, o->volts > 0), volts = y[3] + p->source.bulk_resistance * (y[2] - drawn);
    double *dy = NV_DATA_S(rate);
    (void)t;
    dy[0] = dy[1] = 0;
    if (p->kind == DW_LAMP_FILAMENT) {
        const double a = p->rated_watts / (pow(HOT, 4) - pow(COLD, 4));
        dy[0] = (drawn * drawn * ohms(p, y[0]) - a * (pow(y[0], 4) - pow(COLD, 4))) /
                (p->time_constant * (4 * a * pow(HOT, 3) + 1.2 * p->rated_watts / HOT));
    }
    dy[2] = (p->supply - p->source.line_resistance * y[2] - volts) / p->source.line_inductance;
    dy[3] = (y[2] - drawn) / p->source.bulk;
    return 0;
}

/* Filaments from cold and LEDs of constant power pull a supply down and let it ring: all states at all edges within 1e-7 of their size. */
START_TEST(lamps_on_a_supply_that_gives_way_agree)
{
    const struct dw_supply source = { .line_resistance = 0.37, .line_inductance = 11e-6, .bulk = 330e-6, .bulk_resistance = 0.09 };
    struct dw_lamp_plan plans[] = {
        { .kind = DW_LAMP_FILAMENT, .supply = 12, .rated_volts = 12, .rated_watts = 4.7, .time_constant = 0.041, .threshold = 1.65 },
        { .kind = DW_LAMP_LED, .driver = DW_DRIVER_SWITCHING, .supply = 12, .forward = 6.2, .dynamic_resistance = 0.4, .current = 1.3,
          .threshold = 1.65 },
    };
    for (int k = 0; k < 2; k++) {
        plans[k].source = source;
        struct other other = { .p = &plans[k] };
        struct solver s;
        solver_open(&s, CV_ADAMS, 4, supplied_side, &other, 1e-12);
        NV_Ith_S(s.y, 0) = COLD;
        NV_Ith_S(s.y, 3) = 12;
        struct dw_lamp *lamp;
        struct dw_run *run = begin(&plans[k], &lamp, 3.3, NULL, NULL);
        struct dw_error error = { .status = DW_OK };
        for (int edge = 0; edge < 12; edge++) {
            const double from = (edge / 2 + (edge % 2 ? 0.41 : 0)) / 450, to = (edge / 2 + (edge % 2 ? 1 : 0.41)) / 450;
            integrate(&s, &other, from, to, edge % 2 ? 0 : 12);
            succeeds(dw_run_feed(run, to, (const double[]){ edge % 2 ? 0 : 3.3 }, &error), error);
            succeeds(dw_run_feed(run, to, (const double[]){ edge % 2 ? 3.3 : 0 }, &error), error);
            within_scale(dw_run_state(run)[0], k ? 0 : NV_Ith_S(s.y, 0) / HOT, 1e-7, k ? 0.2 : 1);
            within_scale(dw_run_state(run)[1], NV_Ith_S(s.y, 2), 1e-7, 10);
            within_scale(dw_run_state(run)[2], NV_Ith_S(s.y, 3), 1e-7, 12);
        }
        dw_run_free(run);
        dw_lamp_free(lamp);
        solver_close(&s);
    }
}
END_TEST

SUITE("outside: filaments", lamps_on_a_supply_that_gives_way_agree, a_filament_at_100_hertz_is_that_of_another_solver,
      a_filament_settles_as_its_ratings_say)
