"""The words of a chart in the reader's own ink: the page's theme would print them too pale to read."""

from __future__ import annotations

from brewwater.output.charts.base import Chart, Palette


def inked(chart: Chart, colours: Palette) -> Chart:
    """The chart with axis, legend and header words that stand at least 4.5 to 1 on their ground."""
    made: Chart = (
        chart.configure_axis(labelColor=colours.muted, titleColor=colours.muted)
        .configure_legend(labelColor=colours.ink, titleColor=colours.ink)
        .configure_header(labelColor=colours.ink, titleColor=colours.ink)
    )
    return made
