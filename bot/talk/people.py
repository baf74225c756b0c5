"""Who is here: first message, short help, roster, grants, zone, site, export, forget."""

from __future__ import annotations

import re
import zoneinfo
from collections.abc import Callable, Iterator
from dataclasses import fields, replace
from difflib import get_close_matches
from functools import lru_cache
from hashlib import blake2b

from bot.heard import Kind
from bot.shorthand import words
from bot.shorthand.reading import Command
from bot.talk.aside import line_for, privately
from bot.talk.export import SOMEBODY, as_csv, as_json, export_of
from bot.talk.health_letters import Addressee, still_called
from bot.talk.turn import Handler, Scene, said
from bot.texts.render import clock, joined, say
from planner.record import Grant, Harm, Kept, Unwell
from storage.outcome import (
    AddMember,
    Delivery,
    Forget,
    Key,
    Letter,
    Member,
    Met,
    Outcome,
    SetRoom,
    Site,
)

# the first words


def start(command: Command, scene: Scene, diver: str) -> Outcome:
    """`/start`: for whom this is, what it is not, how to begin, and the question of consent."""
    if not scene.in_private:
        return said(scene.answer(say("start.group")))
    first = said(
        scene.answer(say("start.what")),
        Letter(to=scene.heard.chat, text=say("start.privacy"), keys=(_consent_keys(scene),)),
    )
    member = scene.member(scene.sender)
    is_new = member is not None and member.is_new
    return replace(first, changes=(Met(member=scene.sender),) if is_new else ())


def greeted(scene: Scene, outcome: Outcome) -> Outcome:
    """An outcome with the short line of what this is and is not, for who begins otherwise, once.

    It stands at the first answer that is not of health: beside help nothing else is read.
    """
    member = scene.member(scene.sender)
    if member is None or not member.is_new or scene.heard.kind is Kind.JOINED:
        return outcome
    if any(isinstance(c, Met) for c in outcome.changes):
        return outcome
    is_of_health = any(isinstance(f, Harm | Unwell) for f in outcome.facts)
    if is_of_health or any(x.delivery is Delivery.HELP for x in outcome.letters):
        return outcome
    if not any(x.to == scene.heard.chat and x.text for x in outcome.letters):
        return outcome
    line = Letter(to=scene.heard.chat, text=say("start.short"))
    met = Met(member=scene.sender)
    return replace(outcome, letters=(*outcome.letters, line), changes=(*outcome.changes, met))


def _consent_keys(scene: Scene) -> tuple[Key, ...]:
    me = scene.sender
    return tuple(
        scene.key(label, label, me, may_press=(me,)) for label in ("share on", "share off")
    )


def show_help(command: Command, scene: Scene, diver: str) -> Outcome:
    """`help`: one screen in private, a few lines in a group."""
    return said(scene.answer(say("help.private" if scene.in_private else "help.group")))


def arrived(scene: Scene) -> Outcome:
    """The bot was added, or its rights changed: who it is for, the zone, what it hears."""
    parts = []
    if not scene.room.zone_stated:
        parts += [say("people.arrived"), say("people.ask-zone"), say("people.set-site")]
    if scene.heard.problem == "privacy":
        parts.append(say("people.privacy-mode"))
    if not parts:
        return Outcome()
    return said(scene.to_group("\n\n".join(parts)))


# the roster and grants

_NAME = re.compile(r"[^\W\d_][\w’'-]{0,23}")


def add(command: Command, scene: Scene, diver: str) -> Outcome:
    """`add noor`: a diver without a phone; whoever adds her keeps her log."""
    name = str(command.args["name"]).lstrip("@")
    if scene.room.chat == scene.private(scene.sender):
        return said(scene.answer(say("people.no-group-yet")))
    if not _NAME.fullmatch(name):
        return said(scene.answer(say("people.name-form")))
    if name.casefold() in words().vocabulary:
        return said(scene.answer(say("people.name-ours", name=name)))
    known = scene.room.named(name)
    if known is not None:
        keeper = scene.keeper_of(known.key)
        if keeper is None:
            return said(scene.answer(say("people.name-taken", name=known.name)))
        if keeper not in scene.room.members:
            # whoever kept it is gone: somebody has to be asked about this diver
            return _taken_over(command, scene, known)
        return said(
            scene.answer(say("people.name-kept", name=known.name, keeper=scene.name_of(keeper)))
        )
    key = _key_of(scene.room.chat, name)
    member = Member(key=key, name=name, can_dm=False, has_phone=False)
    return replace(_kept(command, scene, member), changes=(AddMember(member=member),))


def _kept(command: Command, scene: Scene, member: Member) -> Outcome:
    """The sender keeps this diver's log from now on."""
    keeper = scene.name_of(scene.sender)
    text = say("people.added", name=member.name, keeper=keeper)
    return Outcome(
        facts=(Kept(**scene.carried(member.key, command.line), keeper=scene.sender),),
        letters=(scene.answer(text, about=member.key),),
    )


