-- Schema 1. Never edit a released schema: add the next file and a migration.
-- Hand-typed: settings, technicians, machines, machine_pads, products, vehicles, trials, film_readings, notes, and of a session
-- who, what with and on what. Derived from recordings: the rest of sessions, sections, passes, prints.

CREATE TABLE settings (
    key   TEXT PRIMARY KEY,
    value TEXT NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE technicians (
    id   INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE COLLATE NOCASE CHECK (length(name) BETWEEN 1 AND 80),
    note TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE TABLE machines (
    id       INTEGER PRIMARY KEY,
    name     TEXT NOT NULL UNIQUE COLLATE NOCASE CHECK (length(name) BETWEEN 1 AND 80),
    kind     TEXT NOT NULL CHECK (kind IN ('orbital', 'rotary')),
    throw_mm REAL CHECK (throw_mm BETWEEN 1 AND 40),
    note     TEXT NOT NULL DEFAULT '',
    CHECK (kind = 'orbital' OR throw_mm IS NULL)
) STRICT;

CREATE TABLE machine_pads (
    machine_id      INTEGER NOT NULL REFERENCES machines ON DELETE CASCADE,
    pad_diameter_mm REAL NOT NULL CHECK (pad_diameter_mm BETWEEN 20 AND 300),
    PRIMARY KEY (machine_id, pad_diameter_mm)
) STRICT, WITHOUT ROWID;

-- aggressiveness: the shop's own order, 1 = mildest; equal numbers are allowed.
CREATE TABLE products (
    id             INTEGER PRIMARY KEY,
    kind           TEXT NOT NULL CHECK (kind IN ('pad', 'liquid')),
    name           TEXT NOT NULL COLLATE NOCASE CHECK (length(name) BETWEEN 1 AND 80),
    aggressiveness INTEGER NOT NULL CHECK (aggressiveness BETWEEN 1 AND 99),
    note           TEXT NOT NULL DEFAULT '',
    UNIQUE (kind, name)
) STRICT;

-- A vehicle is a description of paint. The owner's name is optional and never exported.
CREATE TABLE vehicles (
    id         INTEGER PRIMARY KEY,
    label      TEXT NOT NULL UNIQUE COLLATE NOCASE CHECK (length(label) BETWEEN 1 AND 80),
    paint      TEXT NOT NULL CHECK (paint IN ('clear-coat', 'single-stage', 'respray', 'unknown')),
    paint_year INTEGER CHECK (paint_year BETWEEN 1900 AND 2200),
    colour     TEXT NOT NULL CHECK (colour IN ('dark', 'medium', 'light', 'unknown')),
    hardness   TEXT NOT NULL CHECK (hardness IN ('soft', 'medium', 'hard', 'unknown')),
    owner      TEXT,
    note       TEXT NOT NULL DEFAULT ''
) STRICT;

-- fingerprint: size and checksum of the recording's bytes, so that a moved or copied file is still the same session.
CREATE TABLE sessions (
    id            INTEGER PRIMARY KEY,
    fingerprint   TEXT NOT NULL UNIQUE,
    recording     TEXT,
    started       TEXT NOT NULL,
    day           TEXT NOT NULL CHECK (day GLOB '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    technician_id INTEGER NOT NULL REFERENCES technicians,
    machine_id    INTEGER REFERENCES machines,
    vehicle_id    INTEGER REFERENCES vehicles,
    pad_id        INTEGER REFERENCES products,
    liquid_id     INTEGER REFERENCES products,
    panel         TEXT NOT NULL DEFAULT '',
    trainer       INTEGER NOT NULL DEFAULT 0 CHECK (trainer IN (0, 1)),
    source        TEXT NOT NULL CHECK (source IN ('sensor', 'table', 'simulation', 'generated')),
    sensor        TEXT NOT NULL DEFAULT '',
    program       TEXT NOT NULL DEFAULT '',
    seconds       REAL NOT NULL CHECK (seconds >= 0),
    running_s     REAL NOT NULL CHECK (running_s >= 0),
    lost          TEXT NOT NULL DEFAULT '',
    pace_lo_mps   REAL NOT NULL,
    pace_hi_mps   REAL NOT NULL,
    heat_limit_k  REAL NOT NULL
) STRICT;
CREATE INDEX sessions_by_technician ON sessions (technician_id, day);
CREATE INDEX sessions_by_vehicle ON sessions (vehicle_id);

CREATE TABLE sections (
    id             INTEGER PRIMARY KEY,
    session_id     INTEGER NOT NULL REFERENCES sessions ON DELETE CASCADE,
    number         INTEGER NOT NULL,
    passes         INTEGER NOT NULL,
    rubbing_mean_m REAL,
    rubbing_cv     REAL,
    UNIQUE (session_id, number)
) STRICT;

CREATE TABLE passes (
    id                INTEGER PRIMARY KEY,
    section_id        INTEGER NOT NULL REFERENCES sections ON DELETE CASCADE,
    number            INTEGER NOT NULL,
    start_s           REAL NOT NULL,
    end_s             REAL NOT NULL,
    strokes           INTEGER NOT NULL,
    arm_speed_mps     REAL,
    arm_speed_lo_mps  REAL,
    arm_speed_hi_mps  REAL,
    arm_speed_cv      REAL,
    in_band_share     REAL,
    orbit_median_opm  REAL,
    orbit_free_opm    REAL,
    pad_speed_mps     REAL,
    surface_start_c   REAL,
    surface_peak_c    REAL,
    surface_rise_k    REAL,
    seconds_over_limit REAL,
    rubbing_mean_m    REAL,
    rubbing_cv        REAL,
    pause_s           REAL,
    vibration_mps2    REAL,
    warnings          INTEGER NOT NULL,
    UNIQUE (section_id, number)
) STRICT;

-- What the technique print is drawn from. stroke_mps and rise_k: JSON arrays; rubbing: 12 x 12 bytes, row by row from below,
-- 255 = the largest rubbing distance of the pass.
CREATE TABLE prints (
    pass_id    INTEGER PRIMARY KEY REFERENCES passes ON DELETE CASCADE,
    stroke_mps TEXT NOT NULL,
    rise_k     TEXT NOT NULL,
    rubbing    BLOB
) STRICT;

-- haze, holograms: 0 none, 1 slight, 2 plain, 3 heavy.
CREATE TABLE trials (
    id             INTEGER PRIMARY KEY,
    vehicle_id     INTEGER NOT NULL REFERENCES vehicles,
    panel          TEXT NOT NULL DEFAULT '',
    day            TEXT NOT NULL CHECK (day GLOB '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    technician_id  INTEGER NOT NULL REFERENCES technicians,
    machine_id     INTEGER REFERENCES machines,
    pad_id         INTEGER NOT NULL REFERENCES products,
    liquid_id      INTEGER NOT NULL REFERENCES products,
    session_id     INTEGER REFERENCES sessions ON DELETE SET NULL,
    passes         INTEGER NOT NULL CHECK (passes BETWEEN 1 AND 50),
    finish_reached INTEGER NOT NULL CHECK (finish_reached IN (0, 1)),
    haze           INTEGER NOT NULL CHECK (haze BETWEEN 0 AND 3),
    holograms      INTEGER NOT NULL CHECK (holograms BETWEEN 0 AND 3),
    film_taken_um  REAL,
    note           TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE INDEX trials_by_vehicle ON trials (vehicle_id);

CREATE TABLE film_readings (
    id         INTEGER PRIMARY KEY,
    vehicle_id INTEGER NOT NULL REFERENCES vehicles,
    panel      TEXT NOT NULL CHECK (length(panel) BETWEEN 1 AND 80),
    point      TEXT NOT NULL CHECK (length(point) BETWEEN 1 AND 80),
    phase      TEXT NOT NULL CHECK (phase IN ('before', 'after')),
    day        TEXT NOT NULL CHECK (day GLOB '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    film_um    REAL NOT NULL CHECK (film_um BETWEEN 0 AND 5000),
    note       TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE INDEX film_readings_by_panel ON film_readings (vehicle_id, panel, point);

CREATE TABLE notes (
    id         INTEGER PRIMARY KEY,
    day        TEXT NOT NULL CHECK (day GLOB '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),
    session_id INTEGER REFERENCES sessions ON DELETE CASCADE,
    vehicle_id INTEGER REFERENCES vehicles,
    panel      TEXT NOT NULL DEFAULT '',
    text       TEXT NOT NULL CHECK (length(text) BETWEEN 1 AND 4000)
) STRICT;
