/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Jobs with loads. */
#include "jobs.h"
#include <dutywright/actuator.h>
#include <dutywright/chain.h>
#include <dutywright/coil.h>
#include <dutywright/follow.h>
#include <dutywright/ladder.h>
#include <dutywright/law.h>
#include <dutywright/loop.h>
#include <dutywright/measure.h>
#include <dutywright/motor.h>
#include <dutywright/pulse.h>
#include <dutywright/servo.h>
#include <dutywright/stepper.h>
#include <dutywright/switch.h>
#include <fcntl.h>
#include <unistd.h>

static enum dw_status take_point(void *context, double frequency, const double *gain, const double *phase, struct dw_error *error)
{
    (void)context, (void)frequency, (void)gain, (void)phase, (void)error;
    return DW_OK;
}

static enum dw_status take_row(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    return context ? dw_coil_meter_row(context, row, error) : DW_OK;
}

enum { CLOCK = 5 };
static const double clock_time[CLOCK] = { 0, 1e-3, 1e-3, 4e-3, 4e-3 }, clock_pin[CLOCK] = { 5, 5, 0, 0, 5 };

/* Steady, then along the pin once more; the pin is the first of the inputs. */
static enum dw_status run_plant(struct dw_plant *plant, struct dw_coil_meter *meter, struct dw_error *error)
{
    struct dw_modes *modes = dw_plant_modes(plant);
    enum dw_status status = DW_OK;
    struct dw_steady steady;
    struct dw_run *run = NULL, *copy = NULL;
    double given[CLOCK * DW_INPUTS] = { 0 }, state[DW_STATES];
    size_t mode = dw_plant_rest(plant, state), inputs = dw_plant_inputs(plant);
    for (size_t i = 0; i < CLOCK; i++)
        given[i * inputs] = clock_pin[i];
    if (RIGHT(dw_modes_steady(modes, &(struct dw_period){ clock_time, given, CLOCK, NULL }, &mode, state, &steady, error)))
        run = dw_run_new(modes, &(struct dw_run_options){ .accuracy = 1e-4, .sink = take_row, .context = meter,
                                                          .integrand = meter ? dw_coil_integrals(dw_plant_load(plant)) : NULL,
                                                          .integrand_count = meter ? DW_COIL_INTEGRALS : 0 }, error);
    if (MADE(run) && RIGHT(dw_run_start(run, 0, mode, state, given, error)))
        for (size_t i = 1; i < CLOCK && status == DW_OK; i++)
            status = dw_run_feed(run, clock_time[i], given + i * inputs, error);
    if (run && RIGHT(dw_run_finish(run, error)) && MADE(copy = dw_run_copy(run, NULL, error)))
        status = dw_run_feed(copy, 5e-3, given, error);
    dw_run_free(copy);
    dw_run_free(run);
    return status;
}

/* Steady along a file, with rows at a rate beside those for a watch; or driven by two. */
static enum dw_status follow_file(struct dw_plant *plant, const char *steady, struct dw_error *error)
{
    enum dw_status status = DW_OK;
    struct dw_reader *reader = dw_reader_open(ours, NULL, error);
    struct dw_course *side = NULL;
    const int out = open("/dev/null", O_WRONLY | O_CLOEXEC);
    if (MADE(reader) && (steady || MADE(side = dw_course_open(ours, error))))
        status = dw_follow(&(struct dw_follow_plan){ .plant = plant, .accuracy = 1e-3, .uniform = steady ? 10 : 0, .steady = steady,
            .input_column = { 1 }, .side = side, .watch = take_row, .made_by = "hand", .descriptor = out }, reader, NULL, error);
    dw_course_close(side);
    dw_reader_close(reader);
    close(out);
    return status;
}

