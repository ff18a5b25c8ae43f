-- Trials: the head, the chain of what happened, what is private of it, and who took part.
-- label: its title
CREATE TABLE trial (
    tenant TEXT NOT NULL CHECK (tenant <> ''),
    id BLOB NOT NULL CHECK (length(id) = 16),
    version INTEGER NOT NULL,
    created INTEGER NOT NULL,
    updated INTEGER NOT NULL,
    deleted INTEGER NOT NULL,
    latest INTEGER NOT NULL,
    label TEXT NOT NULL,
    format INTEGER NOT NULL,
    doc BLOB NOT NULL,
    PRIMARY KEY (tenant, id)
) STRICT;

CREATE INDEX trial_label ON trial (tenant, label, id);

CREATE INDEX trial_deleted ON trial (tenant, deleted) WHERE deleted > 0;

-- An event is final: it can go with its trial, but not change.
CREATE TABLE trial_event (
    tenant TEXT NOT NULL CHECK (tenant <> ''),
    trial BLOB NOT NULL CHECK (length(trial) = 16),
    number INTEGER NOT NULL,
    hash TEXT NOT NULL,
    format INTEGER NOT NULL,
    doc BLOB NOT NULL,
    PRIMARY KEY (tenant, trial, number),
    FOREIGN KEY (tenant, trial) REFERENCES trial (tenant, id)
) STRICT;

CREATE TRIGGER trial_event_final BEFORE UPDATE ON trial_event
BEGIN SELECT RAISE(ABORT, 'an event is final'); END;

-- What an event says of a person: it goes with the athlete, and the chain still holds.
CREATE TABLE trial_private (
    tenant TEXT NOT NULL CHECK (tenant <> ''),
    trial BLOB NOT NULL CHECK (length(trial) = 16),
    number INTEGER NOT NULL,
    athlete BLOB NOT NULL CHECK (length(athlete) = 16),
    format INTEGER NOT NULL,
    doc BLOB NOT NULL,
    PRIMARY KEY (tenant, trial, number),
    FOREIGN KEY (tenant, trial, number) REFERENCES trial_event (tenant, trial, number)
) STRICT;

CREATE INDEX trial_private_athlete ON trial_private (tenant, athlete, trial, number);

CREATE TRIGGER trial_private_final BEFORE UPDATE ON trial_private
BEGIN SELECT RAISE(ABORT, 'an event is final'); END;

-- label: the trial
CREATE TABLE participant (
    tenant TEXT NOT NULL CHECK (tenant <> ''),
    id BLOB NOT NULL CHECK (length(id) = 16),
    version INTEGER NOT NULL,
    created INTEGER NOT NULL,
    updated INTEGER NOT NULL,
    deleted INTEGER NOT NULL,
    athlete BLOB NOT NULL CHECK (length(athlete) = 16),
    label TEXT NOT NULL,
    format INTEGER NOT NULL,
    doc BLOB NOT NULL,
    PRIMARY KEY (tenant, id),
    FOREIGN KEY (tenant, athlete) REFERENCES athlete (tenant, id)
) STRICT;

CREATE INDEX participant_label ON participant (tenant, label, id);

CREATE INDEX participant_athlete ON participant (tenant, athlete, id);

CREATE INDEX participant_deleted ON participant (tenant, deleted) WHERE deleted > 0;
