"""Published packings of one shelf, to judge ours by. Lengths have no unit in the sources.

Equal circles in a circle: R. L. Graham, B. D. Lubachevsky, K. J. Nurmela, P. R. J. Ostergard,
"Dense packings of congruent circles in a circle", Discrete Mathematics 181 (1998) 139-154, and the
list kept up since by E. Specht; proven for up to 14 circles and for 19, best known for the others.

Rectangles in a circle: rect1 to rect3 from C. O. Lopez, J. E. Beasley, "Packing unequal rectangles
and squares in a fixed size circular container using formulation space search", Computers &
Operations Research 94 (2018) 106-117; rect100 and the largest areas of all sets from M. C. Bouzid
and S. Salhi, European Journal of Operational Research (2020). Choose and place rectangles to fill
the largest area; no spacing, quarter turns allowed. The areas are good values, not optimal ones.
"""

from dataclasses import dataclass

from firings.calculations.footprints import Footprint, Rectangle

# The least radius known of a circle around 1, 2, 3, ... circles of radius 1.
RADIUS_AROUND_UNIT_CIRCLES = (
    1.0,
    2.0,
    2.1547005383792515,
    2.414213562373095,
    2.7013016167040798,
    3.0,
    3.0,
    3.3047648709624866,
    3.613125929752753,
    3.8130256313981246,
    3.923804400163087,
    4.029601930116184,
    4.23606797749979,
    4.328428554860837,
    4.521356964706164,
    4.615425594873194,
    4.792033748310579,
    4.863703305156273,
    4.863703305156273,
    5.1223207369915285,
    5.252317475010242,
    5.439718959072214,
    5.545204222574858,
    5.651661091765437,
    5.752824330857115,
    5.82817653694295,
    5.906397847394154,
    6.0149380973715125,
    6.1385979039781455,
    6.197741070879226,
)


@dataclass(frozen=True)
class RectangleSet:
    """`container_radii` with the largest published area of each; sizes as width and height."""

    container_radii: tuple[float, float, float]
    areas: tuple[float, float, float]
    sizes: tuple[tuple[float, float], ...]


def _sizes(text: str) -> tuple[tuple[float, float], ...]:
    pairs = [pair.split("x") for pair in text.split()]
    return tuple((float(width), float(height)) for width, height in pairs)


RECTANGLE_SETS = {
    "rect1": RectangleSet(
        (2.95, 3.62, 4.18),
        (19.6702, 30.8746, 41.1612),
        _sizes(
            """
            1.1x1.61 2.2x1.08 1.68x1.46 1.82x2.61 2.7x2.57 3.21x2.21 2.99x3.51 3.68x3.42 4.62x3.36
            3.79x4.79
            """
        ),
    ),
    "rect2": RectangleSet(
        (4.33, 5.3, 6.12),
        (45.42, 71.2331, 95.2162),
        _sizes(
            """
            1.23x2.2 3.28x1.29 4.03x1.22 4.51x1.1 4.79x1.31 4.41x1.44 1.39x4.68 1.75x3.88
            1.68x4.45 2.72x3.01 3.72x2.31 2.33x3.71 2.26x3.92 2.19x4.45 4.15x2.56 2.6x4.69
            4.12x3.24 4.67x2.94 4.58x3.25 4.36x4.05
            """
        ),
    ),
    "rect3": RectangleSet(
        (5.08, 6.22, 7.18),
        (66.6947, 100.4537, 137.5277),
        _sizes(
            """
            1.54x1.55 1.27x1.89 1.24x2.05 2x1.34 2.42x1.11 1.78x1.8 2.76x1.27 2.1x1.82 4.37x1.02
            2.76x1.65 1.24x4.16 2.88x1.83 3.71x1.47 4.61x1.46 2.71x2.7 4.78x1.79 1.81x4.87
            1.82x4.93 3.62x2.58 2.23x4.9 3.16x3.47 2.9x3.84 3.76x3.14 3.96x3.09 3.96x3.15
            3.28x4.03 2.87x4.61 3.39x4.29 4.81x3.31 4.25x4.42
            """
        ),
    ),
    "rect100": RectangleSet(
        (10.0, 12.25, 14.14),
        (282.3465, 427.7879, 572.007),
        _sizes(
            """
            1.86x3.89 3.23x1.4 2.26x2.96 2.94x2.91 3.85x2.22 3.43x4.36 4.17x2.47 2.55x3.36
            3.5x3.18 4.9x3.5 4.73x1.05 2.34x4.39 4.05x2.64 1.24x3.83 3.72x4.9 3.89x1.3 3.02x4.39
            1.78x3.56 4.38x4.67 2.81x3.6 4.23x4.51 4.97x1.95 3.54x4.93 1.52x3.76 2x4.13 1.66x1.24
            4.96x2.92 3.19x2.16 1.94x4.95 1.01x2.69 4.89x3.42 4.06x4.83 3.82x2.31 4.78x2.44
            3.91x1.28 2.38x3.88 1.07x4.41 4.77x1.4 4.07x4.33 3.38x3.74 4.51x2.24 3.28x4.68
            3.15x2.18 4.3x4.82 2.58x1 1.18x2.71 3.46x3.81 4.95x1.61 3.95x3.65 3.46x3.89 4.69x3.17
            2.02x1.21 4.65x2.88 1.01x4.6 4.29x1.94 2.27x4.92 3.5x2.87 4.48x4.44 1.1x2.61 3.08x1.05
            2.26x4.54 2.69x2.8 3.36x2.89 1.44x1.72 3.98x1.89 3.84x2.31 3.03x2.85 1.82x1.48
            4.15x1.23 1.77x1.44 3.63x1.57 1.95x4.77 2.07x4.57 3.46x3.72 1.37x4.91 1.02x1.98
            1.1x3.37 2.18x3.96 4.76x2.9 3.46x3.2 3.1x1.68 2.4x4.84 2.58x4.72 4.51x3.25 3.73x4.91
            2.92x2.25 3.44x3.48 4.91x1.18 4.17x3.19 2.2x2.88 2.64x4.86 3.03x1.93 3.53x3.79
            2.54x2.17 1.68x1.87 1.58x1.16 1.77x3.35 2.9x4.45 2.12x3.78 3.24x3.05
            """
        ),
    ),
}


def in_hundredths(
    rectangle_set: RectangleSet, number: int
) -> tuple[int, float, dict[str, Footprint]]:
    """One container of a set in whole mm, a hundred to the unit: radius, published area, pieces."""
    pieces: dict[str, Footprint] = {
        f"r{index}": Rectangle(round(width * 100), round(height * 100))
        for index, (width, height) in enumerate(rectangle_set.sizes)
    }
    radius_mm = round(rectangle_set.container_radii[number] * 100)
    return radius_mm, rectangle_set.areas[number] * 10_000, pieces
