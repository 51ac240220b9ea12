-- Schema 3: which of a machine's pad sizes a filing told. Never edit a released schema: add the next file and a migration.

-- filed: told by the plan of a filed session, and gone when no session of the machine has it any more; the others were typed.
ALTER TABLE machine_pads ADD COLUMN filed INTEGER NOT NULL DEFAULT 0 CHECK (filed IN (0, 1));
