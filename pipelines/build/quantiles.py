"""Quantiles that SQL cannot work out: tables made while building, which the views join."""

from __future__ import annotations

import pyarrow as pa

# Beyond so many degrees of freedom the last row serves: it makes an interval wider by 0.0013 of itself at most.
MOST_DEGREES = 1000
UPPER_SHARE = 0.975


def quantile_tables() -> dict[str, pa.Table]:
    """`t_quantile`: the 0.975 quantile of Student's t for 1 to 1000 degrees of freedom (two-sided 95 %).

    Source of the distribution: Student 1908, Biometrika 6:1; computed by scipy.stats.t.
    """
    # Imported here: it costs half a second, and who only reads a snapshot need not wait for it.
    from scipy.stats import t

    degrees = list(range(1, MOST_DEGREES + 1))
    columns = [pa.array(degrees, pa.int32()), pa.array(t.ppf(UPPER_SHARE, degrees), pa.float64())]
    return {"t_quantile": pa.table(columns, names=["degrees", "quantile"])}
