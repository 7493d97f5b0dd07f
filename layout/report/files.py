"""Files that appear whole or not at all, and numbers as JSON."""

import json
import math
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from sites.errors import BrightacreError


def write_atomic(path: Path, content: str | bytes) -> Path:
    """Write one file (text as UTF-8) so that it is there complete or not at all; returns ``path``.

    Raises BrightacreError where the folder or file cannot be written.
    """
    write_all({path: content})
    return path


def write_all(files: Mapping[Path, str | bytes]) -> tuple[Path, ...]:
    """Write several files beside their places first, then move all into place; folders are made.

    Whatever stops the writing (an error, Ctrl-C), no part of a file is left behind.
    Raises BrightacreError where a folder or file cannot be written.
    """
    parts: dict[Path, Path] = {}
    try:
        for path, content in files.items():
            path.parent.mkdir(parents=True, exist_ok=True)
            part = path.with_name(f".{path.name}.{os.getpid()}.part")
            parts[path] = part
            part.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)
        for path, part in parts.items():
            part.replace(path)
    except OSError as error:
        raise BrightacreError(f"{error.filename or path}: cannot be written: {error.strerror}") from error
    finally:
        for part in parts.values():
            part.unlink(missing_ok=True)
    return tuple(files)


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray):
        return _plain(value.tolist())
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def to_json(data: Any) -> str:
    """Numbers, strings, lists and mappings as JSON text; what is not a finite number becomes ``null``.

    >>> print(to_json({"kwh": np.float64(2.5), "ratio": float("nan")}))
    {
     "kwh": 2.5,
     "ratio": null
    }
    <BLANKLINE>
    """
    return json.dumps(_plain(data), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def file_stem(name: str) -> str:
    """A layout's name as part of a file name: letters, digits, dash and underscore of any script kept.

    >>> file_stem("rows, 20° / dense")
    'rows-20-dense'
    """
    words = "".join(c if c.isalnum() or c in "-_" else " " for c in name).split()
    return "-".join(words) or "layout"
