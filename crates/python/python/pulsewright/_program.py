"""Starts the `pulsewright` program that the wheel carries."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path


def main() -> int:
    """Run the program with the arguments of this process and return its exit code."""
    name = "pulsewright.exe" if os.name == "nt" else "pulsewright"
    program = Path(__file__).with_name("bin") / name
    if not program.is_file():
        print("pulsewright: this wheel was built without the program; use crates/python/build", file=sys.stderr)
        return 2
    command = [str(program), *sys.argv[1:]]
    if os.name == "nt":
        return subprocess.call(command)
    # Some unpackers of wheels drop the mode.
    if not os.access(program, os.X_OK):
        program.chmod(0o755)
    os.execv(command[0], command)


if __name__ == "__main__":
    sys.exit(main())
