"""What has to follow a command, by shape: each reads arguments into values of their own."""

from __future__ import annotations

import re
from datetime import date

from bot.shorthand.arguments import (
    DAY,
    LONGEST_NAME,
    NAME,
    Args,
    Given,
    Misfit,
    Shape,
    day_of,
    is_name,
    is_outside,
    measure_at,
    metres_at,
    name_at,
    out_of_range,
    slip_of_name,
)
from bot.shorthand.lexicon import Sort
from bot.shorthand.reading import Doubt
from planner.record import Exercise

DEPTH_M = (5.0, 150.0)
"""A PB or a goal, metres (H)."""
BASE_M = (1.0, 100.0)
HEIGHT_M = (1.2, 2.3)
AGE_Y = (5, 100)
LITRES = (0.2, 15.0)
"""Wider than any lungs: the talk says what a volume can't be beside the others."""
LEAST_DIVE_M = 10.0
"""From here on `frc 12` and `rv 12` can only be a dive: nobody's FRC or RV holds that many litres."""
MILLILITRES = {"mouth": (5.0, 400.0), "mask": (0.0, 400.0)}
ALTITUDE_M = (0.0, 5000.0)
COUNTS = {"dives": (1, 20), "minutes": (1, 120), "lines": (1, 9)}
LONGEST_TEXT = 80


_ZONE = re.compile(r"[A-Za-z_-]{2,40}(?:/[A-Za-z0-9_+-]{1,40}){0,2}")
_PHONE = re.compile(r"[+0-9][0-9 /-]{1,24}")


def _nothing(given: Given) -> Args | Misfit | None:
    return {} if not given.low else None


def _anything(given: Given) -> Args | Misfit | None:
    return {}


_NEEDS_NAME = ("add", "allow", "disallow")
"""Commands whose word is hardly talk when it stands alone or before one other."""


def _one_name(given: Given) -> Args | Misfit | None:
    if len(given.low) != 1:
        known = any(w.lstrip("@") in given.names for w in given.low)
        is_short = not given.low and given.name in _NEEDS_NAME
        return Misfit(Doubt.ARGUMENT) if known or is_short else None
    if given.name == "add" and given.low[0] in given.words.vocabulary:
        return {"name": name_at(given, 0)}  # that nobody can be called that is for the talk to say
    if not is_name(given, 0):
        return Misfit(Doubt.ARGUMENT) if given.name in _NEEDS_NAME[1:] else None
    return slip_of_name(given, 0) or {"name": name_at(given, 0)}


def _answer_or_name(given: Given) -> Args | Misfit | None:
    for answer in ("yes", "no"):
        if given.has(0, answer) and len(given.low) == 1:
            return {"answer": answer}
        if given.has(0, answer) and len(given.low) == 2 and is_name(given, 1):
            return {"answer": answer, "name": name_at(given, 1)}
    if given.has(0, "nobody") and len(given.low) == 1:
        return {"nobody": True}
    return _one_name(given)


def _stripped(name: str) -> str:
    """A name without `'s` and without its @."""
    name = name.lstrip("@")
    return name[:-2] if name.casefold().endswith("'s") and len(name) > 2 else name


def _buddies(given: Given) -> tuple[list[str], list[str], bool]:
    """The names in the words about a buddy, the words that nobody knows, and whether a buddy is meant."""
    names, strangers = [], []
    is_meant = False
    w = given.words
    for typed, low in zip(given.typed, given.low, strict=True):
        bare = _stripped(low)
        if bare in given.names:
            names.append(_stripped(typed))
        elif low in w.arguments["buddy"] or low in w.arguments["watches"]:
            is_meant = True
        elif low in w.arguments["around_buddy"]:
            continue
        elif (
            bare in w.vocabulary
            or not NAME.fullmatch(bare)
            or len(bare) > LONGEST_NAME
            or bare[0].isnumeric()
        ):
            strangers.append(low)
        else:
            names.append(_stripped(typed))
    return names, strangers, is_meant


def _buddy(given: Given) -> Args | Misfit | None:
    names, strangers, _ = _buddies(given)
    if len(names) == 1 and not strangers:
        return {"buddy": names[0]}
    known = [n for n in names if n.casefold() in given.names]
    if known and (strangers or len(names) > 1):
        return Misfit(
            Doubt.ARGUMENT, " ".join(strangers), tuple(f"{given.first} {n}" for n in known)
        )
    if len(given.low) == 1 and strangers and given.low[0] in given.words.commands:
        return Misfit(Doubt.ARGUMENT, given.low[0])  # `buddy next`: nobody is called that
    return None


