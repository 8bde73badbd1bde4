"""Runs many commands one after the other and measures each: its exit code, processor time and memory.

A program of its own, with nothing loaded: a child's largest memory counts from that of the process that started it. It reads a
JSON list of `{"words", "folder", "until"}` from standard input and writes a JSON list of `[exit code, seconds, bytes]`. Each
command runs in its folder with `stdin` there as its input, and its output goes to `stdout` and `stderr` there. One that goes on
until it is interrupted, as a server does, is interrupted once its messages hold the text `until`.
"""

import json
import os
import resource
import signal
import sys
import time

LONGEST_S = 20
"""Of a command: far more than any check allows, so that a command that hangs ends."""
LARGEST_FILE = 256 << 20
LARGEST_SPACE = 4 << 30


def run(words, folder, until=""):
    os.chdir(folder)
    read, write = os.O_RDONLY, os.O_WRONLY | os.O_CREAT | os.O_TRUNC
    files = [(os.POSIX_SPAWN_OPEN, 0, "stdin" if os.path.exists("stdin") else os.devnull, read, 0)]
    files += [(os.POSIX_SPAWN_OPEN, number, name, write, 0o600) for number, name in ((1, "stdout"), (2, "stderr"))]
    child = os.posix_spawn(words[0], words, os.environ, file_actions=files)
    signal.signal(signal.SIGALRM, lambda *_: os.kill(child, signal.SIGKILL))
    signal.alarm(3 * LONGEST_S)
    if until:
        interrupt(child, until.encode())
    _, status, used = os.wait4(child, 0)
    signal.alarm(0)
    return os.waitstatus_to_exitcode(status), used.ru_utime + used.ru_stime, used.ru_maxrss * 1024


def interrupt(child, until):
    """Waits for a text on standard error, or for the end, and interrupts."""
    while not os.waitid(os.P_PID, child, os.WEXITED | os.WNOHANG | os.WNOWAIT):
        with open("stderr", "rb") as messages:
            if until in messages.read(1 << 20):
                os.kill(child, signal.SIGINT)
                return
        time.sleep(0.002)


if __name__ == "__main__":
    resource.setrlimit(resource.RLIMIT_FSIZE, (LARGEST_FILE, LARGEST_FILE))
    resource.setrlimit(resource.RLIMIT_AS, (LARGEST_SPACE, LARGEST_SPACE))
    json.dump([run(**job) for job in json.load(sys.stdin)], sys.stdout)
