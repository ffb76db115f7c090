"""Pieces that every view is made of: the frame of the page, headings, buttons, pictures, what is said to the person."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, NamedTuple, TypeVar
from urllib.parse import quote
from weakref import WeakKeyDictionary

from nicegui import Client, Event, context, ui
from nicegui.awaitable_response import AwaitableResponse
from nicegui.elements.mixins.value_element import ValueElement
from nicegui.slot import Slot

from wearsim.errors import InputError, WearsimError
from wearsim.show.text import by_window, in_short, sentence, upper

if TYPE_CHECKING:
    from wearsim.page.live_mirror import LiveMirror
    from wearsim.worker import Job

ASSETS = Path(__file__).parent / "assets"
STEPS = {
    "readings": "Readings", "next": "What next?", "barrel": "At the barrel", "after": "Afterwards", "past": "History",
    "print": "Print",
}  # fmt: skip
"""The steps of the work, by the last part of their address."""
CHANGE = "Change the mirror's answers"
LOOKS = {"Screen: auto": None, "Screen: dark": True, "Screen: light": False}
E = TypeVar("E", bound=ui.element)
V = TypeVar("V", bound=ValueElement[Any])
Kind = Literal["main", "plain", "slight"]
TWICE = 0.4
"""The second half of a double click follows within this [s]."""
EARLY = """<script>
document.addEventListener('beforeinput', event => { if (!window.did_handshake) event.preventDefault(); }, true);
</script>"""
"""What is typed before the page can send it is not taken: it would be sent in any order."""


def browser() -> str:
    """The one that is being answered; empty where none is."""
    stack = Slot.get_stack()
    return stack[-1].parent.client.id if stack else ""


class Entry(NamedTuple):
    """What a field is for: the value so far, what takes another one; the event and key by which all browsers show it."""

    value: Any
    enter: Callable[[Any], Any]
    typed: Event[str, Any, Any] | None = None
    key: Any = None

    @classmethod
    def in_table(cls, table: dict[str, Any], key: str, typed: Event[str, Any, Any], then: Callable[[], Any]) -> Entry:
        """For the value in a table under the key; ``then`` is called after every change."""

        def enter(value: Any) -> None:
            if table.get(key) != value:
                table[key] = value
                typed.emit(browser(), key, value)
            then()

        return cls(table.get(key, ""), enter, typed, key)

    def of(self, made: V, read: Callable[[Any], Any] = lambda value: value) -> V:
        """Give it to its field; ``read`` makes of what the field holds what is entered, or None."""
        own = context.client.id

        def show(by: str, key: Any, value: Any) -> None:
            if by != own and key == self.key and not made.is_deleted:
                made.value = value

        def changed(event: Any) -> None:
            value = read(event.value)
            if value is not None:
                self.enter(value)

        made.on_value_change(changed)
        if self.typed is not None:
            self.typed.subscribe(show)
        return made


class part(ui.refreshable_method[Any, ..., None]):
    """A method that shows a part of a view, and shows it again by ``refresh``, unless the browser has left meanwhile."""

    def refresh(self, *args: Any, **kwargs: Any) -> AwaitableResponse:
        """Show it again, soon or where this is awaited."""
        instance, shown_again = self.instance, super().refresh

        async def now() -> None:
            self.instance = instance
            await shown_again(*args, **kwargs)  # forgets at once what is in no browser any more

        return AwaitableResponse(now, now)


_pressed: WeakKeyDictionary[Client, tuple[str, float]] = WeakKeyDictionary()


def address_of(mirror: LiveMirror, step: str) -> str:
    """Address of a step."""
    return f"/mirror/{quote(mirror.name, safe='')}/{step}"


@contextmanager
def frame(title: str, look: dict[str, Any], mirror: LiveMirror | None = None, step: str = "") -> Iterator[None]:
    """The page round a view with this title; ``look`` holds what was chosen last on any screen, under ``name``.

    Yields
    ------
    None
        While the view is put into it.
    """
    ui.add_css((ASSETS / "style.css").read_text(encoding="utf-8"))
    ui.add_head_html(EARLY)
    ui.page_title(f"{title} \u2013 {mirror.name if mirror else 'wearsim'}")
    dark, names = ui.dark_mode(LOOKS[look["name"]]), list(LOOKS)

    def turn() -> None:
        look["name"] = names[(names.index(look["name"]) + 1) % len(names)]
        dark.value, looked.text = LOOKS[look["name"]], look["name"]

    with ui.element("header").classes("top"):
        ui.link("All mirrors", "/")
        if mirror is not None:
            ui.link(mirror.name, address_of(mirror, "answers")).classes("name").props(f'title="{CHANGE}"')
            says(mirror.title, "quiet")
            ui.link(CHANGE, address_of(mirror, "answers")).classes("quiet")
            follow(mirror, {"answers"}, ui.navigate.reload, others_only=True)
        with ui.element("div").classes("end"):
            looked = button(look["name"], turn, "slight")
    if mirror is not None and not mirror.fault:
        _steps(mirror, step)
    with group("content"):
        heading(title, 1)
        yield


def _steps(mirror: LiveMirror, step: str) -> None:
    with ui.element("nav").classes("steps").props('aria-label="Steps of the work"'):
        for name, words in STEPS.items():
            ui.link(words, address_of(mirror, name)).props('aria-current="page"' if name == step else "")
    mirror.step = step if step in STEPS else mirror.step


def heading(text: str, level: int = 2) -> ui.html:
    """A heading."""
    return ui.html(escape(text), sanitize=False, tag=f"h{level}")


def says(text: str, kind: str = "") -> ui.html:
    """A paragraph; ``kind`` is a class of the style sheet."""
    return ui.html(escape(text), sanitize=False, tag="p").classes(kind)


def refuse(error: WearsimError, made: ui.input | None = None, client: Client | None = None) -> None:
    """Say why what was typed cannot be used: at its field until it is changed, where one is known."""
    if made is None or made.client.is_deleted or not isinstance(error, InputError):
        return tell(sentence(by_window(str(error))), client)
    made.error = sentence(f"{error.message}; expected {error.expected}")
    made.run_method("focus")


def scroll_to(name: str, only_if: str = "true") -> None:
    """Bring into view what has this id, where a condition of the browser's is met."""
    to = "scrollIntoView({behavior: 'smooth', block: 'nearest'})"
    ui.run_javascript(f"if ({only_if}) document.getElementById('{name}')?.{to}")


