"""Reference ECG, respiration and pressure signals whose truth is known.

    import pulsewright
    signals = pulsewright.render({"version": 1, "steps": [{"duration_s": 10, "rhythm": "sinus", "rate_bpm": 72}]})
    lead, peaks = signals["II"], signals.beats["time_s"]

Samples are float32 arrays and equal those of a file with `--bits float`. For test benches only: never connect a source of these
signals to a person, or to equipment connected to one.
"""

from __future__ import annotations

import csv
import io
import json
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any, Union

import numpy as np
import numpy.typing as npt

from . import _native
from ._native import ScriptError, __version__

__all__ = ["LEADS", "Case", "Cohort", "LivePlayer", "Patient", "Player", "ScriptError", "Signals", "Suite", "__version__", "render", "score", "stream", "suite"]

LEADS = ("I", "II", "III", "aVR", "aVL", "aVF", "V1", "V2", "V3", "V4", "V5", "V6")
"""The twelve leads, which are rendered when no channels are named."""

Script = Union[Mapping[str, Any], str, bytes, "os.PathLike[str]"]
"""A script: a mapping, its JSON as text or bytes, or the path of its file."""

Samples = npt.NDArray[np.float32]
Table = dict[str, Any]
Detections = Union[npt.ArrayLike, tuple[npt.ArrayLike, Sequence[str]]]


def _document(document: Script) -> tuple[bytes, str]:
    """A document's JSON, and its name in messages."""
    if isinstance(document, Mapping):
        return json.dumps(document).encode(), "script"
    if isinstance(document, bytes):
        return document, "script"
    if isinstance(document, str) and document.lstrip().startswith("{"):
        return document.encode(), "script"
    path = os.fspath(document)
    with open(path, "rb") as file:
        # A script that is no file has this name, and no folder.
        return file.read(), path if path != "script" else os.path.join(os.curdir, path)


def _columns(text: str) -> Table:
    """A table of the files as columns: numbers with NaN for empty cells, or words."""
    rows = list(csv.reader(io.StringIO(text)))
    columns: Table = {}
    for place, name in enumerate(rows[0]):
        cells = [row[place] for row in rows[1:]]
        try:
            columns[name] = np.array([float(cell) if cell else np.nan for cell in cells], dtype=np.float64)
        except ValueError:
            columns[name] = cells
    return columns


class Signals:
    """Samples of some channels, with the truth about them."""

    def __init__(self, native: _native.Signals) -> None:
        self._native = native
        self.samples: Samples = native.samples
        """Channels by frames, each channel in its unit."""
        self.channels: tuple[str, ...] = tuple(native.channels)
        self.units: dict[str, str] = dict(zip(native.channels, native.units))
        self.frame_rate_hz: int = native.frame_rate_hz
        self.seed: int = native.seed

    def __getitem__(self, channel: str) -> Samples:
        """One channel: a view, not a copy."""
        try:
            return self.samples[self.channels.index(channel)]
        except ValueError:
            raise KeyError(f"no channel '{channel}'; there are {', '.join(self.channels)}") from None

    def __len__(self) -> int:
        return self.samples.shape[1]

    def __repr__(self) -> str:
        return f"<Signals: {', '.join(self.channels)}; {len(self)} frames, {self.frame_rate_hz} a second>"

    @property
    def time_s(self) -> npt.NDArray[np.float64]:
        """Time of each frame, s."""
        return np.arange(len(self)) / self.frame_rate_hz

    @property
    def beats(self) -> Table:
        """Each QRS: time_s (peak), frame, code, rr_s, p_onset_s, qrs_onset_s, qrs_end_s, t_end_s; NaN where there is none."""
        return self._native.table("beats")

    @property
    def atrial(self) -> Table:
        """Each P wave: time_s (onset)."""
        return self._native.table("atrial")

    @property
    def pulses(self) -> Table:
        """Each pulse of the pressures among the channels: time_s (foot), channel, foot_mmhg, peak_s, systolic_mmhg, end_s, lowest_mmhg, mean_mmhg."""
        return self._native.table("pulses")

    @property
    def breaths(self) -> Table:
        """Each breath: time_s (start of inspiration), peak_s, end_s, depth_ohm."""
        return self._native.table("breaths")

    @property
    def pacing(self) -> Table:
        """Each pacing pulse: time_s, chamber, captures."""
        return self._native.table("pacing")

    @property
    def episodes(self) -> Table:
        """Fibrillation, flutter, apnoea and the like: start_s, end_s, episode."""
        return self._native.table("episodes")

    @property
    def readings(self) -> Table:
        """What a correct monitor shows in each step: step, reading, unit, start_s, end_s, settle_s, expected, low, high, why. Values as in the files."""
        return _columns(self._native.table_text("readings"))

    @property
    def alarms(self) -> Table:
        """Alarms of a correct monitor: alarm, time_s (its limit is reached), within_s, end_s, priority, begin_s, required. Values as in the files."""
        return _columns(self._native.table_text("alarms"))

    @property
    def cuff(self) -> Table:
        """Phases of the cuff and its readings: time_s, phase, cuff_mmhg, systolic_mmhg and the others, with the bands. Values as in the files."""
        return _columns(self._native.table_text("cuff"))

    @property
    def refused(self) -> Table:
        """Beats that were asked for and do not come: time_s, site, why. Values as in the files."""
        return _columns(self._native.table_text("refused"))

    @property
    def steps(self) -> Table:
        """Each step played: item (index in the script), start_s, end_s."""
        return self._native.table("steps")


