# SPDX-License-Identifier: GPL-3.0-or-later
"""What the tests of faults share: whole commands of every program, and how to run one with something failing.

Commands run in the folder that `workshop` makes, where the inputs named below are. A program is run as itself, not
through the build's wrapper script, so that only its own calls are made to fail.
"""
import os, re, shutil, signal, struct, subprocess, sys, tempfile

BUILD = os.environ.get("BUILDDIR", os.getcwd())  # of the programs
LONG = os.environ.get("LONG") == "yes"
SANITIZED = os.environ.get("SANITIZED") == "yes"
LIMIT = 60  # seconds a command may take before it counts as hanging
NO_MEMORY, SYSTEM = 3, 3

INPUTS = {
    "pin.tsv": "dw-pwm --frequency 1.6k --duty 31.2% --periods 12",
    "long.tsv": "dw-pwm --frequency 1.6k --duty 37% --jitter 20u --periods 3000",
    "pin.bin": "dw-pwm --binary --frequency 1.6k --duty 31.2% --periods 12",
    "out.tsv": "dw-smooth --stage r=2k7,c=150n --load 1M pin.tsv",
    "current.tsv": "dw-motor --resistance 2 --inductance 1m --constant 20m --inertia 10u --friction 1u --drag 1m "
                   "--supply 12 --drive one-switch --all pin.tsv",
    "repeats.tsv": "dw-motor --resistance 2 --inductance 1m --constant 20m --inertia 10u --drag 1m --supply 12 --drive one-switch "
                   "--start steady --accuracy 1e-3 pin.tsv",
}
CURVE = "0\t0.2\n0.01\t0.8\n0.02\t0.4\n"
DRAWER, DRAWER_C = "4k7 1% 0.02\n10k 1% 0.02  # yellow box\n47k 1% 0.02\n", "100n 10% 0.05\n1u 10% 0.1\n"
BENCH = "time;pin\n0;0,5\n0,001;4,5\n0,002;0,5\n"
TEXTS = {"curve.tsv": CURVE, "bench.csv": BENCH, "drawer.txt": DRAWER, "drawer-c.txt": DRAWER_C}

