/*
title = "Ledger"
what = """What the tables of store/ledger.sqlite hold (SQLite): every file seen in the inbox and what became of it, every log
taken, and every sample file made from a log. Only what is listed here counts; a sample file that is not listed is not read."""
*/
create table files (
    file text primary key,            -- path relative to the fleet folder
    size_bytes integer not null,
    modified_ns integer not null,
    is_present integer not null,      -- 0 once an ingest no longer found it in the inbox
    status text not null check (status in ('taken', 'refused')),
    log_id text,                      -- null where the bytes were never read
    reading_key text,                 -- null where the file stands where no log can be read
    problems text not null            -- JSON list
) without rowid;

create index files_by_log on files (log_id);

create table logs (
    log_id text primary key,
    reading_key text not null,
    boat_id text not null,
    file text not null,               -- the file the log was read from, or where its bytes stand now
    started_s real not null,          -- seconds since 1970, UTC
    ended_s real not null,
    rows_kept integer not null,
    rows_dropped integer not null,
    rows_spread integer not null,
    is_start_assumed integer not null
) without rowid;

create table engine_logs (
    engine_id text not null,
    log_id text not null references logs (log_id) on delete cascade,
    samples text not null,            -- path relative to the store folder
    samples_bytes integer not null,   -- a sample file of another size is broken
    channels text not null,           -- JSON list: the channels the log really holds
    samples_digest text,              -- BLAKE2b of the sample file, 16 hex digits; null where an older version wrote it
    primary key (engine_id, log_id)
) without rowid;

-- sample files that no log needs any more, until they have been removed from the disk
create table discarded (
    samples text primary key
) without rowid;

-- 'revision' rises with every change a reader could see; 'ledger' tells this ledger from any other
create table counters (
    name text primary key,
    value integer not null
) without rowid;

insert into counters values ('revision', 0);

create trigger discard_samples after delete on engine_logs
begin
    insert or ignore into discarded values (old.samples);
end;

create trigger keep_samples after insert on engine_logs
begin
    delete from discarded where samples = new.samples;
end;
