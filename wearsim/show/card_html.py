"""The bench card as one HTML file with its drawings inside: for a printer, or a screen by the barrel."""

from __future__ import annotations

from html import escape

import numpy as np

from wearsim.show.card_content import CardContent, ReadingRows, SpellCard
from wearsim.show.strokes import Drawing
from wearsim.wear.grid import Array

CHANNELS = 9
# With more spells than this the type is smaller, and the notes are left to the spells' own lines.
ROOMY = 3
# Between two numbers under the chart, in its own units.
ROOM_OF_A_NUMBER = 24.0

STYLE = """
@page { size: auto; margin: 10mm; }
* { box-sizing: border-box; }
body { font: 12pt/1.3 sans-serif; color: #000; background: #fff; max-width: 190mm; margin: 4mm auto; padding: 0 2mm; }
header { display: flex; justify-content: space-between; align-items: baseline; flex-wrap: wrap; }
h1 { font-size: 22pt; margin: 0; letter-spacing: .04em; }
h2 { font-size: 12.5pt; margin: 0 0 1mm; }
p { margin: .6mm 0; }
.first { font-weight: bold; }
.spell { display: grid; grid-template-columns: 24mm 36mm 1fr 58mm; gap: 0 3mm; border-top: 1.2pt solid #000;
         padding: 1mm 0; break-inside: avoid; }
.number { display: inline-block; background: #000; color: #fff; font: bold 17pt/1.25 sans-serif; padding: 0 3mm;
          print-color-adjust: exact; -webkit-print-color-adjust: exact; }
.minutes { font: bold 24pt/1.15 sans-serif; }
.top { font-size: 14pt; font-weight: bold; }
.check { font-weight: bold; }
.done { margin-top: 3mm; white-space: nowrap; }
.after { display: grid; grid-template-columns: 1fr 1fr; gap: 4mm; border-top: 1.2pt solid #000; padding-top: 1.5mm;
         break-inside: avoid; }
table { border-collapse: collapse; width: 100%; font-size: 12.5pt; }
td, th { text-align: right; padding: .4mm 1mm; border-bottom: .4pt solid #000; }
th { font-weight: normal; font-size: 10.5pt; }
td:nth-child(3) { font-weight: bold; }
.small { font-size: 9pt; }
.notes { height: 7.5mm; border-bottom: .6pt dotted #000; }
.caution { border: 1.4pt solid #000; padding: 1.2mm 2mm; font-size: 9pt; margin-top: 3mm; break-inside: avoid; }
.tight { font-size: 10.4pt; line-height: 1.2; } .tight .after svg { width: 80%; }
.tight .spell { grid-template-columns: 24mm 29mm 1fr 60mm; }
.tight p { margin: .2mm 0; } .tight .caution { margin-top: 1mm; }
.tight .top { font-size: 12.5pt; } .tight .done { margin-top: 1.5mm; } .tight table { font-size: 11pt; }
svg { width: 100%; height: auto; display: block; }
@media print { body { margin: 0 auto; } }
@media (max-width: 640px) { .spell { grid-template-columns: 24mm 1fr; } .after { grid-template-columns: 1fr; } }
"""
NOTES = '<p class="small">Notes: what was really done, how the lap felt</p>' + '<div class="notes"></div>' * 3


def card_html(content: CardContent) -> str:
    """A card as HTML that needs nothing from elsewhere.

    Parameters
    ----------
    content : CardContent
    """
    first = "".join(f'<p class="first">{escape(line)}</p>' for line in content.before)
    spells = "".join(_spell(content, spell) for spell in content.spells)
    some = "; of a W a few of its crossings" if any(one.drawing.is_thinned for one in content.spells) else ""
    caption = (
        "Drawn to one scale, from above. Solid: bottom piece, a lap with channels; dashed: top piece at its "
        f"farthest; line: the way of its centre{some}. D: the mirror's diameter."
    )
    caution = " ".join(content.cautions)
    tight = ' class="tight"' if len(content.spells) > ROOMY else ""
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1"><title>Bench card</title>'
        f"<style>{STYLE}</style></head><body{tight}>\n"
        f"<header><h1>BENCH CARD</h1><b>{escape(content.mirror)}</b>"
        f"<span>date ................ room ......... {content.degree}</span></header>\n"
        f"<p>{escape(content.promise)}</p>{first}\n{spells}"
        + (f'<p class="small">{caption}</p>\n' if content.spells else "")
        + _after(content)
        + f'<div class="caution"><b>CAUTION.</b> {escape(caution)}</div>\n</body></html>\n'
    )


def _spell(content: CardContent, spell: SpellCard) -> str:
    what = "".join(f"<p>{escape(line)}</p>" for line in (spell.stroke, *spell.sizes))
    turn = f'<p class="check">{escape(spell.turn)}</p>' if spell.turn else ""
    pace = "".join(f"<p>{escape(line)}</p>" for line in spell.pace)
    check = f'<p class="check">{escape(spell.checkpoint)}</p>' if spell.checkpoint else ""
    return (
        f'<section class="spell"><div><span class="number">{spell.number}</span>'
        f'<div class="minutes">{spell.minutes}</div>minutes</div>'
        f"<div>{stroke_svg(spell.drawing, content.scale)}</div>"
        f'<div><div class="top">{escape(spell.top)}</div>{what}{turn}</div>'
        f'<div>{pace}{check}<p class="done">done ........... min ......... {content.degree}</p></div></section>\n'
    )


