"""What only checks of plausibility look at: the altitude, and the balance of energies."""

from __future__ import annotations

from effband.case.findings import Findings
from effband.case.format import CaseFile
from effband.units import parse_unit


def check_balance(file: CaseFile, findings: Findings) -> None:
    """Check that the altitude is one, and that the balance names formulas."""
    if file.altitude is not None and file.altitude.unit.dimension != parse_unit("m").dimension:
        what = f"an altitude is a length, not in {file.altitude.unit.text}"
        findings.error(("altitude",), what, "write such as 640 m")
    if file.balance is not None:
        for name in (*file.balance.in_, *file.balance.out, *file.balance.stored):
            findings.known(name, list(file.formulas), ("balance",), "formula")
