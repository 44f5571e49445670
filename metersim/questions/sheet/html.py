"""A start sheet as one HTML page: no scripts, nothing from elsewhere, everything escaped."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from metersim.measures.yields import Harvest
from metersim.questions.shared.plantwords import NONE
from metersim.questions.sheet.study import Sheet
from metersim.questions.sheet.text import Block, blocks

STYLE = """
@page { size: PAPER portrait; margin: 10mm }
body { font: 10.5pt/1.3 "DejaVu Sans", Verdana, sans-serif; color: #222; max-width: 62em;
  margin: 1em auto; padding: 0 1em }
h1 { font-size: 1.6em; margin: 0 } h2 { font-size: 1.1em; margin: 1em 0 .3em;
  border-bottom: 2px solid #222; break-after: avoid }
.settings { display: grid; grid-template-columns: repeat(3, 1fr); gap: .6em }
.settings div { border: 2px solid #222; padding: .4em .6em; break-inside: avoid }
.settings b { display: block; font-size: 1.6em; line-height: 1.15 }
.settings small { display: block; color: #444 }
table { border-collapse: collapse; width: 100% } th { text-align: left; font-weight: normal;
  color: #555 } td, th { padding: .12em .6em .12em 0; vertical-align: top;
  border-bottom: 1px solid #ccc } tr > :first-child { white-space: nowrap }
tr.first td { font-weight: bold }
p { margin: .25em 0 } ul { list-style: none; padding: 0; margin: 0 }
li { padding-left: 1.6em; text-indent: -1.6em; break-inside: avoid }
.cautions { border: 3px solid #D55E00; padding: .2em .8em .5em; margin-top: 1em;
  break-inside: avoid } .cautions h2 { border: 0; margin-top: .2em }
.notes { color: #555; font-size: .85em }
""".strip()
PAPER = {"metric": "A4", "us": "letter"}


def sheet_html(sheet: Sheet, units: str = "metric", harvest: Harvest = NONE) -> str:
    """The sheet as an HTML page, see `metersim.questions.sheet.text.blocks`.

    Parameters
    ----------
    sheet : Sheet
        What was found.
    units : str
        ``metric`` or ``us``, which also chooses the paper.
    harvest : Harvest
        As for `metersim.questions.sheet.text.blocks`.
    """
    parts = blocks(sheet, units, harvest)
    body = "\n".join(map(_section, parts))
    style = STYLE.replace("PAPER", PAPER[units])
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width">\n'
        f"<title>{escape(parts[0].title)}</title>\n<style>\n{style}\n</style>\n"
        f"</head>\n<body>\n{body}\n</body>\n</html>\n"
    )


def _section(block: Block) -> str:
    if block.name == "asked":
        return f"<h1>{escape(block.title)}</h1>\n{_paragraphs(block.lines)}"
    head = f"<h2>{escape(block.title)}</h2>"
    if block.name == "settings":
        parts = [_setting(*row) for row in block.rows]
        return f'{head}\n<div class="settings">\n{"".join(parts)}</div>'
    if block.name == "do":
        items = "".join(f"<li>\N{BALLOT BOX} {escape(line)}</li>\n" for line in block.lines)
        return f"{head}\n<ul>\n{items}</ul>"
    body = (_table(block) if block.rows else "") + _paragraphs(block.lines)
    return f'<section class="{escape(block.name)}">\n{head}\n{body}\n</section>'


def _setting(what: str, value: str, note: str) -> str:
    said = (escape(part) for part in (what, value, note))
    return "<div>{}<b>{}</b><small>{}</small></div>\n".format(*said)


def _table(block: Block) -> str:
    head, *rows = block.rows
    lines = [f"<tr>{_cells(head, 'th')}</tr>"]
    for k, row in enumerate(rows):
        kind = ' class="first"' if block.name == "discs" and k == 0 else ""
        lines.append(f"<tr{kind}>{_cells(row, 'td')}</tr>")
    return "<table>\n" + "\n".join(lines) + "\n</table>\n"


def _cells(row: Iterable[str], tag: str) -> str:
    return "".join(f"<{tag}>{escape(cell)}</{tag}>" for cell in row)


def _paragraphs(lines: Iterable[str]) -> str:
    return "\n".join(f"<p>{escape(line)}</p>" for line in lines)
