/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The map of one sample, by differences of runs over one sample about the orbit of one duty. docs/theory.md, (17.5). */
#include "load/loop_inner.h"
#include <math.h>
#include <stdbool.h>
#include <string.h>

#define TRIAL_ACCURACY 1e-12

/* Where it stands, and a loop to try it with. */
struct stand {
    const struct dw_loop *loop;
    struct dw_loop *trial, *late;     /* the latter with the process as late as its output at the next sample asks; NULL: not needed */
    size_t states, inputs, all;       /* of the plant; with those of the process */
    size_t mode;
    double duty, state[DW_STATES];    /* at the beginning of a period */
    double scale[DW_STATES + TAIL_STATES];
    double sample_time, place, due;   /* s: samples lie so long behind the beginning of a period; the newer duty acts then */
    double measured, mean, gone;      /* of what the load gives: at the place of samples, in the mean, and its rise in a period */
    size_t level;                     /* a state that drifts and is what is measured; states: none is */
    size_t first_mode;                /* orbits are looked for from here: at rest, or where the loop is and that state stays */
    double first[DW_STATES];
    double seen;
    bool forced;                      /* the last trial could not begin where it was to: a rotor that goes backward where it goes forward */
};

static bool integrates(const struct stand *stand)
{
    return stand->level < stand->states;
}

static enum dw_status capture(void *context, double time, double measured, const struct dw_law_state *sample, struct dw_error *error)
{
    struct stand *stand = context;
    (void)time;
    (void)error;
    if (sample)
        stand->seen = measured;
    return DW_OK;
}

/* The input of the plant while the pin stands at a voltage. */
static void input_at(const struct stand *stand, double volts, double *input)
{
    const size_t direction = stand->loop->plan.direction;
    memcpy(input, stand->loop->input, stand->inputs * sizeof *input);
    input[0] = volts;
    if (direction)
        input[direction] = stand->duty < 0 ? -1 : 1;
}

enum { PERIOD_ROWS = 7 };
/* The input over one period at the duty, with a row at each place of samples.
 *   returns  how many rows */
static size_t period_rows(const struct stand *stand, double *time, double *input)
{
    const struct dw_loop_plan *plan = &stand->loop->plan;
    const double length = plan->average ? stand->sample_time : plan->period, low = dwi_loop_low(plan, stand->duty);
    const double high = plan->average || stand->duty == 0 ? low : dwi_loop_high(plan, stand->duty);
    double edge[3];
    dwi_loop_edges(plan, stand->duty, edge);
    const double share[PERIOD_ROWS] = { 0, edge[0], edge[0], edge[1], edge[2], edge[2], 1 };
    const size_t first = edge[0] == 0 ? 2 : 0, last = edge[2] == 1 ? 4 : 6;
    for (size_t i = first; i <= last; i++) {
        time[i - first] = share[i] * length;
        input_at(stand, i < 2 || i > 4 ? low : high, input + (i - first) * stand->inputs);
    }
    return last - first + 1;
}

struct area {
    double time, value, slope, sum;
    size_t output;
};

static enum dw_status add_area(void *context, const struct dw_run_row *row, struct dw_error *error)
{
    struct area *area = context;
    const double length = row->time - area->time, value = row->output[area->output], slope = row->slope[area->output];
    (void)error;
    if (length > 0)
        area->sum += length * (area->value + value) / 2 + length * length * (area->slope - slope) / 12;
    area->time = row->time;
    area->value = value;
    area->slope = slope;
    return DW_OK;
}

/* What is measured at rest, and how it goes with a state there. */
static enum dw_status look_at_rest(struct stand *stand, struct dw_run *run, size_t by, double *measured, double *gain, struct dw_error *error)
{
    const struct dw_loop_plan *plan = &stand->loop->plan;
    const double step = dw_plant_port(plan->plant, plan->measured).scale;
    double state[DW_STATES], output[2][DW_OUTPUTS] = { { 0 } };
    enum dw_status status = DW_OK;
    memcpy(state, stand->first, sizeof state);
    for (int side = 0; status == DW_OK && side < 2; side++) {  /* unrun: passed-on */
        state[by] = stand->first[by] + side * step;
        status = dw_run_start(run, 0, stand->first_mode, state, stand->loop->input, error);
        dw_run_output(run, output[side], NULL);
    }
    *measured = output[0][plan->measured];
    *gain = (output[1][plan->measured] - *measured) / step;
    return status;
}

