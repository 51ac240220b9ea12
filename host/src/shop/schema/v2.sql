-- Schema 2: what a review was told, whose part of a recording a session is, where on a section a note or a gauge reading
-- belongs. Never edit a released schema: add the next file and a migration.

-- plan: the plan the figures were computed by, TOML, complete in itself, so that a rebuild gives the same figures; empty: the
-- one inside the recording. part: a recording in which the machine changed hands is one session for each technician, in order
-- of appearance; from the second on the fingerprint ends in "/PART".
ALTER TABLE sessions ADD COLUMN plan TEXT NOT NULL DEFAULT '';
ALTER TABLE sessions ADD COLUMN part INTEGER NOT NULL DEFAULT 1 CHECK (part BETWEEN 1 AND 999);

-- Rubbing distance over a taped section, its corner being where the first stroke starts and lies to the right:
-- map_along_m x map_across_m, in 32 x 32 cells row by row from that corner along the first stroke, 255 = map_most_m.
ALTER TABLE sections ADD COLUMN map_along_m REAL;
ALTER TABLE sections ADD COLUMN map_across_m REAL;
ALTER TABLE sections ADD COLUMN map_most_m REAL;
ALTER TABLE sections ADD COLUMN map BLOB;

-- Where the gauge stood: number of the section and metres along and across from its corner, all three or none.
ALTER TABLE film_readings ADD COLUMN section INTEGER CHECK (section BETWEEN 1 AND 9999);
ALTER TABLE film_readings ADD COLUMN along_m REAL CHECK (along_m BETWEEN 0 AND 3);
ALTER TABLE film_readings ADD COLUMN across_m REAL CHECK (across_m BETWEEN 0 AND 3);

-- recorded: marked in a recording while it was made, t_s seconds after its start; comes again with every filing. The others
-- were typed.
ALTER TABLE notes ADD COLUMN section INTEGER CHECK (section BETWEEN 1 AND 9999);
ALTER TABLE notes ADD COLUMN t_s REAL;
ALTER TABLE notes ADD COLUMN recorded INTEGER NOT NULL DEFAULT 0 CHECK (recorded IN (0, 1));
CREATE INDEX notes_by_session ON notes (session_id);
