"""How the app is served: one list that ``groupscan app`` and a checkout's config file share.

The app listens on this machine only, sends nothing anywhere, and shows no reader a traceback.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from groupscan.report.palette import DARK, LIGHT, Palette

__all__ = ["SETTINGS", "Setting", "config_toml", "streamlit_flags"]


@dataclass(frozen=True)
class Setting:
    """One option of Streamlit: its full name, our value and why."""

    name: str
    value: str | int | bool
    why: str


def _theme(section: str, p: Palette) -> tuple[Setting, ...]:
    why = "groupscan.report.palette"
    return (
        Setting(f"theme.{section}.primaryColor", p.accent, why),
        Setting(f"theme.{section}.backgroundColor", p.ground, why),
        Setting(f"theme.{section}.secondaryBackgroundColor", p.panel, why),
        Setting(f"theme.{section}.textColor", p.ink, why),
        Setting(f"theme.{section}.borderColor", p.hairline, why),
        Setting(f"theme.{section}.linkColor", p.found, why),
    )


SETTINGS: Final[tuple[Setting, ...]] = (
    Setting("server.address", "127.0.0.1", "this machine only; unset means every interface"),
    Setting("server.headless", True, "no browser is opened and no e-mail is asked for"),
    Setting("server.maxUploadSize", 60, "MB a photo; a 12-megapixel JPEG has 3 to 8"),
    Setting("server.fileWatcherType", "none", "an installed app has nothing to watch"),
    Setting("browser.gatherUsageStats", False, "local first: nothing is sent anywhere"),
    Setting("client.toolbarMode", "minimal", "no developer menu"),
    Setting("client.showErrorDetails", "type", "no traceback for the reader; the log has it"),
    Setting("theme.baseRadius", "small", "house style"),
    *_theme("light", LIGHT),
    *_theme("dark", DARK),
)


def _plain(value: str | int | bool) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def streamlit_flags() -> list[str]:
    """Return the settings as arguments of ``streamlit run``.

    Examples
    --------
    >>> streamlit_flags()[0]
    '--server.address=127.0.0.1'
    """
    return [f"--{setting.name}={_plain(setting.value)}" for setting in SETTINGS]


def config_toml() -> str:
    """Return the settings as the text of ``.streamlit/config.toml``.

    Examples
    --------
    >>> config_toml().splitlines()[2:4]
    ['[server]', 'address = "127.0.0.1"  # this machine only; unset means every interface']
    """
    lines = ["# Made from groupscan/screens/settings.py; a test keeps the two the same."]
    section = ""
    for setting in SETTINGS:
        head, _, name = setting.name.rpartition(".")
        if head != section:
            lines += ["", f"[{head}]"]
            section = head
        value = f'"{setting.value}"' if isinstance(setting.value, str) else _plain(setting.value)
        lines.append(f"{name} = {value}  # {setting.why}")
    return "\n".join(lines) + "\n"
