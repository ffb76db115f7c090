"""What a much longer global search reaches, on the same engine and within the same limits as a proposal.

    python -m tests.benchmarks.search_oracle [--only TEXT] [--runs N] [--seed N] [--on rms|cost] [--toml FILE]
    python -m tests.benchmarks.search_oracle --propose [--only TEXT] [--on rms|cost]

For every start figure the oracle of long_search.py is run on the RMS figure error alone (with the limit on the edge
roll) or on the cost that the search minimises; ``--propose`` runs ``propose`` instead, on its cost or with the costs and
the spread of the removal set to nothing. For each the RMS figure error
and the edge roll by the full-accuracy engine, the search's cost, coupled runs, seconds of processor time, and the programme.
``--toml`` keeps what was reached, row by row as it comes, where it is lower than what the file holds:
tests/decide/oracle.toml.
"""

from __future__ import annotations

import argparse
import sys
import time
import tomllib
from pathlib import Path

import tomli_w

from tests.benchmarks.long_search import FINE, Effort, Ground, searched
from tests.helpers.any_stroke import any_limits
from tests.helpers.start_figures import CASES, StartCase
from wearsim.bench.programme import Programme
from wearsim.decide.coarse_engine import PlannedSpell, plan_of
from wearsim.decide.propose import propose
from wearsim.decide.repertoire import is_allowed
from wearsim.wear.outcome import Outcome
from wearsim.wear.predict import predict

WORDS = {"rms": "long search on the RMS alone", "cost": "long search on the cost"}

# Limits with which a proposal goes by the RMS alone.
NOTHING_ELSE = {"removal_spread": 0.0, "cost_hour": 0.0, "ripple": 0.0}


def outcome_of(case: StartCase, programme: tuple[PlannedSpell, ...]) -> Outcome:
    """A programme by the full-accuracy engine; refuses one that is not within the limits."""
    bench, limits = case.bench(), any_limits(minutes=case.minutes)
    assert len(programme) <= limits.spells
    assert sum(tried.minutes for tried in programme) <= limits.minutes * (1.0 + 1e-9)
    assert all(tried.minutes >= limits.shortest * (1.0 - 1e-6) for tried in programme)
    assert all(is_allowed(tried.stroke, bench, limits) for tried in programme)
    spells = tuple(tried.stroke.spell(tried.minutes, limits.rate) for tried in programme)
    outcome = predict(bench, Programme(spells=spells), start=case.start(bench), draws=0)
    assert abs(outcome.edge_roll) <= limits.edge_limit * bench.light.wavelength * 1.02  # as a proposal is held to
    return outcome


def say(
    case: StartCase, way: str, programme: tuple[PlannedSpell, ...], outcome: Outcome, runs: int, seconds: float
) -> None:
    """What was reached, and the programme, on stdout; the cost is the search's own, in nm."""
    ground = Ground(case, False, FINE)
    cost = ground.judge(programme) * ground.objective.rms_before
    print(
        f"{case.name:48s} {way:15s} rms {outcome.surface_rms * 1e9:7.2f} cost {cost * 1e9:7.2f} "
        f"before {outcome.numbers_before.surface_rms * 1e9:6.1f} roll {outcome.edge_roll * 1e9:6.1f} "
        f"runs {runs} seconds {seconds:.1f}"
    )  # fmt: skip
    for tried in programme:
        shape = tried.stroke
        print(
            f"    {shape.on_top} {shape.kind} {shape.length:.4f} {shape.sweep:.4f} {shape.overhang:.4f} "
            f"{tried.minutes:.2f} min", flush=True,
        )  # fmt: skip


def proposed(case: StartCase, on: str) -> None:
    """What ``propose`` reaches as it is, or with nothing to weigh but the RMS."""
    bench, began = case.bench(), time.process_time()
    limits = any_limits(minutes=case.minutes, **(NOTHING_ELSE if on == "rms" else {}))
    done = propose(bench, limits=limits, start=case.start(bench), draws=0)
    seconds = time.process_time() - began
    say(case, f"propose on {on}", plan_of(done.programme), done.outcome, done.evaluations, seconds)


def reached(case: StartCase, on: str, effort: Effort) -> dict[str, object]:
    """What the oracle reaches, as a row of the file."""
    began = time.process_time()

    def tell(stage: str) -> None:
        print(f"    {stage} {time.process_time() - began:.0f} s", file=sys.stderr, flush=True)

    *programmes, runs = searched(case, on == "rms", effort, tell)
    seconds = time.process_time() - began
    reached = []
    for way, programme in zip((f"on {on}", "whole minutes"), programmes, strict=True):
        reached.append(outcome_of(case, programme))
        say(case, way, programme, reached[-1], runs, seconds)
    by = WORDS[on] + (f", seed {effort.seed}" if effort.seed != 1 else "")
    free, whole = (round(outcome.surface_rms * 1e9, 3) for outcome in reached)
    return {
        "name": case.name, "rms_nm": free, "whole_nm": whole, "by": by, "runs": runs,
        "seconds": round(seconds, 1),
    }  # fmt: skip


def keep(file: Path, row: dict[str, object]) -> None:
    """Put into the file what is lower than the file's own; its opening comment stays."""
    text = file.read_text(encoding="utf-8") if file.exists() else ""
    comment = "".join(line for line in text.splitlines(keepends=True) if line.startswith("#"))
    rows = {one["name"]: one for one in tomllib.loads(text).get("oracle", [])}
    name = str(row["name"])
    old = rows.get(name, {})
    whole = min(float(str(one["whole_nm"])) for one in (old, row) if "whole_nm" in one)
    if "rms_nm" not in old or float(str(row["rms_nm"])) < old["rms_nm"]:
        rows[name] = row
    rows[name]["whole_nm"] = whole
    ordered = [rows[case.name] for case in CASES if case.name in rows]
    file.write_text(comment + "\n" + tomli_w.dumps({"oracle": ordered}), encoding="utf-8")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--only", default="", help="figures whose name holds this")
    parser.add_argument("--on", choices=tuple(WORDS), help="rms; for --propose cost")
    parser.add_argument("--runs", type=int, default=Effort.runs)
    parser.add_argument("--seed", type=int, default=Effort.seed)
    parser.add_argument("--propose", action="store_true")
    parser.add_argument("--toml", type=Path)
    arguments = parser.parse_args()
    for case in CASES:
        if arguments.only not in case.name:
            continue
        if arguments.propose:
            proposed(case, arguments.on or "cost")
            continue
        row = reached(case, arguments.on or "rms", Effort(runs=arguments.runs, seed=arguments.seed))
        if arguments.toml:
            keep(arguments.toml, row)


if __name__ == "__main__":
    main()
