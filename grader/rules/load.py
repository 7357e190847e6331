"""Read the rules: the shipped ones, with the studio's own laid over them key by key."""

from __future__ import annotations

import difflib
import hashlib
import json
import tomllib
from collections.abc import Iterator, Mapping
from importlib.resources import files
from pathlib import Path
from types import MappingProxyType
from typing import Any, cast

from grader.errors import RulesError
from grader.facts import Use
from grader.findings import FAULT_NAMES
from grader.rules.model import ACTIONS, LIMIT_KEYS, Action, FaultRule, Rules, Where
from grader.rules.schema import ANY_NAME, SCHEMA, Table

# A rules file is a page of text; more than this is some other file named by mistake.
_LARGEST_BYTES = 1_000_000

_CHANGE_KEYS = (*LIMIT_KEYS, "slight", "marked", "safety")


def default_rules_text() -> str:
    """The shipped rules file, comments and all, for the maker to start from."""
    return files("grader.rules").joinpath("default.toml").read_text(encoding="utf-8")


def load_rules(path: Path | None = None) -> Rules:
    """Read the shipped rules and lay a studio's own file over them.

    Parameters
    ----------
    path : Path, optional
        The studio's file; it holds only what is to be different.

    Returns
    -------
    Rules

    Raises
    ------
    RulesError
        Where the file cannot be read, or holds an unknown key, a value of the wrong kind or an
        impossible one. The message names the key, and the nearest known one.
    """
    return build_rules(read_values(path))


def read_values(path: Path | None = None) -> dict[str, Any]:
    """Return every value of the rules, checked; parameters and errors as in `load_rules`.

    Plain tables, lists, texts and numbers, so that they can be written down as JSON and built
    again by `build_rules`.
    """
    values = tomllib.loads(default_rules_text())
    where = "the shipped rules"
    if path is not None:
        where = str(path)
        studio = _read(path)
        _check(studio, SCHEMA, "", where)
        values = lay_over(values, studio)
    _check_together(values, where)
    return values


def lay_over(base: Mapping[str, Any], over: Mapping[str, Any]) -> dict[str, Any]:
    """Return `base` with the values of `over` in place of its own, table by table, key by key."""
    result = dict(base)
    for key, value in over.items():
        below = result.get(key)
        if isinstance(below, dict) and isinstance(value, dict):
            value = lay_over(below, value)
        result[key] = value
    return result


def build_rules(values: Mapping[str, Any]) -> Rules:
    """Build the rules from values that `read_values` has checked.

    Raises
    ------
    KeyError
        A value is missing.
    """
    digest = hashlib.sha256(json.dumps(values, sort_keys=True).encode()).hexdigest()
    views, colour, refire, use = (values[key] for key in ("views", "colour", "refire", "use"))
    seconds, certainty, photos = (values[key] for key in ("seconds", "certainty", "photos"))
    uses: tuple[Use, ...] = ("food", "plant", "decor")
    return Rules(
        name=values["name"],
        version=digest[:10],
        required=tuple(views["required"]),
        advised=tuple(views["advised"]),
        show=tuple(views["show"]),
        speck_mm=photos["speck_mm"],
        floor_px=photos["floor_px"],
        counts_from=certainty["counts_from"],
        safety_from=certainty["safety_from"],
        widen=MappingProxyType(
            {
                "chart": 1.0,
                "grey": colour["widen_grey"],
                "backdrop": colour["widen_backdrop"],
                None: colour["widen_none"],
            }
        ),
        noise_de00=colour["noise_de00"],
        most_refires=refire["most"],
        flat_forms=tuple(refire["flat_forms"]),
        refire_text=MappingProxyType(dict(refire["text"])),
        forms=MappingProxyType({word: tuple(use[f"{word}_forms"]) for word in uses}),
        unknown_use=use["unknown"],
        price_slight=seconds["slight"],
        price_marked=seconds["marked"],
        price_several=seconds["several"],
        round_to=seconds["round_to"],
        coloured_judged=tuple(values["finish"]["coloured_judged"]),
        faults=MappingProxyType({name: _fault(values["faults"][name]) for name in FAULT_NAMES}),
        cautions=MappingProxyType(dict(values["cautions"])),
    )


def _read(path: Path) -> dict[str, Any]:
    try:
        if path.stat().st_size > _LARGEST_BYTES:
            raise RulesError(
                "too large for a rules file", where=str(path), remedy="Name a TOML file of rules"
            )
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        raise RulesError(
            "there is no such rules file", where=str(path), remedy="Check the name after --rules"
        ) from None
    except OSError as error:
        raise RulesError(
            f"cannot be read ({error.strerror})", where=str(path), remedy="Check the file's rights"
        ) from None
    except UnicodeDecodeError:
        raise RulesError(
            "is not a text file in UTF-8", where=str(path), remedy="Save it as UTF-8 text"
        ) from None
    except tomllib.TOMLDecodeError as error:
        raise RulesError(
            f"is not sound TOML: {error}",
            where=str(path),
            remedy="`grader rules` prints the shipped file to compare with",
        ) from None


