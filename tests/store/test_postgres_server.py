import pytest
from tests.store import postgres_server


def test_without_a_server_ci_fails_and_elsewhere_the_tests_are_not_run(monkeypatch, tmp_path):
    monkeypatch.setattr(postgres_server, "_HOMES", tmp_path)
    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.fail.Exception, match="PostgreSQL tests not run: no server"):
        postgres_server.needed_server()
    monkeypatch.delenv("CI")
    with pytest.raises(pytest.skip.Exception, match="script/test installs one"):
        postgres_server.needed_server()


def test_the_newest_server_is_taken(monkeypatch, tmp_path):
    for version in ("9.6", "15", "17"):
        programs = tmp_path / version / "bin"
        programs.mkdir(parents=True)
        (programs / "initdb").touch()
    (tmp_path / "99" / "bin").mkdir(parents=True)
    monkeypatch.setattr(postgres_server, "_HOMES", tmp_path)
    assert postgres_server.needed_server() == tmp_path / "17" / "bin"
