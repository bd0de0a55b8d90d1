"""Writes the trace files of tests/corpus/records, without Rimbook.

The shape is an ellipse of 52 by 38 mm, r = 1 / hypot(cos t / 26, sin t / 19), mirrored onto itself. The layout of the
records is that of ISO 16284 and its binary forms, from memory; the checksum is that of Python's binascii (polynomial
1021, start value FFFF).
"""

import binascii
import math
import pathlib
import struct
import sys

RESERVED = {0x06, 0x0A, 0x0D, 0x11, 0x13, 0x15, 0x1B, 0x1C, 0x1D, 0x1E}


def radius(deg):
    t = math.radians(deg)
    return round(100 / math.hypot(math.cos(t) / 26, math.sin(t) / 19))


def equal(n):
    return [radius(360 * i / n) for i in range(n)]


def lines(label, numbers, ten=10, end="\r\n"):
    rows = [numbers[i:i + ten] for i in range(0, len(numbers), ten)]
    return "".join(f"{label}={';'.join(map(str, row))}{end}" for row in rows)


def escaped(data):
    out = bytearray()
    for byte in data:
        out += bytes([0x1B, byte | 0x80]) if byte in RESERVED else bytes([byte])
    return bytes(out)


def binary(numbers, order="<"):
    return b"".join(struct.pack(order + "h", n) for n in numbers)


def differences(numbers):
    out = struct.pack("<h", numbers[0])
    for last, n in zip(numbers, numbers[1:]):
        d = n - last
        out += struct.pack("b", d) if -127 <= d <= 127 else b"\x80" + struct.pack("<h", n)
    return out


def packed(numbers):
    halves = [int(c, 16) for c in struct.pack("<h", numbers[0]).hex()]
    for last, n in zip(numbers, numbers[1:]):
        d = n - last
        if -7 <= d <= 7:
            halves.append(d & 15)
        elif -127 <= d <= 127:
            halves += [8] + [int(c, 16) for c in struct.pack("b", d).hex()]
        else:
            halves += [8, 8, 0] + [int(c, 16) for c in struct.pack("<h", n).hex()]
    halves += [0] * (len(halves) % 2)
    return bytes(16 * a + b for a, b in zip(halves[::2], halves[1::2]))


def parts(label, data, length):
    """A list in several records; an escape is not cut."""
    out, rest = b"", escaped(data)
    while rest:
        cut = length + 1 if rest[:length].endswith(b"\x1b") else length
        out, rest = out + label + b"=" + rest[:cut] + b"\r\n", rest[cut:]
    return out


def both(form, data, count=400):
    out = b"REQ=FIL\r\nJOB=\"1042\"\r\nDO=B\r\nDBL=18.00\r\nHBOX=52.00;52.00\r\nVBOX=38.00;38.00\r\n"
    for side in "RL":
        out += f"TRCFMT={form};{count};E;{side};F\r\n".encode() + data.replace(b"SIDE", side.encode())
    return out


def files():
    r = equal(400)
    yield "both_eyes.txt", both(1, lines("R", r).encode())
    yield "binary.dat", both(2, b"R=" + escaped(binary(r)) + b"\r\n")
    yield "binary_high_first.dat", both(2, b"R=" + escaped(binary(r, ">")) + b"\r\n")
    yield "binary_not_escaped.dat", both(2, b"R=" + binary(r) + b"\r\n")
    yield "differences.dat", both(3, b"R=" + escaped(differences(r)) + b"\r\n")
    yield "packed.dat", both(4, b"R=" + escaped(packed(r)) + b"\r\n")
    # Few points, so that a half byte and a byte are too short for most steps; an odd count; lists in several records.
    coarse = equal(31)
    yield "coarse_differences.dat", both(3, parts(b"R", differences(coarse), 19), 31)
    yield "coarse_packed.dat", both(4, parts(b"R", packed(coarse), 19), 31)
    angles = [round(100 * (360 * i / 360 + 0.3 * math.sin(i))) + 40 for i in range(360)]
    one = "TRCFMT = 1;360 ; U;L; P\n" + lines("A", angles, 7, "\n") + lines("R", [radius(a / 100) for a in angles], 12, "\r")
    yield "unequal_mixed_ends.txt", ("_PRIVATE=kept as it is\rJOB=B-7/2\n" + one).encode()
    z = [round(-100 * (88.33 - math.sqrt(88.33 ** 2 - (n / 100) ** 2))) for n in r]
    depth = lines("Z", z).encode()
    yield "depth.txt", both(1, lines("R", r).encode() + b"ZFMT=1;400;E;SIDE;F\r\n" + depth)
    thick = b"STHKFMT=1;72;E;SIDE\r\n" + lines("R", equal(72)).encode() + lines("T", [200 + i for i in range(72)]).encode()
    yield "other_sets.txt", both(1, lines("R", r).encode() + thick) + b"DRILLE=B;C;-22.00;3.00;1.40\r\n"
    records = both(1, lines("R", r).encode())
    crc = binascii.crc_hqx(records, 0xFFFF)
    yield "message.dat", b"\x1c" + records + b"\x1eCRC=" + str(crc).encode() + b"\r\n\x1d"
    yield "table.csv", ("angle;R;L\n" + "".join(f"{i};{radius(i) / 100:.2f};{radius(i) / 100:.2f}\n" for i in range(360))).encode()


if __name__ == "__main__":
    folder = pathlib.Path(sys.argv[1] if len(sys.argv) > 1 else pathlib.Path(__file__).parents[2] / "corpus" / "records")
    for name, data in files():
        (folder / name).write_bytes(data)