/* Looks for what the load integrates into what is measured, such as an angle: no duty holds it, but one lets it stand. Where the loop has
 * not run yet, it is put where it is wanted. */
static enum dw_status find_level(struct stand *stand, struct dw_error *error)
{
    const struct dw_loop *loop = stand->loop;
    const struct dw_plant *plant = loop->plan.plant;
    struct dw_run *run = dw_run_new(dw_plant_modes(plant), &(struct dw_run_options){ .sink = NULL }, error);
    enum dw_status status = run ? DW_OK : error->status;
    double measured = 0, gain = 0;
    stand->first_mode = dw_plant_rest(plant, stand->first);
    for (stand->level = 0; status == DW_OK && stand->level < stand->states && gain == 0; stand->level += gain == 0)
        if (dw_plant_drifts(plant, stand->level))
            status = look_at_rest(stand, run, stand->level, &measured, &gain, error);
    dw_run_free(run);
    if (status != DW_OK || !integrates(stand))
        return status;
    stand->first[stand->level] += (loop->state.wanted / (loop->tail ? loop->plan.process.gain : 1) - measured) / gain;
    if (loop->now > 0) {
        stand->first_mode = dw_run_mode(loop->run);
        memcpy(stand->first, dw_run_state(loop->run), stand->states * sizeof *stand->first);
    }
    return DW_OK;
}

/* What the load gives at this duty for ever: at the place of samples, and in the mean. */
static enum dw_status find_orbit(struct stand *stand, double duty, struct dw_error *error)
{
    const struct dw_loop_plan *plan = &stand->loop->plan;
    struct dw_modes *modes = dw_plant_modes(plan->plant);
    double time[PERIOD_ROWS], input[PERIOD_ROWS * DW_INPUTS], edge[3], output[DW_OUTPUTS];
    stand->duty = duty;
    const size_t rows = period_rows(stand, time, input);
    stand->mode = stand->first_mode;
    memcpy(stand->state, stand->first, sizeof stand->state);
    enum dw_status status = dw_modes_steady(modes, &(struct dw_period){ time, input, rows, NULL }, &stand->mode, stand->state, NULL, error);
    struct area area = { .time = INFINITY, .output = plan->measured };
    const struct dw_run_options options = { .accuracy = 1e-9, .curves = true, .swing = 1e-9, .sink = add_area, .context = &area };
    struct dw_run *run = status == DW_OK ? dw_run_new(modes, &options, error) : NULL;
    if (!run)
        return error->status;
    if (integrates(stand))
        stand->state[stand->level] = stand->first[stand->level];
    dwi_loop_edges(plan, duty, edge);
    stand->place = plan->average ? 0 : edge[plan->instant] * plan->period;
    status = dw_run_start(run, time[0], stand->mode, stand->state, input, error);
    dw_run_output(run, output, NULL);
    const double begun = output[plan->measured];
    for (size_t i = 1; status == DW_OK && i < rows; i++) {
        status = dw_run_feed(run, time[i], input + i * stand->inputs, error);
        if (time[i - 1] < stand->place && time[i] >= stand->place)
            dw_run_output(run, output, NULL);
    }
    stand->measured = output[plan->measured];
    dw_run_output(run, output, NULL);
    stand->gone = output[plan->measured] - begun;
    stand->mean = area.sum / (time[rows - 1] - time[0]);
    dw_run_free(run);
    return status;
}

