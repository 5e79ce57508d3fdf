/*
title = "Logs known"
what = """How many logs a moment knows, of boats and of engines. In one snapshot, moments that know as many know the same.
Parameter: the moment."""
reads = ["marts.logs", "marts.engine_logs"]
*/
select
    (select count(*) from marts.logs where ended_at <= $as_of) as logs,
    (select count(*) from marts.engine_logs where ended_at <= $as_of) as engine_logs
