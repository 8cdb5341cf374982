# SPDX-License-Identifier: GPL-3.0-or-later
"""Sampled tones read by dw-spectrum against the four-parameter fit of IEEE Std 1057 made in SciPy, harmonics by least squares in
NumPy. Prints the cases that differ by more than 1e-9, and how many there were."""
import subprocess
import numpy
from scipy.optimize import least_squares

RATE = 8000.0


def fitted(x, angle):
    """Offset, cosine, sine and angle a sample about the middle: least squares from close by; then the lines at its multiples."""
    k = numpy.arange(len(x)) - (len(x) - 1) / 2
    scale = 1 / len(x)

    def model(p):
        return p[0] + p[1] * numpy.cos((angle + p[3] * scale) * k) + p[2] * numpy.sin((angle + p[3] * scale) * k)

    def slopes(p):
        c, s = numpy.cos((angle + p[3] * scale) * k), numpy.sin((angle + p[3] * scale) * k)
        return numpy.stack([numpy.ones_like(k), c, s, scale * k * (p[2] * c - p[1] * s)], axis=1)

    basis = numpy.stack([numpy.ones_like(k), numpy.cos(angle * k), numpy.sin(angle * k)], axis=1)
    start = numpy.append(numpy.linalg.lstsq(basis, x, rcond=None)[0], 0)
    p = least_squares(lambda q: model(q) - x, start, slopes, method="lm", xtol=1e-15, ftol=1e-15, gtol=1e-15).x
    w = angle + p[3] * scale
    return p, w, k


def harmonics(x, p, w, k, count):
    """Root sum square of harmonics 2 .. count over the fundamental."""
    if count < 2:
        return 0
    n = numpy.arange(1, count + 1)
    basis = numpy.hstack([numpy.ones((len(k), 1)), numpy.cos(numpy.outer(k, n * w)), numpy.sin(numpy.outer(k, n * w))])
    lines = numpy.linalg.lstsq(basis, x, rcond=None)[0]
    return numpy.hypot(lines[2:1 + count], lines[2 + count:]).dot(numpy.hypot(lines[2:1 + count], lines[2 + count:])) ** 0.5 / numpy.hypot(p[1], p[2])


def read(x):
    rows = "".join("%.17g %.17g\n" % (i / RATE, v) for i, v in enumerate(x))
    table = "# wave-table 1\n# sampled: %g\n# columns: time[s] probe[V]\n%s# end: %d\n" % (RATE, rows, len(x))
    out = subprocess.run(["dw-spectrum", "--report", "--quiet", "--format", "rows"], input=table, text=True, check=True, stdout=subprocess.PIPE)
    return {line.split("\t")[1]: float(line.split("\t")[2]) for line in out.stdout.splitlines()}


def main():
    random = numpy.random.default_rng(1057)
    cases = 0
    for a_period in (3.7, 4, 10.3, 20, 49):
        for count in (round(20 * a_period), int(20.27 * a_period)):
            for kind in ("plain", "8 bits", "12 bits", "noise"):
                x = 1.65 + 1.6 * numpy.cos(2 * numpy.pi * numpy.arange(count) / a_period + 0.7)
                if kind == "noise":
                    x += 0.016 * random.standard_normal(count)
                elif kind != "plain":
                    lsb = 3.3 / 2 ** int(kind.split()[0])
                    x = lsb * (numpy.floor(x / lsb) + 0.5)
                p, w, k = fitted(x, 2 * numpy.pi / a_period)
                found = read(x)
                lines = sum(name.startswith("amplitude-") for name in found)
                phase = numpy.angle((p[1] - 1j * p[2]) * numpy.exp(1j * w * k[0]))
                off = {"frequency": found["fundamental"] / (w * RATE / 2 / numpy.pi) - 1,
                       "amplitude": found["amplitude-1"] / numpy.hypot(p[1], p[2]) - 1,
                       "phase": numpy.angle(numpy.exp(1j * (numpy.radians(found["phase-1"]) - phase))),
                       "mean": found["mean"] / p[0] - 1,
                       "thd": found["thd"] - harmonics(x, p, w, k, lines)}
                cases += 1
                for name, by in off.items():
                    if abs(by) > 1e-9:
                        print("%g a period, %d samples, %s: %s off by %g" % (a_period, count, kind, name, by))
    print(cases)


main()