static enum dw_status ladders(struct dw_error *error)
{
    static const struct dw_stage stages[] = { { .r = 47, .l = 10e-3, .c = 3.3e-6, .esr = 0.3 }, { .r = 4700, .c = 220e-9 } };
    enum dw_status status = DW_OK;
    struct dw_ladder *ladder = dw_ladder_new(&(struct dw_ladder_plan){ .stages = stages, .count = 2, .source = 1, .load = 1e5 }, error);
    struct dw_plant *plant = NULL;
    struct dw_system *system = NULL;
    double state[DW_STATES] = { 0 }, integral[DW_OUTPUTS], real[DW_STATES], imaginary[DW_STATES];
    struct dw_steady steady;
    struct dw_result result[DW_MEASURES];
    if (MADE(ladder) && MADE(system = dw_ladder_system(ladder, error)) &&
        RIGHT(dw_system_steady(system, &(struct dw_period){ clock_time, clock_pin, CLOCK, NULL }, state, &steady, error)) &&
        RIGHT(dw_system_integrals(system, &(struct dw_interval){ state, clock_pin, clock_pin + 2, 1e-3, NULL },
                                  (struct dw_integrand[]){ { 0, DW_ALONE }, { 0, 0 } }, 2, integral, error)) &&
        RIGHT(dw_system_rates(system, real, imaginary, error)) &&
        RIGHT(dw_system_response(system, 0, 1e3, integral, real, error)) &&
        RIGHT(dw_system_sweep(system, &(struct dw_sweep){ 0, 10, 1e4, 1e-2 }, take_point, NULL, error)) &&
        RIGHT(dw_system_advance(system, &(struct dw_interval){ state, clock_pin, clock_pin + 2, 1.7e-3, NULL }, 0, state, error)) &&
        MADE(plant = dw_ladder_plant_new(ladder, &(struct dw_ladder_setup){ .supply = 12, .drive = DW_ONE_SWITCH, .threshold = 2.5,
                                                                            .diode_drop = 0.7, .all = true }, error)) &&
        RIGHT(run_plant(plant, NULL, error)) && RIGHT(follow_file(plant, "a steady start", error)) && RIGHT(follow_file(plant, NULL, error)))
        status = dw_chain_measure(&(struct dw_chain){ .train = &(struct dw_pulse_train){ .period = 1e-3, .duty = 0.35,
                                                          .modulation = DW_DENSITY, .high = 3.3 },
                                                      .plant = plant, .output = 3, .accuracy = 1e-3 }, result, error);
    dw_plant_free(plant);
    dw_system_free(system);
    dw_ladder_free(ladder);
    return status;
}

static enum dw_status coils(struct dw_error *error)
{
    static const struct dw_coil_plan plan = { .resistance = 48, .inductance = 0.02, .inductance_closed = 0.03, .supply = 24,
        .clamp = DW_CLAMP_ZENER, .clamp_value = 12, .diode_drop = 0.7, .stray = 1e-9, .pull_in = 0.1, .drop_out = 0.04,
        .threshold = 2.5, .all = true };
    enum dw_status status = DW_OK;
    struct dw_coil *coil = dw_coil_new(&plan, error);
    struct dw_coil_meter *meter = NULL;
    double operate, release;
    struct dw_coil_findings findings;
    if (MADE(coil) && RIGHT(dw_coil_times(coil, 0.3, &operate, &release, error)) && MADE(meter = dw_coil_meter_new(coil, error)) &&
        RIGHT(run_plant(dw_coil_plant(coil), meter, error)))
        status = dw_coil_meter_end(meter, &findings, error);
    dw_coil_meter_free(meter);
    dw_coil_free(coil);
    return status;
}

static enum dw_status motors(struct dw_error *error)
{
    static const struct dw_motor_plan plan = { .resistance = 2, .inductance = 1e-3, .constant = 0.02, .inertia = 1e-5,
        .friction = 1e-6, .drag = 1e-3, .gear = 1, .drive = DW_DRIVE_ONE_SWITCH, .supply = 12, .diode_drop = 0.7, .threshold = 2.5,
        .all = true };
    enum dw_status status = DW_OK;
    struct dw_motor *motor = dw_motor_new(&plan, error);
    if (MADE(motor))
        status = run_plant(dw_motor_plant(motor), NULL, error);
    dw_motor_free(motor);
    return status;
}

static void lag(const void *of, size_t mode, double time, const double *x, const double *u, double *rate)
{
    (void)of, (void)time;
    rate[0] = (mode ? 300 : 700) * (u[0] - x[0]);
}