def _maybe_buddy(given: Given) -> Args | Misfit | None:
    """`fit`, with a buddy in any of the usual words. What is said beside a yes makes it doubtful."""
    names, strangers, is_meant = _buddies(given)
    known = [n for n in names if n.casefold() in given.names]
    meanings = given.words.meanings
    sorts = {meanings[s].sort for s in strangers if s in meanings}
    if not strangers:
        if not names:
            return Misfit(Doubt.ARGUMENT) if is_meant else {}
        if len(names) == 1 and (is_meant or known):
            return {"buddy": names[0]}
    if not (is_meant or known or sorts & {Sort.TROUBLE, Sort.REASON}):
        return None
    doubt = Doubt.TROUBLE_WORD if sorts & {Sort.TROUBLE, Sort.REASON} else Doubt.STRANGER
    fit = given.words.command_line(given.name)
    no = given.words.command_line("not-fit")
    buddies = known or (names if is_meant else [])
    readings = [f"{fit} buddy {b}" for b in buddies[:2]] or [fit]
    if not strangers:
        return Misfit(Doubt.ARGUMENT, " ".join(names), tuple(readings))
    return Misfit(doubt, strangers[0], (no, *readings))


def _feeling(given: Given) -> Args | Misfit | None:
    if not given.low:
        return Misfit(Doubt.ARGUMENT)
    well = given.words.arguments["well"]
    return {"words": " ".join(given.typed), "ok": all(w in well for w in given.low)}


def _dive_parts(given: Given) -> Args | Misfit | None:
    """Only the text; that it is parts of a dive is looked at where dives are read."""
    return {"text": " ".join(given.typed)} if given.low else None


def _body(given: Given) -> Args | Misfit | None:
    sex: str | None = None
    age: float | None = None
    height: float | None = None
    low, w = given.low, given.words.arguments
    bad = ""
    i = 0
    units = w["years"] | w["centimetres"] | {"m"}
    while i < len(low):
        measure = measure_at(low, i, units)
        if low[i] in w["female"] or low[i] in w["male"]:
            bad = bad or (low[i] if sex is not None else "")
            sex = "f" if low[i] in w["female"] else "m"
        elif measure is None:
            bad = bad or low[i]
        else:
            value, unit = measure.value, measure.unit
            i += measure.took - 1
            if unit in w["centimetres"] or (not unit and value > AGE_Y[1]):
                bad, height = bad or ("" if height is None else low[i]), value / 100
            elif unit == "m" or (not unit and value < AGE_Y[0]):
                bad, height = bad or ("" if height is None else low[i]), value
            elif (unit in w["years"] or not unit) and value == int(value):
                bad, age = bad or ("" if age is None else low[i]), value
            else:
                bad = bad or low[i]
        i += 1
    if sex is None and (age is None or height is None):
        return None
    if bad or sex is None or age is None or height is None:
        return Misfit(Doubt.ARGUMENT, bad)
    if is_outside(age, AGE_Y):
        return Misfit(Doubt.RANGE, f"{age:g}")
    if is_outside(round(height, 3), HEIGHT_M):
        return Misfit(Doubt.RANGE, f"{height:g}")
    return {"sex": sex, "age_y": int(age), "height_m": round(height, 3)}


def _litres(given: Given) -> Args | Misfit | None:
    units = given.words.arguments["litres"]
    is_dive_too = given.first in {e.value for e in Exercise}
    measure = measure_at(given.low, 0, units)
    if measure is None:
        return None
    if measure.took < len(given.low) or (measure.unit and measure.unit not in units):
        return None if is_dive_too else Misfit(Doubt.ARGUMENT, given.low[-1])
    if is_dive_too and not measure.unit and not 0 < measure.value < LEAST_DIVE_M:
        return None
    if is_outside(measure.value, LITRES):
        return out_of_range(given.first, measure.value, LITRES)
    return {"volume": given.first, "value": measure.value}


def _millilitres(given: Given) -> Args | Misfit | None:
    units = given.words.arguments["millilitres"]
    measure = measure_at(given.low, 0, units)
    if measure is None:
        return None
    if measure.took < len(given.low) or (measure.unit and measure.unit not in units):
        return Misfit(Doubt.ARGUMENT, given.low[-1])
    if is_outside(measure.value, MILLILITRES[given.name]):
        return out_of_range(given.first, measure.value, MILLILITRES[given.name])
    return {"value": measure.value}


