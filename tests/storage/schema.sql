CREATE TABLE "_sqlite_migrations" (
   "id" INTEGER PRIMARY KEY,
   "migration_set" TEXT,
   "name" TEXT,
   "applied_at" TEXT
) STRICT;
CREATE TABLE chat_number (
            chat TEXT PRIMARY KEY,
            last INTEGER NOT NULL
        ) STRICT;
CREATE TABLE due (
            kind TEXT NOT NULL,
            diver TEXT NOT NULL,
            about TEXT NOT NULL,
            due_at TEXT NOT NULL,
            stale_at TEXT NOT NULL,
            state TEXT NOT NULL DEFAULT 'waiting'
                CHECK (state IN ('waiting', 'done', 'stale', 'failed')),
            PRIMARY KEY (kind, diver, about)
        ) STRICT;
CREATE TABLE erasure (
            who TEXT NOT NULL,
            scope TEXT NOT NULL CHECK (scope IN ('health', 'all')),
            erased_at TEXT NOT NULL,
            PRIMARY KEY (who, scope, erased_at)
        ) STRICT;
CREATE TABLE fact (
            id INTEGER PRIMARY KEY,
            kind TEXT NOT NULL,
            diver TEXT NOT NULL,
            happened_at TEXT NOT NULL,
            said_at TEXT NOT NULL,
            said_by TEXT NOT NULL,
            chat TEXT NOT NULL,
            message INTEGER NOT NULL,
            line INTEGER NOT NULL,
            edit INTEGER NOT NULL,
            body TEXT NOT NULL CHECK (json_valid(body))
        ) STRICT;
CREATE TABLE inbox (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            update_key TEXT UNIQUE,
            place_key TEXT UNIQUE,
            body TEXT NOT NULL,
            received_at TEXT NOT NULL,
            state TEXT NOT NULL DEFAULT 'waiting' CHECK (state IN ('waiting', 'done', 'aside')),
            error TEXT NOT NULL DEFAULT '',
            worked_at TEXT
        ) STRICT;
CREATE TABLE key (
            token TEXT PRIMARY KEY,
            letter INTEGER NOT NULL REFERENCES outbox (id) ON DELETE CASCADE,
            across INTEGER NOT NULL,
            down INTEGER NOT NULL,
            body TEXT NOT NULL CHECK (json_valid(body)),
            diver TEXT NOT NULL,
            used_at TEXT
        ) STRICT;
CREATE TABLE member (
            key TEXT PRIMARY KEY,
            can_dm INTEGER NOT NULL DEFAULT 0,
            has_phone INTEGER NOT NULL DEFAULT 1,
            messenger TEXT NOT NULL,
            external_id TEXT NOT NULL,
            home TEXT REFERENCES room (chat) ON DELETE SET NULL
        , is_met INTEGER NOT NULL DEFAULT 0) STRICT;
CREATE TABLE outbox (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            chat TEXT NOT NULL,
            delivery TEXT NOT NULL CHECK (delivery IN ('help', 'answer', 'debrief', 'reminder')),
            slot TEXT,
            about TEXT,
            body TEXT NOT NULL,
            last_messenger TEXT,
            last_address TEXT,
            thread TEXT,
            state TEXT NOT NULL DEFAULT 'queued'
                CHECK (state IN ('queued', 'sending', 'sent', 'unknown', 'dropped')),
            queued_at TEXT NOT NULL,
            next_at TEXT NOT NULL,
            stale_at TEXT,
            tries INTEGER NOT NULL DEFAULT 0,
            unsure INTEGER NOT NULL DEFAULT 0,
            external TEXT,
            ended_at TEXT,
            error TEXT NOT NULL DEFAULT ''
        ) STRICT;
CREATE TABLE room (
            chat TEXT PRIMARY KEY,
            title TEXT NOT NULL,
            timezone TEXT NOT NULL,
            zone_stated INTEGER NOT NULL DEFAULT 0,
            site TEXT NOT NULL CHECK (json_valid(site)),
            messenger TEXT NOT NULL,
            external_id TEXT NOT NULL,
            thread TEXT
        , called_at TEXT) STRICT;
CREATE TABLE room_alias (
            messenger TEXT NOT NULL,
            external_id TEXT NOT NULL,
            chat TEXT NOT NULL REFERENCES room (chat) ON DELETE CASCADE,
            PRIMARY KEY (messenger, external_id)
        ) STRICT;
CREATE TABLE roster (
            chat TEXT NOT NULL REFERENCES room (chat) ON DELETE CASCADE,
            member TEXT NOT NULL REFERENCES member (key) ON DELETE CASCADE,
            name TEXT NOT NULL,
            folded TEXT NOT NULL,
            is_admin INTEGER NOT NULL DEFAULT 0,
            wants_line INTEGER NOT NULL DEFAULT 0,
            PRIMARY KEY (chat, member)
        ) STRICT;
CREATE TABLE said (
            chat TEXT NOT NULL,
            number INTEGER NOT NULL,
            external TEXT,
            sender TEXT NOT NULL,
            edits INTEGER NOT NULL DEFAULT 0,
            digest TEXT NOT NULL,
            thread TEXT,
            said_at TEXT NOT NULL,
            PRIMARY KEY (chat, number)
        ) STRICT;
CREATE TABLE slot (
            chat TEXT NOT NULL,
            slot TEXT NOT NULL,
            external TEXT NOT NULL,
            PRIMARY KEY (chat, slot)
        ) STRICT;
CREATE INDEX due_waiting ON due (due_at) WHERE state = 'waiting';
CREATE INDEX fact_by_diver ON fact (diver);
CREATE INDEX fact_by_speaker ON fact (said_by);
CREATE UNIQUE INDEX "idx__sqlite_migrations_migration_set_name"
    ON "_sqlite_migrations" ("migration_set", "name");
CREATE INDEX inbox_waiting ON inbox (id) WHERE state = 'waiting';
CREATE INDEX key_by_letter ON key (letter);
CREATE UNIQUE INDEX member_by_external ON member (messenger, external_id)
            WHERE external_id <> '';
CREATE INDEX outbox_open ON outbox (id) WHERE state IN ('queued', 'sending');
CREATE UNIQUE INDEX roster_by_name ON roster (chat, folded);
CREATE UNIQUE INDEX said_by_external ON said (chat, external) WHERE external IS NOT NULL;
