"""The drawing of the error tree, and the classes, say the same."""

from __future__ import annotations

import builtins
import inspect
import re

import pytest

from groupscan import errors

BRANCH = re.compile(r"[├└]── (?P<name>\w+)\((?P<builtin>\w+)\) +(?P<what>\S.*)")


def drawn() -> dict[str, str]:
    """The tree in the module's docstring: class name to the builtin that it names."""
    return {
        found["name"]: found["builtin"] for found in BRANCH.finditer(inspect.getdoc(errors) or "")
    }


def defined() -> dict[str, type[Exception]]:
    return {
        name: value
        for name, value in vars(errors).items()
        if inspect.isclass(value) and value.__module__ == errors.__name__
    }


def test_the_drawing_names_every_error_and_no_other():
    assert set(drawn()) | {"GroupscanError"} == set(defined())


def test_all_is_what_is_defined():
    assert errors.__all__ == sorted(defined())


@pytest.mark.parametrize(("name", "builtin"), sorted(drawn().items()))
def test_each_error_is_ours_and_the_builtin_that_the_drawing_names(name, builtin):
    assert defined()[name].__bases__ == (errors.GroupscanError, getattr(builtins, builtin))


@pytest.mark.parametrize("name", sorted(defined()))
def test_each_error_says_in_one_sentence_when_it_is_raised(name):
    text = inspect.getdoc(defined()[name]) or ""
    assert text.endswith(".")
    assert "\n" not in text
