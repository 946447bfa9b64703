"""Whether the words of a page lie on it, and not on each other."""

from __future__ import annotations

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from pypdf import PdfReader


def words_of(ax):
    return [text for text in ax.figure.texts if text.get_text().strip()]


def boxes_of(ax):
    canvas = FigureCanvasAgg(ax.figure)
    renderer = canvas.get_renderer()
    return [(text.get_text(), text.get_window_extent(renderer)) for text in words_of(ax)]


def line_of(ax, words):
    """Where the line runs whose name in the legend begins so."""
    (line,) = [line for line in ax.lines if str(line.get_label()).startswith(words)]
    return np.column_stack(line.get_data())


def inside_boxes(figure):
    """Boxes of the words within all axes of a page: ticks in view, names, legends, notes."""
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    words = []
    for axes in figure.axes:
        words += [*axes.texts, axes.title]
        for axis in (axes.xaxis, axes.yaxis) if axes.axison else ():
            low, high = sorted(axis.get_view_interval())
            words += [axis.label]
            words += [one.label1 for one in axis.get_major_ticks() if low <= one.get_loc() <= high]
        legend = axes.get_legend()
        words += [] if legend is None else legend.get_texts()
    shown = [one for one in words if one.get_visible() and one.get_text().strip()]
    return [(one.get_text(), one.get_window_extent(canvas.get_renderer())) for one in shown]


def check_fits(ax, *, inside=False):
    """Whether the words of a page, and those within its axes, lie on it and apart."""
    boxes = boxes_of(ax) + (inside_boxes(ax.figure) if inside else [])
    page = ax.figure.bbox
    for words, box in boxes:
        assert page.x0 <= box.x0 <= box.x1 <= page.x1, words
        assert page.y0 <= box.y0 <= box.y1 <= page.y1, words
    for at, (words, box) in enumerate(boxes):
        for other, beside in boxes[at + 1 :]:
            across = min(box.x1, beside.x1) - max(box.x0, beside.x0)
            down = min(box.y1, beside.y1) - max(box.y0, beside.y0)
            assert across < 1.0 or down < 1.5, (words, other)


def check_margins(figure):
    """Whether words and axes keep to what most printers reach: 5 mm, common practice, no source."""
    figure.draw_without_rendering()
    boxes = [text.get_window_extent() for text in figure.texts]
    boxes += [axes.get_tightbbox() for axes in figure.axes]
    edge = 5 / 25.4 * figure.dpi
    for box in boxes:
        assert edge <= box.x0 < box.x1 <= figure.bbox.x1 - edge
        assert edge <= box.y0 < box.y1 <= figure.bbox.y1 - edge
    return boxes


def check_black_and_white(figure):
    figure.set_dpi(40)
    figure.canvas.draw()
    red, green, blue, _ = np.asarray(figure.canvas.buffer_rgba()).astype(int).transpose(2, 0, 1)
    assert np.array_equal(red, green)
    assert np.array_equal(green, blue)


def size_mm(path):
    (page,) = PdfReader(path).pages
    return tuple(float(side) / 72 * 25.4 for side in (page.mediabox.width, page.mediabox.height))
