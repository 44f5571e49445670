"""Documents that stand alone: every text is shown as it was given, and nothing is fetched."""

import pytest

from metersim.questions.shared import html
from tests.webpage import Page

WICKED = '<script>alert("x")</script> & <b>corn</b> \'"'


def made(text):
    """A document with a text in every place."""
    return html.document(
        text,
        [
            html.element("h1", text, text),
            html.group("lead", html.paragraphs([text, text])),
            html.section(
                text,
                html.listing([text]),
                "",
                html.table([text, "1"], [(text, text)], caption=text, numbers=[1]),
                html.figure(b"\x89PNG", text, text),
                html.figure(b"<svg/>", text),
                html.verbatim(text),
                kind=text,
            ),
        ],
    )


def test_a_text_is_shown_in_every_place_and_obeyed_in_none():
    wicked, plain = Page(made(WICKED)), Page(made("corn"))
    assert wicked.faults == plain.faults == []
    assert wicked.tags == plain.tags and "script" not in wicked.tags
    assert wicked.texts.count(WICKED) == plain.texts.count("corn") == 12


def test_pictures_keep_their_kind():
    assert 'src="data:image/png;base64,iVBORw=="' in html.figure(b"\x89PNG\r"[:4], "a")
    assert 'src="data:image/svg+xml;base64,PHN2Zy8+"' in html.figure(b"<svg/>", "a")


def test_a_table_names_its_columns_and_rows():
    said = html.table(["what", "much"], [("skips", "1 %")], numbers=[1])
    assert '<th scope="col">what</th><th scope="col" class="number">much</th>' in said
    assert '<th scope="row">skips</th><td class="number">1 %</td>' in said
    assert "<thead>" not in html.table([], [("a", "b")])


@pytest.mark.parametrize("paper, size", [("a4", "A4"), ("letter", "letter")])
def test_a_document_prints_on_its_paper(paper, size):
    page = html.document("t", [], paper=paper)
    assert f"size: {size} portrait" in page and "PAPER" not in page


@pytest.mark.parametrize(
    "broken",
    [
        "<p>",
        "</p>",
        "<b><i></b></i>",
        '<img src="data:,">',
        '<img alt="a" src="https://x.example/a.png">',
        '<a href="other.html">a</a>',
        '<p onclick="a()">a</p>',
    ],
)
def test_the_check_finds_what_is_wrong(broken):
    assert Page(html.document("t", [broken])).faults
