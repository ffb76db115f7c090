"""What is complete of a study that is still running, kept so that nothing but the disk itself can spoil it.

Beside the output lies a folder ``<output>.parts``: ``study.json`` says which study it belongs to, and every
chunk of cases that is done has one file of its own. A file is written under another name, flushed to the disk
and renamed: it is there whole or not at all, whenever the power goes or the process is killed. Each carries check
sums (those of its zip format), so that damage is seen. The one output file is made of these at the end.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import zipfile
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from wearsim.errors import CouldNotError, StoreError
from wearsim.study.cases import ChunkResult

FORMAT = "wearsim study, parts"
VERSION = 1
_NAME = re.compile(r"part-(\d{7})\.npz")
_DAMAGE = (zipfile.BadZipFile, zlib.error, OSError, KeyError, ValueError, EOFError)


def checkpoint_folder(output: Path) -> Path:
    """Folder of what is complete of an output."""
    return output.with_name(output.name + ".parts")


class Checkpoint:
    """The chunks of one study that are complete.

    Parameters
    ----------
    identity : str
        Digest of everything that the numbers rest on.
    chunk : int
        Cases in a chunk.
    cases : int
        Cases of the study.
    """

    def __init__(self, folder: Path, identity: str, chunk: int, cases: int) -> None:
        self.folder, self.identity, self.chunk, self.cases = folder, identity, chunk, cases

    @property
    def count(self) -> int:
        """Number of chunks when all is done."""
        return -(-self.cases // self.chunk)

    def bounds(self, number: int) -> tuple[int, int]:
        """First case of a chunk, and the one behind its last."""
        return number * self.chunk, min((number + 1) * self.chunk, self.cases)

    def path(self, number: int) -> Path:
        """File of a chunk."""
        return self.folder / f"part-{number:07d}.npz"

    def complete(self) -> dict[int, int]:
        """Numbers of the chunks that are there, every one looked through, and how many of its cases failed.

        Raises
        ------
        StoreError
            Where one is damaged.
        """
        return {number: self.read(number).failed for number in map(int, _chunk_numbers(self.folder))}

    def read(self, number: int) -> ChunkResult:
        """What came of a chunk.

        Raises
        ------
        StoreError
            Where its file is damaged.
        """
        path = self.path(number)
        try:
            with path.open("rb") as stream, np.load(stream, allow_pickle=False) as file:
                first, last = self.bounds(number)
                values, inner = (
                    {name[2:]: file[name] for name in file.files if name.startswith(mark)} for mark in ("v ", "c ")
                )
                reason = tuple(map(str, file["reason"]))
                result = ChunkResult(int(file["first"]), file["failure"], reason, values, inner)
        except _DAMAGE as error:
            raise _damaged(path) from error
        if result.first != first or len(result) != last - first:
            raise _damaged(path)
        return result

    def write(self, number: int, result: ChunkResult) -> None:
        """Keep a chunk.

        Raises
        ------
        CouldNotError
            Where the disk does not take it; what was complete before stays.
        """
        arrays: dict[str, Any] = {"first": np.int64(result.first), "failure": result.failure}
        arrays["reason"] = np.array(result.reason, dtype=np.str_)
        arrays |= {f"v {name}": values for name, values in result.values.items()}
        arrays |= {f"c {name}": values for name, values in result.inner.items()}
        _write_whole(self.path(number), lambda stream: np.savez(stream, **arrays))

    def __iter__(self) -> Iterator[ChunkResult]:
        """What came of all chunks, in order."""
        return (self.read(number) for number in range(self.count))

    def remove(self) -> None:
        """Remove the folder, once all of it is in the output."""
        shutil.rmtree(self.folder)


def open_checkpoint(output: Path, identity: str, chunk: int, cases: int) -> Checkpoint:
    """What is complete of an output already, or an empty folder; ``chunk`` counts where it begins anew.

    Raises
    ------
    StoreError
        Where it belongs to another study, or is damaged.
    CouldNotError
        Where the folder cannot be made.
    """
    folder = checkpoint_folder(output)
    manifest = folder / "study.json"
    if not manifest.exists():
        if folder.exists() and any(_chunk_numbers(folder)):
            raise StoreError("parts of a study without their study.json", file=folder, expected="another output")
        _begin(manifest, {"identity": identity, "chunk": chunk, "cases": cases})
        return Checkpoint(folder, identity, chunk, cases)
    manifest_content = _read_manifest(manifest)
    if manifest_content["identity"] != identity or manifest_content["cases"] != cases:
        raise StoreError(
            "holds the begun work of another study, seed or version of wearsim", file=folder,
            expected="another output, or --force to begin anew",
        )  # fmt: skip
    for path in folder.glob("*.partial"):  # of a writer that was killed
        path.unlink(missing_ok=True)
    return Checkpoint(folder, identity, manifest_content["chunk"], cases)


def _chunk_numbers(folder: Path) -> Iterator[str]:
    return (found[1] for path in folder.iterdir() if (found := _NAME.fullmatch(path.name)))


def _begin(manifest: Path, about: dict[str, Any]) -> None:
    folder = manifest.parent
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise CouldNotError(f"{folder}: cannot be made ({error.strerror or error})") from error
    text = json.dumps({"format": FORMAT, "version": VERSION, **about}, indent=1)
    _write_whole(manifest, lambda stream: stream.write(text.encode()))


def _read_manifest(path: Path) -> dict[str, Any]:
    try:
        about = json.loads(path.read_text(encoding="utf-8"))
        if about["format"] != FORMAT or about["version"] != VERSION or int(about["chunk"]) < 1:
            raise ValueError("not ours")
        return {"identity": str(about["identity"]), "chunk": int(about["chunk"]), "cases": int(about["cases"])}
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise _damaged(path) from error


def _damaged(path: Path) -> StoreError:
    return StoreError(
        "damaged, and left as it is", file=path,
        expected="a part as it was written; remove this one file and its cases are worked out again",
    )  # fmt: skip


def _write_whole(path: Path, content: Callable[[BinaryIO], object]) -> None:
    """Write a file whole or not at all, down to the disk."""
    partial = path.with_name(path.name + ".partial")
    try:
        with partial.open("wb") as stream:
            content(stream)
            stream.flush()
            os.fsync(stream.fileno())
        partial.replace(path)
    except OSError as error:
        partial.unlink(missing_ok=True)
        raise CouldNotError(
            f"{path.parent}: cannot be written ({error.strerror or error}); what is complete is kept: "
            "make room and give the same command again"
        ) from error
