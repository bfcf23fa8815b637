"""The line of every key, however a person sets out the file."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from glowsim.errors import SceneError
from glowsim.tomlfile import dotted, parse_toml, read_toml, shown, validate
from tests.support.faults import fault_of


def lines_of(text):
    return parse_toml(text, "x.toml", SceneError).lines


def test_nested_arrays_of_tables():
    lines = lines_of(
        "[[bodies]]\n"
        'name = "a"\n'
        "  [[bodies.lights]]\n"
        "  board = 1\n"
        "\n"
        "  [[bodies.lights]]\n"
        "  board = 2\n"
        "  [bodies.lights.drive]\n"
        "  red = 0.5\n"
        "[[bodies]]\n"
        "  [[bodies.lights]]\n"
        "  board = 3\n"
    )
    assert lines[("bodies", 0)] == 1
    assert lines[("bodies", 0, "lights", 0)] == 3
    assert lines[("bodies", 0, "lights", 1, "board")] == 7
    assert lines[("bodies", 0, "lights", 1, "drive", "red")] == 9
    assert lines[("bodies", 1)] == 10
    assert lines[("bodies", 1, "lights", 0, "board")] == 12


def test_inline_tables_within_an_array_over_several_lines():
    lines = lines_of(
        "lights = [  # two of them: [ { not this\n"
        "  { board = 1, drive = { red = 1 } },\n"
        "\n"
        "  # a comment, with a ] in it\n"
        "  { board = 2 },\n"
        "]\n"
        "after = 1\n"
    )
    assert lines[("lights",)] == 1
    assert lines[("lights", 0, "board")] == 2
    assert lines[("lights", 0, "drive", "red")] == 2
    assert lines[("lights", 1)] == 5
    assert lines[("lights", 1, "board")] == 5
    assert lines[("after",)] == 7


def test_arrays_and_texts_over_several_lines():
    lines = lines_of(
        "position = [\n"
        "  1,\n"
        "  2, 3,\n"
        "]\n"
        'text = """first [\n'
        "[not.a.table]\n"
        'key = 1 \\"""  \n'
        'last"""\n'
        "literal = '''\n"
        "it's = { \\\n"
        "'''\n"
        "end = true\n"
    )
    assert lines[("position",)] == 1
    assert [lines[("position", k)] for k in range(3)] == [2, 3, 3]
    assert lines[("text",)] == 5
    assert lines[("literal",)] == 9
    assert lines[("end",)] == 12
    assert ("not", "a", "table") not in lines


def test_dotted_and_quoted_keys():
    lines = lines_of(
        "room.view . angle = 1\n"
        '"a.b # [c]" = 2\n'
        "'it]s'.\"\\u00e4\\t\" = 3\n"
        '["x.y" . z]\n'
        "1979-05-27 = 1979-05-27 07:32:00 # not a key\n"
        "[[room.'list' ]]\n"
        "k = 5\n"
    )
    assert lines[("room",)] == 1
    assert lines[("room", "view", "angle")] == 1
    assert lines[("a.b # [c]",)] == 2
    assert lines[("it]s", "ä\t")] == 3
    assert lines[("x.y", "z", "1979-05-27")] == 5
    assert lines[("room", "list", 0, "k")] == 7


def test_other_ends_of_lines_within_texts_are_not_counted():
    # TOML knows the newline alone; some readers count these as well.
    lines = lines_of('a = "form\u2028feed\u0085"\r\nb = 2\r\n')
    assert lines == {("a",): 1, ("b",): 2}


def test_where_names_the_nearest_key_that_is_written():
    toml = parse_toml("[room]\nx = 1\n[[bodies]]\n", "prop.toml", SceneError)
    assert toml.where(("room", "x")) == "prop.toml, line 2: room.x"
    assert toml.where(("room", "missing")) == "prop.toml, line 1: room.missing"
    assert toml.where(("bodies", 0, "lights", 3)) == "prop.toml, line 3: bodies[0].lights[3]"
    assert toml.where(("nowhere",)) == "prop.toml: nowhere"
    assert toml.where(()) == "prop.toml"


def test_dotted():
    assert dotted(("bodies", 0, "shape", "kind")) == "bodies[0].shape.kind"
    assert dotted(()) == ""


