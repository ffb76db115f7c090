"""What is complete of a study that is still running, kept so that nothing but the disk itself can spoil it.

Beside the output lies a folder ``<output>.parts``: ``study.json`` says which study it belongs to, and every
chunk of cases that is done has one file of its own, which says so too. A file is written under another name, flushed
to the disk and renamed: it is there whole or not at all, whenever the power goes or the process is killed. Each carries
check sums (those of its zip format), so that damage is seen. The one output file is made of these at the end. Whoever
works holds a lock on the folder; what others have put into it stays there.
"""

from __future__ import annotations

import json
import os
import re
import zipfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from wearsim.bench.input_errors import opened, read_text
from wearsim.bench.whole_file import to_disk
from wearsim.errors import CouldNotError, InputError, StoreError
from wearsim.study.cases import ChunkResult

FORMAT = "wearsim study, parts"
VERSION = 1
_MANIFEST, _LOCK = "study.json", "study.lock"
_NAME = re.compile(r"part-(\d{7})\.npz")
_OURS = re.compile(r"(?:study\.json|part-\d{7}\.npz)(?:\.partial)?")
_DAMAGE = (zipfile.BadZipFile, zlib.error, InputError, OSError, KeyError, ValueError, EOFError)


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
            with opened(path, "a part of a study") as stream, np.load(stream, allow_pickle=False) as file:
                first, last = self.bounds(number)
                values, inner = (
                    {name[2:]: file[name] for name in file.files if name.startswith(mark)} for mark in ("v ", "c ")
                )
                reason = tuple(map(str, file["reason"]))
                told = str(file["identity"]) if "identity" in file.files else ""
                result = ChunkResult(int(file["first"]), file["failure"], reason, values, inner)
        except _DAMAGE as error:
            raise _damaged(path) from error
        if result.first != first or len(result) != last - first or told not in ("", self.identity):
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
        arrays |= {"identity": np.str_(self.identity), "chunk": np.int64(self.chunk)}
        arrays["reason"] = np.array(result.reason, dtype=np.str_)
        arrays |= {f"v {name}": values for name, values in result.values.items()}
        arrays |= {f"c {name}": values for name, values in result.inner.items()}
        _write_whole(self.path(number), lambda stream: np.savez(stream, **arrays))

    def __iter__(self) -> Iterator[ChunkResult]:
        """What came of all chunks, in order."""
        return (self.read(number) for number in range(self.count))

    def remove(self) -> None:
        """Remove the parts, once all of them are in the output."""
        remove_parts(self.folder)


def remove_parts(folder: Path) -> None:
    """Remove what a study wrote into its folder of parts but the lock; what others put there stays."""
    for path in sorted(folder.iterdir()):
        if _OURS.fullmatch(path.name) and (path.is_symlink() or not path.is_dir()):
            path.unlink(missing_ok=True)


@contextmanager
def locked(output: Path) -> Iterator[None]:
    """The folder of an output's parts, for one process alone; made where it is not there, and removed where it is empty.

    Yields
    ------
    None

    Raises
    ------
    StoreError
        Where something else has its name.
    CouldNotError
        Where another process works there, or the folder cannot be made.
    """
    folder = checkpoint_folder(output)
    if folder.exists() and not folder.is_dir():
        taken = "a file is in the way of the folder for the study's parts"
        raise StoreError(taken, file=folder, expected="a folder, or nothing")
    try:
        folder.mkdir(exist_ok=True)
        stream = _locked_file(folder / _LOCK)
    except BlockingIOError as error:
        raise CouldNotError(f"{output}: {_holder(folder / _LOCK)} is using it; wait until it ends") from error
    except OSError as error:
        raise _not_written(folder, error) from error
    try:
        yield
    finally:
        with suppress(OSError):
            (folder / _LOCK).unlink()
        stream.close()
        with suppress(OSError):
            folder.rmdir()


def _locked_file(path: Path) -> BinaryIO:
    """An open file that no other process has locked, with our number in it; BlockingIOError where one has."""
    while True:
        stream = path.open("a+b")
        try:
            _lock(stream)
            if path.exists() and os.fstat(stream.fileno()).st_ino == path.stat().st_ino:  # not one just removed
                stream.truncate(0)
                stream.write(str(os.getpid()).encode())
                stream.flush()
                return stream
        except BaseException:
            stream.close()
            raise
        stream.close()


