# SPDX-License-Identifier: GPL-3.0-or-later
"""Processor time and memory of each program from 10^3 rows up: time in proportion to rows, memory that does not grow. What breaks
either is MISSED in the table; dw-plot holds its picture, whatever the rows."""
import os, sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), os.pardir, "programs"))
from commands import commands
from results import Finding, aligned, short

LINEAR = 2 / 3     # a row of the most may take half as much again as one of a tenth of them
CONSTANT = 0.9     # and memory may grow by a tenth: summaries fill up to their bound, and then no more
TELLING = 0.05     # s: less tells nothing of proportion
FIRST, PATIENCE = 3, 20.0  # 10^3; s: what took longer is not tried with ten times the rows


def data(shop, kind, exponent):
    periods = 10**exponent // 4
    pulses = f"dw-pwm --binary --frequency 487.8 --duty 77/300 --periods {periods}"
    made = {"pulses": pulses, "text": f"{pulses} --text".replace(" --binary", ""),
            "switched": f"{pulses} --dead-time 10u | dw-table --rename 'complement=current[A]'"}
    return None if kind == "none" else shop.made(f"scale-{kind}-{exponent}", made[kind])


def run(shop, command, kind, exponent, most):
    """Least processor time of some runs, and memory: (s, bytes)."""
    source = data(shop, kind, exponent)
    runs = [shop.weigh(command.format(periods=10**exponent // 4), source) for _ in range(most if exponent < 6 else 1)]
    return min(seconds for seconds, _, _ in runs), max(memory for _, _, memory in runs)


def scale(shop):
    last = 5 if shop.quick else 8 if shop.long else 7
    exponents = range(FIRST, last + 1)
    rows, findings = [["program", "", *(f"10^{exponent}" for exponent in exponents)]], []
    for line in commands("scale"):
        kind, _, title = line.more.partition(", ")
        name, command, seen = f"{line.program}, {title}" if title else line.program, line.text, {}
        for exponent in exponents:
            if seen and seen[exponent - 1][0] > PATIENCE:
                break
            seen[exponent] = run(shop, command, kind, exponent, shop.rounds)
        rows.append([name, "time", *(short(seen[e][0], "s") if e in seen else "-" for e in exponents)])
        rows.append(["", "memory", *(short(seen[e][1], "B") if e in seen else "-" for e in exponents)])
        for exponent, (seconds, memory) in seen.items():
            findings.append(Finding("scale", f"{name}, time of 10^{exponent} rows", "s", [seconds], kept_only=True))
            findings.append(Finding("scale", f"{name}, memory of 10^{exponent} rows", "B", [memory], kept_only=True))
        most = max(seen)
        start = seen[FIRST][0]  # what a program takes without rows is no part of a row
        per_row = [max((seen[e][0] - start) / 10**e, 1e-10) for e in (most, most - 1)]
        findings.append(Finding("scale", f"{name}, a row of 10^{most}", "s", per_row[:1], per_row[1:], f"of 10^{most - 1}",
                                least_ratio=LINEAR if seen[most][0] - start > TELLING else None))
        findings.append(Finding("scale", f"{name}, memory at 10^{most}", "B", [seen[most][1]], [seen[most - 1][1]], f"at 10^{most - 1}",
                                least_ratio=CONSTANT))
    shop.tables.append("processor time and memory by rows of input (of output for dw-pwm)\n" + aligned(rows))
    return findings
