"""Starting the app: app.py is found, the port is free, and the user's records are opened."""

import socket
from pathlib import Path

import pytest

from groupscan import serve
from groupscan.errors import GroupscanError


class Started(Exception):
    """Stands for a Streamlit that was started; carries the command and its environment."""


@pytest.fixture
def start(monkeypatch):
    """Run `serve` up to the moment that Streamlit would start; return command, environment."""

    def halted(command, environment):
        raise Started(list(command), dict(environment))

    monkeypatch.setattr(serve.os, "execve", lambda _path, command, env: halted(command, env))
    monkeypatch.setattr(serve.subprocess, "run", lambda command, env, check: halted(command, env))

    def run(**options) -> tuple[list[str], dict[str, str]]:
        with pytest.raises(Started) as started:
            serve.serve(**options)
        return started.value.args

    return run


@pytest.fixture
def taken():
    """A port of this machine that another program listens on."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen()
        yield listener.getsockname()[1]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def port_of(command: list[str]) -> int:
    (flag,) = [word for word in command if word.startswith("--server.port=")]
    return int(flag.partition("=")[2])


def test_the_app_of_a_checkout_is_started_on_this_machine_only(start, capsys) -> None:
    wanted = free_port()
    command, _ = start(port=wanted)
    assert command[1:4] == ["-m", "streamlit", "run"]
    script = Path(command[4])
    assert script.name == "app.py"
    assert "st.navigation" in script.read_text(encoding="utf-8")
    assert "--server.address=127.0.0.1" in command
    assert "--browser.gatherUsageStats=false" in command
    # Where it is, is said before it starts, and is where it will be.
    assert f"http://127.0.0.1:{port_of(command)}" in capsys.readouterr().out


def test_a_free_port_is_taken_as_it_is(start) -> None:
    wanted = free_port()
    assert port_of(start(port=wanted)[0]) == wanted


def test_a_port_in_use_is_passed_over(start, taken) -> None:
    command, _ = start(port=taken)
    port = port_of(command)
    assert taken < port < taken + 20
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", port))


def test_no_free_port_is_said(monkeypatch) -> None:
    class Full(socket.socket):
        def bind(self, address):
            raise OSError("in use")

    monkeypatch.setattr(serve.socket, "socket", Full)
    with pytest.raises(GroupscanError, match="--port"):
        serve.serve(port=8501)


def test_the_records_asked_for_are_opened(start, tmp_path, monkeypatch) -> None:
    monkeypatch.delenv("GROUPSCAN_HOME", raising=False)
    _, environment = start(port=free_port(), home=tmp_path)
    assert environment["GROUPSCAN_HOME"] == str(tmp_path)
    _, environment = start(port=free_port())
    assert "GROUPSCAN_HOME" not in environment


def test_the_app_is_found_inside_an_installed_package(start, tmp_path, monkeypatch) -> None:
    package = tmp_path / "site-packages" / "groupscan"
    package.mkdir(parents=True)
    monkeypatch.setattr(serve, "__file__", str(package / "serve.py"))
    with pytest.raises(GroupscanError, match=r"app\.py is missing"):
        serve.serve(port=free_port())
    (package / "app.py").touch()
    command, _ = start(port=free_port())
    assert Path(command[4]) == package / "app.py"


def test_the_records_asked_for_go_before_the_environments_database(
    start, tmp_path, monkeypatch
) -> None:
    monkeypatch.setenv("GROUPSCAN_DATABASE_URL", "sqlite:///elsewhere.db")
    assert "GROUPSCAN_DATABASE_URL" not in start(port=free_port(), home=tmp_path)[1]
    assert "GROUPSCAN_DATABASE_URL" in start(port=free_port())[1]


@pytest.mark.parametrize(("system", "reused"), [("posix", True), ("nt", False)])
def test_a_port_is_reused_only_where_that_does_not_mean_shared(system, reused, monkeypatch) -> None:
    """Windows lets a second program bind a port in use where it sets SO_REUSEADDR."""
    options = []

    class Watched(socket.socket):
        def setsockopt(self, *option):
            options.append(option[1])

    with monkeypatch.context() as patch:
        patch.setattr(serve.socket, "socket", Watched)
        patch.setattr(serve.os, "name", system)
        serve._free_port(free_port())
    assert (socket.SO_REUSEADDR in options) == reused