static void half(const void *of, size_t mode, double time, const double *x, const double *u, double *guard)
{
    (void)of, (void)time, (void)u;
    guard[0] = (mode ? -1 : 1) * (2.5 - x[0]) / 5;
}

static size_t other_side(const void *of, size_t mode, size_t guard, double time, double *x, const double *u)
{
    (void)of, (void)guard, (void)time, (void)x, (void)u;
    return !mode;
}

static enum dw_status equations(struct dw_error *error)
{
    static const struct dw_equations_mode sides[] = { { "low", 1 }, { "high", 1 } };
    static const double scale[] = { 5 };
    enum dw_status status = DW_OK;
    struct dw_plant *plant = dw_plant_new(&(struct dw_plant_plan){ .equations = &(struct dw_equations){ .states = 1, .inputs = 1,
        .modes = sides, .mode_count = 2, .state_scale = scale, .rate = lag, .guards = half, .leave = other_side } }, error);
    if (MADE(plant))
        status = run_plant(plant, NULL, error);
    dw_plant_free(plant);
    return status;
}

static enum dw_status take_heat(void *context, const double *row, struct dw_error *error)
{
    (void)context, (void)row, (void)error;
    return DW_OK;
}

static enum dw_status heats(struct dw_error *error)
{
    static const double rows[][2] = { { 0, 2 }, { 0.5, 3 }, { 0.5, 0 }, { 1, 0 }, { 1, 2 }, { 1.5, 3 }, { 1.5, 0 }, { 2, 0 } };
    const struct dw_switch transistor = { .kind = DW_SWITCH_MOSFET, .on_resistance = 0.05, .resistance_slope = 0.004, .supply = 12, .edge = 1e-6 };
    enum dw_status status = DW_OK;
    struct dw_thermal *thermal = dw_thermal_new((const struct dw_thermal_pair[]){ { 1, 0.1 }, { 20, 3 } }, 2, 25, error);
    struct dw_heat *heat = NULL;
    if (MADE(thermal) && MADE(heat = dw_heat_new(&transistor, thermal, &(struct dw_heat_source){ .columns = 2, .current = 1, .period = 1 },
                                                  &(struct dw_heat_rows){ take_heat, NULL, 1e-4 }, error)) &&
        RIGHT(dw_heat_start_steady(heat, rows[0], 4, error)))
        for (int i = 0; i <= 8 && status == DW_OK; i++)
            status = i < 8 ? dw_heat_row(heat, rows[i], error) : dw_heat_finish(heat, NULL, error);
    dw_heat_free(heat);
    dw_thermal_free(thermal);
    return status;
}

static enum dw_status servos(struct dw_error *error)
{
    static const struct dw_servo_plan plan = { .points = { { 0.3e-3, -90 }, { 0.8e-3, 0 }, { 2.5e-3, 90 } }, .point_count = 3, .dead_band = 4e-6,
        .slew = 500, .slow_within = 5, .lost_after = 2e-3, .free_when_lost = true, .stop_low = -1, .stop_high = 90, .threshold = 2.5 };
    enum dw_status status = DW_OK;
    double state[DW_SERVO_STATES];
    struct dw_plant *plant = dw_servo_plant(&plan, error);
    struct dw_run *run = plant ? dw_run_new(dw_plant_modes(plant), &(struct dw_run_options){ .accuracy = 1e-4, .sink = take_row }, error) : NULL;
    if (MADE(plant) && MADE(run) && RIGHT(dw_run_start(run, 0, dw_plant_rest(plant, state), state, clock_pin, error)))
        for (size_t i = 1; i < CLOCK && status == DW_OK; i++)
            status = dw_run_feed(run, clock_time[i], clock_pin + i, error);
    dw_run_free(run);
    dw_plant_free(plant);
    return status;
}

