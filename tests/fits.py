"""Whether the words of a page lie on it, and not on each other."""

from __future__ import annotations

from matplotlib.backends.backend_agg import FigureCanvasAgg


def words_of(ax):
    return [text for text in ax.figure.texts if text.get_text().strip()]


def boxes_of(ax):
    canvas = FigureCanvasAgg(ax.figure)
    renderer = canvas.get_renderer()
    return [(text.get_text(), text.get_window_extent(renderer)) for text in words_of(ax)]


def check_fits(ax):
    boxes = boxes_of(ax)
    page = ax.figure.bbox
    for words, box in boxes:
        assert page.x0 <= box.x0 <= box.x1 <= page.x1, words
        assert page.y0 <= box.y0 <= box.y1 <= page.y1, words
    for at, (words, box) in enumerate(boxes):
        for other, beside in boxes[at + 1 :]:
            across = min(box.x1, beside.x1) - max(box.x0, beside.x0)
            down = min(box.y1, beside.y1) - max(box.y0, beside.y0)
            assert across < 1.0 or down < 1.5, (words, other)
