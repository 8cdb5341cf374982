# SPDX-License-Identifier: GPL-3.0-or-later
"""What a benchmark found: medians and spreads, one aligned table, a file of it, and two files side by side."""
import statistics

# Of what is kept, one line each; docs: DEVELOPERS.md.
FIELDS = ["job", "quantity", "value", "spread", "unit", "target", "met"]


def spread(values):
    """Share of the median within which the middle half of the runs lies; of fewer than four runs, all of them."""
    middle = statistics.median(values)
    if len(values) < 4:
        low, high = min(values), max(values)
    else:
        low, _, high = statistics.quantiles(values, n=4, method="inclusive")
    return (high - low) / middle if middle else 0.0


def short(value, unit):
    """Three digits and a prefix."""
    if unit in ("s", "B", "/s", "B/s"):
        for factor, prefix in ((1e9, "G"), (1e6, "M"), (1e3, "k"), (1, ""), (1e-3, "m"), (1e-6, "u"), (1e-9, "n")):
            if abs(value) >= factor or factor == 1e-9:
                scaled = value / factor
                return f"{scaled:.{max(0, 2 - len(str(int(abs(scaled)))) + 1)}f} {prefix}{unit}"
    return f"{value:.3g}{' ' + unit if unit else ''}"


class Finding:
    """One row of the table: ours, and the other where there is one.
    ours, other  values of all runs, pairs in order; the other may be None
    more         True: more is better (a rate)
    least_ratio  target: the other's time over ours, or our rate over its, at least this
    most         target: ours at most this
    over         for the table: over how much less work the other's time was taken, if it was
    kept_only    for the file: no row of the table"""

    def __init__(self, job, what, unit, ours, other=None, other_name="", more=False, least_ratio=None, most=None, note="",
                 over="", kept_only=False):
        self.job, self.what, self.unit, self.note, self.over, self.kept_only = job, what, unit, note, over, kept_only
        self.ours, self.other, self.other_name = statistics.median(ours), None, other_name
        self.ours_spread = self.spread = spread(ours)
        self.ratio = None
        if other:
            ratios = [a / b if more else b / a for a, b in zip(ours, other)]
            self.other, self.other_spread = statistics.median(other), spread(other)
            self.ratio, self.spread = statistics.median(ratios), spread(ratios)
        self.target = f">= {least_ratio:.4g} x" if least_ratio else f"<= {short(most, unit)}" if most else ""
        self.met = None
        if least_ratio:
            self.met = self.ratio >= least_ratio
        elif most:
            self.met = self.ours <= most

    def verdict(self):
        return {None: "", True: "met", False: "MISSED"}[self.met]

    def row(self):
        return [f"{self.job}: {self.what}", short(self.ours, self.unit),
                f"{self.other_name} {short(self.other, self.unit)}" + (f" ({self.over})" if self.over else "") if self.other else "",
                f"{self.ratio:.3g} x" if self.ratio else "", f"{100 * self.spread:.0f} %", self.target, self.verdict()]

    def lines(self):
        """For the file: the time or rate of each side, and the ratio."""
        name = f"{self.job}: {self.what}"
        only = self.ratio is None
        lines = [[name, "ours", self.ours, self.ours_spread, self.unit, self.target if only else "", self.verdict() if only else ""]]
        if not only:
            lines.append([name, self.other_name, self.other, self.other_spread, self.unit, "", ""])
            lines.append([name, f"ratio to {self.other_name}", self.ratio, self.spread, "1", self.target, self.verdict()])
        return lines


def aligned(rows):
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    return "\n".join("  ".join(cell.ljust(width) for cell, width in zip(row, widths)).rstrip() for row in rows)


def table(findings):
    text = aligned([["job", "ours", "the other", "ratio", "spread", "target", ""]] + [finding.row() for finding in findings if not finding.kept_only])
    notes = [f"{finding.job}: {finding.note}" for finding in findings if finding.note]
    return "\n".join([text, "", *notes]) if notes else text


def save(path, circumstances, findings):
    with open(path, "w", encoding="utf-8") as file:
        for key, value in circumstances:
            file.write(f"# {key}: {value}\n")
        file.write("\t".join(FIELDS) + "\n")
        written = set()
        for finding in findings:
            for job, quantity, value, part, unit, target, met in finding.lines():
                if (job, quantity) in written:
                    continue  # ours stands beside several others
                written.add((job, quantity))
                file.write("\t".join([job, quantity, f"{value:.6g}", f"{part:.3g}", unit, target, met]) + "\n")


def load(path):
    """Circumstances as {key: value}, and {(job, quantity): (value, spread, unit)} in order."""
    circumstances, kept, title = {}, {}, None
    with open(path, encoding="utf-8") as file:
        for number, line in enumerate(file, 1):
            line = line.rstrip("\n")
            if line.startswith("#"):
                key, _, value = line[1:].strip().partition(": ")
                circumstances[key] = value
            elif title is None:
                title = line.split("\t")
                if title != FIELDS:
                    raise ValueError(f"{path}, line {number}: expected the columns {' '.join(FIELDS)}")
            else:
                fields = line.split("\t")
                if len(fields) != len(FIELDS):
                    raise ValueError(f"{path}, line {number}: {len(fields)} fields where {len(FIELDS)} were expected")
                kept[fields[0], fields[1]] = float(fields[2]), float(fields[3]), fields[4]
    return circumstances, kept


def compare(old, new):
    """The table of two results: a change counts where it is more than both spreads together."""
    rows = [["job", "quantity", "old", "new", "change", "spreads", ""]]
    for key, (value, part, unit) in new.items():
        if key not in old:
            rows.append([*key, "", short(value, unit), "", "", "new"])
            continue
        before, before_part, _ = old[key]
        change, noise = value / before - 1, part + before_part
        rows.append([*key, short(before, unit), short(value, unit), f"{100 * change:+.0f} %", f"{100 * noise:.0f} %",
                     "beyond the spread" if abs(change) > noise else ""])
    rows += [[*key, short(old[key][0], old[key][2]), "", "", "", "not run"] for key in old if key not in new]
    return aligned(rows)