static enum dw_status actuators(struct dw_error *error)
{
    static const struct dw_actuator_plan plan = { .motor = { .resistance = 1.85, .inductance = 0.9e-3, .constant = 27e-3, .inertia = 9e-6,
        .drag = 4e-3, .gear = 5, .drive = DW_DRIVE_ONE_SWITCH, .supply = 12, .threshold = 2.5 }, .lead = 3e-3, .efficiency = 0.35, .travel = 0.2,
        .mass = 1, .backlash = 1e-4, .switches = true, .differential = 1e-3, .overtravel = 1e-3 };
    enum dw_status status = DW_OK;
    double state[DW_STATES], input[DW_ACTUATOR_INPUTS] = { 0 };
    struct dw_actuator *actuator = dw_actuator_new(&plan, error);
    struct dw_plant *plant = actuator ? dw_actuator_plant(actuator) : NULL;
    struct dw_run *run = plant ? dw_run_new(dw_plant_modes(plant), &(struct dw_run_options){ .accuracy = 1e-4, .sink = take_row }, error) : NULL;
    if (MADE(actuator) && MADE(run) && RIGHT(dw_run_start(run, 0, dw_plant_rest(plant, state), state, input, error)))
        for (size_t i = 1; i < CLOCK && status == DW_OK; i++) {
            input[DW_ACTUATOR_PIN] = clock_pin[i];
            status = dw_run_feed(run, clock_time[i], input, error);
        }
    dw_run_free(run);
    dw_actuator_free(actuator);
    return status;
}

/* Pulses, a lag and a delay behind the load, rows, the map of one sample, findings. */
static enum dw_status loops(struct dw_error *error)
{
    static const struct dw_law_plan law_plan = { .kind = DW_LAW_PID, .sample_time = 1e-3, .converter = { .gain = 1 }, .gain = 0.05,
        .integral_time = 4e-3, .setpoint_weight = 1, .duty_high = 1 };
    static const struct dw_stage stage = { .r = 4700, .c = 220e-9 };
    enum dw_status status = DW_OK;
    struct dw_law law;
    struct dw_sampled sampled;
    struct dw_ladder *ladder = dw_ladder_new(&(struct dw_ladder_plan){ .stages = &stage, .count = 1 }, error);
    struct dw_plant *plant = NULL;
    struct dw_loop *loop = NULL;
    struct dw_header *header = NULL;
    struct dw_loop_meter *meter = NULL;
    if (MADE(ladder) && RIGHT(dw_law_make(&law_plan, &law, error)) && MADE(plant = dw_ladder_plant_new(ladder, &(struct dw_ladder_setup){ .supply = 3.3 }, error)) &&
        MADE(loop = dw_loop_new(&(struct dw_loop_plan){ .plant = plant, .period = 1e-3, .high = 3.3, .every = 1, .law = &law, .wanted = 1,
            .process = { .given = true, .gain = 1, .lag = 2e-3, .delay = 1.3e-3 }, .duration = 20e-3, .accuracy = 1e-4, .row = take_heat }, error)) &&
        MADE(header = dw_loop_header(loop, "hand", error)) && RIGHT(dw_loop_run(loop, error)) && RIGHT(dw_loop_sampled(loop, 0, &sampled, NULL, error)) &&
        MADE(meter = dw_loop_meter_new(error)))
        status = dw_loop_meter_see(meter, 0, 1, 1, error);
    dw_loop_meter_free(meter);
    dw_header_free(header);
    dw_loop_free(loop);
    dw_plant_free(plant);
    dw_ladder_free(ladder);
    return status;
}

static enum dw_status steppers(struct dw_error *error)
{
    static const struct dw_stepper_plan plan = { .resistance = 2.1, .inductance = 3.4e-3, .constant = 0.177, .inertia = 5.7e-6, .friction = 1e-3, .gear = 1,
        .full_steps = 200, .supply = 6, .microsteps = 1, .tolerance = 1e-6 };
    struct dw_stepper_pull pull;
    return dw_stepper_pull(&plan, 5000, &pull, error);
}

const struct job load_jobs[LOAD_JOBS] = {
    { "motors", motors }, { "ladders", ladders }, { "heats", heats }, { "coils", coils }, { "servos", servos }, { "actuators", actuators },
    { "loops", loops }, { "steppers", steppers }, { "equations", equations }
};
