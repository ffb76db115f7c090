"""Everything in the documentation that is measured or computed: made anew by every build, into ``generated/``."""

from __future__ import annotations

from pathlib import Path

from make_gallery import gallery
from make_plots import PLOTS
from make_tables import TABLES
from make_tutorial_pictures import card, surface


def make_all(folder: Path) -> None:
    """Write every table and plot.

    Parameters
    ----------
    folder : Path
        Made if it is missing; what stands in it is replaced.
    """
    folder.mkdir(exist_ok=True)
    for name, table in TABLES.items():
        (folder / f"{name}.md").write_text(table() + "\n", encoding="utf-8")
    for name, plot in PLOTS.items():
        _save(plot(), folder / f"{name}.svg")
    _save(surface(), folder / "tutorial-surface.svg")
    _save(card(), folder / "tutorial-card.png")
    text, figures = gallery()
    (folder / "gallery.md").write_text(text, encoding="utf-8")
    for name, figure in figures.items():
        _save(figure, folder / f"example-{name}.svg")


def _save(figure: object, path: Path) -> None:
    from wearsim.show.style import save

    save(figure, path, path.suffix)  # type: ignore[arg-type]


if __name__ == "__main__":
    make_all(Path(__file__).parent / "generated")
