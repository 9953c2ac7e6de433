"""Invented frames for the charts, with the hard cases: nobody known, one of three, forty people, no interval.

Intervals come from statsmodels (Wilson) and scipy (Student's t), not from the project.
"""

from __future__ import annotations

import random

import pandas as pd
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

REQUIREMENTS = [
    *("Cataract 86", "YAG capsulotomy 5", "Trabeculoplasty 5", "Iridotomy 4", "Panretinal laser 10"),
    *("Keratoplasty 5", "Ocular surface 3", "Keratorefractive 6", "Strabismus 10", "Glaucoma surgery 5"),
    *("Retina, vitreous 10", "Injection 10", "Oculoplastic, all 28", "– eyelid laceration 3"),
    *("– chalazion 3", "– ptosis, blepharoplasty 3", "Globe trauma 4"),
]
BANDS = ["jointly", "with guidance", "supervisor present", "supervisor available"]
PHASES = {
    "Opening": ["Draping", "Incision"],
    "Lens": [
        *("Capsulorhexis", "Hydrodissection", "Nucleus disassembly", "Segment removal"),
        *("Cortex removal", "Lens insertion"),
    ],
    "Closing": ["Viscoelastic removal", "Wound closure"],
    "Throughout": ["Eye position", "Tissue handling", "Flow"],
}
# events, known outcomes, expected rate (None: too little to expect anything); the last three say nothing.
OUTCOMES = [
    *((2, 117, 0.021), (3, 74, 0.034), (6, 144, 0.021), (1, 40, 0.034), (1, 23, 0.034), (0, 3, 0.034)),
    *((1, 13, 0.034), (2, 20, 0.034), (0, 1, None), (0, 0, None), (0, 0, None), (0, 0, None)),
]


def people(count: int) -> list[str]:
    return [f"T{number:02d}" for number in range(1, count + 1)]


