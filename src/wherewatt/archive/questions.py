"""Questions that are ready to be asked, as SQL that anyone may read, change and ask again."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Question:
    """A question.

    Parameters
    ----------
    name : what it is asked by.
    says : what it answers, in a few words.
    sql : the question.
    """

    name: str
    says: str
    sql: str


_SURFACE = """\
SELECT surface,
       count(DISTINCT ride) AS rides,
       sum(distance_km) AS km,
       sum(battery_wh) AS wh,
       sum(battery_wh) / nullif(sum(distance_km), 0) AS wh_per_km,
       sum(rolling_wh) / nullif(sum(distance_km), 0) AS rolling_wh_per_km
FROM sections
GROUP BY surface
ORDER BY wh_per_km DESC NULLS LAST, surface
"""

# Standing legs have no grade. Classes are centred on even grades: "2" is from 1 to 3 %.
_GRADE = """\
SELECT CAST(2 * round(greatest(least(100 * grade, 14), -14) / 2) AS INTEGER) AS grade_pct,
       sum(distance_m) / 1000 AS km,
       3.6 * sum(distance_m) / sum(epoch(end_time - start_time)) AS kmh,
       sum(battery_wh) AS wh,
       1000 * sum(battery_wh) / sum(distance_m) AS wh_per_km
FROM legs
WHERE distance_m > 0
GROUP BY grade_pct
ORDER BY grade_pct
"""

_TEMPERATURE = """\
SELECT CAST(5 * floor(temperature_c / 5) AS INTEGER) AS from_c,
       CAST(5 * floor(temperature_c / 5) AS INTEGER) + 5 AS to_c,
       count(*) AS rides,
       sum(distance_km) AS km,
       sum(battery_wh) / nullif(sum(distance_km), 0) AS wh_per_km,
       sum(rolling_wh) / nullif(sum(distance_km), 0) AS rolling_wh_per_km
FROM rides
WHERE temperature_c IS NOT NULL
GROUP BY ALL
ORDER BY from_c
"""

_VEHICLE = """\
SELECT coalesce(vehicle, '(not named)') AS vehicle,
       count(*) AS rides,
       sum(distance_km) AS km,
       sum(battery_wh) AS wh,
       sum(battery_wh) / nullif(sum(distance_km), 0) AS wh_per_km,
       sum(ascent_m) / nullif(sum(distance_km), 0) AS ascent_m_per_km,
       3.6 * 1000 * sum(distance_km) / nullif(sum(moving_s), 0) AS kmh,
       count(*) FILTER (measured) AS measured
FROM rides
GROUP BY 1
ORDER BY wh_per_km DESC NULLS LAST, 1
"""

_CLIMBS = """\
SELECT r.path, s.start_km, s.distance_km AS km, s.ascent_m, s.mean_grade_pct AS grade_pct,
       s.surface, s.battery_wh AS wh, s.wh_per_km
FROM sections AS s JOIN rides AS r USING (ride)
WHERE s.terrain = 'climb' AND s.distance_km >= 0.1
ORDER BY s.wh_per_km DESC, r.path, s.start_km
LIMIT 20
"""

# Each ride's estimate holds what was known before it: that part is taken out of the logarithm's
# precision (Tarantola 2005, section 1.5) before rides of a month are averaged, or it would count
# once for each ride. What the rides of a vehicle have wrong in common does not average out.
_PACK = """\
WITH capacity AS (
  SELECT ride, ln(mean) AS level, ln(prior_mean) AS before,
         (mean / sd) ** 2 AS after_weight, (prior_mean / prior_sd) ** 2 AS before_weight
  FROM parameters
  WHERE name = 'battery_usable_wh' AND informed_pct >= 5
), said AS (
  SELECT ride, after_weight - before_weight AS weight,
         (after_weight * level - before_weight * before) / (after_weight - before_weight) AS level
  FROM capacity
  WHERE after_weight > before_weight
)
SELECT r.vehicle,
       strftime(date_trunc('month', r.start_time AT TIME ZONE 'UTC'), '%Y-%m') AS month,
       count(*) AS rides,
       avg(r.temperature_c) AS temperature_c,
       exp(sum(weight * level) / sum(weight)) AS usable_wh,
       exp(sum(weight * level) / sum(weight)) / sqrt(sum(weight)) AS usable_wh_sd
FROM said JOIN rides AS r USING (ride)
WHERE r.vehicle IS NOT NULL
GROUP BY 1, 2
ORDER BY 1, 2
"""

QUESTIONS = {
    question.name: question
    for question in (
        Question("surface", "Wh/km by surface", _SURFACE),
        Question("grade", "Wh/km by grade, in steps of 2 %", _GRADE),
        Question("temperature", "Wh/km by air temperature, in steps of 5 °C", _TEMPERATURE),
        Question("vehicle", "Wh/km by vehicle", _VEHICLE),
        Question("climbs", "the 20 climbs that took most energy for their length", _CLIMBS),
        Question("pack", "usable capacity of each vehicle's pack by month", _PACK),
    )
}
