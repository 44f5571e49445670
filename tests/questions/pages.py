"""What every page of figures keeps: a sentence that says what to see, and words apart."""

from itertools import combinations

from matplotlib.axes._base import _AxesBase
from matplotlib.text import Text

from metersim.questions.shared.style import INK, LARGE, SLIDE


def shown_texts(figure):
    """Texts that are drawn: tick labels outside the axes are not."""
    off = [
        label
        for ax in figure.findobj(_AxesBase)
        for axis in (ax.xaxis, ax.yaxis)
        for tick in axis.get_major_ticks()
        if not min(axis.get_view_interval()) <= tick.get_loc() <= max(axis.get_view_interval())
        for label in (tick.label1, tick.label2)
    ]
    return [text for text in figure.findobj(Text) if text.get_text().strip() and text not in off]


def sight(figure):
    """The sentence that says what to see, in one line."""
    (said,) = (text for text in figure.texts if text.get_gid() == "see")
    assert said.get_color() == INK
    assert said.get_fontsize() == (SLIDE if figure.get_figwidth() > 12 else LARGE)
    return " ".join(said.get_text().split())


def check_page(figure):
    """Check the sentence below the title, that no words overlap, and that none leave the page."""
    said = sight(figure)
    assert said.startswith("See: ") and said.endswith(".") and len(said) <= 188
    figure.draw_without_rendering()
    (title,) = (text for text in figure.texts if text.get_gid() == "title")
    (below,) = (text for text in figure.texts if text.get_gid() == "see")
    assert 0 <= title.get_window_extent().y0 - below.get_window_extent().y1 < 40
    texts = [text for text in shown_texts(figure) if text.get_visible()]
    boxes = [(text.get_text(), text.get_window_extent(), text.get_rotation()) for text in texts]
    edge = figure.bbox
    for words, box, _ in boxes:
        assert edge.x0 <= box.x0 and box.x1 <= edge.x1, words
        assert edge.y0 <= box.y0 and box.y1 <= edge.y1, words
    level = [(words, box) for words, box, turned in boxes if turned in (0, 90)]
    for (words, box), (others, covered) in combinations(level, 2):
        assert not box.overlaps(covered), (words, others)
