-- The schema, as internal/store/rows uses it. Statements are parted by empty lines.
CREATE TABLE tenant (
    id TEXT NOT NULL PRIMARY KEY CHECK (id <> ''),
    created INTEGER NOT NULL
) STRICT;

-- label: the caller's id of the athlete
CREATE TABLE athlete (
    tenant TEXT NOT NULL CHECK (tenant <> ''),
    id BLOB NOT NULL CHECK (length(id) = 16),
    version INTEGER NOT NULL,
    created INTEGER NOT NULL,
    updated INTEGER NOT NULL,
    deleted INTEGER NOT NULL,
    label TEXT NOT NULL,
    format INTEGER NOT NULL,
    doc BLOB NOT NULL,
    PRIMARY KEY (tenant, id)
) STRICT;

CREATE UNIQUE INDEX athlete_label ON athlete (tenant, label) WHERE label <> '' AND deleted = 0;

CREATE INDEX athlete_deleted ON athlete (tenant, deleted) WHERE deleted > 0;

-- label: the exercise
CREATE TABLE performance (
    tenant TEXT NOT NULL CHECK (tenant <> ''),
    id BLOB NOT NULL CHECK (length(id) = 16),
    version INTEGER NOT NULL,
    created INTEGER NOT NULL,
    updated INTEGER NOT NULL,
    deleted INTEGER NOT NULL,
    athlete BLOB NOT NULL CHECK (length(athlete) = 16),
    day INTEGER NOT NULL,
    label TEXT NOT NULL,
    format INTEGER NOT NULL,
    doc BLOB NOT NULL,
    PRIMARY KEY (tenant, id),
    FOREIGN KEY (tenant, athlete) REFERENCES athlete (tenant, id)
) STRICT;

CREATE INDEX performance_label ON performance (tenant, label, day, id);

CREATE INDEX performance_day ON performance (tenant, day, id);

CREATE INDEX performance_athlete ON performance (tenant, athlete, day, id);

CREATE INDEX performance_deleted ON performance (tenant, deleted) WHERE deleted > 0;

CREATE TABLE session_log (
    tenant TEXT NOT NULL CHECK (tenant <> ''),
    id BLOB NOT NULL CHECK (length(id) = 16),
    version INTEGER NOT NULL,
    created INTEGER NOT NULL,
    updated INTEGER NOT NULL,
    deleted INTEGER NOT NULL,
    athlete BLOB NOT NULL CHECK (length(athlete) = 16),
    day INTEGER NOT NULL,
    program BLOB NOT NULL CHECK (length(program) = 16),
    format INTEGER NOT NULL,
    doc BLOB NOT NULL,
    PRIMARY KEY (tenant, id),
    FOREIGN KEY (tenant, athlete) REFERENCES athlete (tenant, id)
) STRICT;

CREATE INDEX session_log_day ON session_log (tenant, day, id);

CREATE INDEX session_log_athlete ON session_log (tenant, athlete, day, id);

CREATE INDEX session_log_program ON session_log (tenant, program, day, id);

CREATE INDEX session_log_deleted ON session_log (tenant, deleted) WHERE deleted > 0;

-- label: what was measured
CREATE TABLE measurement (
    tenant TEXT NOT NULL CHECK (tenant <> ''),
    id BLOB NOT NULL CHECK (length(id) = 16),
    version INTEGER NOT NULL,
    created INTEGER NOT NULL,
    updated INTEGER NOT NULL,
    deleted INTEGER NOT NULL,
    athlete BLOB NOT NULL CHECK (length(athlete) = 16),
    day INTEGER NOT NULL,
    label TEXT NOT NULL,
    format INTEGER NOT NULL,
    doc BLOB NOT NULL,
    PRIMARY KEY (tenant, id),
    FOREIGN KEY (tenant, athlete) REFERENCES athlete (tenant, id)
) STRICT;

CREATE INDEX measurement_label ON measurement (tenant, label, day, id);

CREATE INDEX measurement_day ON measurement (tenant, day, id);

CREATE INDEX measurement_athlete ON measurement (tenant, athlete, day, id);

CREATE INDEX measurement_deleted ON measurement (tenant, deleted) WHERE deleted > 0;

CREATE TABLE program (
    tenant TEXT NOT NULL CHECK (tenant <> ''),
    id BLOB NOT NULL CHECK (length(id) = 16),
    version INTEGER NOT NULL,
    created INTEGER NOT NULL,
    updated INTEGER NOT NULL,
    deleted INTEGER NOT NULL,
    athlete BLOB NOT NULL CHECK (length(athlete) = 16),
    latest INTEGER NOT NULL,
    format INTEGER NOT NULL,
    doc BLOB NOT NULL,
    PRIMARY KEY (tenant, id),
    FOREIGN KEY (tenant, athlete) REFERENCES athlete (tenant, id)
) STRICT;

