"""JSON that gives back what it was given: tuples, dates, bytes and numbers of numpy travel under a tag.

Metadata come from sidecars (TOML has dates) and from readers (tuples, numpy scalars). The text is plain ASCII, so that
names which are no Unicode (half surrogates in file names) survive everywhere.
"""

from __future__ import annotations

import base64
import datetime
import json
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

TAG = "lowrelief_value"

_BACK: dict[str, Callable[[Any], Any]] = {
    "tuple": lambda value: tuple(_unpacked(item) for item in value),
    "datetime": datetime.datetime.fromisoformat,
    "date": datetime.date.fromisoformat,
    "time": datetime.time.fromisoformat,
    "bytes": lambda value: base64.b64decode(value, validate=True),
    "mapping": lambda value: {_unpacked(key): _unpacked(item) for key, item in value},
}


def dumps(value: Any) -> str:
    """JSON text in ASCII; numbers that are not finite as NaN and Infinity.

    >>> loads(dumps({"size": (1, 2.5), "date": datetime.date(2024, 5, 1)}))
    {'size': (1, 2.5), 'date': datetime.date(2024, 5, 1)}
    """
    return json.dumps(_packed(value), ensure_ascii=True)


def loads(text: str) -> Any:
    """The value of a text from `dumps`.

    Raises
    ------
    ValueError
        If the text is no JSON, or a tag is not known.
    """
    return _unpacked(json.loads(text))


def _packed(value: Any) -> Any:
    if value is None or isinstance(value, bool | int | float | str):
        return value
    if isinstance(value, np.generic | np.ndarray):
        return _packed(value.tolist())
    if isinstance(value, Mapping):
        if all(isinstance(key, str) for key in value) and TAG not in value:
            return {key: _packed(item) for key, item in value.items()}
        return _tagged("mapping", [[_packed(key), _packed(item)] for key, item in value.items()])
    if isinstance(value, list):
        return [_packed(item) for item in value]
    if isinstance(value, tuple):
        return _tagged("tuple", [_packed(item) for item in value])
    if isinstance(value, datetime.datetime):  # before date, of which it is a kind
        return _tagged("datetime", value.isoformat())
    if isinstance(value, datetime.date):
        return _tagged("date", value.isoformat())
    if isinstance(value, datetime.time):
        return _tagged("time", value.isoformat())
    if isinstance(value, bytes):
        return _tagged("bytes", base64.b64encode(value).decode("ascii"))
    return str(value)


def _unpacked(value: Any) -> Any:
    if isinstance(value, list):
        return [_unpacked(item) for item in value]
    if not isinstance(value, dict):
        return value
    if TAG not in value:
        return {key: _unpacked(item) for key, item in value.items()}
    back = _BACK.get(str(value[TAG]))
    if back is None:
        raise ValueError(f"there is no kind of value “{value[TAG]}”")
    return back(value["value"])


def _tagged(kind: str, value: Any) -> dict[str, Any]:
    return {TAG: kind, "value": value}
