"""Malformed inputs made of sound ones, the same for the same random numbers."""

from __future__ import annotations

import json
import random

HOSTILE = (
    "\x1b[2J", "\x1b]0;title\x07", "\x9b31m", "\r", "\x08\x08\x08", "\n", "\npassed: 99 passed\n", "\x00", "\x7f",
    "\u202e", "\u2066", "\u2028", "\u2029", "\ufeff", "\u200f", "\U000e0041",
    "=cmd|' /C calc'!A0", "@SUM(A1)", "\"><script>alert(1)</script>", "<meta http-equiv=refresh content=0>", "</style><h1>", "&lt;",
    "../../x", "%s%n", "\\u0000", "'; --", "\u0416" * 50, "\U0001f600",
)
"""Text that does something where it is shown or used."""

NUMBERS = ("0", "-1", "-0", "1e400", "-1e400", "1e-400", "NaN", "Infinity", "9" * 400, "0." + "0" * 400 + "1", "18446744073709551616", "1.5", "1e308", "0x10", "1_000", "+1", "01", "1.", ".5", "--1", "\u0663")

LARGE = 1 << 20
"""Length of the piece that is repeated to make an input large."""


def any_text(sound: bytes, chance: random.Random) -> bytes:
    """Changes that know nothing of the format."""
    text = bytearray(sound)

    def cut():
        begin = chance.randrange(len(text) + 1)
        return begin, min(len(text), begin + chance.choice((1, 1, 2, 5, 40, 400)))

    def flip():
        for _ in range(chance.choice((1, 1, 2, 8))):
            if text:
                text[chance.randrange(len(text))] = chance.randrange(256)

    def remove():
        begin, end = cut()
        del text[begin:end]

    def double():
        begin, end = cut()
        text[end:end] = text[begin:end] * chance.choice((1, 1, 2, 1000))

    def insert():
        at = chance.randrange(len(text) + 1)
        text[at:at] = chance.choice((*(part.encode() for part in HOSTILE), *(number.encode() for number in NUMBERS), b"\xff", b"\xed\xa0\x80", b'"', b"{", b"[", b",", b":", b"\\", b"\t", b";"))

    def shorten():
        del text[chance.randrange(len(text) + 1) :]

    def swap():
        lines = bytes(text).splitlines(keepends=True)
        if len(lines) > 1:
            i, j = chance.randrange(len(lines)), chance.randrange(len(lines))
            lines[i], lines[j] = lines[j], lines[i]
            text[:] = b"".join(lines)

    def replace():
        readable = bytes(text).decode("utf-8", "replace")
        encoded = (
            b"", b"\n", b" \t ", b"\0" * 300, b"<html><body>404</body></html>", b"\xef\xbb\xbf" + bytes(text), b"\xef\xbb\xbf" * 2 + bytes(text),
            readable.encode("utf-16"), readable.encode("utf-32"), bytes(text).replace(b"\n", b"\r"), bytes(text).replace(b"\n", b"\r\n"), bytes(text) * 2,
            chance.randbytes(chance.choice((1, 20, 3000))), b"\x1f\x8b\x08\x00" + chance.randbytes(200), b"PK\x03\x04" + chance.randbytes(200),
        )
        text[:] = chance.choice(encoded)

    def enlarge():
        at = chance.randrange(len(text) + 1)
        unit = chance.choice((b"x", b"[", b'{"a":', b"\n", b",", b'"', b"0", b"\xff", b"1,", b"N\n", b"\\", b" ", bytes(text[at : at + 30]) or b"y"))
        text[at:at] = unit * (LARGE // len(unit))

    ways = (flip, flip, remove, remove, double, insert, insert, insert, shorten, swap, replace)
    for _ in range(chance.choice((1, 1, 1, 2, 3))):
        chance.choice(ways)()
    if chance.random() < 0.03:
        enlarge()
    return bytes(text)


def places(value: object, path=()):
    """Every place in a JSON value."""
    yield path
    children = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, child in children:
        yield from places(child, (*path, key))


def at(value, path):
    for key in path:
        value = value[key]
    return value


def json_text(sound: bytes, chance: random.Random) -> bytes:
    """Changes that leave JSON: members lost, doubled, of another type or name; hostile words."""
    value = json.loads(sound)
    raw: dict[str, str] = {}
    for _ in range(chance.choice((1, 1, 1, 2, 4))):
        path = chance.choice([path for path in places(value) if path])
        above, key = at(value, path[:-1]), path[-1]
        old = above[key]
        kind = chance.randrange(8)
        if kind == 0:
            del above[key]
        elif kind == 1:
            above[key] = chance.choice((None, True, False, 0, -1, 2**63, 1e300, "", "x", [], {}, [[]], {"": None}, [old, old], {"value": old}))
        elif kind == 2:
            mark = f"number {len(raw)}"
            raw[f'"{mark}"'] = chance.choice(NUMBERS)
            above[key] = mark
        elif kind == 3:
            above[key] = (old if isinstance(old, str) else "") + chance.choice(HOSTILE)
        elif kind == 4 and isinstance(above, dict):
            above[str(key) + chance.choice((*HOSTILE, "s", " ", "_"))] = above.pop(key)
        elif kind == 5 and isinstance(above, dict):
            mark = f"doubled {len(raw)}"
            name = json.dumps(key)
            raw[f'"{mark}": 0'] = f"{name}: {json.dumps(old)}"
            above[mark] = 0
        elif kind == 6 and isinstance(above, list):
            above.extend([old] * chance.choice((1, 3, 2000)))
        elif kind == 7 and isinstance(old, str):
            above[key] = chance.choice((old.upper(), old + " ", old[:-1], old * 2, "x" * chance.choice((300, LARGE // 4))))
        if not [path for path in places(value) if path]:
            break
    text = json.dumps(value, ensure_ascii=chance.random() < 0.5, indent=chance.choice((None, 2)))
    for mark, instead in raw.items():
        text = text.replace(mark, instead)
    return text.encode("utf-8", "surrogatepass")


def table(sound: bytes, chance: random.Random) -> bytes:
    """Changes of the cells of a table."""
    rows = [line.split(",") for line in sound.decode().splitlines()]
    for _ in range(chance.choice((1, 1, 2, 4))):
        row = chance.choice(rows)
        cell = chance.randrange(len(row)) if row else 0
        kind = chance.randrange(8)
        if kind == 0 and row:
            row[cell] = chance.choice(NUMBERS)
        elif kind == 1 and row:
            row[cell] += chance.choice(HOSTILE)
        elif kind == 2 and row:
            del row[cell]
        elif kind == 3:
            row.insert(cell, chance.choice(("", "7", "x", *row)))
        elif kind == 4:
            rows.insert(chance.randrange(len(rows) + 1), list(row))
        elif kind == 5 and row:
            row[cell] = chance.choice(("", " ", '"', '"a', 'a"b', '"a""b"', "x" * 300, "x" * (LARGE // 4)))
        elif kind == 6:
            chance.shuffle(rows)
        elif kind == 7 and chance.random() < 0.2:
            rows += [list(row)] * chance.choice((1000, 50_000))
    return "\n".join(",".join(row) for row in rows).encode("utf-8", "surrogatepass") + b"\n"
