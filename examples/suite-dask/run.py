"""A suite spread over processes with Dask: as many shards as asked for, then one report.

    run.py PLAN.json FOLDER --shards 8 [--stay] [--program pulsewright] [--report REPORT.json] [--limits LIMITS.json] -- COMMAND...

Every shard is a command of its own with a folder of its own, so a worker that is lost costs one shard at most, and the
same command line goes on where it was. The workers here are processes of this machine; give `Client` the address of a
scheduler elsewhere to use others, which need the program, the detector and a file system in common.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
from pathlib import Path

from distributed import Client, LocalCluster


def hear_shard(program: str, plan: str, folder: str, shard: str, command: list[str], stay: bool) -> str:
    """Runs one shard on one core; gives its folder back."""
    words = [program, "suite", plan, "-o", folder, "--shard", shard, "--jobs", "1"]
    words += [*(["--stay"] if stay else []), "--", *command]
    done = subprocess.run(words, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, check=False)
    # 1 is a detector that failed somewhere: the report of the whole says where.
    if done.returncode not in (0, 1):
        raise RuntimeError(f"shard {shard}: {done.stderr.strip()}")
    return folder


def main() -> int:
    own = sys.argv[1:]
    command = own[own.index("--") + 1 :] if "--" in own else []
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("plan")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--shards", type=int, default=8)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--stay", action="store_true", help="the detector stays from record to record")
    parser.add_argument("--program", default="pulsewright")
    parser.add_argument("--report", help="file for the report: .txt, .json, .csv or .xml")
    parser.add_argument("--limits", help="file of limits")
    asked = parser.parse_args(own[: own.index("--")] if "--" in own else own)

    asked.folder.mkdir(parents=True, exist_ok=True)
    shards = [f"{part}/{asked.shards}" for part in range(1, asked.shards + 1)]
    folders = [str(asked.folder / f"shard-{part}") for part in range(1, asked.shards + 1)]
    cluster = LocalCluster(n_workers=asked.workers, threads_per_worker=1, dashboard_address=None)
    with cluster, Client(cluster) as client:
        count = len(shards)
        heard = client.map(
            hear_shard,
            [asked.program] * count,
            [asked.plan] * count,
            folders,
            shards,
            [command] * count,
            [asked.stay] * count,
            retries=2,
        )
        client.gather(heard)

    merge = [word for folder in folders for word in ("--merge", folder)]
    words = [asked.program, "suite", asked.plan, "-o", str(asked.folder / "all"), *merge]
    words += ["--write", asked.report, "--force"] if asked.report else []
    words += ["--limits", asked.limits] if asked.limits else []
    return subprocess.run(words, check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