def render(
    script: Script,
    *,
    frame_rate_hz: int = 500,
    channels: Sequence[str] = LEADS,
    duration_s: float | None = None,
    seed: int | None = None,
) -> Signals:
    """Render a script into an array.

    `duration_s` bounds a script that holds; `seed` takes the place of the script's own. Raises ScriptError with every problem of
    the script, each with its place and the allowed values.
    """
    text, name = _document(script)
    return Signals(_native.render(text, name, frame_rate_hz, list(channels), duration_s, seed))


class Player:
    """Plays a script block by block, for signals that are longer than memory.

    A script with a step that holds has no end: its last step goes on.
    """

    def __init__(self, script: Script, *, frame_rate_hz: int = 500, channels: Sequence[str] = LEADS, seed: int | None = None) -> None:
        text, name = _document(script)
        self._native = _native.Player(text, name, frame_rate_hz, list(channels), seed)
        self.channels = tuple(channels)
        self.frame_rate_hz = frame_rate_hz

    @property
    def position(self) -> int:
        """Index of the next frame."""
        return self._native.position

    def fill(self, frames: int) -> Samples:
        """The next frames, channels by frames; fewer only at the end."""
        return self._native.fill(frames)

    def skip(self, frames: int) -> int:
        """Pass over frames, at the cost of their events alone; returns how many there were."""
        return self._native.skip(frames)

    def next_step(self) -> None:
        """End a step that holds, or any step, at the next frame."""
        self._native.next_step()


class LivePlayer:
    """Plays a script and takes settings between frames, as `pulsewright stream --live` does. For one thread, the one that made it.

    A setting takes effect just after the next beat, or at once where none comes soon; from the first one on the player has no end.
    """

    def __init__(self, script: Script, *, frame_rate_hz: int = 500, channels: Sequence[str] = LEADS, seed: int | None = None) -> None:
        text, name = _document(script)
        self._native = _native.LivePlayer(text, name, frame_rate_hz, list(channels), seed)
        self.channels = tuple(channels)
        self.frame_rate_hz = frame_rate_hz

    @property
    def position(self) -> int:
        """Index of the next frame."""
        return self._native.position

    def fill(self, frames: int) -> Samples:
        """The next frames, channels by frames; fewer only at the end of a script without settings of its own."""
        return self._native.fill(frames)

    def set(self, settings: Mapping[str, float | str]) -> float:
        """Change settings by their paths, such as `{"rate_bpm": 90}`; `rhythm` and `body` take a word. Returns when they take effect, s.

        Settings are changed one after the other, in their order; a mistake raises ScriptError and leaves those after it undone.
        """
        at = self.position / self.frame_rate_hz
        for name, value in settings.items():
            at = self.command(f"{name} {value}" if name in ("rhythm", "body") else f"set {name}={value}")
        return at

    def command(self, line: str) -> float:
        """Carry out a command of `pulsewright stream --live`, such as `beat left-ventricular`, `hold` or `next`; returns when it takes effect, s."""
        return self._native.command(line)

    def log(self) -> dict[str, Any]:
        """What was played so far, as a script that renders to the same samples."""
        return dict(json.loads(self._native.log()))


def stream(
    script: Script,
    *,
    frames: int = 500,
    frame_rate_hz: int = 500,
    channels: Sequence[str] = LEADS,
    seed: int | None = None,
) -> Iterator[Samples]:
    """Blocks of at most `frames` frames until the script ends; a step that holds goes on for ever."""
    if frames < 1:
        raise ValueError("a block has at least one frame")
    player = Player(script, frame_rate_hz=frame_rate_hz, channels=channels, seed=seed)
    while (block := player.fill(frames)).shape[1]:
        yield block


def _times(times: npt.ArrayLike) -> npt.NDArray[np.float64]:
    return np.ascontiguousarray(np.asarray(times, dtype=np.float64).ravel())


