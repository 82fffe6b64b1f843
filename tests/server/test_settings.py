"""Settings: which source wins, and what is said of a slip."""

import json
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result

from api import settings
from api.settings import SETTINGS, SettingsError, load

# for each setting a value of its file, of the environment and of a flag, and how they read
VALUES = {
    "host": ("127.0.0.2", "127.0.0.3", "127.0.0.4"),
    "port": (8001, "8002", "8003"),
    "workers": (2, "3", "4"),
    "threads": (5, "6", "7"),
    "timeout": (31, "32", "33"),
    "kb": (["a"], "b", ["c"]),
    "database": ("sqlite:///a.db", "sqlite:///b.db", "sqlite:///c.db"),
    "require_keys": (True, "no", "yes"),
    "rate_per_minute": (10, "20", "30"),
    "stop_seconds": (5, "6", "7"),
    "learn": (False, "yes", "no"),
    "retention_days": (10, "20", "30"),
    "webhook_allow": (["a.example"], "b.example", "c.example"),
    "log_level": ("DEBUG", "warning", "ERROR"),
    "proxies": (1, "2", "3"),
    "keys_file": ("/a", "/b", "/c"),
    "public_url": ("https://a.example", "https://b.example", "https://c.example"),
    "trusted_hosts": (["a.example"], "b.example", "c.example"),
    "cors_origins": (["https://a.example"], "https://b.example", "https://c.example"),
    "compress": (True, "no", "yes"),
    "batch_lines": (10, "20", "30"),
    "model_mebibytes": (64, "128", "256"),
}


def toml(name: str, value: object) -> str:
    """Return one line of TOML."""
    return f"{name} = {json.dumps(value)}\n"


def test_every_setting_is_tried_here() -> None:
    """The table of this test has every setting, so that none escapes it."""
    assert set(VALUES) == set(SETTINGS)


@pytest.mark.parametrize("name", VALUES)
def test_flag_over_environment_over_file_over_default(name: str, tmp_path: Path) -> None:
    """Each source wins over those below it, for each setting, and says that it did."""
    in_file, in_environment, in_flag = VALUES[name]
    read = SETTINGS[name].read
    file = tmp_path / "threewire.toml"
    file.write_text(toml(name, in_file))
    environment = {f"THREEWIRE_{name.upper()}": str(in_environment)}
    of_file = load({}, {}, str(file))
    of_environment = load({name: None}, environment, str(file))
    of_flag = load({name: in_flag}, environment, str(file))
    assert getattr(of_file, name) == read(in_file) != SETTINGS[name].default
    assert getattr(of_environment, name) == read(in_environment) != read(in_file)
    assert getattr(of_flag, name) == read(in_flag) != read(in_environment)
    origins = [one.origins[name] for one in (of_file, of_environment, of_flag)]
    assert origins == [str(file), "environment", "flag"]
    assert load({}, {}).origins[name] == "default"


def test_the_environment_may_name_the_file(tmp_path: Path) -> None:
    """THREEWIRE_CONFIG names the file where no flag does; the flag wins."""
    first, second = tmp_path / "a.toml", tmp_path / "b.toml"
    first.write_text("port = 1\n")
    second.write_text("port = 2\n")
    environment = {"THREEWIRE_CONFIG": str(first)}
    assert load({}, environment).port == 1
    assert load({}, environment, str(second)).port == 2


@pytest.mark.parametrize(
    ("text", "environment", "says"),
    [
        ("prot = 1", {}, "threewire.toml: prot: unknown setting 'prot' (did you mean 'port'?)"),
        ("port = 99999", {}, "threewire.toml: port: must be a whole number from 0 to 65535"),
        ("port = 1.5", {}, "threewire.toml: port: must be a whole number"),
        ("port = true", {}, "threewire.toml: port: must be a whole number"),
        ("learn = 3", {}, "threewire.toml: learn: must be yes or no"),
        ("webhook_allow = [1]", {}, "webhook_allow: must be a list of texts"),
        ("cors_origins = ['*']", {}, "cors_origins: '*' is no origin"),
        ("cors_origins = ['https://a.example/']", {}, "as https://till.example"),
        ("port = ", {}, "threewire.toml: is not TOML"),
        ("", {"THREEWIRE_PROT": "1"}, "THREEWIRE_PROT: unknown setting (did you mean 'THREEWIRE_P"),
        ("", {"THREEWIRE_WORKER": "1"}, "(did you mean 'THREEWIRE_WORKERS'?)"),
        ("", {"THREEWIRE_LOG_LEVEL": "WARN"}, "unknown level 'WARN' (did you mean 'WARNING'?)"),
        ("", {"THREEWIRE_REQUIRE_KEYS": "maybe"}, "THREEWIRE_REQUIRE_KEYS: must be yes, no or au"),
    ],
)
def test_a_slip_is_told_with_its_place_and_the_nearest_name(
    tmp_path: Path, text: str, environment: dict[str, str], says: str
) -> None:
    """What is wrong names the file or variable, the setting, and what was probably meant."""
    file = tmp_path / "threewire.toml"
    file.write_text(text)
    with pytest.raises(SettingsError) as told:
        load({}, environment, str(file))
    assert says in str(told.value)


def test_every_slip_is_told_at_once(tmp_path: Path) -> None:
    """Three slips in two places are three lines."""
    file = tmp_path / "threewire.toml"
    file.write_text("prot = 1\nthreads = 0\n")
    with pytest.raises(SettingsError) as told:
        load({}, {"THREEWIRE_WORKERS": "many"}, str(file))
    assert len(str(told.value).splitlines()) == 3


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    """A settings file that was named must be there."""
    with pytest.raises(SettingsError, match="No such file"):
        load({}, {}, str(tmp_path / "nowhere.toml"))


def test_what_is_no_setting_of_ours_is_left_alone() -> None:
    """Variables that other parts read are no slips."""
    names = ("DEBUG", "SLOW", "REQUIRE_POSTGRES", "REQUIRE_NGSPICE")
    others = {f"{settings.PREFIX}{name}": "1" for name in names}
    assert load({}, others).port == 8000


def test_show_settings_tells_value_and_origin_and_no_password(
    run: Callable[..., Result], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each setting is printed once, as TOML that reads back, and the password is left out."""
    monkeypatch.setenv("THREEWIRE_DATABASE", "postgresql://shop:tool-shed-9@db/cases")
    done = run("serve", "--port", "81", "--show-settings")
    assert done.exit_code == 0, done.output
    assert "tool-shed-9" not in done.stdout
    shown = tomllib.loads(done.stdout)
    assert list(shown) == list(SETTINGS)
    assert shown["database"] == "postgresql://shop:...@db/cases"
    assert "port = 81  # flag" in done.stdout
    assert "threads = 4  # default" in done.stdout
