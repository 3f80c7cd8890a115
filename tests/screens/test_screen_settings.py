import tomllib
from pathlib import Path

from streamlit import config

from groupscan.screens.settings import SETTINGS, config_toml, streamlit_flags

CHECKOUT = Path(__file__).parents[2] / ".streamlit" / "config.toml"


def test_the_checkout_is_served_with_the_same_settings():
    assert CHECKOUT.read_text(encoding="utf-8") == config_toml()


def test_the_file_says_what_the_list_says():
    tree = tomllib.loads(config_toml())
    for setting in SETTINGS:
        *sections, name = setting.name.split(".")
        table = tree
        for section in sections:
            table = table[section]
        assert table[name] == setting.value


def test_streamlit_knows_every_setting():
    known = config.get_config_options()
    assert [s.name for s in SETTINGS if s.name not in known] == []


def test_flags_are_what_a_command_line_takes():
    assert "--server.address=127.0.0.1" in streamlit_flags()
    assert "--browser.gatherUsageStats=false" in streamlit_flags()
    assert all(flag.count("=") == 1 for flag in streamlit_flags())
