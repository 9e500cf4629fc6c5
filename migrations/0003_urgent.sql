-- The next moment at which something can't wait: looked for apart from `wake`, however many households have a plan due.
ALTER TABLE household ADD COLUMN urgent BIGINT;
CREATE INDEX household_urgent ON household (urgent) WHERE urgent IS NOT NULL;
