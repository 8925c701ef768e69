from __future__ import annotations

from itertools import product

import pytest

from jiggen.verify.reading.step_text import Entity, StepError, decoded, read_step_text

HEAD = "ISO-10303-21;\nHEADER;\nFILE_SCHEMA(('AUTOMOTIVE_DESIGN; DATA;'));\nENDSEC;\nDATA;\n"
TAIL = "\nENDSEC;\nEND-ISO-10303-21;\n"


def read(*lines: str):
    return read_step_text((HEAD + "\n".join(lines) + TAIL).encode())


# buildingSMART's summary of ISO 10303-21 string encoding gives these for "Ä":
# technical.buildingsmart.org/resources/ifcimplementationguidance/string-encoding
@pytest.mark.parametrize("text", ["\\S\\D", "\\PA\\\\S\\D", "\\X\\C4", "\\X2\\00C4\\X0\\"])
def test_each_way_to_write_an_umlaut_is_read(text):
    assert decoded(text) == "Ä"


def test_strings_keep_quotes_and_backslashes_and_lose_line_breaks():
    assert decoded(r"it''s a \\ here") == r"it's a \ here"
    assert decoded("one\n  two") == "one  two"
    assert decoded(r"\X4\0001F3BF\X0" + "\\") == "\U0001f3bf"


def test_every_kind_of_value_is_read():
    file = read("#7 = THING('a;b','',1,-2.5E-3,.T.,$,*,#7,(#7,#7),LENGTH_MEASURE(25.4),(),\"0F\");")
    entity = file[7]
    assert (entity.text(0), entity.text(1)) == ("a;b", "")
    assert (entity.number(2), entity.number(3)) == (1.0, -0.0025)
    assert entity.true(4) is True
    assert entity.optional_ref(5) is None
    assert entity.word(6) == "*"
    assert entity.ref(7) == 7
    assert list(entity.refs(8)) == [7, 7]
    assert entity.number(9) == 25.4
    assert entity.numbers(10) == ()


def test_an_entity_over_many_lines_with_comments_is_one():
    file = read(
        "#1 = /* a ; comment */ POINT ( 'it''s /* no comment */' ,", "  ( 1. ,", " 2.\n) ) ;"
    )
    assert file[1].text(0) == "it's /* no comment */"
    assert file[1].numbers(1) == (1.0, 2.0)


def test_a_complex_entity_holds_each_of_its_types():
    file = read("#1 = ( LENGTH_UNIT() NAMED_UNIT(*)\n SI_UNIT(.MILLI.,.METRE.) );")
    assert set(file[1].record) == {"LENGTH_UNIT", "NAMED_UNIT", "SI_UNIT"}
    assert file[1].word(0, "SI_UNIT") == "MILLI"
    assert file.keywords[1] == ""
    assert file[1].keyword == "LENGTH_UNIT"


def test_entities_are_listed_by_type_in_order():
    file = read("#3=A(1);", "#1=B(2);", "#2=A(3);")
    assert [entity.id for entity in file.all_of("A")] == [3, 2]
    assert len(file) == 3


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (["#1=A(#2);"], "#2 is referred to but not there"),
        (["#1=A(1);", "#1=A(2);"], "#1 is there twice"),
        (["#1=A(1);", "nonsense;"], "cut short or damaged at 'nonsense"),
        (["#1=A(1) #2=B(2);"], None),
        (["#1=A((1,2);"], None),
        (["#1=A(1,,2);"], None),
        (["#1=A(1 2);"], None),
        (["#1=A(&);"], None),
        (["#1=A(1));"], None),
    ],
)
def test_what_is_not_well_formed_is_refused(lines, said):
    with pytest.raises(StepError, match=said and said.replace("(", r"\(")):
        file = read(*lines)
        assert file[1].record is None


