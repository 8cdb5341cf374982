# SPDX-License-Identifier: GPL-3.0-or-later
"""The jobs, each a function that checks answers, times them and gives findings."""
import os
from results import Finding
from shop import demand

JOBS = {}


def job(name):
    """A job is found under this name; its docstring is what --list says."""
    def keep(function):
        JOBS[name] = function
        return function
    return keep


def errors_of(errors, job, *sides):
    return "errors: " + ", ".join(f"{side} {errors[job, side]:.1e}" for side in sides)


@job("rc")
def pulses_through_rc(shop):
    """a period of PWM through two RC stages, over 100,000 of them, against rk8pd and CVODE at 1e-10"""
    times, errors = shop.library("rc")
    note = errors_of(errors, "rc", "ours", "rk8pd", "CVODE")
    return [Finding("rc", "a period of PWM, two stages", "s", times["rc", "ours"], times["rc", side], side, least_ratio=least,
                    note=note if side == "rk8pd" else "") for side, least in (("rk8pd", 50), ("CVODE", 3000))]


@job("lc")
def steady_lc(shop):
    """steady state of an L C filter of Q 1000, solved against simulated until within 1e-6"""
    times, errors = shop.library("lc")
    return [Finding("lc", "steady state at Q = 1000", "s", times["lc", "ours"], times["lc", side], side,
                    note=f"errors: ours {errors['lc', 'ours']:.1e}, the others 1e-6" if side == "rk8pd" else "")
            for side in ("simulating", "rk8pd")]


@job("motor")
def discontinuous_motor(shop):
    """a period of a motor whose current stops in each, over 100,000 of them, against CVODE with root-finding at 1e-10"""
    times, errors = shop.library("motor")
    return [Finding("motor", "a period, discontinuous", "s", times["motor", "ours"], times["motor", "CVODE"], "CVODE",
                    least_ratio=200, note=errors_of(errors, "motor", "ours", "CVODE"))]


@job("text")
def numbers(shop):
    """a number to text and back, bare and in rows of a table, against printf %.17g and strtod"""
    times, _ = shop.library("text")
    return [Finding("text", f"{verb} a number{where}", "s", times[verb, side], times[verb, other], other, most=most)
            for verb, other, most in (("write", "printf", 80e-9), ("read", "strtod", 45e-9))
            for where, side in (("", "ours"), (" of a row", "rows"))]


ROWS_PASSED = 20_000_000


@job("pass")
def binary_pass_through(shop):
    """dw-table between two pipes of binary rows, every number looked at, against cat between the same"""
    rows = ROWS_PASSED // (100 if shop.quick else 1)
    name = f"pass-{rows}.bin"
    size = os.path.getsize(shop.made(name, f"dw-pwm --binary --frequency 490.2 --duty 64/256 --periods {rows // 4}"))
    passed = shop.shell(f"cat {name} | dw-table | cmp - {name} && echo same")
    demand(passed == b"same\n", f"dw-table changes {name}")
    ours, cat, alone, cat_alone = [], [], [], []
    for _ in range(2 * shop.rounds):  # the clock tells of other work too: more runs
        for program, clock, processor in (("dw-table", ours, alone), ("cat", cat, cat_alone)):
            clock.append(size / shop.weigh(f"bash -c 'cat {name} | {program} | cat >/dev/null'")[1])
            processor.append(shop.weigh(program, name)[0] / rows)
    return [Finding("pass", "binary rows between two pipes, by the clock", "B/s", ours, cat, "cat", more=True, least_ratio=0.6),
            Finding("pass", "the program alone, a row of two numbers", "s", alone, cat_alone, "cat")]
