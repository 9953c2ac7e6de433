"""A store of two programmes of one hospital, and markup in every text that is not the project's own."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pipelines.store.store import Store
from tests.stores import new_store, run_well, set_programme, shipped_specialty, write_csv, write_specialty

X, Y = "harbour-eye", "zyx-eye"
ELSEWHERE = "elsewhere.example"
# What the library's Markdown or a browser would make something of.
MARKUP = (
    f"![seen](http://{ELSEWHERE}/a.png) [go](http://{ELSEWHERE}/b) <img src=http://{ELSEWHERE}/c.png>"
    f" <a href=http://{ELSEWHERE}/d>e</a> http://{ELSEWHERE}/f :red[warm] $x^2$ **bold**"
)
# An address in a comment refuses its file; this does not.
IN_A_COMMENT = "![seen][a] <b>loud</b> :red[warm] $x^2$ **bold** `code`"

ROSTER = f"""\
trainee_ref,cohort,started,expected_completion,programme_ref
T01,2026-27,2024-07,2027-06,{X}
T02,2026-27,2024-07,2027-06,{X}
ZYX1,2026-27,2024-07,2027-06,{Y}
"""
HEADER = "case_ref,trainee_ref,operated_on,procedure,role,supervision,supervisor_ref,complications,follow_up_days\n"
OWN = (
    HEADER
    + "C001,T01,2026-03-04,phaco_iol,surgeon,supervisor_in_room,S01,capsule_rupture,90\n"
    + "C002,T01,2026-03-05,own_procedure,surgeon,supervisor_in_room,S01,none,90\n"
    + "C003,T02,2026-03-06,phaco_iol,surgeon,supervisor_in_room,S01,none,90\n"
    + "C004,T02,2026-03-07,phaco_iol,own_role,,,,\n"
)
OTHERS = (
    HEADER
    + "ZYX-001,ZYX1,2026-03-04,zyx_procedure,surgeon,supervisor_in_room,ZYXS,capsule_rupture,90\n"
    + "ZYX-002,ZYX1,2026-03-05,phaco_iol,zyx_role,,,,\n"
    + "ZYX-003,,2026-03-06,phaco_iol,zyx_role,,,,\n"
    + "ZYX-004,ZYX9,2026-03-06,phaco_iol,surgeon,,,,\n"
)
BOTH = (
    HEADER
    + "C005,T02,2026-04-06,phaco_iol,surgeon,supervisor_in_room,S01,none,90\n"
    + "ZYX-005,ZYX1,2026-04-07,phaco_iol,surgeon,supervisor_in_room,ZYXS,none,90\n"
    + "ZYX-006,ZYX1,2026-04-08,phaco_iol,zyx_role,,,,\n"
    + "ZYX-007,,2026-04-09,phaco_iol,zyx_role,,,,\n"
)
REVIEWS = f"""\
review_ref,case_ref,trainee_ref,reviewer_ref,setting,self_review,step,score,comment
R1,C001,T01,S01,live,no,incision,3,"{IN_A_COMMENT}"
ZYXR,ZYX-001,ZYX1,S01,live,no,incision,5,zyx comment
"""


def marked_specialty() -> dict[str, Any]:
    """The shipped specialty with the markup in each text that a screen can show."""
    specialty = shipped_specialty()
    for part in ("requirements", "complications", "procedures", "roles", "supervision", "milestones"):
        items = specialty[part]["items"] if part == "milestones" else specialty[part]
        for ref, item in items.items():
            if isinstance(item, str):
                items[ref] = f"{item} {MARKUP}"
                continue
            for key in ("title", "source", "edition", "definition", "band"):
                if item.get(key):
                    item[key] = f"{item[key]} {MARKUP}"
    for part in ("procedure_groups", "attributes"):
        for ref, item in specialty[part].items():
            if isinstance(item, str):
                specialty[part][ref] = f"{item} {MARKUP}"
    return specialty


def two_programmes(folder: Path, specialty: object = "ophthalmology") -> Store:
    """T01 and T02 of the store's own programme, ZYX1 of another; everything of the other one says zyx."""
    root = new_store(folder, specialty)
    set_programme(root, as_of="2026-11-15", basis=f"Consent. {MARKUP}", demo=True)
    files = {"roster": ROSTER, "own": OWN, "zyx-cases": OTHERS, "reviews": REVIEWS}
    paths = [write_csv(folder / f"{name}.csv", text) for name, text in files.items()]
    run_well("intake", paths[0], "--store", root)
    for path in paths[1:]:
        run_well("intake", path, "--store", root)
    run_well("intake", write_csv(folder / "joint.csv", BOTH), "--store", root, "--source", "joint")
    return Store(root)


def write_marked(folder: Path) -> Path:
    return write_specialty(folder / "marked.yaml", marked_specialty())
