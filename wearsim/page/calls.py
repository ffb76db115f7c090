"""Everything that the page asks of the rest of wearsim, in one place: plain data in, plain data out.

The functions run in a process of their own (:mod:`wearsim.worker`), so arguments and answers can be pickled. A
picture is a data address of what :mod:`wearsim.show` draws, a table the text that the command prints.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from wearsim.bench import personal_units
from wearsim.bench.bench import Bench
from wearsim.bench.toml_io import dump_programme, load_bench, programme_from_table, programme_from_text
from wearsim.bench.units import length_unit, round_unit
from wearsim.decide.alternatives import alternatives
from wearsim.decide.compare import compare
from wearsim.decide.limits import COMMON, usual_limits
from wearsim.knifeedge.readings import Readings
from wearsim.knifeedge.reduction import Reduction, reduce_readings
from wearsim.knifeedge.stopping import when_to_stop
from wearsim.learn.cache import KeptCalibration, keep, recalled
from wearsim.learn.calibrate import DRAWS, calibrate
from wearsim.learn.history import history
from wearsim.learn.known_figure import known_figure
from wearsim.learn.mirror_folder import BENCH, open_folder
from wearsim.learn.new_folder import answers_from, defaults_said, fresh_folder, taken_text, weight_words, with_weight
from wearsim.learn.present_state import state_of
from wearsim.learn.proposal_file import keep_choice
from wearsim.learn.typed_readings import newest_sheet, typed_readings
from wearsim.show.answers import answer_figure, answer_text
from wearsim.show.calibration import calibration_figure, calibration_text, plain_words
from wearsim.show.choices import choice_words, headline_words, predicted_words
from wearsim.show.comparison import comparison_figure, comparison_text
from wearsim.show.history import history_figure, history_text
from wearsim.show.mask_sheets import suggested_mask_bytes
from wearsim.show.moving_stroke import barrel_spells
from wearsim.show.notices import is_heavy, waiting_text
from wearsim.show.numbers import CONIC_WORDS, STREHL_WORDS
from wearsim.show.reduction import correction_words, known_text, reduction_figure, reduction_text
from wearsim.show.shadows import measured_shadows
from wearsim.show.strokes import title_of
from wearsim.show.style import data_address
from wearsim.show.text import sentence
from wearsim.study.questions import QuestionName, answer_of, study_of
from wearsim.study.run import run_study
from wearsim.wear.expected_readings import usual_sheet
from wearsim.wear.predict import predict

NARROW = 6.0
"""Of pictures that a phone shows as well [in]: their letters can be read there."""
READY = "raised-zone-300"  # a ready-made bench to warm up with
TOPS = {"either": None, "tool": ("tool",), "mirror": ("mirror",)}


def warm_up() -> None:
    """Load what readings need, so that the first of them is answered at once."""
    bench = load_bench(READY)
    sheet = usual_sheet(bench)
    if sheet is not None:
        data_address(reduction_figure(reduce_readings(sheet, bench.mirror.geometry, bench.light.wavelength)))


def warm_up_strokes() -> None:
    """The same for predictions; compiled here where that was never done."""
    bench = load_bench(READY)
    predict(bench, programme_from_table({"spell": [{"stroke": "one-third", "minutes": 1.0}]}), draws=0)


def on_bench(path: Path, function: Callable[..., Any], *arguments: Any, **more: Any) -> Any:
    """A function of a mirror's folder, called with heights written in the unit that its bench remembers."""
    light = load_bench(path / BENCH).light
    personal_units.read_heights_in(personal_units.surface_unit(light.surface_unit or "nm", light.wavelength))
    return function(path, *arguments, **more)


def fresh(given: dict[str, Any]) -> dict[str, Any]:
    """What a folder made of these answers would hold: texts of its files, what was left to defaults and why, weights."""
    answers = with_weight(answers_from(given))
    made = fresh_folder(answers)
    bench, kilograms = made.bench, made.bench.mirror.piece_mass
    return {
        "title": title_of(bench), "files": {file.name: text for file, text in made.files(Path()).items()},
        "glass": weight_words(bench, kilograms), "tool": answers.lap_mass, "is_heavy": is_heavy(bench.mirror),
        "taken": taken_text(bench), "defaults": defaults_said(bench), "windows": len(made.mask.zones),
        "waiting": waiting_text(bench.mirror),
    }  # fmt: skip


def surface(path: Path, file: Path, rows: list[list[str]], source: str, is_recorded: bool) -> dict[str, Any]:
    """The surface that rows of readings say, with its band; where they are recorded, beside what all sessions say."""
    bench, sheet, reduction = _reduced(path, file, rows, source)
    folder = open_folder(path)
    known = known_figure(folder, state_of(path)) if is_recorded and recalled(folder) else None
    unit, high = length_unit(bench), personal_units.height_unit(reduction.surface_pv)
    rms = f"{high.number(reduction.surface_rms)} \u00b1 {high.text(reduction.surface_rms_sigma)}"
    advice = when_to_stop(reduction, length=round_unit(unit).text)
    return {
        "picture": data_address(reduction_figure(reduction, unit, known), NARROW),
        "text": reduction_text(sheet, reduction, advice, unit, known),
        "known": "" if known is None else known_text(known, unit),
        "advice": sentence(advice.reason), "rms": rms, "verdict": advice.verdict,
        "notes": [*reduction.warnings, f"{STREHL_WORDS} {CONIC_WORDS} {correction_words(reduction)}".rstrip()],
    }  # fmt: skip