def _taken_over(command: Command, scene: Scene, member: Member) -> Outcome:
    """The log of somebody whose keeper has left: asked once; what was told of health goes no further."""
    if scene.heard.button is None or not scene.heard.button.fresh:
        key = scene.key(
            say("people.take-over-button", name=member.name),
            f"add {member.name}",
            scene.sender,
            may_press=(scene.sender,),
        )
        text = say("people.take-over", name=member.name)
        return said(scene.answer(text, keys=((key,),)))
    outcome = _kept(command, scene, member)
    again = _asked_again(scene, member.key, scene.sender)
    return replace(
        outcome,
        changes=(Forget(diver=member.key, scope="health"),),
        letters=(*outcome.letters, *again),
    )


def _key_of(chat: str, name: str) -> str:
    """A key for somebody without a phone: short, and another one in another group.

    Two groups may each have a Noor; one's dives must never count for the other.
    """
    plain = re.sub(r"[^a-z0-9]", "", name.casefold())[:20]
    digest = blake2b(f"{chat}\n{name.casefold()}".encode(), digest_size=4).hexdigest()
    return f"n-{plain}-{digest}" if plain else f"n-{digest}"


def allow(command: Command, scene: Scene, diver: str) -> Outcome:
    """`allow ana`: she may log this diver's dives from now on."""
    return _grant(command, scene, diver, given=True)


def disallow(command: Command, scene: Scene, diver: str) -> Outcome:
    """`disallow ana`: no longer."""
    return _grant(command, scene, diver, given=False)


def _grant(command: Command, scene: Scene, diver: str, *, given: bool) -> Outcome:
    name = str(command.args["name"])
    to = scene.room.named(name)
    diver_name = scene.name_of(diver)
    if to is None:
        return said(scene.answer(who_is(scene, name)))
    if to.key == diver:
        return said(scene.answer(say("people.grant-self")))
    if not to.has_phone:
        return said(scene.answer(say("people.grant-no-phone", name=to.name)))
    text = say("people.allowed" if given else "people.disallowed", name=to.name, diver=diver_name)
    if not given and scene.is_keeper(to.key, diver):
        text = say("people.keeper-stays", name=to.name, diver=diver_name)
        return said(scene.answer(text))
    fact = Grant(**scene.carried(diver, command.line), to=to.key, given=given)
    return Outcome(facts=(fact,), letters=(scene.answer(text, about=diver),))


def who_is(scene: Scene, name: str) -> str:
    """That nobody of that name is here, and who may have been meant."""
    near = get_close_matches(
        name.casefold(), [m.name.casefold() for m in scene.room.members.values()], n=1
    )
    offered = scene.room.named(near[0]) if near else None
    return joined(
        (
            say("people.unknown", name=name[:24]),
            say("people.did-you-mean", name=offered.name) if offered is not None else "",
        ),
        " ",
    )


# the group's zone and site


def may_set(scene: Scene) -> bool:
    """A group's admin; in the room of somebody who has no group yet, that one."""
    member = scene.member(scene.sender)
    own = scene.room.chat == scene.private(scene.sender)
    return own or (member is not None and member.is_admin)


def zone(command: Command, scene: Scene, diver: str) -> Outcome:
    """`zone Europe/Lisbon`: by which clock days and mornings go; an admin's word."""
    if not may_set(scene):
        return said(scene.answer(say("people.admin-only")))
    wanted = str(command.args["zone"])
    exact, near = _zones_like(wanted)
    if exact is None:
        if not near:
            return said(scene.answer(say("people.zone-unknown", zone=wanted[:40])))
        keys = tuple(
            (scene.key(z, f"zone {z}", scene.sender, may_press=(scene.sender,)),) for z in near
        )
        return said(scene.answer(say("people.zone-near", zone=wanted[:40]), keys=keys))
    now = clock(scene.at, zoneinfo.ZoneInfo(exact))
    return Outcome(
        changes=(SetRoom(timezone=exact),),
        letters=(scene.answer(say("people.zone-set", zone=exact, now=now)),),
    )


@lru_cache(maxsize=1)
def _zone_names() -> dict[str, str]:
    return {
        name.casefold(): name
        for name in sorted(zoneinfo.available_timezones())
        if "/" in name or name == "UTC"
    }


