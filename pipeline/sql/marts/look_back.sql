/*
title = "Look back"
what = """Each run with itself and the nine before it of its engine: what 'recent runs' means to an indicator."""
reads = ["focus.run_order"]
*/
select
    runs.engine_id,
    runs.run_id,
    earlier.run_id as earlier_run_id
from focus.run_order as runs
inner join focus.run_order as earlier
    on
        runs.engine_id = earlier.engine_id
        and earlier.run_no between runs.run_no - 9 and runs.run_no