/* How far what is measured then is from what is wanted, or of what the load integrates how fast it goes away. */
static enum dw_status departure(struct stand *stand, double duty, double *out, struct dw_error *error)
{
    const struct dw_loop *loop = stand->loop;
    const enum dw_status status = find_orbit(stand, duty, error);
    const double given = (loop->tail ? loop->plan.process.gain * stand->mean : stand->measured) - loop->state.wanted;
    *out = integrates(stand) ? stand->gone : given;
    return status;
}

/* Two duties, and the departures there, of which one is above zero and one below where there are such: the ends, or what the load
 * integrates would be at its stops, no farther from the last duty than need be. */
static enum dw_status bracket(struct stand *stand, double at[2], double f[2], struct dw_error *error)
{
    const struct dw_law *law = &stand->loop->law;
    const double duty = stand->loop->duty;
    enum dw_status status = DW_OK;
    for (double far = integrates(stand) ? 0x1p-6 : 1; status == DW_OK && far <= 1; far *= 4) {
        const double reach = far < 1 ? far * (law->high - law->low) : INFINITY;
        at[0] = fmax(duty - reach, law->low);
        at[1] = fmin(duty + reach, law->high);
        for (int end = 0; status == DW_OK && end < 2; end++) {
            status = departure(stand, at[end], &f[end], error);
            for (size_t i = 0; i < stand->states; i++)
                stand->scale[i] = fmax(stand->scale[i], fabs(stand->state[i]));
        }
        if (f[0] * f[1] <= 0)
            break;
    }
    return status;
}

/* Whether small changes of the duty move in proportion what the load integrates. */
static enum dw_status check_proportion(struct stand *stand, struct dw_error *error)
{
    const struct dw_law *law = &stand->loop->law;
    const double share = stand->loop->plan.average ? 1e-3 : 1e-4, found = stand->duty;
    const double duty = fmin(fmax(found, law->low + 2 * share), law->high - 2 * share);
    double f[4];
    enum dw_status status = DW_OK;
    for (int i = 0; status == DW_OK && i < 4; i++)  /* unrun: passed-on */
        status = departure(stand, duty + (i < 2 ? i - 2 : i - 1) * share, &f[i], error);
    const size_t moving = stand->mode;
    if (status == DW_OK)  /* unrun: passed-on */
        status = find_orbit(stand, found, error);
    stand->mode = moving;  /* in one that only rests nothing moves it away */
    const double middle = (f[2] - f[1]) / 2, off = fmax(fabs(f[1] - f[0] - middle), fabs(f[3] - f[2] - middle));
    if (status != DW_OK || off < fabs(middle) / 8)  /* unrun: passed-on */
        return status;
    if (stand->loop->duty <= law->low || stand->loop->duty >= law->high)
        return dw_error_set(error, DW_NO, 0, "the loop is open: the duty stays at its end");
    return dw_error_set(error, DW_NO, 0, "about a duty of %.4g, at which it stands, what is measured does not move in proportion to the duty: "
                        "friction, play, a stop or a current that dies out holds it", found);
}

/* The duty at which the loop stands: regula falsi, of which the end that stays is weighed by half (Dowell and Jarratt 1971, BIT 11:168). */
static enum dw_status find_duty(struct stand *stand, struct dw_error *error)
{
    const struct dw_loop *loop = stand->loop;
    double at[2] = { loop->law.low, loop->law.high }, f[2], now = 0;
    if (loop->tail && loop->plan.process.integrates) {
        const bool inside = loop->duty > at[0] && loop->duty < at[1];
        return find_orbit(stand, inside ? loop->duty : (at[0] + at[1]) / 2, error);
    }
    enum dw_status status = bracket(stand, at, f, error);
    if (status != DW_OK)
        return status;
    if (f[0] * f[1] > 0 && integrates(stand))
        return dw_error_set(error, DW_NO, 0, "the loop is open: no duty lets what is measured stand");
    if (f[0] * f[1] > 0)
        return dw_error_set(error, DW_NO, 0, "the loop is open: the duty stays at its end; what is measured goes from %.6g to %.6g, and %.6g is wanted",
                            f[0] + loop->state.wanted, f[1] + loop->state.wanted, loop->state.wanted);
    for (int i = 0, kept = -1; status == DW_OK && i < 100; i++) {  /* unrun: passed-on */
        const double before = now;
        now = f[0] == f[1] ? (at[0] + at[1]) / 2 : (at[0] * f[1] - at[1] * f[0]) / (f[1] - f[0]);
        double there;
        status = departure(stand, now, &there, error);
        const int side = there * f[1] > 0;
        if (status == DW_OK && (there == 0 || fabs(now - before) < 1e-12))
            break;
        at[side] = now;
        f[side] = there;
        f[!side] *= kept == side ? 0.5 : 1;
        kept = side;
    }
    return status == DW_OK && integrates(stand) ? check_proportion(stand, error) : status;
}

