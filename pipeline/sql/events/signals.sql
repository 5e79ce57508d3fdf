/*
title = "Signal faults"
what = """Channels that cannot be believed in a run. A data finding, never an engine finding. Where no source is named the rule
is common practice, no published source."""

[columns]
channel = "the channel"
fault = """flat (one value all through), frozen (one value for a while, though the engine moved), stuck (at an end), spiking,
impossible, dropouts, swapped, never at rest, wrong unit"""
share = "share of the run's samples (in part-wise faults: of its parts or shifts) that show it, 0 to 1"
samples = "samples of the channel in the run"
detail = "what was seen, in words"
*/
with known as (
    select
        channel_states.*,
        signal_facts.* exclude (run_no),
        channel_ranges.low as lowest,
        channel_ranges.high as highest,
        standstills.seconds as stood_s,
        standstills.stood_at,
        -- hours counted in each hour: 1, or nothing while the counter's step is not reached
        (channel_states.high - channel_states.low) * 3600 / nullif(signal_facts.seconds, 0) as hours_an_hour,
        -- the means of one and the same value differ in their last digits
        channel_states.high > channel_states.low and channel_states.last_mean < channel_states.first_mean as runs_back
    from channel_states
    inner join signal_facts on channel_states.run_no = signal_facts.run_no
    inner join channel_ranges on channel_states.channel = channel_ranges.channel
    left join standstills on channel_states.run_no = standstills.run_no and channel_states.channel = standstills.channel
),

units as (
    -- ordinary in another unit, and past anything that such an engine reaches in the unit it is taken to be in
    select
        run_no,
        channel,
        case channel
            when 'lambda' then case when mean between 7 and 25 then 'an air-fuel ratio' end
            when 'lambda_target' then case when mean between 7 and 25 then 'an air-fuel ratio' end
            when 'oil_temp' then
                case
                    when low between 230 and 440 and high < 440 then 'K'
                    when mean between 135 and 260 then '°F'
                end
            when 'coolant_temp' then
                case
                    when low between 230 and 440 and high < 440 then 'K'
                    when mean between 135 and 260 then '°F'
                    -- no pressure cap keeps a steady coolant from boiling there
                    when last_mean between 123 and 212 and last_swept < 8 and parts >= 6 then '°F'
                end
            when 'air_temp' then case when low between 230 and 340 and high < 400 then 'K' end
            when 'battery' then case when mean between 6000 and 18000 then 'mV' end
            when 'throttle' then case when high between 0.05 and 1.2 and rpm_high > 2500 then 'a fraction' end
            when 'pedal' then case when high between 0.05 and 1.2 and rpm_high > 2500 then 'a fraction' end
            when 'shift_target' then case when is_target_share then 'a fraction' end
            when 'shift_position' then
                case
                    when doubt = 'wrong unit' then 'a fraction'
                    when is_target_share and low >= -0.2 and high <= 1.5 and high - low >= 0.2 then 'a fraction'
                end
            when 'oil_pressure' then case when high between 1 and 10 and rpm_high > 1500 then 'bar' end
            -- standing, an engine's manifold holds the atmosphere: 101.325 kPa at sea level (ISO 2533)
            when 'manifold_pressure' then
                case
                    when stands_kpa between 0.6 and 1.1 or (high between 0.2 and 1.5 and rpm_high > 1000) then 'bar'
                    when stands_kpa between 9 and 16 or (high between 3 and 16 and rpm_high > 3000) then 'psi'
                    when stands_kpa between 600 and 1100 or (mean > 200 and high between 500 and 1100) then 'hPa'
                end
            when 'engine_hours' then
                case
                    when seconds >= 300 and hours_an_hour between 40 and 80 then 'minutes'
                    when seconds >= 60 and hours_an_hour between 2400 and 4800 then 'seconds'
                end
            when 'rpm' then
                case
                    when rest_parts >= 2 and rest_ratio between 0.42 and 0.58 then 'half the speed'
                    when rest_parts >= 2 and rest_ratio between 1.75 and 2.3 then 'twice the speed'
                    when rest_parts >= 2 and rest_ratio is null and rest_rpm < 380 then 'half the speed'
                    when seconds >= 20 and rpm_high < 900 and (pedal_mean > 30 or throttle_mean > 25) then 'a tenth of the speed'
                end
        end as other_unit
    from known
),

