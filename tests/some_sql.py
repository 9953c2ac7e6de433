"""A few files of sql/ in a folder of their own: a test of one view need not make all the others."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from pipelines.build.build import SQL, sql_files
from tests.stores import own_folder


@cache
def folder_of(*numbers: str) -> Path:
    """A folder with the files of sql/ whose names start with these numbers, in their order."""
    folder = own_folder()
    for path in sql_files(SQL):
        if path.name.startswith(numbers):
            (folder / path.name).symlink_to(path)
    return folder