def _begins_with_number(given: Given) -> bool:
    return bool(given.low) and (given.low[0].lstrip("-+.")[:1].isnumeric())


def _depth(given: Given) -> Args | Misfit | None:
    measure = metres_at(given, 0)
    if measure is None:
        return Misfit(Doubt.ARGUMENT, given.low[0]) if _begins_with_number(given) else None
    line = given.words.command_line(given.name)
    if measure.took < len(given.low):
        return Misfit(Doubt.ARGUMENT, given.low[measure.took], (f"{line} {measure.value:g}",))
    if is_outside(measure.value, DEPTH_M):
        return out_of_range(line, measure.value, DEPTH_M)
    return {"depth_m": measure.value}


def _depth_and_day(given: Given) -> Args | Misfit | None:
    measure = metres_at(given, 0)
    rest = given.low[measure.took if measure else 0 :]
    if measure is None or not rest:
        return _depth(given)
    line = given.words.command_line(given.name)
    if is_outside(measure.value, DEPTH_M):
        return out_of_range(line, measure.value, DEPTH_M)
    if len(rest) == 2 and rest[0] in given.words.arguments["by"]:
        rest = rest[1:]
    day = day_of(rest[0]) if len(rest) == 1 and rest[0].count("-") == 2 else None
    if day is None:
        return Misfit(Doubt.ARGUMENT, " ".join(rest), (f"{line} {measure.value:g}",))
    return {"depth_m": measure.value, "by_on": day}


def _day(given: Given) -> Args | Misfit | None:
    if len(given.low) != 1:
        return Misfit(Doubt.ARGUMENT) if _begins_with_number(given) or not given.low else None
    day = day_of(given.low[0]) if given.low[0].count("-") == 2 else None
    return {"on": day} if day is not None else Misfit(Doubt.ARGUMENT, given.low[0])


def _base(given: Given) -> Args | Misfit | None:
    exercise: str | None = None
    depth: float | None = None
    day: date | None = None
    bad = ""
    i = 0
    while i < len(given.low):
        low = given.low[i]
        if low in (Exercise.FRC.value, Exercise.RV.value) and exercise is None:
            exercise = low
        elif DAY.fullmatch(low) and day is None:
            day = day_of(low)
            bad = bad or ("" if day else low)
        elif (measure := metres_at(given, i)) is not None and depth is None:
            depth = measure.value
            i += measure.took - 1
        else:
            bad = bad or low
        i += 1
    if exercise is None and (depth is None or day is None):
        return None
    if bad or exercise is None or depth is None or day is None:
        return Misfit(Doubt.ARGUMENT, bad)
    if is_outside(depth, BASE_M):
        return Misfit(Doubt.RANGE, f"{depth:g}")
    return {"exercise": exercise, "depth_m": depth, "on": day}


def _scope(given: Given) -> Args | Misfit | None:
    if len(given.low) == 1:
        if given.has(0, "health"):
            return {"scope": "health"}
        if given.has(0, "everything"):
            return {"scope": "all"}
    return None if given.low else {}


def _switch(given: Given) -> Args | Misfit | None:
    if len(given.low) != 1:
        return None
    if given.has(0, "on"):
        return {"on": True}
    return {"on": False} if given.has(0, "off") else None


def _zone(given: Given) -> Args | Misfit | None:
    """A zone's name, or a city: the talk knows them."""
    if not given.typed:
        return Misfit(Doubt.ARGUMENT)
    if len(given.typed) > 2 or any(w in given.words.never_names for w in given.low):
        return None
    zone = "_".join(given.typed)
    return {"zone": zone} if _ZONE.fullmatch(zone) else Misfit(Doubt.ARGUMENT, zone)


