"""The bench card, to print and take to the barrel: what it says, how the page is laid out, the files that hold it."""

from wearsim.show.card.files import card_bytes
from wearsim.show.card.work import PredictedWork

__all__ = ["PredictedWork", "card_bytes"]
