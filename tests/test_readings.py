"""Readings: the file, the words on the line, and what is refused."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.errors import ReadingsRefused
from measure.readings.readings import (
    FEATURES,
    KINDS,
    Reading,
    make_reading,
    number,
    read_csv,
    read_words,
    write_csv,
)

HEAD = "kind,features,value,unit,tool,note\n"


def test_the_contracts_example() -> None:
    r = read_csv(HEAD + "width,E1 E3,24.31,mm,caliper,\nbore,D1,4.02,mm,caliper,\n")
    assert [(x.kind, x.features, x.value_mm, x.tool, x.line) for x in r] == [
        ("width", ("E1", "E3"), 24.31, "caliper", 2),
        ("bore", ("D1",), 4.02, "caliper", 3),
    ]


@pytest.mark.parametrize(
    "text",
    [
        "\ufeff" + HEAD + "width,E1 E3,24.31,mm,caliper,\n",
        "# taken at the bench\n\n" + HEAD + "\n# first\nwidth,e1 e3, 24.31 ,mm,caliper, # flat side\n,,,,,\n",
        HEAD.replace(",", ";") + "width;E1 E3;24,31;mm;caliper;\n",
        HEAD.replace(",", "\t") + "width\tE1 E3\t24,31\tmm\tcaliper\t\n",
        HEAD + 'width,E1 E3,"24,31",mm,caliper,\n',
        HEAD + "width,E1 E3,24,31,mm,caliper,\n",
        HEAD + "width,E1-E3,24.31,,,\n",
        HEAD + 'width,"E1,E3",24.31 mm,,,\n',
        HEAD + "Width,E1/E3,+24.31,MM,Caliper,\n",
        "value,kind,features\n24.31,width,E1 E3\n",
        "width,E1 E3,24.31,mm,caliper,\n",
        HEAD.replace("\n", "\r\n") + "width,E1 E3,24.31,mm,caliper,\r\n",
    ],
)
def test_forms_of_the_same_file(text: str) -> None:
    for content in (text, text.encode("utf-8")):
        (r,) = read_csv(content)
        assert (r.kind, r.features, r.value_mm, r.unit, r.tool) == ("width", ("E1", "E3"), 24.31, "mm", "caliper")


def test_inches_and_fractions() -> None:
    r = read_csv(
        HEAD + 'width,E1 E3,0.957,in,,\nwidth,E1 E3,15/16,in,,\nwidth,E1 E3,1 3/8,in,,\ngap,E1 E3,"0.5""",,,\n'
    )
    assert [x.value_mm for x in r] == pytest.approx([24.3078, 23.8125, 34.925, 12.7])
    assert [x.unit for x in r] == ["in"] * 4


def test_repeats_stay() -> None:
    r = read_csv(HEAD + "bore,D1,4.02,mm,caliper,\n" * 3)
    assert len(r) == 3
    assert [x.line for x in r] == [2, 3, 4]


