"""Runs the built `pulsewright` as a person or a build would: arguments in, exit code, text and files out."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import limited

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = Path(os.environ.get("PULSEWRIGHT", ROOT / "target" / "release" / "pulsewright"))

DONE = 0
BAD_INPUT = 2

_SIGNS_OF_A_CRASH = ("panicked", "RUST_BACKTRACE", "stack backtrace", "unwrap()", "overflowed its stack", "Os {", "Err(")


@dataclass(frozen=True)
class Outcome:
    """How a command ended."""

    code: int
    stdout: bytes
    stderr: str

    def __str__(self) -> str:
        return f"exit {self.code}\n--- stderr\n{self.stderr}\n--- stdout\n{self.stdout[:2000]!r}"


def run(
    *arguments: object,
    cwd: Path | None = None,
    stdin: bytes = b"",
    stdout=subprocess.PIPE,
    before: Callable[[], None] | None = None,
    within_s: float = 300.0,
) -> Outcome:
    """Run the program to its end. `before` runs in the child first, to set limits."""
    ended = subprocess.run(
        [str(PROGRAM), *map(_argument, arguments)],
        cwd=cwd,
        input=stdin,
        stdout=stdout,
        stderr=subprocess.PIPE,
        preexec_fn=before,
        timeout=within_s,
        check=False,
    )
    return Outcome(ended.returncode, ended.stdout or b"", ended.stderr.decode("utf-8", "replace"))


def measure_each(jobs: list[dict]) -> list[tuple[int, float, int]]:
    """Runs commands as `limited.py` reads them: of each the exit code, seconds of a processor, bytes of memory."""
    words = [sys.executable, "-I", "-S", limited.__file__]
    ended = subprocess.run(words, input=json.dumps(jobs), capture_output=True, text=True, check=True)
    return json.loads(ended.stdout)


def start(*arguments: object, cwd: Path | None = None, stdout=subprocess.DEVNULL) -> subprocess.Popen:
    """Start the program and do not wait for it."""
    return subprocess.Popen([str(PROGRAM), *map(_argument, arguments)], cwd=cwd, stdout=stdout, stderr=subprocess.PIPE)


def streamed_live(n_bytes: int, command: bytes, *arguments: object) -> bytes:
    """What `stream --live` sends to its end, when it gets a command after so many bytes."""
    words = [str(PROGRAM), "stream", "--live", *map(_argument, arguments)]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as live:
        sent = live.stdout.read(n_bytes)
        live.stdin.write(command + b"\n")
        live.stdin.flush()
        sent += live.stdout.read()
    assert live.returncode == DONE
    return sent


def succeed(*arguments: object, **options) -> Outcome:
    """Run the program, which must do as asked."""
    outcome = run(*arguments, **options)
    assert outcome.code == DONE, outcome
    return outcome


def assert_refused(outcome: Outcome, *words: str) -> None:
    """The program said no, clearly, once, and did not fall over. `words` must stand in its message."""
    text = outcome.stderr
    assert outcome.code == BAD_INPUT, outcome
    for sign in _SIGNS_OF_A_CRASH:
        assert sign not in text, outcome
    assert text.strip(), "refused without a word"
    # A message, not a listing: even a source line with a caret below and a help line stay under this.
    assert len(text) < 8000, outcome
    assert text.strip().count("\n\n\n") == 0, outcome
    for word in words:
        assert word.lower() in text.lower(), f"no '{word}' in the message\n{outcome}"


def files_below(folder: Path) -> dict[str, bytes]:
    """Every file below a folder with its content, so that two states can be compared."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def file_size_limit(n_bytes: int, *, killed: bool) -> Callable[[], None]:
    """For `before`: files may not grow past `n_bytes`; going on is an error, or with `killed` the end by a signal."""

    def limit() -> None:
        import resource

        signal.signal(signal.SIGXFSZ, signal.SIG_DFL if killed else signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (n_bytes, n_bytes))

    return limit


def _argument(value: object) -> str | bytes:
    return value if isinstance(value, (str, bytes)) else str(value)


def arguments(*pairs: Sequence[object]) -> list[object]:
    """Flattens flag-value pairs, leaving out those whose value is None."""
    return [item for flag, value in pairs if value is not None for item in (flag, value)]


def render(
    source: Path,
    target: Path,
    *,
    frame_rate_hz: int | None = None,
    bits: str | None = None,
    channels: str | None = None,
    **options,
) -> Outcome:
    """`pulsewright render` of a script to a target."""
    flags = arguments(("--frame-rate", frame_rate_hz), ("--bits", bits), ("--channels", channels))
    return run("render", source, "-o", target, *flags, **options)


def rendered(source: Path, target: Path, **options) -> Path:
    """Renders, which must succeed, and returns the target."""
    outcome = render(source, target, **options)
    assert outcome.code == DONE, outcome
    return target
