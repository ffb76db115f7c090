"""The bench card as one HTML file with its drawings inside: for a printer, or a screen by the barrel."""

from __future__ import annotations

from html import escape

from wearsim.show.card_after import HALF, NOTES
from wearsim.show.card_content import CardContent, SpellCard
from wearsim.show.card_page import caption, plan
from wearsim.show.card_readings import ReadingRows
from wearsim.show.card_strip import AT, DONE, LEAST_RULED
from wearsim.show.card_svg import early_svg, stroke_svg
from wearsim.show.card_type import Type

# From this type on there is room for one more line to write on [pt].
ROOMY = 12.0
STYLE = """
@page { size: auto; margin: 10mm; }
* { box-sizing: border-box; }
body { font: var(--size)/var(--lead) sans-serif; color: #000; background: #fff; width: 190mm; max-width: 100%;
       margin: 4mm auto; }
header { display: flex; justify-content: space-between; align-items: center; gap: 0 4mm; font-size: 11pt;
         line-height: 1.25; text-align: right; }
h1 { font-size: 19pt; line-height: 1.1; margin: 0; letter-spacing: .02em; }
h2 { font-size: 11pt; line-height: 1.2; margin: 0 0 .6mm; }
p { margin: 0; }
.said { font-size: var(--said); }
.first { font-weight: bold; }
.spell { border-top: 1.2pt solid #000; break-inside: avoid; }
.strip { display: grid; grid-template-columns: 24mm var(--drawing) 1fr 61mm; gap: 0 3mm; padding: 1mm 0; }
.planned { display: grid; grid-template-columns: 9mm 1fr; justify-items: center; align-items: center; }
.number { width: 9mm; text-align: center; background: #000; color: #fff; font: bold 16pt/9mm sans-serif;
          print-color-adjust: exact; -webkit-print-color-adjust: exact; }
.minutes { font-weight: bold; font-size: 2.1em; line-height: 9mm; }
.unit { font-size: 10pt; line-height: 1.2; grid-column: 2; }
.top { line-height: 1.15; font-size: 1.15em; font-weight: bold; }
.turn { font-weight: bold; }
.check { font-weight: bold; background: #ebebeb; padding: .3mm 1mm;
         print-color-adjust: exact; -webkit-print-color-adjust: exact; }
.whole { white-space: nowrap; }
.done { font-size: 10pt; line-height: 1; display: flex; align-items: end; height: var(--rule); white-space: nowrap; }
.done i { flex: 1; border-bottom: .6pt dotted #000; margin: 0 1mm; }
.rule { height: var(--rule); border-bottom: .6pt dotted #000; }
.under { border-top: 1.2pt solid #000; }
.after { display: grid; grid-template-columns: 1fr 1fr; gap: 5mm; break-inside: avoid; margin-top: .8mm; }
table { border-collapse: collapse; width: 100%; font-size: var(--rows); line-height: 1.14; }
td, th { text-align: right; padding: 0 .8mm; border-bottom: .4pt solid #000; white-space: nowrap; }
th { font-weight: normal; font-size: 10pt; }
td:nth-child(3) { font-weight: bold; }
.small { font-size: 9pt; line-height: 1.18; }
.caution { border: 1.4pt solid #000; padding: .7mm 2mm; font-size: 10pt; line-height: 1.18; margin-top: 1mm;
           break-inside: avoid; }
svg { width: 100%; height: auto; display: block; }
@media print { body { margin: 0 auto; } }
@media (max-width: 640px) { .strip { grid-template-columns: 21mm 1fr; } .after { grid-template-columns: 1fr; } }
"""
RULE = '<div class="rule"></div>'


def card_html(content: CardContent) -> str:
    """A card as HTML that needs nothing from elsewhere, in the type in which the paper's card has room.

    Parameters
    ----------
    content : CardContent
    """
    face = plan(content).face
    first = "".join(f'<p class="said first">{escape(line)}</p>' for line in content.before)
    spells = "".join(_spell(content, spell, face) for spell in content.spells)
    caution = " ".join(content.cautions)
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1"><title>Bench card</title>'
        f"<style>{STYLE}{_sizes(face)}</style></head><body>\n"
        f"<header><h1>BENCH CARD</h1><div><b>{escape(content.mirror)}</b>"
        f"<p>date ..................... room ............. {content.degree}</p></div></header>\n"
        f'<p class="said">{escape(content.promise)}</p>{first}\n{spells}'
        + _under_strips(content)
        + _after(content, face)
        + f'<div class="caution"><b>CAUTION.</b> {escape(caution)}</div>\n</body></html>\n'
    )


def _sizes(face: Type) -> str:
    sizes = {
        "size": f"{face.size}pt", "lead": f"{face.lead}", "drawing": f"{face.drawing}mm", "rule": f"{face.rule}mm",
        "rows": f"{face.rows}pt", "said": f"{face.said}pt",
    }  # fmt: skip
    return ":root { " + " ".join(f"--{name}: {size};" for name, size in sizes.items()) + " }"


def _spell(content: CardContent, spell: SpellCard, face: Type) -> str:
    what = "".join(f"<p>{escape(line)}</p>" for line in (spell.stroke, *spell.sizes))
    turn = f'<p class="turn">{escape(spell.turn)}</p>' if spell.turn else ""
    pace = "".join(f"<p>{escape(line)}</p>" for line in spell.pace)
    # a zone and its reading are never on two lines
    whole = ",  ".join(f'<span class="whole">{escape(part)}</span>' for part in spell.checkpoint.split(",  "))
    check = f'<p class="check">{whole}</p>' if spell.checkpoint else ""
    ruled = RULE * (LEAST_RULED + (face.size >= ROOMY))
    return (
        '<section class="spell"><div class="strip"><div><div class="planned">'
        f'<span class="number">{spell.number}</span><span class="minutes">{spell.minutes}</span>'
        f'<span class="unit">minutes</span></div><p class="done">{DONE}<i></i></p>'
        f'<p class="done">{AT}<i></i>{content.degree}</p></div>'
        f"<div>{stroke_svg(spell.drawing, content.scale)}</div>"
        f'<div><div class="top">{escape(spell.top)}</div>{what}{turn}</div>'
        f"<div>{pace}{ruled}</div></div>"
        f"{check}</section>\n"
    )


def _under_strips(content: CardContent) -> str:
    if not content.spells:
        return ""
    check = f'<p class="said">{escape(content.checking)}</p>' if content.checking else ""
    return f'<div class="under">{check}<p class="small">{escape(caption(content))}</p></div>\n'


def _after(content: CardContent, face: Type) -> str:
    left = "" if content.readings is None else _readings(content.readings)
    # A browser's own spacing takes a little more than the paper's: the chart gives way.
    right = early_svg(content, 300.0 * max(face.chart - 6.5, 24.0) / HALF) if content.early.minutes[-1] > 0.0 else ""
    look = "".join(f'<p class="said">{escape(line)}</p>' for line in content.look)
    return (
        f'<div class="after"><div>{left}<p class="small">{NOTES}</p>{RULE}</div>'
        f"<div>{right}{'<h2>Look for</h2>' if look else ''}{look}</div></div>\n"
    )


def _readings(readings: ReadingRows) -> str:
    head = "".join(f"<th>{escape(title)}</th>" for title in readings.titles)
    rows = "".join("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in readings.rows)
    return (
        f"<h2>{escape(readings.head)}</h2><table><tr>{head}</tr>{rows}</table>"
        f'<p class="small">{escape(readings.foot)}</p>'
    )
