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
        names = table.column_names
        # The library reads a damaged text without a word: its bytes may be no UTF-8.
        table.validate(full=True)
    except (pa.ArrowException, OSError, UnicodeError, MemoryError) as error:
        raise NotATable("the Parquet file is damaged.", "Export it again.") from error
    if not table.num_rows or not any(name.strip() for name in names):
        raise no_rows()
    if sum(map(text_bytes, table.columns)) > TEXT_LIMIT:
        raise too_large()
    columns: list[pa.ChunkedArray] = []
    while table.num_columns:
        columns.append(column_text(names, table.column(0), len(columns)))
        table = table.remove_column(0)
    return names, columns


def read_table(data: bytes) -> pa.Table:
    """The table with its texts as dictionaries: what a packed file repeats is counted before it is unpacked."""
    file = pyarrow.parquet.ParquetFile(pa.BufferReader(data))
    about = file.metadata
    if about.num_columns > COLUMN_LIMIT:
        raise too_many_columns()
    unpacked = sum(about.row_group(group).total_byte_size for group in range(about.num_row_groups))
    if about.num_rows > ROW_LIMIT or about.num_rows * about.num_columns > CELL_LIMIT or unpacked > TEXT_LIMIT:
        raise too_large()
    leaves = [file.schema.column(place) for place in range(about.num_columns)]
    texts = [leaf.path for leaf in leaves if leaf.physical_type == "BYTE_ARRAY"]
    return pyarrow.parquet.ParquetFile(pa.BufferReader(data), read_dictionary=texts).read()


def text_bytes(column: pa.ChunkedArray) -> int:
    """What a column of dictionaries, or of lists of them, takes as plain text; of other types what it takes."""
    if is_list(column.type):
        return text_bytes(
            pa.chunked_array([chunk.flatten() for chunk in column.chunks], column.type.value_type)
        )
    if not is_type.is_dictionary(column.type):
        return int(column.nbytes)
    lengths = (pc.binary_length(chunk.dictionary).take(chunk.indices) for chunk in column.chunks)
    return sum(pc.sum(length, min_count=0).as_py() for length in lengths)


def column_text(names: list[str], column: pa.ChunkedArray, place: int) -> pa.ChunkedArray:
    try:
        text = as_text(column)
    except (pa.ArrowException, ValueError, ArithmeticError) as error:
        raise not_text(names, place) from error
    if text is None or pc.any(pc.match_substring(text, "\0")).as_py():
        raise not_text(names, place)
    return text


def not_text(names: list[str], place: int) -> NotATable:
    return NotATable(
        "this column holds values that are not text, numbers, dates, yes/no or lists of text.",
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
        return joined(column) if is_text(kind.value_type) or is_type.is_dictionary(kind.value_type) else None
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
