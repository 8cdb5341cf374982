# SPDX-License-Identifier: GPL-3.0-or-later
"""The jobs, each a function that checks answers, times them and gives findings."""
from results import Finding

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
