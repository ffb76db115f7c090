"""Rows of a long benchmark, one a seed, kept as they come in a file of JSON lines: what is there is not worked again."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from wearsim.errors import WearsimError

Row = dict[str, Any]


def read(path: Path) -> list[Row]:
    """The rows of a file; none where there is no file yet."""
    return [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []


def collect(path: Path, first: int, count: int, one: Callable[[int], Row]) -> None:
    """Work the seeds that the file does not hold yet; one that fails is a row with ``failed``."""
    done = {row["seed"] for row in read(path)}
    for seed in range(first, first + count):
        if seed in done:
            continue
        try:
            row = one(seed)
        except WearsimError as error:
            print(f"{seed}: {error}", flush=True)
            row = {"seed": seed, "failed": str(error)}
        with path.open("a") as stream:
            stream.write(json.dumps(row) + "\n")
