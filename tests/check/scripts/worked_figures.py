"""Recomputes single figures that tests hold and no publication prints. Plain Python, nothing of the product.

Prints one figure a line, as `tables/worked_figures.csv` holds it: name, figure.
"""
from math import cos, hypot, pi, radians, sin, sqrt, tan


def smallest_blank(points, right, up):
    """Diameter of the circle about the optical centre that holds the outline."""
    return 2 * max(hypot(x - right, y - up) for x, y in points)


def ellipse(a, b, count=100_000):
    return [(a / 2 * cos(2 * pi * i / count), b / 2 * sin(2 * pi * i / count)) for i in range(count)]


def rectangle(a, b):
    return [(x * a / 2, y * b / 2) for x in (-1, 1) for y in (-1, 1)]


def rule_of_thumb(points, right, up):
    """Effective diameter and twice the decentration."""
    return 2 * max(hypot(x, y) for x, y in points) + 2 * hypot(right, up)


def dot(a, b):
    return sum(x * y for x, y in zip(a, b))


def along(point, direction, length):
    return tuple(p + length * d for p, d in zip(point, direction))


def unit(v):
    size = sqrt(dot(v, v))
    return tuple(x / size for x in v)


def meet(point, direction, centre, radius, near):
    """Where a ray meets a sphere, on the side of the vertex `near`."""
    to = tuple(p - c for p, c in zip(point, centre))
    b, c = dot(to, direction), dot(to, to) - radius**2
    root = sqrt(b * b - c)
    hits = [along(point, direction, s) for s in (-b - root, -b + root)]
    return min(hits, key=lambda hit: sum((h - n) ** 2 for h, n in zip(hit, near)))


def refract(direction, normal, ratio):
    """Snell in space: the part along the surface is scaled by n / n'."""
    cosine = dot(direction, normal)
    if cosine < 0:
        normal, cosine = tuple(-n for n in normal), -cosine
    beside = tuple(ratio * (d - cosine * n) for d, n in zip(direction, normal))
    return unit(along(beside, normal, sqrt(1 - dot(beside, beside))))


def worn_power(order, panto, wrap, index=1.6, front=3.0, centre_mm=1.5):
    """Power matrix of a tilted lens as worn: the slopes of rays that leave beside the line of sight (0, 0, 1).

    The lens turns about its back vertex: by the wrap about the vertical, then by the panto about the horizontal. `order`
    is the back vertex power along the axes of the lens: horizontal, oblique, vertical. The back is the paraboloid of its
    curvatures, since the line of sight passes through its vertex.
    """
    r1 = 1000 * (index - 1) / front
    at_back = front / (1 - centre_mm / 1000 / index * front)
    per_mm = [(at_back * one - power) / 1000 / (index - 1) for one, power in zip((1, 0, 1), order)]
    p, w = radians(panto), radians(wrap)
    # The lens's own directions: to the right, up, from its front to its back.
    axes = [
        (cos(w), sin(p) * sin(w), -cos(p) * sin(w)),
        (0.0, cos(p), sin(p)),
        (sin(w), -sin(p) * cos(w), cos(p) * cos(w)),
    ]
    into = lambda v: tuple(dot(v, axis) for axis in axes)
    out = lambda v: tuple(sum(x * axis[i] for x, axis in zip(v, axes)) for i in range(3))

    def outgoing(start, direction):
        """One ray through the lens, in the lens's own directions; the front vertex stands centre_mm before the origin."""
        point, ray = into(start), into(direction)
        hit = meet(point, ray, (0, 0, r1 - centre_mm), abs(r1), (0, 0, -centre_mm))
        inside = refract(ray, unit(tuple(h - c for h, c in zip(hit, (0, 0, r1 - centre_mm)))), 1 / index)
        xx, xy, yy = per_mm
        slope = lambda q: (xx * q[0] + xy * q[1], xy * q[0] + yy * q[1])
        for _ in range(6):
            gx, gy = slope(hit)
            miss = hit[2] - (gx * hit[0] + gy * hit[1]) / 2
            hit = along(hit, inside, -miss / (inside[2] - gx * inside[0] - gy * inside[1]))
        gx, gy = slope(hit)
        return out(hit), out(refract(inside, unit((-gx, -gy, 1.0)), index))

    # The incoming direction whose ray leaves along the line of sight through the back vertex, by correction.
    def leaves(direction):
        # Started so that the ray meets the back near its vertex.
        start = along((0.0, 0.0, 0.0), unit(direction), -100)
        for _ in range(6):
            hit, leaving = outgoing(start, unit(direction))
            start = (start[0] - hit[0], start[1] - hit[1], start[2])
        return start, leaving

    tilt = [0.0, 0.0]
    for _ in range(8):
        start, leaving = leaves((tilt[0], tilt[1], 1.0))
        tilt = [tilt[0] - leaving[0] / leaving[2], tilt[1] - leaving[1] / leaving[2]]
    chief = unit((tilt[0], tilt[1], 1.0))
    # Rays parallel to it, started beside it: their places and slopes in the plane of the back vertex.
    rows = []
    for beside in [(0.01, 0.0), (0.0, 0.01)]:
        two = []
        for sign in (-1, 1):
            hit, leaving = outgoing((start[0] + sign * beside[0], start[1] + sign * beside[1], start[2]), chief)
            slope = (leaving[0] / leaving[2], leaving[1] / leaving[2])
            two.append((hit[0] - hit[2] * slope[0], hit[1] - hit[2] * slope[1], *slope))
        rows.append([b - a for a, b in zip(*two)])
    # slope = -W place, in dioptres with places in mm.
    (x1, y1, a1, b1), (x2, y2, a2, b2) = rows
    det = x1 * y2 - x2 * y1
    return [
        [-1000 * (a1 * y2 - a2 * y1) / det, -1000 * (x1 * a2 - x2 * a1) / det],
        [-1000 * (b1 * y2 - b2 * y1) / det, -1000 * (x1 * b2 - x2 * b1) / det],
    ]