def _lock(stream: BinaryIO) -> None:
    try:
        import fcntl
    except ImportError:  # a system without it: two studies at once are the person's own affair there
        return
    try:
        fcntl.flock(stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise
    except OSError:  # nor on a file system without locks
        return


def _holder(path: Path) -> str:
    with suppress(InputError):
        number = read_text(path)
        if number.isdecimal():
            return f"another study (process {number})"
    return "another study"


def open_checkpoint(output: Path, identity: str, chunk: int, cases: int) -> Checkpoint:
    """What is complete of an output already, or an empty folder; ``chunk`` counts where it begins again.

    Where ``study.json`` is missing or damaged the parts say themselves what they belong to.

    Raises
    ------
    StoreError
        Where it belongs to another study, or is damaged.
    CouldNotError
        Where the folder cannot be made.
    """
    folder = checkpoint_folder(output)
    manifest = folder / _MANIFEST
    about = _read_manifest(manifest) or _told_by_parts(folder, cases)
    if about is None:
        if folder.exists() and any(_chunk_numbers(folder)):
            raise StoreError(
                "parts of an unidentified study", file=folder, expected="another output, or --force to begin again"
            )
        about = {"identity": identity, "chunk": chunk, "cases": cases}
    elif about["identity"] != identity or about["cases"] != cases:
        raise StoreError(
            "holds unfinished work of another study, seed or version of wearsim", file=folder,
            expected="another output, or --force to begin again",
        )  # fmt: skip
    if _read_manifest(manifest) is None:
        _begin(manifest, about)
    for path in folder.glob("*.partial"):  # of a writer that was killed
        if _OURS.fullmatch(path.name):
            path.unlink(missing_ok=True)
    return Checkpoint(folder, identity, about["chunk"], cases)


def _told_by_parts(folder: Path, cases: int) -> dict[str, Any] | None:
    """What ``study.json`` would say, by the parts; None where none of them says it or they differ."""
    found = set()
    for path in sorted(folder.glob("part-*.npz")) if folder.is_dir() else []:
        try:
            with opened(path, "a part of a study") as stream, np.load(stream, allow_pickle=False) as file:
                found.add((str(file["identity"]), int(file["chunk"])))
        except _DAMAGE:
            continue
    if len(found) != 1:
        return None
    identity, chunk = found.pop()
    return {"identity": identity, "chunk": chunk, "cases": cases}


def _chunk_numbers(folder: Path) -> Iterator[str]:
    return (found[1] for path in folder.iterdir() if (found := _NAME.fullmatch(path.name)))


def _begin(manifest: Path, about: dict[str, Any]) -> None:
    try:
        manifest.parent.mkdir(exist_ok=True)
    except OSError as error:
        raise _not_written(manifest.parent, error) from error
    text = json.dumps({"format": FORMAT, "version": VERSION, **about}, indent=1)
    _write_whole(manifest, lambda stream: stream.write(text.encode()))


def _read_manifest(path: Path) -> dict[str, Any] | None:
    """What it says; None where it is missing or damaged."""
    try:
        about = json.loads(read_text(path))
        if about["format"] != FORMAT or about["version"] != VERSION or int(about["chunk"]) < 1:
            return None
        return {"identity": str(about["identity"]), "chunk": int(about["chunk"]), "cases": int(about["cases"])}
    except (InputError, ValueError, KeyError, TypeError):
        return None


def _damaged(path: Path) -> StoreError:
    return StoreError(
        "damaged, and left as it is", file=path,
        expected="an undamaged part; remove this one file and its cases are computed again",
    )  # fmt: skip


def _write_whole(path: Path, content: Callable[[BinaryIO], object]) -> None:
    """Write a file whole or not at all, down to the disk."""
    partial = path.with_name(path.name + ".partial")
    try:
        with partial.open("wb") as stream:
            content(stream)
        to_disk(partial)
        partial.replace(path)
    except OSError as error:
        partial.unlink(missing_ok=True)
        raise _not_written(path.parent, error) from error


def _not_written(folder: Path, error: OSError) -> CouldNotError:
    return CouldNotError(
        f"{folder}: cannot be written ({error.strerror or error}); finished cases are kept: "
        "make room and give the same command again"
    )