@pytest.mark.parametrize(
    ("row", "code", "word"),
    [
        ("length,E1 E3,24,mm,caliper,", "reading-kind", "length"),
        ("width,E1,24,mm,caliper,", "reading-label", "two features"),
        ("width,E1 E1,24,mm,caliper,", "reading-label", "twice"),
        ("width,E1 first,24,mm,caliper,", "reading-label", "FIRST"),
        ("thickness,E1,4,mm,caliper,", "reading-label", "no feature"),
        ("bore,D1,4,cm,caliper,", "reading-unit", "cm"),
        ("bore,D1,4,mm,laser,", "reading-tool", "laser"),
        ("bore,D1,4,mm,gauge,", "reading-tool", "radii"),
        ("bore,D1,four,mm,caliper,", "reading-number", "four"),
        ("bore,D1,,mm,caliper,", "reading-number", "number"),
        ("bore,D1,nan,mm,caliper,", "reading-number", "nan"),
        ("bore,D1,1e3,mm,caliper,", "reading-number", "1e3"),
        ("bore,D1,1/0,in,caliper,", "reading-number", "1/0"),
        ("bore,D1,-4,mm,caliper,", "reading-range", "above zero"),
        ("bore,D1,0,mm,caliper,", "reading-range", "above zero"),
        ("bore,D1,40000,mm,caliper,", "reading-range", "decimal point"),
        ("bore,D1,4,mm,caliper,,more", "readings-cells", "heading"),
    ],
)
def test_rows_that_are_refused_with_their_line(row: str, code: str, word: str) -> None:
    with pytest.raises(ReadingsRefused, match=word) as e:
        read_csv(HEAD + "# comment\nbore,D2,3.1,mm,caliper,\n" + row + "\n")
    assert e.value.code == code
    assert e.value.text.startswith("Line 4: ")
    assert "\n" not in e.value.text


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"", "readings-empty"),
        (b"# nothing\n\n", "readings-empty"),
        (HEAD.encode(), "readings-empty"),
        (b"a,b,c\n1,2,3\n", "readings-heading"),
        (b"kind,value\nbore,4\n", "readings-heading"),
        (b"kind,features,value\nbore,D1,4\xff\xfe\n", "readings-encoding"),
        (b"kind,features,value\nbore,D1,4\0\n", "readings-encoding"),
        (bytes(range(256)) * 3, "readings-encoding"),
    ],
)
def test_files_that_are_refused(content: bytes, code: str) -> None:
    with pytest.raises(ReadingsRefused) as e:
        read_csv(content)
    assert e.value.code == code


def test_words() -> None:
    words = "width E1 E3 24.31 bore D1 4.02 mm thickness 4,2 gap E5-E7 0.189 in vernier web D1,E2 6mm"
    words += " radius R1 1/8 in gauge"
    r = read_words(words.split())
    assert [x.kind for x in r] == ["width", "bore", "thickness", "gap", "web", "radius"]
    assert [x.value_mm for x in r] == pytest.approx([24.31, 4.02, 4.2, 4.8006, 6.0, 3.175])
    assert [x.tool for x in r] == ["caliper", "caliper", "caliper", "vernier", "caliper", "gauge"]
    assert r[3].features == ("E5", "E7")
    assert read_words([words]) == r
    assert read_words(["boss R1 1 3/8 in"])[0].value_mm == pytest.approx(34.925)


@pytest.mark.parametrize(
    ("words", "word"),
    [
        ("", "no reading"),
        ("width E1 E3", "no value"),
        ("width E1 E3 bore D1 4", "no value"),
        ("width E1 24.31", "two features"),
        ("wide E1 E3 24.31", "wide"),
        ("bore D1 4.02 cm", "cm"),
        ("bore D1 -4.02", "above zero"),
        ("24.31", "kind"),
    ],
)
def test_words_that_are_refused(words: str, word: str) -> None:
    with pytest.raises(ReadingsRefused, match=word) as e:
        read_words(words.split())
    assert e.value.text[0].isupper() or e.value.text[0] == "“"


@given(
    st.lists(
        st.tuples(
            st.sampled_from(KINDS),
            st.integers(1, 9),
            st.decimals(min_value="0.01", max_value="60", places=2),
            st.sampled_from(["mm", "in"]),
            st.text("abc, ;\"'é", max_size=8),
        ),
        min_size=1,
        max_size=6,
    )
)
def test_written_and_read_again(rows: list[tuple[str, int, object, str, str]]) -> None:
    made = [
        make_reading(k, [f"E{n + i}" for i in range(FEATURES[k])], str(v), u, note=note)  # type: ignore[index]
        for k, n, v, u, note in rows
    ]
    again = read_csv(write_csv(made))
    assert [bare(r) for r in again] == [bare(r) for r in made]


def bare(r: Reading) -> tuple[object, ...]:
    return r.kind, r.features, r.value_mm, r.unit, r.tool, r.written, r.note


def test_a_reading_made_without_text_is_written_as_its_number() -> None:
    text = write_csv([Reading("bore", ("D1",), 25.4, "in"), Reading("bore", ("D1",), 4.02)])
    assert [r.value_mm for r in read_csv(text)] == pytest.approx([25.4, 4.02])


def test_numbers() -> None:
    assert number("24,31") == 24.31
    assert number(".5") == 0.5
    assert number("−3") == -3
    assert number("1-1/2") == 1.5
    assert number("1.234,5") is None
    assert number("") is None
