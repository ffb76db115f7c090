"""``recorded.toml``: what a session's files said when they were recorded, and which record they followed.

Its seal is a digest of all that, and goes into the ``recorded.toml`` of the session after it. So the records are a
chain: none can be changed without a trace in the ones that follow. Editing is allowed, and :func:`changes` finds it. A
session without the file, written by hand or by an older wearsim, is as good as any other: its seal is that of its files
as they are.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from wearsim.bench.input_errors import is_ordinary, parse_toml, read_text
from wearsim.bench.whole_file import digest
from wearsim.errors import InputError
from wearsim.learn.mirror_folder import PROFILE, PROGRAMME, READINGS, SESSION, MirrorFolder, Session, replacements

FILE = "recorded.toml"
_HEAD = """\
# Written by wearsim record: digests of what the files of this session said then, and of the session before it.
# You may still edit the files; wearsim history reports which ones were edited, and when.
"""
_CONFIRMED = "\nconfirmed = true"


@dataclass(frozen=True)
class RecordSeal:
    """What a record was when it was made.

    Parameters
    ----------
    recorded : datetime or None
        When; None: not known.
    before : str
        Seal of the session before it; empty in the first.
    files : mapping of str to str
        Digests of its files, by their names.
    """

    recorded: datetime | None
    before: str
    files: Mapping[str, str]

    @property
    def value(self) -> str:
        """The digest of all of it."""
        when = "" if self.recorded is None else self.recorded.isoformat()
        return digest("\n".join([when, self.before, *(f"{name} {self.files[name]}" for name in sorted(self.files))]))

    @property
    def text(self) -> str:
        """TOML of it; reading it gives an equal one."""
        files = "".join(f'"{name}" = "{self.files[name]}"\n' for name in sorted(self.files))
        when = "" if self.recorded is None else f"recorded = {self.recorded.isoformat()}\n"
        return f'{_HEAD}{when}before = "{self.before}"\n\n[files]\n{files}'

    @classmethod
    def read(cls, place: Path) -> RecordSeal | None:
        """The seal in a session's folder; None where it has none, InputError where it cannot be read."""
        file = place / FILE
        if not file.exists():
            return None
        table = parse_toml(read_text(file, "what wearsim record wrote"), file)
        when, before, files = (table.get(key) for key in ("recorded", "before", "files"))
        if not isinstance(when, datetime) or not isinstance(before, str) or not isinstance(files, dict):
            raise InputError("damaged", file=file, expected="what wearsim record wrote")
        return cls(when, before, {str(name): str(value) for name, value in files.items()})

    @classmethod
    def now(cls, place: Path) -> RecordSeal:
        """The seal of a session's files as they are."""
        names = (name for name in (PROGRAMME, READINGS, PROFILE, SESSION) if is_ordinary(place / name))
        return cls(None, "", {name: _digest_of(name, read_text(place / name)) for name in names})


@dataclass(frozen=True)
class Change:
    """A record that is not what it was when it was made.

    Parameters
    ----------
    what : str
        In words, to follow the session's number: ``"readings.toml was edited after it was recorded"``.
    modified : datetime
        When the file was last written, by the file system; of several the last.
    """

    what: str
    modified: datetime


def sealed(mirror: MirrorFolder, number: int, texts: Mapping[str, str]) -> dict[str, str]:
    """The files of a session that is recorded now as number ``number``, and its ``recorded.toml``."""
    files = {name: _digest_of(name, text) for name, text in texts.items()}
    before = "" if number == 1 else _value_of(mirror.sessions[number - 2].path)
    return {**texts, FILE: RecordSeal(_clock(), before, files).text}


def changes(mirror: MirrorFolder) -> dict[int, tuple[Change, ...]]:
    """What was edited since it was recorded, by the session's number; every session has an entry."""
    following = [*mirror.sessions, None][1:]
    return {
        session.number: (*_edited(session), *_replaced(mirror, session, after))
        for session, after in zip(mirror.sessions, following, strict=True)
    }


def _edited(session: Session) -> Iterator[Change]:
    """Files that say something else than they did."""
    try:
        seal = RecordSeal.read(session.path)
    except InputError:
        yield Change(f"{FILE} cannot be read", _modified(session.path / FILE))
        return
    now = RecordSeal.now(session.path)
    for name in [] if seal is None else sorted({*seal.files, *now.files}):
        if seal is not None and seal.files.get(name) != now.files.get(name):
            place = session.path / name if name in now.files else session.path
            yield Change(f"{name} was edited after it was recorded", _modified(place))


def _replaced(mirror: MirrorFolder, session: Session, after: Session | None) -> Iterator[Change]:
    """Whether the session after this one follows another record of it, which nobody kept."""
    try:
        mine, next_seal = RecordSeal.read(session.path), None if after is None else RecordSeal.read(after.path)
    except InputError:  # said of that session already
        return
    if after is None or next_seal is None:
        return
    if next_seal.before not in {_value_of(place) for place in _records_of(mirror, session)}:
        files = [FILE] if mine is not None else list(RecordSeal.now(session.path).files)
        when = max(_modified(session.path / name) for name in files)
        yield Change(f"the record was changed after session {after.number} was recorded", when)


def _records_of(mirror: MirrorFolder, session: Session) -> Iterator[Path]:
    """Every record that is kept of a session: the one that counts, those that it replaced, those that were set aside."""
    places = [session.path, *(kept.path for kept in mirror.set_aside if kept.number == session.number)]
    places += [mirror.path / name for name, place in replacements(mirror.path).items() if place == session.path]
    for place in filter(Path.is_dir, places):
        yield place
        yield from filter(Path.is_dir, place.rglob("earlier-*"))


def _value_of(place: Path) -> str:
    """The seal of the record in a folder, else of its files as they are; empty where they cannot be read."""
    for found in (RecordSeal.read, RecordSeal.now):
        with suppress(InputError):
            seal = found(place)
            if seal is not None:
                return seal.value
    return ""


def _digest_of(name: str, text: str) -> str:
    """Digest of a file's text; whether the person stands by the record is no change of it."""
    return digest(text.rstrip().removesuffix(_CONFIRMED).rstrip() if name == SESSION else text)


def _modified(path: Path) -> datetime:
    return datetime.fromtimestamp(int(path.stat().st_mtime), UTC)


def _clock() -> datetime:
    return datetime.now(UTC).replace(microsecond=0)
