"""Lines of keys after texts that hold quotes and brackets."""

import pytest

from glowsim.errors import SceneError
from glowsim.tomlfile import parse_toml


@pytest.mark.parametrize(
    "value",
    [
        r'"5\" [ pipe"',  # an escaped quote does not end a text
        r'"ends in \\"',  # an escaped backslash does not escape the quote after it
        r"'5\'",  # a literal text knows no escapes
        r'"""say \""" [ """',
        "'''it's [ '''",
        '"" # [',
    ],
)
def test_quotes_within_texts(value):
    toml = parse_toml(f"label = {value}\n[next]\nkey = 1\n", "x.toml", SceneError)
    assert toml.lines == {("label",): 1, ("next",): 2, ("next", "key"): 3}
