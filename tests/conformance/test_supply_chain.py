"""Dependencies of the program: licences and sources of every crate, as `.cargo/deny.toml` allows them."""

from __future__ import annotations

import json
import re
import subprocess
import tomllib
from collections.abc import Callable
from operator import and_, or_
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
RULES = tomllib.loads((ROOT / ".cargo/deny.toml").read_text())
ALLOWED = set(RULES["licenses"]["allow"])
EXCEPTIONS = {exception["crate"]: set(exception["allow"]) for exception in RULES["licenses"]["exceptions"]}
LOCKS = ("Cargo.lock", "crates/firmware/Cargo.lock", "crates/fuzz/Cargo.lock", "crates/python/Cargo.lock")


def permitted(expression: str, allowed: set[str] = ALLOWED) -> bool:
    """Whether an SPDX expression can be met by allowed licences; `A/B` is how crates used to write `A OR B`."""
    words = re.findall(r"\(|\)|[^\s()]+", expression.replace("/", " OR "))

    def joined(word: str, part: Callable[[], bool], meet: Callable[[bool, bool], bool]) -> bool:
        met = part()
        while words and words[0] == word:
            words.pop(0)
            met = meet(part(), met)
        return met

    def alternatives() -> bool:
        return joined("OR", lambda: joined("AND", one, and_), or_)

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
    assert not words, f"{expression}: {words} not understood"
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
    """Without this the check below would prove nothing."""
    assert permitted(expression) is expected


@pytest.fixture(scope="module", params=LOCKS)
def licences(request) -> dict[str, str]:
    """Licence of every crate of a workspace, by name and version."""
    metadata = subprocess.run(
        ["cargo", "metadata", "--locked", "--format-version", "1", "--all-features", "--manifest-path", ROOT / Path(request.param).with_suffix(".toml")],
        capture_output=True,
        text=True,
        check=True,
    )
    return {f"{crate['name']} {crate['version']}": crate["license"] or "none" for crate in json.loads(metadata.stdout)["packages"]}


def test_every_crate_has_an_allowed_licence(licences):
    assert len(licences) > 5
    allowed = {crate: ALLOWED | EXCEPTIONS.get(crate.split()[0], set()) for crate in licences}
    assert not {crate: licence for crate, licence in licences.items() if not permitted(licence, allowed[crate])}


@pytest.mark.parametrize("lock", LOCKS)
def test_every_crate_comes_from_the_registry_with_its_check_sum(lock):
    registries = {f"registry+{registry}" for registry in RULES["sources"]["allow-registry"]}
    crates = tomllib.loads((ROOT / lock).read_text())["package"]
    others = [crate for crate in crates if not crate["name"].startswith("pulsewright")]
    assert others
    assert not [crate for crate in others if crate.get("source") not in registries or "checksum" not in crate]


@pytest.mark.parametrize("licences", ["Cargo.lock"], indirect=True)
def test_no_licence_is_allowed_that_no_crate_needs(licences):
    """An entry that no crate needs would let something in unseen."""
    named = " ".join(licences.values())
    assert not [licence for licence in ALLOWED if licence not in named]
