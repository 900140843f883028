"""The receipt: what was run, with what, and every number that came of it, sealed by a hash.

A stranger who has the receipt and the case can run it again and lay the numbers side by side.
"""

from __future__ import annotations

import hashlib
import json
import os
import platform
from collections.abc import Iterable, Mapping
from typing import Any

from effband.case.data_files import BadData, read_data
from effband.problems import CaseError, Problem
from effband.report.armour import (
    CASE,
    MOST_BYTES,
    RECEIPT,
    BadBlock,
    LeftOut,
    armoured,
    read_armoured,
)
from effband.report.machine import document, to_json
from effband.study import Study

FORMAT = 1
HONESTY = (
    "A receipt proves that case, settings and numbers are those it was made of. It is no "
    "signature: it proves neither who measured nor that the readings are true."
)

CHANGED = "the receipt was changed since it was made: its hash does not fit"

_KIND, _SEAL = "effband-receipt", "receipt_sha256"
_PARTS = "parts"  # hashes of the files beside it, which hold the receipt and so cannot be in it

_SIZES = ("mean", "standard_uncertainty", "median", "low", "high")
_ENDS = {"low": float, "high": float}
_NUMBER, _TEXT = (float, None), (str, None)
# What a receipt is made of: types, or several; a list's every item; a mapping's keys.
_SHAPE: dict[str, Any] = {
    _KIND: int,
    "case": {"sha256": str, "canonical_sha256": str},
    "data": [{"name": str, "sha256": str, "bytes": int, "rows": int}],
    "versions": {
        "effband": str,
        "engine": int,
        "python": str,
        "numpy": str,
        "scipy": str,
        "matplotlib": str,
        "os": str,
        "machine": str,
    },
    "settings": {
        "seed": int,
        "trials": int,
        "probability": float,
        "digits": int,
        "adaptive": bool,
        "sampling": str,
        "widen_guesses": _NUMBER,
    },
    "results": [
        {
            "result": str,
            "run": _TEXT,
            "unit": str,
            "mean": _NUMBER,
            "standard_uncertainty": _NUMBER,
            "median": float,
            "interval": _ENDS,
            "simulation_uncertainty": dict.fromkeys(_SIZES, _NUMBER),
            "beyond_ceiling": _NUMBER,
        }
    ],
    "claims": [
        {
            "result": str,
            "run": _TEXT,
            "says": str,
            "confidence": float,
            "verdict": _TEXT,
            "probability": float,
            "simulation_uncertainty": float,
            "trials": int,
        }
    ],
    "cross_checks": [
        {
            "name": str,
            "run": _TEXT,
            "verdict": str,
            "level": float,
            "pairs": [{"between": [str], "verdict": str, "unit": str, "interval": _ENDS}],
        }
    ],
    "warnings": int,
    _SEAL: str,
}


def receipt(study: Study) -> dict[str, Any]:
    """Return the receipt of a study, as plain values.

    Numbers stand in each result's unit, with full precision, under the names of the JSON
    result. It holds no path and no name of a computer or person, and depends on nothing but the
    study and the machine: not on the number of workers, the file's name or the time.
    """
    text, found = study.case.text, document(study)
    versions = {
        **dict(study.versions),
        "engine": found["effband"]["engine"],
        "os": platform.system(),
        "machine": platform.machine(),
    }
    widened = None if study.widened is None else study.widened.factor
    whole = {
        _KIND: FORMAT,
        "case": {
            "sha256": text.sha256,
            "canonical_sha256": hashlib.sha256(canonical(text.tree)).hexdigest(),
        },
        "versions": versions,
        "settings": {**found["settings"], "widen_guesses": widened},
        "warnings": len(found["warnings"]),
        **{key: found[key] for key in ("data", "results", "claims", "cross_checks")},
        _SEAL: "",
    }
    kept: dict[str, Any] = _fitted(whole, _SHAPE)
    kept[_SEAL] = _seal(kept)
    return kept


def canonical(value: object) -> bytes:
    """Return a value as JSON in one way: keys sorted as RFC 8785 says, no blanks, UTF-8.

    Numbers are written as Python writes them, the shortest that read back equal (1e-07 where
    RFC 8785 has 1e-7); a parsed case holds none. Raises ValueError for what is not JSON.
    """
    plain = json.dumps(
        _sorted(value), ensure_ascii=False, allow_nan=False, separators=(",", ":"), sort_keys=False
    )
    return plain.encode()


def short(receipt: Mapping[str, Any]) -> str:
    """Return the first 12 characters of a receipt's hash, to print in a figure or a post."""
    return str(receipt[_SEAL])[:12]


def receipt_text(receipt: Mapping[str, Any], parts: Mapping[str, str] | None = None) -> str:
    """Return a receipt as the text of its file.

    Parameters
    ----------
    receipt
        From `receipt`.
    parts
        The SHA-256 of the files beside it, by name, where it goes into a set.
    """
    return to_json({**receipt, **({} if parts is None else {_PARTS: dict(parts)})})


