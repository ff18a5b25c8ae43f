-- Bulk work: what is to be made.
CREATE TABLE job (
    tenant text COLLATE "C" NOT NULL CHECK (tenant <> ''),
    id uuid NOT NULL,
    version bigint NOT NULL,
    created bigint NOT NULL,
    updated bigint NOT NULL,
    deleted bigint NOT NULL,
    format bigint NOT NULL,
    doc bytea NOT NULL,
    PRIMARY KEY (tenant, id)
);

ALTER TABLE job ENABLE ROW LEVEL SECURITY;

ALTER TABLE job FORCE ROW LEVEL SECURITY;

CREATE POLICY job_tenant ON job
    USING (tenant = current_setting('phasewright.tenant', true))
    WITH CHECK (tenant = current_setting('phasewright.tenant', true));

CREATE INDEX job_deleted ON job (tenant, deleted) WHERE deleted > 0;

-- A run of items that one worker makes. owner and lease: who has it, until when.
CREATE TABLE chunk (
    tenant text COLLATE "C" NOT NULL CHECK (tenant <> ''),
    job uuid NOT NULL,
    number bigint NOT NULL,
    first bigint NOT NULL,
    size bigint NOT NULL,
    next bigint NOT NULL,
    made bigint NOT NULL,
    failed bigint NOT NULL,
    open bigint NOT NULL,
    owner uuid NOT NULL,
    lease bigint NOT NULL,
    PRIMARY KEY (tenant, job, number),
    FOREIGN KEY (tenant, job) REFERENCES job (tenant, id)
);

ALTER TABLE chunk ENABLE ROW LEVEL SECURITY;

ALTER TABLE chunk FORCE ROW LEVEL SECURITY;

CREATE POLICY chunk_tenant ON chunk
    USING (tenant = current_setting('phasewright.tenant', true))
    WITH CHECK (tenant = current_setting('phasewright.tenant', true));

CREATE INDEX chunk_open ON chunk (tenant, job, number) WHERE open = 1;

-- One program of a job. state: 0 waits, 1 made, 2 failed.
CREATE TABLE item (
    tenant text COLLATE "C" NOT NULL CHECK (tenant <> ''),
    job uuid NOT NULL,
    place bigint NOT NULL,
    athlete uuid NOT NULL,
    state bigint NOT NULL,
    program uuid NOT NULL,
    asked bytea NOT NULL,
    result bytea NOT NULL,
    PRIMARY KEY (tenant, job, place),
    FOREIGN KEY (tenant, job) REFERENCES job (tenant, id)
);

ALTER TABLE item ENABLE ROW LEVEL SECURITY;

ALTER TABLE item FORCE ROW LEVEL SECURITY;

CREATE POLICY item_tenant ON item
    USING (tenant = current_setting('phasewright.tenant', true))
    WITH CHECK (tenant = current_setting('phasewright.tenant', true));

CREATE INDEX item_athlete ON item (tenant, athlete, job, place);

-- Tenants with open chunks: where workers look. It is read across tenants, and says no more.
CREATE TABLE working (
    id text COLLATE "C" NOT NULL PRIMARY KEY CHECK (id <> ''),
    since bigint NOT NULL
);
