-- The schema, as internal/store/rows uses it. Statements are parted by empty lines.
CREATE TABLE tenant (
    id text COLLATE "C" NOT NULL PRIMARY KEY CHECK (id <> ''),
    created bigint NOT NULL
);

-- label: the caller's id of the athlete
CREATE TABLE athlete (
    tenant text COLLATE "C" NOT NULL CHECK (tenant <> ''),
    id uuid NOT NULL,
    version bigint NOT NULL,
    created bigint NOT NULL,
    updated bigint NOT NULL,
    deleted bigint NOT NULL,
    label text COLLATE "C" NOT NULL,
    format bigint NOT NULL,
    doc bytea NOT NULL,
    PRIMARY KEY (tenant, id)
);

ALTER TABLE athlete ENABLE ROW LEVEL SECURITY;

ALTER TABLE athlete FORCE ROW LEVEL SECURITY;

CREATE POLICY athlete_tenant ON athlete
    USING (tenant = current_setting('phasewright.tenant', true))
    WITH CHECK (tenant = current_setting('phasewright.tenant', true));

CREATE UNIQUE INDEX athlete_label ON athlete (tenant, label) WHERE label <> '' AND deleted = 0;

CREATE INDEX athlete_deleted ON athlete (tenant, deleted) WHERE deleted > 0;

-- label: the exercise
CREATE TABLE performance (
    tenant text COLLATE "C" NOT NULL CHECK (tenant <> ''),
    id uuid NOT NULL,
    version bigint NOT NULL,
    created bigint NOT NULL,
    updated bigint NOT NULL,
    deleted bigint NOT NULL,
    athlete uuid NOT NULL,
    day bigint NOT NULL,
    label text COLLATE "C" NOT NULL,
    format bigint NOT NULL,
    doc bytea NOT NULL,
    PRIMARY KEY (tenant, id),
    FOREIGN KEY (tenant, athlete) REFERENCES athlete (tenant, id)
);

ALTER TABLE performance ENABLE ROW LEVEL SECURITY;

ALTER TABLE performance FORCE ROW LEVEL SECURITY;

CREATE POLICY performance_tenant ON performance
    USING (tenant = current_setting('phasewright.tenant', true))
    WITH CHECK (tenant = current_setting('phasewright.tenant', true));

CREATE INDEX performance_label ON performance (tenant, label, day, id);

CREATE INDEX performance_day ON performance (tenant, day, id);

CREATE INDEX performance_athlete ON performance (tenant, athlete, day, id);

CREATE INDEX performance_deleted ON performance (tenant, deleted) WHERE deleted > 0;

CREATE TABLE session_log (
    tenant text COLLATE "C" NOT NULL CHECK (tenant <> ''),
    id uuid NOT NULL,
    version bigint NOT NULL,
    created bigint NOT NULL,
    updated bigint NOT NULL,
    deleted bigint NOT NULL,
    athlete uuid NOT NULL,
    day bigint NOT NULL,
    program uuid NOT NULL,
    format bigint NOT NULL,
    doc bytea NOT NULL,
    PRIMARY KEY (tenant, id),
    FOREIGN KEY (tenant, athlete) REFERENCES athlete (tenant, id)
);

ALTER TABLE session_log ENABLE ROW LEVEL SECURITY;

ALTER TABLE session_log FORCE ROW LEVEL SECURITY;

CREATE POLICY session_log_tenant ON session_log
    USING (tenant = current_setting('phasewright.tenant', true))
    WITH CHECK (tenant = current_setting('phasewright.tenant', true));

CREATE INDEX session_log_day ON session_log (tenant, day, id);

CREATE INDEX session_log_athlete ON session_log (tenant, athlete, day, id);

CREATE INDEX session_log_program ON session_log (tenant, program, day, id);

CREATE INDEX session_log_deleted ON session_log (tenant, deleted) WHERE deleted > 0;