faults as (
    select
        known.*,
        units.other_unit,
        case
            when units.other_unit is not null then 'wrong unit'
            when known.low < known.lowest or known.high > known.highest then 'impossible'
            when known.doubt is not null then known.doubt
            when known.spikes >= 3 then 'spiking'
            when known.channel = 'rpm' and known.rpm_dropouts >= 3 then 'dropouts'
            when known.lost_parts >= 2 then 'dropouts'
            -- a controller stops working long before its supply is at 6 V
            when known.channel = 'battery' and known.starved_parts >= 1 and known.mean not between 22 and 30 then 'impossible'
            -- from 4,000 m up to the highest air pressure ever measured
            when known.channel = 'manifold_pressure' and known.stands_kpa not between 60 and 109 then 'impossible'
            when known.channel = 'engine_hours' and known.runs_back then 'impossible'
            when known.channel = 'engine_hours' and known.seconds >= 1200 and known.hours_an_hour > 2 then 'impossible'
            when known.channel = 'pedal' and known.low > 1.5 and known.idle_parts >= 2 then 'never at rest'
            -- it answers neither the trim nor the throttle, and the loop has gone as far as it can
            when
                known.channel = 'lambda' and known.end_parts >= 2 and known.high - known.low < 0.05
                then 'stuck'
            when known.channel = 'shift_position' and known.low < known.high and known.flat_steps > 0 then 'flat'
            when known.low < known.high and known.stood_s is not null then 'frozen'
            when known.low < known.high then null
            when
                known.channel = 'shift_position' and known.steps > 0 and (known.high >= 99.99 or known.low <= 0.01)
                then 'stuck'
            when known.channel = 'shift_position' and known.steps > 0 then 'flat'
            when known.channel = 'rpm' and known.seconds >= 30 then 'flat'
            when known.channel in ('lambda', 'oil_pressure') and known.seconds >= 60 and known.rpm_swept > 300 then 'flat'
            when known.channel in ('coolant_temp', 'oil_temp') and known.is_cold_start and known.seconds >= 240 then 'flat'
            when known.channel = 'engine_hours' and known.seconds >= 4500 then 'flat'
            when known.stood_s is not null then 'flat'
        end as fault
    from known
    inner join units on known.run_no = units.run_no and known.channel = units.channel
)

select
    started_s as run_s,
    started_s as start_s,
    channel,
    fault,
    case
        when fault = 'flat' and low < high then flat_steps / steps
        when fault = 'frozen' then least(1, stood_s / seconds)
        when fault = 'swapped' then early_steps / steps
        when fault in ('flat', 'stuck', 'wrong unit', 'never at rest') then 1
        when fault = 'spiking' then spikes / n
        when fault = 'dropouts' and channel <> 'rpm' then lost_parts / parts
        when doubt = 'impossible' then jumps / n
        else 1 / n
    end::double as share,
    n::integer as samples,
    case
        when fault = 'flat' and low < high then printf('still through %d of %d shifts', flat_steps, steps)
        when fault = 'stuck' and channel = 'lambda' then printf('%.2f all through, with the trim at its end', mean::double)
        when fault = 'flat' then printf('%g all through', low::double)
        when fault = 'stuck' and low = high then printf('%g all through', low::double)
        when fault = 'frozen' then printf('%g for %.0f s, though the engine moved', stood_at::double, stood_s)
        when fault = 'spiking' then printf('%d single samples far from both neighbours', spikes)
        when fault = 'swapped' then printf('in %d of %d shifts it moved before its target did', early_steps, steps)
        when fault = 'dropouts' and channel = 'rpm' then printf('%d moments without it in mid-run', rpm_dropouts)
        when fault = 'dropouts' then printf('%d of %d half minutes without a value', lost_parts, parts)
        when fault = 'never at rest' then printf('%g at the least, though the engine idled', low::double)
        when doubt = 'impossible' then printf('%d jumps faster than an actuator moves', jumps)
        when other_unit like '%speed' then printf('reads like %s (%g to %g)', other_unit, low::double, high::double)
        when fault = 'wrong unit' then printf('reads like %s (%g to %g)', other_unit, low::double, high::double)
        when fault = 'impossible' and channel = 'manifold_pressure' and stands_kpa not between 60 and 109
            then printf('%g with the engine standing, where it is the atmosphere''s', stands_kpa::double)
        when runs_back and channel = 'engine_hours' then 'counts backwards'
        else printf('%g to %g, mean %g', low::double, high::double, mean::double)
    end as detail
from faults
where fault is not null
