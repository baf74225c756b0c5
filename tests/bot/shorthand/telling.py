"""A reading in the notation of lines.toml, written independently of the parser's own lines."""

from bot.shorthand import Chatter, Command, Reading, Report, Unclear, load_words, parse

NAMES = ("mara", "ana", "noor", "ilse", "Teo", "piet")
WORDS = load_words()


def read(text: str) -> tuple[Reading, ...]:
    return parse(text, WORDS, names=NAMES, our_name="OurBot")


def told(reading: Reading) -> str:
    match reading:
        case Chatter():
            return "chatter"
        case Command():
            return _command(reading)
        case Unclear():
            return _unclear(reading)
        case Report():
            return _report(reading)


def _report(r: Report) -> str:
    what = r.exercise.value if r.exercise else "exh" if r.any_exhale else "?"
    said = ["dive", what]
    if r.depth_m is not None:
        said.append(f"{r.depth_m:g}")
    if r.target_m is not None:
        said.append(f"of {r.target_m:g}")
    said += [x.value for x in (r.ending, r.reason) if x is not None]
    if r.fill_m is not None:
        said.append(f"fill {r.fill_m:g}")
    if r.dive_time_s is not None:
        said.append(f"{r.dive_time_s}s")
    if r.clock is not None:
        said += [f"on {r.clock.on}"] if r.clock.on else []
        said.append(f"at {r.clock.hour:02d}:{r.clock.minute:02d}")
    said += [f"task {r.task}"] if r.task else []
    said += [f"amount {r.amount}"] if r.amount is not None else []
    said += [f"for {r.who}"] if r.who else []
    said += [f"! {r.asks.value}"] if r.asks else []
    said += [f"# {r.note}"] if r.note else []
    return " ".join(said)


def _command(c: Command) -> str:
    plain = {k: v for k, v in c.args.items() if not isinstance(v, Report)}
    said = ["command", c.name, *(f"{k}={plain[k]}" for k in sorted(plain))]
    said += [f"for {c.who}"] if c.who else []
    dive = c.args.get("dive")
    return " ".join(said) + (f" or {told(dive)}" if isinstance(dive, Report) else "")


def _unclear(u: Unclear) -> str:
    word = f" {u.word}" if u.word else ""
    offer = (f">{u.offer}" if word else f" >{u.offer}") if u.offer else ""
    return f"unclear {u.doubt.value}{word}{offer}" + "".join(f" | {r}" for r in u.readings)