def shadows(path: Path, file: Path, rows: list[list[str]], source: str) -> str:
    """What the tester should show of it."""
    bench, sheet, reduction = _reduced(path, file, rows, source)
    return data_address(measured_shadows(bench, sheet, reduction))


def _reduced(path: Path, file: Path, rows: list[list[str]], source: str) -> tuple[Bench, Readings, Reduction]:
    bench = load_bench(path / BENCH)
    sheet = typed_readings(bench, file, rows, source)
    return bench, sheet, reduce_readings(sheet, bench.mirror.geometry, bench.light.wavelength)


def choices(path: Path, limits: dict[str, Any], *, progress: Any) -> None:
    """Look for what to do next, within these minutes and spells, ``top`` (of TOPS) on top, ``strokes``: any or common."""
    state = state_of(path)
    bench, known = state.bench, state.arguments
    seen: list[float] = []

    def told(name: str, stage: str, best: float) -> None:
        seen.append(best)  # each round of the search counts from its own start
        gained = min(seen) < seen[0]
        progress("stage", f"{name}: {stage}", personal_units.height_text(min(seen)) if gained else "")

    given = {"on_top": TOPS[limits["top"]], "repertoire": limits.get("strokes") or COMMON}
    asked = usual_limits(minutes=limits["minutes"], spells=limits["spells"], **given)
    for name, proposal in alternatives(bench, asked, told, **known):
        progress("choice", choice_words(name, bench, known, proposal))


def own_programme(spells: list[dict[str, Any]]) -> str:
    """TOML of a programme from such tables, everything written out."""
    return dump_programme(programme_from_table({"spell": spells}))


def predicted(path: Path, programme: str, draws: int) -> dict[str, Any]:
    """What a programme of one's own will do."""
    state = state_of(path)
    work = programme_from_text(programme, state.bench)
    outcome = predict(state.bench, work, draws=draws, **state.arguments)
    return predicted_words(state.bench, state.arguments, work, outcome)


def headline(path: Path, programme: str) -> dict[str, str]:
    """The same in numbers alone, within a tenth of a second, without a band."""
    state = state_of(path)
    return headline_words(predict(state.bench, programme_from_text(programme, state.bench), draws=0, **state.arguments))


def either_way(path: Path, programme: str, *, progress: Any) -> dict[str, Any]:
    """The same programme with the tool on top and with the mirror on top."""
    state = state_of(path)
    bench = state.bench
    both = compare(
        bench, programme_from_text(programme, bench), progress=lambda share: progress(f"predicting both ways: {share:.0%}"),
        **state.arguments,
    )  # fmt: skip
    return {"picture": data_address(comparison_figure(bench, both)), "text": comparison_text(bench, both)}


def work_plan(path: Path, programme: str) -> list[dict[str, Any]]:
    """A programme for the barrel: its spells, their strokes moving."""
    bench = open_folder(path).bench
    return barrel_spells(bench, programme_from_text(programme, bench))


def take(path: Path, programme: str, card: bytes) -> None:
    """Keep a chosen programme in the folder, with its card where there is one."""
    folder = open_folder(path)
    keep_choice(folder, programme_from_text(programme, folder.bench), card)


def calibration(path: Path, *, progress: Any) -> dict[str, Any]:
    """What the sessions show of hands and pitch; kept in the folder as ``calibrate`` keeps it."""
    folder = open_folder(path)
    found = calibrate(folder, progress=lambda *stage: progress(" ".join(map(str, stage))))
    keep(folder, len(folder.sessions), KeptCalibration.of(found), 0, DRAWS)
    picture = data_address(calibration_figure(folder.bench, found), NARROW)
    said = plain_words(folder.bench, found)
    return {"said": said, "picture": picture, "text": calibration_text(folder.bench, found)}


def past(path: Path, *, progress: Any) -> dict[str, Any]:
    """The mirror through its sessions, predicted against read."""
    folder = open_folder(path)
    found = history(folder, progress=lambda *stage: progress(" ".join(map(str, stage))))
    figure = history_figure(found, folder.bench.mirror, length_unit(folder.bench))
    return {"picture": data_address(figure, NARROW), "text": history_text(found)}


def answer(path: Path, name: QuestionName, *, progress: Any) -> dict[str, Any]:
    """A standard question about the mirror's bench, computed case by case."""
    study = study_of(name, state_of(path).calibrated_bench, path)
    with tempfile.TemporaryDirectory() as place:
        file = Path(place) / f"{name}.h5"
        result = run_study(study, file, progress=lambda done: progress(f"{done.done} of {done.cases} cases"))
        found = answer_of(name, study, result)
        figure, text = answer_figure(study.bench, found, result), answer_text(study.bench, found, result)
    return {"picture": data_address(figure, NARROW), "text": text}


def mask_pdf(path: Path) -> bytes:
    """The mask of the folder's sheet at 1:1."""
    sheet = newest_sheet(open_folder(path))
    return suggested_mask_bytes(load_bench(path / BENCH), None if sheet is None else sheet.blank)