def test_arguments_of_another_kind_are_refused():
    entity = read("#1=A('x',1.,#1,.T.,(1.,#1),1.E999," + "9" * 400 + ");")[1]
    for ask in (
        lambda: entity.number(0),
        lambda: entity.text(1),
        lambda: entity.number(2),
        lambda: entity.refs(2),
        lambda: entity.ref(3),
        lambda: entity.text(3),
        lambda: entity.true(1),
        lambda: entity.refs(4),
        lambda: entity.numbers(4),
        lambda: entity.number(5),
        lambda: entity.number(6),  # a whole number beyond all floats
        lambda: entity.number(7),
        lambda: entity.ref(0, "OTHER"),
    ):
        with pytest.raises(StepError, match="#1"):
            ask()


@pytest.mark.parametrize("keep", [0.05, 0.3, 0.6, 0.9, 0.999])
def test_a_file_cut_short_is_refused(keep):
    text = (HEAD + "#1=A(1);\n#2=B('x');\n#3=C(#1,#2);" + TAIL).strip()
    with pytest.raises(StepError):
        read_step_text(text[: int(keep * len(text))].encode())


def test_bytes_that_are_no_text_are_refused():
    with pytest.raises(StepError, match="UTF-8"):
        read_step_text(b"ISO-10303-21;\xff\xfe")


@pytest.mark.parametrize(
    "values",
    ["''", "'a b',#7,*,$,.T.", "'',(#7,#7)", "1,-2.5E-3,(1.,2.,3.)", "'Gr\\X\\FC n',0,4.,.MILLI."],
)
def test_a_space_changes_nothing(values):
    file = read(f"#7=A({values});", f"#8=A( {values});")
    short, long = (file[number].record["A"] for number in (7, 8))
    assert short == long
    assert repr(short) == repr(long)
    assert [type(value) for value in short] == [type(value) for value in long]


VALUES = (
    *("#7", "$", "*", ".T.", "''", "'a;b'", "'a,b'", "'it''s'", "'\\S\\D'"),
    *("1", "-2", "1.", "-2.5E-3", "1.E999", "9" * 400, "A(1.)", '"0F"', "(", "&", ""),
    *("()", "(#7)", "(#7,#8)", "(#7\n  ,#8)", "( #7 )", "((#7))", "(#7,1.)"),
    *("(1.,-0.,2.E1)", "(1,2.)", "(1.,\n  2.)", "(1.E999)", "(\u0661.,2.)", "#\u0668"),
)


def answer(ask, *where):
    """What is found, or why nothing is."""
    try:
        found = ask(*where)
    except StepError as error:
        return str(error)
    return found if isinstance(found, int) else list(found)


@pytest.mark.parametrize("form", ["A({},{})", "A({},#8,{},.T.)", "( A({}) B({}) )", "({},{})"])
@pytest.mark.parametrize("kind", ["ref", "refs", "numbers"])
def test_the_short_way_to_an_argument_finds_what_the_long_one_does(form, kind, monkeypatch):
    for values in product(VALUES, repeat=2):
        file = read(f"#7={form.format(*values)};", "#8=A(1);")
        for index in range(4):
            short = answer(getattr(file[7], kind), index)
            with monkeypatch.context() as patch:
                patch.setattr(Entity, "_plain", lambda *_: None)
                long = answer(getattr(file[7], kind), index)
            assert short == long, values


def test_the_type_of_a_complex_entity_is_its_first():
    file = read("#1=A(1);", "#2=( A(1) B(2) );", "#3=B(&);")
    assert [file[number].keyword for number in (1, 2, 3)] == ["A", "A", "B"]
    with pytest.raises(StepError, match="#3"):
        assert file[3].record


@pytest.mark.parametrize("values", ["'a'b'", "1..2", "#", "'',(1.,)", "'',()(", ",1", "1 2"])
def test_what_is_not_understood_is_refused_however_short(values):
    with pytest.raises(StepError):
        assert read(f"#7=A({values});")[7].record
