"""The case as it would be with upgrades of it: one way for all that works them out."""

from __future__ import annotations

from collections.abc import Sequence

from effband.case.as_written import values_as_written
from effband.case.model import Case
from effband.case.resolve import with_change
from effband.case.upgrades import SAME, change_of, together
from effband.decide.common_draws import Key, key_of
from effband.decide.repeats import with_repeats
from effband.problems import ComputationRefused


def repeated(case: Case, name: str) -> str | None:
    """Return the run or group that an upgrade repeats; None for all."""
    purpose = case.file.upgrades[name].for_
    return None if purpose is None else purpose.run


def with_upgrades(case: Case, names: Sequence[str]) -> Case:
    """Return the case with some of its upgrades, which must go together.

    Raises
    ------
    CaseError
        When there is no such case.
    """
    change = together(change_of(case, name) for name in names)
    assert change is not None
    found = with_change(case, change) if change.names else case
    for name in names:
        number = case.file.upgrades[name].repeats
        if number is not None:
            found = with_repeats(found, repeated(case, name), number)
    return found


def refuse_lost_scatter(case: Case, changed: Case, key: Key) -> None:
    """Refuse a change that foretells one value for all runs of a group, which scatters now.

    The scatter of a group is what its runs show. Readings foretold alike show none, so the
    band would leave it out.

    Raises
    ------
    ComputationRefused
        Where the group's value would show no scatter.
    """
    group = next((o.group for o in case.outputs if key_of(o) == key), None)
    if group is None or not group.scatter_seen:
        return
    runs = [(key[0], run) for run in group.members]
    if _differ(case, runs) and not _differ(changed, runs):
        raise ComputationRefused(
            f"{key[0]} would be the same in all runs of {group.name}, so that these show no "
            "scatter: `expect:` must vary from run to run as the readings do",
            "foretell each run's own reading",
        )


def _differ(case: Case, keys: Sequence[Key]) -> bool:
    steps = {key_of(output): output.step for output in case.outputs}
    values = values_as_written(case, [steps[key] for key in keys if key in steps])
    return bool(values) and max(values) - min(values) > SAME * max(map(abs, values))