KEYS = st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"]), max_size=6)
PLAIN = ["1", "true", "2.5e3", "'[{#'", '"a\\"]"', "1979-05-27 07:32:00", "'''x\ny'''"]
VALUES = st.recursive(
    st.sampled_from(PLAIN),
    lambda inner: st.lists(inner, max_size=3).map(lambda v: f"[\n{','.join(v)}\n # ]\n]"),
    max_leaves=5,
)


@given(st.lists(st.tuples(KEYS, VALUES), max_size=5, unique_by=lambda pair: pair[0]))
@settings(max_examples=50)
def test_each_key_is_found_on_the_line_where_it_was_put(pairs):
    text, expected = "[t]\n", {}
    for key, value in pairs:
        quoted = '"' + key.replace("\\", "\\\\").replace('"', '\\"') + '"'
        expected[("t", key)] = text.count("\n") + 1
        text += f"{quoted} = {value}\n"
    lines = lines_of(text)
    assert {path: lines[path] for path in expected} == expected


@given(st.text(st.sampled_from("ab.=[]{}'\"#\\,\n 1"), max_size=40))
@settings(max_examples=80)
def test_bracket_soup_is_read_or_refused(text):
    fault = fault_of(parse_toml, text, "soup.toml", SceneError)
    assert fault is None or (fault.startswith("soup.toml") and "not valid TOML" in fault)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("a = ", ", at its end: no value can be read here"),
        ("a = 1\na = 2\n", ", line 2: this key stands twice"),
        ("\n[t\nx = 1", r", line 2: a heading that begins with \[ ends with \]"),
        ('a = 1\nname = "bud\nb = 2', ", line 2: the closing quote of a text is missing"),
        ("wall_mm = 2,5", ", line 1: more follows the value here: .* not 2,5"),
        ("a = " + "[" * 100_000, ": not valid TOML: brackets are nested too deeply"),
        ("a = " + "9" * 5000, ": not valid TOML: .*4300 digits"),
    ],
)
def test_broken_syntax(text, reason):
    with pytest.raises(SceneError, match=f"^x.toml({reason})") as fault:
        parse_toml(text, "x.toml", SceneError)
    assert "not valid TOML" in str(fault.value)


def test_files_that_cannot_be_read(tmp_path):
    with pytest.raises(SceneError, match=r"none\.toml: there is no such file"):
        read_toml(tmp_path / "none.toml", SceneError)
    with pytest.raises(SceneError, match="cannot be read as text"):
        read_toml(tmp_path, SceneError)
    with pytest.raises(SceneError, match="cannot be read as text"):
        read_toml(Path("a\0b.toml"), SceneError)
    (tmp_path / "latin.toml").write_bytes(b'a = "\xe4"')
    with pytest.raises(SceneError, match="cannot be read as text"):
        read_toml(tmp_path / "latin.toml", SceneError)


def test_a_byte_order_mark_is_passed_over(tmp_path):
    file = tmp_path / "marked.toml"
    file.write_bytes(b"\xef\xbb\xbfa = 1\r\n\r\nb = 2\r\n")
    toml = read_toml(file, SceneError)
    assert toml.data == {"a": 1, "b": 2}
    assert toml.lines == {("a",): 1, ("b",): 3}


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (True, "true"),
        ("it", "'it'"),
        ({"a": 1}, "{...}"),
        (10**400, "so large a number"),
        ("x" * 200, "'" + "x" * 56 + "..."),
    ],
)
def test_values_in_messages(value, text):
    assert shown(value) == text


class _Model(BaseModel):
    items: list[int]
    flag: bool


def test_all_faults_come_together_with_their_lines():
    toml = parse_toml('items = [1,\n"two",\n3.5]\nflag = 7\n', "f.toml", SceneError)
    with pytest.raises(SceneError) as caught:
        validate(_Model, toml, SceneError)
    assert str(caught.value).splitlines() == [
        "f.toml, line 2: items[1]: 'two' is not a whole number",
        "f.toml, line 3: items[2]: 3.5 is not a whole number",
        "f.toml, line 4: flag: 7 is not true or false",
    ]