/* ---- one sample from a state ---- */

static enum dw_status try_loop(struct stand *stand, struct dw_loop *t, const double *x, double older, double newer, struct dw_error *error)
{
    t->duty = older;
    t->now = 0;
    t->pending[0] = (struct pending){ stand->due, newer };
    t->first = 0;
    t->count = 1;
    input_at(stand, dwi_loop_low(&t->plan, older), t->input);
    memset(t->last, 0, sizeof t->last);
    if (t->tail) {
        t->tail->first = t->tail->count = 0;
        memcpy(t->tail->state, x + stand->states, t->tail->states * sizeof *x);
    }
    const enum dw_status status = dw_run_start(t->run, 0, stand->mode, x, t->input, error);
    stand->forced = memcmp(dw_run_state(t->run), x, stand->states * sizeof *x) != 0;
    return status == DW_OK ? dwi_loop_one_sample(t, error) : status;
}

/* The state at the next sample and, behind it, what is measured at this one, or will be later. */
static enum dw_status try_sample(struct stand *stand, const double *x, double older, double newer, double *next, struct dw_error *error)
{
    enum dw_status status = try_loop(stand, stand->trial, x, older, newer, error);
    memcpy(next, dw_run_state(stand->trial->run), stand->states * sizeof *next);
    if (stand->trial->tail)
        memcpy(next + stand->states, stand->trial->tail->state, stand->trial->tail->states * sizeof *next);
    next[stand->all] = stand->seen;
    if (status == DW_OK && stand->late) {
        status = try_loop(stand, stand->late, x, older, newer, error);
        next[stand->all] = dwi_tail_output(stand->late->tail, NULL);
    }
    return status;
}

/* One sample with a state, or behind them the older or the newer duty, so many shares of its size away from where it stands. */
static enum dw_status try_away(struct stand *stand, size_t by, double away, double *next, struct dw_error *error)
{
    double x[DW_STATES + TAIL_STATES] = { 0 }, duty[2] = { stand->duty, stand->duty };
    memcpy(x, stand->state, stand->states * sizeof *x);
    if (by < stand->all)
        x[by] += away * stand->scale[by];
    else
        duty[by - stand->all] += away;
    return try_sample(stand, x, duty[0], duty[1], next, error);
}

/* Differences by a state or a duty: of all states, in units of their scales, and of what is measured. Where one side is none, they are of
 * the same order from the other. */
static enum dw_status difference(struct stand *stand, size_t by, double *column, struct dw_error *error)
{
    const double share = stand->loop->plan.average ? 1e-3 : 1e-4;
    double next[3][DW_STATES + TAIL_STATES + 1];
    enum dw_status status = try_away(stand, by, share, next[0], error);
    const double way = stand->forced ? -1 : 1;
    if (status == DW_OK)
        status = try_away(stand, by, -share, next[1], error);
    const bool one = way < 0 || stand->forced;
    if (status == DW_OK && one)
        status = try_away(stand, by, 2 * way * share, next[way > 0], error);
    if (status == DW_OK && one)
        status = try_away(stand, by, 0, next[2], error);
    for (size_t i = 0; i <= stand->all; i++) {
        const double near = next[way < 0][i], other = next[way > 0][i], away = one ? way * (4 * near - other - 3 * next[2][i]) : near - other;
        column[i] = away / (2 * share * (i < stand->all ? stand->scale[i] : 1));
    }
    return status;
}

