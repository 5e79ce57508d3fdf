-- A ledger of version 1 to version 2: sample files are known by their digest too, null where they were written before.
alter table engine_logs add column samples_digest text;
