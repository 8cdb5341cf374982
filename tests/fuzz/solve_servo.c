/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Any servo follows its pulses or is refused: its angle stays between the stops and goes no faster than it can, what is found of a run
 * lies within the run, and a width asks for the angle that asks for it. */
#include "config.h"
#include "promise.h"
#include <dutywright/servo.h>

const int replay_changes = 20; /* scripts/fuzz short: 300 inputs */

struct seen {
    struct driven driven;  /* first: what the run gives the sink */
    struct dw_servo_meter meter;
    double angle;
};

static double between(struct bytes *bytes, double low, double high)
{
    return fmin(fmax(low + (high - low) * next_share(bytes), low), high);
}

static void choose_plan(struct bytes *bytes, struct dw_servo_plan *plan)
{
    const double way = next_byte(bytes) % 2 ? 1 : -1;
    *plan = (struct dw_servo_plan){ .point_count = 2 + next_byte(bytes) % 6, .threshold = 1.65 };
    for (size_t i = 0; i < plan->point_count; i++) {
        plan->points[i].width = (i ? plan->points[i - 1].width : 0) + next_size(bytes, 1e-6, 1e-2);
        plan->points[i].angle = (i ? plan->points[i - 1].angle : -180) + way * next_size(bytes, 1e-2, 180);
    }
    const double first = plan->points[0].angle, last = plan->points[plan->point_count - 1].angle;
    plan->dead_band = next_part(bytes, 1e-5, 1) * (plan->points[plan->point_count - 1].width - plan->points[0].width);
    plan->slew = next_size(bytes, 1, 1e5);
    plan->slow_within = next_part(bytes, 1e-3, 90);
    plan->stall_torque = next_part(bytes, 1e-3, 10);
    plan->torque = plan->stall_torque * next_share(bytes);
    plan->free_when_lost = next_byte(bytes) % 2;
    plan->lost_after = next_size(bytes, 1e-4, 10);
    plan->stop_low = between(bytes, fmin(first, last), fmax(first, last));
    plan->stop_high = between(bytes, plan->stop_low, fmax(first, last));
    plan->initial = between(bytes, plan->stop_low, plan->stop_high);
}

static enum dw_status look(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct seen *seen = context;
    const struct dw_servo_plan *p = seen->driven.plan;
    const double angle = row->state[DW_SERVO_ANGLE], slack = 1e-9 * (fabs(p->stop_low) + fabs(p->stop_high) + 1);
    demand(angle >= p->stop_low - slack && angle <= p->stop_high + slack, "the angle is between the stops");
    if (seen->driven.rows)
        demand(fabs(angle - seen->angle) <= p->slew * (row->time - seen->driven.time) * (1 + 1e-9) + slack, "it goes no faster than it can");
    seen->angle = angle;
    dw_servo_meter_row(&seen->meter, row);
    return see_row(&seen->driven, row, 0, error);
}

static void set(const struct driven *seen, struct bytes *bytes, bool high, double *input)
{
    (void)seen;
    *input = high && next_byte(bytes) % 8 ? 3.3 : 0;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct bytes bytes = { data, size };
    struct dw_servo_plan plan;
    struct dw_error error = { .status = DW_OK };
    choose_plan(&bytes, &plan);
    struct dw_plant *plant = dw_servo_plant(&plan, &error);
    if (!plant) {
        demand_error(&error, DW_BAD_USE, DW_BAD_USE);
        return 0;
    }
    struct seen seen = { { .plan = &plan, .period = next_size(&bytes, 1e-6, 10) }, { .plan = &plan }, 0 };
    double input[DW_SERVO_INPUTS] = { 0 };
    drive(plant, look, &seen.driven, &bytes, set, input);
    const struct dw_servo_findings *found = &seen.meter.found;
    const double time = seen.driven.time * (1 + 1e-9);
    demand(found->pulses <= 4 && found->pressed >= 0 && found->pressed <= time && found->lost >= 0 && found->lost <= time, "findings are within the run");
    demand(!(found->shortest > found->longest) && !(found->settled < found->begun) && found->beyond >= 0, "findings are in order");
    const double angle = 360 * (next_share(&bytes) - 0.5), back = dw_servo_angle(&plan, dw_servo_width(&plan, angle));
    demand(fabs(back - angle) <= 1e-9 * (360 + dw_servo_steepest(&plan) * plan.points[plan.point_count - 1].width), "a width asks for its angle");
    dw_plant_free(plant);
    return 0;
}
