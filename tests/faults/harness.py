# SPDX-License-Identifier: GPL-3.0-or-later
"""What the tests of faults share: how to run a command with something failing.

Commands run in the folder that `workshop` makes, where the inputs of ../programs/dw-*.commands are. A program is run as itself, not
through the build's wrapper script, so that only its own calls are made to fail.
"""
import os, re, shutil, signal, struct, subprocess, sys, tempfile

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), os.pardir, "programs"))
from commands import commands, programs

BUILD = os.environ.get("BUILDDIR", os.getcwd())  # of the programs
LONG = os.environ.get("LONG") == "yes"
SANITIZED = os.environ.get("SANITIZED") == "yes"
LIMIT = 60  # seconds a command may take before it counts as hanging
NO_MEMORY, SYSTEM = 3, 3

def trials():
    """Kind and command of all that is made to fail, and whether a program is new here, or all is wanted: what it does before
    it comes to its own work is the same each time. Kind is table or report."""
    seen = set()
    for line in commands("table", "report"):
        yield line.word, line.text, LONG or line.program not in seen
        seen.add(line.program)


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
        path = os.pathsep.join([os.path.join(BUILD, ".libs"), BUILD, os.environ["PATH"]])
        for line in commands("input"):
            with open(os.path.join(self.folder, line.more), "wb") as file:
                subprocess.run(["bash", "-c", line.text], cwd=self.folder, env=environment(PATH=path), stdout=file, check=True,
                               stderr=subprocess.DEVNULL)
        return self

    def __exit__(self, *_):
        shutil.rmtree(self.folder)

    def inputs(self):
        """The files that were there at first."""
        return sorted(line.more for line in commands("input"))

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


def spread(count, most, first=0):
    """1 to count; unless the long tests are wanted, the first ones and `most` of the others evenly. In the long ones, too,
    where there are thousands: the drawing library allocates a quarter of a million times."""
    if LONG:
        first, most = 1000, 1000
    left = count - first
    if left <= most:
        return range(1, count + 1)
    return [*range(1, first + 1), *sorted({first + 1 + i * (left - 1) // (most - 1) for i in range(most)})]
