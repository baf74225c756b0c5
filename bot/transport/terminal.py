"""The demo conversation and, on a terminal, going on in it as any of its members.

What one types is a line as in a `.chat` file. The clock goes on from where the demo stopped, as
fast as a real one, and `clock +40m` moves it ahead; what falls due meanwhile is said.
"""

from __future__ import annotations

import queue
import sys
import threading
from collections.abc import Callable, Iterable
from datetime import datetime
from pathlib import Path

from bot.transport.chatfile import Act, ChatError, Step, read_chat, read_line
from bot.transport.play import MakeWorker, Player, fresh_store, play_steps, write_out

DEMO = Path(__file__).parent.parent / "demo.chat"
LOOK_EVERY_S = 1.0

INVITATION = """
Now you: a line says something as anybody, and new names may come in.
  mara> exh 9 ok        in the group          mara@bot> week     in private
  mara> [9 ok]          presses a button      clock +40m         moves the clock ahead
help in private lists what the bot understands. End with Ctrl-D.
"""


def main() -> int:
    """Play the demo, then let one type if there is somebody; the exit code."""
    from bot.app import SystemClock, worker_of

    typed = _lines_of_terminal() if sys.stdin is not None and sys.stdin.isatty() else None
    try:
        return run(make_worker=worker_of, clock=SystemClock().now, typed=typed)
    except KeyboardInterrupt:
        return 0


def run(
    *,
    make_worker: MakeWorker,
    clock: Callable[[], datetime],
    typed: Iterable[str | None] | None,
    demo: Path = DEMO,
    write: Callable[[bytes], object] | None = None,
) -> int:
    """Play the demo and then each typed line; None among them only lets time pass."""
    put = write or write_out

    def out(line: str) -> None:
        put(line.encode("utf-8", "replace") + b"\n")

    with fresh_store() as store:
        player = Player(store, make_worker, out)
        play_steps(read_chat(demo.read_bytes()), player, out)
        if typed is not None:
            out(INVITATION.strip("\n"))
            _converse(player, typed, clock, out)
    return 0


def _converse(
    player: Player,
    typed: Iterable[str | None],
    clock: Callable[[], datetime],
    out: Callable[[str], object],
) -> None:
    before_at = clock()
    for number, line in enumerate(typed, 1):
        now_at = clock()
        # A real clock may be set back, the simulated one never goes back.
        if player.now is not None and now_at > before_at:
            player.run_to(player.now + (now_at - before_at))
        before_at = now_at
        if line is None:
            continue
        try:
            player.play(_typed_step(line, number))
        except ChatError as error:
            out(f"({error.why})")


def _typed_step(line: str, number: int) -> Step:
    step = read_line(line, number)
    if step.act is Act.BOT:
        raise ChatError(number, "the bot speaks for itself; a line begins with a name: mara> next")
    return step


def _lines_of_terminal() -> Iterable[str | None]:
    """Lines as they are typed, and None now and then while nobody types; ends with the input.

    Only the reading is done in a thread: the store belongs to the thread that made it.
    """
    lines: queue.SimpleQueue[str | None] = queue.SimpleQueue()

    def read() -> None:
        for line in sys.stdin:
            lines.put(line.rstrip("\n"))
        lines.put(None)

    threading.Thread(target=read, daemon=True, name="stdin").start()
    while True:
        try:
            line = lines.get(timeout=LOOK_EVERY_S)
        except queue.Empty:
            yield None
            continue
        if line is None:
            return
        yield line