def read_receipt(text: str, name: str = "the text") -> dict[str, Any]:
    """Return the receipt in a text, without what it says of the files beside it.

    Parameters
    ----------
    text
        The file of a receipt, or any text with a block that carries one.
    name
        What the text is called in messages.

    Raises
    ------
    BadBlock
        When there is no receipt, its hash does not fit, or it is not in form.
    """
    if not text.lstrip("\ufeff \t\r\n").startswith("{"):
        files = read_armoured(text, name)
        if RECEIPT not in files:
            raise BadBlock("the block carries no receipt", "ask for the file receipt.json", name)
        try:
            text = files[RECEIPT].decode()
        except UnicodeDecodeError:
            raise _not_one(name) from None
    try:
        found = json.loads(text.lstrip("\ufeff"), object_pairs_hook=_once)
    except (ValueError, RecursionError):
        raise _not_one(name) from None
    if not isinstance(found, dict) or _KIND not in found:
        raise _not_one(name)
    if found[_KIND] != FORMAT:
        what = f"the receipt is of another format than {FORMAT}"
        raise BadBlock(what, "read it with the release of effband that wrote it", name)
    found.pop(_PARTS, None)
    try:
        sealed = found.get(_SEAL) == _seal(found)
    except (ValueError, RecursionError):
        raise _not_one(name) from None
    if not sealed:
        raise BadBlock(CHANGED, "ask for the receipt as it was written", name)
    try:
        _fitted(found, _SHAPE)
    except (KeyError, TypeError, OverflowError):
        raise _not_one(name) from None
    return found


def case_block(
    study: Study, most: int | None = None, proof: Mapping[str, Any] | None = None
) -> str:
    """Return a block with the case, its data files and the receipt.

    Parameters
    ----------
    study
        What is published.
    most
        The characters that the block may have; of data files that do not fit, then of the
        receipt, only name, size and hash are carried.
    proof
        Its receipt, where that is made already.

    Raises
    ------
    BadBlock
        When the case alone is too large.
    CaseError
        When a data file is no longer what was read, or bears a name that is taken.
    """
    case = study.case
    files = {CASE: case.text.data, RECEIPT: canonical(proof or receipt(study))}
    left_out = []
    for each in case.data:
        if each.name in files:
            what = f"{each.name!r} is the name of another part of the report"
            raise CaseError([Problem(None, what, "rename the data file")], case.text.file)
        if each.size > MOST_BYTES:
            left_out.append(LeftOut(each.name, each.size, each.sha256))
            continue
        try:
            data = read_data(os.path.dirname(case.text.file), each.name, MOST_BYTES)
        except BadData as error:
            raise CaseError([Problem(None, error.what, error.remedy)], case.text.file) from None
        if hashlib.sha256(data).hexdigest() != each.sha256:
            what = f"{each.name!r} was changed since it was read"
            raise CaseError([Problem(None, what, "run the case again")], case.text.file)
        files[each.name] = data
    return armoured(files, most, left_out)


def _seal(receipt: Mapping[str, Any]) -> str:
    rest = {key: value for key, value in receipt.items() if key != _SEAL}
    return hashlib.sha256(canonical(rest)).hexdigest()


def _sorted(value: object) -> object:
    """Return a value with the keys of its mappings in the order of UTF-16 code units."""
    if isinstance(value, Mapping):
        keys = sorted(value, key=lambda key: key.encode("utf-16-be", "surrogatepass"))
        return {key: _sorted(value[key]) for key in keys}
    if isinstance(value, list | tuple):
        return [_sorted(each) for each in value]
    return value


def _fitted(value: Any, shape: Any) -> Any:
    """Return the part of a value that a shape names; raises KeyError or TypeError if it lacks."""
    if isinstance(shape, dict):
        return {key: _fitted(value[key], inner) for key, inner in shape.items()}
    if isinstance(shape, list):
        if not isinstance(value, list):
            raise TypeError(value)
        return [_fitted(each, shape[0]) for each in value]
    kinds = shape if isinstance(shape, tuple) else (shape,)
    if value is None and None in kinds:
        return None
    kind = kinds[0]
    if isinstance(value, bool) != (kind is bool) or not isinstance(
        value, (int, float) if kind is float else kind
    ):
        raise TypeError(value)
    return kind(value)


def _once(pairs: Iterable[tuple[str, Any]]) -> dict[str, Any]:
    """Return a JSON object; raises ValueError where a key stands twice."""
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise ValueError(key)
        found[key] = value
    return found


def _not_one(name: str) -> BadBlock:
    return BadBlock("there is no receipt of effband in form", "name a report or its receipt", name)
