"""Writes the pictures of tests/corpus/pictures with Pillow, without Rimbook.

A lens of 44 by 34 mm (a superellipse of power 2.5) lies on dark cloth, at 100 dots for each inch; in one picture a card of
85.6 by 54 mm lies beside it, and one shows an empty rim. The pictures are small, so that a test can damage many.
"""

import math
import pathlib
import sys

try:
    from PIL import Image, ImageDraw
except ImportError:
    print("Pillow is needed", file=sys.stderr)
    sys.exit(77)

DPI = 100
FINE = 6
POWER = 2.5


def px(mm):
    return mm / 25.4 * DPI


def superellipse(middle, wide, high):
    def part(value):
        return math.copysign(abs(value) ** (2 / POWER), value)

    turns = [2 * math.pi * i / 720 for i in range(720)]
    points = [(middle[0] + wide / 2 * part(math.cos(t)), middle[1] + high / 2 * part(math.sin(t))) for t in turns]
    return [(px(x) * FINE, px(y) * FINE) for x, y in points]


def draw(wide, high, things):
    picture = Image.new("L", (round(px(wide)) * FINE, round(px(high)) * FINE), 60)
    pen = ImageDraw.Draw(picture)
    for thing in things:
        thing(pen)
    return picture.resize((round(px(wide)), round(px(high))), Image.Resampling.BOX)


def lens(middle):
    def put(pen):
        pen.polygon(superellipse(middle, 44, 34), fill=225)

    return put


def rim(middle):
    def put(pen):
        pen.polygon(superellipse(middle, 48, 38), fill=20)
        pen.polygon(superellipse(middle, 44, 34), fill=225)

    return put


def card(left, top):
    def put(pen):
        corners = [px(value) * FINE for value in (left, top, left + 85.6, top + 53.98)]
        pen.rounded_rectangle(corners, radius=px(3.18) * FINE, fill=240)

    return put


def main():
    folder = pathlib.Path(sys.argv[1] if len(sys.argv) > 1 else pathlib.Path(__file__).parents[2] / "corpus" / "pictures")
    folder.mkdir(parents=True, exist_ok=True)
    scan = draw(58, 52, [lens((28.5, 25.5))])
    of_rim = draw(58, 52, [rim((28.5, 25.5))])
    photo = draw(96, 105, [card(5, 45), lens((47, 22))])
    stated = {"dpi": (DPI, DPI)}
    exif = Image.Exif()
    exif[0x0112] = 6
    scan.save(folder / "gray.png", **stated)
    scan.quantize(8).save(folder / "palette.png", bits=4, **stated)
    clear = Image.merge("RGBA", [scan, scan, scan.point(lambda v: v * 3 // 4), scan.point(lambda v: 255 - v // 8)])
    clear.save(folder / "with_alpha.png", **stated)
    scan.convert("I;16").point(lambda v: v * 257).save(folder / "sixteen_bit.png", **stated)
    of_rim.save(folder / "rim.png", **stated)
    photo.save(folder / "card.png")
    clear.convert("RGB").save(folder / "color.jpg", quality=75, **stated)
    scan.save(folder / "turned_progressive.jpg", quality=75, progressive=True, exif=exif, **stated)
    scan.save(folder / "gray.tif", **stated)
    clear.convert("RGB").save(folder / "lzw.tif", compression="tiff_lzw", **stated)
    scan.save(folder / "deflate.tif", compression="tiff_adobe_deflate", **stated)
    scan.save(folder / "packbits.tif", compression="packbits", **stated)
    scan.quantize(16).save(folder / "palette.bmp", **stated)


main()
