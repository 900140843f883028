"""The files of a published report: one study, several faces."""

from __future__ import annotations

from collections.abc import Collection

from effband.report.content import Picture, report
from effband.report.machine import document, to_json
from effband.report.markdown import markdown
from effband.report.words import headline_band, sentence
from effband.study import Study

FORMATS = ("md", "png", "json")


def files_of(study: Study, formats: Collection[str]) -> dict[str, bytes]:
    """Return the files of a report by name, in some of `FORMATS`."""
    files: dict[str, bytes] = {}
    pictures: list[Picture] = []
    if "png" in formats:
        from effband.report.figures import bands_figure, png  # a second to load

        pictures.append(Picture("bands.png", sentence(headline_band(study), study)))
        files["bands.png"] = png(bands_figure(study))
    content = report(study, pictures)
    if "md" in formats:
        files["report.md"] = markdown(content).encode("utf-8")
    if "json" in formats:
        files["result.json"] = to_json(document(study)).encode("utf-8")
    return files