def oblique_cylinder_worn(panto, wrap):
    """Martin for each tilt by itself gives no oblique power; by exact rays a strong lens has some."""
    matrix = worn_power((-15.0, 0.0, -15.0), panto, wrap)
    return abs(matrix[0][1] + matrix[1][0])


def oblique_cylinder_ordered(panto, wrap):
    """What the order must have of it, so that the lens is -15.00 as worn."""
    order = [-15.0, 0.0, -15.0]
    for _ in range(12):
        (xx, xy), (yx, yy) = worn_power(order, panto, wrap)
        order = [o + w - g for o, w, g in zip(order, (-15.0, 0.0, -15.0), (xx, (xy + yx) / 2, yy))]
    return abs(2 * order[1])


def tyre_and_barrel(x, y, flat_d, steep_d, index):
    """Two toric surfaces of the same two powers: the steep arc revolved, or the flat one. Their sags differ."""
    flat, steep = (1000 * (index - 1) / d for d in (flat_d, steep_d))
    sag = lambda r, h: r - sqrt(r * r - h * h)
    tyre = flat - sqrt((flat - sag(steep, y)) ** 2 - x * x)
    barrel = steep - sqrt((steep - sag(flat, x)) ** 2 - y * y)
    return abs(tyre - barrel)


def martin(sphere, index, degrees):
    tilt = radians(degrees)
    worn = sphere * (1 + sin(tilt) ** 2 / (2 * index))
    return worn, worn * tan(tilt) ** 2


outlines = {"ellipse 50 x 40": ellipse(50, 40), "rectangle 50 x 30": rectangle(50, 30)}
for name, outline in outlines.items():
    print(f"smallest blank of {name} 4 in 2 up,{smallest_blank(outline, 4, 2):.2f}")
    print(f"rule of thumb of {name} 4 in 2 up,{rule_of_thumb(outline, 4, 2):.2f}")
print(f"0.05 on the radius is on the circumference,{2 * pi * 0.05:.2f}")
sphere, cylinder = martin(-8.0, 1.5, 10)
print(f"-8.00 at 10 degrees of panto,{sphere:.2f} {cylinder:.2f}")
for panto, wrap in [(8, 6), (10, 15)]:
    print(f"oblique cylinder of -15.00 worn at {panto} and {wrap} degrees,{oblique_cylinder_worn(panto, wrap):.2f}")
    print(f"oblique cylinder ordered for -15.00 at {panto} and {wrap} degrees,{oblique_cylinder_ordered(panto, wrap):.2f}")
# The strongest cylinder of the tests, -2.00 -6.00 behind a front of 4.00 at 1.5, at the corner of a large box.
print(f"tyre against barrel 18 and 18 mm out,{tyre_and_barrel(18, 18, 6.0, 12.0, 1.5):.2f}")
