"""A disk without room, and one that may not be written to: a clear line, exit code 1, and everything as it was."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.mounts import in_own_mounts
from tests.standing import later_cases, standing_store
from tests.stores import run_well


@pytest.fixture(scope="module")
def standing(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return standing_store(tmp_path_factory.mktemp("standing"))


# A disk that the store fills but for $2 kilobytes; afterwards it is given room.
FULL = """
mount -t tmpfs -o size=64m tmpfs "$place" && cp -a "$store" "$place/store" || exit 1
used=$(df --output=used -k "$place" | tail -1)
mount -o "remount,size=$((used + $2))k" "$place" || exit 1
for step in intake show; do
    case $step in
        intake) cohort intake "$1" --store "$place/store" ;;
        show) cohort show case_credit --store "$place/store" --format csv ;;
    esac
done
mount -o remount,size=128m "$place" || exit 1
step=again; cohort intake "$1" --store "$place/store"
step=after; cohort show case_credit --store "$place/store" --format csv
step=stray; find "$place/store/.work" -mindepth 1 >"$out/stray.out"; ls "$place/store/intake" | wc -l >>"$out/stray.out"
"""


@pytest.mark.parametrize(
    ("kilobytes", "where"), [(0, "at the lock"), (8, "storing the rows"), (6000, "building")]
)
def test_a_full_disk_ends_with_1_and_leaves_the_old_rows(
    kilobytes: int, where: str, standing: Path, tmp_path: Path
) -> None:
    old = run_well("show", "case_credit", "--store", standing, "--format", "csv").out
    ended = in_own_mounts(tmp_path, standing, FULL, later_cases(tmp_path), kilobytes)
    assert ended.code("intake") == 1, where
    assert ended.err("intake").splitlines()[-1] == "The disk is full; what was live is as it was."
    assert "Traceback" not in ended.err("intake")
    assert (ended.code("show"), ended.out("show")) == (0, old)
    # With room again the same intake goes through, and nothing of the first try is left.
    assert ended.code("again") == 0, ended.err("again")
    assert "C005" in ended.out("after")
    assert ended.out("stray") == "3\n"  # roster, earlier cases, later cases


READ_ONLY = """
mount --bind "$store" "$place" && mount -o remount,bind,ro "$place" || exit 1
step=intake; cohort intake "$1" --store "$place"
step=build; cohort build --store "$place"
step=init; cohort init --store "$place/new" --specialty ophthalmology --programme P
step=check; cohort check "$1" --store "$place"
step=show; cohort show case_credit --store "$place" --format csv
"""


def test_a_read_only_store_can_be_read_and_nothing_else(standing: Path, tmp_path: Path) -> None:
    old = run_well("show", "case_credit", "--store", standing, "--format", "csv").out
    ended = in_own_mounts(tmp_path, standing, READ_ONLY, later_cases(tmp_path))
    for step in ("intake", "build", "init"):
        assert ended.code(step) == 1
        assert ended.err(step).splitlines()[-1] == "The store is read-only here; nothing was changed."
        assert "Traceback" not in ended.err(step)
    assert ended.code("check") == 0
    assert (ended.code("show"), ended.out("show")) == (0, old)
