"""What the program is built from: licences and sources of every crate, as `.cargo/deny.toml` allows them."""

from __future__ import annotations

import json
import re
import subprocess
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
RULES = tomllib.loads((ROOT / ".cargo/deny.toml").read_text())
ALLOWED = set(RULES["licenses"]["allow"])
LOCKS = ("Cargo.lock", "crates/firmware/Cargo.lock", "crates/fuzz/Cargo.lock")


def permitted(expression: str, allowed: set[str] = ALLOWED) -> bool:
    """Whether an SPDX expression can be met by allowed licences; `A/B` is how crates used to write `A OR B`."""
    words = re.findall(r"\(|\)|[^\s()]+", expression.replace("/", " OR "))

    def alternatives() -> bool:
        met = both()
        while words and words[0] == "OR":
            words.pop(0)
            met = both() or met
        return met

    def both() -> bool:
        met = one()
        while words and words[0] == "AND":
            words.pop(0)
            met = one() and met
        return met

    def one() -> bool:
        word = words.pop(0)
        if word == "(":
            met = alternatives()
            assert words.pop(0) == ")", expression
            return met
        if words and words[0] == "WITH":
            word = f"{word} WITH {(words.pop(0), words.pop(0))[1]}"
        return word in allowed

    met = alternatives()
    assert not words, f"{expression}: what is {words}?"
    return met


@pytest.mark.parametrize(
    ("expression", "expected"),
    [
        ("MIT", True),
        ("GPL-3.0-only", False),
        ("MIT/Apache-2.0", True),
        ("MIT OR GPL-3.0-only", True),
        ("MIT AND GPL-3.0-only", False),
        ("(MIT OR Apache-2.0) AND Unicode-3.0", True),
        ("(MIT OR GPL-3.0-only) AND (AGPL-3.0-only OR LGPL-2.1-or-later)", False),
        ("MIT AND GPL-3.0-only OR Zlib", True),
        ("Apache-2.0 WITH LLVM-exception", True),
        ("GPL-2.0-only WITH Classpath-exception-2.0", False),
    ],
)
def test_expressions_are_read(expression, expected):
    """Or else the check below would prove nothing."""
    assert permitted(expression) is expected


def test_every_crate_has_an_allowed_licence():
    told = subprocess.run(
        ["cargo", "metadata", "--locked", "--format-version", "1", "--all-features"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    crates = json.loads(told.stdout)["packages"]
    assert len(crates) > 100
    unmet = {f"{crate['name']} {crate['version']}": crate["license"] for crate in crates if not permitted(crate["license"] or "none")}
    assert not unmet


@pytest.mark.parametrize("lock", LOCKS)
def test_every_crate_comes_from_the_registry_with_its_check_sum(lock):
    registries = {f"registry+{registry}" for registry in RULES["sources"]["allow-registry"]}
    crates = tomllib.loads((ROOT / lock).read_text())["package"]
    others = [crate for crate in crates if not crate["name"].startswith("pulsewright")]
    assert others
    assert not [crate for crate in others if crate.get("source") not in registries or "checksum" not in crate]


def test_no_licence_is_allowed_that_nobody_needs():
    """An entry that no crate needs would let something in unseen."""
    told = subprocess.run(
        ["cargo", "metadata", "--locked", "--format-version", "1", "--all-features"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    named = " ".join(crate["license"] or "" for crate in json.loads(told.stdout)["packages"])
    assert not [licence for licence in ALLOWED if licence not in named]