def stroke_svg(drawing: Drawing, scale: float) -> str:
    """A stroke over the bottom piece, to scale, as SVG; the top piece at its farthest is shown in full.

    Parameters
    ----------
    drawing : Drawing
    scale : float
        Half width of the picture on the bench [m]; at least the drawing's own.
    """
    size = 100.0 / scale
    left, top = size * drawing.middle[0] - 100.0, -size * drawing.middle[1] - 100.0
    far, bottom = drawing.farthest, size * drawing.bottom
    lines = ""
    if drawing.mirror_on_top:
        for at in np.linspace(-bottom, bottom, CHANNELS)[1:-1]:
            half = float(np.sqrt(bottom**2 - at**2))
            lines += f"M{at:.1f} {-half:.1f}V{half:.1f}M{-half:.1f} {at:.1f}H{half:.1f}"
    hole = drawing.hole > 0.0 and not drawing.mirror_on_top
    weight = 2.5 if drawing.is_thinned else 5.0
    along, across = drawing.drawn
    return (
        f'<svg viewBox="{left:.1f} {top:.1f} 200 200" role="img" aria-label="stroke over the bottom piece">'
        f'<path d="{lines}" stroke="#b8b8b8" fill="none"/>'
        f'<circle r="{bottom:.1f}" fill="none" stroke="#000" stroke-width="3.5"/>'
        + (
            f'<circle r="{size * drawing.hole:.1f}" fill="none" stroke="#000" stroke-width="2"/>'
            if hole
            else ""
        )
        + f'<circle cx="{size * drawing.x[far]:.1f}" cy="{-size * drawing.y[far]:.1f}" r="{size * drawing.top:.1f}" '
        'fill="none" stroke="#000" stroke-width="2.5" stroke-dasharray="9 6"/>'
        '<path d="M-5 0H5M0 -5V5" stroke="#000" stroke-width="1.5"/>'
        f'<polyline points="{_points(size * along, -size * across)}" fill="none" stroke="#000" '
        f'stroke-width="{weight}" stroke-linejoin="round" stroke-linecap="round"/></svg>'
    )


def _points(x: Array, y: Array) -> str:
    return " ".join(f"{one:.1f},{two:.1f}" for one, two in zip(x, y, strict=True))


def _after(content: CardContent) -> str:
    left = "" if content.readings is None else _readings(content.readings)
    right = early_svg(content) if content.early.minutes[-1] > 0.0 else ""
    look = "".join(f"<p>{escape(line)}</p>" for line in content.look)
    roomy = len(content.spells) != ROOMY + 1
    return (
        f'<div class="after"><div>{left}{NOTES if roomy else ""}</div>'
        f"<div>{right}{'<h2>Look for</h2>' if look else ''}{look}</div></div>\n"
    )


def _readings(readings: ReadingRows) -> str:
    head = "".join(f"<th>{escape(title)}</th>" for title in readings.titles)
    rows = "".join(
        "<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in readings.rows
    )
    return (
        f"<h2>{escape(readings.head)}</h2><table><tr>{head}</tr>{rows}</table>"
        f'<p class="small">{escape(readings.foot)}</p>'
    )


def early_svg(content: CardContent) -> str:
    """The figure against minutes, if the work is stopped early, as SVG."""
    minutes, rms = content.early.minutes, content.early.rms / content.high.size
    last, top = float(minutes[-1]), 1.25 * float(rms.max()) or 1.0

    def place(m: float) -> float:
        return 34.0 + 256.0 * m / last

    def level(value: float) -> float:
        return 110.0 - 100.0 * value / top

    parts, begin, written = "", 0.0, 0.0
    for number, end in enumerate(content.ends, start=1):
        if end > begin:
            parts += f'<path d="M{place(end):.1f} 10V110" stroke="#000" stroke-dasharray="4 3"/>'
            parts += (
                f'<text x="{place(0.5 * (begin + end)):.1f}" y="22" text-anchor="middle" font-weight="bold">'
            )
            parts += f"{number}</text>"
            if place(end) - written > ROOM_OF_A_NUMBER:
                parts += f'<text x="{place(end):.1f}" y="124" text-anchor="middle">{end:g}</text>'
                written = place(end)
        begin = end
    for value in (0.0, float(rms[0]), float(rms[-1])):
        parts += f'<text x="30" y="{level(value) + 4:.1f}" text-anchor="end">{value:.0f}</text>'
    return (
        f"<h2>If you stop early: RMS of the surface [{content.high.name}]</h2>"
        '<svg viewBox="0 0 300 142" font-size="12" role="img" aria-label="figure against minutes">'
        f'<path d="M34 10V110H290" fill="none" stroke="#000"/>{parts}'
        f'<polyline points="{_points(34.0 + 256.0 * minutes / last, 110.0 - 100.0 * rms / top)}" fill="none" '
        'stroke="#000" stroke-width="3"/>'
        '<text x="162" y="139" text-anchor="middle">minutes of work; above: the spells</text></svg>'
    )