def written(text: str) -> ui.html:
    """A table as the command prints it; it can be reached and scrolled with the keyboard."""
    return ui.html(escape(text), sanitize=False, tag="pre").props('tabindex=0 role=region aria-label="Table in full"')


def warn(warnings: list[str]) -> None:
    """What is wrong, a sentence each; more about it where there is more to say."""
    for short, rest in map(in_short, warnings):
        says(f"Warning: {short}", "mark")
        if rest:
            with fold("Why, and what else helps"):
                says(rest)


def caution(*lines: str) -> None:
    """Words of caution where the work can hurt."""
    with ui.element("div").classes("caution").props("role=note"):
        for line in lines:
            says(line)


def button(
    text: str, on_click: Callable[..., Any], kind: Kind = "plain", *, often: bool = False, **props: str
) -> ui.button:
    """A button as large as a knuckle. A double click is one press of it; ``often``: each counts."""

    def press() -> Any:
        before, at = _pressed.get(context.client, ("", 0.0))
        _pressed[context.client] = text, time.monotonic()
        return None if before == text and time.monotonic() - at < TWICE else on_click()

    made = ui.button(text, on_click=on_click if often else press, color=None).classes(f"push {kind}")
    return with_props(made.props("flat no-caps" if kind == "slight" else "unelevated no-caps"), props)


def field(words: str, entry: Entry, hint: str = "", **props: str) -> ui.input:
    """A line to type into."""
    made = entry.of(ui.input(words, value=entry.value), lambda value: value or "")
    return with_props(made.props("outlined autocomplete=off debounce=150"), {**props, "hint": hint} if hint else props)


def number(words: str, entry: Entry, least: float, most: float) -> ui.number:
    """A number to type; an empty one says nothing."""
    made = ui.number(words, value=entry.value, min=least, max=most).props("outlined")
    return entry.of(made, lambda value: None if value is None else min(max(float(value), least), most))


def choice(words: str, options: dict[Any, str], entry: Entry, hint: str = "") -> ui.select:
    """One of a few."""
    more = {"hint": hint} if hint else {}
    value = entry.value if entry.value in options else next(iter(options))
    return with_props(entry.of(ui.select(options, label=words, value=value)).props("outlined"), more)


