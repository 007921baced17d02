"""Text, delimiters, records, named columns. Sources: the formats' own specifications and arithmetic, as stated."""

import codecs

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stockroom.errors import Refused
from stockroom.formats.table_text import (
    PlainText,
    cell,
    fields,
    head,
    likely_delimiter,
    named_table,
    plain_text,
    records,
    shown,
    stated_delimiter,
)


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings_and_line_ends_give_the_same_lines(encoding: str, end: str) -> None:
    # derived: the same three lines, written in every way
    text = plain_text(end.join(["Zeit;Temp °C", "", "x;4,2"]).encode(encoding), "a.csv")
    assert [(n, line) for n, _, line in head(text, 9)] == [(1, "Zeit;Temp °C"), (2, ""), (3, "x;4,2")]
    assert any("1252" in note for note in text.notes) == (encoding == "cp1252")


def test_utf16_big_endian_has_its_own_mark() -> None:
    assert plain_text(codecs.BOM_UTF16_BE + "a,b".encode("utf-16-be"), "a").data == b"a,b"


def test_good_utf8_is_not_copied() -> None:
    data = "a,°\n1,2\n".encode()
    assert plain_text(data, "a").data is data


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"PK\x03\x04rest", "spreadsheet"),  # published: the ZIP specification's local header
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "spreadsheet"),  # published: the compound file specification
        (b"%PDF-1.7", "PDF"),
        (b"\x1f\x8b\x08\x00", "compressed"),  # published: RFC 1952
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "a picture"),  # published: RFC 2083
        (b"\xff\xd8\xff\xe0\0\x10", "a picture"),  # published: ITU-T T.81
        (b"GIF89a\1\0\1\0", "a picture"),  # from memory
        (b"SQLite format 3\0", "a database"),  # published: the format's own page
        (b"time,temp\n\0\0\0", "binary"),
        (b"\xff\xfe\x00\x00a\x00\x00\x00", "binary"),  # UTF-32, whose mark begins like that of UTF-16
        (bytes(range(1, 32)) * 20 + b"\xff", "binary"),
    ],
)
def test_what_is_not_text_is_refused_by_its_kind(data: bytes, word: str) -> None:
    with pytest.raises(Refused, match=word) as no:
        plain_text(data, "log.csv")
    assert no.value.slug == "not-a-text-file" and "CSV" in no.value.todo and "log.csv" in no.value.what


@pytest.mark.parametrize("data", [b"", b"\xef\xbb\xbf", b" \r\n\n ", b"\xff\xfe"])
def test_nothing_is_refused(data: bytes) -> None:
    with pytest.raises(Refused) as no:
        plain_text(data, "log.csv")
    assert no.value.slug == "empty-file"


@pytest.mark.parametrize(
    ("lines", "mark"),
    [
        (["a,b", "1,2"], ","),
        (["3.4.2026 10:00;4,2", "3.4.2026 10:10;4,3"], ";"),  # one comma and one semicolon in each line
        (["a\tb c, d", "1\t2"], "\t"),
        (["x|y|z", "1|2|3"], "|"),
        (['"a;b",c', '"d;e;f",g', '"h",i'], ","),  # quoted semicolons do not count
        (["one", "two"], ","),
    ],
)
def test_delimiter(lines: list[str], mark: str) -> None:
    assert likely_delimiter(lines) == mark


def test_a_stated_delimiter() -> None:
    assert stated_delimiter("sep=;") == ";" and stated_delimiter('"sep=|"') == "|"
    assert stated_delimiter("sep=x") is None and stated_delimiter("separate") is None


def test_records_hold_line_ends_in_quotes_and_know_their_line() -> None:
    lines = ['a,"b', 'c"', "", "d,e", ",,", 'f,"g""h"']
    assert list(records(lines, ",")) == [(1, ["a", "b\nc"]), (4, ["d", "e"]), (6, ["f", 'g"h'])]