# One command a line; what it writes to standard output: table, report, or (with --output) a figure.
COMMANDS = [
    ("table", "dw-pwm --frequency 1.6k --duty 31.2% --bits 8 --periods 7"),
    ("table", "dw-pwm --binary --clock 18M --prescale 2 --count-to 5625 --counting updown --duty 37% --dead-time 2u --rise 1u"),
    ("table", "dw-pwm --frequency 1k --duty-from curve.tsv --modulate natural --jitter 3u --seed 7"),
    ("table", "dw-smooth --stage r=4k7,c=220n --stage r=47,l=10m,c=100n,esr=0.3 --load 1M pin.tsv"),
    ("table", "dw-smooth --binary --stage r=4k7,c=220n --start steady --all pin.bin"),
    ("table", "dw-smooth --stage r=4k7,c=220n --response 1:100k"),
    ("table", "dw-motor --resistance 2 --inductance 1m --constant 20m --inertia 10u --friction 1u --drag 1m "
              "--supply 12 --drive bridge-slow --all pin.tsv"),
    ("table", "dw-motor --rated volts=12,free-speed=3000rpm,free-current=200m,stall-current=6 --supply 12 --inductance 1m "
              "--inertia 10u --drive one-switch --start steady pin.tsv"),
    ("table", "dw-coil --resistance 48 --inductance 350m --supply 24 --clamp zener=12 --stray 1n --pull-in 90m --drop-out 40m "
              "--all pin.tsv"),
    ("table", "dw-coil --resistance 48 --inductance 350m --supply 24 --clamp diode --start steady pin.tsv"),
    ("report", "dw-coil --resistance 48 --inductance 350m --supply 24 --clamp diode --pull-in 90m --drop-out 40m "
               "--expect hold --report pin.tsv"),
    ("table", "dw-switch --kind mosfet --on-resistance 50m --supply 12 --edge 100n --thermal r=1,tau=1m --thermal r=40,tau=10 current.tsv"),
    ("report", "dw-switch --report --kind mosfet --on-resistance 50m --supply 12 --edge 100n --thermal r=1,tau=1m --limit 150 current.tsv"),
    ("table", "dw-coil --resistance 48 --inductance 0.35 --supply 24 --clamp zener=18 --pull-in 0.3 --drop-out 0.12 --all pin.tsv"),
    ("table", "dw-coil --resistance 48 --inductance 0.35 --inductance-closed 0.5 --supply 24 --clamp none --stray 1n "
              "--pull-in 0.03 --drop-out 0.012 --start steady pin.tsv"),
    ("report", "dw-coil --resistance 48 --inductance 0.35 --supply 24 --clamp diode --report --format json pin.tsv"),
    ("table", "dw-spectrum --harmonics 30 out.tsv"),
    ("report", "dw-spectrum --report --taper hann out.tsv"),
    ("report", "dw-plot --type text --mean out.tsv"),
    ("table", "dw-table --channel pin --span 2m:7m out.tsv"),
    ("table", "dw-table --after pin.tsv pin.tsv"),
    ("table", "dw-table bench.csv"),
    ("table", "dw-table --binary long.tsv"),
    ("report", "dw-measure --format json out.tsv"),
    ("report", "dw-measure --span all out.tsv"),
    ("table", "dw-spectrum pin.tsv"),
    ("table", "dw-spectrum --taper hann --to 5k --channel out --span 0.3m:6.7m out.tsv"),
    ("table", "dw-spectrum --fundamental 1.6k --span all --harmonics 300 long.tsv"),
    ("report", "dw-spectrum --report --format json --fundamental 1.6k --span last:5 long.tsv"),
    ("report", "dw-timer --clock 18M --prescale 1:4096 --counter 14 --wanted 1.7k"),
    ("report", "dw-timer --clock 18M --prescale 1:4000 --counter 16 --wanted 3 --best 200 --format rows"),
    ("report", "dw-timer --clock 18M --prescale 1,4,18 --counter 16 --wanted 50 --format json"),
    ("table", "dw-pwm --frequency 1k --duty 3/8 --modulate density --duration 20m"),
    ("table", "dw-smooth --stage l=330u,r=0.2,c=100u,esr=50m,rd=1,cd=220u --load 10 --drive one-switch --start steady pin.tsv"),
    ("table", "dw-motor --resistance 2 --inductance 1m --constant 20m --inertia 10u --supply 12 --drive one-switch "
              "--uniform 20k pin.tsv"),
    ("table", "dw-switch --kind bipolar --saturation 0.3 --forced-gain 20 --supply 12 --edge 1u --thermal r=1,tau=1m "
              "--start steady --uniform 50k repeats.tsv"),
    ("report", "dw-table --report --format json out.tsv"),
    ("report", "dw-measure --channel pin --levels 0:3.3 --band 1% --format rows out.tsv"),
    ("report", "dw-choose --frequency 60k --ripple 0.5lsb --settle 2m --load 1M --stages 1:2 --best 3"),
    ("report", "dw-choose --frequency 60k --ripple 20m --stages 1 --spread r=1%,c=10% --samples 20 --best 2 --format json"),
    ("report", "dw-choose --frequency 100k --high 12 --duty 40% --load 10 --ripple 1% --stages 0 --inductors E3 --capacitors E3 "
               "--range l=100u:300u,c=100u:300u --overshoot 40% --spread c=20%"),
    ("table", "dw-choose --frequency 60k --settle 5m --stages 1 --resistors E3 --capacitors E3 --front --curve"),
    ("report", "dw-choose --frequency 60k --ripple 0.5lsb --resistors drawer.txt --rank price --capacitors drawer-c.txt --print dw-smooth"),
    ("report", "dw-plot --output - --type svg --mean --title Tide --panel pin --panel out out.tsv"),
    ("report", "dw-plot --output - --type png --size 200x120 --y-scale dB --draw marks out.tsv"),
    ("report", "dw-plot --output - --type ps --size 300x200 --stack pin.tsv out.tsv"),
    ("report", "dw-plot --output - --type gif --frames --frame-time 100ms --size 200x120 --panel pin --range -1:6 pin.tsv out.tsv"),
]


def built():
    """The programs of this build."""
    return set(os.environ["PROGRAMS"].split())


def program_file(name):
    inner = os.path.join(BUILD, ".libs", name)
    return inner if os.path.exists(inner) else os.path.join(BUILD, name)


def words(command):
    name, *rest = command.split()
    return [program_file(name)] + rest


def environment(**more):
    """A small one, in which messages are the C locale's and our own library is found."""
    keep = {k: os.environ[k] for k in ("PATH", "HOME", "TMPDIR") if k in os.environ}
    return {**keep, "LC_ALL": "C", "SOURCE_DATE_EPOCH": "0", "LD_LIBRARY_PATH": os.path.join(BUILD, ".libs"), **more}


