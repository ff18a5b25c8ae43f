-- Bulk work: what is to be made.
CREATE TABLE job (
    tenant TEXT NOT NULL CHECK (tenant <> ''),
    id BLOB NOT NULL CHECK (length(id) = 16),
    version INTEGER NOT NULL,
    created INTEGER NOT NULL,
    updated INTEGER NOT NULL,
    deleted INTEGER NOT NULL,
    format INTEGER NOT NULL,
    doc BLOB NOT NULL,
    PRIMARY KEY (tenant, id)
) STRICT;

CREATE INDEX job_deleted ON job (tenant, deleted) WHERE deleted > 0;

-- A run of items that one worker makes. owner and lease: who has it, until when.
CREATE TABLE chunk (
    tenant TEXT NOT NULL CHECK (tenant <> ''),
    job BLOB NOT NULL CHECK (length(job) = 16),
    number INTEGER NOT NULL,
    first INTEGER NOT NULL,
    size INTEGER NOT NULL,
    next INTEGER NOT NULL,
    made INTEGER NOT NULL,
    failed INTEGER NOT NULL,
    open INTEGER NOT NULL,
    owner BLOB NOT NULL CHECK (length(owner) = 16),
    lease INTEGER NOT NULL,
    PRIMARY KEY (tenant, job, number),
    FOREIGN KEY (tenant, job) REFERENCES job (tenant, id)
) STRICT;

CREATE INDEX chunk_open ON chunk (tenant, job, number) WHERE open = 1;

-- One program of a job. state: 0 waits, 1 made, 2 failed.
CREATE TABLE item (
    tenant TEXT NOT NULL CHECK (tenant <> ''),
    job BLOB NOT NULL CHECK (length(job) = 16),
    place INTEGER NOT NULL,
    athlete BLOB NOT NULL CHECK (length(athlete) = 16),
    state INTEGER NOT NULL,
    program BLOB NOT NULL CHECK (length(program) = 16),
    asked BLOB NOT NULL,
    result BLOB NOT NULL,
    PRIMARY KEY (tenant, job, place),
    FOREIGN KEY (tenant, job) REFERENCES job (tenant, id)
) STRICT;

CREATE INDEX item_athlete ON item (tenant, athlete, job, place);

-- Tenants with open chunks: where workers look. It is read across tenants, and says no more.
CREATE TABLE working (
    id TEXT NOT NULL PRIMARY KEY CHECK (id <> ''),
    since INTEGER NOT NULL
) STRICT;
