# SPDX-License-Identifier: GPL-3.0-or-later
"""The jobs, each a function that checks answers, times them and gives findings."""
import array, glob, math, os, re, subprocess, sys, time
import scale as scaling
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


def over(shop, job, side):
    """For the table: that the other side was given less work, since times are per unit of it; nothing where it was not."""
    ours, other = shop.work[job, "ours"], shop.work[job, side]
    return f"over {other:,.0f} periods, ours {ours:,.0f}" if other < ours else ""


@job("rc")
def pulses_through_rc(shop):
    """a period of PWM through two RC stages, over 100,000 of them, against rk8pd and CVODE at 1e-10"""
    times, errors = shop.library("rc")
    note = errors_of(errors, "rc", "ours", "rk8pd", "CVODE")
    return [Finding("rc", "a period of PWM, two stages", "s", times["rc", "ours"], times["rc", side], side, least_ratio=least,
                    over=over(shop, "rc", side), note=note if side == "rk8pd" else "") for side, least in (("rk8pd", 50), ("CVODE", 3000))]


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
                    least_ratio=200, over=over(shop, "motor", "CVODE"), note=errors_of(errors, "motor", "ours", "CVODE"))]


@job("stepper")
def chopped_stepper(shop):
    """a full step of a chopped stepper, over 400 of them, against CVODE with root-finding at an error no smaller"""
    times, errors = shop.library("moon")
    return [Finding("stepper", "a full step, chopped", "s", times["stepper", "ours"], times["stepper", "CVODE"], "CVODE",
                    least_ratio=5, over=over(shop, "stepper", "CVODE"), note=errors_of(errors, "stepper", "ours", "CVODE"))]


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
    size = os.path.getsize(shop.made(name, f"dw-pwm --binary --frequency 487.8 --duty 77/300 --periods {rows // 4}"))
    passed = shop.shell(f"cat {name} | dw-table | cmp - {name} && echo same")
    demand(passed == b"same\n", f"dw-table changes {name}")
    ours, cat, alone, cat_alone = [], [], [], []
    for _ in range(2 * shop.rounds):  # the clock tells of other work too: more runs
        for program, clock, processor in (("dw-table", ours, alone), ("cat", cat, cat_alone)):
            clock.append(size / shop.weigh(f"bash -c 'cat {name} | {program} | cat >/dev/null'")[1])
            processor.append(shop.weigh(program, name)[0] / rows)
    return [Finding("pass", "binary rows between two pipes, by the clock", "B/s", ours, cat, "cat", more=True, least_ratio=0.6),
            Finding("pass", "the program alone, a row of two numbers", "s", alone, cat_alone, "cat")]


@job("choose")
def choosing(shop):
    """candidates a second of dw-choose, against looking at every one"""
    times, _ = shop.library("choose")
    rates = {key: [1 / seconds for seconds in values] for key, values in times.items()}
    return [Finding("choose", "candidates, one or two stages", "/s", rates["choose", "ours"], rates["choose", "every one"],
                    "every one", more=True),
            Finding("choose", "candidates, up to three stages", "/s", rates["choose-three", "ours"]),
            Finding("choose", "candidates, front of up to three stages", "/s", rates["choose-front", "ours"])]


POINTS = 1 << 22


def sampled(path):
    """A record of 2^22 samples: three sines on lines, the first of amplitude 1.25 on line 7."""
    rows = array.array("d")
    for i in range(POINTS):
        turn = 2 * math.pi * i / POINTS
        rows.append(i * 1e-6)
        rows.append(1.25 * math.sin(7 * turn) + 0.3 * math.cos(1999 * turn) + 0.1 * math.cos(100003 * turn))
    rows.extend([POINTS * 1e-6, rows[1], math.nan, math.nan])
    if sys.byteorder == "big":
        rows.byteswap()
    with open(path + ".new", "wb") as file:
        file.write(b"# wave-table 1\n# columns: time[s] v[V]\n# rows: float64le\n")
        rows.tofile(file)
    os.replace(path + ".new", path)


@job("spectrum")
def spectrum(shop):
    """dw-spectrum of 2^22 rows, reading them included, against FFTW's transforms of as many points alone"""
    path = os.path.join(shop.data, "sampled.bin")
    if not os.path.exists(path):
        sampled(path)
    lines = shop.shell("dw-spectrum --quiet --text sampled.bin").decode().splitlines()
    row = next(line.split("\t") for line in lines if not line.startswith("#") and abs(float(line.split("\t")[0]) * POINTS * 1e-6 - 7) < 0.01)
    demand(abs(float(row[1]) - 1.25) < 1e-8, f"line 7 has an amplitude of {row[1]}, not 1.25")
    ours, whole, others = [], [], {"real": [], "complex": []}
    for _ in range(shop.rounds):
        ours.append(shop.weigh("dw-spectrum --quiet --binary --harmonics 40 sampled.bin")[0])
        whole.append(shop.weigh("dw-spectrum --quiet --binary --to 500k sampled.bin")[0])
        for (_, side), seconds in shop.library("transform", 1)[0].items():
            others[side] += seconds
    note = "the complex transform takes as many points and gives as many lines; the real one does half its work for real points"
    limit = "planning and transforming take half of it, angles, levels and the writing of 64 MiB the rest"
    notes = {("ours", "complex"): note, ("whole", "real"): limit}
    return [Finding("spectrum", what, "s", values, others[side], f"{side} FFT", least_ratio=0.25,
                    note=notes.get(("ours" if values is ours else "whole", side), ""))
            for what, values in (("2^22 rows, 40 lines", ours), ("2^22 rows, all 2^21 lines", whole)) for side in ("complex", "real")]


