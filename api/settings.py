"""The service's settings, one dataclass: flags win over the environment, that over the file.

``threewire serve --config FILE`` (or THREEWIRE_CONFIG) names a TOML file with the fields of
``Settings`` as its keys; the environment has them as THREEWIRE_NAME. Whatever is wrong is told at
once, with the place it came from.
"""

import difflib
import os
import tomllib
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any, NamedTuple
from urllib.parse import urlsplit

from platformdirs import user_data_path

from engine.knowledge.faults import Fault, FaultsError, unknown

PREFIX = "THREEWIRE_"
CONFIG = "THREEWIRE_CONFIG"
KNOWLEDGE_FOLDERS = "THREEWIRE_KB"  # of a shop's own, separated as PATH's are
LEVELS = ("DEBUG", "INFO", "WARNING", "ERROR")
_NOT_SETTINGS = ("CONFIG", "DEBUG", "SLOW")  # of the environment, and read elsewhere


class SettingsError(FaultsError):
    """The settings cannot be used; ``faults`` has every reason, with the place it came from."""


class SettingError(Exception):
    """One value cannot be read as its setting wants it."""


def _whole(low: int, high: int) -> Callable[[Any], int]:
    def read(value: Any) -> int:
        told = isinstance(value, int | str) and not isinstance(value, bool)
        with suppress(ValueError):
            if told and low <= int(value) <= high:
                return int(value)
        raise SettingError(f"must be a whole number from {low} to {high}")

    return read


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise SettingError("must be a text")
    return value.strip()


_WORDS = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}


def _flag(value: Any) -> bool:
    found = _WORDS.get(value.strip().lower()) if isinstance(value, str) else value
    if not isinstance(found, bool):
        raise SettingError("must be yes or no")
    return found


def _flag_or_auto(value: Any) -> str:
    if value == "auto":
        return "auto"
    try:
        return "yes" if _flag(value) else "no"
    except SettingError:
        raise SettingError("must be yes, no or auto") from None


def _level(value: Any) -> str:
    level = _text(value).upper()
    if level not in LEVELS:
        raise SettingError(f"{unknown('level', level, LEVELS)}; one of {', '.join(LEVELS)}")
    return level


def _list(value: Any) -> tuple[str, ...]:
    """Read a TOML list of texts, or a text with commas between its members."""
    parts = value.split(",") if isinstance(value, str) else value
    if not isinstance(parts, list) or not all(isinstance(part, str) for part in parts):
        raise SettingError("must be a list of texts")
    return tuple(part.strip() for part in parts if part.strip())


def _folders(value: Any) -> tuple[str, ...]:
    """Read a TOML list, or a text with the separator that PATH has on this system."""
    if isinstance(value, str):
        return tuple(part for part in value.split(os.pathsep) if part)
    return _list(value)


def _origins(value: Any) -> tuple[str, ...]:
    """Read origins as a browser sends them (RFC 6454): another form would never match."""
    for one in (found := _list(value)):
        parts = urlsplit(one)
        if one != f"{parts.scheme}://{parts.netloc}".lower() or not parts.netloc:
            raise SettingError(
                f"'{one}' is no origin: scheme, host and perhaps port, as https://till.example"
            )
    return found


def default_database() -> str:
    """Return the URL of the SQLite file of this user, alone in a folder of its own.

    SQLite keeps two more files beside it while it is open, and a full copy needs all three.
    """
    return f"sqlite:///{user_data_path('threewire') / 'store' / 'cases.sqlite3'}"


def _setting(default: Any, read: Callable[[Any], Any], about: str) -> Any:
    """Declare a setting: its default, how its text is read, and what it is for."""
    return field(default=default, metadata={"read": read, "about": about})