CREATE INDEX program_athlete ON program (tenant, athlete, id);

CREATE INDEX program_deleted ON program (tenant, deleted) WHERE deleted > 0;

-- A revision is final: it can go, but not change.
CREATE TABLE revision (
    tenant TEXT NOT NULL CHECK (tenant <> ''),
    program BLOB NOT NULL,
    number INTEGER NOT NULL,
    athlete BLOB NOT NULL CHECK (length(athlete) = 16),
    created INTEGER NOT NULL,
    reason TEXT NOT NULL,
    from_day INTEGER NOT NULL,
    digest TEXT NOT NULL,
    request_digest TEXT NOT NULL,
    seed INTEGER NOT NULL,
    engine TEXT NOT NULL,
    format INTEGER NOT NULL,
    doc BLOB NOT NULL,
    PRIMARY KEY (tenant, program, number),
    FOREIGN KEY (tenant, program) REFERENCES program (tenant, id)
) STRICT;

CREATE INDEX revision_athlete ON revision (tenant, athlete, program, number);

CREATE TRIGGER revision_final BEFORE UPDATE ON revision
BEGIN SELECT RAISE(ABORT, 'a revision is final'); END;

CREATE TABLE event (
    tenant TEXT NOT NULL CHECK (tenant <> ''),
    id BLOB NOT NULL CHECK (length(id) = 16),
    at INTEGER NOT NULL,
    actor BLOB NOT NULL CHECK (length(actor) = 16),
    method TEXT NOT NULL,
    resource TEXT NOT NULL,
    athlete BLOB NOT NULL CHECK (length(athlete) = 16),
    outcome TEXT NOT NULL,
    PRIMARY KEY (tenant, id)
) STRICT;

CREATE INDEX event_athlete ON event (tenant, athlete, id);

-- What requests with an id were answered.
CREATE TABLE answer (
    tenant TEXT NOT NULL CHECK (tenant <> ''),
    request_id TEXT NOT NULL,
    method TEXT NOT NULL,
    digest BLOB NOT NULL,
    body BLOB NOT NULL,
    athlete BLOB NOT NULL CHECK (length(athlete) = 16),
    created INTEGER NOT NULL,
    expires INTEGER NOT NULL,
    erased INTEGER NOT NULL,
    PRIMARY KEY (tenant, request_id)
) STRICT;

CREATE INDEX answer_athlete ON answer (tenant, athlete);

CREATE INDEX answer_expires ON answer (tenant, expires) WHERE expires > 0;

-- label: the exercise's id
CREATE TABLE exercise (
    tenant TEXT NOT NULL CHECK (tenant <> ''),
    id BLOB NOT NULL CHECK (length(id) = 16),
    version INTEGER NOT NULL,
    created INTEGER NOT NULL,
    updated INTEGER NOT NULL,
    deleted INTEGER NOT NULL,
    label TEXT NOT NULL,
    format INTEGER NOT NULL,
    doc BLOB NOT NULL,
    PRIMARY KEY (tenant, id)
) STRICT;

CREATE UNIQUE INDEX exercise_label ON exercise (tenant, label) WHERE label <> '' AND deleted = 0;

CREATE INDEX exercise_deleted ON exercise (tenant, deleted) WHERE deleted > 0;

-- label: its name
CREATE TABLE plan (
    tenant TEXT NOT NULL CHECK (tenant <> ''),
    id BLOB NOT NULL CHECK (length(id) = 16),
    version INTEGER NOT NULL,
    created INTEGER NOT NULL,
    updated INTEGER NOT NULL,
    deleted INTEGER NOT NULL,
    label TEXT NOT NULL,
    format INTEGER NOT NULL,
    doc BLOB NOT NULL,
    PRIMARY KEY (tenant, id)
) STRICT;

CREATE INDEX plan_label ON plan (tenant, label, id);

CREATE INDEX plan_deleted ON plan (tenant, deleted) WHERE deleted > 0;

CREATE TABLE api_key (
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

CREATE INDEX api_key_deleted ON api_key (tenant, deleted) WHERE deleted > 0;

-- What is left of athletes who were erased.
CREATE TABLE erasure (
    tenant TEXT NOT NULL CHECK (tenant <> ''),
    athlete BLOB NOT NULL CHECK (length(athlete) = 16),
    at INTEGER NOT NULL,
    reason TEXT NOT NULL,
    PRIMARY KEY (tenant, athlete)
) STRICT;
