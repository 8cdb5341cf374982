# SPDX-License-Identifier: GPL-3.0-or-later
"""Running things: the project's programs as installed in the benchmark's folder, and benchmarks of the library."""
import os, shlex, subprocess, sys


class Wrong(Exception):
    """An answer was wrong or a command failed: nothing is to be said of its speed."""


def demand(holds, what):
    if not holds:
        raise Wrong(what)


class Shop:
    """folder: of the build. Data that jobs make stand in folder/data and are kept for the next run."""

    def __init__(self, folder, quick, rounds):
        self.folder, self.quick, self.rounds = folder, quick, rounds
        self.work = {}  # of benchmarks of the library that count it: {(job, side): units a run}
        self.tables = []  # of their own shape, printed below the one of all jobs
        self.data = os.path.join(folder, "data")
        os.makedirs(self.data, exist_ok=True)
        self.environment = dict(os.environ, PATH=os.path.join(folder, "root", "bin") + ":" + os.environ["PATH"], LC_ALL="C.UTF-8")
        self.weigher = os.path.join(folder, "tests", "bench", "weigh")

    def shell(self, command, quiet=True):
        """Standard output of a pipeline, which must succeed."""
        done = subprocess.run(["bash", "-euo", "pipefail", "-c", command], cwd=self.data, env=self.environment,
                              stdout=subprocess.PIPE, stderr=subprocess.PIPE if quiet else None)
        if done.returncode:
            raise Wrong(f"{command}: status {done.returncode}: {(done.stderr or b'').decode(errors='replace').strip()}")
        return done.stdout

    def weigh(self, command, source=None):
        """Runs one command, output to nowhere: (s of processor time, s, bytes of memory at most)."""
        read, write = os.pipe()
        with open(os.path.join(self.data, source) if source else os.devnull, "rb") as file:
            done = subprocess.run([self.weigher, str(write), *shlex.split(command)], cwd=self.data, env=self.environment, stdin=file,
                                  stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, pass_fds=[write])
        os.close(write)
        with os.fdopen(read) as file:
            numbers = file.read().split()
        if done.returncode or len(numbers) != 4 or int(numbers[3]):
            raise Wrong(f"{command}: {done.stderr.decode(errors='replace').strip()}")
        return float(numbers[0]), float(numbers[1]), int(numbers[2]) * 1024

    def library(self, name, rounds=None):
        """Runs a benchmark of the library: {(job, side): [s, ...]}, {(job, side): error}. Units of work stand in self.work."""
        program = os.path.join(self.folder, "tests", "bench", name)
        done = subprocess.run([program, str(rounds or self.rounds)], cwd=self.data, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        if done.returncode:
            raise Wrong(f"{name}: {done.stderr.strip()}")
        times, errors = {}, {}
        for line in done.stdout.splitlines():
            kind, job, side, value = line.split("\t")
            if kind == "time":
                times.setdefault((job, side), []).append(float(value))
            else:
                (self.work if kind == "work" else errors)[job, side] = float(value)
        return times, errors

    def made(self, name, command):
        """A file of data, made by a pipeline unless it is there already."""
        path = os.path.join(self.data, name)
        if not os.path.exists(path):
            print(f"bench: making {name}", file=sys.stderr)
            self.shell(f"{{ {command}; }} > {name}.new && mv {name}.new {name}")
        return path
