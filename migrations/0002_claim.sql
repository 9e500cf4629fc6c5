-- Who does what where several processes share the database, and until when; after that another may.
-- work: 0 getting the updates (chat 0), 1 handling those of a chat, 2 sending to a chat. chat 0: what belongs to no chat.
CREATE TABLE claim (
    work BIGINT NOT NULL,
    chat BIGINT NOT NULL,
    holder BIGINT NOT NULL,
    expires BIGINT NOT NULL,
    PRIMARY KEY (work, chat)
);
-- The next moment at which something can't wait: looked for apart from `wake`, however many households have a plan due.
ALTER TABLE household ADD COLUMN urgent BIGINT;
CREATE INDEX household_urgent ON household (urgent) WHERE urgent IS NOT NULL;
