"""What the motion room can be told in config/defaults.toml, [motion]."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class MotionSettings:
    """Limits and noise levels of the motion room; the reasons stand in the configuration file."""

    top_speed_m_s: float
    top_acceleration_m_s2: float
    position_slack_m: float
    position_noise_m: float
    acceleration_sd_m_s2: float
    speed_noise_m_s: float
    jerk_sd_m_s3: float
    stop_speed_m_s: float
    at_rest_m_s: float
    stop_window_s: float
    shortest_stop_s: float
    creep_m: float
    gap_s: float
    longest_pause_s: float