class workshop:
    """A scratch folder with the inputs; removed at the end."""

    def __enter__(self):
        self.folder = tempfile.mkdtemp(prefix="dutywright-faults-", dir=os.environ.get("TMPDIR"))
        for name, text in TEXTS.items():
            with open(os.path.join(self.folder, name), "w", encoding="ascii") as file:
                file.write(text)
        for name, command in INPUTS.items():
            with open(os.path.join(self.folder, name), "wb") as file:
                subprocess.run(words(command), cwd=self.folder, env=environment(), stdout=file, check=True,
                               stderr=subprocess.DEVNULL)
        return self

    def __exit__(self, *_):
        shutil.rmtree(self.folder)

    def inputs(self):
        """The files that were there at first."""
        return sorted([*INPUTS, *TEXTS])

    def run(self, command, **options):
        options.setdefault("env", environment())
        options.setdefault("stdin", subprocess.DEVNULL)
        options.setdefault("stdout", subprocess.PIPE)
        return subprocess.run(words(command), cwd=self.folder, stderr=subprocess.PIPE, timeout=LIMIT, **options)

    def failing(self, command, call, at, number, during=1, **more):
        """Runs with a call failing; gives the result, whether it came to that, and how many such calls were counted. `more`
        are further words for fail.c."""
        report, far = os.pipe()
        preload = environment(LD_PRELOAD=self.library(), FAIL_CALL=call, FAIL_AT=str(at), FAIL_FOR=str(during),
                              FAIL_ERRNO=str(number), FAIL_REPORT=str(far), **more)
        try:
            done = self.run(command, env=preload, pass_fds=[far])
        finally:
            os.close(far)
        with os.fdopen(report) as told:
            lines = told.read().split("\n")
        counts = [int(line.split()[1]) for line in lines if line.startswith("counted")]
        return done, "failed" in lines, counts[0] if counts else 0

    def library(self):
        path = os.path.join(self.folder, "fail.so")
        if not os.path.exists(path):
            source = os.path.join(os.path.dirname(os.path.abspath(__file__)), "fail.c")
            subprocess.run(os.environ.get("CC", "cc").split() + ["-std=gnu11", "-O1", "-Wall", "-Wextra", "-Werror", "-shared",
                           "-fPIC", "-o", path, source, "-ldl"], check=True)
        return path


def looks_whole(output):
    """Whether a reader would take the bytes for a whole table of ours."""
    head, mark, rows = output.partition(b"# rows: float64le\n")
    if mark:
        columns = next(line for line in head.split(b"\n") if line.startswith(b"# columns: ")).count(b"[")
        last = rows[-8 * columns:]
        return len(rows) % (8 * columns) == 0 and len(rows) > 0 and all(x != x for x in struct.unpack(f"<{columns}d", last))
    lines = output.split(b"\n")
    return len(lines) > 1 and lines[-1] == b"" and lines[-2].startswith(b"# end: ")


def crash(status):
    """What a negative status of subprocess means, '' for a program that ended by itself."""
    return signal.Signals(-status).name if status < 0 else ""


class judge:
    """Collects complaints; the exit status for main."""

    def __init__(self):
        self.complaints, self.looked = [], 0

    def demand(self, kept, complaint):
        self.looked += 1
        if not kept:
            self.complaints.append(complaint)
            print("FAILED " + complaint, flush=True)

    def clean_message(self, done, place):
        """One line on standard error, from the program, beside notes and cautions, and what the drawing library says by itself."""
        lines = done.stderr.decode("utf-8", "replace").splitlines()
        lines = [l for l in lines if not re.match("lib(plot|xmi): out of memory", l)]
        errors = [l for l in lines if not l.split(": ")[1:2] in (["note"], ["caution"])]
        name = os.path.basename(done.args[0])
        self.demand(len(errors) == 1 and errors[0].startswith(name + ": ") and len(errors[0]) > len(name) + 8,
                    f"{place}: no clean message but {lines}")
        return errors[0] if errors else ""

    def status(self):
        print(f"{self.looked} looked at, {len(self.complaints)} wrong")
        return 1 if self.complaints or not self.looked else 0


def commands():
    """The commands of the programs that are built."""
    there = built()
    chosen = [(kind, command) for kind, command in COMMANDS if command.split()[0] in there]
    missing = there - {command.split()[0] for _, command in chosen}
    if missing:
        print(f"no command of {', '.join(sorted(missing))} here: add one to tests/faults/harness.py")
        if LONG:
            sys.exit(1)
    return chosen


def spread(count, most, first=0):
    """1 to count; unless the long tests are wanted, the first ones and `most` of the others evenly. In the long ones, too,
    where there are thousands: the drawing library allocates a quarter of a million times."""
    if LONG:
        first, most = 1000, 1000
    left = count - first
    if left <= most:
        return range(1, count + 1)
    return [*range(1, first + 1), *sorted({first + 1 + i * (left - 1) // (most - 1) for i in range(most)})]
