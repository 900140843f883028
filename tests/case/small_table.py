"""A small CSV file, and what is read from one that is written for the purpose."""

from __future__ import annotations

from pathlib import Path

from effband.case.tables import Table, read_table

GOOD = "run,p_start,note\nlight_1,5.3,\nlight_2,5.25,warm oil\n\nfull_1,-0.5e-3,x\n"


def table_of(folder: Path, content: str | bytes, most_rows: int = 1000) -> Table:
    data = content.encode() if isinstance(content, str) else content
    (folder / "runs.csv").unlink(missing_ok=True)  # overwriting takes long on some disks
    (folder / "runs.csv").write_bytes(data)
    return read_table(folder, "runs.csv", most_rows)


def texts(table: Table) -> list[list[str]]:
    return [[cell.text for cell in row.values()] for row in table.rows]
