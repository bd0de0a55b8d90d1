"""Prints tests/check/tables/fitted_splines.csv: splines through points, by SciPy's CubicSpline. Needs SciPy.

A spline that is given by the points it passes alone is a cubic whose parameter is the length of the chords; an end has no
curvature, or the direction that is stated, or the line closes smoothly (periodic). So the documentation of ezdxf 1.4 says of
CAD programs (`fit_points_to_cad_cv`), but for closed ones, which it does not name.

The line is a superellipse with three waves, 41 points on it at uneven angles, and places on the spline between them.
"""

import math
import sys

try:
    import numpy
    from scipy.interpolate import CubicSpline
except ImportError:
    print("SciPy is needed", file=sys.stderr)
    sys.exit(77)


def point(t):
    around = (abs(math.cos(t)) / 26.7) ** 2.6 + (abs(math.sin(t)) / 17.9) ** 2.6
    waves = 0.018 * math.cos(t - 2.3) + 0.022 * math.cos(3 * t - 0.6) + 0.008 * math.sin(5 * t + 1)
    r = around ** (-1 / 2.6) * (1 + waves)
    return round(r * math.cos(t), 4), round(r * math.sin(t), 4)


COUNT = 41
POINTS = [point(2 * math.pi * (i + 0.15 * math.sin(1.7 * i)) / COUNT) for i in range(COUNT)]
LOOP = numpy.array(POINTS + POINTS[:1])
STARTS, ENDS = (0.09, 1.0), (0.05, 1.0)


def unit(x, y):
    return numpy.array([x, y]) / math.hypot(x, y)


def main():
    chords = numpy.hypot(*numpy.diff(LOOP, axis=0).T)
    lengths = numpy.concatenate([[0], numpy.cumsum(chords)])
    cases = {
        "free": "natural",
        "stated": ((1, unit(*STARTS)), (1, unit(*ENDS))),
        "closed": "periodic",
    }
    print("# SciPy CubicSpline by chord length; scripts/fitted_splines.py")
    print("name,kind,x,y")
    for name, ends in cases.items():
        for x, y in POINTS if name == "closed" else LOOP:
            print(f"{name},point,{x:.4f},{y:.4f}")
        if name == "stated":
            print(f"{name},start,{STARTS[0]:.4f},{STARTS[1]:.4f}\n{name},end,{ENDS[0]:.4f},{ENDS[1]:.4f}")
        spline = CubicSpline(lengths, LOOP, bc_type=ends)
        for i, chord in enumerate(chords):
            for share in (0.21, 0.5, 0.83):
                x, y = spline(lengths[i] + share * chord)
                print(f"{name},place,{x:.4f},{y:.4f}")


main()
