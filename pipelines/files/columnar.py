"""A Parquet file: its typed columns as the text that an export would hold."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet
import pyarrow.types as is_type

from pipelines.contract.errors import FileRefused
from pipelines.files.cells import cell_text
from pipelines.files.sheets import Origin, Sheet, column_shown, normalised, sheet_from_columns


def read_columnar(origin: Origin, data: bytes) -> Sheet:
    """The one table of a Parquet file; raises FileRefused where it is none."""
    try:
        table = pyarrow.parquet.ParquetFile(pa.BufferReader(data)).read()
    except (pa.ArrowException, OSError) as error:
        raise origin.refusal("not_a_table", "the Parquet file is damaged.", "Export it again.") from error
    if not table.num_rows or not any(name.strip() for name in table.column_names):
        raise origin.no_rows()
    columns = [column_text(origin, table, position) for position in range(table.num_columns)]
    return sheet_from_columns(origin, table.column_names, columns)


def column_text(origin: Origin, table: pa.Table, position: int) -> pa.ChunkedArray:
    try:
        text = as_text(table.column(position))
    except (pa.ArrowException, UnicodeError) as error:
        raise not_text(origin, table, position) from error
    if text is None or pc.any(pc.match_substring(text, "\0")).as_py():
        raise not_text(origin, table, position)
    return text


def not_text(origin: Origin, table: pa.Table, position: int) -> FileRefused:
    header = [normalised(name) for name in table.column_names]
    return origin.refusal(
        "not_a_table",
        "the values of this column are no text, number, date, yes/no or list of texts.",
        "Write the column as text and export again.",
        column=column_shown(header, position + 1),
    )


def as_text(column: pa.ChunkedArray) -> pa.ChunkedArray | None:
    """The column as text; None for a type that has no text of its own."""
    kind = column.type
    if is_type.is_dictionary(kind):
        return as_text(column.cast(kind.value_type))
    if is_type.is_timestamp(kind):
        local = pc.local_timestamp(column) if kind.tz else column
        return pc.floor_temporal(local, unit="day").cast(pa.date32()).cast(pa.string())
    if is_type.is_date(kind):
        return column.cast(pa.date32()).cast(pa.string())
    if is_list(kind):
        return joined(column) if is_text(kind.value_type) else None
    if is_text(kind) or is_type.is_binary(kind) or is_type.is_large_binary(kind) or is_type.is_integer(kind):
        return column.cast(pa.string())
    return by_value(column)


def is_text(kind: pa.DataType) -> bool:
    return bool(is_type.is_string(kind) or is_type.is_large_string(kind) or is_type.is_string_view(kind))


def is_list(kind: pa.DataType) -> bool:
    return bool(is_type.is_list(kind) or is_type.is_large_list(kind) or is_type.is_fixed_size_list(kind))


def joined(column: pa.ChunkedArray) -> pa.ChunkedArray:
    texts = [None if each is None else ";".join(filter(None, each)) for each in column.to_pylist()]
    return pa.chunked_array([pa.array(texts, pa.string())])


def by_value(column: pa.ChunkedArray) -> pa.ChunkedArray | None:
    """Each distinct value written once."""
    kind = column.type
    if is_type.is_null(kind):
        return column.cast(pa.string())
    if is_type.is_duration(kind):
        column = column.cast(pa.duration("us"), safe=False)
    elif is_type.is_time64(kind):
        column = column.cast(pa.time64("us"), safe=False)
    elif not (
        is_type.is_floating(kind)
        or is_type.is_boolean(kind)
        or is_type.is_decimal(kind)
        or is_type.is_time32(kind)
    ):
        return None
    encoded = column.combine_chunks().dictionary_encode()
    texts = pa.array([value_text(value) for value in encoded.dictionary], pa.string())
    return pa.chunked_array([texts.take(encoded.indices)])


def value_text(value: pa.Scalar) -> str:
    """A narrow float is written as short as its own precision allows: 0.1, not 0.10000000149011612."""
    if is_type.is_float32(value.type) or is_type.is_float16(value.type):
        return cell_text(float(str(np.dtype(value.type.to_pandas_dtype()).type(value.as_py()))))
    return cell_text(value.as_py())