def _check(values: Mapping[str, Any], table: Table, prefix: str, where: str) -> None:
    for key, value in values.items():
        name = prefix + key
        known = table.get(key, table.get(ANY_NAME))
        if known is None:
            raise RulesError(
                f"unknown key {name}", where=where, remedy=_nearest(key, table, prefix)
            )
        if callable(known):
            wrong = known(value)
            if wrong:
                raise RulesError(f"{name} {wrong}", where=where, remedy="Correct this key")
        elif isinstance(value, dict):
            _check(value, known, name + ".", where)
        else:
            raise RulesError(
                f"{name} must be a table, not {value!r}",
                where=where,
                remedy=f"Write [{name}] on a line of its own and the keys below it",
            )


def _nearest(key: str, table: Table, prefix: str) -> str:
    # The right key may stand in another table: look at the whole name as well as the last part.
    close = difflib.get_close_matches(key, [name for name in table if name != ANY_NAME], n=1)
    if close:
        return f"Did you mean {prefix}{close[0]}?"
    same = [name for name in _all_keys(SCHEMA) if name.rsplit(".", 1)[-1] == key]
    same += difflib.get_close_matches(prefix + key, list(_all_keys(SCHEMA)), n=1, cutoff=0.5)
    return f"The nearest known key is {same[0]}" if same else "`grader rules` prints every key"


def _all_keys(table: Table, prefix: str = "") -> Iterator[str]:
    for key, value in table.items():
        if isinstance(value, Mapping):
            yield from _all_keys(value, f"{prefix}{'WORD' if key == ANY_NAME else key}.")
        else:
            yield prefix + key


def _check_together(values: Mapping[str, Any], where: str) -> None:
    """Refuse values that are each possible but not together."""
    for name, fault in values["faults"].items():
        key = f"faults.{name}"
        _check_fault(fault, key, where)
        for word, exception in fault.get("where", {}).items():
            _check_fault({**fault, **exception}, f"{key}.where.{word}", where)
            if not set(exception) - set(_CHANGE_KEYS):
                raise RulesError(
                    f"{key}.where.{word} does not say where it holds",
                    where=where,
                    remedy="Give it a use, zone, view, finish, sight or longest_mm",
                )
    crack = values["faults"]["crack"]
    for word, table in (("", crack), *crack.get("where", {}).items()):
        for severity in ("slight", "marked"):
            if table.get(severity, "discard") in ("first", "refire"):
                key = ".".join(filter(None, ("faults.crack", word and f"where.{word}", severity)))
                raise RulesError(
                    f"{key} must not be {table[severity]!r}: a cracked piece can break in use",
                    where=where,
                    remedy='Use "second", "decor" or "discard"',
                )
    seconds = values["seconds"]
    if not seconds["several"] <= seconds["marked"] <= seconds["slight"]:
        raise RulesError(
            "seconds.slight, marked and several must not rise: the worse piece costs less",
            where=where,
            remedy="Put them in falling order",
        )


def _check_fault(fault: Mapping[str, Any], key: str, where: str) -> None:
    for unit in ("de00", "mm"):
        low, high = fault.get(f"remark_below_{unit}"), fault.get(f"marked_{unit}")
        if low is not None and high is not None and low > high:
            raise RulesError(
                f"{key}.remark_below_{unit} ({low:g}) is above marked_{unit} ({high:g})",
                where=where,
                remedy="A remark must be smaller than a marked fault",
            )
    if ACTIONS.index(fault["slight"]) > ACTIONS.index(fault["marked"]):
        raise RulesError(
            f"{key}.slight ({fault['slight']}) is harder than {key}.marked ({fault['marked']})",
            where=where,
            remedy="A slight fault must not cost more than a marked one",
        )


def _fault(table: Mapping[str, Any]) -> FaultRule:
    exceptions = [_where(word, entry) for word, entry in table.get("where", {}).items()]
    return FaultRule(
        label=table["label"],
        plural=table["plural"],
        limits=MappingProxyType({key: table[key] for key in LIMIT_KEYS if key in table}),
        slight=cast(Action, table["slight"]),
        marked=cast(Action, table["marked"]),
        safety=table.get("safety", False),
        cause=table["cause"],
        remedy=table["remedy"],
        text=MappingProxyType(dict(table["text"])),
        exceptions=tuple(sorted(exceptions, key=lambda one: one.conditions)),
    )


def _where(word: str, table: Mapping[str, Any]) -> Where:
    def named(key: str) -> frozenset[str]:
        return frozenset(table.get(key, ()))

    return Where(
        name=word,
        use=named("use"),
        zone=named("zone"),
        view=named("view"),
        finish=named("finish"),
        sight=named("sight"),
        longest_mm=table.get("longest_mm"),
        changes=MappingProxyType({key: table[key] for key in _CHANGE_KEYS if key in table}),
    )