-- label: what was measured
CREATE TABLE measurement (
    tenant text COLLATE "C" NOT NULL CHECK (tenant <> ''),
    id uuid NOT NULL,
    version bigint NOT NULL,
    created bigint NOT NULL,
    updated bigint NOT NULL,
    deleted bigint NOT NULL,
    athlete uuid NOT NULL,
    day bigint NOT NULL,
    label text COLLATE "C" NOT NULL,
    format bigint NOT NULL,
    doc bytea NOT NULL,
    PRIMARY KEY (tenant, id),
    FOREIGN KEY (tenant, athlete) REFERENCES athlete (tenant, id)
);

ALTER TABLE measurement ENABLE ROW LEVEL SECURITY;

ALTER TABLE measurement FORCE ROW LEVEL SECURITY;

CREATE POLICY measurement_tenant ON measurement
    USING (tenant = current_setting('phasewright.tenant', true))
    WITH CHECK (tenant = current_setting('phasewright.tenant', true));

CREATE INDEX measurement_label ON measurement (tenant, label, day, id);

CREATE INDEX measurement_day ON measurement (tenant, day, id);

CREATE INDEX measurement_athlete ON measurement (tenant, athlete, day, id);

CREATE INDEX measurement_deleted ON measurement (tenant, deleted) WHERE deleted > 0;

CREATE TABLE program (
    tenant text COLLATE "C" NOT NULL CHECK (tenant <> ''),
    id uuid NOT NULL,
    version bigint NOT NULL,
    created bigint NOT NULL,
    updated bigint NOT NULL,
    deleted bigint NOT NULL,
    athlete uuid NOT NULL,
    latest bigint NOT NULL,
    format bigint NOT NULL,
    doc bytea NOT NULL,
    PRIMARY KEY (tenant, id),
    FOREIGN KEY (tenant, athlete) REFERENCES athlete (tenant, id)
);

ALTER TABLE program ENABLE ROW LEVEL SECURITY;

ALTER TABLE program FORCE ROW LEVEL SECURITY;

CREATE POLICY program_tenant ON program
    USING (tenant = current_setting('phasewright.tenant', true))
    WITH CHECK (tenant = current_setting('phasewright.tenant', true));

CREATE INDEX program_athlete ON program (tenant, athlete, id);

CREATE INDEX program_deleted ON program (tenant, deleted) WHERE deleted > 0;

-- A revision is final: it can go, but not change.
CREATE TABLE revision (
    tenant text COLLATE "C" NOT NULL CHECK (tenant <> ''),
    program uuid NOT NULL,
    number bigint NOT NULL,
    athlete uuid NOT NULL,
    created bigint NOT NULL,
    reason text COLLATE "C" NOT NULL,
    from_day bigint NOT NULL,
    digest text COLLATE "C" NOT NULL,
    request_digest text COLLATE "C" NOT NULL,
    seed bigint NOT NULL,
    engine text COLLATE "C" NOT NULL,
    format bigint NOT NULL,
    doc bytea NOT NULL,
    PRIMARY KEY (tenant, program, number),
    FOREIGN KEY (tenant, program) REFERENCES program (tenant, id)
);

ALTER TABLE revision ENABLE ROW LEVEL SECURITY;

ALTER TABLE revision FORCE ROW LEVEL SECURITY;

CREATE POLICY revision_tenant ON revision
    USING (tenant = current_setting('phasewright.tenant', true))
    WITH CHECK (tenant = current_setting('phasewright.tenant', true));

CREATE INDEX revision_athlete ON revision (tenant, athlete, program, number);

CREATE TABLE event (
    tenant text COLLATE "C" NOT NULL CHECK (tenant <> ''),
    id uuid NOT NULL,
    at bigint NOT NULL,
    actor uuid NOT NULL,
    method text COLLATE "C" NOT NULL,
    resource text COLLATE "C" NOT NULL,
    athlete uuid NOT NULL,
    outcome text COLLATE "C" NOT NULL,
    PRIMARY KEY (tenant, id)
);

ALTER TABLE event ENABLE ROW LEVEL SECURITY;

ALTER TABLE event FORCE ROW LEVEL SECURITY;

CREATE POLICY event_tenant ON event
    USING (tenant = current_setting('phasewright.tenant', true))
    WITH CHECK (tenant = current_setting('phasewright.tenant', true));

CREATE INDEX event_athlete ON event (tenant, athlete, id);

