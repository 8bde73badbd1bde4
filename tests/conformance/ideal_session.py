"""A session that is answered as by a person beside a monitor: its readings are entered, and Enter is pressed when its alarms sound."""

from __future__ import annotations

import os
import re
import subprocess
import time
from pathlib import Path

from program import PROGRAM

Answer = tuple[str, str]
"""Value and priority of an item; "no" for an alarm that is not heard."""

YES = r"\[Enter, n\] $"
NOTHING = r"(\[Enter: not used\] |Enter to go on: )$"
NAME = r"^(Done by|[A-Z][^:?]*): $"
PRIORITY = r"Priority shown \[.*\]: $"
ALARM = r"^  Alarm (.+), \w+ priority, .* s REASON skips: $"
READING = r"^  (.+), \S+ \(.*\): $"
FORMS = (YES, NOTHING, PRIORITY, ALARM, READING, NAME)
"""Forms of the questions."""


class Attendant:
    """One who answers a session."""

    def __init__(self, plan: dict, written: dict[str, Answer]):
        self.written = written
        self.alarms = [item for step in plan["steps"] for item in step["alarms"]]
        self.readings = [item for step in plan["steps"] for item in step["readings"]]
        self.asked: dict | None = None
        """The alarm asked about last."""
        self.step_s = 0.0
        """When the first question of the step in hand came."""
        self.heading = ""

    def answer(self, said: str, question: str) -> str:
        """The answer to a question, at its time; `said` is what came before it."""
        headings = re.findall(r"^Step \d+ of \d+", said, re.M)
        if headings and headings[-1] != self.heading:
            self.heading, self.step_s, self.asked = headings[-1], time.monotonic(), None
        if re.search(YES, question) or re.search(NOTHING, question):
            # Preparations of a step come before it begins.
            self.step_s = time.monotonic()
            return ""
        if re.search(PRIORITY, question):
            return self.written[self.asked["id"]][1]
        if found := re.search(ALARM, question):
            return self.alarm(found[1])
        if re.search(READING, question):
            self.asked = None
            return self.written[self.readings.pop(0)["id"]][0]
        return "A. Invented"

    def alarm(self, name: str) -> str:
        """Waits until it sounds; asked again, a little longer."""
        if self.asked is None or self.asked["name"] != name:
            self.asked = self.alarms.pop(0)
            assert self.asked["name"] == name, (self.asked, name)
        else:
            self.step_s += 0.2
        value, _ = self.written[self.asked["id"]]
        if value == "no":
            return "n"
        time.sleep(max(0.0, self.step_s + float(value) - time.monotonic()))
        return ""


def attend(plan_file: Path, plan: dict, record: Path, written: dict[str, Answer]) -> int:
    """Goes through a session of a plan to its end, answered by `written`; returns its exit code."""
    command = [str(PROGRAM), "session", "--plain", str(plan_file), "-o", str(record), "--force"]
    attendant, said = Attendant(plan, written), ""
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        while part := os.read(process.stdout.fileno(), 65536):
            said += part.decode()
            question = said.rpartition("\n")[2]
            if any(re.search(form, question) for form in FORMS):
                process.stdin.write(f"{attendant.answer(said, question)}\n".encode())
                process.stdin.flush()
                said = ""
    assert not attendant.alarms and not attendant.readings, said
    return process.returncode
