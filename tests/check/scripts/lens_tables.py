"""Recomputes the lens tables that no publication prints. Plain Python, exact formulas, nothing of the product.

Prints, for each table, its file name and the rows it must hold.
"""
from math import pi, radians, sin, sqrt, tan


def radius_mm(power_d, index):
    """Radius of a surface of this power: r = 1000 (n - 1) / F."""
    return 1000 * (index - 1) / power_d


def sag_mm(radius, half_chord):
    """s = r - sqrt(r^2 - h^2), with the sign of the radius."""
    return radius - (1 if radius > 0 else -1) * sqrt(radius**2 - half_chord**2)


def beside_mm3(radius, half_chord):
    """What a cylinder as deep as the sag holds beside the spherical cap: pi h^2 s - pi s (3 h^2 + s^2) / 6."""
    sag = sag_mm(radius, half_chord)
    return pi * half_chord**2 * sag - pi * sag * (3 * half_chord**2 + sag**2) / 6


def sags():
    for power, index, half in [(6.00, 1.530, 35), (4.00, 1.530, 30)]:
        yield f"{power:.2f},{index:.3f},{half},{sag_mm(radius_mm(power, index), half):.3f}"


def tools():
    for index in ["1.586", "1.498", "1.60", "1.67"]:
        yield f"6.00,{index},{6.00 * (float(index) - 1) / 0.530:.2f}"


def edges():
    """The back takes what the front leaves, F2 = F - F1; edge = centre - front sag + back sag."""
    for power, index, front, centre, diameter in [
        (-4.00, 1.498, 4.00, 2.00, 60),
        (-6.00, 1.586, 3.00, 1.50, 60),
        (4.00, 1.498, 8.00, 5.84, 65),
    ]:
        half = diameter / 2
        edge = centre - sag_mm(radius_mm(front, index), half) + sag_mm(radius_mm(front - power, index), half)
        yield f"{power:.2f},{index},{front:.2f},{centre:.2f},{diameter},{edge:.2f}"


def weights():
    """A cylinder as thick as the centre, less what the front takes off, and what the back leaves on."""
    power, index, front, centre, diameter, density = -4.00, 1.498, 4.00, 2.00, 50, 1.32
    half = diameter / 2
    taken, left = (beside_mm3(radius_mm(f, index), half) for f in (front, front - power))
    volume = pi * half**2 * centre - taken + left
    yield f"{power:.2f},{index},{front:.2f},{centre:.2f},{diameter},{density},{volume:.0f},{volume * density / 1000:.2f}"


def tilts():
    """Martin: sphere S (1 + sin^2 t / 2n), cylinder S' tan^2 t about the axis of the tilt."""
    for sphere, index, degrees in [(-8.00, 1.5, 10), (-10.00, 1.5, 15), (-6.00, 1.498, 8)]:
        tilt = radians(degrees)
        worn = sphere * (1 + sin(tilt) ** 2 / (2 * index))
        yield f"{sphere:.2f},{index},{degrees},{worn:.2f},{worn * tan(tilt) ** 2:.2f}"


for name, table in [
    ("lens_sag.csv", sags),
    ("lens_tool.csv", tools),
    ("lens_edge.csv", edges),
    ("lens_weight.csv", weights),
    ("lens_tilt.csv", tilts),
]:
    print(f"# {name}")
    for row in table():
        print(row)
