"""What is complete of a study that is still running, kept so that nothing but the disk itself can spoil it.

Beside the output lies a folder ``<output>.parts``: ``study.json`` says which study it belongs to, and every
chunk of cases that is done has one file of its own. A file is written under another name, flushed to the disk
and renamed: it is there whole or not at all, whenever the power goes or the process is killed. Each carries check
sums (those of its zip format), so that damage is seen. The one output file is made of the parts at the end.
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
from wearsim.study.cases import Part

FORMAT = "wearsim study, parts"
VERSION = 1
_PART = re.compile(r"part-(\d{7})\.npz")
_DAMAGE = (zipfile.BadZipFile, zlib.error, OSError, KeyError, ValueError, EOFError)


def parts_folder(output: Path) -> Path:
    """Folder of the parts of an output."""
    return output.with_name(output.name + ".parts")


class Parts:
    """The parts of one study.

    Parameters
    ----------
    folder : Path
    identity : str
        Digest of everything that the numbers rest on.
    chunk : int
        Cases in a part.
    cases : int
        Cases of the study.
    """

    def __init__(self, folder: Path, identity: str, chunk: int, cases: int) -> None:
        self.folder, self.identity, self.chunk, self.cases = folder, identity, chunk, cases

    @property
    def count(self) -> int:
        """Number of parts when all is done."""
        return -(-self.cases // self.chunk)

    def bounds(self, number: int) -> tuple[int, int]:
        """First case of a part, and the one behind its last."""
        return number * self.chunk, min((number + 1) * self.chunk, self.cases)

    def path(self, number: int) -> Path:
        """File of a part."""
        return self.folder / f"part-{number:07d}.npz"

    def done(self) -> set[int]:
        """Numbers of the parts that are there, every one looked through.

        Raises
        ------
        StoreError
            Where one is damaged.
        """
        found = {int(name[1]) for name in _part_names(self.folder)}
        for number in found:
            self.read(number)
        return found

    def read(self, number: int) -> Part:
        """A part.

        Raises
        ------
        StoreError
            Where it is damaged.
        """
        path = self.path(number)
        try:
            with path.open("rb") as stream, np.load(stream, allow_pickle=False) as file:
                first, last = self.bounds(number)
                values = {name[2:]: file[name] for name in file.files if name.startswith("v ")}
                inner = {name[2:]: file[name] for name in file.files if name.startswith("c ")}
                part = Part(int(file["first"]), file["failure"], tuple(map(str, file["reason"])), values, inner)
        except _DAMAGE as error:
            raise _damaged(path) from error
        if part.first != first or len(part) != last - first:
            raise _damaged(path)
        return part

    def write(self, number: int, part: Part) -> None:
        """Keep a part.

        Raises
        ------
        CouldNotError
            Where the disk does not take it; what was complete before stays.
        """

        def content(stream: BinaryIO) -> None:
            arrays: dict[str, Any] = {f"v {name}": values for name, values in part.values.items()}
            arrays |= {f"c {name}": values for name, values in part.inner.items()}
            reason = np.array(part.reason, dtype=np.str_)
            np.savez(stream, first=np.int64(part.first), failure=part.failure, reason=reason, **arrays)

        _put(self.path(number), content)

    def __iter__(self) -> Iterator[Part]:
        """All parts in order."""
        return (self.read(number) for number in range(self.count))

    def remove(self) -> None:
        """Remove the folder, once all of it is in the output."""
        shutil.rmtree(self.folder)


def open_parts(output: Path, identity: str, chunk: int, cases: int) -> Parts:
    """The parts of an output: those that are there already, or an empty folder.

    Parameters
    ----------
    output : Path
    identity : str
    chunk : int
        Cases in a part, where it begins anew; one that was begun keeps its own.
    cases : int

    Raises
    ------
    StoreError
        Where they belong to another study, or are damaged.
    CouldNotError
        Where the folder cannot be made.
    """
    folder = parts_folder(output)
    manifest = folder / "study.json"
    if not manifest.exists():
        if folder.exists() and any(_part_names(folder)):
            raise StoreError("parts of a study without their study.json", file=folder, expected="another output")
        _begin(folder, manifest, {"identity": identity, "chunk": chunk, "cases": cases})
        return Parts(folder, identity, chunk, cases)
    kept = _manifest(manifest)
    if kept["identity"] != identity or kept["cases"] != cases:
        raise StoreError(
            "holds the begun work of another study, seed or version of wearsim", file=folder,
            expected="another output, or --force to begin anew",
        )  # fmt: skip
    _sweep(folder)
    return Parts(folder, identity, int(kept["chunk"]), cases)


def _part_names(folder: Path) -> Iterator[re.Match[str]]:
    return (found for path in folder.iterdir() if (found := _PART.fullmatch(path.name)))


def _begin(folder: Path, manifest: Path, about: dict[str, Any]) -> None:
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise CouldNotError(f"{folder}: cannot be made ({error.strerror or error})") from error
    text = json.dumps({"format": FORMAT, "version": VERSION, **about}, indent=1)
    _put(manifest, lambda stream: stream.write(text.encode()))


def _manifest(path: Path) -> dict[str, Any]:
    try:
        kept = json.loads(path.read_text(encoding="utf-8"))
        if kept["format"] != FORMAT or kept["version"] != VERSION or int(kept["chunk"]) < 1:
            raise ValueError("not ours")
        return {"identity": str(kept["identity"]), "chunk": int(kept["chunk"]), "cases": int(kept["cases"])}
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise _damaged(path) from error


def _sweep(folder: Path) -> None:
    """Remove what a killed writer left half written."""
    for path in folder.glob("*.partial"):
        path.unlink(missing_ok=True)


def _damaged(path: Path) -> StoreError:
    return StoreError(
        "damaged, and left as it is", file=path,
        expected="a part as it was written; remove this one file and its cases are worked out again",
    )  # fmt: skip


def _put(path: Path, content: Callable[[BinaryIO], object]) -> None:
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
