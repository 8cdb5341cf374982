# SPDX-License-Identifier: GPL-3.0-or-later
"""What tests and benchmarks run of each program: tests/programs/dw-NAME.commands.

    table: COMMAND               writes a table, in a folder with all the inputs below
    report: COMMAND              writes anything else to standard output
    reader: COMMAND              reads a table from standard input
    peak: PIPELINE               takes little memory, however many {periods} pass, or {fewer} where each gives many rows
    scale INPUT, TITLE: COMMAND  takes time in proportion to its rows; INPUT is a kind of tests/bench/scale.py or none, for
                                 what makes {periods} by itself; TITLE tells several of a program apart
    input FILE: COMMAND          makes FILE for the tests of faults
    example FILE: COMMAND        makes FILE for the examples that --help shows
    no WORD, WORD: REASON        stands for a reader, peak or scale that the program cannot have

A line that begins with blanks goes on with the one before. Every program has a table or a report, and of the others that a
`no` may stand for one or its `no`; for peak, a pipeline of another program counts as well.
"""
import collections, glob, os, re, sys

FOLDER = os.path.dirname(os.path.abspath(__file__))
WORDS = {"table", "report", "reader", "peak", "scale", "input", "example", "no"}
Line = collections.namedtuple("Line", "program word more text")  # more: what stands between word and colon


def programs():
    """All of them, in the order of Makefile.am; where no test of the build asks, those that have a file."""
    return os.environ.get("PROGRAMS", "").split() or [os.path.basename(path)[:-9] for path in sorted(glob.glob(f"{FOLDER}/*.commands"))]


def read(program):
    path, lines = os.path.join(FOLDER, program + ".commands"), []
    if not os.path.exists(path):
        sys.exit(f"{program}: tests/programs/{program}.commands is missing; {os.path.basename(__file__)} says what it holds")
    with open(path, encoding="utf-8") as file:
        for line in re.sub(r"\n +", " ", file.read()).splitlines():
            head, _, text = line.partition(": ")
            word, _, more = head.partition(" ")
            if line and not line.startswith("#"):
                if word not in WORDS or not text:
                    sys.exit(f"{path}: neither comment nor WORD: COMMAND: {line}")
                lines.append(Line(program, word, more, text))
    return lines


def lacks(program, lines):
    """What a program has neither a command nor an excuse for."""
    excused = {word for line in lines if line.program == program and line.word == "no" for word in line.more.split(", ")}
    has = {line.word for line in lines if line.program == program}
    has |= {"peak" for line in lines if line.word == "peak" and f"{program} " in line.text + " "}
    return [want for want in ("table or report", "reader", "peak", "scale") if not set(want.split(" or ")) & (has | excused)]


def commands(*words):
    """The lines of these words, of all programs."""
    lines = [line for program in programs() for line in read(program)]
    for program in programs():
        for want in lacks(program, lines):
            sys.exit(f"{program}: tests/programs/{program}.commands has no {want}")
    return [line for line in lines if line.word in words]