@job("plot")
def plot(shop):
    """dw-plot of 10^7 rows, against dw-table looking at as many"""
    exponent = 5 if shop.quick else 7
    findings = []
    for kind, name in (("pulses", "binary"), ("text", "text")):
        path = scaling.data(shop, kind, exponent)
        ours, table = [], []
        for _ in range(shop.rounds):
            ours.append(shop.weigh(f"dw-plot --quiet --output plot.png {path}")[0])
            table.append(shop.weigh(f"dw-table --report {path}")[0])
        with open(os.path.join(shop.data, "plot.png"), "rb") as file:
            demand(file.read(8) == b"\x89PNG\r\n\x1a\n", "no PNG was drawn")
        findings.append(Finding("plot", f"10^{exponent} rows, {name}", "s", ours, table, "dw-table --report"))
    return findings


PUMP = ("dw-motor --binary --quiet --rated volts=12,free-speed=4200rpm,free-current=0.15,stall-current=6.5 --inductance 900u --inertia 9u "
        "--torque 30m --supply 12 --drive one-switch --start steady")
HEATED = ("dw-switch --binary --quiet --kind mosfet --on-resistance 250m --resistance-slope 0.6% --supply 12 --edge 1u "
          "--thermal r=2.2,tau=8m --thermal r=60,tau=40 --start steady")


@job("heat")
def heat(shop):
    """a row of dw-switch with two thermal pairs, against a row of the dw-motor whose current it reads"""
    periods = 1000 if shop.quick else 30_000
    pulses, currents = f"heat-pulses-{periods}.bin", f"heat-currents-{periods}.bin"
    shop.made(pulses, f"dw-pwm --binary --frequency 22.5k --duty 60% --periods {periods}")
    shop.made(currents, f"{PUMP} {pulses}")
    motor_rows, heat_rows = (int(shop.shell(f"dw-table --text {source} | tail -n 1").split()[-1])
                             for source in (currents, f"<({HEATED} {currents})"))
    demand(heat_rows > periods * 12, "dw-switch gives fewer rows than the transistor has edges")
    motor, ours = [], []
    for _ in range(shop.rounds):
        motor.append(shop.weigh(PUMP, pulses)[0] / motor_rows)
        ours.append(shop.weigh(HEATED, currents)[0] / heat_rows)
    return [Finding("heat", "a row of loss and junction", "s", ours, motor, "dw-motor", least_ratio=0.5)]


PIPES = (("README's two stages", "--frequency 1.6k --duty 31.2%", "--stage r=2k7,c=680n --stage r=39k,c=68n --load 1M"),
         ("two stages of a fast DAC", "--frequency 31372.5 --duty 30%", "--stage r=1k,c=1.5u --stage r=3.9k,c=470n"))

# Samples at so many instants a period, straight lines between them, as one does it by hand.
LSIM = """
import sys, time
import numpy
from scipy.signal import lsim
from scipy.linalg import expm
r1, c1, r2, c2, load = 2700, 680e-9, 39e3, 68e-9, 1e6
a = numpy.array([[-(1 / r1 + 1 / r2) / c1, 1 / r2 / c1], [1 / r2 / c2, -(1 / r2 + 1 / load) / c2]])
b = numpy.array([[1 / r1 / c1], [0]])
periods, samples, period, duty = int(sys.argv[1]), 64, 1 / 1600, 0.312
step = period / samples
pin = numpy.tile(3.3 * (numpy.arange(samples) < duty * samples), periods)
begin = time.process_time()
_, out, _ = lsim((a, b, numpy.array([[0, 1.0]]), numpy.zeros((1, 1))), pin, numpy.arange(len(pin)) * step)
spent = time.process_time() - begin
x, unit = numpy.zeros(2), numpy.linalg.solve(a, b).ravel()
on, off = expm(a * duty * period), expm(a * (1 - duty) * period)
for _ in range(periods - 1):
    x = off @ (on @ (x + 3.3 * unit) - 3.3 * unit)
print(spent / periods, abs(out[-samples] - x[1]))
"""