def _zones_like(wanted: str) -> tuple[str | None, tuple[str, ...]]:
    """The zone of that name whatever its case; else those that it may have meant, nearest first."""
    names = _zone_names()
    folded = wanted.strip().casefold().replace(" ", "_")
    if folded in names:
        return names[folded], ()
    cities: dict[str, list[str]] = {}
    for name in names.values():
        if not name.startswith("Etc/"):
            cities.setdefault(name.rpartition("/")[2].casefold(), []).append(name)
    if folded in cities:
        return None, tuple(cities[folded][:3])
    city = folded.rpartition("/")[2]
    near = [names[n] for n in get_close_matches(folded, names, n=3, cutoff=0.8)]
    for close in get_close_matches(city, cities, n=2, cutoff=0.8):
        near += cities[close]
    return None, tuple(dict.fromkeys(near))[:3]


def site(command: Command, scene: Scene, diver: str) -> Outcome:
    """`site fresh, rope, 430 m`: the water, how depth is read, the altitude; an admin's word."""
    named = {f.name: command.args[f.name] for f in fields(Site) if f.name in command.args}
    if not named:
        return said(scene.answer(_site_line(scene.room.site)))
    if not may_set(scene):
        return said(scene.answer(say("people.admin-only")))
    new: Site = replace(scene.room.site, **named)  # type: ignore[arg-type]
    return Outcome(changes=(SetRoom(site=new),), letters=(scene.answer(_site_line(new)),))


def _site_line(site: Site) -> str:
    return joined(
        (
            say(
                "people.site",
                water=say("people.site-salt" if site.salt else "people.site-fresh"),
                read=say("people.site-gauge" if site.gauge else "people.site-rope"),
                altitude=f"{site.altitude_m:g}",
            ),
            say("people.site-number", number=site.emergency_number)
            if site.emergency_number
            else "",
            say("people.site-oxygen", place=site.oxygen) if site.oxygen else "",
            say("people.site-meet", place=site.meeting_point) if site.meeting_point else "",
        ),
        " ",
    )


# what is kept, handed over or erased


def export(command: Command, scene: Scene, diver: str) -> Outcome:
    """`export`: all that stands about the diver, as JSON, and the dives as a table."""
    letters = privately(scene, say("people.export"), about=diver)
    if letters[0].to != scene.private(scene.sender):
        return Outcome(letters=letters)
    made = export_of(scene.record(diver), name=_shown(scene), at=scene.at)
    on = scene.at.astimezone(scene.zone).date().isoformat()
    table = Letter(
        to=letters[0].to,
        text=say("people.export-table"),
        document=(f"buoyside-dives-{on}.csv", as_csv(made)),
        about=diver,
    )
    whole = replace(letters[0], document=(f"buoyside-{on}.json", as_json(made)))
    return said(whole, table)


_KEY = re.compile(r"t\d+")
"""A member's key that is made of the messenger's number for them."""


def _shown(scene: Scene) -> Callable[[str], str]:
    """How the export names a member: whoever is none here any more by no key of theirs."""

    def name(key: str) -> str:
        known = scene.name_of(key)
        return SOMEBODY if known == key and _KEY.fullmatch(key) else known

    return name


def forget(command: Command, scene: Scene, diver: str) -> Outcome:
    """`forget health` / `forget all`: asked once with a button, then erased."""
    scope = str(command.args.get("scope", ""))
    line = f"forget {scope}"
    confirmed = scene.heard.button is not None and scene.heard.button.fresh
    name = scene.name_of(diver)
    if scope not in ("health", "all"):
        return Outcome(letters=privately(scene, say("people.forget-which")))
    if not confirmed:
        key = scene.key(
            say(f"people.forget-{scope}-button"),
            line_for(scene, diver, line),
            diver,
            may_press=(scene.sender,),
        )
        text = say(f"people.forget-{scope}-ask", whom=_of(scene, diver))
        return Outcome(letters=privately(scene, text, keys=((key,),), about=diver))
    text = say(f"people.forgot-{scope}", name=name)
    # not `about` the diver: an erasure drops the waiting letters that are
    letters = privately(scene, text)
    if scope == "health":
        letters += tuple(_asked_again(scene, diver, scene.keeper_of(diver) or diver))
    return Outcome(changes=(Forget(diver=diver, scope=scope),), letters=letters)


def _asked_again(scene: Scene, diver: str, speaker: str) -> Iterator[Letter]:
    """The open question of a call for help, whose buttons go with what is forgotten."""
    whom = Addressee(
        diver=diver,
        name=scene.name_of(diver),
        speaker=speaker,
        speaker_name=scene.name_of(speaker),
        can_dm=True,
    )
    for letter in still_called(scene.record(diver), whom, at=scene.at):
        yield replace(letter, about=None)


def _of(scene: Scene, diver: str) -> str:
    return say("people.of-you") if diver == scene.sender else scene.name_of(diver)


HANDLERS: dict[str, Handler] = {
    "start": start,
    "help": show_help,
    "add": add,
    "allow": allow,
    "disallow": disallow,
    "zone": zone,
    "site": site,
    "export": export,
    "forget": forget,
}
"""What this room answers, by the command's name."""
