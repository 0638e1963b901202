"""Tests of sensors that fail, and of fallbacks."""

from __future__ import annotations

from ..facts import Facts
from ..records import Names, Test
from ..setpoints import reads_outdoor


def failure_tests(f: Facts, n: Names) -> list[Test]:
    """One test of all sensors whose failure a reset has to survive."""
    steps = ["One after the other, take the sensor off its terminals (or force it out of range), and put it back:"]
    passes = ["Each alarm comes after <S_SENSOR> and names the sensor."]
    if reads_outdoor(f):
        steps.append("Outdoor temperature <P_OAT>; then hold it at one value by force for longer than <S_FROZEN>.")
    steps += ["Supply air temperature <P_SAT>.", "Duct pressure <P_DSP>, with a person at the fan."]
    if "P_FLOW" in n:
        steps.append("Supply airflow <P_FLOW>.")
    for dew in ("P_OA_DEW", "P_ROOM_DEW"):
        if (dew == "P_OA_DEW" and dew in n) or (dew == "P_ROOM_DEW" and f.humidity == "room_dewpoint"):
            steps.append(f"Dew point <{dew}>.")
    if f.listens:
        steps.append("One zone sensor <P_Z_TEMP>; then the data of more than <S_OFFLINE> of the zones at once.")
        passes.append(
            "A zone without data, below <S_ZONE_LOW> or above <S_ZONE_HIGH>, sends no request; beyond <S_OFFLINE> the "
            "reset falls back."
        )
    if f.sat_moves:
        passes.append("Supply air goes to <S_SAT_FALLBACK> where its clause says so.")
    if f.dsp_moves:
        passes.append("Duct pressure goes to <S_DSP_FALLBACK> where its clause says so.")
    if f.sat_moves or f.dsp_moves:
        passes.append("It gets there within <S_RAMP>; with the sensor back the reset acts again after <S_RETURN>.")
    passes.append("With the pressure sensor off, the fan stands at the speed noted in T_DSP_HIGH.")
    return [n.test("T_FAIL", "Failure of sensors, and fallbacks", steps, passes)]
