"""Something else was worked than was recorded: which slips are thought of, found where the readings tell, and said."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.helpers.simulated import programme_of, simulated_chain
from wearsim.learn.calibrate import calibrate_chain
from wearsim.learn.chain import Chain, Link
from wearsim.learn.inference import Inference
from wearsim.learn.misfits import SessionFit, with_chances
from wearsim.learn.outlook import Outlook
from wearsim.learn.sizes import SHAPE, Rival, chances_of, possible, rivals_of
from wearsim.learn.slips import SHARE, Slip, slips_of
from wearsim.learn.suspicions import ANYTHING, by_session, suspicions_of
from wearsim.show.calibration import _other_work, _verdict, calibration_text
from wearsim.wear.constants import Belief, Constants

TRUE = 1.5
KNOWN_PITCH = Belief(np.array([np.log(TRUE), 0.0, 0.0, 0.0]), np.diag([np.log(1.3) ** 2, 0.0, 0.0, 0.0]))
LINK = simulated_chain(11, Constants(), count=1)[1].links[0]


def recorded_as(*spells: dict[str, object], lap: str | None = None) -> Link:
    return replace(LINK, programme=programme_of(spells), lap=lap)


PRESS = {"stroke": "press", "minutes": 5}
SHORT = {"stroke": "one-third", "minutes": 10, "on_top": "tool"}
LONG = {"stroke": "w", "length": 0.5, "side_sweep": 0.2, "minutes": 20, "on_top": "mirror"}


def said(slips: tuple[Slip, ...], words: str) -> Link:
    (link,) = (slip.link for slip in slips if slip.said == words)
    return link


def test_slips_are_what_a_person_may_have_done() -> None:
    slips = slips_of(recorded_as(PRESS, SHORT, LONG), is_first=False)
    assert said(slips, "the other piece was on top in spell 3").programme == programme_of(
        (PRESS, SHORT, {**LONG, "on_top": "tool"})
    )
    assert said(slips, "the other piece was on top in every spell").programme == programme_of(
        (PRESS, {**SHORT, "on_top": "mirror"}, {**LONG, "on_top": "tool"})
    )
    assert said(slips, "half the minutes were worked").programme == programme_of(
        (PRESS, {**SHORT, "minutes": 5}, {**LONG, "minutes": 10})
    )
    assert said(slips, "spell 2 was not worked").programme == programme_of((PRESS, LONG))
    assert said(slips, "the lap was not pressed").programme == programme_of((SHORT, LONG))
    other = said(slips, "spell 3 was another stroke, such as a straight stroke").programme.spells[2]
    assert (other.stroke, other.on_top, other.minutes) == ("straight", "mirror", 20)
    assert other.length == programme_of((LONG,)).spells[0].length
    more = said(slips, "a spell more was worked, such as a W stroke with the tool on top").programme.spells
    assert len(more) == 4 and more[3].minutes == 15
    shares: dict[str, float] = {}
    for slip in slips:
        shares[slip.kind] = shares.get(slip.kind, 0.0) + slip.share
    assert len(shares) == 7 and all(share == pytest.approx(SHARE) for share in shares.values())
    assert all(slip.link != recorded_as(PRESS, SHORT, LONG) for slip in slips)


def test_how_a_lap_may_have_begun() -> None:
    laps = [
        [(slip.link.lap, len(slip.link.programme.spells)) for slip in slips_of(link, is_first=first) if slip.kind == "lap"]
        for link, first in (
            (recorded_as(SHORT), False), (recorded_as(SHORT), True), (recorded_as(PRESS, SHORT, lap="pressed"), False),
            (recorded_as(PRESS), False),
        )
    ]  # fmt: skip
    # nothing to forget; a first session begins on a pressed lap; and one that says so
    assert laps == [[], [("spherical", 1)], [("spherical", 1), ("as left", 1)], [(None, 0)]]


def found_in(chain: Chain) -> tuple[Rival, ...]:
    found = Inference(chain, KNOWN_PITCH)
    found.find([np.zeros(1)])
    rivals = rivals_of(found)
    return (*rivals, *suspicions_of(found, rivals))


def turned(count: int, number: int) -> Chain:
    """Sessions of which one is recorded with the other piece on top."""
    _, chain = simulated_chain(11, Constants(preston=TRUE), count=count)
    (slip,) = (
        one for one in slips_of(chain.links[number - 1], is_first=number == 1)
        if one.kind == "piece" and ("every" in one.said or len(chain.links[number - 1].programme.spells) == 1)
    )  # fmt: skip
    return chain.with_link(slip.link)


def test_the_piece_written_wrong_is_named_and_an_honest_record_left_alone() -> None:
    honest = found_in(simulated_chain(11, Constants(preston=TRUE), count=1)[1])
    chances = chances_of(rival.weight for rival in honest)
    assert by_session(honest, chances)[1] < 0.1 and possible(honest) == honest[:1]
    wrong = turned(1, 1)
    calibration = calibrate_chain(wrong, KNOWN_PITCH, draws=16)
    (fit,) = calibration.sessions
    assert not fit.fits and fit.wrong_chance > 0.9
    assert fit.looks_like[0][0] == "the other piece was on top in spell 1"
    assert calibration.misfits == (1,)
    # what was worked is told all the same, and so is the wear
    low, high = np.exp(calibration.posterior.interval()[:, 0])
    assert 0.8 * TRUE < low < TRUE < high < 1.25 * TRUE
    bench = simulated_chain(11, Constants(), count=1)[0].bench
    told = calibration.to_json(bench)["sessions"][0]["other_work"]
    assert told["as_if"][0]["said"] == "the other piece was on top in spell 1" and not told["in_doubt"]
    text = " ".join(calibration_text(bench, calibration).split())
    assert "is set aside" in text and "as if the other piece was on top in spell 1" in text


def test_a_look_at_the_record_as_it_stands_is_what_was_found() -> None:
    chain = simulated_chain(11, Constants(preston=TRUE), count=2)[1]
    found = Inference(chain, KNOWN_PITCH)
    found.find([np.zeros(1)])
    view = Outlook(found).view(chain, 2, frozenset())
    assert view is not None
    assert view.evidence == pytest.approx(found.best.evidence, abs=0.1)
    assert view.place == pytest.approx(found.best.middle, abs=0.05)


def test_sessions_followed_already_are_not_followed_again() -> None:
    chain = simulated_chain(11, Constants(preston=TRUE), count=2)[1]
    steps = chain.follow(Constants(), 0.08)
    again = chain.follow(Constants(), 0.08, done=steps[:1])
    assert again[0] is steps[0] and np.array_equal(again[1].miss, steps[1].miss)


def test_chances_add_up_over_all_that_is_possible() -> None:
    chain = simulated_chain(11, Constants(), count=2)[1]
    inference = Inference(chain, KNOWN_PITCH)
    inference.find([np.zeros(1)])
    rivals = (
        Rival(0, inference, 0.0),
        Rival(2, inference, 0.0, SHAPE, "it rained", frozenset({2})),
        Rival(2, inference, 0.0, SHAPE, ANYTHING, frozenset({2})),
    )
    fits = [SessionFit(number, 7.0, 7, 0.4, True, 1e-8) for number in (1, 2)]
    one, two = with_chances(fits, rivals, [0.7, 0.2, 0.1])
    assert one.wrong_chance == 0.0 and one.slips == () and one.fits
    assert two.wrong_chance == pytest.approx(0.3) and two.fits and two.is_record_in_doubt
    assert two.slips == (("it rained", 0.2), (ANYTHING, 0.1))
    assert not with_chances(fits, rivals, [0.4, 0.5, 0.1])[1].fits


@pytest.mark.parametrize(
    ("wrong", "slips", "verdict", "words"),
    [
        (0.23, (("spell 2 was not worked", 0.2),), "record in doubt",
         "23% that in session 3 something else was worked than was recorded. It looks as if spell 2 was not worked (20%)."),
        (0.4, (("a", 0.15), ("b", 0.12), (ANYTHING, 0.1)), "record in doubt", "as if a (15%) or b (12%)."),
        (0.7, ((ANYTHING, 0.6), ("a", 0.1)), "does not fit: set aside", "like no slip in particular"),
    ],
)  # fmt: skip
def test_what_is_said_of_a_record(wrong: float, slips: tuple[tuple[str, float], ...], verdict: str, words: str) -> None:
    fit = SessionFit(3, 7.0, 7, 0.4, wrong < 0.5, 1e-8, wrong_chance=wrong, slips=slips)
    assert _verdict(fit) == verdict
    assert words in _other_work(fit, 3)
    assert _verdict(replace(fit, fits=True, wrong_chance=0.19)) == "fits"