/* ---- the map ---- */

enum { MAP_STATES = DW_STATES + TAIL_STATES + 2 };

/* x' = a x + b u, y = c x, before delays of whole samples. */
struct map {
    size_t states;
    double a[MAP_STATES * MAP_STATES], b[MAP_STATES], c[MAP_STATES];
};

/* Takes out a state that neither what is measured nor another state depends on, such as an angle. */
static bool drop_unseen(struct map *map)
{
    const size_t n = map->states;
    for (size_t j = 0; j < n; j++) {
        double most = fabs(map->c[j]);
        for (size_t i = 0; i < n; i++)
            most = i == j ? most : fmax(most, fabs(map->a[i * n + j]));
        if (most > 1e-11)
            continue;
        size_t to = 0;
        for (size_t i = 0; i < n * n; i++)
            if (i / n != j && i % n != j)
                map->a[to++] = map->a[i];
        memmove(map->b + j, map->b + j + 1, (n - 1 - j) * sizeof *map->b);
        memmove(map->c + j, map->c + j + 1, (n - 1 - j) * sizeof *map->c);
        map->states--;
        return true;
    }
    return false;
}

/* How many samples late the process is, and how long after the beginning of a sample its output is then taken. */
static double process_late(const struct stand *stand, double *at)
{
    const double offset = stand->place - stand->loop->plan.process.delay, late = offset < 0 ? ceil(-offset / stand->sample_time - 1e-9) : 0;
    *at = fmax(offset + late * stand->sample_time, 0);
    return late;
}

/* When the newer duty acts, and how many whole samples that is late. */
static double duty_late(struct stand *stand, double later)
{
    const struct dw_loop_plan *plan = &stand->loop->plan;
    const double period = plan->period, time = stand->place + plan->delay + later;
    bool on;
    double k = dw_period_index(0, period > 0 ? period : stand->sample_time, time, &on);
    double late = period > 0 ? floor((on ? k : ++k) / (double)plan->every) : k;
    if (period > 0 && late > 0 && k == late * (double)plan->every)
        late--;  /* with the next sample's period: there it is the one in force, on which the place of that sample hangs */
    stand->due = period > 0 ? dw_period_boundary(0, period, k - late * (double)plan->every) : fmax(time - late * stand->sample_time, 0);
    return late;
}

/*   keeps    what is measured is one sample late: its last state */
static enum dw_status fill_map(struct stand *stand, bool keeps, struct map *map, struct dw_error *error)
{
    const size_t all = stand->all, n = map->states = all + 1 + keeps;
    enum dw_status status = DW_OK;
    for (size_t j = 0; status == DW_OK && j < all + 2; j++) {
        double column[DW_STATES + TAIL_STATES + 1];
        status = difference(stand, j, column, error);
        for (size_t i = 0; integrates(stand) && j == stand->level && i < stand->states; i++)
            column[i] = i == j;  /* nothing else of the load depends on it */
        for (size_t i = 0; i < all; i++)
            *(j <= all ? &map->a[i * n + j] : &map->b[i]) = column[i];
        if (keeps)
            *(j <= all ? &map->a[(n - 1) * n + j] : &map->b[n - 1]) = column[all];
        else if (j <= all)
            map->c[j] = column[all];
    }
    map->b[all] = 1;
    if (keeps)
        map->c[n - 1] = 1;
    while (drop_unseen(map)) {
    }
    if (status == DW_OK && map->states == 0)
        return dw_error_set(error, DW_NO, 0, "what is measured where samples lie does not answer a small change of the duty");
    return status;
}

