"""A self-contained HTML document: its head and style, sections, tables, and figures inside it.

Every function takes plain text and escapes it, unless its name for an argument is ``parts``:
parts are HTML that other functions here have made.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterable, Sequence
from html import escape

SIZES = {"a4": "A4", "letter": "letter"}
PAPERS = tuple(SIZES)
PAPER = {"metric": "a4", "us": "letter"}  # where none is asked for
STYLE = """
@page { size: PAPER portrait; margin: 14mm 15mm }
:root { color-scheme: light }
* { box-sizing: border-box }
html { -webkit-text-size-adjust: 100% }
body { font: 1rem/1.45 "DejaVu Sans", Verdana, "Segoe UI", sans-serif; color: #222;
  background: #fff; max-width: 54rem; margin: 0 auto; padding: 1.2rem 1.1rem 3rem }
h1 { font-size: 1.5rem; line-height: 1.2; margin: 0 0 .6rem }
h2 { font-size: 1.12rem; margin: 2rem 0 .5rem; padding-bottom: .15rem;
  border-bottom: 1px solid #222; break-after: avoid }
h3 { font-size: 1rem; margin: 1.1rem 0 .3rem; break-after: avoid }
p { margin: .4rem 0; orphans: 3; widows: 3; overflow-wrap: break-word }
ul, ol { margin: .4rem 0; padding-left: 1.3rem } li { margin: .25rem 0; break-inside: avoid }
.lead { border-top: 3px solid #222; border-bottom: 3px solid #222; padding: .5rem 0;
  margin: .8rem 0; font-size: 1.12rem; break-inside: avoid }
.lead p:first-child { font-weight: bold }
.caution { border: 3px solid #D55E00; padding: .35rem .8rem; margin: .8rem 0; break-inside: avoid }
.columns { column-width: 17rem; column-gap: 2rem }
.quiet { color: #555; font-size: .88rem }
.wide { overflow-x: auto }
table { border-collapse: collapse; width: 100%; margin: .5rem 0; font-size: .93rem }
caption { text-align: left; color: #555; padding-bottom: .2rem }
th { text-align: left; font-weight: normal } thead th { color: #555; vertical-align: bottom;
  border-bottom: 1px solid #222 } thead { display: table-header-group }
td, th { padding: .22rem .8rem .22rem 0; vertical-align: top; border-bottom: 1px solid #cfcfcf }
.number { text-align: right; white-space: nowrap }
tr { break-inside: avoid }
figure { margin: 1.1rem 0; max-width: 38rem; break-inside: avoid }
figure img { display: block; width: 100%; height: auto }
figcaption { font-size: .93rem; margin-top: .3rem }
pre { font: .82rem/1.35 "DejaVu Sans Mono", Menlo, Consolas, monospace; background: #f4f4f4;
  border: 1px solid #cfcfcf; padding: .5rem .7rem; margin: .5rem 0; white-space: pre-wrap;
  overflow-wrap: anywhere }
@media screen and (max-width: 34rem) { table { font-size: .82rem }
  td, th { padding-right: .5rem } .number { white-space: normal } }
@media print { html { font-size: 10pt } body { max-width: none; padding: 0 }
  .wide { overflow: visible } h2 { margin-top: 1.3rem } pre { font-size: 7.5pt } }
""".strip()
"""One style for documents that are read on a screen and printed; ``PAPER`` stands for the size."""


def document(title: str, parts: Iterable[str], *, paper: str = "a4", style: str = STYLE) -> str:
    """A whole document, which fetches nothing from elsewhere.

    Parameters
    ----------
    title : str
        Title of the window, as plain text.
    parts : iterable of str
        Pieces of HTML, one below the other.
    paper : {'a4', 'letter'}
        Size of paper for which it prints.
    style : str
        Style sheet, with ``PAPER`` in place of the size of paper.
    """
    body = "\n".join(parts)
    printed = style.replace("PAPER", SIZES[paper])
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width">\n'
        f"<title>{escape(title)}</title>\n<style>\n{printed}\n</style>\n"
        f"</head>\n<body>\n{body}\n</body>\n</html>\n"
    )


def element(tag: str, text: str, kind: str = "") -> str:
    """One element with plain text in it, and a class if one is given."""
    return f"<{tag}{_class(kind)}>{escape(text)}</{tag}>"


def _class(kind: str) -> str:
    return f' class="{escape(kind)}"' if kind else ""


def paragraphs(lines: Iterable[str], kind: str = "") -> str:
    """A paragraph for each line of plain text."""
    return "\n".join(element("p", line, kind) for line in lines)


def listing(lines: Iterable[str], ordered: bool = False) -> str:
    """A list with an item for each line of plain text."""
    tag = "ol" if ordered else "ul"
    items = "\n".join(element("li", line) for line in lines)
    return f"<{tag}>\n{items}\n</{tag}>"


def group(kind: str, *parts: str) -> str:
    """Parts that share a class, such as ``lead`` or ``caution``."""
    return "\n".join((f"<div{_class(kind)}>", *parts, "</div>"))


def section(title: str, *parts: str, kind: str = "") -> str:
    """A section with its title; parts that are empty are left out."""
    kept = [part for part in parts if part]
    return "\n".join((f"<section{_class(kind)}>", element("h2", title), *kept, "</section>"))


def cells(row: Iterable[str], tag: str) -> str:
    """Cells of a row of a table, from plain text."""
    return "".join(element(tag, cell) for cell in row)


def table(
    heads: Sequence[str],
    rows: Iterable[Sequence[str]],
    *,
    caption: str = "",
    numbers: Iterable[int] = (),
) -> str:
    """A table of plain text, whose first column names its rows.

    Parameters
    ----------
    heads : sequence of str
        Heads of the columns; none for a table without heads.
    rows : iterable of sequences of str
        Cells of each row.
    caption : str
        What the table shows.
    numbers : iterable of int
        Columns of numbers, which are flush right; the first column is 0.
    """
    right = set(numbers)

    def line(row: Sequence[str], head: bool) -> str:
        made = []
        for k, cell in enumerate(row):
            scope = ' scope="col"' if head else ' scope="row"' if k == 0 else ""
            tag = "th" if scope else "td"
            kind = ' class="number"' if k in right else ""
            made.append(f"<{tag}{scope}{kind}>{escape(cell)}</{tag}>")
        return f"<tr>{''.join(made)}</tr>"

    lines = ['<div class="wide">', "<table>"]
    lines += [element("caption", caption)] if caption else []
    lines += ["<thead>", line(heads, True), "</thead>"] if heads else []
    lines += ["<tbody>", *(line(row, False) for row in rows), "</tbody>"]
    return "\n".join([*lines, "</table>", "</div>"])


def figure(picture: bytes, alt: str, caption: str = "") -> str:
    """A picture inside the document, with words for those who do not see it.

    Parameters
    ----------
    picture : bytes
        Content of a PNG or an SVG file, as `metersim.questions.shared.page.encoded` gives it.
    alt : str
        What the picture shows.
    caption : str
        What to see in it.
    """
    kind = "png" if picture.startswith(b"\x89PNG") else "svg+xml"
    source = f"data:image/{kind};base64,{b64encode(picture).decode('ascii')}"
    lines = ["<figure>", f'<img src="{source}" alt="{escape(alt)}">']
    lines += [element("figcaption", caption)] if caption else []
    return "\n".join([*lines, "</figure>"])


def verbatim(text: str, kind: str = "") -> str:
    """Text of a file or a command, letter by letter; in several columns with ``columns``."""
    return element("pre", text, kind)
