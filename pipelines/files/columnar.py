"""A Parquet file: its typed columns as the text that an export would hold."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet
import pyarrow.types as is_type

from pipelines.files.identifiers import column_shown, normalised
from pipelines.files.native import export_text
from pipelines.files.refusals import (
    CELL_LIMIT,
    COLUMN_LIMIT,
    ROW_LIMIT,
    TEXT_LIMIT,
    NotATable,
    no_rows,
    too_large,
    too_many_columns,
)


def read_columnar(data: bytes) -> tuple[list[str], list[pa.ChunkedArray]]:
    """The names and the text of the columns of a Parquet file; raises NotATable."""
    try:
        table = read_table(data)
    except (pa.ArrowException, OSError) as error:
        raise NotATable("the Parquet file is damaged.", "Export it again.") from error
    if not table.num_rows or not any(name.strip() for name in table.column_names):
        raise no_rows()
    names = table.column_names
    return names, [column_text(names, table.column(place), place) for place in range(table.num_columns)]


def read_table(data: bytes) -> pa.Table:
    """The table with its texts as dictionaries: what a packed file repeats is not unpacked before it is counted."""
    file = pyarrow.parquet.ParquetFile(pa.BufferReader(data))
    rows, columns = file.metadata.num_rows, file.metadata.num_columns
    if columns > COLUMN_LIMIT:
        raise too_many_columns()
    unpacked = sum(
        file.metadata.row_group(group).total_byte_size for group in range(file.metadata.num_row_groups)
    )
    if rows > ROW_LIMIT or rows * columns > CELL_LIMIT or unpacked > TEXT_LIMIT:
        raise too_large()
    texts = [field.name for field in file.schema_arrow if is_text(field.type)]
    return pyarrow.parquet.ParquetFile(pa.BufferReader(data), read_dictionary=texts).read()


def column_text(names: list[str], column: pa.ChunkedArray, place: int) -> pa.ChunkedArray:
    try:
        text = as_text(column)
    except (pa.ArrowException, UnicodeError) as error:
        raise not_text(names, place) from error
    if text is None or pc.any(pc.match_substring(text, "\0")).as_py():
        raise not_text(names, place)
    return text


def not_text(names: list[str], place: int) -> NotATable:
    return NotATable(
        "the values of this column are no text, number, date, yes/no or list of texts.",
        "Write the column as text and export again.",
        column=column_shown([normalised(name) for name in names], place + 1),
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
        return export_text(float(str(np.dtype(value.type.to_pandas_dtype()).type(value.as_py()))))
    return export_text(value.as_py())