def _codes(codes: Sequence[str] | None) -> str | None:
    return None if codes is None else "".join(codes)


def _json(document: Mapping[str, Any] | None) -> str | None:
    return None if document is None else json.dumps(document)


def score(
    reference_s: npt.ArrayLike,
    test_s: npt.ArrayLike,
    *,
    reference_codes: Sequence[str] | None = None,
    test_codes: Sequence[str] | None = None,
    window_s: float = 0.15,
    learning_s: float = 300.0,
    end_s: float | None = None,
    limits: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """Score detections against reference beats by the published rules (ANSI/AAMI EC57: 150 ms, five minutes of learning).

    Returns the report of `pulsewright score --format json`.
    """
    report = _native.score(
        _times(reference_s), _codes(reference_codes), _times(test_s), _codes(test_codes), window_s, learning_s, end_s, _json(limits)
    )
    return dict(json.loads(report))


class Case:
    """One record of a suite's plan."""

    def __init__(self, owner: Suite, index: int) -> None:
        self._owner = owner
        self.index = index
        self.name: str = owner._native.name(index)
        self.dimensions: dict[str, str] = owner._native.dimensions(index)

    def __repr__(self) -> str:
        return f"<Case {self.name}>"

    def render(self) -> Signals:
        """The record's signals; the same at every call."""
        return Signals(self._owner._native.render(self.index))

    def score(self, detections: Detections, limits: Mapping[str, Any] | None = None) -> dict[str, Any]:
        """Score detections (times in s, or times and codes) against the record's truth; returns its report."""
        times, codes = detections if isinstance(detections, tuple) else (detections, None)
        self._owner._native.score(self.index, _times(times), _codes(codes))
        return dict(json.loads(self._owner._native.report(_json(limits), [self.index])))


class Suite(Sequence[Case]):
    """The records of a plan: `suite[n]` is always the same record, whichever records were used before."""

    def __init__(self, plan: Script) -> None:
        text, name = _document(plan)
        self._native = _native.Plan(text.decode(), name)
        self.left_out: list[str] = self._native.left_out
        """Combinations that exclude each other, each with the reason."""

    def __len__(self) -> int:
        return len(self._native)

    def __getitem__(self, index: int) -> Case:  # type: ignore[override]
        if not -len(self) <= index < len(self):
            raise IndexError(f"the plan has {len(self)} records")
        return Case(self, index % len(self))

    def report(self, limits: Mapping[str, Any] | None = None) -> dict[str, Any]:
        """The report over every record that was scored."""
        return dict(json.loads(self._native.report(_json(limits))))


class Patient:
    """One drawn patient of a cohort."""

    def __init__(self, owner: Cohort, number: int) -> None:
        self._owner = owner
        self.number = number
        about = owner._native.patient(number)
        self.group: str = about["group"]
        self.rhythm: str = about["rhythm"]
        self.body: str = about["body"]
        self.seed: int = about["seed"]
        self.redraws: int = about["redraws"]
        """Draws before the one whose values go together."""
        self.values: dict[str, float] = about["values"]
        """Drawn values by name: settings, and variables that start with `person.`."""

    def __repr__(self) -> str:
        return f"<Patient {self.number}: {self.rhythm}, {self.body}>"

    def render(self) -> Signals:
        """The patient's signals; the same at every call, and those of `pulsewright cohort`."""
        return Signals(self._owner._native.render(self.number))


class Cohort(Sequence[Patient]):
    """Patients drawn by seed and number: `cohort[n]` is always the same one, whichever were drawn before."""

    def __init__(self, plan: Script, patients: int) -> None:
        text, name = _document(plan)
        self._native = _native.CohortPlan(text.decode(), name)
        self._patients = patients

    def __len__(self) -> int:
        return self._patients

    def __getitem__(self, index: int) -> Patient:  # type: ignore[override]
        if not -len(self) <= index < len(self):
            raise IndexError(f"the cohort has {len(self)} patients")
        return Patient(self, index % len(self))

    def table(self) -> Table:
        """The index as columns: patient, group, rhythm, body, seed, redraws and every variable; NaN where it is not drawn."""
        return self._native.table(0, len(self))


def suite(
    plan: Script,
    detector: Callable[[Signals], Detections],
    *,
    jobs: int | None = None,
    limits: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """Run a function over every record of a plan and return the report.

    The function gets the record's Signals and returns times in s, or times and codes. Records are rendered and scored while other
    threads run; a function that holds the interpreter's lock runs one at a time. An exception of the function ends the run.
    """
    records = Suite(plan)

    def one(case: Case) -> None:
        case.score(detector(case.render()))

    with ThreadPoolExecutor(jobs or os.cpu_count()) as pool:
        for _ in pool.map(one, records):
            pass
    return records.report(limits)