def test_an_open_quotation_mark_costs_its_own_line_only() -> None:
    lines = ["a,b", '"c,d', *[f"{i},{i}" for i in range(40)]]
    found = list(records(lines, ","))
    assert found[1] == (2, None) and len(found) == 42
    assert list(records(['x,"a"b', "c,d"], ",")) == [(1, None), (2, ["c", "d"])]
    # an inch mark inside a field is no quotation mark (published: RFC 4180 quotes whole fields)
    assert list(records(['5" tip,1'], ",")) == [(1, ['5" tip', "1"])]


@given(st.lists(st.lists(st.text(st.sampled_from('ab",; \n'), max_size=5), min_size=2, max_size=4), min_size=1))
def test_what_was_written_as_rfc_4180_is_read_back(rows: list[list[str]]) -> None:
    # derived: quoting every field is reversible (published: RFC 4180)
    text = "\n".join(",".join('"' + c.replace('"', '""') + '"' for c in row) for row in rows)
    got = [row for _, row in records(text.split("\n"), ",")]
    assert got == [row for row in rows if any(c.strip() for c in row)]


def test_fields_of_a_line_with_an_open_mark_end_with_the_line() -> None:
    assert fields('a,"b,c', ",") == ["a", "b,c"] and fields("", ",") == [""]


def test_what_is_shown_cannot_steer_a_terminal() -> None:
    assert shown("\x1b[31mred\x07") == '"?[31mred?"'
    assert len(shown("x" * 500)) == 43


def test_cell_drops_what_nobody_sees() -> None:
    assert cell("\ufeff a\u00a0 b\n") == "a b"


def test_named_rows() -> None:
    data = b"Stock of 2 March\nLOT ; Quantity;product;extra\nA1;3;CK;x\nA2;4\n;;\nA3;5;CK;y;z\n"
    table = named_table(data, "s.csv", ("product", "lot"), ("quantity", "why"))
    assert [(r.line, dict(r.cells)) for r in table.rows] == [
        (3, {"product": "CK", "lot": "A1", "quantity": "3"}),
        (4, {"product": "", "lot": "A2", "quantity": "4"}),
    ]
    assert [r.line for r in table.rejected] == [6] and "5 fields" in table.rejected[0].why


def test_columns_may_be_renamed_and_must_be_there_once() -> None:
    table = named_table(b"Ref,Lot\n1,2\n", "s.csv", ("id", "lot"), columns={"id": "ref"})
    assert dict(table.rows[0].cells) == {"id": "1", "lot": "2"}
    for data, columns, slug in (
        (b"prodct,lot\n1,2\n", None, "missing-column"),
        (b"product,lot,LOT\n1,2,3\n", None, "doubled-column"),
        (b"product,lot\n1,2\n", {"lott": "x"}, "unknown-column"),
        (b"product,lot\n1,2\n", {"why": "reason"}, "missing-column"),
    ):
        with pytest.raises(Refused) as no:
            named_table(data, "s.csv", ("product", "lot"), ("why",), columns)
        assert no.value.slug == slug
    with pytest.raises(Refused, match='no column "product"; did you mean "prodct"') as no:
        named_table(b"prodct,lot\n1,2\n", "s.csv", ("product", "lot"))
    assert '"prodct", "lot"' in no.value.todo


def test_a_spreadsheets_first_line() -> None:
    table = named_table(b"sep=;\nproduct;lot\nA,B;1\n", "s.csv", ("product", "lot"))
    assert dict(table.rows[0].cells) == {"product": "A,B", "lot": "1"} and table.rows[0].line == 3
    with pytest.raises(Refused) as no:
        named_table(b"sep=;\nproduct;batch\nA,B;1\n", "s.csv", ("product", "lot"))
    assert 'found: "product", "batch"' in no.value.todo


def test_control_characters_are_rejected() -> None:
    table = named_table(b"product,lot\nA,\x1b[2J\n", "s.csv", ("product", "lot"))
    assert table.rows == () and "printed" in table.rejected[0].why


def test_a_cut_off_utf16_file_is_read_as_far_as_it_goes() -> None:
    text = plain_text("a,b\n1,2".encode("utf-16")[:-1], "a")
    assert isinstance(text, PlainText) and text.data.startswith(b"a,b\n1,") and "could not be read" in text.notes[-1]
