-- Only BIGINT and TEXT, ids of our own, times as epoch milliseconds: the same text runs on SQLite and PostgreSQL.

CREATE TABLE counter (name TEXT PRIMARY KEY, value BIGINT NOT NULL);
INSERT INTO counter (name, value) VALUES ('household', 0), ('outbox', 0);

-- `seq` is the number of the household's last ledger entry; who appends must know it.
CREATE TABLE household (
    id BIGINT PRIMARY KEY,
    settings TEXT NOT NULL,
    seq BIGINT NOT NULL,
    wake BIGINT,
    created BIGINT NOT NULL
);
CREATE INDEX household_wake ON household (wake) WHERE wake IS NOT NULL;

CREATE TABLE chat (
    id BIGINT PRIMARY KEY,
    household BIGINT NOT NULL REFERENCES household (id),
    connected BIGINT NOT NULL,
    moved_to BIGINT
);
CREATE INDEX chat_household ON chat (household);

CREATE TABLE person (
    household BIGINT NOT NULL REFERENCES household (id),
    member BIGINT NOT NULL,
    name TEXT NOT NULL,
    private_chat BIGINT,
    PRIMARY KEY (household, member)
);
CREATE INDEX person_member ON person (member);

CREATE TABLE ledger (
    household BIGINT NOT NULL REFERENCES household (id),
    seq BIGINT NOT NULL,
    happened BIGINT NOT NULL,
    recorded BIGINT NOT NULL,
    author TEXT,
    chat BIGINT,
    message BIGINT,
    version BIGINT NOT NULL,
    fact TEXT NOT NULL,
    PRIMARY KEY (household, seq)
);

-- state: 0 waiting, 1 done, 2 set aside. chat 0: the update belongs to no chat.
CREATE TABLE inbox (
    id BIGINT PRIMARY KEY,
    chat BIGINT NOT NULL,
    body TEXT NOT NULL,
    received BIGINT NOT NULL,
    state BIGINT NOT NULL,
    tries BIGINT NOT NULL,
    reason TEXT
);
CREATE INDEX inbox_waiting ON inbox (chat, id) WHERE state = 0;
CREATE INDEX inbox_ended ON inbox (state, received) WHERE state <> 0;

-- state: 0 to be sent, 1 sent, 2 given up. message: the platform's id, once sent. edits: the row whose message this one changes.
CREATE TABLE outbox (
    id BIGINT PRIMARY KEY,
    chat BIGINT NOT NULL,
    class BIGINT NOT NULL,
    dedupe TEXT,
    edits BIGINT,
    body TEXT NOT NULL,
    state BIGINT NOT NULL,
    message BIGINT,
    reason TEXT,
    UNIQUE (chat, dedupe)
);
CREATE INDEX outbox_new ON outbox (chat, class, id) WHERE state = 0;
CREATE INDEX outbox_message ON outbox (chat, message) WHERE message IS NOT NULL;
