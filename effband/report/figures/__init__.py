"""The study in pictures; each stands by itself, and has the same in words (`..._alt`)."""

from effband.report.figures.bands import bands_figure
from effband.report.figures.change import change_alt, change_figure
from effband.report.figures.claim import claim_alt, claim_figure
from effband.report.figures.loads import loads_alt, loads_figure
from effband.report.figures.page import png
from effband.report.figures.wideners import wideners_alt, wideners_figure

__all__ = [
    "bands_figure",
    "change_alt",
    "change_figure",
    "claim_alt",
    "claim_figure",
    "loads_alt",
    "loads_figure",
    "png",
    "wideners_alt",
    "wideners_figure",
]