@dataclass(frozen=True)
class Settings:
    """The settings in force, and by name where each came from; declared here and nowhere else."""

    host: str = _setting(
        "127.0.0.1", _text, "Address to listen on; beyond loopback keys are needed."
    )
    port: int = _setting(8000, _whole(0, 65535), "Port to listen on; 0 takes a free one.")
    workers: int = _setting(1, _whole(1, 64), "Worker processes; one a core is right.")
    threads: int = _setting(4, _whole(1, 64), "Threads a worker.")
    timeout: int = _setting(30, _whole(1, 600), "Seconds after which a stuck worker is replaced.")
    kb: tuple[str, ...] = _setting(
        (), _folders, "Folders of your own knowledge, laid over the shipped one."
    )
    database: str = _setting(
        "", _text, "Where cases are kept: an SQLite or PostgreSQL URL; left out, a file of this "
        "user.",
    )  # fmt: skip
    require_keys: str = _setting(
        "auto", _flag_or_auto, "Whether a caller needs an API key: yes, no (only on loopback), or "
        "auto: on loopback as soon as a key is made, else always.",
    )  # fmt: skip
    keys_file: str = _setting(
        "", _text, "File with keys that are to be in force, for unattended set-up: a line each, "
        "role, key and name.",
    )  # fmt: skip
    rate_per_minute: int = _setting(
        600, _whole(1, 10**6), "Requests a minute that one key may make."
    )
    stop_seconds: int = _setting(
        30, _whole(1, 600), "Seconds that requests under way are given to end when the service "
        "stops or reloads.",
    )  # fmt: skip
    learn: bool = _setting(True, _flag, "Whether closed cases shift the shares of causes.")
    retention_days: int = _setting(
        0, _whole(0, 36500), "Days after closing for which a case keeps names and what people "
        "typed; 0 is for ever.",
    )  # fmt: skip
    webhook_allow: tuple[str, ...] = _setting(
        (), _list, "Hosts or networks (CIDR) that events may be sent to; none when empty."
    )
    log_level: str = _setting("INFO", _level, "DEBUG, INFO, WARNING or ERROR.")
    proxies: int = _setting(
        0, _whole(0, 8), "Reverse proxies in front, whose X-Forwarded headers are believed."
    )
    public_url: str = _setting(
        "", _text, "Address under which callers know the service; stands in /openapi.json."
    )
    trusted_hosts: tuple[str, ...] = _setting(
        (), _list, "Names that a Host header may have; any when empty."
    )
    cors_origins: tuple[str, ...] = _setting(
        (), _origins, "Origins, exact, whose web pages may call the service; none when empty."
    )
    compress: bool = _setting(
        False, _flag, "Whether JSON is compressed with gzip for who takes it; a proxy may do it."
    )
    batch_lines: int = _setting(100_000, _whole(1, 10**7), "Lines that one batch may have.")
    model_mebibytes: int = _setting(
        96, _whole(8, 65536), "Memory, a worker, for solved machines that are kept."
    )
    origins: Mapping[str, str] = field(default_factory=dict)


class SettingEntry(NamedTuple):
    """What is declared of one setting: its default, how its text is read, what it is for."""

    name: str
    default: Any
    read: Callable[[Any], Any]
    about: str


SETTINGS: dict[str, SettingEntry] = {
    one.name: SettingEntry(one.name, one.default, **one.metadata)
    for one in fields(Settings)
    if one.metadata
}


def load(
    flags: Mapping[str, Any] | None = None,
    environment: Mapping[str, str] | None = None,
    file: str | None = None,
) -> Settings:
    """Return the settings. Raises SettingsError with every fault and the place it came from.

    ``flags`` that are None count as not given; ``environment`` None is the process's own;
    ``file`` None is what THREEWIRE_CONFIG names, if anything.
    """
    environment = os.environ if environment is None else environment
    file = file or environment.get(CONFIG)
    faults: list[Fault] = []
    values: dict[str, Any] = {}
    origins = dict.fromkeys(SETTINGS, "default")
    sources = [
        (file or "", _of_file(file, faults) if file else {}),
        ("environment", _of_environment(environment, faults)),
        ("flag", {name: value for name, value in (flags or {}).items() if value is not None}),
    ]
    for origin, given in sources:
        for name, value in given.items():
            if name not in SETTINGS:
                faults.append(Fault(f"{origin}: {name}", unknown("setting", name, SETTINGS)))
                continue
            try:
                values[name] = SETTINGS[name].read(value)
                origins[name] = origin
            except SettingError as fault:
                faults.append(Fault(_place(origin, name), str(fault)))
    if faults:
        raise SettingsError(faults)
    values["database"] = values.get("database") or default_database()
    return Settings(**values, origins=origins)


def _place(origin: str, name: str) -> str:
    """Return where a setting was given, as its writer knows it."""
    if origin == "environment":
        return f"environment: {PREFIX}{name.upper()}"
    return f"--{name.replace('_', '-')}" if origin == "flag" else f"{origin}: {name}"


def _of_environment(environment: Mapping[str, str], faults: list[Fault]) -> dict[str, str]:
    """Return what the environment sets; a name that is nearly a setting's is a fault."""
    given = {
        name.removeprefix(PREFIX): value
        for name, value in environment.items()
        if name.startswith(PREFIX)
    }
    known = {name.upper(): name for name in SETTINGS}
    for name in given:
        near = difflib.get_close_matches(name, known, 1, cutoff=0.74)
        if name not in known and name not in _NOT_SETTINGS and near:
            message = f"unknown setting (did you mean '{PREFIX}{near[0]}'?)"
            faults.append(Fault(f"environment: {PREFIX}{name}", message))
    return {known[name]: value for name, value in given.items() if name in known}


def _of_file(file: str, faults: list[Fault]) -> dict[str, Any]:
    try:
        return tomllib.loads(Path(file).read_text(encoding="utf-8"))
    except OSError as error:
        faults.append(Fault(file, error.strerror or "cannot be read"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        faults.append(Fault(file, f"is not TOML: {error}"))
    return {}