/* The map behind duties that wait so many samples: each waits in a state of its own, the newest last. */
static enum dw_status give_sampled(const struct map *map, double late, double sample_time, struct dw_sampled *out, struct dw_error *error)
{
    const size_t n = map->states;
    if ((double)n + late > DW_SAMPLED_STATES)
        return dw_error_set(error, DW_BAD_USE, 0, "a delay of %.0f samples: %.0f at most have margins here", late, (double)DW_SAMPLED_STATES - (double)n);
    const size_t all = n + (size_t)late;
    memset(out, 0, sizeof *out);
    out->states = all;
    out->sample_time = sample_time;
    for (size_t i = 0; i < n; i++) {
        memcpy(out->a + i * all, map->a + i * n, n * sizeof *out->a);
        *(late > 0 ? &out->a[i * all + n] : &out->b[i]) = map->b[i];
        out->c[i] = map->c[i];
    }
    for (size_t i = n; i + 1 < all; i++)
        out->a[i * all + i + 1] = 1;
    if (late > 0)
        out->b[all - 1] = 1;
    return DW_OK;
}

static struct dw_loop *make_trial(const struct dw_loop_plan *plan, struct dw_error *error)
{
    struct dw_loop *trial = dw_loop_new(plan, error);
    if (trial)
        trial->forced = true;
    return trial;
}

static enum dw_status make_trials(struct stand *stand, double at, struct dw_error *error)
{
    struct dw_loop_plan plan = stand->loop->plan;
    const bool late = plan.process.delay > 0;
    plan.row = NULL;
    plan.see = capture;
    plan.context = stand;
    plan.side = plan.wanted_from = NULL;
    plan.delay = plan.process.delay = 0;
    plan.accuracy = TRIAL_ACCURACY;
    stand->trial = make_trial(&plan, error);
    plan.process.delay = stand->sample_time - at;
    stand->late = stand->trial && late ? make_trial(&plan, error) : NULL;
    return stand->trial && (stand->late || !late) ? DW_OK : error->status;
}

/* Inside the range by so much that both differences are. */
static enum dw_status move_inside(struct stand *stand, struct dw_error *error)
{
    const struct dw_law *law = &stand->loop->law;
    const double margin = 1e-3 * (law->high - law->low), inside = fmin(fmax(stand->duty, law->low + margin), law->high - margin);
    const enum dw_status status = inside != stand->duty ? find_orbit(stand, inside, error) : DW_OK;
    for (size_t i = 0; i < stand->all; i++) {
        stand->scale[i] = i < stand->states ? fmax(stand->scale[i], fabs(stand->state[i])) : 1;
        stand->scale[i] = stand->scale[i] > 0 ? stand->scale[i] : 1e-3;
    }
    return status;
}

enum dw_status dw_loop_sampled(const struct dw_loop *loop, double later, struct dw_sampled *sampled, struct dw_loop_stand *found, struct dw_error *error)
{
    struct dw_error own = { .status = DW_OK };
    const struct dw_plant *plant = loop->plan.plant;
    struct stand stand = { .loop = loop, .states = dw_plant_states(plant), .inputs = dw_plant_inputs(plant), .sample_time = loop->law.plan.sample_time };
    struct map map = { .states = 0 };
    double at = 0, late = 0;
    error = error ? error : &own;
    stand.all = stand.states + (loop->tail ? loop->tail->states : 0);
    enum dw_status status = find_level(&stand, error);
    if (status == DW_OK)
        status = find_duty(&stand, error);
    if (status == DW_OK && found)
        *found = (struct dw_loop_stand){ stand.duty, stand.measured, stand.mean };
    if (status == DW_OK)
        status = move_inside(&stand, error);
    if (status == DW_OK) {
        late = process_late(&stand, &at);
        status = make_trials(&stand, at, error);
    }
    const double waits = status == DW_OK ? duty_late(&stand, later) + fmax(late - 1, 0) : 0;
    if (status == DW_OK)
        status = fill_map(&stand, late > 0, &map, error);
    if (status == DW_OK)
        status = give_sampled(&map, waits, stand.sample_time, sampled, error);
    dw_loop_free(stand.trial);
    dw_loop_free(stand.late);
    return status;
}
