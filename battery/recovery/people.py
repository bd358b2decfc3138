"""The people whose truth is looked for, each with something of their own."""

from __future__ import annotations

from collections.abc import Mapping

from battery.simulate import Truth

PEOPLE: Mapping[str, Truth] = {
    "steady": Truth(
        tremor_hz=7.3, tremor_mm=0.4, aim_noise=0.03, pursuit_delay_s=0.12, pursuit_gain=0.97
    ),
    "no tremor": Truth(tremor_mm=0.0, reaction_s=0.35, movement_s=0.45),
    "small tremor": Truth(tremor_hz=8.2, tremor_mm=0.15, reaction_sd_s=0.08),
    "slow tremor": Truth(tremor_hz=3.7, tremor_mm=2.0, movement_s=0.8),
    "fast tremor": Truth(tremor_hz=10.6, tremor_mm=0.7, pursuit_gain=0.85),
    "large tremor": Truth(tremor_hz=4.6, tremor_mm=5.0, aim_noise=0.06, search_s=1.4),
    "tremor across": Truth(tremor_hz=5.4, tremor_mm=1.0, tremor_direction_deg=90.0),
    "tremor aslant": Truth(tremor_hz=6.1, tremor_mm=1.6, tremor_direction_deg=30.0),
    "unsteady tremor": Truth(tremor_hz=5.2, tremor_mm=1.2, tremor_bandwidth_hz=0.3),
    "late": Truth(
        pursuit_delay_s=0.35,
        pursuit_gain=0.7,
        wander_mm=1.5,
        reaction_s=0.7,
        reaction_tail_s=0.1,
        movement_s=0.9,
        search_s=2.0,
    ),
    "foreseeing": Truth(
        pursuit_delay_s=0.2, pursuit_gain=1.05, predictable_delay_s=0.0, predictable_gain=1.0
    ),
    "overshooting": Truth(overshoot=0.10, aim_noise=0.07, intention=1.0, tremor_mm=1.0),
    "falling short": Truth(overshoot=-0.08, aim_noise=0.09, aim_noise_across=0.5),
    "losing contact": Truth(lost_contact_per_min=5.0, slide_extent_mm=50.0),
    "halting": Truth(slide_halts=2, slide_s=2.4, slide_extent_mm=40.0, error_rate=0.12),
    "crossing nodes": Truth(slip_rate=0.3, error_rate=0.0, search_s=1.2, search_spread=0.2),
    "neglecting the left": Truth(neglected_side="left", neglect=0.6),
}
