"""A start sheet as an HTML page that prints as a page for the wall and pages of reasons."""

from __future__ import annotations

from dataclasses import replace
from html import escape

from metersim.machine.sources import NO_SOURCE
from metersim.measures.yields import Harvest
from metersim.questions.shared.answer import small
from metersim.questions.shared.hedges import NONE
from metersim.questions.shared.html import PAPER, cells, document, paragraphs
from metersim.questions.shared.notes import PROVE
from metersim.questions.sheet.study import Sheet
from metersim.questions.sheet.text import FIRST_PAGE, Block, blocks

STYLE = """
@page { size: PAPER portrait; margin: 9mm }
body { font: 11pt/1.22 "DejaVu Sans", Verdana, sans-serif; color: #222; max-width: 62em;
  margin: 1em auto; padding: 0 1em }
h1 { font-size: 18pt; margin: 0 } h2 { font-size: 12pt; margin: .7em 0 .2em;
  border-bottom: 1px solid #222; break-after: avoid }
.card { border-top: 3px solid #222; border-bottom: 3px solid #222; margin: .4em 0 }
.card td { border-bottom: 1px solid #8a8a8a; vertical-align: middle } .card tr:last-child td {
  border-bottom: 0 } .card b { font-size: 22pt; line-height: 1.1; white-space: nowrap }
.card td:first-child { font-size: 12pt; width: 6.5em; white-space: normal }
.card td:last-child { width: 39% }
.lists { display: grid; grid-template-columns: 1.15fr 1fr; gap: 1em }
.reasons { margin-top: 3em; font-size: 9.5pt } .reasons h2 { font-size: 11pt }
@media print { body { margin: 0; padding: 0; max-width: none }
  .wall { break-after: page } .wall h2 { margin-top: .3em } .wall p { margin: .1em 0 }
  .reasons { margin-top: 0; font-size: 6.6pt; line-height: 1.12 }
  .reasons h2 { font-size: 8pt; margin-top: .35em } .reasons p { margin: .12em 0 }
  .reasons td, .reasons th { padding: .03em .6em .03em 0 } tr { break-inside: avoid } }
table { border-collapse: collapse; width: 100% } th { text-align: left; font-weight: normal;
  color: #555 } td, th { padding: .12em .6em .12em 0; vertical-align: top;
  border-bottom: 1px solid #cfcfcf } tr > :first-child { white-space: nowrap }
tr.first td { font-weight: bold }
p { margin: .25em 0 } ul { list-style: none; padding: 0; margin: 0 }
li { padding-left: 1.6em; text-indent: -1.6em; break-inside: avoid }
.cautions { border: 3px solid #D55E00; padding: .2em .8em .4em; margin-top: .5em;
  break-inside: avoid } .cautions h2 { border: 0; margin-top: .2em }
.notes { color: #555; font-size: .85em }
""".strip()


def sheet_html(
    sheet: Sheet, units: str = "metric", harvest: Harvest = NONE, paper: str | None = None
) -> str:
    """HTML of a sheet; it prints as a page for the wall, and pages of reasons.

    Parameters
    ----------
    sheet : Sheet
        Sheet to write.
    units : str
        ``metric`` or ``us``.
    harvest : Harvest
        As for `metersim.questions.sheet.text.blocks`.
    paper : {'a4', 'letter'}, optional
        Size of paper; by default A4 for metric units, letter for us.
    """
    parts = blocks(sheet, units, harvest)
    named = {part.name: part for part in parts}
    count = named["count"]
    wall = [named[name] for name in FIRST_PAGE if name in named and name not in ("count", "do")]
    wall.append(replace(count, lines=count.lines[:1]))
    lists = [part for part in parts if part.name == "do"]
    rest = [part for part in parts if part.name not in FIRST_PAGE]
    if count.lines[1:]:
        rest.insert(0, replace(count, lines=count.lines[1:]))
    body = [
        '<div class="wall">',
        *(_section(part, on_wall=True) for part in wall),
        '<div class="lists">',
        *map(_section, lists),
        "</div>",
        paragraphs([f"Check lists: {NO_SOURCE}. {PROVE}"]),
        '</div>\n<div class="reasons">',
        *map(_section, rest),
        "</div>",
    ]
    return document(parts[0].title, body, paper=paper or PAPER[units], style=STYLE)


def _section(block: Block, on_wall: bool = False) -> str:
    if block.name == "asked":
        return f"<h1>{escape(block.title)}</h1>\n{paragraphs(block.lines)}"
    head = f"<h2>{escape(block.title)}</h2>"
    if block.name == "settings":
        parts = [_setting(*row) for row in block.rows]
        return f'<table class="card">\n{"".join(parts)}</table>'
    if on_wall and block.name == "verdict":
        return f'<p class="verdict">{escape(" ".join([block.title, *block.lines]))}</p>'
    if on_wall and block.name == "count":
        said = f"{block.title}: {small(' '.join(block.lines))}"
        return f'<p class="count">{escape(said)}</p>'
    if block.name == "do":
        items = "".join(f"<li>\N{BALLOT BOX} {escape(line)}</li>\n" for line in block.lines)
        head = f"<h2>{escape(block.title.removesuffix(f' ({NO_SOURCE})'))}</h2>"
        return f"<section>\n{head}\n<ul>\n{items}</ul>\n</section>"
    body = (_table(block) if block.rows else "") + paragraphs(block.lines)
    return f'<section class="{escape(block.name)}">\n{head}\n{body}\n</section>'


def _setting(what: str, value: str, note: str) -> str:
    said = (escape(part) for part in (what, value, note))
    return "<tr><td>{}</td><td><b>{}</b></td><td>{}</td></tr>\n".format(*said)


def _table(block: Block) -> str:
    head, *rows = block.rows
    lines = [f"<tr>{cells(head, 'th')}</tr>"]
    for k, row in enumerate(rows):
        kind = ' class="first"' if block.name == "discs" and k == 0 else ""
        lines.append(f"<tr{kind}>{cells(row, 'td')}</tr>")
    return "<table>\n" + "\n".join(lines) + "\n</table>\n"
