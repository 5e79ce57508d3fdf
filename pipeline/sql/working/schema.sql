/*
title = "Working database"
what = """What an ingest remembers inside the working database (DuckDB), in one transaction with the event rows: which logs
have been measured and with what, and a few facts about the build itself."""
*/
create schema build;
create schema events;
create schema marts;

create table build.measured (
    engine_id varchar not null,
    log_id varchar not null,
    chain_key varchar not null,   -- digest of all that the log's events depend on
    started_at timestamptz not null,
    error varchar                 -- why the log has no events although it was read; null where it was measured
);

-- what the levels of a shift target were in each log of an engine whose gears nothing else tells; see target_levels.sql
create table build.target_levels (
    engine_id varchar not null,
    log_id varchar not null,
    target_pct double,
    seconds double,
    rpm_max double,
    starts bigint not null
);

-- 'version': shape of the tables; 'recipe': digest of the queries; 'revision': of the ledger shown in marts; 'edition':
-- a word for what the tables hold, another one after each change
create table build.facts (
    name varchar primary key,
    fact varchar not null
);