-- What requests with an id were answered.
CREATE TABLE answer (
    tenant text COLLATE "C" NOT NULL CHECK (tenant <> ''),
    request_id text COLLATE "C" NOT NULL,
    method text COLLATE "C" NOT NULL,
    digest bytea NOT NULL,
    body bytea NOT NULL,
    athlete uuid NOT NULL,
    created bigint NOT NULL,
    expires bigint NOT NULL,
    erased bigint NOT NULL,
    PRIMARY KEY (tenant, request_id)
);

ALTER TABLE answer ENABLE ROW LEVEL SECURITY;

ALTER TABLE answer FORCE ROW LEVEL SECURITY;

CREATE POLICY answer_tenant ON answer
    USING (tenant = current_setting('phasewright.tenant', true))
    WITH CHECK (tenant = current_setting('phasewright.tenant', true));

CREATE INDEX answer_athlete ON answer (tenant, athlete);

CREATE INDEX answer_expires ON answer (tenant, expires) WHERE expires > 0;

-- label: the exercise's id
CREATE TABLE exercise (
    tenant text COLLATE "C" NOT NULL CHECK (tenant <> ''),
    id uuid NOT NULL,
    version bigint NOT NULL,
    created bigint NOT NULL,
    updated bigint NOT NULL,
    deleted bigint NOT NULL,
    label text COLLATE "C" NOT NULL,
    format bigint NOT NULL,
    doc bytea NOT NULL,
    PRIMARY KEY (tenant, id)
);

ALTER TABLE exercise ENABLE ROW LEVEL SECURITY;

ALTER TABLE exercise FORCE ROW LEVEL SECURITY;

CREATE POLICY exercise_tenant ON exercise
    USING (tenant = current_setting('phasewright.tenant', true))
    WITH CHECK (tenant = current_setting('phasewright.tenant', true));

CREATE UNIQUE INDEX exercise_label ON exercise (tenant, label) WHERE label <> '' AND deleted = 0;

CREATE INDEX exercise_deleted ON exercise (tenant, deleted) WHERE deleted > 0;

-- label: its name
CREATE TABLE plan (
    tenant text COLLATE "C" NOT NULL CHECK (tenant <> ''),
    id uuid NOT NULL,
    version bigint NOT NULL,
    created bigint NOT NULL,
    updated bigint NOT NULL,
    deleted bigint NOT NULL,
    label text COLLATE "C" NOT NULL,
    format bigint NOT NULL,
    doc bytea NOT NULL,
    PRIMARY KEY (tenant, id)
);

ALTER TABLE plan ENABLE ROW LEVEL SECURITY;

ALTER TABLE plan FORCE ROW LEVEL SECURITY;

CREATE POLICY plan_tenant ON plan
    USING (tenant = current_setting('phasewright.tenant', true))
    WITH CHECK (tenant = current_setting('phasewright.tenant', true));

CREATE INDEX plan_label ON plan (tenant, label, id);

CREATE INDEX plan_deleted ON plan (tenant, deleted) WHERE deleted > 0;

CREATE TABLE api_key (
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

ALTER TABLE api_key ENABLE ROW LEVEL SECURITY;

ALTER TABLE api_key FORCE ROW LEVEL SECURITY;

CREATE POLICY api_key_tenant ON api_key
    USING (tenant = current_setting('phasewright.tenant', true))
    WITH CHECK (tenant = current_setting('phasewright.tenant', true));

CREATE INDEX api_key_deleted ON api_key (tenant, deleted) WHERE deleted > 0;

-- What is left of athletes who were erased.
CREATE TABLE erasure (
    tenant text COLLATE "C" NOT NULL CHECK (tenant <> ''),
    athlete uuid NOT NULL,
    at bigint NOT NULL,
    reason text COLLATE "C" NOT NULL,
    PRIMARY KEY (tenant, athlete)
);

ALTER TABLE erasure ENABLE ROW LEVEL SECURITY;

ALTER TABLE erasure FORCE ROW LEVEL SECURITY;

CREATE POLICY erasure_tenant ON erasure
    USING (tenant = current_setting('phasewright.tenant', true))
    WITH CHECK (tenant = current_setting('phasewright.tenant', true));
