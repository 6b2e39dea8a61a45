"""A file that appears under its name only when it is complete."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TextIO

from afterfill.errors import AfterfillError


@contextmanager
def whole_file(path: Path, family: type[AfterfillError], advice: str) -> Iterator[TextIO]:
    """Write to `path`. Raises an error of `family` that ends with `advice` when that fails."""
    partial = path.with_name(f"{path.name}.partial")
    try:
        with partial.open("w", encoding="utf-8") as file:
            yield file
        os.replace(partial, path)
    except OSError as error:
        raise family(f"{path}: cannot be written ({error}); {advice}") from error
    finally:
        partial.unlink(missing_ok=True)