LOOPED_PUMP = "dw-motor --resistance 1.85 --constant 27m --drag 4m --inductance 900u --inertia 9u --supply 12"
LOOPED = ("dw-loop --quiet --frequency 20k --every 1m --wanted 150 --gain 0.005 --integral-time 20m --duration {} {} -- "
          f"{LOOPED_PUMP} --drive one-switch")
BASIN = ("dw-loop --quiet --carrier average --high 12 --every 2 --process gain=1.6m,lag=120,delay=3 --wanted 0.35 --gain 7 --integral-time 96 "
         f"--duration 3600 --report -- {LOOPED_PUMP} --drive direct")


@job("loop")
def loop(shop):
    """a million PWM periods of a motor under a loop of 1 kHz, edge by edge, and an hour of a basin behind a pump's mean"""
    seconds = 1 if shop.quick else 50
    error = float(next(line for line in shop.shell(f"{LOOPED.format(seconds, '--report --format rows')} 2> /dev/null").decode().splitlines()
                       if "steady-error" in line).split("\t")[2])
    demand(abs(error) < 1e-3, "the loop does not hold its speed")
    findings = []
    for what, command, most in (("findings", LOOPED.format(seconds, "--report"), 3), ("rows", LOOPED.format(seconds, "--binary"), 6),
                                ("an hour of a basin", BASIN, 1)):
        findings.append(Finding("loop", f"{what}{', 10^6 periods' if most > 1 and not shop.quick else ''}", "s",
                                [shop.weigh(command)[0] for _ in range(shop.rounds)], most=None if shop.quick else most))
    return findings


@job("pipe")
def pipe(shop):
    """a period from dw-pwm through dw-smooth to dw-measure, text to text, over 100,000 of them; against lsim of SciPy at 64 samples a period"""
    periods = 1000 if shop.quick else 100_000
    ours = {}
    for name, train, stages in PIPES:
        command = f"dw-pwm {train} --periods {periods} | dw-smooth {stages} | dw-measure --channel out --quiet"
        mean = re.search(rb"mean +([0-9.]+)", shop.shell(command))
        demand(mean is not None, f"{name}: no mean was measured")
        ours[name] = [shop.weigh(f"bash -c '{command} >/dev/null'")[0] / periods for _ in range(shop.rounds)]
    python = next((p for p in ("python3", "/usr/bin/python3") if subprocess.run([p, "-c", "import scipy"], capture_output=True).returncode == 0), None)
    demand(python is not None, "no python3 here has SciPy: apt-get install python3-scipy")
    sampled = [subprocess.run([python, "-c", LSIM, str(periods // 100)], capture_output=True, text=True, check=True).stdout.split()
               for _ in range(shop.rounds)]
    return [Finding("pipe", f"a period, {name}", "s", ours[name], [float(seconds) for seconds, _ in sampled] if name == PIPES[0][0] else None,
                    "lsim" if name == PIPES[0][0] else "", note=f"lsim is {float(sampled[0][1]):.2g} V off" if name == PIPES[0][0] else "")
            for name, _, _ in PIPES]


def readme_lines():
    """The commands of README.md, as they stand there, and the means that they print."""
    with open(os.path.join(os.path.dirname(__file__), "..", "..", "README.md"), encoding="utf-8") as file:
        lines = file.read().splitlines()
    return [line[2:] for line in lines if line.startswith("$ dw-")], [line for line in lines if line.startswith("out  mean ")]


def forget(shop):
    """Takes the programs and the libraries they load out of the system's cache, as far as nobody else uses them."""
    root = os.path.join(shop.folder, "root")
    files = {os.path.join(folder, name) for folder, _, names in os.walk(root) for name in names}
    for program in glob.glob(os.path.join(root, "bin", "dw-*")):
        files |= set(re.findall(r"/\S+", shop.shell(f"ldd {program}").decode()))
    for name in files:
        if os.path.isfile(name):
            descriptor = os.open(name, os.O_RDONLY)
            os.posix_fadvise(descriptor, 0, 0, os.POSIX_FADV_DONTNEED)
            os.close(descriptor)


@job("readme")
def readme(shop):
    """all commands of README.md, by the clock: first with programs and libraries out of the cache, then once more"""
    lines, means = readme_lines()
    demand(len(lines) >= 5 and means, "README.md has lost its commands")
    commands = "\n".join(lines)
    printed = [line for line in shop.shell(commands).decode().splitlines() if line.startswith("out  mean ")]
    demand(printed == means, f"the pipelines of README.md print {printed}, not {means}")
    cold, warm = [], []
    for _ in range(shop.rounds):
        for times, before in ((cold, forget), (warm, lambda _: None)):
            before(shop)
            start = time.monotonic()
            shop.shell(commands)
            times.append(time.monotonic() - start)
    return [Finding("readme", "its commands, cold", "s", cold, warm, "warm")]


@job("scale")
def by_rows(shop):
    """time and memory of each program, 10^3 rows to 10^7 (--long: 10^8)"""
    return scaling.scale(shop)