def _site(given: Given) -> Args | Misfit | None:
    w = given.words.arguments
    for key in ("emergency_number", "oxygen", "meeting_point"):
        if given.low and given.low[0] in w[key]:
            text = " ".join(given.typed[1:])
            if not text or len(text) > LONGEST_TEXT:
                return Misfit(Doubt.ARGUMENT, given.low[0])
            if key == "emergency_number" and not _PHONE.fullmatch(text):
                return Misfit(Doubt.ARGUMENT, text)
            return {key: text}
    args: Args = {}
    bad = ""
    chunks = [c for chunk in given.low for c in re.split(r"[,/;|]+", chunk) if c]
    i = 0
    while i < len(chunks):
        chunk = chunks[i]
        measure = measure_at(chunks, i, ("m",))
        known: Args | None = None
        if chunk in w["salt"] or chunk in w["fresh"]:
            known = {"salt": chunk in w["salt"]}
        elif chunk in w["gauge"] or chunk in w["rope"]:
            known = {"gauge": chunk in w["gauge"]}
        elif measure is not None and measure.unit in ("m", ""):
            known = {"altitude_m": measure.value}
            i += measure.took - 1
        elif chunk not in w["water"]:
            bad = bad or chunk
        if known is not None:
            if set(known) & set(args):
                bad = bad or chunk
            args |= known
        i += 1
    if not args:
        if len(chunks) == 1:
            return Misfit(Doubt.ARGUMENT, bad)
        return None if chunks else {}
    if bad:
        return Misfit(Doubt.ARGUMENT, bad)
    altitude = args.get("altitude_m", 0.0)
    if isinstance(altitude, float) and is_outside(altitude, ALTITUDE_M):
        return Misfit(Doubt.RANGE, f"{altitude:g}")
    return args


def _name_and_depth(given: Given) -> Args | Misfit | None:
    for who_at, depth_at in ((0, 1), (len(given.low) - 1, 0)):
        measure = metres_at(given, depth_at)
        if measure and len(given.low) == 1 + measure.took and is_name(given, who_at):
            if is_outside(measure.value, BASE_M):
                line = f"{given.first} {name_at(given, who_at)}"
                return out_of_range(line, measure.value, BASE_M)
            return slip_of_name(given, who_at) or {
                "name": name_at(given, who_at),
                "depth_m": measure.value,
            }
    known = any(w.lstrip("@") in given.names for w in given.low)
    return Misfit(Doubt.ARGUMENT) if known else None


def _count_of(what: str, key: str) -> Shape:
    def shape(given: Given) -> Args | Misfit | None:
        minutes = [w for w, m in given.words.meanings.items() if m.sort is Sort.MINUTES]
        units = {"dives": ("dives", "dive"), "minutes": minutes, "lines": ()}[what]
        measure = measure_at(given.low, 0, units)
        if measure is None or (measure.unit and measure.unit not in units):
            return Misfit(Doubt.ARGUMENT, given.low[0]) if _begins_with_number(given) else None
        if measure.took < len(given.low):
            return Misfit(Doubt.ARGUMENT, given.low[measure.took])
        if measure.value != int(measure.value) or is_outside(measure.value, COUNTS[what]):
            return Misfit(Doubt.RANGE, f"{measure.value:g}")
        return {key: int(measure.value)}

    return shape


def _name_and_task(given: Given) -> Args | Misfit | None:
    if not given.low:
        return {}
    if len(given.low) == 1 and given.low[0] in given.words.tasks:
        return {"task": given.low[0]}
    if len(given.low) == 2:
        for who_at, task_at in ((0, 1), (1, 0)):
            if given.low[task_at] in given.words.tasks and is_name(given, who_at):
                return slip_of_name(given, who_at) or {
                    "name": name_at(given, who_at),
                    "task": given.low[task_at],
                }
    known = any(w.lstrip("@") in given.names for w in given.low)
    return Misfit(Doubt.ARGUMENT, given.low[-1]) if known else None


SHAPES: dict[str, Shape] = {
    "nothing": _nothing,
    "anything": _anything,
    "name": _one_name,
    "answer or name": _answer_or_name,
    "buddy": _buddy,
    "maybe a buddy": _maybe_buddy,
    "feeling": _feeling,
    "dive parts": _dive_parts,
    "body": _body,
    "litres": _litres,
    "millilitres": _millilitres,
    "depth": _depth,
    "depth and maybe a day": _depth_and_day,
    "day": _day,
    "base": _base,
    "scope": _scope,
    "switch": _switch,
    "zone": _zone,
    "site": _site,
    "name and depth": _name_and_depth,
    "dives": _count_of("dives", "dives"),
    "minutes": _count_of("minutes", "minutes"),
    "lines": _count_of("lines", "lines"),
    "name and task": _name_and_task,
}
"""What has to follow a command, by the words for it in the language's file."""