def radio(words: str, options: dict[str, str], entry: Entry) -> ui.radio:
    """One of two or three, all of them in sight."""
    return with_props(entry.of(ui.radio(options, value=entry.value)).props("inline"), {"aria_label": words})


def picture(data: str, words: str, kind: str = "lines") -> ui.html:
    """A picture, with words for whoever cannot see it."""
    inner = f'<img class="picture {kind}" src="{escape(data)}" alt="{escape(words)}">'
    return ui.html(inner, sanitize=False).classes("sideways").props("tabindex=0" if "wide" in kind else "")


def facts(pairs: dict[str, str]) -> ui.html:
    """Names and values."""
    rows = "".join(f"<dt>{escape(name)}</dt><dd>{escape(value)}</dd>" for name, value in pairs.items() if value)
    return ui.html(rows, sanitize=False, tag="dl").classes("facts")


def table(columns: dict[str, str], rows: list[dict[str, str]]) -> ui.html:
    """A small table; the first column names the rows."""
    first, *others = columns
    lines, heads = "", "".join(f'<th scope="col">{escape(head)}</th>' for head in columns.values())
    for row in rows:
        cells = "".join(f'<td data-head="{escape(columns[key])}">{escape(row[key])}</td>' for key in others)
        lines += f'<tr><th scope="row">{escape(row[first])}</th>{cells}</tr>'
    inner = f"<thead><tr>{heads}</tr></thead><tbody>{lines}</tbody>"
    return ui.html(inner, sanitize=False, tag="table").classes("choices")


def sheet(title: str = "") -> ui.element:
    """A sheet of paper on the page, to be filled in a ``with`` block."""
    made = ui.element("section").classes("sheet")
    if title:
        with made:
            heading(title)
    return made


def group(kind: str, **props: str) -> ui.element:
    """A group of elements, laid out by a class of the style sheet, to be filled in a ``with`` block."""
    return with_props(ui.element("div").classes(kind), props)


def with_props(made: E, props: dict[str, str]) -> E:
    """An element with attributes such as ``aria_label``."""
    for key, value in props.items():
        made.props[key.replace("_", "-")] = value
    return made


def fold(title: str, on_open: Callable[[], Any] = lambda: None, opened: set[str] | None = None) -> ui.expansion:
    """What is shown when it is asked for, to be filled in a ``with`` block; again where ``opened`` remembers it open."""
    kept = set[str]() if opened is None else opened
    made = ui.expansion(title, value=title in kept)
    made.on_value_change(lambda event: kept.add(title) if event.value else kept.discard(title))
    made.on_value_change(lambda event: on_open() if event.value else None)
    if title in kept:
        ui.timer(0.0, on_open, once=True)
    return made


def is_working(job: Job, words: str = "Stop") -> bool:
    """Whether something that takes a while goes on: how far it is, and a button to stop it; else why it ended badly."""
    if job.is_running:
        with group("row"):
            ui.spinner(size="lg")
            says(upper(job.stage))
            says(f"best so far {job.best} RMS" if job.best else "", "strong")
        button(words, job.stop)
    elif job.fault:
        says(job.fault, "mark")
    return job.is_running


def answers(job: Job, words: str, kind: str = "lines") -> None:
    """What was found: in plain words, the picture, and every number for whoever wants it."""
    for found in job.found:
        for line in found.get("said", ()):
            says(line)
        picture(found["picture"], words, kind)
        with fold("All numbers"):
            written(found["text"])


def follow(mirror: LiveMirror, topics: set[str], refresh: Callable[[], Any], *, others_only: bool = False) -> None:
    """Show again whenever one of these is changed, in any browser or in others only, for as long as this is shown."""
    own, around = context.client.id if others_only else None, context.slot.parent

    def changed(topic: str, by: str) -> Any:
        return refresh() if topic in topics and by != own and not around.is_deleted else None

    mirror.changed.subscribe(changed)


def tell(text: str, client: Client | None = None) -> None:
    """A line that stays for a while; of a client where what asked for it may be gone."""
    here = client or context.client
    if not here.is_deleted:
        with here:
            ui.notify(text, position="bottom", timeout=8000, close_button="Close", classes="notice")
