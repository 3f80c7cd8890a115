"""Rows of buttons of which one is lit."""

import ast
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from groupscan import screens
from groupscan.screens import one_of as module

HOME = Path(screens.__file__).parent


def row(start, look):
    def script(start, look):
        import streamlit as st

        from groupscan.screens.one_of import one_of

        st.session_state["said"] = one_of("Unit", ["mm", "inch"], start=start, look=look)

    at = AppTest.from_function(script, kwargs={"start": start, "look": look}).run()
    assert not at.exception
    return at


@pytest.mark.parametrize("look", ["segmented_control", "pills"])
def test_the_lit_one_stays_lit(look):
    at = row("mm", look)
    assert at.button_group[0].proto.required  # the browser takes a tap on it for nothing
    at.button_group[0].set_value("inch").run()
    assert at.session_state["said"] == "inch"
    at.button_group[0].set_value(None).run()
    assert at.session_state["said"] is not None


def test_nothing_is_lit_where_nothing_is_known():
    at = row(None, "segmented_control")
    assert at.session_state["said"] is None
    at.button_group[0].set_value("inch").run()
    assert at.session_state["said"] == "inch"


def test_every_screen_asks_so_and_no_other_way():
    alone = []
    for path in sorted(HOME.rglob("*.py")):
        if path == Path(module.__file__):
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Attribute)
                and node.func.attr in ("pills", "segmented_control")
                and not any(word.arg == "selection_mode" for word in node.keywords)
            ):
                alone.append(f"{path.name}:{node.lineno}")
    assert alone == []
