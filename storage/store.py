"""The store: what came in, what stands, what is to be said. (Contract; the storage room fills it in.)

class Store:
    open(path) -> Store                       WAL, synchronous=FULL, STRICT, foreign keys; migrations run
    close()
    # inbox
    receive(batch: Sequence[Incoming], *, at: datetime) -> int     one transaction, duplicates ignored; number new
    next_inbox() -> InboxRow | None           the oldest row not worked off
    set_aside(row_id, *, at, error: str)      a row that twice failed: kept for 7 days, blocks nobody
    # reading (also on Turn)
    rooms() -> tuple[Room, ...]
    room(chat: str) -> Room | None            by group key
    room_of(member: str) -> Room | None       the member's home group: the one they last spoke in
    facts_of(diver: str) -> tuple[Fact, ...]  cached in memory: facts are immutable
    button(token: str) -> StoredKey | None
    member_by_external(messenger: str, external_id: str) -> Member | None
    # due rows
    next_due(*, at) -> Due | None ; nearest_due_at() -> datetime | None
    # outbox
    ready_letters(*, at) -> tuple[OutboxRow, ...] ; mark_sending / mark_sent(row, external message id) /
    mark_unknown / mark_failed(retry_at) / drop
    turn(*, at) -> context manager of Turn    BEGIN IMMEDIATE; commit at the end, rollback on an exception

class Turn(reading methods, plus):
    write(outcome: Outcome, *, room: Room)    facts, letters, changes
    finish_inbox(row) ; finish_due(due, state)
    reconcile(diver, dues: Sequence[Due])     by (kind, diver, about)
    use_button(token)
    ensure_room / ensure_member ...           what update.py needs of the roster
"""
