-- Trials: the head, the chain of what happened, what is private of it, and who took part.
-- label: its title
CREATE TABLE trial (
    tenant text COLLATE "C" NOT NULL CHECK (tenant <> ''),
    id uuid NOT NULL,
    version bigint NOT NULL,
    created bigint NOT NULL,
    updated bigint NOT NULL,
    deleted bigint NOT NULL,
    latest bigint NOT NULL,
    label text COLLATE "C" NOT NULL,
    format bigint NOT NULL,
    doc bytea NOT NULL,
    PRIMARY KEY (tenant, id)
);

ALTER TABLE trial ENABLE ROW LEVEL SECURITY;

ALTER TABLE trial FORCE ROW LEVEL SECURITY;

CREATE POLICY trial_tenant ON trial
    USING (tenant = current_setting('phasewright.tenant', true))
    WITH CHECK (tenant = current_setting('phasewright.tenant', true));

CREATE INDEX trial_label ON trial (tenant, label, id);

CREATE INDEX trial_deleted ON trial (tenant, deleted) WHERE deleted > 0;

-- An event is final: it can go with its trial, but not change.
CREATE TABLE trial_event (
    tenant text COLLATE "C" NOT NULL CHECK (tenant <> ''),
    trial uuid NOT NULL,
    number bigint NOT NULL,
    hash text COLLATE "C" NOT NULL,
    format bigint NOT NULL,
    doc bytea NOT NULL,
    PRIMARY KEY (tenant, trial, number),
    FOREIGN KEY (tenant, trial) REFERENCES trial (tenant, id)
);

ALTER TABLE trial_event ENABLE ROW LEVEL SECURITY;

ALTER TABLE trial_event FORCE ROW LEVEL SECURITY;

CREATE POLICY trial_event_tenant ON trial_event
    USING (tenant = current_setting('phasewright.tenant', true))
    WITH CHECK (tenant = current_setting('phasewright.tenant', true));

-- What an event says of a person: it goes with the athlete, and the chain still holds.
CREATE TABLE trial_private (
    tenant text COLLATE "C" NOT NULL CHECK (tenant <> ''),
    trial uuid NOT NULL,
    number bigint NOT NULL,
    athlete uuid NOT NULL,
    format bigint NOT NULL,
    doc bytea NOT NULL,
    PRIMARY KEY (tenant, trial, number),
    FOREIGN KEY (tenant, trial, number) REFERENCES trial_event (tenant, trial, number)
);

ALTER TABLE trial_private ENABLE ROW LEVEL SECURITY;

ALTER TABLE trial_private FORCE ROW LEVEL SECURITY;

CREATE POLICY trial_private_tenant ON trial_private
    USING (tenant = current_setting('phasewright.tenant', true))
    WITH CHECK (tenant = current_setting('phasewright.tenant', true));

CREATE INDEX trial_private_athlete ON trial_private (tenant, athlete, trial, number);

-- label: the trial
CREATE TABLE participant (
    tenant text COLLATE "C" NOT NULL CHECK (tenant <> ''),
    id uuid NOT NULL,
    version bigint NOT NULL,
    created bigint NOT NULL,
    updated bigint NOT NULL,
    deleted bigint NOT NULL,
    athlete uuid NOT NULL,
    label text COLLATE "C" NOT NULL,
    format bigint NOT NULL,
    doc bytea NOT NULL,
    PRIMARY KEY (tenant, id),
    FOREIGN KEY (tenant, athlete) REFERENCES athlete (tenant, id)
);

ALTER TABLE participant ENABLE ROW LEVEL SECURITY;

ALTER TABLE participant FORCE ROW LEVEL SECURITY;

CREATE POLICY participant_tenant ON participant
    USING (tenant = current_setting('phasewright.tenant', true))
    WITH CHECK (tenant = current_setting('phasewright.tenant', true));

CREATE INDEX participant_label ON participant (tenant, label, id);

CREATE INDEX participant_athlete ON participant (tenant, athlete, id);

CREATE INDEX participant_deleted ON participant (tenant, deleted) WHERE deleted > 0;