def volume(count: int = 12) -> pd.DataFrame:
    """A first third near the end, a last third at the start; T01 has 46 of 28 with one part short."""
    draw, found = random.Random(7), []
    for place, trainee in enumerate(people(count)):
        share = 1.5 * (1 - place / count) ** 2
        for order, requirement in enumerate(REQUIREMENTS):
            minimum = int(requirement.rsplit(" ", 1)[1])
            cases = round(minimum * share * draw.uniform(0.7, 1.5))
            short = requirement.startswith("Oculoplastic") and place in {0, 2}
            cases = 46 if short else cases
            reached = cases >= minimum and not short
            mark = f"{cases}, {place + 1} of 3 short" if short else f"✓ {cases}" if reached else f"{cases}"
            group = ("2026–27", "2027–28", "2028–29")[3 * place // count]
            found.append((trainee, place, requirement, order, cases, minimum, reached, mark, group))
    columns = "trainee trainee_order requirement requirement_order counted_cases minimum reached mark group"
    return pd.DataFrame(found, columns=columns.split())


def outcomes(drawn: list[tuple[int, int, float | None]] | None = None) -> pd.DataFrame:
    drawn = OUTCOMES if drawn is None else drawn
    found = [
        (trainee, place, *_wilson(events, known), expected, known, _known(events, known))
        for place, (trainee, (events, known, expected)) in enumerate(
            zip(people(len(drawn)), drawn, strict=True)
        )
    ]
    columns = "trainee trainee_order rate rate_low rate_high expected known_outcomes label"
    return pd.DataFrame(found, columns=columns.split()).astype({"expected": float, "rate": float})


def _wilson(events: int, known: int) -> tuple[float | None, float | None, float | None]:
    if known < 2:
        return None, None, None
    low, high = proportion_confint(events, known, method="wilson")
    return events / known, max(low, 0.0), min(high, 1.0)


def _known(events: int, known: int) -> str:
    return "nothing known" if known == 0 else "too few to say" if known < 2 else f"{events} in {known} cases"


def many_outcomes(count: int = 40) -> pd.DataFrame:
    draw = random.Random(3)
    return outcomes([(draw.randint(0, 4), draw.randint(20, 150), 0.025) for _ in range(count)])


def bands(count: int = 12) -> pd.DataFrame:
    """The last four have nothing to draw, one row each: three without a level, the last without a case.

    Each of the others is in a quarter of their own, T02 in one that is not over.
    """
    draw, found = random.Random(5), []
    for place, trainee in enumerate(people(count)):
        if place >= count - 4 and count > 4:
            why = "no case in an operating role" if place == count - 1 else "no level recorded"
            found.append((trainee, place, None, None, None, None, None, None, False, why))
            continue
        cases = [draw.randint(0, 3 + place), draw.randint(1, 12), draw.randint(4, 20), max(0, 20 - 3 * place)]
        for order, (band, some) in enumerate(zip(BANDS, cases, strict=True)):
            if some:
                shares = (band, order, some / sum(cases), some, sum(cases))
                found.append((trainee, place, *shares, 14 - place, trainee == "T02", None))
    columns = "trainee trainee_order band band_order share cases known_cases training_quarter so_far why_none"
    return pd.DataFrame(found, columns=columns.split())


def quarters() -> pd.DataFrame:
    """Eight quarters of one person; the third without a case."""
    found = []
    for quarter in (1, 2, 4, 5, 6, 7, 8):
        cases = [max(0, 5 - quarter), max(1, 6 - quarter), quarter, max(0, 2 * quarter - 7)]
        found += [
            (quarter, band, order, some / sum(cases), some, sum(cases))
            for order, (band, some) in enumerate(zip(BANDS, cases, strict=True))
            if some
        ]
    return pd.DataFrame(
        found, columns=["training_quarter", "band", "band_order", "share", "cases", "known_cases"]
    )


def steps(seed: int = 1, most: int = 9) -> pd.DataFrame:
    """Thirteen steps; some with two scores and no interval, some not scored."""
    draw, found = random.Random(seed), []
    named = [(phase, step) for phase, each in PHASES.items() for step in each]
    for order, (phase, step) in enumerate(named):
        scores = [draw.randint(2, 5) for _ in range(draw.randint(0, most))]
        found.append((step, order, phase, *_student(scores), len(scores)))
    columns = ["step", "step_order", "phase", "score_mean", "score_low", "score_high", "scored"]
    return pd.DataFrame(found, columns=columns).astype({"score_mean": float, "score_low": float})


def _student(scores: list[int]) -> tuple[float | None, float | None, float | None]:
    mean = sum(scores) / len(scores) if scores else None
    if mean is None or len(scores) < 3:
        return mean, None, None
    if len(set(scores)) == 1:
        return mean, mean, mean
    spread = float(stats.tstd(scores)) / len(scores) ** 0.5
    low, high = stats.t.interval(0.95, len(scores) - 1, loc=mean, scale=spread)
    return mean, float(low), float(high)


def everybody(count: int = 12) -> pd.DataFrame:
    """The last three are scored by nobody; T02 was last reviewed in a quarter that is not over."""
    frames = []
    for place, trainee in enumerate(people(count)):
        scored = place < count - 3 or count < 4
        frame = steps(place, 9 if scored else 0).assign(trainee=trainee, trainee_order=place)
        quarter = 14 - place if scored else None
        frames.append(
            frame.assign(training_quarter=quarter, so_far=trainee == "T02").astype(
                {"training_quarter": float}
            )
        )
    return pd.concat(frames, ignore_index=True)


def months(last: int = 24) -> pd.DataFrame:
    cases = [round(9 * (month / 24) ** 2) for month in range(last + 1)]
    return pd.DataFrame({"training_month": range(last + 1), "counted_cases": cases})


def completed(last: int = 36, *, wide: bool = True) -> pd.DataFrame:
    """Bands of completed classes; without `wide` there are too few people for 10–90."""
    middle = [150 * (month / 36) ** 2.2 for month in range(last + 1)]
    factors = {"p10": 0.6, "p25": 0.8, "p50": 1.0, "p75": 1.2, "p90": 1.45}
    drawn = {name: [round(each * factor) for each in middle] for name, factor in factors.items()}
    frame = pd.DataFrame({"training_month": range(last + 1), **drawn}).astype(float)
    return frame if wide else frame.assign(p10=None, p90=None)


def marks() -> pd.DataFrame:
    """Two rotations with a leave between, a transfer, the end of the data in the middle of the third, and a plan."""
    found = [
        ("elsewhere", "2024-01", None, 0, 3, 3, False),
        ("transfer", "2024-04", None, 3, 3, None, False),
        ("rotation", "2024-04", "general_clinic", 3, 6, 3, False),
        ("rotation", "2024-07", "cornea", 6, 9, 3, False),
        ("leave", "2024-10", None, 9, 9, 6, False),
        ("rotation", "2025-04", "cataract", 9, 24.5, 16, False),
        ("data_end", "2026-07", None, 24, 24, None, False),
        ("rotation", "2026-09", "glaucoma", 24.5, 28, 4, True),
    ]
    columns = "kind first_month rotation active_from active_to months is_ahead"
    return pd.DataFrame(found, columns=columns.split())
