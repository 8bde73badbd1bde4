"""A small beat detector, judged on a plan of records. The detector and the plan are invented for this example."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pulsewright

PLAN = {
    "version": 1,
    "duration_s": 20,
    "channels": ["II"],
    "score": {"learning_s": 2},
    "blocks": [{"rhythm": ["sinus", "atrial-fibrillation"], "rate_bpm": [60, 110], "seed": {"from": 1, "count": 3}}],
}


def detect(signals: pulsewright.Signals) -> npt.NDArray[np.float64]:
    """Times of beats, s: where the slope of lead II stands out, at least 200 ms apart."""
    lead, rate_hz = signals["II"], signals.frame_rate_hz
    slope = np.abs(np.diff(lead, prepend=lead[:1]))
    strong = np.flatnonzero(slope > 0.4 * np.quantile(slope, 0.995))
    times: list[float] = []
    for start in strong:
        if times and start / rate_hz - times[-1] < 0.2:
            continue
        first = max(int(start) - rate_hz // 20, 0)
        around = np.abs(lead[first : int(start) + rate_hz // 10])
        times.append((first + int(np.argmax(around))) / rate_hz)
    return np.array(times)


def main() -> None:
    """Print how many beats the detector finds."""
    detection = pulsewright.suite(PLAN, detect)["gross"]["detection"]
    found, missed = detection["matched"], detection["missed"]
    print(f"sensitivity {100 * found / (found + missed):.2f} %, {detection['extra']} extra")


if __name__ == "__main__":
    main()
